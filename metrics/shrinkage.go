package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Names of the shrunken estimates.
const (
	MethodBetaMoments Method = "beta-binomial, prior by moments"
	MethodBetaML      Method = "beta-binomial, prior by maximum likelihood"
)

// fewGroups is the number of groups below which a fitted prior is so uncertain
// that its shrunken limits carry a warning: common practice, not a theorem.
const fewGroups = 10

// GroupCount is the count of one group (a flag, a month, an advice line): how
// many of its trials were successes, 0 <= Successes <= Trials.
type GroupCount struct {
	Successes, Trials int64
}

// BetaPrior is a beta distribution that describes how the true proportions of
// the groups differ, learnt from the groups themselves.
type BetaPrior struct {
	// Alpha and Beta are the parameters; their sum is the number of calls the
	// prior is worth. Both are 0 where NotEstimable is set.
	Alpha, Beta float64
	// Mean is Alpha / (Alpha + Beta), or the common proportion of all groups
	// where only the spread could not be estimated.
	Mean float64
	// Rho is 1 / (Alpha + Beta + 1), the correlation of two calls of one group.
	Rho float64
	// LogLik is the log-likelihood of the groups, binomial coefficients
	// included; 0 for a prior by moments.
	LogLik float64
	// Groups is the number of groups with at least one trial.
	Groups int
	// Method says how the prior was found.
	Method Method
	// NotEstimable is empty, or the reason why there is no prior.
	NotEstimable string
}

// BetaByMoments finds the beta prior whose mean and standard deviation are
// those of the groups' raw proportions (unweighted, denominator k - 1).
//
// The raw proportions scatter by chance too, which this method counts as true
// difference: with small groups it shrinks too little. BetaByML does not have
// this fault; the moments are for a first look and for checking by hand. Groups
// without trials are left out. Fewer than two groups with trials, no scatter at
// all or more scatter than a beta distribution can have is reported in
// NotEstimable. It returns an error wrapping ErrArgument for a count outside 0..Trials.
//
// Source: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 5.1.
func BetaByMoments(groups []GroupCount) (BetaPrior, error) {
	used, err := groupsWithTrials(groups)
	if err != nil {
		return BetaPrior{}, err
	}
	prior := BetaPrior{Groups: len(used), Method: MethodBetaMoments, Mean: commonProportion(used)}
	if len(used) < 2 {
		prior.NotEstimable = "fewer than 2 groups with calls, so no spread between groups"
		return prior, nil
	}
	raw := make([]float64, len(used))
	for i, g := range used {
		raw[i] = float64(g.Successes) / float64(g.Trials)
	}
	mean, variance := stat.MeanVariance(raw, nil)
	total := mean*(1-mean)/variance - 1
	switch {
	case variance == 0:
		prior.NotEstimable = "all groups have the same proportion"
	case !(total > 0):
		prior.NotEstimable = "the groups are spread further than a beta distribution allows"
	default:
		prior.set(mean*total, (1-mean)*total)
	}
	return prior, nil
}

// BetaByML finds the beta prior that makes the observed counts most likely
// under the beta-binomial model: each group has its own true proportion, drawn
// from the prior, and its count is binomial given that proportion.
//
// Groups without trials are left out. Where the counts differ no more than
// chance alone would make them, the likelihood rises without end as the prior
// narrows: NotEstimable says so and Mean is the common proportion of all calls.
// The same holds for fewer than two groups and for groups without any success
// or without any failure. It returns an error wrapping ErrArgument for a count outside 0..Trials.
//
// Also called the empirical Bayes beta-binomial fit. Source: Griffiths (1973)
// Biometrics 29:637-648; Tarone (1982) Biometrics 38:215-220.
func BetaByML(groups []GroupCount) (BetaPrior, error) {
	used, err := groupsWithTrials(groups)
	if err != nil {
		return BetaPrior{}, err
	}
	prior := BetaPrior{Groups: len(used), Method: MethodBetaML, Mean: commonProportion(used)}
	switch {
	case len(used) < 2:
		prior.NotEstimable = "fewer than 2 groups with calls, so no spread between groups"
		return prior, nil
	case prior.Mean == 0 || prior.Mean == 1:
		prior.NotEstimable = "every group has the same proportion, none or all"
		return prior, nil
	}
	alpha, beta, ok := betaBinomialMax(used, prior.Mean)
	if !ok {
		prior.NotEstimable = "the groups differ no more than chance alone would make them; the common proportion stands for all"
		return prior, nil
	}
	prior.set(alpha, beta)
	prior.LogLik = betaBinomialLogLik(used, alpha, beta)
	for _, g := range used {
		prior.LogLik += logChoose(g.Trials, g.Successes)
	}
	return prior, nil
}

func (b *BetaPrior) set(alpha, beta float64) {
	b.Alpha, b.Beta = alpha, beta
	b.Mean = alpha / (alpha + beta)
	b.Rho = 1 / (alpha + beta + 1)
}

// ShrunkenProportion keeps the raw figure beside the shrunken one; a page shows
// raw first and never the shrunken figure alone.
type ShrunkenProportion struct {
	// Raw is the group's own proportion with Wilson's limits.
	Raw Estimate
	// Shrunken is the posterior mean with equal-tailed posterior limits.
	Shrunken Estimate
	// Weight is the share of the group's own data in Shrunken, from 0 (all
	// prior) to 1 (all data): Trials / (Trials + Alpha + Beta).
	Weight float64
}

