package metrics

// CorrectedDecisionPoint is one threshold probability of a decision curve corrected for
// partial verification.
type CorrectedDecisionPoint struct {
	// Threshold is the threshold probability.
	Threshold float64
	// RuleSet is the net benefit of the rule set, All that of referring every animal;
	// referring none is worth 0.
	RuleSet, All Estimate
}

// CorrectedDecisionCurve is DecisionCurve for one rule set where an outcome is known for
// some episodes only. Verified episodes hold too many animals in need, so that the plain
// curve makes referring look better than it is; here all four expected counts are those of
// Corrected, and the limits come from the same simulated posterior.
//
// A populated remainder without follow-up makes every figure not estimable, with the reason.
// It returns ErrArgument for no threshold, one outside [0, 1), no strata, a negative count or
// options out of range.
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574 on the counts of Begg & Greenes
// (1983) Biometrics 39:207-215.
func CorrectedDecisionCurve(strata []VerificationStratum, thresholds []float64, opt CorrectionOptions) ([]CorrectedDecisionPoint, error) {
	if err := opt.check(); err != nil {
		return nil, err
	}
	if len(strata) == 0 || len(thresholds) == 0 {
		return nil, argErr("%d strata and %d threshold probabilities, expected at least one of each", len(strata), len(thresholds))
	}
	if err := checkStrata(strata); err != nil {
		return nil, err
	}
	parts := verificationParts(strata)
	s := summary{parts: parts, conf: opt.Conf, blockedPresent: unsampled(parts, true), blockedAbsent: unsampled(parts, false)}
	s.expect()
	s.draws = drawVerification(parts, opt.Draws, opt.Rand, false)
	why := s.blocked(true, true)
	if why == "" && len(parts) == 0 {
		why = "there are no episodes"
	}
	points := make([]CorrectedDecisionPoint, len(thresholds))
	for i, pt := range thresholds {
		w, err := harmWeight(pt)
		if err != nil {
			return nil, err
		}
		points[i] = CorrectedDecisionPoint{
			Threshold: pt,
			RuleSet:   s.worth(why, func(d verificationDraw) float64 { return d.tp - w*d.fp }),
			All:       s.worth(why, func(d verificationDraw) float64 { return d.tp + d.fn - w*(d.fp+d.tn) }),
		}
	}
	return points, nil
}

// worth is a total of a draw over its episodes, with percentile limits.
func (s *summary) worth(why string, total func(verificationDraw) float64) Estimate {
	if why != "" {
		return notEstimable(s.conf, MethodBeggGreenesDraws, "%s", why)
	}
	each := func(d verificationDraw) float64 { return total(d) / (d.tp + d.fp + d.fn + d.tn) }
	draws := make([]float64, len(s.draws))
	for i, d := range s.draws {
		draws[i] = each(d)
	}
	e := percentileEstimate(each(s.expected), draws, s.conf, MethodBeggGreenesDraws)
	e.Denominator = s.expected.tp + s.expected.fp + s.expected.fn + s.expected.tn
	return e
}

// CorrectedRuleWorth compares what two rule sets are worth at one threshold probability.
type CorrectedRuleWorth struct {
	// Threshold is the threshold probability.
	Threshold float64
	// First and Second are the net benefits, Difference is first minus second, All is that
	// of referring every animal.
	First, Second, Difference, All Estimate
}

// CompareWorthPartial is NetBenefitDifference over threshold probabilities where an outcome is
// known for some episodes only, on the expected counts and the simulated posterior of
// CompareRulesPartial. The difference needs follow-up only where the rule sets disagree, the
// other figures need it everywhere. It returns ErrArgument for no threshold, one outside
// [0, 1), and the errors of CompareRulesPartial.
func CompareWorthPartial(strata []PairVerificationStratum, thresholds []float64, opt CorrectionOptions) ([]CorrectedRuleWorth, error) {
	if len(thresholds) == 0 {
		return nil, argErr("no threshold probability, expected at least one")
	}
	parts, err := pairParts(strata, opt)
	if err != nil {
		return nil, err
	}
	p := newPairPosterior(parts, opt)
	const none = "there are no episodes"
	discordant := p.blocked[pairFirstOnly]
	if discordant == "" {
		discordant = p.blocked[pairSecondOnly]
	}
	out := make([]CorrectedRuleWorth, len(thresholds))
	for i, pt := range thresholds {
		w, err := harmWeight(pt)
		if err != nil {
			return nil, err
		}
		over := func(why string, weights [4]float64) Estimate {
			return p.estimate(opt.Conf, why, none, func(d pairDraw) (float64, bool) { return d.worth(weights, w) })
		}
		all := p.anyBlocked()
		out[i] = CorrectedRuleWorth{
			Threshold: pt, First: over(all, [4]float64{1, 1, 0, 0}), Second: over(all, [4]float64{1, 0, 1, 0}),
			Difference: over(discordant, [4]float64{0, 1, -1, 0}), All: over(all, [4]float64{1, 1, 1, 1}),
		}
	}
	return out, nil
}

// worth adds the net benefit of the four pairs of answers, each times its weight.
func (d pairDraw) worth(weights [4]float64, w float64) (float64, bool) {
	sum, n := 0.0, 0.0
	for i, x := range weights {
		sum += x * (d.needed[i] - w*d.notNeeded[i])
		n += d.needed[i] + d.notNeeded[i]
	}
	return sum / n, n > 0
}
