package metrics

import (
	"fmt"
	"math"
)

// MethodClusterRobust names a Wilson interval on the effective sample size.
const MethodClusterRobust Method = "Wilson on the effective sample size, cluster-robust"

// fewClusters is where the linearised variance of a ratio is known to be too
// small on average; a warning is given below it.
const fewClusters = 10

// ClusterPattern says how many clusters (animals, advisors, practices) share
// the same totals. It is a count, so no cluster can be recognised in it.
type ClusterPattern struct {
	// Needed is how many episodes of one such cluster belong to the
	// denominator (for sensitivity: were in need).
	Needed int64
	// Caught is how many of those belong to the numerator, 0 to Needed.
	Caught int64
	// Times is how many clusters show this pattern.
	Times int64
}

// ClusterEstimate is a proportion whose limits allow for clusters.
type ClusterEstimate struct {
	Estimate
	// Clusters is the number of clusters with at least one needed episode.
	Clusters int64
	// DesignEffect is the variance with clusters over the variance without;
	// 1 means that clusters do not matter. It is 0 and means nothing unless
	// DesignEffectKnown: at 0 or 100 % caught the data do not show it.
	DesignEffect      float64
	DesignEffectKnown bool
	// DesignEffectSpread is the standard deviation that chance alone gives the
	// design effect about 1 when episodes of one cluster resemble each other no
	// more than others: sqrt(2 * sum n(n-1)) / sum n, n being the needed episodes
	// of a cluster (about sqrt(2/k) with k clusters of one size).
	DesignEffectSpread float64
	// EffectiveN is the number of independent episodes that would give the
	// same limits: needed over the design effect, never more than needed.
	EffectiveN float64
}

// ClusterRobust estimates the share caught among the needed, sum(Caught) /
// sum(Needed), where episodes of one cluster resemble each other.
//
// The variance is the linearised one of a ratio, k/(k-1) * sum over clusters of
// (Caught - p*Needed)^2 / sum(Needed)^2 with k clusters; its ratio to p(1-p)/N is
// the design effect. The limits are Wilson's with N over the design effect (not
// below 1, so chance cannot make the limits narrower than without clusters) in
// place of N and Student's t with k-1 degrees of freedom in place of z. At 0 or
// 100 % caught the design effect cannot be seen: whole clusters are then taken to
// agree, which makes the effective number sum(Needed)^2 / sum(Needed^2).
//
// Clusters with Needed = 0 do not count. With fewer than 2 clusters the limits,
// and so the figure, are not estimable. It returns an error wrapping ErrArgument
// for a negative count, Caught > Needed, or a conf outside (0, 1).
//
// Source: Rao, Scott (1992) Biometrics 48:577-585; Wilson limits on the effective
// sample size: Korn, Graubard (1998) Surv Methodol 24:193-201 (exact limits) and
// Dean, Pagano (2015) J Surv Stat Methodol 3:484-503 (score limits).
func ClusterRobust(patterns []ClusterPattern, conf float64) (ClusterEstimate, error) {
	if err := checkConf(conf); err != nil {
		return ClusterEstimate{}, err
	}
	var needed, caught, clusters, sumSquares float64
	for _, c := range patterns {
		if c.Needed < 0 || c.Times < 0 || c.Caught < 0 || c.Caught > c.Needed {
			return ClusterEstimate{}, argErr("cluster pattern %d caught of %d, %d times: expected 0 <= caught <= needed",
				c.Caught, c.Needed, c.Times)
		}
		if c.Needed == 0 {
			continue
		}
		n, times := float64(c.Needed), float64(c.Times)
		needed += n * times
		caught += float64(c.Caught) * times
		clusters += times
		sumSquares += n * n * times
	}
	out := ClusterEstimate{Clusters: int64(clusters)}
	switch {
	case needed == 0:
		out.Estimate = notEstimable(conf, MethodClusterRobust, "nothing was observed (0 of 0)")
		return out, nil
	case clusters < 2:
		out.Estimate = notEstimable(conf, MethodClusterRobust, "all %.0f episodes come from one cluster", needed)
		return out, nil
	}
	p := caught / needed
	deff := sumSquares / needed
	out.DesignEffectSpread = math.Sqrt(2*math.Max(0, sumSquares-needed)) / needed
	if p > 0 && p < 1 {
		out.DesignEffect = ratioVariance(patterns, p, needed, clusters) / (p * (1 - p) / needed)
		out.DesignEffectKnown = true
		deff = out.DesignEffect
	}
	out.EffectiveN = needed / math.Max(1, deff)
	low, high := wilsonWithZ(p*out.EffectiveN, out.EffectiveN, twoSidedT(conf, clusters-1))
	out.Estimate = Estimate{
		Value: p, Low: math.Min(p, low), High: math.Max(p, high), Conf: conf,
		Method: MethodClusterRobust, Numerator: caught, Denominator: needed,
	}
	if clusters < fewClusters {
		out.Warnings = append(out.Warnings, fmt.Sprintf("only %.0f clusters: the limits may be too narrow", clusters))
	}
	return out, nil
}

// ratioVariance is the linearised variance of sum(Caught)/sum(Needed) between
// clusters.
func ratioVariance(patterns []ClusterPattern, p, needed, clusters float64) float64 {
	var ss float64
	for _, c := range patterns {
		r := float64(c.Caught) - p*float64(c.Needed)
		ss += r * r * float64(c.Times)
	}
	return clusters / (clusters - 1) * ss / (needed * needed)
}

// WidenByDesignEffect widens the limits of a proportion for clusters whose design
// effect is known from elsewhere, for instance from ClusterRobust on the verified
// episodes beside a figure of Corrected.
//
// On the logit scale each limit moves away from the value by the factor
// sqrt(designEffect). At a value of 0 or 1 the distance of the other limit is
// multiplied by designEffect, since there it falls with 1/n. A design effect below
// 1 changes nothing. An estimate that is not estimable, or unbounded, comes back as
// it is. It is an approximation: the clusters of the verified episodes are taken to
// stand for all. It returns an error wrapping ErrArgument for a design effect that
// is not a positive finite number or an estimate outside [0, 1].
//
// Source: Kish (1965) Survey Sampling, section 8.2, for the design effect.
func WidenByDesignEffect(e Estimate, designEffect float64) (Estimate, error) {
	if !(designEffect > 0 && designEffect <= math.MaxFloat64) {
		return Estimate{}, argErr("design effect %v, expected a positive finite number", designEffect)
	}
	if !e.Estimable() || e.LowUnbounded || e.HighUnbounded || designEffect <= 1 {
		return e, nil
	}
	if e.Low < 0 || e.High > 1 || e.Value < e.Low || e.Value > e.High {
		return Estimate{}, argErr("estimate %v (%v to %v), expected a proportion within its limits", e.Value, e.Low, e.High)
	}
	e.Method += ", widened by the design effect"
	if e.Value == 0 || e.Value == 1 {
		e.Low, e.High = clip01(e.Value-designEffect*(e.Value-e.Low)), clip01(e.Value+designEffect*(e.High-e.Value))
		return e, nil
	}
	factor := math.Sqrt(designEffect)
	odds := e.Value / (1 - e.Value)
	move := func(limit float64) float64 {
		if limit <= 0 || limit >= 1 {
			return limit
		}
		return oddsShift(e.Value, math.Pow(limit/(1-limit)/odds, factor))
	}
	e.Low, e.High = move(e.Low), move(e.High)
	return e, nil
}