// Shrink pulls the proportion of each group towards the prior's mean, more so
// the fewer its calls: the posterior is Beta(Alpha + successes, Beta +
// failures), Value its mean, Low and High its quantiles at (1 - conf)/2 either
// side.
//
// The limits take the prior as known and are therefore somewhat short; below
// ten groups they carry a warning. A group without trials gets the prior itself
// as its shrunken figure and no raw one. Where the prior was not estimable
// neither are the shrunken figures. Shrunken figures are for reading many small
// groups calmly: they may not enter a harm test or a safety list, and the
// groups are returned in the order given because this is not a ranking.
//
// It returns an error wrapping ErrArgument for a count outside 0..Trials or a conf outside (0, 1).
//
// Source: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 5.1;
// Morris (1983) J Am Stat Assoc 78:47-55 for limits that ignore the prior's error.
func (b BetaPrior) Shrink(groups []GroupCount, conf float64) ([]ShrunkenProportion, error) {
	if _, err := groupsWithTrials(groups); err != nil {
		return nil, err
	}
	out := make([]ShrunkenProportion, len(groups))
	for i, g := range groups {
		raw, err := Wilson(g.Successes, g.Trials, conf)
		if err != nil {
			return nil, err
		}
		out[i] = ShrunkenProportion{Raw: raw, Shrunken: b.posterior(g, conf)}
		if b.NotEstimable == "" {
			out[i].Weight = float64(g.Trials) / (float64(g.Trials) + b.Alpha + b.Beta)
		}
	}
	return out, nil
}

func (b BetaPrior) posterior(g GroupCount, conf float64) Estimate {
	if b.NotEstimable != "" {
		return notEstimable(conf, b.Method, "%s", b.NotEstimable)
	}
	post := distuv.Beta{Alpha: b.Alpha + float64(g.Successes), Beta: b.Beta + float64(g.Trials-g.Successes)}
	e := Estimate{
		Value: post.Mean(), Conf: conf, Method: b.Method,
		Low: post.Quantile((1 - conf) / 2), High: post.Quantile((1 + conf) / 2),
		Numerator: float64(g.Successes), Denominator: float64(g.Trials),
	}
	// A posterior piled up at 0 or 1 has its mean outside the central limits.
	e.Low, e.High = math.Min(e.Low, e.Value), math.Max(e.High, e.Value)
	if b.Groups < fewGroups {
		e.Warnings = append(e.Warnings, fmt.Sprintf("the prior rests on only %d groups; the limits do not include its own error", b.Groups))
	}
	return e
}

// betaBinomialLogLik is the log-likelihood without binomial coefficients.
func betaBinomialLogLik(groups []GroupCount, alpha, beta float64) float64 {
	ll := -float64(len(groups)) * mathext.Lbeta(alpha, beta)
	for _, g := range groups {
		ll += mathext.Lbeta(alpha+float64(g.Successes), beta+float64(g.Trials-g.Successes))
	}
	return ll
}

// betaBinomialMax maximises the likelihood over (logit of the mean, log of
// alpha + beta). It is not ok when the maximum runs off to an infinitely narrow
// prior.
func betaBinomialMax(groups []GroupCount, common float64) (alpha, beta float64, ok bool) {
	// Beyond this sum the beta-binomial is the binomial to rounding. One common
	// proportion is the limit of an infinitely narrow prior; a spread is only
	// believed where it is likelier than that limit.
	const narrow = 1e6
	binomial := 0.0
	for _, g := range groups {
		s, f := float64(g.Successes), float64(g.Trials-g.Successes)
		binomial += s*math.Log(common) + f*math.Log(1-common)
	}
	parts := func(x []float64) (float64, float64, float64) {
		mean := 1 / (1 + math.Exp(-x[0]))
		total := math.Exp(math.Min(x[1], 40))
		return mean * total, (1 - mean) * total, mean
	}
	problem := optimize.Problem{
		Func: func(x []float64) float64 {
			a, b, _ := parts(x)
			if !(a > 0 && b > 0) {
				return math.Inf(1)
			}
			return -betaBinomialLogLik(groups, a, b)
		},
		Grad: func(grad, x []float64) {
			a, b, mean := parts(x)
			da, db := betaBinomialScore(groups, a, b)
			grad[0] = -(da - db) * (a + b) * mean * (1 - mean)
			grad[1] = -(da*a + db*b)
		},
	}
	best := math.Inf(1)
	for _, start := range []float64{0.7, 2.3, 4.6} { // prior worth 2, 10 and 100 calls
		x := []float64{math.Log(common / (1 - common)), start}
		// A failed line search still returns the best point it saw, which the
		// comparison below judges by its likelihood.
		res, _ := optimize.Minimize(problem, x, &optimize.Settings{GradientThreshold: 1e-9, MajorIterations: 500}, &optimize.BFGS{})
		if res == nil || !(res.F < best-1e-12) {
			continue
		}
		a, b, _ := parts(res.X)
		best, alpha, beta = res.F, a, b
	}
	return alpha, beta, alpha+beta < narrow && -best > binomial+1e-7
}

// betaBinomialScore is the gradient of the log-likelihood.
func betaBinomialScore(groups []GroupCount, alpha, beta float64) (da, db float64) {
	for _, g := range groups {
		s, f := float64(g.Successes), float64(g.Trials-g.Successes)
		total := mathext.Digamma(alpha+beta) - mathext.Digamma(alpha+beta+s+f)
		da += total + mathext.Digamma(alpha+s) - mathext.Digamma(alpha)
		db += total + mathext.Digamma(beta+f) - mathext.Digamma(beta)
	}
	return da, db
}
