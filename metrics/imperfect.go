package metrics

import (
	"fmt"
	"math"
)

// The methods of this file.
const (
	MethodRoganGladen          Method = "Rogan-Gladen, transformed Wilson limits"
	MethodRoganGladenExact     Method = "Rogan-Gladen, transformed Clopper-Pearson limits"
	MethodRoganGladenEstimated Method = "Rogan-Gladen, Wald with estimated sensitivity and specificity"
	MethodKnownReference       Method = "reference of known accuracy, logit delta method"
)

// TruePrevalence is a prevalence freed from the errors of the test behind it.
type TruePrevalence struct {
	// Estimate is clipped to [0, 1], with a warning where that changed it.
	Estimate
	// Apparent is the share of positive tests.
	Apparent float64
	// Unclipped, UnclippedLow and UnclippedHigh are the plain results, which may
	// leave [0, 1]. SE is the standard error of Unclipped. All four are 0 and mean
	// nothing if the test cannot tell need from no need (sens + spec <= 1).
	Unclipped, UnclippedLow, UnclippedHigh, SE float64
}

// RoganGladen estimates the true prevalence of need from the share of x positive
// among n tested with a test of known sensitivity and specificity:
// (x/n + spec - 1) / (sens + spec - 1).
//
// The limits are Wilson's limits of x/n, transformed the same way; they allow for
// the sample of animals only. Refusals: sens + spec <= 1 (the test says nothing)
// and limits wholly outside [0, 1] (the stated accuracy does not fit the data) are
// not estimable. A value outside [0, 1] whose limits reach inside is set to the
// edge with a warning. x and n count animals; sens and spec are in [0, 1], else an
// error wrapping ErrArgument. Also called the adjusted prevalence.
//
// Source: Rogan, Gladen (1978) Am J Epidemiol 107:71-76; limits Reiczigel, Földi,
// Ózsvári (2010) Epidemiol Infect 138:1674-1678.
func RoganGladen(x, n int64, sens, spec, conf float64) (TruePrevalence, error) {
	apparent, err := Wilson(x, n, conf)
	if err != nil {
		return TruePrevalence{}, err
	}
	return roganGladen(apparent, sens, spec, MethodRoganGladen)
}

// RoganGladenExact is RoganGladen with the transformed limits of Clopper and
// Pearson, which hold their confidence at any prevalence.
func RoganGladenExact(x, n int64, sens, spec, conf float64) (TruePrevalence, error) {
	apparent, err := ClopperPearson(x, n, conf)
	if err != nil {
		return TruePrevalence{}, err
	}
	return roganGladen(apparent, sens, spec, MethodRoganGladenExact)
}

func roganGladen(apparent Estimate, sens, spec float64, m Method) (TruePrevalence, error) {
	if err := checkAccuracy(sens, spec); err != nil {
		return TruePrevalence{}, err
	}
	t := TruePrevalence{Apparent: apparent.Value}
	if !apparent.Estimable() {
		t.Estimate = notEstimable(apparent.Conf, m, "%s", apparent.NotEstimable)
		return t, nil
	}
	youden := sens + spec - 1
	if youden <= 0 {
		t.Estimate = notEstimable(apparent.Conf, m, "a test with sensitivity %v and specificity %v cannot tell need from no need", sens, spec)
		return t, nil
	}
	shift := func(p float64) float64 { return (p - (1 - spec)) / youden }
	p := apparent.Value
	t.Unclipped, t.UnclippedLow, t.UnclippedHigh = shift(p), shift(apparent.Low), shift(apparent.High)
	t.SE = math.Sqrt(p*(1-p)/apparent.Denominator) / youden
	t.clip(apparent.Conf, m)
	return t, nil
}

// clip makes the reported estimate from the unclipped one, or refuses.
func (t *TruePrevalence) clip(conf float64, m Method) {
	switch {
	case t.UnclippedHigh < 0:
		t.Estimate = notEstimable(conf, m, "fewer positives than the stated specificity alone explains: it does not fit these data")
		return
	case t.UnclippedLow > 1:
		t.Estimate = notEstimable(conf, m, "more positives than the stated sensitivity allows: it does not fit these data")
		return
	}
	t.Estimate = Estimate{
		Value: clip01(t.Unclipped), Low: clip01(t.UnclippedLow), High: clip01(t.UnclippedHigh), Conf: conf, Method: m,
	}
	if t.Value != t.Unclipped {
		t.Warnings = []string{fmt.Sprintf("the plain value is %.3f; set to %.0f, the nearest possible", t.Unclipped, t.Value)}
	}
}

// RoganGladenEstimated is RoganGladen where sensitivity and specificity were
// themselves estimated, on animals whose need was known: validation counts those
// animals by test result and need. The variance adds the uncertainty of all three,
// Wald's limits are symmetrical on the plain scale.
//
// A validation without animals in need, or without animals not in need, is not
// estimable. Otherwise refusals and errors are those of RoganGladen.
//
// Source: Rogan, Gladen (1978) Am J Epidemiol 107:71-76, variance with estimated
// error rates.
func RoganGladenEstimated(x, n int64, validation TwoByTwo, conf float64) (TruePrevalence, error) {
	const m = MethodRoganGladenEstimated
	sens, err := Sensitivity(validation, conf)
	if err != nil {
		return TruePrevalence{}, err
	}
	spec, err := Specificity(validation, conf)
	if err != nil {
		return TruePrevalence{}, err
	}
	apparent, err := Wilson(x, n, conf)
	if err != nil {
		return TruePrevalence{}, err
	}
	for _, e := range []Estimate{sens, spec} {
		if !e.Estimable() {
			return TruePrevalence{Estimate: notEstimable(conf, m, "validation: %s", e.NotEstimable), Apparent: apparent.Value}, nil
		}
	}
	t, err := roganGladen(apparent, sens.Value, spec.Value, m)
	if err != nil || t.SE == 0 && !t.Estimable() {
		return t, err
	}
	youden := sens.Value + spec.Value - 1
	within := func(p, n float64) float64 { return p * (1 - p) / n }
	variance := within(apparent.Value, apparent.Denominator) +
		t.Unclipped*t.Unclipped*within(sens.Value, sens.Denominator) +
		(1-t.Unclipped)*(1-t.Unclipped)*within(spec.Value, spec.Denominator)
	t.SE = math.Sqrt(variance) / youden
	half := twoSidedZ(conf) * t.SE
	t.UnclippedLow, t.UnclippedHigh = t.Unclipped-half, t.Unclipped+half
	t.clip(conf, m)
	return t, nil
}

