package metrics

import (
	"math"
	"slices"
)

// Spread is where a set of values lies: the lowest, the quartiles and the
// highest.
type Spread struct {
	Low, LowerQuartile, Median, UpperQuartile, High float64
	// N is the number of values; 0 makes all others 0 and meaningless.
	N int
}

// SpreadOf describes values, which may come in any order and stay as they are.
// Quartiles are interpolated between the two nearest values at (n-1)*p, counted
// from 0, as common statistical software does. A value that is not finite is an
// error wrapping ErrArgument.
//
// Source: definition 7 of Hyndman, Fan (1996) Am Stat 50:361-365.
func SpreadOf(values []float64) (Spread, error) {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return Spread{}, argErr("value %v, expected a finite number", v)
		}
	}
	if len(values) == 0 {
		return Spread{}, nil
	}
	x := slices.Sorted(slices.Values(values))
	at := func(p float64) float64 {
		h := float64(len(x)-1) * p
		i := int(h)
		if i == len(x)-1 {
			return x[i]
		}
		return x[i] + (h-float64(i))*(x[i+1]-x[i])
	}
	return Spread{x[0], at(0.25), at(0.5), at(0.75), x[len(x)-1], len(x)}, nil
}
