package tune

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
)

// Text writes a result for people.
func Text(w io.Writer, r *Result) error {
	fmt.Fprintf(w, "Thresholds of several flags at once, cut %s; rules %s followed exactly; definition %s\n", r.CutLabel, r.RuleSet, r.CaseDefinition)
	fmt.Fprintf(w, "%s\nchosen on %s to %s (%d episodes), judged on %s to %s (%d)\n", r.Criterion, r.Fit.From, r.Fit.To, r.FitEpisodes, r.Judge.From, r.Judge.To, r.JudgeEpisodes)
	fmt.Fprintf(w, "%.0f combinations over %d patterns of answers, %d tried: %s\n\n", r.Search.Combinations, r.Search.Patterns, r.Search.Tried, r.Search.How)
	if r.NotEstimable != "" {
		fmt.Fprintf(w, "nothing can be chosen: %s\n\n", r.NotEstimable)
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "flag\tin force\tchosen\treadings\tcandidates")
	for _, t := range r.Tuned {
		fmt.Fprintf(tw, "%s\t%s\t%s\t%d\t%s\n", t.Flag, t.InForce, orDash(t.Chosen), t.Readings, strings.Join(t.Candidates, ", "))
	}
	fmt.Fprintln(tw, "\nrules\tmonths\tsensitivity\t(naive)\tspecificity\t(naive)\treferrals a day")
	for _, x := range []struct {
		name string
		t    *Trial
	}{{"in force", r.Present}, {"chosen", r.Chosen}} {
		if x.t != nil {
			partText(tw, x.name+"\tearlier", x.t.Fit)
			partText(tw, "\tlater", x.t.Later)
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if r.Optimism != nil {
		fmt.Fprintf(w, "promised minus shown: sensitivity %s, specificity %s points\nborne out: %s\n", points(r.Optimism.Sensitivity), points(r.Optimism.Specificity), r.Holds)
	}
	if err := pathText(w, r); err != nil {
		return err
	}
	if err := flagsText(w, r); err != nil {
		return err
	}
	fmt.Fprintln(w)
	for _, s := range append(append(slices.Clone(r.Warnings), r.Limits), r.Cautions...) {
		fmt.Fprintln(w, s)
	}
	return nil
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func partText(w io.Writer, name string, p Part) {
	fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", name, percent(p.Sensitivity), percent(p.Naive.Sensitivity), percent(p.Specificity),
		percent(p.Naive.Specificity), thresholds.Limits(p.PerDay, 1, 2, ""))
}

func percent(f review.Figure) string { return thresholds.Limits(f, 100, 1, " %") }
func points(f review.Figure) string  { return thresholds.Limits(f, 100, 1, "") }

// pathText lists what the best combinations cost and miss.
func pathText(w io.Writer, r *Result) error {
	if len(r.Path) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nThe path from few referrals to few missed, on the earlier months:")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  referrals a day\tmissed of those in need\twhat differs from the rules in force")
	for _, s := range r.Path {
		mark := ""
		if s.Present {
			mark += " <- in force"
		}
		if s.Chosen {
			mark += " <- chosen"
		}
		fmt.Fprintf(tw, "  %.2f\t%.1f %%\t%s%s\n", s.PerDay, 100*s.Missed, orDash(strings.Join(s.Moved, "; ")), mark)
	}
	return tw.Flush()
}

// flagsText lists the flags that alone send animals in.
func flagsText(w io.Writer, r *Result) error {
	if len(r.ByThemselves) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nWhat each flag sends in alone, given the order asked (verified episodes; most needless first):")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "  flag\tin need\tnot in need\tunknown\tshare in need\tlost without it")
	for _, f := range r.ByThemselves {
		mark := ""
		if f.Cautious {
			mark = " <- too cautious? far fewer in need than the rules as a whole"
		}
		fmt.Fprintf(tw, "  %s\t%d\t%d\t%d\t%s\t%s%s\n", f.Flag, f.AloneNeeded, f.AloneNotNeeded, f.AloneUnknown, percent(f.PPV), percent(f.Lost), mark)
	}
	return tw.Flush()
}

// CSV writes the result as rows: trials, the path, the flags.
func CSV(w io.Writer, r *Result) error {
	cw := csv.NewWriter(w)
	rows := [][]string{{"section", "subject", "months", "figure", "estimate", "low", "high", "not_estimable", "thresholds"}}
	number := func(p *float64) string {
		if p == nil {
			return ""
		}
		return strconv.FormatFloat(*p, 'g', -1, 64)
	}
	figure := func(section, subject, months, name string, f review.Figure, of []string) {
		rows = append(rows, []string{section, subject, months, name, number(f.Estimate), number(f.Low), number(f.High), f.NotEstimable, strings.Join(of, "; ")})
	}
	for _, x := range []struct {
		name string
		t    *Trial
	}{{"in force", r.Present}, {"chosen", r.Chosen}} {
		if x.t == nil {
			continue
		}
		for _, p := range []struct {
			months string
			part   Part
		}{{"earlier", x.t.Fit}, {"later", x.t.Later}} {
			figure("trial", x.name, p.months, "sensitivity", p.part.Sensitivity, x.t.Thresholds)
			figure("trial", x.name, p.months, "specificity", p.part.Specificity, x.t.Thresholds)
			figure("trial", x.name, p.months, "referrals a day", p.part.PerDay, x.t.Thresholds)
		}
	}
	if r.Optimism != nil {
		figure("optimism", "chosen", "earlier minus later", "sensitivity", r.Optimism.Sensitivity, nil)
		figure("optimism", "chosen", "earlier minus later", "specificity", r.Optimism.Specificity, nil)
	}
	for _, s := range r.Path {
		rows = append(rows, []string{"path", "", "earlier", "referrals a day", number(&s.PerDay), "", "", "", strings.Join(s.Thresholds, "; ")},
			[]string{"path", "", "earlier", "missed", number(&s.Missed), "", "", "", strings.Join(s.Thresholds, "; ")})
	}
	for _, f := range r.ByThemselves {
		figure("flag", f.Flag, "all", "share in need alone", f.PPV, nil)
		figure("flag", f.Flag, "all", "sensitivity lost", f.Lost, nil)
	}
	return cw.WriteAll(rows)
}
