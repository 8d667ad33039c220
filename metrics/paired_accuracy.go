package metrics

import "math"

// Methods for ratios of paired rates.
const (
	// MethodPairedRatioLog is the log method for the ratio of two paired rates.
	MethodPairedRatioLog Method = "log ratio, paired"
	// MethodBonettPriceRatio joins Wilson limits of the two rates for their ratio.
	MethodBonettPriceRatio Method = "Bonett-Price hybrid (paired ratio)"
)

// RuleComparison sets two rule sets on the same verified episodes side by side. All
// differences are first minus second, all ratios first over second.
type RuleComparison struct {
	// FirstSensitivity ... SecondSpecificity have Wilson limits, each by itself.
	FirstSensitivity, SecondSensitivity Estimate
	FirstSpecificity, SecondSpecificity Estimate
	// SensitivityDifference and SpecificityDifference have Tango's limits.
	SensitivityDifference, SpecificityDifference Estimate
	// SensitivityTest and SpecificityTest are McNemar's mid-p tests.
	SensitivityTest, SpecificityTest TestResult
	// Relative rates: sensitivity, specificity, false positive rate.
	RelativeSensitivity, RelativeSpecificity, RelativeFalsePositive Estimate
	// Relative likelihood ratios of a mark and of its absence; above 1 the first rule
	// set's mark (absence) speaks more for need.
	RelativeLRPositive, RelativeLRNegative Estimate
}

// CompareRules compares two rule sets by pair: sensitivity among the animals in need,
// specificity among the others. It is the only fair comparison on the same episodes;
// two separate proportions would ignore that most pairs agree.
//
// Each side that is empty makes its own figures not estimable. Verified episodes only:
// see CompareRulesPartial where verification follows the advice. It returns ErrArgument
// for a negative count or a bad conf.
//
// Source: Pepe (2003) The Statistical Evaluation of Medical Tests, section 3.2-3.3; for
// each part PairedDifferenceTango, McNemarMidP, PairedRatio and RelativeLR.
func CompareRules(r RulePair, conf float64) (RuleComparison, error) {
	var c RuleComparison
	if err := r.check(); err != nil {
		return c, err
	}
	if err := checkConf(conf); err != nil {
		return c, err
	}
	// From here on no error can arise: all arguments have been checked.
	first, second := r.First(), r.Second()
	c.FirstSensitivity, _ = Sensitivity(first, conf)
	c.SecondSensitivity, _ = Sensitivity(second, conf)
	c.FirstSpecificity, _ = Specificity(first, conf)
	c.SecondSpecificity, _ = Specificity(second, conf)
	left := r.NotNeeded.Complement() // specificity counts the animals not marked
	c.SensitivityDifference, _ = PairedDifferenceTango(r.Needed, conf)
	c.SpecificityDifference, _ = PairedDifferenceTango(left, conf)
	c.SensitivityTest, _ = McNemarMidP(r.Needed)
	c.SpecificityTest, _ = McNemarMidP(left)
	c.RelativeSensitivity, _ = PairedRatio(r.Needed, conf)
	c.RelativeSpecificity, _ = PairedRatio(left, conf)
	c.RelativeFalsePositive, _ = PairedRatio(r.NotNeeded, conf)
	c.RelativeLRPositive = relativeLR(r.Needed, r.NotNeeded, conf)
	c.RelativeLRNegative = relativeLR(r.Needed.Complement(), left, conf)
	return c, nil
}