// ReferenceCorrection is accuracy freed from the known errors of the reference.
type ReferenceCorrection struct {
	Sensitivity, Specificity, Prevalence Estimate
	// Plain values, which leave [0, 1] where the stated errors of the reference
	// do not fit the table. They mean nothing if NotEstimable says that the
	// denominator is empty.
	PlainSensitivity, PlainSpecificity, PlainPrevalence float64
}

// AgainstImperfectReference estimates the accuracy of a test that was compared
// with a reference of known sensitivity and specificity, such as an owner's
// account, instead of with true need. t counts the test against the reference.
//
// With f the reference's specificity, sensitivity is
// (TP*f - FP*(1-f)) / ((TP+FN)*f - (FP+TN)*(1-f)); specificity is the same with
// both labels exchanged. It assumes that, given true need, the errors of test and
// reference are unrelated; related errors make both look better than they are.
// Limits are by the delta method on the logit scale and take the reference's
// accuracy as exact. A value outside [0, 1] says that the stated accuracy does not
// fit the table: not estimable, never clipped. refSens + refSpec <= 1 and an empty
// table are not estimable either. At exactly 0 or 1 the delta method has no width,
// and the limits are 0 to 1 with a warning. Errors wrap ErrArgument.
//
// Source: Gart, Buck (1966) Am J Epidemiol 83:593-602; Staquet, Rozencweig, Lee,
// Muggia (1981) J Chronic Dis 34:599-610.
func AgainstImperfectReference(t TwoByTwo, refSens, refSpec, conf float64) (ReferenceCorrection, error) {
	if err := checkConf(conf); err != nil {
		return ReferenceCorrection{}, err
	}
	if err := t.check(); err != nil {
		return ReferenceCorrection{}, err
	}
	if err := checkAccuracy(refSens, refSpec); err != nil {
		return ReferenceCorrection{}, err
	}
	var out ReferenceCorrection
	if refSens+refSpec <= 1 || t.Total() == 0 {
		reason := "there are no episodes"
		if t.Total() > 0 {
			reason = fmt.Sprintf("a reference with sensitivity %v and specificity %v cannot tell need from no need", refSens, refSpec)
		}
		missing := notEstimable(conf, MethodKnownReference, "%s", reason)
		return ReferenceCorrection{Sensitivity: missing, Specificity: missing, Prevalence: missing}, nil
	}
	tp, fp, fn, tn := float64(t.TP), float64(t.FP), float64(t.FN), float64(t.TN)
	out.Sensitivity, out.PlainSensitivity = freedShare(tp, fp, fn, tn, refSpec, conf, "sensitivity")
	out.Specificity, out.PlainSpecificity = freedShare(tn, fn, fp, tp, refSens, conf, "specificity")
	prevalence, err := RoganGladen(t.TP+t.FN, t.Total(), refSens, refSpec, conf)
	out.Prevalence, out.PlainPrevalence = prevalence.Estimate, prevalence.Unclipped
	return out, err
}

// freedShare is the corrected sensitivity of a table with cells a (test and
// reference positive), b (test only), c (reference only) and d, against a
// reference of specificity f.
func freedShare(a, b, c, d, f, conf float64, name string) (Estimate, float64) {
	const m = MethodKnownReference
	top := a*f - b*(1-f)
	bottom := (a+c)*f - (b+d)*(1-f)
	if bottom <= 0 {
		return notEstimable(conf, m, "the reference's own false alarms explain all its positives (or negatives): no %s", name), 0
	}
	s := top / bottom
	if s < 0 || s > 1 {
		return notEstimable(conf, m, "the stated accuracy of the reference does not fit the table (%s would be %.2f)", name, s), s
	}
	e := Estimate{Value: s, Conf: conf, Method: m, Numerator: top, Denominator: bottom}
	if s == 0 || s == 1 {
		e.Low, e.High = 0, 1
		e.Warnings = []string{"at the edge the method has no limits; shown as 0 to 1"}
		return e, s
	}
	// Multinomial counts: the gradient of top/bottom in each cell, times bottom.
	ga, gb, gc, gd := f*(1-s), -(1-f)*(1-s), -s*f, s*(1-f)
	se := math.Sqrt(a*ga*ga+b*gb*gb+c*gc*gc+d*gd*gd) / bottom
	logit := closedForm(s, se/(s*(1-s)), top, bottom, conf).Logit
	e.Low, e.High = logit.Low, logit.High
	return e, s
}

func checkAccuracy(sens, spec float64) error {
	if !(sens >= 0 && sens <= 1 && spec >= 0 && spec <= 1) {
		return argErr("sensitivity %v and specificity %v, expected numbers from 0 to 1", sens, spec)
	}
	return nil
}
