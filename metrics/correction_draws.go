package metrics

import (
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// verificationDraw is one draw from the posterior of the expected numbers of
// episodes, before normalising, and of the numbers actually in need in this
// period.
type verificationDraw struct {
	tp, fp, fn, tn float64 // of the population the episodes come from
	caught, missed float64 // among these very episodes
}

// sideSampler draws one side (with or without the mark).
//
// The prior is one pseudo-observation for the whole side, not one for each cell:
// with thirty cells of seventeen verified animals, half an animal in need added
// to each would drown the seven that were found. Each draw puts it into one
// part, chosen by size, and makes it an animal in need or not with equal
// chance. Everywhere else the improper prior of Haldane leaves the estimate
// where the data put it. For a single fully verified part this is the mixture
// of the two one-sided exact posteriors whose quantiles are the mid-P limits.
type sideSampler struct {
	parts []part
	// always and never sum the parts without a verified exception: all in need,
	// none in need. Drawing them one by one would change nothing.
	always, never float64
	mixed         []mixedPart
	full          []int     // parts whose verified episodes were all in need
	cumulative    []float64 // of n, to choose a part by size
	// sharesOnly leaves out drawing the episodes in need beside their rate.
	sharesOnly bool
	r          *rand.Rand
}

// mixedPart is a part with verified episodes of both kinds.
type mixedPart struct {
	at   int // its place in parts
	rate betaSampler
	size gammaSampler
	// unverified is how many episodes of it have no known need.
	unverified float64
}

func newSideSampler(parts []part, present bool, r *rand.Rand) *sideSampler {
	s := &sideSampler{r: r}
	var n float64
	for _, p := range parts {
		if p.present == present {
			n += p.n
			s.parts = append(s.parts, p)
			s.cumulative = append(s.cumulative, n)
		}
	}
	if n == 0 {
		// An empty side still can have had an episode: the pseudo-observation
		// stands alone, weight 1.
		s.parts, s.cumulative = []part{{present: present}}, []float64{1}
	}
	for i, p := range s.parts {
		switch {
		case p.x == 0:
			s.never += p.n
		case p.x == p.k:
			s.always += p.n
			s.full = append(s.full, i)
		default:
			s.mixed = append(s.mixed, mixedPart{i, newBetaSampler(p.x, p.k-p.x), newGammaSampler(p.n), p.n - p.k})
		}
	}
	return s
}

// pick chooses the part that takes the pseudo-observation.
func (s *sideSampler) pick() int {
	u := s.r.Float64() * s.cumulative[len(s.cumulative)-1]
	i, _ := slices.BinarySearch(s.cumulative, u)
	return min(i, len(s.parts)-1)
}

// draw returns the side's needed and not needed, and how many of its unverified
// episodes were in need.
func (s *sideSampler) draw() (needed, notNeeded, unseen float64) {
	chosen := s.pick()
	c := s.parts[chosen]
	add := func(theta, size, unverified float64) {
		needed += size * theta
		notNeeded += size * (1 - theta)
		if !s.sharesOnly {
			unseen += binomialDraw(s.r, unverified, theta)
		}
	}
	theta, n := s.withPseudo(c)
	add(theta, gammaDraw(s.r, n), c.n-c.k)
	for i := range s.mixed {
		if p := &s.mixed[i]; p.at != chosen {
			theta := p.rate.draw(s.r)
			add(theta, p.size.draw(s.r), p.unverified)
		}
	}
	always, never := s.always, s.never
	switch c.x {
	case 0:
		never -= c.n
	case c.k:
		always -= c.n
	}
	needed += gammaDraw(s.r, always)
	notNeeded += gammaDraw(s.r, never)
	for _, i := range s.full {
		if i != chosen {
			unseen += s.parts[i].n - s.parts[i].k
		}
	}
	return needed, notNeeded, unseen
}

// withPseudo draws the rate of a part that holds the pseudo-observation, and the
// part's size with that observation's weight.
func (s *sideSampler) withPseudo(p part) (theta, n float64) {
	x, y := p.x, p.k-p.x
	if s.r.Uint64()&1 == 0 {
		x++
	} else {
		y++
	}
	weight := 1.0
	if p.k > 0 {
		weight = p.n / p.k
	}
	return newBetaSampler(x, y).draw(s.r), p.n + weight
}

func binomialDraw(r *rand.Rand, n, p float64) float64 {
	switch {
	case n <= 0 || p <= 0:
		return 0
	case p >= 1:
		return n
	}
	return distuv.Binomial{N: n, P: p, Src: r}.Rand()
}

// drawVerification draws from the posterior of all four expected numbers.
func drawVerification(parts []part, draws int, r *rand.Rand, sharesOnly bool) []verificationDraw {
	present, absent := newSideSampler(parts, true, r), newSideSampler(parts, false, r)
	present.sharesOnly, absent.sharesOnly = sharesOnly, sharesOnly
	var knownCaught, knownMissed float64
	for _, p := range parts {
		if p.present {
			knownCaught += p.x
		} else {
			knownMissed += p.x
		}
	}
	out := make([]verificationDraw, draws)
	for i := range out {
		d := &out[i]
		d.tp, d.fp, d.caught = present.draw()
		d.fn, d.tn, d.missed = absent.draw()
		d.caught += knownCaught
		d.missed += knownMissed
	}
	return out
}

// drawLimits are the equal-tailed limits of f over the draws. values is room for
// one value a draw.
func drawLimits(draws []verificationDraw, values []float64, conf float64, f func(*verificationDraw) float64) (low, high float64) {
	for i := range draws {
		values[i] = f(&draws[i])
	}
	tail := (1 - conf) / 2
	return quantileOf(values, tail), quantileOf(values, 1-tail)
}