// PairedRatio estimates the ratio of the two shares of yes on the same episodes,
// (both + first only) / (both + second only). Limits: exp(log ratio -/+ z SE),
// SE = sqrt((b + c) / ((a + b)(a + c))), with a = both, b and c the discordant pairs.
//
// Without a discordant pair, or with a first share of 0, the log method has no width or
// no value: the limits are then Bonett and Price's, with a warning. A second share of 0
// makes the ratio not estimable. It returns ErrArgument for a negative count or a bad
// conf. On pairs of animals in need it is the relative sensitivity (relative true
// positive fraction).
//
// Source: Pepe (2003) The Statistical Evaluation of Medical Tests, section 3.3.
func PairedRatio(c PairedCounts, conf float64) (Estimate, error) {
	e, err := PairedRatioBonettPrice(c, conf)
	if err != nil || !e.Estimable() {
		return e, err
	}
	if c.Both+c.FirstOnly == 0 || c.FirstOnly+c.SecondOnly == 0 {
		e.Warnings = append(e.Warnings, "no discordant pair or no yes by the first: limits by Bonett and Price's hybrid method")
		return e, nil
	}
	h := twoSidedZ(conf) * pairedLogRatioSE(c)
	e.Low, e.High, e.Method = e.Value*math.Exp(-h), e.Value*math.Exp(h), MethodPairedRatioLog
	return e, nil
}

// PairedRatioBonettPrice is PairedRatio with limits that divide the Wilson limits of the
// two shares, taken among the pairs with any yes and with z shrunk by what the pairing
// saves. They keep their confidence with few pairs and have width without a discordant
// one. Edges and errors are those of PairedRatio.
//
// Source: Bonett & Price (2006) Stat Med 25:3039-3047.
func PairedRatioBonettPrice(c PairedCounts, conf float64) (Estimate, error) {
	if err := c.check(); err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	x1, x2 := float64(c.Both+c.FirstOnly), float64(c.Both+c.SecondOnly)
	if x2 == 0 {
		return notEstimable(conf, MethodBonettPriceRatio, "the second says yes to none of %d episodes, so there is nothing to compare with", c.N()), nil
	}
	low, high := bonettPriceRatioLimits(c, conf)
	v := x1 / x2
	return Estimate{Value: v, Low: math.Min(low, v), High: math.Max(high, v), Conf: conf,
		Method: MethodBonettPriceRatio, Numerator: x1, Denominator: x2}, nil
}

// pairedLogRatioSE needs a yes on both sides.
func pairedLogRatioSE(c PairedCounts) float64 {
	a, b, s := float64(c.Both), float64(c.FirstOnly), float64(c.SecondOnly)
	return math.Sqrt((b + s) / ((a + b) * (a + s)))
}

// bonettPriceRatioLimits needs a second share above 0.
func bonettPriceRatioLimits(c PairedCounts, conf float64) (low, high float64) {
	a, b, s := float64(c.Both), float64(c.FirstOnly), float64(c.SecondOnly)
	n, x1, x2 := a+b+s, a+b, a+s
	q1, q2 := (x1+1)/(n+2), (x2+1)/(n+2)
	joint := math.Sqrt((b + s + 2) / ((n + 2) * (n + 2) * q1 * q2))
	z := twoSidedZ(conf) * joint / (math.Sqrt((1-q1)/((n+2)*q1)) + math.Sqrt((1-q2)/((n+2)*q2)))
	l1, u1 := wilsonWithZ(x1, n, z)
	l2, u2 := wilsonWithZ(x2, n, z)
	return l1 / u2, u1 / l2
}

// relativeLR is the ratio of two likelihood ratios: the ratio of the shares of yes among
// animals in need over that among the others, with limits on the log scale.
func relativeLR(needed, notNeeded PairedCounts, conf float64) Estimate {
	const m = MethodPairedRatioLog
	for _, c := range []PairedCounts{needed, notNeeded} {
		if c.Both+c.FirstOnly == 0 || c.Both+c.SecondOnly == 0 {
			return notEstimable(conf, m, "one of the four rates is 0, so the ratio of likelihood ratios has no finite logarithm")
		}
	}
	s1, s0 := pairedLogRatioSE(needed), pairedLogRatioSE(notNeeded)
	if s1 == 0 && s0 == 0 {
		return notEstimable(conf, m, noDiscordantPair)
	}
	ratio := func(c PairedCounts) float64 {
		return float64(c.Both+c.FirstOnly) / float64(c.Both+c.SecondOnly)
	}
	v, h := ratio(needed)/ratio(notNeeded), twoSidedZ(conf)*math.Hypot(s1, s0)
	return Estimate{Value: v, Low: v * math.Exp(-h), High: v * math.Exp(h), Conf: conf, Method: m}
}
