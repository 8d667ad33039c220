package page

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"hindcheck/cmd/report/internal/review"
)

// header of a table of figures: one row a figure.
var header = []string{"section", "cut", "subject", "stratum", "figure", "kind", "estimate", "low", "high", "conf",
	"numerator", "denominator", "method", "not_estimable", "warnings"}

// figures writes rows of figures.
type figures struct {
	w                             *csv.Writer
	section, cut, subject, strata string
}

func newFigures(w io.Writer) (*figures, error) {
	f := &figures{w: csv.NewWriter(w)}
	return f, f.w.Write(header)
}

func number(p *float64) string {
	if p == nil {
		return ""
	}
	return strconv.FormatFloat(*p, 'g', -1, 64)
}

// put writes one figure. Errors stay in the csv.Writer until done.
func (f *figures) put(name, kind string, x review.Figure) {
	_ = f.w.Write([]string{f.section, f.cut, f.subject, f.strata, name, kind, number(x.Estimate), number(x.Low), number(x.High),
		number(&x.Conf), number(&x.Numerator), number(&x.Denominator), x.Method, x.NotEstimable, strings.Join(x.Warnings, "; ")})
}

// bound writes a possible range, which has no estimate.
func (f *figures) bound(name string, r review.Range) {
	_ = f.w.Write([]string{f.section, f.cut, f.subject, f.strata, name, "possible range", "", number(r.Low), number(r.High), "", "", "", "", r.Undefined, ""})
}

// count writes a number of episodes.
func (f *figures) count(name string, n int64) {
	_ = f.w.Write([]string{f.section, f.cut, f.subject, f.strata, name, "count", strconv.FormatInt(n, 10), "", "", "", "", "", "", "", ""})
}

func (f *figures) done() error {
	f.w.Flush()
	return f.w.Error()
}

func (f *figures) accuracy(kind string, a review.Accuracy) {
	f.put("sensitivity", kind, a.Sensitivity)
	f.put("specificity", kind, a.Specificity)
	f.put("ppv", kind, a.PPV)
	f.put("npv", kind, a.NPV)
	f.put("prevalence", kind, a.Prevalence)
}

func (f *figures) bounds(b review.AccuracyBounds) {
	f.bound("sensitivity", b.Sensitivity)
	f.bound("specificity", b.Specificity)
	f.bound("ppv", b.PPV)
	f.bound("npv", b.NPV)
}

func (f *figures) cells(c review.Cells) {
	f.count("tp", c.TP)
	f.count("fp", c.FP)
	f.count("fn", c.FN)
	f.count("tn", c.TN)
}

func (f *figures) test(t review.Test) {
	f.section, f.cut, f.subject = t.Index, t.Cut, t.Index
	f.count("episodes", t.Episodes)
	f.count("escalated", t.Escalated)
	f.cells(t.Verified)
	f.count("unverified escalated", t.Unverified.Present)
	f.count("unverified not escalated", t.Unverified.Absent)
	f.accuracy("naive", t.Naive)
	f.accuracy("corrected", t.Corrected)
	f.bounds(t.Bounds)
	f.put("needed", "corrected", t.Needed)
	f.put("caught", "corrected", t.Caught)
	f.put("missed", "corrected", t.Missed)
	for _, x := range []struct {
		name  string
		rates []review.Rate
	}{{"under-triage ", t.Under}, {"over-triage ", t.Over}} {
		for _, r := range x.rates {
			f.put(x.name+r.Meaning, "naive", r.Naive)
			f.put(x.name+r.Meaning, "corrected", r.Corrected)
			f.bound(x.name+r.Meaning, r.Bounds)
		}
	}
}

func (f *figures) flag(cut string, x review.Flag) {
	f.section, f.cut, f.subject, f.strata = "flag", cut, x.Flag, x.Stratum
	c := x.Counts
	f.cells(c.Verified)
	f.count("unverified present", c.Unverified.Present)
	f.count("unverified absent", c.Unverified.Absent)
	f.count("pending present", c.Pending.Present)
	f.count("pending absent", c.Pending.Absent)
	f.count("escalated when present", x.Escalated.Present.Yes)
	f.count("not escalated when present", x.Escalated.Present.No)
	f.put("escalated when present", "naive", x.EscalatedWhenPresent)
	f.put("assessed", "naive", x.AssessedShare)
	f.accuracy("naive", x.Naive)
	f.accuracy("corrected", x.Corrected)
	f.accuracy("corrected, not assessed counts as absent", x.Operational)
	f.bounds(x.Bounds)
	f.put("positive likelihood ratio", "naive", x.LRPositive)
	f.put("negative likelihood ratio", "naive", x.LRNegative)
}

// CSV writes the figures of a review, one row each, for a spreadsheet.
func CSV(w io.Writer, r *review.Review) error {
	f, err := newFigures(w)
	if err != nil {
		return err
	}
	for _, t := range r.Advice {
		f.test(t)
	}
	for _, t := range r.Rules {
		f.test(t)
	}
	for _, flags := range r.Flags {
		for _, x := range flags.Flags {
			f.flag(flags.Cut, x)
		}
	}
	f.discuss(r)
	f.cut, f.strata = "", ""
	for _, p := range r.Trend {
		f.section, f.subject = "trend", p.Month
		f.count("episodes", p.Episodes)
		f.put("advised same day or sooner", "naive", p.Escalated)
		f.put("advised emergency", "naive", p.Emergency)
		f.put("rang again within 24 hours", "naive", p.Recontact24h)
		f.put("followed up of those kept at home", "naive", p.FollowedUp)
	}
	for _, x := range r.Findings {
		f.section, f.subject = "check", x.Finding
		f.count("episodes", x.Episodes)
		f.put("assessed", "naive", x.Assessed)
		f.count("not asked", x.NotAsked)
		f.count("stopped early", x.StoppedEarly)
		f.count("not possible", x.NotPossible)
		f.count("declined", x.Declined)
	}
	f.sections(r)
	return f.done()
}

// FlagsCSV writes the figures of report flags.
func FlagsCSV(w io.Writer, flags review.Flags) error {
	f, err := newFigures(w)
	if err != nil {
		return err
	}
	for _, x := range flags.Flags {
		f.flag(flags.Cut, x)
	}
	return f.done()
}
