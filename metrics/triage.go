package metrics

// TriageMeaning says which of the three published meanings of "under-triage"
// and "over-triage" a figure has. They differ several-fold on the same calls,
// so a rate never travels without its meaning and its formula in words.
type TriageMeaning int

const (
	// PerNeed divides by the animals' need: under-triage is 1 - sensitivity,
	// over-triage 1 - specificity. The default of every page.
	PerNeed TriageMeaning = iota + 1
	// PerDecision divides by the advice: under-triage is 1 - negative
	// predictive value, over-triage 1 - positive predictive value (the
	// "matrix" of trauma registries).
	PerDecision
	// PerAllCalls divides by all verified calls, both ways.
	PerAllCalls
)

// String names the meaning in the words used on pages.
func (m TriageMeaning) String() string {
	switch m {
	case PerNeed:
		return "per need"
	case PerDecision:
		return "per decision"
	case PerAllCalls:
		return "per all calls"
	}
	return "unknown meaning"
}

// UnderFormula is the formula of under-triage in words, to print beside it.
func (m TriageMeaning) UnderFormula() string {
	switch m {
	case PerNeed:
		return "not escalated although needed / all that needed it (1 - sensitivity)"
	case PerDecision:
		return "not escalated although needed / all not escalated (1 - negative predictive value)"
	case PerAllCalls:
		return "not escalated although needed / all verified calls"
	}
	return ""
}

// OverFormula is the formula of over-triage in words, to print beside it.
func (m TriageMeaning) OverFormula() string {
	switch m {
	case PerNeed:
		return "escalated although not needed / all that did not need it (1 - specificity)"
	case PerDecision:
		return "escalated although not needed / all escalated (1 - positive predictive value)"
	case PerAllCalls:
		return "escalated although not needed / all verified calls"
	}
	return ""
}

// TriageRate is an under- or over-triage rate with its meaning.
type TriageRate struct {
	Estimate
	// Meaning is the denominator's kind.
	Meaning TriageMeaning
	// Formula is the fraction in words; print it beside the figure.
	Formula string
}

// UnderTriage estimates how often an animal that needed care at or above the
// cut was advised below it: FN / (TP + FN) per need, FN / (FN + TN) per
// decision, FN / N per all calls.
//
// t holds verified calls at one cut (LevelMatrix.AtCut makes it from levels);
// "test positive" means escalated. Limits are Clopper-Pearson's at confidence
// conf. Where vets mostly see escalated calls the figure is too low; correct
// t for partial verification first. An empty denominator is not estimable. It
// returns ErrArgument for a negative count, an unknown meaning or a conf
// outside (0, 1). Also called missed escalation, under-referral; its
// complement per need is sensitivity.
//
// Source: the three denominators as used by van Rein et al. (2018) JAMA Surg
// (per need), Davis et al. (2017) J Trauma (per decision) and Graversen et al.
// (2023) BMJ Open (per all calls).
func UnderTriage(t TwoByTwo, meaning TriageMeaning, conf float64) (TriageRate, error) {
	over := false
	return triageRate(t, meaning, over, conf)
}

// OverTriage estimates how often an animal was escalated that did not need
// it: FP / (FP + TN) per need, FP / (TP + FP) per decision, FP / N per all
// calls. Inputs, limits, edges, errors and sources are those of UnderTriage.
// Over-triage per need is 1 - specificity.
func OverTriage(t TwoByTwo, meaning TriageMeaning, conf float64) (TriageRate, error) {
	over := true
	return triageRate(t, meaning, over, conf)
}

func triageRate(t TwoByTwo, meaning TriageMeaning, over bool, conf float64) (TriageRate, error) {
	if err := t.check(); err != nil {
		return TriageRate{}, err
	}
	x, formula := t.FN, meaning.UnderFormula()
	needed, decided := t.TP+t.FN, t.FN+t.TN
	if over {
		x, formula = t.FP, meaning.OverFormula()
		needed, decided = t.FP+t.TN, t.TP+t.FP
	}
	var n int64
	switch meaning {
	case PerNeed:
		n = needed
	case PerDecision:
		n = decided
	case PerAllCalls:
		n = t.Total()
	default:
		return TriageRate{}, argErr("triage meaning %d, expected PerNeed, PerDecision or PerAllCalls", int(meaning))
	}
	e, err := ClopperPearson(x, n, conf)
	if err != nil {
		return TriageRate{}, err
	}
	return TriageRate{Estimate: e, Meaning: meaning, Formula: formula}, nil
}
