package metrics

// TwoByTwo counts verified episodes by test result and need: one table for one
// test (the advice given, the level the rules demand, or one flag), one case
// definition and one cut.
//
// "Positive" is the test's mark (escalated, or flag present); the test "marks"
// an episode whose reading is at or beyond its threshold. "True" and "false"
// say whether the case definition agrees. Unverified episodes are in no cell.
type TwoByTwo struct {
	// TP is marked and in need, FP marked and not in need, FN not marked and
	// in need, TN not marked and not in need. Each counts episodes.
	TP, FP, FN, TN int64
}

// Total is the number of episodes in the table.
func (t TwoByTwo) Total() int64 { return t.TP + t.FP + t.FN + t.TN }

// Add sums two tables cell by cell.
func (t TwoByTwo) Add(o TwoByTwo) TwoByTwo {
	return TwoByTwo{TP: t.TP + o.TP, FP: t.FP + o.FP, FN: t.FN + o.FN, TN: t.TN + o.TN}
}

// check refuses negative cells, naming the first.
func (t TwoByTwo) check() error {
	for _, c := range []struct {
		name string
		n    int64
	}{{"TP", t.TP}, {"FP", t.FP}, {"FN", t.FN}, {"TN", t.TN}} {
		if c.n < 0 {
			return argErr("%s is %d, expected a count of 0 or more", c.name, c.n)
		}
	}
	return nil
}

// share is a Wilson proportion of a table, with the reason when it has no
// denominator.
func (t TwoByTwo) share(x, n int64, conf float64, empty string) (Estimate, error) {
	if err := t.check(); err != nil {
		return Estimate{}, err
	}
	e, err := Wilson(x, n, conf)
	if err == nil && n == 0 {
		e = notEstimable(conf, MethodWilson, "%s", empty)
	}
	return e, err
}

// Sensitivity estimates the share of episodes in need that the test marks,
// TP / (TP + FN), among verified episodes only. Where vets see mostly escalated
// episodes it is too high; see Corrected.
//
// conf is the confidence, in (0, 1). Limits are Wilson's. With nobody in need
// it is not estimable. It returns an error wrapping ErrArgument for a negative
// count or a conf outside (0, 1). Also called true positive rate; one minus it
// is under-triage "per need".
//
// Source: Altman, Bland (1994) BMJ 308:1552; limits Wilson (1927) J Am Stat
// Assoc 22:209-212, method 3 of Newcombe (1998) Stat Med 17:857-872.
func Sensitivity(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TP, t.TP+t.FN, conf, "no verified episode was in need")
}

// Specificity estimates the share of episodes not in need that the test leaves
// unmarked, TN / (TN + FP), among verified episodes only. Edges, errors and
// source are those of Sensitivity. Also called true negative rate; one minus it
// is over-triage "per need".
func Specificity(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TN, t.TN+t.FP, conf, "every verified episode was in need")
}

// PPV estimates the share of marked episodes that were in need, TP / (TP + FP):
// the positive predictive value at the prevalence of these data. With nothing
// marked it is not estimable. Limits and errors as in Sensitivity.
//
// Source: Altman, Bland (1994) BMJ 309:102.
func PPV(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TP, t.TP+t.FP, conf, "no verified episode was marked")
}

// NPV estimates the share of unmarked episodes that were not in need,
// TN / (TN + FN): the negative predictive value at the prevalence of these
// data. With everything marked it is not estimable. Limits, errors and source
// as in PPV.
func NPV(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TN, t.TN+t.FN, conf, "every verified episode was marked")
}

// Accuracy estimates the share of verified episodes on which test and need
// agree, (TP + TN) / total. It mostly repeats the specificity where need is
// rare, so it never stands alone. Limits and errors as in Sensitivity.
func Accuracy(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TP+t.TN, t.Total(), conf, "no episode was verified")
}

// Prevalence estimates the share of verified episodes that were in need,
// (TP + FN) / total. Among verified episodes only, it is not the prevalence
// among all calls. Limits and errors as in Sensitivity.
func Prevalence(t TwoByTwo, conf float64) (Estimate, error) {
	return t.share(t.TP+t.FN, t.Total(), conf, "no episode was verified")
}

// Youden estimates sensitivity + specificity - 1, the difference between the
// share marked among those in need and among those not in need: 0 for a test
// that tells nothing, negative for one that points the wrong way.
//
// Limits are Newcombe's for a difference of unpaired proportions. Not estimable
// without episodes in need or without episodes not in need. Errors as in
// Sensitivity. Also called Youden's J, informedness.
//
// Source: Youden (1950) Cancer 3:32-35; limits method 10 of Newcombe (1998)
// Stat Med 17:873-890.
func Youden(t TwoByTwo, conf float64) (Estimate, error) {
	if err := t.check(); err != nil {
		return Estimate{}, err
	}
	e, err := NewcombeDifference(t.TP, t.TP+t.FN, t.FP, t.FP+t.TN, conf)
	switch {
	case err != nil:
		return Estimate{}, err
	case t.TP+t.FN == 0:
		e = notEstimable(conf, MethodNewcombe10, "no verified episode was in need")
	case t.FP+t.TN == 0:
		e = notEstimable(conf, MethodNewcombe10, "every verified episode was in need")
	}
	return e, nil
}
