package page

import (
	"io"

	"hindcheck/cmd/report/internal/replay"
)

// ReplayCSV writes every figure of a replay, one a row.
func ReplayCSV(w io.Writer, r *replay.Report) error {
	f, err := newFigures(w)
	if err != nil {
		return err
	}
	for _, way := range r.Ways {
		f.section = way.Way
		for _, c := range way.Cuts {
			f.cut, f.subject = c.Cut, "all"
			f.comparison(c)
		}
	}
	f.section, f.cut, f.subject = "cases", "either", "all"
	f.count("newly_missed", r.Cases.Totals["missed"])
	f.count("newly_below_need_unknown", r.Cases.BelowUnknown)
	f.section = "groups"
	for _, g := range r.Groups.List {
		f.cut, f.subject, f.strata = g.Cut, g.Property, g.Value
		f.count("calls", g.Calls)
		f.count("newly_sent", g.Up)
		f.count("newly_not_sent", g.Down)
		f.put("sensitivity_difference", "naive", g.Naive)
		f.put("sensitivity_difference", "corrected", g.Corrected)
		f.bound("sensitivity_difference", g.Range)
	}
	return f.done()
}

func (f *figures) comparison(c replay.Comparison) {
	f.count("calls", c.Calls)
	f.count("newly_sent", c.Up)
	f.count("newly_not_sent", c.Down)
	f.put("extra_referrals_a_day", "counted", c.ExtraPerDay)
	f.pairwise("naive", c.Naive)
	f.pairwise("corrected", c.Corrected)
	f.bound("sensitivity_difference", c.SensitivityRange)
	f.bound("specificity_difference", c.SpecificityRange)
	for _, x := range []struct {
		name string
		n    replay.Number
	}{{"gained", c.Gained}, {"lost", c.Lost}, {"extra", c.Extra}, {"spared", c.Spared}} {
		f.count(x.name, x.n.Known)
		f.put(x.name, "corrected", x.n.Number)
		f.put(x.name+"_per_1000", "corrected", x.n.Per1000)
		f.put(x.name+"_per_month", "corrected", x.n.PerMonth)
		f.bound(x.name, x.n.Range)
	}
	f.put("extra_for_each_caught", "corrected", c.ExtraPerCaught)
	for _, x := range c.Worth {
		name := "net_benefit_difference_at_" + number(&x.Threshold)
		f.put(name, "naive", x.Naive)
		f.put(name, "corrected", x.Difference)
	}
	f.put("break_even", "naive", c.BreakEven)
}

func (f *figures) pairwise(kind string, x replay.Pairwise) {
	f.put("old_sensitivity", kind, x.OldSensitivity)
	f.put("new_sensitivity", kind, x.NewSensitivity)
	f.put("sensitivity_difference", kind, x.SensitivityDifference)
	f.put("old_specificity", kind, x.OldSpecificity)
	f.put("new_specificity", kind, x.NewSpecificity)
	f.put("specificity_difference", kind, x.SpecificityDifference)
}
