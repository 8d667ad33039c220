package walk

import (
	"cmp"
	"slices"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/lanes"
)

// Alike are checks alike in what was checked, on which animal and how it went, the
// vet's own left out.
type Alike struct {
	Finding, Species, Handling, State, Reason string
	Counts
}

// Counts count checks.
type Counts struct {
	// N: all of them.
	N int64
	// Asked: those of first contacts that were done, tried or declined; Timed:
	// those of them whose beginning and end are on record, at most an hour apart;
	// Micros: what these took together, in microseconds.
	Asked, Timed, Micros int64
}

// hour is the longest that a check may have taken, in microseconds.
const hour = 3_600_000_000

// Numbers of words, the first of each for none.
var (
	handlings = append([]string{""}, codes.Handling.Words()...)
	states    = codes.States.Words()
	reasons   = append([]string{""}, codes.Reasons.Words()...)
	// hows is how many ways there are in which a check can have gone.
	hows = len(handlings) * len(states) * len(reasons)
)

// how numbers handling, state and reason together; a missing word is -1.
func how(handling, state, reason int32) int16 {
	return int16((int(handling+1)*len(states)+int(state))*len(reasons) + int(reason+1))
}

// alike counts checks by finding, species and how.
type alike struct {
	findings *lanes.Vocabulary
	cells    []Counts
	species  int
	asked    []check
}

func (a *alike) begin(species int) {
	a.findings, a.cells, a.species = lanes.NewVocabulary(), a.cells[:0], species
}

// at is the cell of a check.
func (a *alike) at(one *call, c *check) *Counts {
	i := (int(c.finding)*a.species+int(one.species))*hows + int(c.how)
	if i >= len(a.cells) {
		a.cells = append(a.cells, make([]Counts, (int(c.finding)+1)*a.species*hows-len(a.cells))...)
	}
	return &a.cells[i]
}

// add counts the checks of a call.
func (a *alike) add(one *call, run []check) {
	a.asked = a.asked[:0]
	for i := range run {
		c := &run[i]
		if c.vet {
			continue
		}
		a.at(one, c).N++
		if one.first && c.state != int8(notAsked) {
			a.asked = append(a.asked, *c)
		}
	}
	for i := 1; i < len(a.asked); i++ {
		if x, y := &a.asked[i-1], &a.asked[i]; x.seq >= y.seq && a.inOrder(*x, *y) > 0 {
			slices.SortFunc(a.asked, a.inOrder)
			break
		}
	}
	for i := range a.asked {
		c := &a.asked[i]
		ends := one.ended
		if i+1 < len(a.asked) && a.asked[i+1].put != noTime {
			ends = a.asked[i+1].put
		}
		cell := a.at(one, c)
		cell.Asked++
		if micros := ends - c.put; c.put != noTime && ends != noTime && micros >= 0 && micros <= hour {
			cell.Timed++
			cell.Micros += micros
		}
	}
}

// inOrder compares checks of a call by place, time and finding; what is missing
// stands last.
func (a *alike) inOrder(x, y check) int {
	if x.seq != y.seq || x.put != y.put {
		return cmp.Or(cmp.Compare(x.seq, y.seq), cmp.Compare(x.put, y.put))
	}
	return cmp.Compare(a.findings.All[x.finding], a.findings.All[y.finding])
}

// rows are the cells with checks.
func (a *alike) rows(c *calls) []Alike {
	var out []Alike
	for i, n := range a.cells {
		if n.N == 0 {
			continue
		}
		how, group := i%hows, i/hows
		out = append(out, Alike{Finding: a.findings.All[group/a.species], Species: c.species.All[group%a.species], Counts: n,
			Handling: handlings[how/len(reasons)/len(states)], State: states[how/len(reasons)%len(states)], Reason: reasons[how%len(reasons)]})
	}
	return out
}
