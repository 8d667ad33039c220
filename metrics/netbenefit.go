package metrics

import "math"

// Methods for net benefit.
const (
	// MethodMOVER joins Wilson limits of the shares of true and false positives.
	MethodMOVER Method = "variance recovery from Wilson limits"
	// MethodMOVERTango joins Tango limits of the two paired differences.
	MethodMOVERTango Method = "variance recovery from Tango limits"
)

// harmWeight is pt/(1-pt): how many true positives one false positive takes away.
func harmWeight(pt float64) (float64, error) {
	if !(pt >= 0 && pt < 1) {
		return 0, argErr("threshold probability %v, expected 0 or more and less than 1", pt)
	}
	return pt / (1 - pt), nil
}

// NetBenefit estimates what a rule set is worth at the threshold probability pt, in true
// positives an episode: TP/n - FP/n x pt/(1-pt). pt, in [0, 1), is the chance of need at
// which a visit would just be accepted; it states how many needless visits one found
// animal is worth. Referring nobody is worth 0.
//
// The limits join the Wilson limits of TP/n and FP/n, allowing for the correlation of
// two cells of one multinomial; they have width when a cell is empty. n counts verified
// episodes, so that where verification follows the advice the share in need is too high:
// see Corrected. With no episode it is not estimable. It returns ErrArgument for a
// negative count, pt outside [0, 1) or a bad conf.
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574; limits: Zou & Donner (2008)
// Stat Med 27:1693-1702.
func NetBenefit(t TwoByTwo, pt, conf float64) (Estimate, error) {
	w, err := netBenefitArguments(t, pt, conf)
	if err != nil {
		return Estimate{}, err
	}
	n := float64(t.Total())
	if n == 0 {
		return notEstimable(conf, MethodMOVER, "no verified episode"), nil
	}
	p, q := float64(t.TP)/n, float64(t.FP)/n
	lp, up := wilsonLimits(float64(t.TP), n, conf)
	lq, uq := wilsonLimits(float64(t.FP), n, conf)
	low, high := movers(p, lp, up, w*q, w*lq, w*uq, cellCorrelation(p, q))
	return netBenefitEstimate(p-w*q, low, high, n, conf, MethodMOVER), nil
}

// NetBenefitAll is the net benefit of referring every animal,
// prevalence - (1 - prevalence) pt/(1-pt), with limits from the Wilson limits of the
// share in need. Edges and errors are those of NetBenefit.
func NetBenefitAll(t TwoByTwo, pt, conf float64) (Estimate, error) {
	w, err := netBenefitArguments(t, pt, conf)
	if err != nil {
		return Estimate{}, err
	}
	n, need := float64(t.Total()), float64(t.TP+t.FN)
	if n == 0 {
		return notEstimable(conf, MethodWilson, "no verified episode"), nil
	}
	low, high := wilsonLimits(need, n, conf)
	all := func(p float64) float64 { return p - (1-p)*w }
	return netBenefitEstimate(all(need/n), all(low), all(high), n, conf, MethodWilson), nil
}

// StandardisedNetBenefit is net benefit as a share of the most there could be, the share
// in need: 1 for a rule set that refers exactly the animals in need. The limits are those
// of NetBenefit over the share in need, taken as known. With nobody in need it is not
// estimable. Errors are those of NetBenefit. Also called relative utility.
//
// Source: Baker, Cook, Vickers & Kramer (2009) J R Stat Soc A 172:729-748.
func StandardisedNetBenefit(t TwoByTwo, pt, conf float64) (Estimate, error) {
	e, err := NetBenefit(t, pt, conf)
	if err != nil || !e.Estimable() {
		return e, err
	}
	need := float64(t.TP+t.FN) / float64(t.Total())
	if need == 0 {
		return notEstimable(conf, MethodMOVER, "no verified episode was in need"), nil
	}
	e.Value, e.Low, e.High = e.Value/need, e.Low/need, e.High/need
	e.Warnings = append(e.Warnings, "limits take the share in need as known")
	return e, nil
}

// AvoidedReferrals is how many needless referrals an episode the rule set spares against
// referring every animal, with no fewer animals in need found:
// (net benefit - net benefit of all) (1-pt)/pt = TN/n - FN/n (1-pt)/pt. pt is in (0, 1).
// Limits, edges and errors are those of NetBenefit. Multiply by 100 for "per 100 calls".
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574.
func AvoidedReferrals(t TwoByTwo, pt, conf float64) (Estimate, error) {
	w, err := netBenefitArguments(t, pt, conf)
	if err != nil {
		return Estimate{}, err
	}
	if w == 0 {
		return Estimate{}, argErr("threshold probability 0, expected above 0 and less than 1")
	}
	// The same figure with the two sides exchanged: what counts is the animal left alone.
	mirrored := TwoByTwo{TP: t.TN, FP: t.FN, FN: t.FP, TN: t.TP}
	return NetBenefit(mirrored, 1-pt, conf)
}

func netBenefitArguments(t TwoByTwo, pt, conf float64) (w float64, err error) {
	if err := t.check(); err != nil {
		return 0, err
	}
	if err := checkConf(conf); err != nil {
		return 0, err
	}
	return harmWeight(pt)
}

func netBenefitEstimate(v, low, high, n, conf float64, m Method) Estimate {
	return Estimate{Value: v, Low: math.Min(v, low), High: math.Max(v, high), Conf: conf, Method: m, Denominator: n}
}

// cellCorrelation is the correlation of the shares p and q of two cells of one
// multinomial.
func cellCorrelation(p, q float64) float64 {
	v := (1 - p) * (1 - q)
	if v <= 0 { // one cell holds everything: what leaves it can only go to the other
		return -1
	}
	return -math.Sqrt(p * q / v)
}

// DecisionPoint is one threshold probability of a decision curve.
type DecisionPoint struct {
	// Threshold is the threshold probability.
	Threshold float64
	// RuleSets has the net benefit of each rule set, in the order they were given.
	RuleSets []Estimate
	// All is the net benefit of referring every animal; referring none is worth 0,
	// exactly and always.
	All Estimate
}

// DecisionCurve gives the net benefit of rule sets, of referring all, and of referring
// none (0) over threshold probabilities. The tables must cover the same episodes: the
// same number, and the same number in need. With no table or no threshold it returns
// ErrArgument, as it does for tables that disagree and for the errors of NetBenefit.
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574.
func DecisionCurve(ruleSets []TwoByTwo, thresholds []float64, conf float64) ([]DecisionPoint, error) {
	if len(ruleSets) == 0 || len(thresholds) == 0 {
		return nil, argErr("%d rule sets and %d threshold probabilities, expected at least one of each", len(ruleSets), len(thresholds))
	}
	first := ruleSets[0]
	for i, t := range ruleSets {
		if t.Total() != first.Total() || t.TP+t.FN != first.TP+first.FN {
			return nil, argErr("rule set %d covers %d episodes, %d in need; rule set 0 covers %d and %d; expected the same episodes",
				i, t.Total(), t.TP+t.FN, first.Total(), first.TP+first.FN)
		}
	}
	points := make([]DecisionPoint, len(thresholds))
	for i, pt := range thresholds {
		points[i] = DecisionPoint{Threshold: pt, RuleSets: make([]Estimate, len(ruleSets))}
		for j, t := range ruleSets {
			e, err := NetBenefit(t, pt, conf)
			if err != nil {
				return nil, err
			}
			points[i].RuleSets[j] = e
		}
		points[i].All, _ = NetBenefitAll(first, pt, conf)
	}
	return points, nil
}
