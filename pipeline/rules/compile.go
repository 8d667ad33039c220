package rules

import (
	"fmt"
	"math"
	"math/big"
	"slices"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

// Program is a Set bound to a dictionary: conditions on stored integers, ready
// for Eval and Select. It is not changed after Compile and may be shared.
type Program struct {
	Set  *Set
	Dict *findings.Dictionary

	flags []flag
	// demand[l] has the bits of the flags that demand level l; raise those
	// that count when unknown.
	demand [codes.Emergency + 1][]uint64
	raise  []uint64
	// asks are the findings that some flag asks about, in dictionary order.
	asks []ask
	// covered lists the species that some flag is meant for; nil means all.
	covered []string
}

// flag is a Flag with its conditions on stored integers.
type flag struct {
	*Flag
	conds []cond
	// limited says that anything beside the conditions limits it; most are not.
	limited bool
}

// cond is a condition on the stored integer of one finding.
type cond struct {
	ask
	// yes holds the codes that make it true, as bits by place.
	yes uint64
	// low and high bound a number, both included, on the stored scale; low > high
	// is never true.
	low, high int32
}

// ask is a finding as rules see it.
type ask struct {
	index  int    // in the dictionary
	column string // in cases
	code   bool
	// readable holds the codes that say something, as bits by place; unused
	// for a number, of which every reading does.
	readable uint64
}

// Compile binds a set to the dictionary in force. It reports, as
// strict.Problems with places in the rules file, every finding and code that
// the dictionary does not have.
func Compile(s *Set, d *findings.Dictionary) (*Program, error) {
	if len(s.Flags) > MaxFlags {
		return nil, fmt.Errorf("ruleset %s has %d flags, expected at most %d", s.ID, len(s.Flags), MaxFlags)
	}
	p := &Program{Set: s, Dict: d, raise: make([]uint64, s.Words())}
	for l := range p.demand {
		p.demand[l] = make([]uint64, s.Words())
	}
	var problems strict.Problems
	for i := range s.Flags {
		f := &s.Flags[i]
		bound := newFlag(f)
		for j := range f.All {
			c, problem := bind(s.File, &f.All[j], d)
			if problem != nil {
				problem.Path = fmt.Sprintf("flags[%d].all[%d]", i, j)
				problems = append(problems, problem)
				continue
			}
			bound.conds = append(bound.conds, c)
			p.addAsk(c.ask)
		}
		p.flags = append(p.flags, bound)
		setBit(p.demand[f.Demands], i)
		if f.Raise {
			setBit(p.raise, i)
		}
	}
	if len(problems) > 0 {
		return nil, problems
	}
	slices.SortFunc(p.asks, func(a, b ask) int { return a.index - b.index })
	p.covered = coveredSpecies(s)
	return p, nil
}

// Findings returns the ids of the findings that the rules ask about, in
// dictionary order: the columns f_<id> that Select needs. A replay over cases
// stored before a finding existed adds the missing ones as NULL, which is not asked.
func (p *Program) Findings() []string {
	out := make([]string, len(p.asks))
	for i := range p.asks {
		out[i] = p.Dict.Findings[p.asks[i].index].ID
	}
	return out
}

func (p *Program) addAsk(a ask) {
	if !slices.ContainsFunc(p.asks, func(b ask) bool { return b.index == a.index }) {
		p.asks = append(p.asks, a)
	}
}

// newFlag makes a flag without conditions.
func newFlag(f *Flag) flag {
	return flag{Flag: f, limited: f.Age.Limits() || len(f.Species)+len(f.Sex)+len(f.Neutered)+len(f.BreedGroup)+len(f.Complaint) > 0}
}

// coveredSpecies returns every species a flag names, or nil if one flag is
// meant for all.
func coveredSpecies(s *Set) []string {
	var all []string
	for i := range s.Flags {
		if len(s.Flags[i].Species) == 0 {
			return nil
		}
		all = append(all, s.Flags[i].Species...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// bind turns a condition into one on stored integers.
func bind(file string, c *Condition, d *findings.Dictionary) (cond, *strict.Problem) {
	fail := func(expected, found, remedy string) (cond, *strict.Problem) {
		return cond{}, &strict.Problem{File: file, Line: c.Pos.Line, Column: c.Pos.Column, Expected: expected, Found: found, Remedy: remedy}
	}
	f, ok := d.Finding(c.Finding)
	if !ok {
		return fail("a finding of dictionary "+d.ID, fmt.Sprintf("%q", c.Finding), "correct the id, or add the finding to the site's dictionary")
	}
	a := ask{index: d.Index(c.Finding), column: f.Column(), code: f.Kind == findings.Code}
	numeric := c.Lower.Set() || c.Upper.Set()
	switch {
	case a.code && numeric:
		return fail("codes, as "+c.Finding+" is recorded by code", "a threshold", "use is or is_not")
	case !a.code && !numeric:
		return fail("a threshold, as "+c.Finding+" is a number", "codes", "use at_least, above, at_most or below")
	case !a.code:
		low, high := interval(c.Lower, c.Upper, f.Scale)
		return cond{ask: a, low: low, high: high}, nil
	}
	var named uint64
	for i, o := range f.Codes {
		if !o.Unreadable {
			a.readable |= 1 << (i + 1)
		}
	}
	for _, w := range slices.Concat(c.Is, c.IsNot) {
		place := f.Position(w)
		if place == 0 {
			return fail("codes of "+c.Finding, fmt.Sprintf("%q", w), "correct the code, or append it to the site's dictionary")
		}
		if a.readable&(1<<place) == 0 {
			return fail("codes that say something", fmt.Sprintf("%q, which marks an answer that could not be read", w),
				"delete it; such an answer makes the flag unknown by itself")
		}
		named |= 1 << place
	}
	yes := named
	if len(c.IsNot) > 0 {
		yes = a.readable &^ named
	}
	return cond{ask: a, yes: yes}, nil
}

// interval turns bounds into the stored integers that they let through. The
// decimal text is multiplied exactly, so 40.5 at scale 10 is 405 and not what
// binary fractions make of it. A bound between two stored values moves to the
// one inside.
func interval(lower, upper Bound, scale int) (low, high int32) {
	low, high = 0, math.MaxInt32
	factor := new(big.Rat).SetInt64(int64(scale))
	if lower.Set() {
		r := new(big.Rat).Mul(lower.rat(), factor)
		q := floor(r)
		if !r.IsInt() || !lower.Inclusive {
			q.Add(q, big.NewInt(1)) // the next stored value above
		}
		low = max(low, clamp(q))
		if q.Cmp(big.NewInt(math.MaxInt32)) > 0 {
			return 0, -1
		}
	}
	if upper.Set() {
		r := new(big.Rat).Mul(upper.rat(), factor)
		q := floor(r)
		if r.IsInt() && !upper.Inclusive {
			q.Sub(q, big.NewInt(1))
		}
		high = clamp(q)
	}
	if low > high {
		return 0, -1
	}
	return low, high
}

// floor returns the largest whole number not above r.
func floor(r *big.Rat) *big.Int {
	q, m := new(big.Int).DivMod(r.Num(), r.Denom(), new(big.Int))
	_ = m // DivMod is Euclidean and Denom positive, so q is the floor
	return q
}

// clamp brings a whole number into the range of stored readings, -1 standing
// for "below all of them".
func clamp(q *big.Int) int32 {
	switch {
	case q.Sign() < 0:
		return -1
	case q.Cmp(big.NewInt(math.MaxInt32)) > 0:
		return math.MaxInt32
	}
	return int32(q.Int64())
}

func setBit(words []uint64, i int) { words[i/64] |= 1 << (i % 64) }

// Bit reports whether flag i is marked in words as Eval and Select fill them.
func Bit(words []uint64, i int) bool {
	return i/64 < len(words) && words[i/64]>>(i%64)&1 == 1
}
