package metrics

import (
	"maps"
	"slices"
)

// GivenOrderAsked is the warning that every contribution of a flag carries.
const GivenOrderAsked = "given the order asked: a question that comes after an emergency sign had ended the call was often not put"

// NeedCount counts verified episodes by whether they needed prompt care.
type NeedCount struct {
	Needed, NotNeeded int64
}

func (n NeedCount) plus(o NeedCount) NeedCount {
	return NeedCount{n.Needed + o.Needed, n.NotNeeded + o.NotNeeded}
}

// FlagContribution says what one flag adds to a rule set, given the order asked.
type FlagContribution struct {
	// Flag is the bit of the flag, from 0.
	Flag int
	// Fired counts episodes in which the flag fired, Alone those in which no
	// other flag of the set did.
	Fired, Alone NeedCount
	// SensitivityLost is the share of all episodes in need that only this flag
	// caught, Alone.Needed / needed: what the set would miss without it.
	SensitivityLost Estimate
	// SpecificityGained is the share of all episodes not in need that only this
	// flag marked, Alone.NotNeeded / not needed.
	SpecificityGained Estimate
	// AlonePPV is the share in need among episodes that only this flag marked.
	AlonePPV Estimate
	// SensitivityWithout and SpecificityWithout are those of the set without
	// the flag.
	SensitivityWithout, SpecificityWithout Estimate
}

// RuleSetContribution is the accuracy of a rule set with the contribution of
// each of its flags.
type RuleSetContribution struct {
	// Table is the rule set's two-by-two table: marked means any flag fired.
	Table TwoByTwo
	// Flags holds one contribution a flag, in the order of the bits.
	Flags []FlagContribution
}

// LeaveOneFlagOut removes each flag of a rule set in turn and counts what the
// rest would have marked, on the same verified episodes.
//
// patterns counts verified episodes by the bit pattern of the flags that fired
// (bit i for flag i; 0 for none); flags is the number of flags, 1 to 64. Only
// flags that demand escalation at the cut in question belong in the pattern.
//
// The answer holds given the order asked: where a call ends at the first
// emergency sign, a flag asked late had no chance to fire beside the earlier
// ones, so the earlier flags look more indispensable than they are and the late
// one less tried. Every estimate carries this as a warning. An episode marked by
// two flags counts for neither, so the parts lost do not add up to the whole; a
// flag that never fires alone may still be the one that is asked reliably. A
// contribution of 0 is not evidence that a flag may go.
//
// Limits are Wilson's. With nobody in need, nobody out of need, or no episode
// marked by the flag alone, the respective estimate is not estimable. It returns
// an error wrapping ErrArgument for a negative count, a bit at or beyond flags,
// a number of flags outside 1..64, or a conf outside (0, 1).
//
// The share lost is the paired difference of two sensitivities of which one set
// contains the other, so only one kind of discordant pair exists; limits as for
// one proportion, Wilson (1927) J Am Stat Assoc 22:209-212.
func LeaveOneFlagOut(patterns map[uint64]NeedCount, flags int, conf float64) (RuleSetContribution, error) {
	if err := checkConf(conf); err != nil {
		return RuleSetContribution{}, err
	}
	if flags < 1 || flags > 64 {
		return RuleSetContribution{}, argErr("%d flags, expected 1 to 64", flags)
	}
	res := RuleSetContribution{Flags: make([]FlagContribution, flags)}
	var total, marked NeedCount
	for _, bits := range slices.Sorted(maps.Keys(patterns)) {
		n := patterns[bits]
		if n.Needed < 0 || n.NotNeeded < 0 {
			return RuleSetContribution{}, argErr("pattern %b: %d needed and %d not, expected counts of 0 or more", bits, n.Needed, n.NotNeeded)
		}
		if flags < 64 && bits>>flags != 0 {
			return RuleSetContribution{}, argErr("pattern %b has a flag beyond the %d of the rule set", bits, flags)
		}
		total = total.plus(n)
		if bits != 0 {
			marked = marked.plus(n)
		}
		for i := range res.Flags {
			f := &res.Flags[i]
			if bits&(1<<i) == 0 {
				continue
			}
			f.Fired = f.Fired.plus(n)
			if bits == 1<<i {
				f.Alone = f.Alone.plus(n)
			}
		}
	}
	res.Table = TwoByTwo{TP: marked.Needed, FP: marked.NotNeeded, FN: total.Needed - marked.Needed, TN: total.NotNeeded - marked.NotNeeded}
	for i := range res.Flags {
		res.Flags[i].Flag = i
		if err := res.Flags[i].estimate(res.Table, conf); err != nil {
			return RuleSetContribution{}, err
		}
	}
	return res, nil
}

// estimate fills in the proportions from the counts.
func (f *FlagContribution) estimate(set TwoByTwo, conf float64) error {
	needed, notNeeded := set.TP+set.FN, set.FP+set.TN
	for _, p := range []struct {
		to    *Estimate
		x, n  int64
		empty string
	}{
		{&f.SensitivityLost, f.Alone.Needed, needed, "no verified episode was in need"},
		{&f.SpecificityGained, f.Alone.NotNeeded, notNeeded, "every verified episode was in need"},
		{&f.AlonePPV, f.Alone.Needed, f.Alone.Needed + f.Alone.NotNeeded, "the flag never fired alone"},
		{&f.SensitivityWithout, set.TP - f.Alone.Needed, needed, "no verified episode was in need"},
		{&f.SpecificityWithout, set.TN + f.Alone.NotNeeded, notNeeded, "every verified episode was in need"},
	} {
		e, err := set.share(p.x, p.n, conf, p.empty)
		if err != nil {
			return err
		}
		e.Warnings = append(e.Warnings, GivenOrderAsked)
		*p.to = e
	}
	return nil
}
