package review

import (
	"fmt"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Contribution is what one flag alone adds to the flags that demand the cut,
// given the order asked.
type Contribution struct {
	// Alone counts mature episodes that no other such flag marked: what they
	// needed, and those of which it is not known.
	AloneNeeded     int64 `json:"alone_needed"`
	AloneNotNeeded  int64 `json:"alone_not_needed"`
	AloneUnverified int64 `json:"alone_unverified"`
	// SensitivityLost is the share of all verified episodes in need that only
	// this flag marked: the cost of removing it. SpecificityGained is the share
	// of those not in need: what removing it would have saved.
	SensitivityLost   Figure `json:"sensitivity_lost"`
	SpecificityGained Figure `json:"specificity_gained"`
	AlonePPV          Figure `json:"alone_ppv"`
}

// flagPatterns asks for the patterns of flags once.
func (b *builder) flagPatterns() ([]queries.FlagPatternsRow, error) {
	return once(b, &b.patterns, func() ([]queries.FlagPatternsRow, error) { return b.db.FlagPatterns(b.ctx, b.scope) })
}

// maxFlags is how many flags a pattern of bits can hold.
const maxFlags = 64

// contributions fills what each flag alone caught at one cut. Flags that demand
// less than the cut have none.
func (b *builder) contributions(f *Flags, cut int) error {
	rows, err := b.flagPatterns()
	if err != nil {
		return err
	}
	bit, n := map[int]int{}, 0
	for i, x := range b.db.Meta().Flags {
		if int(x.Level) >= cut {
			bit[i] = n
			n++
		}
	}
	if n == 0 || n > maxFlags {
		return nil
	}
	known, unverified := flagBits(rows, bit, cut)
	c, err := metrics.LeaveOneFlagOut(known, n, b.opt.Confidence)
	if err != nil {
		return err
	}
	for i := range f.Flags {
		k, ok := bit[i]
		if !ok {
			continue
		}
		x := c.Flags[k]
		f.Flags[i].OnlyThis = &Contribution{
			AloneNeeded: x.Alone.Needed, AloneNotNeeded: x.Alone.NotNeeded, AloneUnverified: unverified[1<<k],
			SensitivityLost: plainFigure(x.SensitivityLost), SpecificityGained: plainFigure(x.SpecificityGained), AlonePPV: plainFigure(x.AlonePPV),
		}
	}
	return nil
}

// plainFigure leaves out the warning that the table says once for all rows.
func plainFigure(e metrics.Estimate) Figure {
	f := figure(e)
	var rest []string
	for _, w := range f.Warnings {
		if w != metrics.GivenOrderAsked {
			rest = append(rest, w)
		}
	}
	f.Warnings = rest
	return f
}

// flagBits counts mature episodes by the pattern of the flags that have a bit.
func flagBits(rows []queries.FlagPatternsRow, bit map[int]int, cut int) (known map[uint64]metrics.NeedCount, unverified map[uint64]int64) {
	known, unverified = map[uint64]metrics.NeedCount{}, map[uint64]int64{}
	for _, x := range rows {
		if !x.Mature {
			continue
		}
		var pattern uint64
		for _, flag := range x.Fired {
			if k, ok := bit[flag]; ok {
				pattern |= 1 << k
			}
		}
		need := x.NeedSameDay
		if cut == emergency {
			need = x.NeedEmergency
		}
		n := known[pattern]
		switch need {
		case 1:
			n.Needed += x.N
		case 0:
			n.NotNeeded += x.N
		default:
			unverified[pattern] += x.N
			continue
		}
		known[pattern] = n
	}
	return known, unverified
}

// AnyAnswer are the bounds of a flag whatever the episodes would have shown on
// which it was not assessed, and whatever the unverified ones were: the third
// answer to "not assessed", beside the sign among those assessed and the flag as
// used.
type AnyAnswer struct {
	Sensitivity Range `json:"sensitivity"`
	Specificity Range `json:"specificity"`
}

// anyAnswer joins the bounds in which every unassessed episode had the sign with
// those in which none had. A sensitivity is lowest with none and highest with
// all, a specificity the other way round, so nothing between lies outside.
func anyAnswer(c FlagCounts) (AnyAnswer, error) {
	var open NotAssessed
	for _, x := range c.NotAssessed {
		open.Needed, open.NotNeeded, open.Unverified = open.Needed+x.Needed, open.NotNeeded+x.NotNeeded, open.Unverified+x.Unverified
	}
	var both [2]metrics.Bounds
	for i, shown := range []bool{true, false} {
		s := metrics.VerificationStratum{
			Name:    "all",
			Present: metrics.VerificationCell{FoundNeeded: c.Verified.TP, FoundNotNeeded: c.Verified.FP, Unverified: c.Unverified.Present},
			Absent:  metrics.VerificationCell{FoundNeeded: c.Verified.FN, FoundNotNeeded: c.Verified.TN, Unverified: c.Unverified.Absent},
		}
		side := &s.Absent
		if shown {
			side = &s.Present
		}
		side.FoundNeeded, side.FoundNotNeeded, side.Unverified = side.FoundNeeded+open.Needed, side.FoundNotNeeded+open.NotNeeded, side.Unverified+open.Unverified
		var err error
		if both[i], err = metrics.VerificationBounds([]metrics.VerificationStratum{s}); err != nil {
			return AnyAnswer{}, err
		}
	}
	return AnyAnswer{joinRanges(both[1].Sensitivity, both[0].Sensitivity), joinRanges(both[0].Specificity, both[1].Specificity)}, nil
}

// joinRanges takes the lower end of one range and the upper end of another.
func joinRanges(low, high metrics.Range) Range {
	switch {
	case low.Undefined != "":
		return Range{Undefined: low.Undefined}
	case high.Undefined != "":
		return Range{Undefined: high.Undefined}
	}
	return Range{Low: &low.Low, High: &high.High}
}

// Baseline is the period that flags are compared with.
type Baseline struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Label string `json:"label"`
	// Months is how many of its months hold any episode.
	Months int `json:"months_with_episodes"`
	// Comparisons were made over all flags; ExpectedByChance of them leave out
	// nought although nothing changed. ConfAll is the confidence at which a
	// difference is marked as standing out among all of them (Bonferroni).
	Comparisons      int     `json:"comparisons"`
	ExpectedByChance float64 `json:"expected_by_chance"`
	ConfAll          float64 `json:"conf_all"`
	// NotComparable says why there are no comparisons.
	NotComparable string `json:"not_comparable,omitempty"`
}

