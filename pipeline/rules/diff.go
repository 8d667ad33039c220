package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/codes"
)

// Effect is what a change does to how often a flag fires on the same records.
type Effect int8

// The effects.
const (
	Same  Effect = iota // as often
	More                // on more records, and on all it fired on before
	Fewer               // on fewer records, all of which it fired on before
	Other               // on other records
)

// String says the effect in words.
func (e Effect) String() string {
	return [...]string{"fires as before", "fires more often", "fires less often", "fires on other records"}[e]
}

// Change is one difference between two rule sets.
type Change struct {
	// Flag is the flag's id, empty for the set as a whole.
	Flag string
	// Text says it in plain words.
	Text string
	// Effect on how often the flag fires. An added flag fires more often, a
	// removed one less often.
	Effect Effect
	// From and To are the levels demanded before and after; NoLevel where the
	// flag does not exist, and for the set as a whole.
	From, To codes.Level
}

// Diff lists what changed from one rule set to another, in plain words: the set
// as a whole first, then the flags of the new set in its order, then those that
// are gone. Flags are matched by id, so a flag with a new name is one gone and
// one added. Titles and reasons are compared too; places in the file are not,
// except that the order of flags decides their bits.
func Diff(old, new *Set) []Change {
	out := diffHead(old, new)
	before := map[string]*Flag{}
	for i := range old.Flags {
		before[old.Flags[i].ID] = &old.Flags[i]
	}
	for i := range new.Flags {
		f := &new.Flags[i]
		o, ok := before[f.ID]
		if !ok {
			out = append(out, Change{Flag: f.ID, Effect: More, To: f.Demands,
				Text: fmt.Sprintf("new flag: %s; demands %s", f.Describe(), f.Demands)})
			continue
		}
		delete(before, f.ID)
		out = append(out, diffFlag(o, f)...)
	}
	for i := range old.Flags {
		if f, gone := before[old.Flags[i].ID]; gone {
			out = append(out, Change{Flag: f.ID, Effect: Fewer, From: f.Demands,
				Text: fmt.Sprintf("flag removed: %s; demanded %s", f.Describe(), f.Demands)})
		}
	}
	return out
}

func diffHead(old, new *Set) []Change {
	var out []Change
	for _, c := range []struct{ name, from, to string }{
		{"ruleset", old.ID, new.ID}, {"title", old.Title, new.Title}, {"owner", old.Owner, new.Owner}, {"reason", old.Reason, new.Reason},
		{"status", old.Status, new.Status}, {"effective", day(old.Effective), day(new.Effective)}, {"expires", day(old.Expires), day(new.Expires)},
		{"level without any flag", old.Otherwise.String(), new.Otherwise.String()},
	} {
		if c.from != c.to {
			out = append(out, Change{Text: fmt.Sprintf("%s: %q became %q", c.name, c.from, c.to)})
		}
	}
	if order := common(old, new); !slices.Equal(order, common(new, old)) {
		out = append(out, Change{Text: "the order of the flags changed; stored flag bits must be made anew"})
	}
	return out
}

// common returns the flags of a that b has too, in a's order.
func common(a, b *Set) []string {
	in := map[string]bool{}
	for i := range b.Flags {
		in[b.Flags[i].ID] = true
	}
	var out []string
	for i := range a.Flags {
		if in[a.Flags[i].ID] {
			out = append(out, a.Flags[i].ID)
		}
	}
	return out
}

func day(t time.Time) string {
	if t.IsZero() {
		return "open"
	}
	return t.Format(time.DateOnly)
}

// diffFlag compares two versions of one flag.
func diffFlag(o, n *Flag) []Change {
	var out []Change
	add := func(e Effect, format string, args ...any) {
		out = append(out, Change{Flag: n.ID, Effect: e, From: o.Demands, To: n.Demands, Text: fmt.Sprintf(format, args...)})
	}
	if o.Demands != n.Demands {
		verb := "lowered"
		if n.Demands > o.Demands {
			verb = "raised"
		}
		add(Same, "demanded level %s from %s to %s", verb, o.Demands, n.Demands)
	}
	if o.Raise != n.Raise {
		words := map[bool]string{true: "now counts when it is unknown", false: "no longer counts when it is unknown"}
		add(Same, "%s", words[n.Raise])
	}
	if was, is := o.Describe(), n.Describe(); was != is {
		e := effect(o, n)
		add(e, "%s became %s: %s", was, is, e)
	}
	if o.Title != n.Title {
		add(Same, "title: %q became %q", o.Title, n.Title)
	}
	if o.Why != n.Why {
		add(Same, "why: %q became %q", o.Why, n.Why)
	}
	return out
}

