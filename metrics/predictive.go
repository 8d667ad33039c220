package metrics

import "math"

// MethodBayesLimits names predictive values moved to another prevalence.
const MethodBayesLimits Method = "Bayes at a stated prevalence, logit delta method"

// PPVAt estimates the positive predictive value that the test's sensitivity and
// specificity give where a share prevalence of episodes is in need:
// se*p / (se*p + (1-sp)*(1-p)). It holds only as far as sensitivity and
// specificity carry over to that population.
//
// prevalence is in (0, 1) and taken as known. Limits follow from those of the
// positive likelihood ratio, since the post-test odds are the pre-test odds
// times the ratio. Where LRPositive is not estimable neither is this. It returns
// an error wrapping ErrArgument for a negative count, or a conf or prevalence
// outside (0, 1).
//
// Source: Altman, Bland (1994) BMJ 309:102; limits Mercaldo, Lau, Zhou (2007)
// Stat Med 26:2170-2183, logit version.
func PPVAt(t TwoByTwo, prevalence, conf float64) (Estimate, error) {
	if err := checkPrevalence(prevalence); err != nil {
		return Estimate{}, err
	}
	lr, err := LRPositive(t, conf)
	if err != nil {
		return Estimate{}, err
	}
	if t.FP == 0 && t.TP > 0 {
		// No false positive: every prevalence gives 1, the log method no limit.
		e := Estimate{Value: 1, Low: 0, High: 1, Conf: conf, Method: MethodBayesLimits}
		e.Warnings = []string{"no false positives: the lower limit is not known and shown as 0"}
		return e, nil
	}
	return postTestEstimate(lr, prevalence, false), nil
}

// NPVAt estimates the negative predictive value at a stated prevalence,
// sp*(1-p) / (sp*(1-p) + (1-se)*p). Arguments, limits, errors and source are
// those of PPVAt, with the negative likelihood ratio.
func NPVAt(t TwoByTwo, prevalence, conf float64) (Estimate, error) {
	if err := checkPrevalence(prevalence); err != nil {
		return Estimate{}, err
	}
	lr, err := LRNegative(t, conf)
	if err != nil {
		return Estimate{}, err
	}
	return postTestEstimate(lr, prevalence, true), nil
}

// PostTest is the probability of need after a result with likelihood ratio lr,
// starting from the probability pretest: odds multiply.
//
// pretest is in [0, 1], lr is finite and 0 or more. It returns an error wrapping
// ErrArgument otherwise. Source: Fagan (1975) N Engl J Med 293:257.
func PostTest(pretest, lr float64) (float64, error) {
	if !(pretest >= 0 && pretest <= 1) {
		return 0, argErr("pre-test probability %v, expected a number from 0 to 1", pretest)
	}
	if !(lr >= 0 && lr <= math.MaxFloat64) {
		return 0, argErr("likelihood ratio %v, expected a finite number of 0 or more", lr)
	}
	return postTest(pretest, lr), nil
}

// postTest needs no division by 1 - pretest, so certainty stays certainty.
func postTest(pretest, lr float64) float64 {
	if pretest == 1 || pretest == 0 {
		return pretest
	}
	return pretest * lr / (pretest*lr + 1 - pretest)
}

// postTestEstimate carries a likelihood ratio to the probability of need, or
// (negative) of no need, at a prevalence.
func postTestEstimate(lr Estimate, prevalence float64, negative bool) Estimate {
	if !lr.Estimable() {
		lr.Method = MethodBayesLimits
		return lr
	}
	e := Estimate{Conf: lr.Conf, Method: MethodBayesLimits, Warnings: lr.Warnings}
	e.Value, e.Low, e.High = postTest(prevalence, lr.Value), postTest(prevalence, lr.Low), 1
	if !lr.HighUnbounded {
		e.High = postTest(prevalence, lr.High)
	}
	if negative {
		e.Value, e.Low, e.High = 1-e.Value, 1-e.High, 1-e.Low
	}
	return e
}

func checkPrevalence(p float64) error {
	if !(p > 0 && p < 1) {
		return argErr("prevalence %v, expected a number between 0 and 1", p)
	}
	return nil
}
