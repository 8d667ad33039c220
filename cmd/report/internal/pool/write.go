package pool

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/review"
)

// cuts and indexes in words.
var (
	cutWords   = map[string]string{"same_day": "same day or emergency", "emergency": "emergency"}
	indexWords = map[string]string{"advice": "Advice", "rules": "Rules", "flag": "Flag"}
)

// name is what a pooled test is called.
func (p Pooled) name() string {
	out := indexWords[p.Index]
	if p.Flag != "" {
		out += " " + p.Flag
	}
	return out
}

// shown writes a figure: 81.2 % (75.0 to 86.3).
func shown(f review.Figure) string {
	if !f.Estimable() {
		return "not estimable"
	}
	out := fmt.Sprintf("%.1f %%", 100**f.Estimate)
	if f.Low != nil && f.High != nil {
		out += fmt.Sprintf(" (%.1f to %.1f)", 100**f.Low, 100**f.High)
	}
	return out
}

// limits writes the limits of a prediction.
func limits(f review.Figure) string {
	if !f.Estimable() || f.Low == nil || f.High == nil {
		return "not estimable"
	}
	return fmt.Sprintf("%.1f to %.1f", 100**f.Low, 100**f.High)
}

func percent(p *float64) string {
	if p == nil {
		return "-"
	}
	return fmt.Sprintf("%.0f %%", 100**p)
}

// Text writes a result for people.
func Text(w io.Writer, r *Result) error {
	fmt.Fprintf(w, "Pooled over %d lines; %.0f %% limits; random effects\n\n", len(r.Lines), 100*r.Confidence)
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "line\tperiod\tcase definition\trules\tcells hidden")
	for _, l := range r.Lines {
		fmt.Fprintf(tw, "%s\t%s to %s\t%s\t%s\t%d of %d\n", l.Line, l.From, l.To, l.CaseDefinition, l.RuleSet, l.Hidden, l.Cells)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for _, x := range r.Remarks {
		fmt.Fprintln(w, "note: "+x)
	}
	for _, cut := range []string{"same_day", "emergency"} {
		fmt.Fprintf(w, "\nAt the cut %s\n", cutWords[cut])
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(tw, "test\tfigure\tlines\tnaive\tI2\tcorrected\tI2\ta further line, corrected (%)")
		for _, p := range r.Pools {
			if p.Cut != cut {
				continue
			}
			for _, x := range p.sides() {
				fmt.Fprintf(tw, "%s\t%s\t%d and %d\t%s\t%s\t%s\t%s\t%s\n", p.name(), x.of, x.naive.Lines, x.corrected.Lines,
					shown(x.naive.Summary), percent(x.naive.I2), shown(x.corrected.Summary), percent(x.corrected.I2), limits(x.corrected.Prediction))
			}
		}
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(w, "\nNaive: verified and assessed episodes alone. Corrected: from each line's figures corrected for who was verified.\n%s\n", strings.Join(r.Cautions, "\n"))
	return err
}

// side is one figure of a pooled test, naive beside corrected.
type side struct {
	of               string
	naive, corrected Effects
	lines            []lineSide
}

type lineSide struct {
	line             string
	right, wrong     *int64
	naive, corrected review.Figure
}

func (p Pooled) sides() []side {
	sens := side{of: "sensitivity", naive: p.Naive.Sensitivity, corrected: p.Corrected.Sensitivity}
	spec := side{of: "specificity", naive: p.Naive.Specificity, corrected: p.Corrected.Specificity}
	for _, l := range p.Lines {
		sens.lines = append(sens.lines, lineSide{l.Line, l.TP, l.FN, l.Naive.Sensitivity, l.Corrected.Sensitivity})
		spec.lines = append(spec.lines, lineSide{l.Line, l.TN, l.FP, l.Naive.Specificity, l.Corrected.Specificity})
	}
	return []side{sens, spec}
}

// CSV writes one row a figure: of each line, pooled, and predicted.
func CSV(w io.Writer, r *Result) error {
	cw := csv.NewWriter(w)
	rows := [][]string{{"index", "flag", "cut", "figure", "kind", "line", "lines", "estimate", "low", "high", "right", "wrong", "tau2", "i2", "q", "q_p", "method", "not_estimable"}}
	for _, p := range r.Pools {
		for _, s := range p.sides() {
			row := func(kind, line, lines string, f review.Figure, rest ...string) {
				head := []string{p.Index, p.Flag, p.Cut, s.of, kind, line, lines, number(f.Estimate), number(f.Low), number(f.High)}
				rows = append(rows, append(append(head, rest...), f.Method, f.NotEstimable))
			}
			for _, l := range s.lines {
				row("naive", l.line, "1", l.naive, count(l.right), count(l.wrong), "", "", "", "")
				row("corrected", l.line, "1", l.corrected, "", "", "", "", "", "")
			}
			for _, x := range []struct {
				kind string
				e    Effects
			}{{"naive", s.naive}, {"corrected", s.corrected}} {
				n := strconv.Itoa(x.e.Lines)
				row(x.kind, "pooled", n, x.e.Summary, "", "", number(x.e.Tau2), number(x.e.I2), number(x.e.Q), number(x.e.QP))
				row(x.kind, "a further line", n, x.e.Prediction, "", "", "", "", "", "")
			}
		}
	}
	if err := cw.WriteAll(rows); err != nil {
		return err
	}
	return cw.Error()
}

func number(p *float64) string {
	if p == nil {
		return ""
	}
	return strconv.FormatFloat(*p, 'g', 6, 64)
}

func count(n *int64) string {
	if n == nil {
		return "hidden"
	}
	return strconv.FormatInt(*n, 10)
}
