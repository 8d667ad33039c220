package metrics

import "math"

// CorrectedChoice is a threshold chosen on counts corrected for partial verification.
type CorrectedChoice struct {
	// Choice has the corrected sensitivity and specificity; AtThreshold is the share of
	// all episodes, verified or not, that lie on a limit.
	Choice Choice
	// Lower and Upper are the chosen limits with percentiles over the posterior draws. A
	// limit that the choice does not apply is not estimable.
	Lower, Upper Estimate
	// Shares lists what the draws chose, most frequent first; empty where they cannot
	// choose.
	Shares []ThresholdShare
	// Curve is the corrected curve with its limits.
	Curve CorrectedCurve
}

// CorrectedThreshold chooses a threshold as ChooseThreshold does, on the expected counts of
// CorrectedROC, so that the share in need and the errors of a rule are those of all calls
// and not of the verified ones. How firmly the choice stands is read from the posterior
// draws, each of which chooses for itself.
//
// A floor AtLowerLimit is tested on the limits of the corrected curve; a single draw has
// none, so that Lower and Upper are then not estimable. The choice is made on the same
// episodes and its figures flatter: judge it on later ones. Edges and errors are those of
// ChooseThreshold and CorrectedROC.
func CorrectedThreshold(cells []ValueVerification, d Direction, unit CorrectionUnit, by Criterion, within float64, opt CorrectionOptions) (CorrectedChoice, error) {
	if err := by.check(); err != nil {
		return CorrectedChoice{}, err
	}
	if err := checkWithin(within); err != nil {
		return CorrectedChoice{}, err
	}
	curve, err := CorrectedROC(cells, d, unit, opt)
	if err != nil {
		return CorrectedChoice{}, err
	}
	_, s, err := newCorrection(cells, d, unit, opt)
	if err != nil {
		return CorrectedChoice{}, err
	}
	r := CorrectedChoice{Curve: curve}
	chooser := by
	if by.judged == AtLowerLimit {
		chooser = by.onLimitsOf(curve)
	}
	r.Choice = s.expected.choose(d, chooser, within)
	if !curve.Estimable() {
		r.Choice.NotEstimable, r.Choice.Plateau, r.Choice.Warnings = curve.NotEstimable, nil, nil
	}
	if !r.Choice.Estimable() {
		e := notEstimable(opt.Conf, MethodCorrectedROC, "%s", r.Choice.NotEstimable)
		r.Choice.Sensitivity, r.Choice.Specificity, r.Choice.AtThreshold, r.Lower, r.Upper = e, e, e, e, e
		return r, nil
	}
	r.Choice.Warnings = append(r.Choice.Warnings, curve.Warnings...)
	r.describe(s.expected.at(r.Choice.Threshold), cells, opt.Conf)
	if by.judged == AtLowerLimit {
		r.Lower = notEstimable(opt.Conf, MethodCorrectedROC, "a floor judged at its lower limit cannot be judged in a single draw")
		r.Upper = r.Lower
		return r, nil
	}
	chosen := chosenLimits{times: map[Threshold]int{}}
	for range opt.Draws {
		t := s.draw()
		if p, _, found := t.best(d, by); t.emptySideWhy == "" && found {
			chosen.note(p.Threshold)
		}
	}
	r.Shares = topShares(chosen.times)
	r.Lower, r.Upper = chosen.estimates(r.Choice.Threshold, opt.Conf, MethodCorrectedROC)
	return r, nil
}

// describe fills the figures at the chosen threshold. The point of the curve is found by
// its counts: two pairs of limits that mark the same expected episodes share one point.
func (r *CorrectedChoice) describe(chosen ROCPoint, cells []ValueVerification, conf float64) {
	nearest := math.Inf(1)
	for i, p := range r.Curve.Curve.Points {
		if gap := math.Abs(p.TP-chosen.TP) + math.Abs(p.FP-chosen.FP); gap < nearest {
			nearest = gap
			r.Choice.Sensitivity, r.Choice.Specificity = r.Curve.Points[i].Sensitivity, r.Curve.Points[i].Specificity
		}
	}
	var on, all int64
	th := r.Choice.Threshold
	for _, c := range cells {
		all += c.Total()
		if th.HasLower && c.Value == th.Lower || th.HasUpper && c.Value == th.Upper {
			on += c.Total()
		}
	}
	r.Choice.AtThreshold, _ = Wilson(on, all, conf)
}

// onLimitsOf is the floor criterion judged on the lower limits of a corrected curve.
func (c Criterion) onLimitsOf(curve CorrectedCurve) Criterion {
	low := map[Threshold]float64{}
	for _, p := range curve.Points {
		e := p.Sensitivity
		if c.onSpecificity {
			e = p.Specificity
		}
		low[p.Threshold] = e.Low
	}
	plain := c.score
	c.score = func(p ROCPoint) (float64, bool) {
		merit, _ := plain(p)
		l, known := low[p.Threshold]
		return merit, known && l >= c.floor-1e-12
	}
	return c
}
