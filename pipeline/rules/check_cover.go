package rules

import (
	"fmt"
	"slices"
)

// maxCells bounds the work on one flag: a region is cut into cells at every
// code, bound and word that one of the other flags names. maxHelpers and
// maxWork bound it on a set of thousands of flags on one finding.
const (
	maxCells   = 100_000
	maxHelpers = 500
	maxWork    = 50_000_000
)

// covered looks for flags that no single flag hides but several together do:
// every record on which such a flag fires has another flag that demands no less.
//
// The answer is exact. A flag that limits something on which this one puts no
// limit cannot help, since that something may be unknown; so all that matters
// are the dimensions of this flag, and along each the other flags only tell
// finitely many pieces apart. Where those make too many cells, the notice says
// that it cannot tell.
func (c *checker) covered() {
	hidden := map[string]bool{}
	for _, n := range c.out {
		if n.Kind == Shadowed || n.Kind == Contradiction {
			hidden[n.Flag] = true
		}
	}
	byFinding := map[int][]int{}
	for i := range c.regions {
		if !c.dead[i] {
			at := c.regions[i].answers[0].index
			byFinding[at] = append(byFinding[at], i)
		}
	}
	unclear, work := 0, 0
	for i := range c.regions {
		if c.dead[i] || hidden[c.p.flags[i].ID] {
			continue
		}
		helpers := c.helpers(i, byFinding)
		if len(helpers) < 2 {
			continue
		}
		work += len(helpers) * len(helpers)
		if len(helpers) > maxHelpers || work > maxWork {
			unclear++
			continue
		}
		g := newGrid(&c.regions[i], c.regions, helpers)
		switch {
		case g.cells() > maxCells:
			unclear++
		case g.covered():
			ids := make([]string, len(helpers))
			for k, h := range helpers {
				ids[k] = c.p.flags[h].ID
			}
			c.add(i, Covered, Doubtful, "", "changes no level: whenever it fires, so does one of %s, which demand no less", listOf(ids, "or"))
		}
	}
	if unclear > 0 {
		c.out = append(c.out, Notice{Kind: CannotTell, Severity: Note, Remedy: remedies[CannotTell],
			Text: fmt.Sprintf("cannot tell of %d flags whether several others together make them needless: too many combinations", unclear)})
	}
}

// helpers are the flags that may take part in covering flag i: they limit
// nothing that i does not, meet it, and would count wherever it counts.
func (c *checker) helpers(i int, byFinding map[int][]int) []int {
	var out []int
	for k := range c.regions[i].answers {
		for _, j := range byFinding[c.regions[i].answers[k].index] {
			if j != i && !c.dead[j] && c.hides(j, i) && c.regions[j].limitsWithin(&c.regions[i]) && c.regions[j].meets(&c.regions[i]) {
				out = append(out, j)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// limitsWithin reports whether a limits only what b limits too.
func (a *region) limitsWithin(b *region) bool {
	for k := range a.answers {
		if b.about(a.answers[k].index) == nil {
			return false
		}
	}
	for k := range a.words {
		if len(a.words[k]) > 0 && len(b.words[k]) == 0 {
			return false
		}
	}
	return !a.aged || b.aged
}

// grid is a region cut into cells. along[d] holds, for each piece of dimension
// d, the set of helpers (as bits) that take it.
type grid struct{ along [][][]uint64 }

func newGrid(r *region, all []region, helpers []int) grid {
	g := grid{}
	words := (len(helpers) + 63) / 64
	piece := func(takes func(h *region) bool) []uint64 {
		set := make([]uint64, words)
		for k, h := range helpers {
			if takes(&all[h]) {
				setBit(set, k)
			}
		}
		return set
	}
	for k := range r.answers {
		a := &r.answers[k]
		g.add(numberPieces(a, all, helpers), func(v int32) []uint64 {
			return piece(func(h *region) bool {
				b := h.about(a.index)
				return b == nil || b.takes(v)
			})
		})
	}
	for k := range r.words {
		var pieces [][]uint64
		for _, w := range r.words[k] {
			pieces = append(pieces, piece(func(h *region) bool { return len(h.words[k]) == 0 || slices.Contains(h.words[k], w) }))
		}
		g.addPieces(pieces)
	}
	if r.aged {
		ages := []int32{int32(r.ageLow)}
		for _, h := range helpers {
			ages = append(ages, int32(all[h].ageLow), int32(all[h].ageHigh)+1)
		}
		g.add(keep(ages, int32(r.ageLow), int32(r.ageHigh)), func(v int32) []uint64 {
			return piece(func(h *region) bool { return !h.aged || int(v) >= h.ageLow && int(v) <= h.ageHigh })
		})
	}
	return g
}

// numberPieces gives one value of each piece of an answer that the helpers
// could tell apart: every code, or the first number after each bound.
func numberPieces(a *answer, all []region, helpers []int) []int32 {
	var out []int32
	if a.code {
		for v := int32(1); v < 64; v++ {
			if a.yes>>v&1 == 1 {
				out = append(out, v)
			}
		}
		return out
	}
	out = append(out, a.low)
	for _, h := range helpers {
		if b := all[h].about(a.index); b != nil {
			out = append(out, b.low)
			if b.high < a.high {
				out = append(out, b.high+1)
			}
		}
	}
	return keep(out, a.low, a.high)
}

// keep sorts values, drops repeated ones and those outside low to high.
func keep(values []int32, low, high int32) []int32 {
	slices.Sort(values)
	return slices.DeleteFunc(slices.Compact(values), func(v int32) bool { return v < low || v > high })
}

// takes reports whether a stored number satisfies the answer.
func (a *answer) takes(v int32) bool {
	if a.code {
		return a.yes>>v&1 == 1
	}
	return v >= a.low && v <= a.high
}

func (g *grid) add(values []int32, piece func(int32) []uint64) {
	pieces := make([][]uint64, len(values))
	for i, v := range values {
		pieces[i] = piece(v)
	}
	g.addPieces(pieces)
}

// addPieces adds a dimension; pieces that the same helpers take are one.
func (g *grid) addPieces(pieces [][]uint64) {
	if len(pieces) == 0 {
		return
	}
	slices.SortFunc(pieces, slices.Compare)
	g.along = append(g.along, slices.CompactFunc(pieces, slices.Equal))
}

// cells is the number of cells, or one more than maxCells.
func (g *grid) cells() int {
	n := 1
	for _, d := range g.along {
		if n *= len(d); n > maxCells {
			return maxCells + 1
		}
	}
	return n
}

// covered reports whether every cell is taken by some helper in every
// dimension.
func (g *grid) covered() bool {
	if len(g.along) == 0 {
		return false
	}
	return coveredFrom(g.along, slices.Clone(g.along[0]))
}

// coveredFrom works through the dimensions: left are the helpers that still
// take a cell after the dimensions before.
func coveredFrom(along [][][]uint64, left [][]uint64) bool {
	for _, set := range left {
		if !slices.ContainsFunc(set, func(w uint64) bool { return w != 0 }) {
			return false
		}
		if len(along) == 1 {
			continue
		}
		next := make([][]uint64, len(along[1]))
		for i, p := range along[1] {
			next[i] = make([]uint64, len(set))
			for w := range set {
				next[i][w] = set[w] & p[w]
			}
		}
		if !coveredFrom(along[1:], next) {
			return false
		}
	}
	return true
}
