package thresholds

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/review"
)

// percent writes a share with its limits; "not estimable" where there is none.
func percent(f review.Figure) string { return Limits(f, 100, 1, " %") }

// plain writes a number with its limits.
func plain(f review.Figure, decimals int) string { return Limits(f, 1, decimals, "") }

// Limits writes a figure with its limits, each times a factor; "not estimable" where
// there is none.
func Limits(f review.Figure, times float64, decimals int, unit string) string {
	if !f.Estimable() {
		return "not estimable"
	}
	write := func(x float64) string { return strconv.FormatFloat(times*x, 'f', decimals, 64) }
	s := write(*f.Estimate)
	if f.Low != nil && f.High != nil {
		s += " (" + write(*f.Low) + " to " + write(*f.High) + ")"
	}
	return s + unit
}

// Text writes the heart of a result for people; CSV, JSON and HTML hold all of it.
func Text(w io.Writer, r *Result) error {
	fmt.Fprintf(w, "%s, in %s; %s; cut %s; read at: %s\n", r.Label, r.UnitOf, r.Direction, r.CutLabel, r.Setting)
	fmt.Fprintf(w, "%s to %s; a threshold is chosen on %s to %s and judged on %s to %s; rules %s, definition %s\n",
		r.Whole.From, r.Whole.To, r.Fit.From, r.Fit.To, r.Judge.From, r.Judge.To, r.RuleSet, r.CaseDefinition)
	for _, g := range r.Groups {
		if err := groupText(w, r, g); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	for _, n := range append(append([]string{}, r.Notes...), r.Cautions...) {
		fmt.Fprintln(w, n)
	}
	return nil
}

func groupText(w io.Writer, r *Result, g Group) error {
	fmt.Fprintf(w, "\n%s (%s): %d readings in %d episodes%s\n", g.Name, strings.Join(g.Species, ", "), g.Readings, g.Episodes, elsewhere(g))
	for _, x := range g.InForce {
		why := "decides"
		if !x.Decides {
			why = x.Why
		}
		fmt.Fprintf(w, "  in force: %s, %s, demands %s: %s\n", x.Flag, x.Condition, x.Demands, why)
	}
	fmt.Fprintf(w, "  area under the curve: corrected %s, naive %s\n", plain(g.CorrectedArea, 3), plain(g.NaiveArea, 3))
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  threshold\tsensitivity\t(naive)\tspecificity\t(naive)\treadings a day\texactly on it")
	for _, c := range shown(g) {
		mark := ""
		if c.InForce {
			mark = " <- in force"
		}
		fmt.Fprintf(tw, "  %s\t%s\t%s\t%s\t%s\t%s\t%s%s\n", c.Rule, percent(c.Corrected.Sensitivity), percent(c.Naive.Sensitivity),
			percent(c.Corrected.Specificity), percent(c.Naive.Specificity), plain(c.PerDay, 2), percent(c.AtLimit), mark)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if g.Present != nil {
		trialText(w, "in force", *g.Present)
	}
	for _, c := range g.Choices {
		choiceText(w, r, c)
	}
	for _, s := range g.ByState {
		fmt.Fprintf(w, "  animal %s: %d readings, area (naive) %s\n", strings.ReplaceAll(s.State, "_", " "), s.Readings, plain(s.Area, 3))
	}
	for _, s := range g.NotAssessed {
		fmt.Fprintf(w, "  %s: %d episodes (%d in need, %d not, %d unknown)\n", strings.ReplaceAll(s.State, "_", " "),
			s.Needed+s.NotNeeded+s.Unverified, s.Needed, s.NotNeeded, s.Unverified)
	}
	for _, s := range g.Warnings {
		fmt.Fprintln(w, "  note:", s)
	}
	return nil
}

func elsewhere(g Group) string {
	s := ""
	for _, e := range g.Elsewhere {
		s += fmt.Sprintf("; %d read elsewhere are left out (%s)", e.Readings, strings.ReplaceAll(e.Setting, "_", " "))
	}
	return s
}

func trialText(w io.Writer, name string, t Trial) {
	fmt.Fprintf(w, "  %s, %s:\n    earlier months: sensitivity %s, specificity %s\n    later months:   sensitivity %s, specificity %s, %s readings a day\n",
		name, t.Rule, percent(t.Fit.Sensitivity), percent(t.Fit.Specificity), percent(t.Judge.Sensitivity), percent(t.Judge.Specificity), plain(t.PerDay, 2))
	for _, f := range []review.Figure{t.Fit.Sensitivity, t.Judge.Sensitivity} {
		if f.NotEstimable != "" {
			fmt.Fprintf(w, "    not estimable: %s\n", f.NotEstimable)
			break
		}
	}
}

func choiceText(w io.Writer, r *Result, c Choice) {
	if c.Trial == nil {
		fmt.Fprintf(w, "  %s: nothing can be chosen: %s\n", c.Criterion, c.NotEstimable)
		return
	}
	trialText(w, c.Criterion, *c.Trial)
	for _, x := range []struct {
		name string
		f    *review.Figure
	}{{"at most", c.Lower}, {"at least", c.Upper}} {
		if x.f != nil {
			text := plain(*x.f, r.Decimals) + " " + r.UnitOf
			if !x.f.Estimable() {
				text = "no interval: " + x.f.NotEstimable
			}
			fmt.Fprintf(w, "    %s %s\n", x.name, text)
		}
	}
	if len(c.Plateau) > 1 {
		fmt.Fprintf(w, "    as good within %s: %d thresholds, %s to %s\n", c.Within, len(c.Plateau), c.Plateau[0], c.Plateau[len(c.Plateau)-1])
	}
	if c.Optimism != nil {
		fmt.Fprintf(w, "    optimism among the verified: sensitivity %s, specificity %s points\n", signed(100*c.Optimism.Sensitivity), signed(100*c.Optimism.Specificity))
	}
	if c.Against != "" {
		fmt.Fprintf(w, "    %s\n", c.Against)
	}
	fmt.Fprintf(w, "    borne out: %s\n", c.Holds)
	for _, s := range c.Warnings {
		fmt.Fprintf(w, "    note: %s\n", s)
	}
}

// mostShown is how many candidates a terminal gets.
const mostShown = 16

// shown picks candidates at even steps of the share of readings marked, with the
// one in force and those chosen.
func shown(g Group) []Candidate {
	if len(g.Candidates) <= mostShown {
		return g.Candidates
	}
	keep := map[string]bool{g.Rule: true}
	for _, c := range g.Choices {
		if c.Trial != nil {
			keep[c.Trial.Rule] = true
		}
	}
	var out []Candidate
	next := 0.0
	for _, c := range g.Candidates {
		at := 0.0
		if c.Marked.Estimable() {
			at = *c.Marked.Estimate
		}
		if at >= next || keep[c.Rule] {
			out = append(out, c)
			for next <= at {
				next += 1.0 / mostShown
			}
		}
	}
	return out
}
