package rules

import (
	"slices"
	"sort"
)

// region is the set of records on which a flag fires, dimension by dimension.
// A dimension that is missing does not limit. The conditions of one flag on the
// same finding are intersected.
type region struct {
	words   [5][]string // limits: species, sex, neutered, breed group, complaint
	ageLow  int         // whole months, both included
	ageHigh int
	aged    bool
	// answers by place of the finding in the dictionary, in that order
	answers []answer
}

// answer is what a flag wants of one finding.
type answer struct {
	ask
	yes       uint64 // codes, as bits by place
	low, high int32  // stored numbers, both included
}

func (a *answer) empty() bool {
	if a.code {
		return a.yes == 0
	}
	return a.low > a.high
}

// within reports whether every answer that a takes is taken by b.
func (a *answer) within(b *answer) bool {
	if a.code {
		return a.yes&^b.yes == 0
	}
	return a.low >= b.low && a.high <= b.high
}

// meets reports whether some answer is taken by both.
func (a *answer) meets(b *answer) bool {
	if a.code {
		return a.yes&b.yes != 0
	}
	return max(a.low, b.low) <= min(a.high, b.high)
}

// regionOf builds the region of a compiled flag.
func regionOf(f *flag) region {
	r := region{words: [5][]string{f.Species, f.Sex, f.Neutered, f.BreedGroup, f.Complaint}, ageHigh: maxAgeMonths}
	if f.Age.Limits() {
		r.aged, r.ageLow = true, max(f.Age.AtLeast, 0)
		if f.Age.Below >= 0 {
			r.ageHigh = f.Age.Below - 1
		}
	}
	for i := range f.conds {
		r.add(&f.conds[i])
	}
	sort.Slice(r.answers, func(i, j int) bool { return r.answers[i].index < r.answers[j].index })
	return r
}

// add intersects the region with one more condition.
func (r *region) add(c *cond) {
	for i := range r.answers {
		if a := &r.answers[i]; a.index == c.index {
			a.yes &= c.yes
			a.low, a.high = max(a.low, c.low), min(a.high, c.high)
			return
		}
	}
	r.answers = append(r.answers, answer{ask: c.ask, yes: c.yes, low: c.low, high: c.high})
}

// impossible returns a finding that no answer can satisfy, or nil.
func (r *region) impossible() *answer {
	for i := range r.answers {
		if r.answers[i].empty() {
			return &r.answers[i]
		}
	}
	return nil
}

// within reports whether every record in a is in b: whenever flag a fires, so
// does flag b.
func (a *region) within(b *region) bool {
	for i := range b.answers {
		mine := a.about(b.answers[i].index)
		if mine == nil || !mine.within(&b.answers[i]) {
			return false
		}
	}
	for k := range b.words {
		if len(b.words[k]) > 0 && (len(a.words[k]) == 0 || !subset(a.words[k], b.words[k])) {
			return false
		}
	}
	return !b.aged || a.aged && a.ageLow >= b.ageLow && a.ageHigh <= b.ageHigh
}

// meets reports whether some record may be in both.
func (a *region) meets(b *region) bool {
	for k := range b.words {
		if len(b.words[k]) > 0 && len(a.words[k]) > 0 && !share(a.words[k], b.words[k]) {
			return false
		}
	}
	if a.aged && b.aged && max(a.ageLow, b.ageLow) > min(a.ageHigh, b.ageHigh) {
		return false
	}
	for i := range b.answers {
		if mine := a.about(b.answers[i].index); mine != nil && !mine.meets(&b.answers[i]) {
			return false
		}
	}
	return true
}

// sameFindings reports whether both regions ask about the same findings.
func (a *region) sameFindings(b *region) bool {
	return slices.EqualFunc(a.answers, b.answers, func(x, y answer) bool { return x.index == y.index })
}

func (r *region) about(index int) *answer {
	for i := range r.answers {
		if r.answers[i].index == index {
			return &r.answers[i]
		}
	}
	return nil
}

func share(a, b []string) bool {
	return slices.ContainsFunc(a, func(s string) bool { return slices.Contains(b, s) })
}

func subset(a, b []string) bool {
	return !slices.ContainsFunc(a, func(s string) bool { return !slices.Contains(b, s) })
}
