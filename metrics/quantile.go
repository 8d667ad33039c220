package metrics

import (
	"math"
	"slices"

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

// quantileOf is the quantile of unsorted values as stat.Quantile gives it with
// stat.LinInterp. It puts only what it reads into its place, which takes a
// fraction of sorting; x is reordered.
func quantileOf(x []float64, p float64) float64 {
	at := p * float64(len(x))
	i := max(0, int(math.Ceil(at))-1)
	upper := orderStatistic(x, i)
	if i == 0 {
		return upper
	}
	lower := slices.Max(x[:i])
	share := float64(i+1) - at
	return share*lower + (1-share)*upper
}

// orderStatistic puts the value that stands at place k among the sorted there,
// none larger before it and none smaller behind, and returns it (quickselect:
// Hoare (1961) Commun ACM 4:321-322, algorithm 65).
func orderStatistic(x []float64, k int) float64 {
	for lo, hi := 0, len(x)-1; lo < hi; {
		pivot := x[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return x[k]
		}
	}
	return x[k]
}
