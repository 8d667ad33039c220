package demo

import "math/rand/v2"

// A stream names one independent sequence of chance within a unit, so that
// leaving out the audit or changing the world moves nothing else.
type stream uint64

const (
	streamTime stream = iota + 1
	streamKind
	streamClinical
	streamAdvice
	streamAttend
	streamWorsen
	streamCallBack
	streamFollowUp
	streamAudit
	streamOutcome
	streamExport
	streamHousehold
	streamAnimal
	streamComplaint
)

// mix64 is the finaliser of the splitmix64 generator (Steele, Lea and Flood
// 2014, OOPSLA, "Fast splittable pseudorandom number generators"): it turns
// counters into seeds without visible relation.
func mix64(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// dice is a reusable seeded generator; the zero value must be rolled first.
type dice struct {
	pcg rand.PCG
	rnd *rand.Rand
}

func newDice() *dice {
	d := &dice{}
	d.rnd = rand.New(&d.pcg)
	return d
}

// roll restarts the dice for one stream of one unit.
func (d *dice) roll(seed uint64, s stream, unit uint64) {
	h := mix64(seed ^ mix64(uint64(s)<<56^unit))
	d.pcg.Seed(h, mix64(h^0xa5a5a5a5a5a5a5a5))
}

func (d *dice) u() float64 { return d.rnd.Float64() }

func (d *dice) chance(p float64) bool { return d.rnd.Float64() < p }

// below returns a whole number in [0, n).
func (d *dice) below(n int) int {
	return int((d.pcg.Uint64() >> 32) * uint64(n) >> 32)
}

// between returns a whole number in [low, high].
func (d *dice) between(low, high int) int { return low + d.below(high-low+1) }

func (d *dice) normal(mean, sd float64) float64 { return mean + sd*d.rnd.NormFloat64() }

// pick returns an index with probability proportional to its weight; the
// weights need not add up to one.
func (d *dice) pick(weights []float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	x := d.rnd.Float64() * sum
	for i, w := range weights {
		if x -= w; x < 0 {
			return i
		}
	}
	return len(weights) - 1
}
