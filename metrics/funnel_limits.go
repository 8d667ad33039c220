package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// FunnelMethod says how the limits of a funnel are made.
type FunnelMethod int

const (
	// FunnelInterpolated are exact binomial quantiles, interpolated between
	// counts so that the limits are smooth in n.
	FunnelInterpolated FunnelMethod = iota + 1
	// FunnelExact are plain binomial quantiles, which step.
	FunnelExact
	// FunnelNormal are target +- z sqrt(target (1-target) / n).
	FunnelNormal
)

// FunnelLimit is the proportion below which prob of units with n calls fall if
// all share the target proportion.
//
// With r the smallest count whose cumulative probability F reaches prob,
// FunnelExact is r / n and FunnelInterpolated (r - a) / n, where a = (F(r) -
// prob) / (F(r) - F(r-1)). At small n the interpolated and normal limits can lie
// outside [0, 1]: clip them for drawing. target in (0, 1), prob in (0, 1), n of 1
// or more and a known method, else ErrArgument.
//
// Source: Spiegelhalter (2005) Stat Med 24:1185-1202, appendix.
func FunnelLimit(target float64, n int64, prob float64, m FunnelMethod) (float64, error) {
	if !(target > 0 && target < 1) || !(prob > 0 && prob < 1) || n < 1 {
		return 0, argErr("target %v, n %d, probability %v; expected both proportions between 0 and 1, n at least 1", target, n, prob)
	}
	size := float64(n)
	switch m {
	case FunnelNormal:
		return target + distuv.UnitNormal.Quantile(prob)*math.Sqrt(target*(1-target)/size), nil
	case FunnelExact:
		return float64(binomialQuantile(prob, n, target)) / size, nil
	case FunnelInterpolated:
		r := binomialQuantile(prob, n, target)
		at, before := binomialCDF(r, n, target), binomialCDF(r-1, n, target)
		return (float64(r) - (at-prob)/(at-before)) / size, nil
	}
	return 0, argErr("funnel method %d, expected FunnelInterpolated, FunnelExact or FunnelNormal", int(m))
}
