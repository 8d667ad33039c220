package metrics

import "fmt"

// MethodCorrectedROC names the limits of CorrectedROC and CorrectedThreshold.
const MethodCorrectedROC Method = "weighted by follow-up, posterior simulation on counts"

// ValueVerification counts the episodes of one stratum with one recorded value of a
// finding by how their need became known; see VerificationCell for the found part and
// the remainder.
type ValueVerification struct {
	// Value is the recorded value in the finding's own unit; it must be finite.
	Value float64
	// Stratum names the stratum. The level advised always belongs to it.
	Stratum string
	VerificationCell
}

// CorrectionUnit says among which episodes the followed-up ones of a remainder stand
// for all of it.
type CorrectionUnit uint8

// The correction units.
const (
	// WithinStratum weighs each followed-up episode by remainder / followed-up of its
	// stratum: follow-up is taken to be unrelated to need and value within the stratum.
	// It needs only strata with follow-up. With the side of the threshold in force among
	// the strata, the point of that threshold is the one of Corrected.
	WithinStratum CorrectionUnit = iota + 1
	// WithinStratumAndValue does so for each value by itself (Begg and Greenes with the
	// value as the test result): follow-up may depend on the value too, but every value
	// with unverified episodes needs follow-up. Band the values first.
	WithinStratumAndValue
)

// CorrectedPoint is one threshold of a corrected curve.
type CorrectedPoint struct {
	// Threshold is the rule.
	Threshold Threshold
	// Sensitivity and Specificity have expected counts as numerator and denominator.
	Sensitivity, Specificity Estimate
}

// CorrectedCurve is a ROC curve corrected for partial verification, beside the naive one.
type CorrectedCurve struct {
	// Curve has expected, fractional counts; Points has its limits, in the same order.
	Curve  Curve
	Points []CorrectedPoint
	// Area is the corrected area.
	Area Estimate
	// Naive and NaiveArea are those of the verified episodes only, whatever their route.
	Naive     Curve
	NaiveArea Area
	// Episodes counts all episodes, Unverified those whose need is unknown, and
	// ThinUnverified those of them in units with fewer than MinSampled followed up.
	Episodes, Unverified, ThinUnverified int64
	// NotEstimable is empty, or why there is no corrected curve; Area then says the same.
	NotEstimable string
	// Warnings belong beside the figures.
	Warnings []string
}

// Estimable reports whether there is a corrected curve.
func (c CorrectedCurve) Estimable() bool { return c.NotEstimable == "" }

// CorrectedROC estimates the ROC curve of a finding and its area where an outcome is known
// for some episodes only, and whether it is known depends on the advice given.
//
// Found episodes are added as they are. Each followed-up episode stands for n/k episodes, n
// being the remainder of its unit and k the followed-up part, so that the expected count
// of a value is found + sum of (n/k) x followed up. The curve never falls, as curves that
// correct each threshold by itself may. Limits are percentiles over a posterior simulated
// on the counts: unit sizes and found counts from gamma distributions, the make-up of a
// followed-up part (value by need) from a Dirichlet distribution, with two
// pseudo-observations for the whole finding, put at random where the episodes are.
//
// A unit with unverified episodes of which none was followed up makes the curve not
// estimable, with the reason; so does an expected side of no animal. BothEndsAreBad gives
// a curve but no area. It returns ErrArgument for a negative count, a value that is not
// finite, an unknown direction or unit, or options out of range. The order of cells does
// not matter to the estimates. Also called verification-bias-corrected ROC curve.
//
// Source: Alonzo & Pepe (2005) J R Stat Soc C 54:173-190 (weighting); Begg & Greenes (1983)
// Biometrics 39:207-215; Dirichlet weights: Rubin (1981) Ann Stat 9:130-134.
func CorrectedROC(cells []ValueVerification, d Direction, unit CorrectionUnit, opt CorrectionOptions) (CorrectedCurve, error) {
	c, s, err := newCorrection(cells, d, unit, opt)
	if err != nil || !c.Estimable() {
		return c, err
	}
	var areas []float64
	sens, spec := make([][]float64, len(c.Points)), make([][]float64, len(c.Points))
	for range opt.Draws {
		t := s.draw()
		if t.emptySideWhy != "" {
			continue
		}
		if d != BothEndsAreBad {
			areas = append(areas, t.placements(d).area())
		}
		cum := t.cumulate()
		for i, p := range c.Points {
			at := cum.at(t, p.Threshold)
			sens[i] = append(sens[i], clip01(at.Sensitivity()))
			spec[i] = append(spec[i], clip01(at.Specificity()))
		}
	}
	for i := range c.Points {
		p := c.Curve.Points[i]
		c.Points[i].Sensitivity = expectedShare(p.TP, p.Needed, sens[i], opt.Conf)
		c.Points[i].Specificity = expectedShare(p.NotNeeded-p.FP, p.NotNeeded, spec[i], opt.Conf)
	}
	if d != BothEndsAreBad {
		p := s.expected.placements(d)
		c.Area = expectedShare(p.u, p.nPos*p.nNeg, areas, opt.Conf)
		c.Area.Warnings = c.Warnings
	}
	return c, nil
}

