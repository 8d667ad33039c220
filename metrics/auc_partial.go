package metrics

import (
	"math"
	"math/rand/v2"
)

// MethodPercentileBootstrap takes quantiles of the figure over resampled counts.
const MethodPercentileBootstrap Method = "bootstrap percentile"

// PartialAxis says which rate bounds the part of the curve.
type PartialAxis uint8

// The axes of a partial area.
const (
	// OverSpecificity measures sensitivity over a range of specificity.
	OverSpecificity PartialAxis = iota + 1
	// OverSensitivity measures specificity over a range of sensitivity.
	OverSensitivity
)

// PartialArea is the area under a stated part of a ROC curve.
type PartialArea struct {
	// Raw is the area itself, in 0..(width of the range).
	Raw Estimate
	// Standardised is McClish's figure, 0.5 (1 + (Raw - least) / (most - least)),
	// where least is the area under the diagonal in the range and most the width:
	// 0.5 for a useless finding, 1 for a perfect one.
	Standardised Estimate
}

// PartialAUC estimates the area under the part of the empirical ROC curve that lies
// between two rates from and to (order free, both in 0..1) on the given axis; points
// are joined by straight lines, which are cut where the range ends.
//
// A line that may not refer too much asks for specificity 1 to 0.9, one that may not
// miss asks for sensitivity 0.9 to 1. The limits are percentile limits over draws
// resamples of the counts, at least 200, in which the numbers of animals on each side
// stay fixed. The same rng state gives the same limits. With an empty side or
// BothEndsAreBad it is not estimable. It returns ErrArgument for the errors of
// AUCDeLong, a range outside 0..1 or of no width, fewer than 200 draws or a nil rng.
//
// Source: McClish (1989) Med Decis Making 9:190-195; bootstrap: Efron & Tibshirani
// (1993) An Introduction to the Bootstrap, chapter 13.
func PartialAUC(counts []ValueCount, d Direction, axis PartialAxis, from, to float64, draws int, conf float64, rng *rand.Rand) (PartialArea, error) {
	t, err := tabulateDirected(counts, d)
	if err != nil {
		return PartialArea{}, err
	}
	if err := checkConf(conf); err != nil {
		return PartialArea{}, err
	}
	if err := checkDraws(draws, rng); err != nil {
		return PartialArea{}, err
	}
	if axis != OverSpecificity && axis != OverSensitivity {
		return PartialArea{}, argErr("axis %d, expected OverSpecificity or OverSensitivity", axis)
	}
	lo, hi := math.Min(from, to), math.Max(from, to)
	if !(lo >= 0 && hi <= 1 && lo < hi) {
		return PartialArea{}, argErr("range %v to %v, expected two different rates between 0 and 1", from, to)
	}
	if why := t.areaObstacle(d); why != "" {
		none := notEstimable(conf, MethodPercentileBootstrap, "%s", why)
		return PartialArea{Raw: none, Standardised: none}, nil
	}
	raw, std := t.partialArea(d, axis, lo, hi)
	raws, stds := make([]float64, draws), make([]float64, draws)
	b := newResampler(t, rng)
	for i := range draws {
		raws[i], stds[i] = b.withinSides().partialArea(d, axis, lo, hi)
	}
	return PartialArea{
		Raw:          percentileEstimate(raw, raws, conf, MethodPercentileBootstrap),
		Standardised: percentileEstimate(std, stds, conf, MethodPercentileBootstrap),
	}, nil
}

// partialArea integrates the polygon between lo and hi on the axis.
func (t valueTable) partialArea(d Direction, axis PartialAxis, lo, hi float64) (raw, standardised float64) {
	var px, py float64
	first := true
	t.eachPoint(d, func(p ROCPoint) {
		x, y := p.Specificity(), p.Sensitivity()
		if axis == OverSensitivity {
			x, y = y, x
		}
		if !first {
			raw += trapezoidWithin(px, py, x, y, lo, hi)
		}
		px, py, first = x, y, false
	})
	// Under the diagonal sensitivity = 1 - specificity on either axis.
	least := ((1-lo)*(1-lo) - (1-hi)*(1-hi)) / 2
	most := hi - lo
	return raw, 0.5 * (1 + (raw-least)/(most-least))
}

// trapezoidWithin is the area under the line from (x1, y1) to (x2, y2), in either
// order, between the abscissas lo and hi.
func trapezoidWithin(x1, y1, x2, y2, lo, hi float64) float64 {
	if x1 > x2 {
		x1, y1, x2, y2 = x2, y2, x1, y1
	}
	a, b := math.Max(x1, lo), math.Min(x2, hi)
	if a >= b {
		return 0
	}
	at := func(x float64) float64 { return y1 + (y2-y1)*(x-x1)/(x2-x1) }
	return (b - a) * (at(a) + at(b)) / 2
}
