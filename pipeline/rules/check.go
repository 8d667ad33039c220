package rules

import (
	"cmp"
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

// Severity ranks a Notice.
type Severity int8

// The severities, worst first.
const (
	// Wrong: the set cannot be used, or says two things at once.
	Wrong Severity = iota + 1
	// Doubtful: a flag has no effect, or not the one that its author expects.
	Doubtful
	// Note: worth knowing when the set is reviewed.
	Note
)

// String returns wrong, doubtful or note.
func (s Severity) String() string {
	return map[Severity]string{Wrong: "wrong", Doubtful: "doubtful", Note: "note"}[s]
}

// NoticeKind names what a Notice is about.
type NoticeKind string

// The kinds.
const (
	NotInDictionary NoticeKind = "not_in_dictionary" // a finding or code that the dictionary does not have
	Contradiction   NoticeKind = "contradiction"     // same conditions, two levels
	NeverFires      NoticeKind = "never_fires"       // no record can satisfy it
	AlwaysFires     NoticeKind = "always_fires"      // every recorded answer satisfies it
	OutOfRange      NoticeKind = "out_of_range"      // a threshold outside the readings that are stored
	TooFine         NoticeKind = "too_fine"          // a threshold with more decimals than are stored
	Shadowed        NoticeKind = "shadowed"          // never changes a level, since another flag always fires with it
	Idle            NoticeKind = "idle"              // demands no more than a record without flags gets
	Overlap         NoticeKind = "overlap"           // fires on some of the same answers as another
	SpeciesGap      NoticeKind = "species_gap"       // a finding on which a species has no flag
	NotAskedAbout   NoticeKind = "not_asked_about"   // findings on which no flag rests
)

// Notice is one remark on a rule set.
type Notice struct {
	Kind     NoticeKind
	Severity Severity
	// Flag is the flag it is about, Other a second one; either may be empty.
	Flag, Other string
	// Pos is the place in the file, zero for the set as a whole.
	Pos Pos
	// Text says it in plain words.
	Text string
}

// Check reads a set critically: what cannot work, what has no effect, what is
// missing. It returns the notices in the order of the file, the worst first at
// one place. An empty result is no approval; only a licensed professional gives that.
//
// Where the dictionary lacks a finding or a code, only those notices come back,
// since nothing else can be judged.
func Check(s *Set, d *findings.Dictionary) []Notice {
	p, err := Compile(s, d)
	if err != nil {
		return missing(s, err)
	}
	c := checker{p: p, regions: make([]region, len(p.flags)), dead: make([]bool, len(p.flags))}
	for i := range p.flags {
		c.regions[i] = regionOf(&p.flags[i])
		c.flag(i)
	}
	c.pairs()
	c.gaps()
	slices.SortStableFunc(c.out, func(a, b Notice) int {
		return cmp.Or(cmp.Compare(a.Pos.Line, b.Pos.Line), cmp.Compare(a.Severity, b.Severity))
	})
	return c.out
}

// missing turns the problems of Compile into notices.
func missing(s *Set, err error) []Notice {
	var all strict.Problems
	if !errors.As(err, &all) {
		return []Notice{{Kind: NotInDictionary, Severity: Wrong, Text: err.Error()}}
	}
	var out []Notice
	for _, p := range all {
		n := Notice{Kind: NotInDictionary, Severity: Wrong, Pos: Pos{p.Line, p.Column},
			Text: fmt.Sprintf("expected %s, found %s; %s", p.Expected, p.Found, p.Remedy)}
		for i := range s.Flags {
			if slices.ContainsFunc(s.Flags[i].All, func(c Condition) bool { return c.Pos == n.Pos }) {
				n.Flag = s.Flags[i].ID
			}
		}
		out = append(out, n)
	}
	return out
}

type checker struct {
	p       *Program
	regions []region
	dead    []bool // flags that can never fire; they are left out of the pairs
	out     []Notice
}

func (c *checker) add(i int, kind NoticeKind, sev Severity, other, format string, args ...any) {
	f := c.p.flags[i].Flag
	c.out = append(c.out, Notice{Kind: kind, Severity: sev, Flag: f.ID, Other: other, Pos: f.Pos, Text: fmt.Sprintf(format, args...)})
}

// flag checks one flag by itself.
func (c *checker) flag(i int) {
	f, r := &c.p.flags[i], &c.regions[i]
	if a := r.impossible(); a != nil {
		c.dead[i] = true
		c.add(i, NeverFires, Wrong, "", "can never fire: no answer to %s satisfies its conditions", c.id(a))
	}
	if f.Demands <= c.p.Set.Otherwise {
		c.add(i, Idle, Doubtful, "", "demands %s, which a record without any flag gets as well", f.Demands)
	}
	always := !c.dead[i]
	for k := range r.answers {
		a := &r.answers[k]
		low, high := c.recorded(f, a)
		if !a.code && !a.empty() && (a.low > high || a.high < low) && !c.dead[i] {
			c.dead[i], always = true, false
			c.add(i, NeverFires, Wrong, "", "can never fire: readings of %s outside %s to %s are set aside", c.id(a), c.show(a, low), c.show(a, high))
		}
		if a.code && a.yes != a.readable || !a.code && (a.low > low || a.high < high) {
			always = false
		}
	}
	if always {
		c.add(i, AlwaysFires, Doubtful, "", "fires on every animal it is meant for whose answer is recorded")
	}
	for k := range f.All {
		c.bounds(i, &f.All[k])
	}
}

// recorded returns the lowest and highest stored number that a reading of the
// flag's species can have.
func (c *checker) recorded(f *flag, a *answer) (low, high int32) {
	if a.code {
		return 1, 63
	}
	fd := &c.p.Dict.Findings[a.index]
	species := f.Species
	if len(species) == 0 {
		species = []string{findings.AnySpecies}
		for s := range fd.Hard {
			species = append(species, s)
		}
	}
	low, high = 1<<30, -1
	for _, s := range species {
		r := fd.HardRange(s)
		low = min(low, fd.Encode("done", "", r.Low, ""))
		high = max(high, fd.Encode("done", "", r.High, ""))
	}
	return low, high
}

// bounds checks the thresholds of one condition as they are written.
func (c *checker) bounds(i int, cond *Condition) {
	f := &c.p.flags[i]
	at := c.p.Dict.Index(cond.Finding)
	fd := &c.p.Dict.Findings[at]
	for _, b := range []Bound{cond.Lower, cond.Upper} {
		if !b.Set() {
			continue
		}
		scaled := new(big.Rat).Mul(b.rat(), new(big.Rat).SetInt64(int64(fd.Scale)))
		if !scaled.IsInt() {
			c.add(i, TooFine, Doubtful, "", "%s %s is finer than the stored steps of 1/%d %s; it acts like the next step", cond.Finding, b.Text, fd.Scale, fd.Unit)
		}
		a := &answer{ask: ask{index: at}}
		low, high := c.recorded(f, a)
		if scaled.Cmp(new(big.Rat).SetInt64(int64(low))) < 0 || scaled.Cmp(new(big.Rat).SetInt64(int64(high))) > 0 {
			c.add(i, OutOfRange, Doubtful, "", "%s %s lies outside the readings that are stored, %s to %s; is the unit right?",
				cond.Finding, b.Text, c.show(a, low), c.show(a, high))
		}
	}
}

// partners are the flags that one flag is compared with to its disadvantage. Of
// each kind one is named and the others are counted.
type partners struct{ twins, shadows, overlaps others }

type others struct{ first, count int }

func (o *others) add(j int) {
	if o.count == 0 {
		o.first = j
	}
	o.count++
}

// pairs compares every two flags of which one asks about the first finding of
// the other; without that neither can lie within the other.
func (c *checker) pairs() {
	byFinding := map[int][]int{}
	all := make([]partners, len(c.regions))
	for i := range c.regions {
		if c.dead[i] {
			continue
		}
		var seen []int
		for k := range c.regions[i].answers {
			seen = append(seen, byFinding[c.regions[i].answers[k].index]...)
		}
		if len(c.regions[i].answers) > 1 {
			slices.Sort(seen)
			seen = slices.Compact(seen)
		}
		for _, j := range seen {
			c.compare(i, j, all)
		}
		for k := range c.regions[i].answers {
			at := c.regions[i].answers[k].index
			byFinding[at] = append(byFinding[at], i)
		}
	}
	for i := range all {
		c.pair(i, all[i].twins, Contradiction, Wrong, "has the conditions of %s but demands %s instead of %s")
		c.pair(i, all[i].shadows, Shadowed, Doubtful, "changes no level: whenever it fires, so does %s, and this demands %s where that demands %s")
		c.pair(i, all[i].overlaps, Overlap, Note, "fires on some of the same answers as %s; they demand %s and %s")
	}
}

// compare notes what flag i and the earlier flag j are to each other.
func (c *checker) compare(i, j int, all []partners) {
	a, b := &c.regions[i], &c.regions[j]
	in, out := a.within(b), b.within(a)
	switch {
	case in && out && c.p.flags[i].Demands != c.p.flags[j].Demands:
		all[i].twins.add(j)
	case in && c.hides(j, i):
		all[i].shadows.add(j)
	case out && c.hides(i, j):
		all[j].shadows.add(i)
	case !in && !out && a.sameFindings(b) && a.meets(b):
		all[i].overlaps.add(j)
	}
}

// hides reports whether a flag that lies within flag i changes no level because
// of it: it demands no more, and is not the one of the two that raises when unknown.
func (c *checker) hides(i, within int) bool {
	wide, narrow := c.p.flags[i].Flag, c.p.flags[within].Flag
	return narrow.Demands <= wide.Demands && (!narrow.Raise || wide.Raise)
}

func (c *checker) pair(i int, o others, kind NoticeKind, sev Severity, format string) {
	if o.count == 0 {
		return
	}
	other := c.p.flags[o.first].Flag
	text := fmt.Sprintf(format, other.ID, c.p.flags[i].Demands, other.Demands)
	if o.count > 1 {
		text += fmt.Sprintf(" (and likewise with %d more)", o.count-1)
	}
	c.add(i, kind, sev, other.ID, "%s", text)
}

// gaps looks for findings on which a species of the set has no flag, and for
// findings on which no flag rests.
func (c *checker) gaps() {
	var species []string
	for i := range c.p.flags {
		species = append(species, c.p.flags[i].Species...)
	}
	slices.Sort(species)
	species = slices.Compact(species)
	var unused []string
	for k := range c.p.Dict.Findings {
		var covered []string
		used := false
		for i := range c.regions {
			if c.dead[i] || c.regions[i].about(k) == nil {
				continue
			}
			used = true
			if covered = append(covered, c.p.flags[i].Species...); len(c.p.flags[i].Species) == 0 {
				covered = species
				break
			}
		}
		id := c.p.Dict.Findings[k].ID
		if !used {
			unused = append(unused, id)
			continue
		}
		gap := slices.DeleteFunc(slices.Clone(species), func(s string) bool { return slices.Contains(covered, s) })
		if len(gap) > 0 {
			c.out = append(c.out, Notice{Kind: SpeciesGap, Severity: Note, Text: fmt.Sprintf("no flag rests on %s for %s", id, listOf(gap, "and"))})
		}
	}
	if len(unused) > 0 {
		c.out = append(c.out, Notice{Kind: NotAskedAbout, Severity: Note, Text: "no flag rests on " + listOf(unused, "and")})
	}
}

func (c *checker) id(a *answer) string { return c.p.Dict.Findings[a.index].ID }

func (c *checker) show(a *answer, stored int32) string {
	return c.p.Dict.Findings[a.index].FormatValue(stored)
}

// listOf writes "a, b and c".
func listOf(words []string, last string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " " + last + " " + words[n]
}