// Describe says in words when the flag fires, with the file's own identifiers:
// "cat; sex male; urination is straining_little or none".
func (f *Flag) Describe() string {
	var parts []string
	if len(f.Species) > 0 {
		parts = append(parts, listOf(f.Species, "or"))
	}
	for _, a := range []struct {
		name string
		list []string
	}{{"sex", f.Sex}, {"neutered", f.Neutered}, {"breed group", f.BreedGroup}, {"complaint", f.Complaint}} {
		if len(a.list) > 0 {
			parts = append(parts, a.name+" "+listOf(a.list, "or"))
		}
	}
	switch a := f.Age; {
	case a.AtLeast >= 0 && a.Below >= 0:
		parts = append(parts, fmt.Sprintf("aged %d to under %d months", a.AtLeast, a.Below))
	case a.AtLeast >= 0:
		parts = append(parts, fmt.Sprintf("aged %d months or more", a.AtLeast))
	case a.Below >= 0:
		parts = append(parts, fmt.Sprintf("aged under %d months", a.Below))
	}
	for i := range f.All {
		parts = append(parts, f.All[i].String())
	}
	return strings.Join(parts, "; ")
}

// String says the condition in words: "breathing_rate at least 40".
func (c *Condition) String() string {
	switch {
	case len(c.Is) > 0:
		return c.Finding + " is " + listOf(c.Is, "or")
	case len(c.IsNot) > 0:
		return c.Finding + " is not " + listOf(c.IsNot, "or")
	}
	var ends []string
	if c.Lower.Set() {
		ends = append(ends, map[bool]string{true: "at least ", false: "above "}[c.Lower.Inclusive]+c.Lower.Text)
	}
	if c.Upper.Set() {
		ends = append(ends, map[bool]string{true: "at most ", false: "below "}[c.Upper.Inclusive]+c.Upper.Text)
	}
	return c.Finding + " " + strings.Join(ends, " and ")
}

// effect compares the records on which two versions of a flag fire, one
// dimension at a time.
func effect(o, n *Flag) Effect {
	total := Same
	add := func(e Effect) {
		switch {
		case e == Same || total == e:
		case total == Same:
			total = e
		default:
			total = Other
		}
	}
	for _, l := range [][2][]string{{o.Species, n.Species}, {o.Sex, n.Sex}, {o.Neutered, n.Neutered}, {o.BreedGroup, n.BreedGroup}, {o.Complaint, n.Complaint}} {
		add(listEffect(l[0], l[1]))
	}
	add(ends(n.Age.low() <= o.Age.low(), n.Age.low() >= o.Age.low(), n.Age.high() >= o.Age.high(), n.Age.high() <= o.Age.high()))
	was, is := byFinding(o), byFinding(n)
	for id, w := range was {
		if v, ok := is[id]; ok {
			add(conditionsEffect(w, v))
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

// conditionsEffect compares the conditions of two versions on one finding. Only
// one condition against one is worked out; anything else that differs is Other.
func conditionsEffect(o, n []*Condition) Effect {
	if len(o) == len(n) {
		same := true
		for i := range o {
			same = same && o[i].String() == n[i].String()
		}
		if same {
			return Same
		}
	}
	if len(o) != 1 || len(n) != 1 {
		return Other
	}
	a, b := o[0], n[0]
	switch {
	case len(a.Is) > 0 && len(b.Is) > 0:
		return of(subset(a.Is, b.Is), subset(b.Is, a.Is))
	case len(a.IsNot) > 0 && len(b.IsNot) > 0:
		return of(subset(b.IsNot, a.IsNot), subset(a.IsNot, b.IsNot))
	case len(a.Is)+len(a.IsNot)+len(b.Is)+len(b.IsNot) > 0:
		return Other
	}
	lower, upper := compareLower(a.Lower, b.Lower), compareUpper(a.Upper, b.Upper)
	return ends(lower >= 0, lower <= 0, upper >= 0, upper <= 0)
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
