package metrics

import "math"

// FloorVerdict says how a figure stands against a floor.
type FloorVerdict int

// The verdicts. A figure whose interval holds the floor decides nothing, however
// far its value is from it.
const (
	// FloorNotEstimable: there is no figure.
	FloorNotEstimable FloorVerdict = iota
	// FloorNotMet: the whole interval lies below the floor.
	FloorNotMet
	// FloorOpen: the interval holds the floor; the data cannot tell.
	FloorOpen
	// FloorMet: the whole interval lies at or above the floor.
	FloorMet
)

// String is the verdict in words for a page.
func (v FloorVerdict) String() string {
	return [...]string{"not estimable", "below the floor", "cannot tell", "at or above the floor"}[v]
}

// AgainstFloor judges an estimate by its limits, not by its value: it meets the
// floor only if the lower limit does, and misses it only if the upper limit does. A
// limit that does not exist leaves the verdict open on its side.
//
// floor is on the scale of the estimate (0 to 1 for a proportion) and comes with the
// source of the target from the caller. It returns an error wrapping ErrArgument if
// floor is not a number.
//
// Source: interval reading of superiority to a margin, Altman, Bland (1995) BMJ
// 311:485, absence of evidence is not evidence of absence.
func AgainstFloor(e Estimate, floor float64) (FloorVerdict, error) {
	if math.IsNaN(floor) {
		return FloorNotEstimable, argErr("floor %v, expected a number", floor)
	}
	switch {
	case !e.Estimable():
		return FloorNotEstimable, nil
	case !e.LowUnbounded && e.Low >= floor:
		return FloorMet, nil
	case !e.HighUnbounded && e.High < floor:
		return FloorNotMet, nil
	}
	return FloorOpen, nil
}
