package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
)

var header = []string{"work", "size", "ours", "beside", "its", "ratio", "goal", "met", "same result"}

// writeTable prints the machine and the lines.
func writeTable(w io.Writer, machine []string, rows []row, markdown bool) error {
	var b strings.Builder
	if markdown {
		fmt.Fprintf(&b, "%s\n\n", strings.Join(machine, "; "))
		fmt.Fprintf(&b, "| %s |\n|%s\n", strings.Join(header, " | "), strings.Repeat("---|", len(header)))
		for _, r := range rows {
			fmt.Fprintf(&b, "| %s |\n", strings.Join(r.cells(), " | "))
		}
	} else {
		fmt.Fprintf(&b, "%s\n\n", strings.Join(machine, "\n"))
		t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, strings.Join(header, "\t"))
		for _, r := range rows {
			fmt.Fprintln(t, strings.Join(r.cells(), "\t"))
		}
		if err := t.Flush(); err != nil {
			return err
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func (r row) cells() []string {
	switch r.state {
	case stateFailed:
		return []string{r.work, r.size, "FAILED", r.peer, "", "", r.goalText(), "no", "no: " + r.why}
	case stateSkipped:
		return []string{r.work, r.size, "skipped", r.peer, "", "", r.goalText(), "", r.why}
	}
	ratio, met, same := "", "", "yes"
	if r.ratio != "" {
		ratio = figure(r.value)
	}
	if r.goal != 0 {
		met = map[bool]string{true: "yes", false: "NO"}[r.met()]
	}
	if r.alone {
		same = ""
	}
	return []string{r.work, r.size, withUnit(r.mine, r.unit), r.peer, withUnit(r.theirs, r.unit), ratio, r.goalText(), met, same}
}

func (r row) goalText() string {
	switch {
	case r.goal == 0:
		return ""
	case r.atLeast:
		return "at least " + figure(&r.goal)
	case r.line.ratio == "":
		return "at most " + withUnit(&r.goal, r.unit)
	}
	if r.target != 0 {
		return "at most " + figure(&r.goal) + ", target " + figure(&r.target)
	}
	return "at most " + figure(&r.goal)
}

func withUnit(x *float64, unit string) string {
	if x == nil {
		return ""
	}
	return figure(x) + " " + unit
}

// figure shows three digits that count, and whole numbers whole.
func figure(x *float64) string {
	switch a := math.Abs(*x); {
	case a >= 100:
		return fmt.Sprintf("%.0f", *x)
	case a >= 10:
		return fmt.Sprintf("%.1f", *x)
	default:
		return fmt.Sprintf("%.3g", *x)
	}
}
