package inspect

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// shownValues is how many words of a column a line of text shows.
const shownValues = 12

// Summary describes what a column holds in one line, without its name and
// without any cell that may name somebody.
func (c Column) Summary() string {
	var b strings.Builder
	b.WriteString(string(c.Kind))
	if c.Kind == Empty {
		return b.String()
	}
	fmt.Fprintf(&b, ", %d filled", c.Filled)
	if c.Blank > 0 {
		fmt.Fprintf(&b, ", %d blank", c.Blank)
	}
	for _, w := range slices.Sorted(maps.Keys(c.BlankWords)) {
		fmt.Fprintf(&b, ", %d %q", c.BlankWords[w], w)
	}
	if c.Other > 0 {
		fmt.Fprintf(&b, ", %d are no %s", c.Other, c.Kind)
	}
	about := ""
	if c.Estimated {
		about = "about "
	}
	fmt.Fprintf(&b, ", %s%d different", about, c.Distinct)
	switch {
	case c.Personal != "" || c.Kind == Key:
		fmt.Fprintf(&b, " of %s; not shown", lengths(c))
	case c.Low != nil:
		fmt.Fprintf(&b, ", from %s to %s", number(*c.Low), number(*c.High))
	case c.Kind == Unit:
		fmt.Fprintf(&b, "; units %s", strings.Join(c.Units, ", "))
	case c.Kind == Date:
		b.WriteString("; " + c.layoutText())
	case c.Kind == Word:
		b.WriteString(c.valueText())
	}
	return b.String()
}

func lengths(c Column) string {
	if c.Shortest == c.Longest {
		return fmt.Sprintf("%d characters", c.Longest)
	}
	return fmt.Sprintf("%d to %d characters", c.Shortest, c.Longest)
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// layoutText lists the layouts that fit.
func (c Column) layoutText() string {
	var out []string
	for _, l := range c.Layouts {
		s := fmt.Sprintf("%s (%s to %s)", l.Layout, l.First, l.Last)
		if l.Misfits > 0 {
			s = fmt.Sprintf("%s (%s to %s, %d misfit)", l.Layout, l.First, l.Last, l.Misfits)
		}
		out = append(out, s)
	}
	switch {
	case len(out) > 1 && c.Layouts[0].Misfits == 0:
		return "EACH OF THESE LAYOUTS FITS, ask which is meant: " + strings.Join(out, ", or ")
	case len(out) > 1:
		return "no layout fits all, these fit most: " + strings.Join(out, ", or ")
	}
	return "layout " + out[0]
}

// valueText lists the most frequent words.
func (c Column) valueText() string {
	var b strings.Builder
	for i, v := range c.Values {
		if i == shownValues {
			fmt.Fprintf(&b, ", and %d more", len(c.Values)-i)
			break
		}
		sep := ", "
		if i == 0 {
			sep = ": "
		}
		fmt.Fprintf(&b, "%s%q %d", sep, v.Word, v.Count)
	}
	if c.Withheld > 0 {
		fmt.Fprintf(&b, "; %d not shown", c.Withheld)
	}
	return b.String()
}

// Warning says what to beware of in a column, "" for nothing.
func (c Column) Warning() string {
	switch c.Personal {
	case "":
		if c.Withheld > 0 && len(c.Values) > 0 {
			return fmt.Sprintf("%d of its words look like names, numbers or remarks and are not shown; see whether people can type freely here", c.Withheld)
		}
		return ""
	case prose, prosePeople:
		return "it seems to hold " + c.Personal + "; leave it out of the description, prose is never loaded"
	case personKey:
		return "it seems to hold the " + c.Personal + "; map it only as a key (owner, animal, advisor), which becomes a pseudonym"
	}
	return "it seems to hold a " + c.Personal + "; leave it out of the description, or map it only as a key, which becomes a pseudonym"
}

// Lines describe the proposal, a setting a line.
func (p Proposal) Lines() []string {
	out := []string{"kind: " + p.Kind + why(p.Reasons["kind"])}
	if p.Packed != "" {
		out = append(out, "packed with "+p.Packed+" (needs no mention)")
	}
	if p.Delimiter != "" {
		out = append(out, fmt.Sprintf("delimiter: %q", p.Delimiter)+why(p.Reasons["delimiter"]))
	}
	if p.Encoding != "" {
		out = append(out, "encoding: "+p.Encoding+why(p.Reasons["encoding"]))
	}
	if p.Decimal != "" {
		out = append(out, fmt.Sprintf("decimal: %q", p.Decimal)+why(p.Reasons["decimal"]))
	}
	if p.SkipRows > 0 {
		out = append(out, fmt.Sprintf("skip_rows: %d", p.SkipRows)+why(p.Reasons["skip_rows"]))
	}
	if p.Records != "" {
		out = append(out, "records: "+p.Records)
	}
	return out
}

func why(reason string) string {
	if reason == "" {
		return ""
	}
	return " (" + reason + ")"
}
