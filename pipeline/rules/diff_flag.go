package rules

import (
	"fmt"
	"slices"
	"strings"

	"hindcheck/pipeline/findings"
)

// diffFlag compares two versions of one flag, part by part.
func diffFlag(o, n *Flag, d *findings.Dictionary) []Change {
	var out []Change
	add := func(part string, e Effect, format string, args ...any) {
		out = append(out, Change{Flag: n.ID, Part: part, Effect: e, From: o.Demands, To: n.Demands, Text: fmt.Sprintf(format, args...)})
	}
	if o.Demands != n.Demands {
		verb := "lowered"
		if n.Demands > o.Demands {
			verb = "raised"
		}
		add("demands", Same, "demanded level %s from %s to %s", verb, o.Demands, n.Demands)
	}
	if o.Raise != n.Raise {
		words := map[bool]string{true: "now counts when it is unknown", false: "no longer counts when it is unknown"}
		add("when_unknown", Same, "%s", words[n.Raise])
	}
	if parts := changedParts(o, n); len(parts) > 0 {
		e := effect(o, n, d)
		for i, p := range parts {
			if i == len(parts)-1 {
				p.text += ": it " + e.String()
				if len(parts) > 1 {
					p.text += " (all changes together)"
				}
			}
			add(p.part, e, "%s", p.text)
		}
	}
	if o.Title != n.Title {
		add("title", Same, "title: %q became %q", o.Title, n.Title)
	}
	if o.Why != n.Why {
		add("why", Same, "why: %q became %q", o.Why, n.Why)
	}
	return out
}

// changedPart is a difference in when a flag fires.
type changedPart struct{ part, text string }

// changedParts compares limits and conditions one by one. A number written
// another way, or words in another order, are no difference.
func changedParts(o, n *Flag) []changedPart {
	var out []changedPart
	for k, name := range limitNames {
		was, is := o.limitWords()[k], n.limitWords()[k]
		if e := listEffect(was, is); e != Same {
			out = append(out, changedPart{strings.ReplaceAll(name, " ", "_"), limitChange(name, was, is, e)})
		}
	}
	if ageEffect(o.Age, n.Age) != Same {
		out = append(out, changedPart{"age_months", fmt.Sprintf("age: %s became %s", o.Age.words(), n.Age.words())})
	}
	was, is := byFinding(o), byFinding(n)
	for _, id := range order(o, n) {
		w, v := was[id], is[id]
		switch {
		case len(w) == 0:
			out = append(out, changedPart{id, "new condition: " + conditionWords(v)})
		case len(v) == 0:
			out = append(out, changedPart{id, "condition gone: " + conditionWords(w)})
		case !sameConditions(w, v):
			out = append(out, changedPart{id, conditionChange(w, v)})
		}
	}
	return out
}

// limitNames are the words of a flag's lists of limits, in their order.
var limitNames = []string{"species", "sex", "neutered", "breed group", "complaint"}

func (f *Flag) limitWords() [][]string {
	return [][]string{f.Species, f.Sex, f.Neutered, f.BreedGroup, f.Complaint}
}

// limitChange words a list that changed.
func limitChange(name string, was, is []string, e Effect) string {
	any := func(l []string) string {
		if len(l) == 0 {
			return "any"
		}
		return listOf(l, "or")
	}
	verb := map[Effect]string{More: "widened", Fewer: "narrowed"}[e]
	if verb == "" {
		verb = "changed"
	}
	return fmt.Sprintf("%s %s from %s to %s", name, verb, any(was), any(is))
}

// conditionChange words the conditions on one finding that changed; one
// threshold against one at the same end moved up or down.
func conditionChange(was, is []*Condition) string {
	verb := "changed"
	if len(was) == 1 && len(is) == 1 {
		a, b := was[0], is[0]
		switch {
		case a.Lower.Set() && b.Lower.Set() && !a.Upper.Set() && !b.Upper.Set():
			verb = moved(a.Lower, b.Lower)
		case a.Upper.Set() && b.Upper.Set() && !a.Lower.Set() && !b.Lower.Set():
			verb = moved(a.Upper, b.Upper)
		}
	}
	if verb == "changed" {
		return fmt.Sprintf("condition changed from %s to %s", conditionWords(was), conditionWords(is))
	}
	f := was[0].Finding
	return fmt.Sprintf("threshold of %s %s from %s to %s", f, verb, strings.TrimPrefix(was[0].String(), f+" "), strings.TrimPrefix(is[0].String(), f+" "))
}

func moved(from, to Bound) string {
	switch c := from.rat().Cmp(to.rat()); {
	case c < 0:
		return "raised"
	case c > 0:
		return "lowered"
	}
	return "changed"
}

// conditionWords joins the conditions on one finding.
func conditionWords(list []*Condition) string {
	words := make([]string, len(list))
	for i, c := range list {
		words[i] = c.String()
	}
	return strings.Join(words, " and ")
}

// order lists the findings of both versions, the old ones first.
func order(o, n *Flag) []string {
	var out []string
	for _, f := range []*Flag{o, n} {
		for i := range f.All {
			if !slices.Contains(out, f.All[i].Finding) {
				out = append(out, f.All[i].Finding)
			}
		}
	}
	return out
}

// words says a span of ages.
func (a AgeSpan) words() string {
	switch {
	case a.AtLeast >= 0 && a.Below >= 0:
		return fmt.Sprintf("aged %d to under %d months", a.AtLeast, a.Below)
	case a.AtLeast >= 0:
		return fmt.Sprintf("aged %d months or more", a.AtLeast)
	case a.Below >= 0:
		return fmt.Sprintf("aged under %d months", a.Below)
	}
	return "any age"
}
