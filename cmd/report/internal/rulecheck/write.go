package rulecheck

import (
	"encoding/csv"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
)

// Text writes a check for people: the worst first, then every threshold on the
// readings around it.
func Text(w io.Writer, r *Result) error {
	head := fmt.Sprintf("%s: ruleset %s, %d flags, dictionary %s, judged for %s", r.File, r.RuleSet, r.Flags, r.Dictionary, r.Day)
	if r.RuleSet == "" {
		head = r.File + ": cannot be used"
	}
	fmt.Fprintln(w, head)
	if r.Recorded != nil {
		fmt.Fprintf(w, "tried on %d episodes, %s to %s\n", r.Recorded.Episodes, r.Recorded.From, r.Recorded.To)
	}
	fmt.Fprintf(w, "%d wrong, %d doubtful, %d to note\n", r.Wrong, r.Doubtful, r.Notes)
	for _, n := range r.Notices {
		fmt.Fprintf(w, "\n%-8s  %s\n  %s\n  remedy: %s\n", n.Severity, place(r.File, n), n.Text, n.Remedy)
	}
	if len(r.Boundaries) > 0 {
		fmt.Fprintln(w, "\nThresholds at their edge (+ meets the condition, - does not, * no reading of these animals can be this):")
		tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		for _, b := range r.Boundaries {
			fmt.Fprintf(tw, "  line %d\t%s\t%s\t%s\n", b.Line, b.Flag, b.Condition, readings(b.Readings))
		}
		if err := tw.Flush(); err != nil {
			return err
		}
	}
	fmt.Fprintln(w, "\nA file without remarks is not approved by that.")
	return cautions(w, r.Cautions)
}

func place(file string, n Notice) string {
	out := file
	if n.Line > 0 {
		out += ":" + strconv.Itoa(n.Line)
	}
	if n.Column > 0 {
		out += ":" + strconv.Itoa(n.Column)
	}
	if n.Flag != "" {
		out += "  flag " + n.Flag
	}
	return out + "  (" + n.Kind + ")"
}

func readings(list []Reading) string {
	parts := make([]string, len(list))
	for i, x := range list {
		parts[i] = x.Reading + " " + map[bool]string{true: "+", false: "-"}[x.Meets]
		if !x.Possible {
			parts[i] += "*"
		}
	}
	return strings.Join(parts, ", ")
}

func cautions(w io.Writer, lines []string) error {
	_, err := fmt.Fprintln(w, strings.Join(lines, "\n"))
	return err
}

// CSV writes a check as rows: the notices, then one row a reading of a boundary.
func CSV(w io.Writer, r *Result) error {
	cw := csv.NewWriter(w)
	rows := [][]string{{"section", "severity", "kind", "file", "line", "column", "flag", "other", "text", "remedy"}}
	for _, n := range r.Notices {
		rows = append(rows, []string{"notice", n.Severity, n.Kind, r.File, strconv.Itoa(n.Line), strconv.Itoa(n.Column), n.Flag, n.Other, n.Text, n.Remedy})
	}
	for _, b := range r.Boundaries {
		rows = append(rows, []string{"threshold", "", b.Condition, r.File, strconv.Itoa(b.Line), "", b.Flag, "", readings(b.Readings), ""})
	}
	return cw.WriteAll(rows)
}

// ComparisonText writes what changed, in words.
func ComparisonText(w io.Writer, c *Comparison) error {
	fmt.Fprintf(w, "from %s (%s, %d flags) to %s (%s, %d flags)\n", c.Old.RuleSet, c.Old.File, c.Old.Flags, c.New.RuleSet, c.New.File, c.New.Flags)
	if len(c.Changes) == 0 {
		fmt.Fprintln(w, "no change")
	}
	last := "\x00"
	for _, ch := range c.Changes {
		if ch.Flag != last {
			name := "flag " + ch.Flag
			if ch.Flag == "" {
				name = "the set as a whole"
			}
			fmt.Fprintf(w, "\n%s\n", name)
			last = ch.Flag
		}
		fmt.Fprintf(w, "  %s\n", ch.Text)
	}
	fmt.Fprintln(w)
	return cautions(w, c.Cautions)
}

// ComparisonCSV writes what changed, one row each.
func ComparisonCSV(w io.Writer, c *Comparison) error {
	rows := [][]string{{"flag", "part", "text", "fires", "demands_from", "demands_to"}}
	for _, ch := range c.Changes {
		rows = append(rows, []string{ch.Flag, ch.Part, ch.Text, ch.Fires, ch.From, ch.To})
	}
	return csv.NewWriter(w).WriteAll(rows)
}