// FlagChange compares a flag with the baseline period. The periods share no
// episode, so the differences are unpaired.
type FlagChange struct {
	// Found is the share of assessed episodes on which the flag fired; Escalated
	// of these that were escalated; Sensitivity and PPV are naive.
	Found       Shift `json:"found"`
	Escalated   Shift `json:"escalated"`
	Sensitivity Shift `json:"sensitivity"`
	PPV         Shift `json:"ppv"`
}

// Shift is a share now and before.
type Shift struct {
	Now        Figure `json:"now"`
	Before     Figure `json:"before"`
	Difference Figure `json:"difference"`
	// Signal is whether the limits leave out nought; Among whether those do that
	// allow for all comparisons.
	Signal bool `json:"signal"`
	Among  bool `json:"among_all"`
}

// baselineScope is the stated baseline, or the twelve months before the period.
func (b *builder) baselineScope() queries.Scope {
	s := b.scope
	s.From, s.To = queries.AddMonths(b.scope.From, -Months), queries.AddMonths(b.scope.From, -1)
	if b.opt.BaselineFrom != 0 {
		s.From, s.To = b.opt.BaselineFrom, b.opt.BaselineTo
	}
	return s
}

// flagCountsOf sums what a change compares.
type flagCountsOf struct {
	present, absent, escalated, withAdvice int64
	cells                                  Cells
}

// sums are those of a flag that is already counted.
func (f Flag) sums() flagCountsOf {
	p := f.Escalated.Present
	return flagCountsOf{present: p.Total(), absent: f.Escalated.Absent.Total(), escalated: p.Yes, withAdvice: p.Yes + p.No, cells: f.Counts.Verified}
}

