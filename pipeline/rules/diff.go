package rules

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// Effect is what a change does to how often a flag fires on the same records.
type Effect int8

// The effects.
const (
	Same    Effect = iota // as often
	More                  // on more records, and on all it fired on before
	Fewer                 // on fewer records, all of which it fired on before
	Other                 // on other records
	Unclear               // cannot be told without the dictionary
)

// String says the effect in words.
func (e Effect) String() string {
	return [...]string{"fires as before", "fires more often", "fires less often", "fires on other records", "fires otherwise; whether more or less often cannot be told without the dictionary"}[e]
}

// Change is one difference between two rule sets.
type Change struct {
	// Flag is the flag's id, empty for the set as a whole.
	Flag string
	// Part is the key of the file or the finding that changed; flag for one
	// added or removed, order for the order of the flags.
	Part string
	// Text says it in plain words.
	Text string
	// Effect on how often the flag fires, of all changes to it together. An
	// added flag fires more often, a removed one less often.
	Effect Effect
	// From and To are the levels demanded before and after; NoLevel where the
	// flag does not exist, and for the set as a whole.
	From, To codes.Level
}

// Diff lists what changed from one rule set to another, in plain words: the set
// as a whole first, then the flags of the new set in its order, then those that
// are gone. Flags are matched by id, so a flag with a new name is one gone and
// one added. Titles and reasons are compared too; places in the file are not,
// except that the order of flags decides their bits. Another layout of the file,
// 40.0 for 40 and codes in another order are no change.
//
// Without a dictionary some effects are Unclear; see DiffIn.
func Diff(old, new *Set) []Change { return DiffIn(old, new, nil) }

// DiffIn is Diff with effects worked out exactly on the codes and stored steps of
// a dictionary, as far as it has the findings.
func DiffIn(old, new *Set, d *findings.Dictionary) []Change {
	out := diffHead(old, new)
	before := map[string]*Flag{}
	for i := range old.Flags {
		before[old.Flags[i].ID] = &old.Flags[i]
	}
	for i := range new.Flags {
		f := &new.Flags[i]
		o, ok := before[f.ID]
		if !ok {
			out = append(out, Change{Flag: f.ID, Part: "flag", Effect: More, To: f.Demands,
				Text: fmt.Sprintf("new flag: %s; demands %s", f.Describe(), f.Demands)})
			continue
		}
		delete(before, f.ID)
		out = append(out, diffFlag(o, f, d)...)
	}
	for i := range old.Flags {
		if f, gone := before[old.Flags[i].ID]; gone {
			out = append(out, Change{Flag: f.ID, Part: "flag", Effect: Fewer, From: f.Demands,
				Text: fmt.Sprintf("flag removed: %s; demanded %s", f.Describe(), f.Demands)})
		}
	}
	return out
}

func diffHead(old, new *Set) []Change {
	var out []Change
	for _, c := range []struct{ part, name, from, to string }{
		{"ruleset", "ruleset", old.ID, new.ID}, {"title", "title", old.Title, new.Title}, {"owner", "owner", old.Owner, new.Owner},
		{"reason", "reason", old.Reason, new.Reason}, {"status", "status", old.Status, new.Status},
		{"effective", "effective", day(old.Effective), day(new.Effective)}, {"expires", "expires", day(old.Expires), day(new.Expires)},
		{"otherwise", "level without any flag", old.Otherwise.String(), new.Otherwise.String()},
	} {
		if c.from != c.to {
			out = append(out, Change{Part: c.part, Text: fmt.Sprintf("%s: %q became %q", c.name, c.from, c.to)})
		}
	}
	if order := common(old, new); !slices.Equal(order, common(new, old)) {
		out = append(out, Change{Part: "order", Text: "the order of the flags changed; stored flag bits must be made anew"})
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

// Describe says in words when the flag fires, with the file's own identifiers:
// "cat; sex male; urination is straining_little or none".
func (f *Flag) Describe() string {
	var parts []string
	if len(f.Species) > 0 {
		parts = append(parts, listOf(f.Species, "or"))
	}
	for k, name := range limitNames[1:] {
		if list := f.limitWords()[k+1]; len(list) > 0 {
			parts = append(parts, name+" "+listOf(list, "or"))
		}
	}
	if f.Age.Limits() {
		parts = append(parts, f.Age.words())
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
