package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ProfileLimits returns every coefficient with profile likelihood limits: the
// values of the coefficient at which the likelihood, maximised over all other
// coefficients, has fallen by half the chi-square quantile. They follow the
// likelihood's true shape and are the limits to use with small counts. After
// FitFirth the likelihood is the penalised one, and the other coefficients are
// those that maximise it with the coefficient held.
//
// P is the likelihood ratio test of a coefficient of 0. A limit that the
// likelihood never reaches is unbounded. It returns an error wrapping ErrArgument for a conf
// outside (0, 1).
//
// Source: Venzon & Moolgavkar (1988) Appl Stat 37:87-94; for the penalised form
// Heinze & Schemper (2002) Stat Med 21:2409-2419.
func (f LogisticFit) ProfileLimits(conf float64) ([]Coefficient, error) {
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	method := MethodLogisticProfile
	if f.Penalised {
		method = MethodFirthProfile
	}
	if f.NotEstimable != "" {
		return f.withoutLimits(conf, method, f.NotEstimable), nil
	}
	chi := distuv.ChiSquared{K: 1}
	drop := chi.Quantile(conf) / 2
	out := make([]Coefficient, len(f.Terms))
	for j, term := range f.Terms {
		e := Estimate{Value: f.Coef[j], Conf: conf, Method: method}
		if low, ok := f.profileLimit(j, -1, drop); ok {
			e.Low = low
		} else {
			e.LowUnbounded = true
		}
		if high, ok := f.profileLimit(j, 1, drop); ok {
			e.High = high
		} else {
			e.HighUnbounded = true
		}
		out[j] = Coefficient{Term: term, LogOdds: e, OddsRatio: expEstimate(e)}
		if at0, ok := f.profileAt(j, 0, f.coef); ok {
			out[j].P = chi.Survival(math.Max(0, 2*(f.peak-at0)))
		}
	}
	return out, nil
}

// profileAt maximises the likelihood with coefficient j held at value (on the
// design's scale), starting from the other coefficients in start.
func (f LogisticFit) profileAt(j int, value float64, start []float64) (float64, bool) {
	beta := append([]float64(nil), start...)
	beta[j] = value
	return f.design.maximise(beta, func(i int) bool { return i != j }, f.Penalised)
}

// profileLimit looks from the estimate in one direction for the value where the
// profile has fallen by drop. It is not ok when the profile does not fall that
// far within reach.
func (f LogisticFit) profileLimit(j int, direction, drop float64) (float64, bool) {
	centre, se := f.coef[j], f.SE[j]*f.design.scale[j]
	fall := func(v float64) (float64, bool) {
		ll, ok := f.profileAt(j, v, f.coef)
		return f.peak - ll - drop, ok
	}
	near := 0.0
	for far := 1.0; far <= 64; far *= 2 { // 64 standard errors are as good as infinity
		at, ok := fall(centre + direction*far*se)
		if !ok {
			return 0, false
		}
		if at >= 0 {
			root, ok := crossing(func(t float64) (float64, bool) { return fall(centre + direction*t*se) }, near, far)
			return (centre + direction*root*se) / f.design.scale[j], ok
		}
		near = far
	}
	return 0, false
}

// crossing finds where f turns from negative at lo to positive at hi, by the
// Illinois form of false position. It is not ok when f cannot be computed.
//
// Source: Dowell & Jarratt (1971) BIT 11:168-174.
func crossing(f func(float64) (float64, bool), lo, hi float64) (float64, bool) {
	flo, ok1 := f(lo)
	fhi, ok2 := f(hi)
	if !ok1 || !ok2 {
		return 0, false
	}
	side := 0
	for range 200 {
		mid := (lo*fhi - hi*flo) / (fhi - flo)
		fm, ok := f(mid)
		if !ok {
			return 0, false
		}
		if math.Abs(fm) < 1e-13 || hi-lo < 1e-12*math.Max(1, math.Abs(mid)) {
			return mid, true
		}
		if fm < 0 {
			lo, flo = mid, fm
			if side < 0 {
				fhi /= 2
			}
			side = -1
		} else {
			hi, fhi = mid, fm
			if side > 0 {
				flo /= 2
			}
			side = 1
		}
	}
	return (lo + hi) / 2, true
}
