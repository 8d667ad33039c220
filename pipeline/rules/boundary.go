package rules

import (
	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
)

// Boundary shows, on readings around a threshold, what a condition of a flag
// does: at_least: 30 and at_least: 30.0 take a reading of 30, above: 30 does
// not. The answers are those of the evaluator, not of the text.
type Boundary struct {
	// Flag and Condition say which threshold; Pos where it stands.
	Flag, Condition string
	Pos             Pos
	// Readings run upwards through the stored steps about each bound.
	Readings []Reading
}

// Reading is one recorded reading and whether the condition is true of it.
type Reading struct {
	// Text is the reading in the finding's unit, with the decimals that are stored.
	Text string
	// Meets says whether it satisfies the condition, Possible whether a reading
	// of an animal the flag is meant for can have this value at all.
	Meets, Possible bool
}

// Boundaries works every threshold of a set through the readings one step
// below, on and one step above it. It fails as Compile does.
func Boundaries(s *Set, d *findings.Dictionary) ([]Boundary, error) {
	p, err := Compile(s, d)
	if err != nil {
		return nil, err
	}
	c := checker{p: p}
	var out []Boundary
	for i := range p.flags {
		f := &p.flags[i]
		for k := range f.conds {
			if b := &f.conds[k]; !b.code {
				out = append(out, Boundary{Flag: f.ID, Condition: f.All[k].String(), Pos: f.All[k].Pos, Readings: c.around(f, b)})
			}
		}
	}
	return out, nil
}

// around lists the readings about the ends of a numeric condition.
func (c *checker) around(f *flag, b *cond) []Reading {
	low, high := c.recorded(f, &answer{ask: b.ask})
	var at []int32
	for _, v := range []int32{b.low, b.high} {
		if v > 0 && v < high+2 {
			at = append(at, v-1, v, v+1)
		}
	}
	if len(at) == 0 { // every reading, or none
		at = []int32{low, high}
	}
	var out []Reading
	for _, v := range keep(at, 0, high+2) {
		out = append(out, Reading{Text: c.show(&answer{ask: b.ask}, v), Meets: b.eval(v) == codes.Yes, Possible: v >= low && v <= high})
	}
	return out
}
