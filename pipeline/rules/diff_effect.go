package rules

import (
	"slices"

	"hindcheck/pipeline/findings"
)

// effect compares the records on which two versions of a flag fire, one
// dimension at a time.
func effect(o, n *Flag, d *findings.Dictionary) Effect {
	total := Same
	add := func(e Effect) {
		switch {
		case e == Same || total == e:
		case total == Same || e == Unclear:
			total = e
		case total == Unclear:
		default:
			total = Other
		}
	}
	for k := range limitNames {
		add(listEffect(o.limitWords()[k], n.limitWords()[k]))
	}
	add(ageEffect(o.Age, n.Age))
	was, is := byFinding(o), byFinding(n)
	for id, w := range was {
		if v, ok := is[id]; ok {
			add(conditionsEffect(w, v, d))
		} else {
			add(More) // one condition less
		}
	}
	for id := range is {
		if _, ok := was[id]; !ok {
			add(Fewer) // one condition more
		}
	}
	return total
}

func byFinding(f *Flag) map[string][]*Condition {
	out := map[string][]*Condition{}
	for i := range f.All {
		out[f.All[i].Finding] = append(out[f.All[i].Finding], &f.All[i])
	}
	return out
}

// listEffect compares two limits, where an empty list does not limit.
func listEffect(o, n []string) Effect {
	in := len(n) == 0 || len(o) > 0 && subset(o, n)
	out := len(o) == 0 || len(n) > 0 && subset(n, o)
	return of(in, out)
}

// of turns "the old is within the new" and "the new is within the old" into an effect.
func of(oldInNew, newInOld bool) Effect {
	switch {
	case oldInNew && newInOld:
		return Same
	case oldInNew:
		return More
	case newInOld:
		return Fewer
	}
	return Other
}

// ends combines what two ends say: whether the new reaches at least as far as
// the old, and the old at least as far as the new, below and above.
func ends(newLower, oldLower, newHigher, oldHigher bool) Effect {
	return of(newLower && newHigher, oldLower && oldHigher)
}

func (a AgeSpan) low() int { return max(a.AtLeast, 0) }

func (a AgeSpan) high() int {
	if a.Below < 0 {
		return maxAgeMonths + 1
	}
	return a.Below
}

// ageEffect compares two limits of age. A limit that lets every age through is
// still one: an animal whose age is not recorded does not meet it.
func ageEffect(o, n AgeSpan) Effect {
	if o.Limits() != n.Limits() {
		return of(o.Limits(), n.Limits())
	}
	return ends(n.low() <= o.low(), n.low() >= o.low(), n.high() >= o.high(), n.high() <= o.high())
}

// sameConditions reports whether two lists of conditions say the same, but for
// how a number is written and in which order codes stand.
func sameConditions(o, n []*Condition) bool {
	return slices.EqualFunc(o, n, func(a, b *Condition) bool {
		return listEffect(a.Is, b.Is) == Same && listEffect(a.IsNot, b.IsNot) == Same &&
			compareLower(a.Lower, b.Lower) == 0 && compareUpper(a.Upper, b.Upper) == 0
	})
}

// conditionsEffect compares the conditions of two versions on one finding:
// exactly where the dictionary has it, otherwise one condition against one of
// its kind.
func conditionsEffect(o, n []*Condition, d *findings.Dictionary) Effect {
	if sameConditions(o, n) {
		return Same
	}
	if was, is := answerOf(o, d), answerOf(n, d); was != nil && is != nil {
		return of(was.empty() || was.within(is), is.empty() || is.within(was))
	}
	if len(o) != 1 || len(n) != 1 {
		return Unclear
	}
	a, b := o[0], n[0]
	switch {
	case len(a.Is) > 0 && len(b.Is) > 0:
		return of(subset(a.Is, b.Is), subset(b.Is, a.Is))
	case len(a.IsNot) > 0 && len(b.IsNot) > 0:
		return of(subset(b.IsNot, a.IsNot), subset(a.IsNot, b.IsNot))
	case len(a.Is)+len(a.IsNot)+len(b.Is)+len(b.IsNot) > 0:
		return Unclear
	}
	lower, upper := compareLower(a.Lower, b.Lower), compareUpper(a.Upper, b.Upper)
	return ends(lower >= 0, lower <= 0, upper >= 0, upper <= 0)
}

// answerOf intersects the conditions on one finding, or returns nil where the
// dictionary does not know it.
func answerOf(list []*Condition, d *findings.Dictionary) *answer {
	if d == nil {
		return nil
	}
	var r region
	for _, c := range list {
		bound, problem := bind("", c, d)
		if problem != nil {
			return nil
		}
		r.add(&bound)
	}
	return &r.answers[0]
}

// compareLower is above 0 if the new lower bound lets more through.
func compareLower(o, n Bound) int {
	switch {
	case !o.Set() && !n.Set():
		return 0
	case !n.Set():
		return 1
	case !o.Set():
		return -1
	}
	if c := o.rat().Cmp(n.rat()); c != 0 {
		return c
	}
	return inclusive(n) - inclusive(o)
}

// compareUpper is above 0 if the new upper bound lets more through.
func compareUpper(o, n Bound) int {
	if !o.Set() || !n.Set() {
		return compareLower(o, n)
	}
	if c := n.rat().Cmp(o.rat()); c != 0 {
		return c
	}
	return inclusive(n) - inclusive(o)
}

func inclusive(b Bound) int {
	if b.Inclusive {
		return 1
	}
	return 0
}
