package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// tailBeyond3Sigma is the share of a normal beyond 3 sigma on one side.
const tailBeyond3Sigma = 0.00134989803163009

// discreteQuantile is the smallest count r of 0..most with cdf(r) >= p. The
// slack of a few rounding errors keeps a probability that equals p in exact
// arithmetic from being passed over.
func discreteQuantile(p float64, most int64, cdf func(r int64) float64) int64 {
	target := p * (1 - 64*0x1p-52)
	low, high := int64(-1), most // cdf(low) < target <= cdf(high)
	for high-low > 1 {
		middle := low + (high-low)/2
		if cdf(middle) >= target {
			high = middle
		} else {
			low = middle
		}
	}
	return high
}

// binomialQuantile is the smallest r with P(X <= r) >= prob.
func binomialQuantile(prob float64, n int64, p float64) int64 {
	return discreteQuantile(prob, n, func(r int64) float64 { return binomialCDF(r, n, p) })
}

func binomialCDF(r, n int64, p float64) float64 {
	switch {
	case r < 0:
		return 0
	case r >= n || p <= 0:
		return 1
	case p >= 1:
		return 0
	}
	return distuv.Binomial{N: float64(n), P: p}.CDF(float64(r))
}

// poissonQuantile is the smallest r with P(X <= r) >= prob.
func poissonQuantile(prob, mean float64) int64 {
	if mean <= 0 {
		return 0
	}
	d := distuv.Poisson{Lambda: mean}
	most := int64(math.Ceil(mean + 40*math.Sqrt(mean) + 40))
	return discreteQuantile(prob, most, func(r int64) float64 { return d.CDF(float64(r)) })
}
