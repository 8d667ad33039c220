package metrics

import "math"

// MeasuredPoint is a value over time with its standard deviation.
type MeasuredPoint struct {
	Value, Sigma float64
}

// EWMAPoint is one point of an exponentially weighted moving average.
type EWMAPoint struct {
	// Value is the average up to here; Low and High are its limits.
	Value, Low, High float64
	// Signal is set where the average lies outside its limits.
	Signal bool
}

// EWMA follows a slow drift: z = lambda x + (1 - lambda) z, started at target,
// with limits target +- width times its standard deviation, which widen over
// the first points as the variance of z does.
//
// points are in time order; Sigma may differ from point to point. lambda in
// (0, 1]: small values remember longer (0.05 to 0.3 are in use); width is in
// standard deviations and belongs to lambda, see EWMARunLength. It returns
// ErrArgument for a value that is not finite, a Sigma not above 0, or lambda or
// width out of range.
//
// Source: Roberts (1959) Technometrics 1:239-250; NIST/SEMATECH e-Handbook of
// Statistical Methods 6.3.2.4.
func EWMA(points []MeasuredPoint, target, lambda, width float64) ([]EWMAPoint, error) {
	if !(lambda > 0 && lambda <= 1) || !(width > 0) || math.IsInf(width, 0) {
		return nil, argErr("lambda %v and width %v, expected lambda in (0, 1] and a finite width above 0", lambda, width)
	}
	if math.IsNaN(target) || math.IsInf(target, 0) {
		return nil, argErr("target %v, expected a finite number", target)
	}
	out := make([]EWMAPoint, len(points))
	z, variance := target, 0.0
	for i, p := range points {
		if math.IsNaN(p.Value) || math.IsInf(p.Value, 0) || !(p.Sigma > 0) || math.IsInf(p.Sigma, 0) {
			return nil, argErr("point %d is %v with sigma %v, expected finite numbers and sigma above 0", i, p.Value, p.Sigma)
		}
		z = lambda*p.Value + (1-lambda)*z
		variance = (1-lambda)*(1-lambda)*variance + lambda*lambda*p.Sigma*p.Sigma
		half := width * math.Sqrt(variance)
		out[i] = EWMAPoint{Value: z, Low: target - half, High: target + half}
		out[i].Signal = z < out[i].Low || z > out[i].High
	}
	return out, nil
}

// EWMAProportion is EWMA of proportions X / N around the proportion target,
// with binomial standard deviations and limits cut to [0, 1]. A point with
// N = 0 repeats the average and signals nothing. A target outside (0, 1) or X
// outside 0..N is ErrArgument.
func EWMAProportion(points []ProportionPoint, target, lambda, width float64) ([]EWMAPoint, error) {
	if !(target > 0 && target < 1) {
		return nil, argErr("target proportion %v, expected a number between 0 and 1", target)
	}
	var measured []MeasuredPoint
	for i, p := range points {
		if p.X < 0 || p.X > p.N {
			return nil, argErr("point %d is %d of %d, expected 0 <= x <= n", i, p.X, p.N)
		}
		if p.N > 0 {
			n := float64(p.N)
			measured = append(measured, MeasuredPoint{float64(p.X) / n, math.Sqrt(target * (1 - target) / n)})
		}
	}
	averages, err := EWMA(measured, target, lambda, width)
	if err != nil {
		return nil, err
	}
	out := make([]EWMAPoint, len(points))
	last := EWMAPoint{Value: target, Low: target, High: target}
	for i, p := range points {
		if p.N == 0 {
			out[i] = last
			out[i].Signal = false
			continue
		}
		last, averages = averages[0], averages[1:]
		last.Low, last.High = clip01(last.Low), clip01(last.High)
		out[i] = last
	}
	return out, nil
}
