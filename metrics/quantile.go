package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// twoSidedZ is the normal deviate that leaves (1-conf)/2 in each tail.
func twoSidedZ(conf float64) float64 {
	return distuv.UnitNormal.Quantile(1 - (1-conf)/2)
}

// twoSidedT is the same deviate of Student's t with df degrees of freedom.
func twoSidedT(conf, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(1 - (1-conf)/2)
}

// clip01 puts a limit that rounding (or a method that may leave the range, such
// as Agresti-Coull) pushed outside [0, 1] back to the edge.
func clip01(p float64) float64 { return math.Min(1, math.Max(0, p)) }

// risingRoot finds where the rising function f crosses zero in [lo, hi], to the
// last bit: it halves until no number lies between the ends. It returns an end
// where f does not change sign.
func risingRoot(f func(float64) float64, lo, hi float64) float64 {
	if f(lo) >= 0 {
		return lo
	}
	if f(hi) <= 0 {
		return hi
	}
	for {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			return mid
		}
		if f(mid) < 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
}
