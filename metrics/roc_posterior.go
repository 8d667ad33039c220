package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
)

// rocUnit is a remainder: n episodes, k of them followed up, with what was found in those.
type rocUnit struct {
	name     string
	n, k     float64
	followed []rocCell
}

// rocCell is a number of episodes at one value, of one need.
type rocCell struct {
	value  int // index into the sampler's values
	needed bool
	count  float64
}

// place is where a pseudo-observation may fall: a value of a unit, or of the found
// episodes (unit -1), weighted by the episodes there.
type place struct{ unit, value int }

// correctedSampler draws value tables from the posterior of the expected counts. The
// table returned by a draw is overwritten by the next.
type correctedSampler struct {
	expected   valueTable
	found      []rocCell
	units      []rocUnit
	places     []place
	cumulative []float64
	table      valueTable
	extra      map[int][]rocCell // pseudo-observations of this draw, by unit
	rng        *rand.Rand
}

func newCorrectedSampler(cells []ValueVerification, unit CorrectionUnit, rng *rand.Rand) *correctedSampler {
	sorted := slices.Clone(cells)
	sort.SliceStable(sorted, func(i, j int) bool {
		if sorted[i].Value != sorted[j].Value {
			return sorted[i].Value < sorted[j].Value
		}
		return sorted[i].Stratum < sorted[j].Stratum
	})
	s := &correctedSampler{rng: rng, extra: map[int][]rocCell{}}
	type key struct {
		stratum string
		value   int
	}
	index := map[key]int{}
	for _, c := range sorted {
		if c.Total() == 0 {
			continue
		}
		s.expected.add(c.Value, 0, 0)
		v := len(s.expected.value) - 1
		s.addFound(v, c.VerificationCell)
		n := float64(c.Sampled() + c.Unverified)
		if n == 0 {
			continue
		}
		k := key{stratum: c.Stratum}
		name := fmt.Sprintf("stratum %q", c.Stratum)
		if unit == WithinStratumAndValue {
			k.value = v + 1
			name += fmt.Sprintf(", value %v", c.Value)
		}
		u, ok := index[k]
		if !ok {
			u = len(s.units)
			index[k] = u
			s.units = append(s.units, rocUnit{name: name})
		}
		s.units[u].add(v, c.VerificationCell)
		s.addPlace(place{u, v}, n)
	}
	s.expect()
	return s
}

func (s *correctedSampler) addFound(v int, c VerificationCell) {
	if c.FoundNeeded > 0 {
		s.found = append(s.found, rocCell{v, true, float64(c.FoundNeeded)})
	}
	if c.FoundNotNeeded > 0 {
		s.found = append(s.found, rocCell{v, false, float64(c.FoundNotNeeded)})
	}
	if n := c.FoundNeeded + c.FoundNotNeeded; n > 0 {
		s.addPlace(place{-1, v}, float64(n))
	}
}

func (s *correctedSampler) addPlace(p place, n float64) {
	if k := len(s.cumulative); k > 0 {
		n += s.cumulative[k-1]
	}
	s.places = append(s.places, p)
	s.cumulative = append(s.cumulative, n)
}

func (u *rocUnit) add(v int, c VerificationCell) {
	u.n += float64(c.Sampled() + c.Unverified)
	u.k += float64(c.Sampled())
	if c.SampledNeeded > 0 {
		u.followed = append(u.followed, rocCell{v, true, float64(c.SampledNeeded)})
	}
	if c.SampledNotNeeded > 0 {
		u.followed = append(u.followed, rocCell{v, false, float64(c.SampledNotNeeded)})
	}
}

// expect fills the expected counts: found as they are, followed up times n/k.
func (s *correctedSampler) expect() {
	e := &s.expected
	for _, f := range s.found {
		e.put(f, f.count)
	}
	for _, u := range s.units {
		for _, f := range u.followed {
			e.put(f, f.count*u.n/u.k)
		}
	}
	e.total()
	k := len(e.value)
	s.table = valueTable{value: e.value, pos: make([]float64, k), neg: make([]float64, k)}
}

func (t *valueTable) put(c rocCell, n float64) {
	if c.needed {
		t.pos[c.value] += n
	} else {
		t.neg[c.value] += n
	}
}

// blocked says why nothing can be corrected, or nothing.
func (s *correctedSampler) blocked() string {
	first, others, episodes := "", 0, 0.0
	for _, u := range s.units {
		if u.k > 0 {
			continue
		}
		if first == "" {
			first, episodes = u.name, u.n
		} else {
			others++
		}
	}
	if first == "" {
		return ""
	}
	why := fmt.Sprintf("none of the %.0f unverified episodes in %s was followed up", episodes, first)
	if others > 0 {
		why += fmt.Sprintf(" (nor in %d more)", others)
	}
	return why
}

func (s *correctedSampler) thin(minSampled int64) int64 {
	n := 0.0
	for _, u := range s.units {
		if u.n > u.k && u.k < float64(minSampled) {
			n += u.n - u.k
		}
	}
	return int64(n)
}

// pseudoObservations is how many the whole finding gets in each draw: on average one on
// either side of a threshold in the middle, as Corrected gives each side one.
const pseudoObservations = 2

// draw makes one posterior draw of the expected counts, up to a common factor.
func (s *correctedSampler) draw() valueTable {
	t := &s.table
	clear(t.pos)
	clear(t.neg)
	clear(s.extra)
	for range pseudoObservations {
		i, _ := slices.BinarySearch(s.cumulative, s.rng.Float64()*s.cumulative[len(s.cumulative)-1])
		p := s.places[min(i, len(s.places)-1)]
		s.extra[p.unit] = append(s.extra[p.unit], rocCell{p.value, s.rng.Uint64()&1 == 0, 1})
	}
	for _, f := range s.found {
		t.put(f, gammaDraw(s.rng, f.count))
	}
	for _, f := range s.extra[-1] {
		t.put(f, gammaDraw(s.rng, 1))
	}
	for i, u := range s.units {
		s.drawUnit(u, s.extra[i])
	}
	t.total()
	return *t
}

// drawUnit spreads the drawn size of a remainder over the drawn make-up of its followed-up
// part.
func (s *correctedSampler) drawUnit(u rocUnit, extra []rocCell) {
	shares := make([]float64, 0, len(u.followed)+len(extra))
	sum := 0.0
	for _, f := range u.followed {
		shares = append(shares, gammaDraw(s.rng, f.count))
		sum += shares[len(shares)-1]
	}
	for range extra {
		shares = append(shares, gammaDraw(s.rng, 1))
		sum += shares[len(shares)-1]
	}
	if sum == 0 {
		return
	}
	size := gammaDraw(s.rng, u.n+float64(len(extra))*u.n/math.Max(1, u.k)) / sum
	for i, f := range u.followed {
		s.table.put(f, size*shares[i])
	}
	for i, f := range extra {
		s.table.put(f, size*shares[len(u.followed)+i])
	}
}
