package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Settle says how much longer to observe until a figure is clear of a bound.
type Settle struct {
	// Months are needed beyond those observed; 0 if the limits leave the bound out
	// already.
	Months float64
	// NotReachable is empty, or says why no time will do; Months is then 0 and means
	// nothing.
	NotReachable string
}

// mostSettleMonths is a century; a longer wait is no plan.
const mostSettleMonths = 1200

// MonthsToSettle says how many more months like those observed are needed until, if the
// truth is what the estimate says, the limit on the side of the bound clears it with
// probability power. Limits draw together with the root of the time: with half-width h
// towards the bound, distance d and normal quantiles z of the limits and zp of power,
//
//	months needed = months x (h (z + zp) / (d z))^2.
//
// It serves figures that have no sample plan of their own, such as corrected differences
// of paired rates, and is exact for a normal mean. An estimate at the bound itself, or
// one that is not estimable, is NotReachable. It returns ErrArgument for a bound that is
// no number, months not above 0 or a power outside [0.5, 1).
//
// Source: sample size for a normal mean against a fixed value, as in Julious (2004) Stat
// Med 23:1921-1986, section 5 (from memory).
func MonthsToSettle(e Estimate, bound, months, power float64) (Settle, error) {
	switch {
	case math.IsNaN(bound) || math.IsInf(bound, 0):
		return Settle{}, argErr("bound %v, expected a number", bound)
	case !(months > 0) || math.IsInf(months, 0):
		return Settle{}, argErr("%v months, expected more than 0", months)
	case !(power >= 0.5 && power < 1):
		return Settle{}, argErr("power %v, expected 0.5 or more and less than 1", power)
	case !e.Estimable():
		return Settle{NotReachable: "there is no estimate: " + e.NotEstimable}, nil
	}
	d, h, unbounded := e.Value-bound, e.Value-e.Low, e.LowUnbounded
	if d < 0 {
		d, h, unbounded = -d, e.High-e.Value, e.HighUnbounded
	}
	switch {
	case unbounded:
		return Settle{NotReachable: "the estimate has no limit on that side"}, nil
	case d == 0:
		return Settle{NotReachable: "the figure stands at the bound itself"}, nil
	case h < d:
		return Settle{}, nil
	}
	z, zPower := twoSidedZ(e.Conf), distuv.UnitNormal.Quantile(power)
	ratio := h * (z + zPower) / (d * z)
	more := months * (ratio*ratio - 1)
	if more > mostSettleMonths {
		return Settle{NotReachable: fmt.Sprintf("it would take more than %d years", mostSettleMonths/12)}, nil
	}
	return Settle{Months: more}, nil
}