func (b *builder) flagSums(s queries.Scope, cut int) ([]flagCountsOf, error) {
	rows, err := b.db.FlagCounts(b.ctx, s, cut)
	if err != nil {
		return nil, err
	}
	out := make([]flagCountsOf, len(b.db.Meta().Flags))
	for _, r := range rows {
		x := &out[r.Flag]
		x.present, x.absent = x.present+r.Present, x.absent+r.Absent
		if r.Level > 0 {
			x.withAdvice += r.Present
			if int(r.Level) >= cut {
				x.escalated += r.Present
			}
		}
		if r.Mature && r.Need >= 0 {
			x.cells.add(true, r.Need, r.Present)
			x.cells.add(false, r.Need, r.Absent)
		}
	}
	return out, nil
}

// changes compares every flag with the baseline.
func (b *builder) flagChanges(f *Flags, cut int) error {
	base := b.baselineScope()
	f.Baseline = Baseline{From: queries.FormatMonth(base.From), To: queries.FormatMonth(base.To),
		Label: fmt.Sprintf("%s to %s", monthName(base.From), monthName(base.To))}
	for _, m := range b.months {
		if m.Month >= base.From && m.Month <= base.To {
			f.Baseline.Months++
		}
	}
	switch {
	case f.Baseline.Months == 0:
		f.Baseline.NotComparable = "the baseline period holds no episodes"
		return nil
	case base.To >= b.scope.From && base.From <= b.scope.To:
		f.Baseline.NotComparable = "the baseline period and the one under review share months, so that their difference has no limits"
		return nil
	}
	before, err := b.flagSums(base, cut)
	if err != nil {
		return err
	}
	shares := make([][4][4]int64, len(f.Flags))
	for i := range f.Flags {
		n, o := f.Flags[i].sums(), before[i]
		shares[i] = [4][4]int64{
			{n.present, n.present + n.absent, o.present, o.present + o.absent},
			{n.escalated, n.withAdvice, o.escalated, o.withAdvice},
			{n.cells.TP, n.cells.TP + n.cells.FN, o.cells.TP, o.cells.TP + o.cells.FN},
			{n.cells.TP, n.cells.TP + n.cells.FP, o.cells.TP, o.cells.TP + o.cells.FP},
		}
		for _, s := range shares[i] {
			if s[1] > 0 && s[3] > 0 {
				f.Baseline.Comparisons++
			}
		}
	}
	f.Baseline.ExpectedByChance = float64(f.Baseline.Comparisons) * (1 - b.opt.Confidence)
	f.Baseline.ConfAll = 1 - (1-b.opt.Confidence)/float64(max(1, f.Baseline.Comparisons))
	for i := range f.Flags {
		c := &FlagChange{}
		for j, into := range []*Shift{&c.Found, &c.Escalated, &c.Sensitivity, &c.PPV} {
			if *into, err = b.shift(shares[i][j], f.Baseline.ConfAll); err != nil {
				return err
			}
		}
		f.Flags[i].Change = c
	}
	return nil
}

// shift compares x[0] of x[1] now with x[2] of x[3] before.
func (b *builder) shift(x [4]int64, confAll float64) (Shift, error) {
	now, err := metrics.Wilson(x[0], x[1], b.opt.Confidence)
	if err != nil {
		return Shift{}, err
	}
	before, err := metrics.Wilson(x[2], x[3], b.opt.Confidence)
	if err != nil {
		return Shift{}, err
	}
	d, err := metrics.NewcombeDifference(x[0], x[1], x[2], x[3], b.opt.Confidence)
	if err != nil {
		return Shift{}, err
	}
	all, err := metrics.NewcombeDifference(x[0], x[1], x[2], x[3], confAll)
	if err != nil {
		return Shift{}, err
	}
	leavesOut := func(e metrics.Estimate) bool { return e.Estimable() && (e.Low > 0 || e.High < 0) }
	return Shift{figure(now), figure(before), figure(d), leavesOut(d), leavesOut(all)}, nil
}
