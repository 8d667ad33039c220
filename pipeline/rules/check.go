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
	Covered         NoticeKind = "covered"           // never changes a level, since several other flags together cover it
	CannotTell      NoticeKind = "cannot_tell"       // too many cells to work out whether other flags cover it
	EndGap          NoticeKind = "end_gap"           // a species with a flag at one end of a finding that is bad at both
	UnknownIgnored  NoticeKind = "unknown_ignored"   // emergency flags that do not count when nobody could look
	NotFilledIn     NoticeKind = "not_filled_in"     // a text that still holds the words of a draft
	OutOfForce      NoticeKind = "out_of_force"      // the day lies outside effective to expires
	NoExpiry        NoticeKind = "no_expiry"         // nobody has to look at the rules again
	ExpiresSoon     NoticeKind = "expires_soon"      // the last day in force is near
	NeverFired      NoticeKind = "never_fired"       // on no record of a store
	AlwaysFired     NoticeKind = "always_fired"      // on every record on which it could be decided
	HardlyAsked     NoticeKind = "hardly_asked"      // rests on a question that is hardly ever answered
	RaisesBlindly   NoticeKind = "raises_blindly"    // counts as unknown far more often than it fires
)

// Notice is one remark on a rule set.
type Notice struct {
	Kind     NoticeKind
	Severity Severity
	// Flag is the flag it is about, Other a second one; either may be empty.
	Flag, Other string
	// Pos is the place in the file, zero for the set as a whole.
	Pos Pos
	// Text says it in plain words, Remedy what to do.
	Text, Remedy string
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
	c.covered()
	c.gaps()
	c.endGaps()
	c.unknowns()
	c.drafts()
	slices.SortStableFunc(c.out, func(a, b Notice) int {
		return cmp.Or(cmp.Compare(a.Pos.Line, b.Pos.Line), cmp.Compare(a.Severity, b.Severity))
	})
	return c.out
}

// missing turns the problems of Compile into notices.
func missing(s *Set, err error) []Notice {
	var all strict.Problems
	if !errors.As(err, &all) {
		return []Notice{{Kind: NotInDictionary, Severity: Wrong, Text: err.Error(), Remedy: "split the set"}}
	}
	var out []Notice
	for _, p := range all {
		n := Notice{Kind: NotInDictionary, Severity: Wrong, Pos: Pos{p.Line, p.Column},
			Text: fmt.Sprintf("expected %s, found %s", p.Expected, p.Found), Remedy: p.Remedy}
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
	c.addAt(c.p.flags[i].Pos, i, kind, sev, other, format, args...)
}

// addAt is add with a place of its own, such as that of a condition.
func (c *checker) addAt(at Pos, i int, kind NoticeKind, sev Severity, other, format string, args ...any) {
	c.out = append(c.out, Notice{Kind: kind, Severity: sev, Flag: c.p.flags[i].ID, Other: other, Pos: at,
		Text: fmt.Sprintf(format, args...), Remedy: remedies[kind]})
}

// remedies say what to do about a kind of notice.
var remedies = map[NoticeKind]string{
	Contradiction:  "keep one of the two, or make their conditions differ",
	NeverFires:     "correct the conditions, or delete the flag",
	AlwaysFires:    "narrow the conditions, or raise the level of records without any flag",
	OutOfRange:     "write the threshold in the unit of the dictionary",
	TooFine:        "write the step that is meant",
	Shadowed:       "delete the flag, or give it a higher level",
	Covered:        "delete the flag, or give it a higher level",
	CannotTell:     "nothing need be done; replay shows whether the flag matters",
	Idle:           "demand a higher level, or delete the flag",
	Overlap:        "nothing need be done if both are meant",
	SpeciesGap:     "add a flag for them, or leave it out on purpose",
	EndGap:         "add a flag for the other end, or leave it out on purpose",
	NotAskedAbout:  "nothing need be done if they are asked for another purpose",
	UnknownIgnored: "write when_unknown: raise where an owner who cannot look must be sent in",
	NotFilledIn:    "write what is asked for",
	OutOfForce:     "correct effective or expires",
	NoExpiry:       "add expires: the day by which the rules are looked at again",
	ExpiresSoon:    "review the rules and write the next version",
	NeverFired:     "check that the question is asked and the words are those of the exports",
	AlwaysFired:    "check the threshold and its unit",
	HardlyAsked:    "ask the question, or do not rest a flag on it",
	RaisesBlindly:  "ask the question in every call, or write when_unknown: leave",
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
			c.addAt(cond.Pos, i, TooFine, Doubtful, "", "%s %s is finer than the stored steps of 1/%d %s; it acts like the next step", cond.Finding, b.Text, fd.Scale, fd.Unit)
		}
		a := &answer{ask: ask{index: at}}
		low, high := c.recorded(f, a)
		if scaled.Cmp(new(big.Rat).SetInt64(int64(low))) < 0 || scaled.Cmp(new(big.Rat).SetInt64(int64(high))) > 0 {
			c.addAt(cond.Pos, i, OutOfRange, Doubtful, "", "%s %s lies outside the readings that are stored, %s to %s",
				cond.Finding, b.Text, c.show(a, low), c.show(a, high))
		}
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
