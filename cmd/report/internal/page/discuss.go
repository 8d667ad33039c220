package page

import (
	"fmt"
	"io"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/review"
)

// discuss writes the counts behind the cases and the follow-up as rows.
func (f *figures) discuss(r *review.Review) {
	f.cut, f.strata = "", ""
	for _, m := range r.Warnings.Months {
		f.section, f.subject = "early warning", m.Month
		f.count("episodes", m.Episodes)
		f.count("with a warning", m.Any)
		f.count("rang again within 24 hours", m.Recontact24h)
		f.count("advised higher later", m.RaisedLater)
		f.count("died", m.Died)
		f.count("complaints looked up", m.LookedUp)
		f.count("complained", m.Complained)
	}
	for _, x := range r.StayedAway.Reasons {
		f.section, f.subject, f.strata = "stayed away", x.Level, x.Reason
		f.count("month", x.InMonth)
		f.count("period", x.InPeriod)
		f.count("needed", x.Needed)
		f.count("not needed", x.NotNeeded)
	}
	f.strata = ""
	for _, x := range r.StayedAway.Levels {
		f.section, f.subject = "stayed away", x.Level
		f.put("stayed away of those known", "naive", x.Share)
	}
	for _, x := range r.Missed.Reasons {
		f.section, f.subject = "missed case", x.Reason
		f.count("month", x.InMonth)
		f.count("period", x.InPeriod)
	}
	for _, n := range r.Needless {
		for _, x := range append(n.Flags, n.Advisor) {
			f.section, f.cut, f.subject = "needless escalation", n.Cut, x.Flag
			if x.Flag == "" {
				f.subject = "no flag"
			}
			f.count("alone, not needed", x.AloneNotNeeded)
			f.count("alone, needed", x.AloneNeeded)
			f.count("with others, not needed", x.WithOthersNotNeeded)
			f.count("with others, needed", x.WithOthersNeeded)
			f.put("not needed of those it alone demanded", "naive", x.Share)
		}
	}
	for _, x := range r.FollowUp {
		f.section, f.cut, f.subject = "follow-up sample", x.Cut, "below the cut"
		f.put("answered of those drawn", "naive", x.Response)
		f.put("needed", "two-phase", x.Rate)
		f.put("number needed", "two-phase", x.Number)
		f.bound("number needed, by the silent", x.Silent)
		for _, s := range x.Strata {
			f.subject = s.Level
			f.count("eligible", s.Eligible)
			f.count("drawn", s.Drawn)
			f.count("answered", s.Answered)
			f.count("needed", s.Needed)
			f.count("found", s.Found)
			f.count("found needed", s.FoundNeeded)
		}
	}
	f.cut = ""
	for _, q := range r.Panel.Questions {
		f.section, f.subject = "case review", q.Question
		for _, a := range q.Answers {
			f.count(a.Answer, a.N)
		}
		f.put("agreement", "Fleiss", q.Agreement)
	}
}

// discussText writes warnings, cases and what they ask to mend for a terminal.
func discussText(w io.Writer, r *review.Review) error {
	fmt.Fprintln(w, "Early warnings: cases to look at, no rate")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "month\tepisodes\twith a warning\trang again in a day\tadvised higher later\tdied\tcomplained")
	for _, m := range r.Warnings.Months {
		complained := fmt.Sprint(m.Complained)
		if m.LookedUp == 0 {
			complained = "not recorded"
		}
		fmt.Fprintf(tw, "%s\t%d\t%d\t%d\t%d\t%d\t%s\n", m.Label, m.Episodes, m.Any, m.Recontact24h, m.RaisedLater, m.Died, complained)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nCases to discuss: %d known in the period, %d begun this month; what they ask to mend\n", r.Missed.InPeriod, r.Missed.Month())
	fmt.Fprintln(tw, "reason\tthis month\tperiod\tto mend")
	for _, x := range r.Missed.Reasons {
		fmt.Fprintf(tw, "%s\t%d\t%d\t%s\n", x.Label, x.InMonth, x.InPeriod, x.Mend)
	}
	for _, c := range r.Missed.InMonth {
		fmt.Fprintf(tw, "%s %s, %s\tadvised %s\tneeded %s\t%s\n", c.StartedAt.Format("2 Jan"), Words(c.Species), Words(c.Complaint), c.Advised, c.Needed, c.Label)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if r.Missed.MoreInMonth > 0 {
		fmt.Fprintf(w, "and %d more of this month, less grave; report cases sets out every one\n", r.Missed.MoreInMonth)
	}
	fmt.Fprintf(w, "\nSent in and did not go, no misses: %d this month, %d in the period\n\n", r.StayedAway.InMonth, r.StayedAway.InPeriod)
	return nil
}
