package rules

import (
	"slices"

	"hindcheck/pipeline/codes"
)

// Record is what a rule can see of one case. Empty words and "unknown" mean not
// recorded.
type Record struct {
	Species, Sex, Neutered, BreedGroup, Complaint string
	// AgeMonths is negative where the age is not recorded.
	AgeMonths int32
	// Values holds the stored number of each finding by its place in the
	// dictionary, see findings.Encode; negative is not assessed. A shorter
	// slice stands for findings that were not asked.
	Values []int32
}

// value returns the stored number of the finding at a place in the dictionary.
func (r *Record) value(index int) int32 {
	if index >= len(r.Values) {
		return codes.NotAsked
	}
	return r.Values[index]
}

// Result is what the rules say of one record. Reuse one Result for many
// records: Eval keeps its slices.
type Result struct {
	// Low, Level and High are the levels with unknown flags left out, treated
	// by their when_unknown, and all counted. All three are codes.NoLevel for
	// an undetermined record.
	Low, Level, High codes.Level
	// Fired and Unknown have bit i%64 of word i/64 set for flag i. A flag
	// with neither is ruled out.
	Fired, Unknown []uint64
}

// Determined reports whether the rules could say anything.
func (r *Result) Determined() bool { return r.Level != codes.NoLevel }

// Eval applies the rules to a record. It allocates only when out has no words yet.
func (p *Program) Eval(r *Record, out *Result) {
	words := p.Set.Words()
	if cap(out.Fired) < words || cap(out.Unknown) < words {
		out.Fired, out.Unknown = make([]uint64, words), make([]uint64, words)
	}
	out.Fired, out.Unknown = out.Fired[:words], out.Unknown[:words]
	clear(out.Fired)
	clear(out.Unknown)
	for i := range p.flags {
		switch p.flags[i].eval(r) {
		case codes.Yes:
			setBit(out.Fired, i)
		case codes.Unknown:
			setBit(out.Unknown, i)
		}
	}
	out.Low, out.Level, out.High = codes.NoLevel, codes.NoLevel, codes.NoLevel
	if p.speaks(r) {
		out.Low, out.Level, out.High = p.levels(out.Fired, out.Unknown)
	}
}

// Flag returns whether flag i fires on the record.
func (p *Program) Flag(i int, r *Record) codes.Tri { return p.flags[i].eval(r) }

// speaks reports whether the rules can say anything of the record: a flag is
// meant for its species, and something that they ask about was assessed.
func (p *Program) speaks(r *Record) bool {
	if p.covered != nil && !slices.Contains(p.covered, r.Species) {
		return false
	}
	for i := range p.asks {
		if p.asks[i].assessed(r.value(p.asks[i].index)) {
			return true
		}
	}
	return false
}

// levels returns the three levels from the flags' bits.
func (p *Program) levels(fired, unknown []uint64) (low, level, high codes.Level) {
	low, level, high = p.Set.Otherwise, p.Set.Otherwise, p.Set.Otherwise
	for l := p.Set.Otherwise + 1; l <= codes.Emergency; l++ {
		for w, demand := range p.demand[l] {
			if demand&fired[w] != 0 {
				low = l
			}
			if demand&(fired[w]|unknown[w]&p.raise[w]) != 0 {
				level = l
			}
			if demand&(fired[w]|unknown[w]) != 0 {
				high = l
			}
		}
	}
	return low, level, high
}

// eval is the conjunction in three-valued logic.
func (f *flag) eval(r *Record) codes.Tri {
	result := codes.Yes
	if f.limited {
		if result = f.limits(r); result == codes.No {
			return codes.No
		}
	}
	for i := range f.conds {
		switch f.conds[i].eval(r.value(f.conds[i].index)) {
		case codes.No:
			return codes.No
		case codes.Unknown:
			result = codes.Unknown
		}
	}
	return result
}

// limits is the conjunction of the limits beside the conditions.
func (f *flag) limits(r *Record) codes.Tri {
	result := codes.Yes
	for _, t := range [...]codes.Tri{
		among(f.Species, r.Species), among(f.Sex, r.Sex), among(f.Neutered, r.Neutered),
		f.Age.eval(r.AgeMonths), among(f.BreedGroup, r.BreedGroup), among(f.Complaint, r.Complaint),
	} {
		if t == codes.No {
			return codes.No
		}
		if t == codes.Unknown {
			result = codes.Unknown
		}
	}
	return result
}

// among tells whether a word is on a list that limits, where an empty list
// does not.
func among(list []string, word string) codes.Tri {
	switch {
	case len(list) == 0:
		return codes.Yes
	case word == "" || word == unknownWord:
		return codes.Unknown
	}
	return codes.TriOf(slices.Contains(list, word))
}

func (a AgeSpan) eval(months int32) codes.Tri {
	switch {
	case !a.Limits():
		return codes.Yes
	case months < 0:
		return codes.Unknown
	}
	return codes.TriOf(int(months) >= a.AtLeast && (a.Below < 0 || int(months) < a.Below))
}

// assessed reports whether a stored number says something.
func (a *ask) assessed(v int32) bool {
	if !a.code {
		return v >= 0
	}
	return v >= 1 && v < 64 && a.readable>>v&1 == 1
}

func (c *cond) eval(v int32) codes.Tri {
	switch {
	case !c.assessed(v):
		return codes.Unknown
	case c.code:
		return codes.TriOf(c.yes>>v&1 == 1)
	}
	return codes.TriOf(v >= c.low && v <= c.high)
}
