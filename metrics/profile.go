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
// likelihood never reaches is unbounded; a coefficient whose profile cannot be
// followed is not estimable. It returns an error wrapping ErrArgument for a conf
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
	out := make([]Coefficient, len(f.Terms))
	for j, term := range f.Terms {
		e, p := f.profile(j, conf, method)
		out[j] = Coefficient{Term: term, LogOdds: e, OddsRatio: expEstimate(e), P: p}
	}
	return out, nil
}

// profile returns coefficient j with its limits and the likelihood ratio test
// of 0.
func (f LogisticFit) profile(j int, conf float64, m Method) (Estimate, float64) {
	chi := distuv.ChiSquared{K: 1}
	drop := chi.Quantile(conf) / 2
	low, lowState := f.profileLimit(j, -1, drop)
	high, highState := f.profileLimit(j, 1, drop)
	at0, ok := f.profileAt(j, 0)
	if !ok || lowState == profileFailed || highState == profileFailed {
		return notEstimable(conf, m, "the likelihood around this term has no single clear peak; the calls hold too little information about it"), 0
	}
	return Estimate{
		Value: f.Coef[j], Low: low, High: high, Conf: conf, Method: m,
		LowUnbounded: lowState == profileEndless, HighUnbounded: highState == profileEndless,
	}, chi.Survival(math.Max(0, 2*(f.peak-at0)))
}

// profileAt maximises the likelihood with coefficient j held at value, on the
// design's scale. It starts where a likelihood of the shape of a normal
// distribution would have its maximum.
func (f LogisticFit) profileAt(j int, value float64) (float64, bool) {
	beta := make([]float64, len(f.coef))
	scale := f.design.scale
	for i := range beta {
		slope := f.Cov[i][j] * scale[i] / (f.Cov[j][j] * scale[j])
		beta[i] = f.coef[i] + (value-f.coef[j])*slope
	}
	beta[j] = value
	return f.design.maximise(beta, func(i int) bool { return i != j }, f.Penalised)
}

// profileState says how the search for a limit ended.
type profileState int

const (
	profileFound   profileState = iota
	profileEndless              // the likelihood does not fall that far
	profileFailed               // the likelihood could not be followed
)

// profileLimit looks from the estimate in one direction for the value where the
// profile has fallen by drop.
func (f LogisticFit) profileLimit(j int, direction, drop float64) (float64, profileState) {
	centre, se := f.coef[j], f.SE[j]*f.design.scale[j]
	fall := func(t float64) (float64, bool) {
		ll, ok := f.profileAt(j, centre+direction*t*se)
		// A point above the peak means that the peak was one of several, which
		// a penalised likelihood can have under separation.
		return f.peak - ll - drop, ok && ll <= f.peak+1e-6
	}
	// 64 standard errors are as good as infinity.
	const endless, attempts = 64.0, 40
	near, far := 0.0, 1.0
	for range attempts {
		at, ok := fall(far)
		if !ok { // too far for the likelihood to be followed in one step
			far = near + (far-near)/4
			continue
		}
		if at >= 0 {
			root, ok := crossing(fall, near, far)
			if !ok {
				return 0, profileFailed
			}
			return (centre + direction*root*se) / f.design.scale[j], profileFound
		}
		if far >= endless {
			return 0, profileEndless
		}
		near, far = far, math.Min(endless, 2*far)
	}
	return 0, profileFailed
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
