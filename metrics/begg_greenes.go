package metrics

import "math"

// The interval methods of the closed form.
const (
	MethodBeggGreenesLogit Method = "Begg-Greenes, logit delta method"
	MethodBeggGreenesWald  Method = "Begg-Greenes, Wald"
)

// ClosedForm is a corrected proportion with its closed-form standard error.
type ClosedForm struct {
	// Logit has limits symmetrical on the logit scale, Wald on the plain
	// scale, clipped to [0, 1].
	Logit, Wald Estimate
	// SE is the delta-method standard error on the plain scale; it is 0 and
	// means nothing when Logit is not estimable.
	SE float64
}

// BeggGreenesResult holds the corrected figures in closed form.
type BeggGreenesResult struct {
	Sensitivity, Specificity, PPV, NPV, Prevalence ClosedForm
}

// BeggGreenes estimates accuracy corrected for partial verification in closed
// form, assuming that within a stratum and test result the followed-up part of
// the remainder is a random part of it.
//
// With part c of n episodes, k verified, x in need, r = x/k: A sums n*r over
// parts with the mark and B over those without; sensitivity is A/(A+B). On the
// logit scale its variance is the sum over parts of (n*r^2 + n^2*r(1-r)/k) over
// A^2 or B^2, whichever side the part is on, which for one stratum is the
// published formula and with everybody verified the binomial one. Specificity
// has 1-r in place of r; predictive values and prevalence are weighted means.
//
// Use it to reproduce published figures and to check Corrected, whose limits
// also hold where cells are sparse: with no animal in need on one side the
// delta method has no variance, and the figure is marked not estimable here.
// Errors wrap ErrArgument: a negative count, a conf outside (0, 1). Weighting
// each verified episode by n/k gives the same estimates.
//
// Source: Begg, Greenes (1983) Biometrics 39:207-215, strata as in their
// section 3; variance for strata by the delta method with multinomial parts.
func BeggGreenes(strata []VerificationStratum, conf float64) (BeggGreenesResult, error) {
	if err := checkConf(conf); err != nil {
		return BeggGreenesResult{}, err
	}
	if err := checkStrata(strata); err != nil {
		return BeggGreenesResult{}, err
	}
	parts := verificationParts(strata)
	mirrored := verificationParts(mirrorStrata(strata))
	both := unsampled(parts, true)
	if both == "" {
		both = unsampled(parts, false)
	}
	shareOf := func(pick func(part) bool, blocked string, parts []part, empty string) ClosedForm {
		if blocked != "" {
			return closedFormMissing(conf, blocked)
		}
		return weightedShare(parts, pick, conf, empty)
	}
	return BeggGreenesResult{
		Sensitivity: sideShare(parts, both, conf, "no animal in need was found or sampled"),
		Specificity: sideShare(mirrored, both, conf, "every animal found or sampled was in need"),
		PPV:         shareOf(func(p part) bool { return p.present }, unsampled(parts, true), parts, "nothing was marked"),
		NPV:         shareOf(func(p part) bool { return p.present }, unsampled(parts, false), mirrored, "everything was marked"),
		Prevalence:  shareOf(func(part) bool { return true }, both, parts, "there are no episodes"),
	}, nil
}

func closedFormMissing(conf float64, reason string) ClosedForm {
	return ClosedForm{
		Logit: notEstimable(conf, MethodBeggGreenesLogit, "%s", reason),
		Wald:  notEstimable(conf, MethodBeggGreenesWald, "%s", reason),
	}
}

// sideShare is A/(A+B): the share of expected needed episodes that carry the
// mark.
func sideShare(parts []part, blocked string, conf float64, empty string) ClosedForm {
	if blocked != "" {
		return closedFormMissing(conf, blocked)
	}
	var a, b, va, vb float64
	for _, p := range parts {
		r := p.rate()
		v := p.n*r*r + p.n*p.n*r*(1-r)/math.Max(p.k, 1)
		if p.present {
			a, va = a+p.n*r, va+v
		} else {
			b, vb = b+p.n*r, vb+v
		}
	}
	if a+b == 0 {
		return closedFormMissing(conf, empty)
	}
	if a == 0 || b == 0 {
		return closedFormMissing(conf, "one side has no case, so the closed form has no standard error; simulate")
	}
	return closedForm(a/(a+b), math.Sqrt(va/(a*a)+vb/(b*b)), a, a+b, conf)
}

// weightedShare is the mean rate of the chosen parts, weighted by their size.
func weightedShare(parts []part, pick func(part) bool, conf float64, empty string) ClosedForm {
	var n, a, squares, within float64
	for _, p := range parts {
		if pick(p) {
			r := p.rate()
			n, a = n+p.n, a+p.n*r
			squares += p.n * r * r
			within += p.n * p.n * r * (1 - r) / math.Max(p.k, 1)
		}
	}
	if n == 0 {
		return closedFormMissing(conf, empty)
	}
	mean := a / n
	if mean <= 0 || mean >= 1 {
		return closedFormMissing(conf, "all verified episodes agree, so the closed form has no standard error; simulate")
	}
	variance := (squares/n-mean*mean)/n + within/(n*n)
	return closedForm(mean, math.Sqrt(variance)/(mean*(1-mean)), a, n, conf)
}

// closedForm builds both intervals from an estimate inside (0, 1) and the
// standard error of its logit.
func closedForm(p, seLogit, num, den, conf float64) ClosedForm {
	z := twoSidedZ(conf)
	se := p * (1 - p) * seLogit
	logit := math.Log(p / (1 - p))
	expit := func(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
	base := Estimate{Value: p, Conf: conf, Numerator: num, Denominator: den}
	c := ClosedForm{Logit: base, Wald: base, SE: se}
	c.Logit.Method, c.Logit.Low, c.Logit.High = MethodBeggGreenesLogit, expit(logit-z*seLogit), expit(logit+z*seLogit)
	c.Wald.Method, c.Wald.Low, c.Wald.High = MethodBeggGreenesWald, clip01(p-z*se), clip01(p+z*se)
	return c
}