func expectedShare(x, n float64, draws []float64, conf float64) Estimate {
	e := percentileEstimate(clip01(x/n), draws, conf, MethodCorrectedROC)
	if e.Estimable() {
		e.Numerator, e.Denominator = x, n
	}
	return e
}

// newCorrection checks the arguments and fills everything that needs no draw.
func newCorrection(cells []ValueVerification, d Direction, unit CorrectionUnit, opt CorrectionOptions) (CorrectedCurve, *correctedSampler, error) {
	var c CorrectedCurve
	if err := opt.check(); err != nil {
		return c, nil, err
	}
	if err := checkDirection(d); err != nil {
		return c, nil, err
	}
	if unit != WithinStratum && unit != WithinStratumAndValue {
		return c, nil, argErr("correction unit %d, expected WithinStratum or WithinStratumAndValue", unit)
	}
	verified := make([]ValueCount, len(cells))
	for i, v := range cells {
		if min(v.FoundNeeded, v.FoundNotNeeded, v.SampledNeeded, v.SampledNotNeeded, v.Unverified) < 0 {
			return c, nil, argErr("stratum %q, value %v: a negative count", v.Stratum, v.Value)
		}
		verified[i] = ValueCount{Value: v.Value, Needed: v.needed(), NotNeeded: v.notNeeded()}
		c.Episodes += v.Total()
		c.Unverified += v.Unverified
	}
	var err error
	if c.Naive, err = ROC(verified, d); err != nil { // refuses values that are not finite
		return c, nil, err
	}
	c.NaiveArea, _ = AUCDeLong(verified, d, opt.Conf)
	s := newCorrectedSampler(cells, unit, opt.Rand)
	c.ThinUnverified = s.thin(opt.MinSampled)
	if c.ThinUnverified > 0 {
		c.Warnings = append(c.Warnings, fmt.Sprintf("%d of %d unverified episodes are in strata or values with fewer than %d followed up",
			c.ThinUnverified, c.Unverified, opt.MinSampled))
	}
	if c.NotEstimable = s.blocked(); c.NotEstimable == "" {
		c.Curve = s.expected.curve(d)
		c.NotEstimable = c.Curve.NotEstimable
	}
	c.Curve.Direction = d
	why := c.NotEstimable
	if why == "" && d == BothEndsAreBad {
		why = s.expected.areaObstacle(d)
	}
	c.Area = notEstimable(opt.Conf, MethodCorrectedROC, "%s", why)
	for _, p := range c.Curve.Points {
		c.Points = append(c.Points, CorrectedPoint{Threshold: p.Threshold})
	}
	return c, s, nil
}
