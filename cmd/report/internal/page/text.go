package page

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/review"
)

// textFigure writes a share with its limits for a terminal.
func textFigure(f review.Figure) string { return textLimits(f, Formats["pct"]) }

// textCount writes an estimated number with its limits.
func textCount(f review.Figure) string { return textLimits(f, Formats["int"]) }

func textLimits(f review.Figure, write func(float64) string) string {
	if !f.Estimable() {
		return "not estimable"
	}
	s := write(*f.Estimate)
	if f.Low != nil && f.High != nil {
		s += fmt.Sprintf(" (%s to %s)", strings.TrimSuffix(write(*f.Low), " %"), strings.TrimSuffix(write(*f.High), " %"))
	}
	return s
}

func textRange(r review.Range) string {
	if r.Low == nil {
		return "none"
	}
	return strings.TrimSuffix(Formats["pct"](*r.Low), " %") + " to " + Formats["pct"](*r.High)
}

// wrap breaks a paragraph at 78 columns.
func wrap(s string) string {
	var b strings.Builder
	column := 0
	for _, word := range strings.Fields(s) {
		n := len([]rune(word))
		switch {
		case column == 0:
		case column+1+n > 78:
			b.WriteByte('\n')
			column = 0
		default:
			b.WriteByte(' ')
			column++
		}
		b.WriteString(word)
		column += n
	}
	return b.String()
}

// Text writes the heart of a review for a terminal; the page holds the rest.
func Text(w io.Writer, r *review.Review) error {
	fmt.Fprintf(w, "Monthly review, %s (rates: %s; data up to %s, load %d)\n\n", r.Period.MonthLabel, r.Period.Label, r.AsOf.DataCut.Format("2 Jan 2006"), r.AsOf.Load)
	if e := r.AsOf.Erased; e != nil {
		fmt.Fprintln(w, wrap(fmt.Sprintf("Erased on request since this state was recorded: requests %d, calls %d, records in all %d, earlier versions included.", e.Requests, e.Calls, e.Rows)))
	}
	fmt.Fprintln(w, wrap(r.Conclusion.Headline))
	for _, s := range r.Conclusion.Sentences {
		fmt.Fprintln(w, wrap(s))
	}
	fmt.Fprintln(w)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "question\tlimit\tcorrected\tpossible range\tanswer")
	for _, q := range r.Conclusion.Questions {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\n", q.Label, Formats["pct"](q.Limit), textFigure(q.Figure), textRange(q.Bounds), Words(string(q.Verdict)))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for _, s := range append(append([]string{}, r.Conclusion.Limitations...), r.Maturity.Reasons...) {
		fmt.Fprintln(w, wrap("- "+s))
	}
	followText(w, r)
	fmt.Fprintln(w)
	for _, t := range r.Advice {
		if err := testText(w, t); err != nil {
			return err
		}
	}
	if err := discussText(w, r); err != nil {
		return err
	}
	if len(r.Flags) > 0 {
		if err := FlagsText(w, r.Flags[0]); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	for _, s := range r.Cautions {
		fmt.Fprintln(w, wrap(s))
	}
	return nil
}

// followText writes what changed, what is agreed and what to do next.
func followText(w io.Writer, r *review.Review) {
	fmt.Fprintln(w, "\nSince the last review")
	for _, s := range r.Since.Sentences {
		fmt.Fprintln(w, wrap("- "+s))
	}
	if len(r.Next) > 0 {
		fmt.Fprintln(w, "\nTo do next, from stated criteria alone")
	}
	for i, x := range r.Next {
		fmt.Fprintln(w, wrap(fmt.Sprintf("%d. %s %s", i+1, x.Do, x.Because)))
	}
	if len(r.Actions.Open) > 0 {
		fmt.Fprintln(w, "\nActions carried forward")
	}
	for _, a := range r.Actions.Open {
		late := ""
		if a.Overdue {
			late = "OVERDUE, "
		}
		fmt.Fprintln(w, wrap(fmt.Sprintf("- %s%s: %s (%s)", late, a.Due.Format("2 Jan 2006"), a.What, a.Owner)))
	}
	if len(r.Awaited) > 0 {
		fmt.Fprintln(w, "\nData still awaited")
	}
	for _, x := range r.Awaited {
		fmt.Fprintln(w, wrap(fmt.Sprintf("- %s: %s %s (%s)", x.What, Formats["int"](float64(x.Count)), x.Unit, x.Until)))
	}
}

func testText(w io.Writer, t review.Test) error {
	fmt.Fprintf(w, "Advice at the cut %s: %s mature episodes, %s escalated\n", t.Label, Formats["int"](float64(t.Episodes)), Formats["int"](float64(t.Escalated)))
	fmt.Fprintf(w, "needed %s, missed %s\n", textCount(t.Needed), textCount(t.Missed))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "rate\tcorrected\tnaive\tpossible range\tformula")
	for _, x := range []struct {
		name  string
		rates []review.Rate
	}{{"under-triage", t.Under}, {"over-triage", t.Over}} {
		for _, rate := range x.rates {
			fmt.Fprintf(tw, "%s %s\t%s\t%s\t%s\t%s\n", x.name, rate.Meaning, textFigure(rate.Corrected), textFigure(rate.Naive), textRange(rate.Bounds), rate.Formula)
		}
	}
	fmt.Fprintln(tw)
	return tw.Flush()
}

// FlagsText writes the flags as a table with their footnotes.
func FlagsText(w io.Writer, f review.Flags) error {
	fmt.Fprintf(w, "Red flags at the cut %s, %s to %s, %ss; definition %s, rules %s\n", f.CutLabel, f.Period.From, f.Period.To, f.Unit, f.CaseDefinition, f.RuleSet)
	var s notes
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "flag\tstratum\tpresent\tescalated\tassessed\tsensitivity\t(naive)\tas used\tspecificity\t(naive)\tPPV\tNPV")
	for _, x := range f.Flags {
		p := x.Escalated.Present
		fmt.Fprintf(tw, "%s\t%s\t%d\t%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.Flag, x.Stratum, p.Total(), p.Yes, share(x.AssessedShare),
			s.cell(x.Corrected.Sensitivity), share(x.Naive.Sensitivity), s.cell(x.Operational.Sensitivity), s.cell(x.Corrected.Specificity), share(x.Naive.Specificity),
			s.cell(x.Corrected.PPV), s.cell(x.Corrected.NPV))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "sensitivity and specificity judge the flag where it was assessed; as used, not assessed counts as not present")
	n := f.NoFlag
	fmt.Fprintf(w, "no flag fired: %d escalated by the advisor, %d not; the rules demanded it: %d escalated, %d not\n", n.Raised, n.Quiet, n.Followed, n.Lowered)
	for i, text := range s.texts {
		fmt.Fprintf(w, "[%d] %s\n", i+1, text)
	}
	return nil
}

// share writes an estimate without its limits, where the line holds them elsewhere.
func share(f review.Figure) string {
	if !f.Estimable() {
		return "-"
	}
	return Formats["pct"](*f.Estimate)
}

// cell writes a figure with marks for its footnotes.
func (s *notes) cell(f review.Figure) string {
	out := textFigure(f)
	texts := f.Warnings
	if !f.Estimable() {
		texts = []string{f.NotEstimable}
	}
	for _, t := range texts {
		out += fmt.Sprintf(" [%d]", s.mark(t))
	}
	return out
}
