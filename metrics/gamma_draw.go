package metrics

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// gammaSampler draws from the gamma distribution of one shape and scale 1: the
// numbers that distuv.Gamma draws from the same generator, in half the time. A
// review makes some fifty million of them, of a few hundred shapes. distuv works
// out two constants for each number and reaches the generator through a second
// one; here the constants are kept, and a test holds both to the same numbers.
//
// Source: Marsaglia, Tsang (2000) ACM Trans Math Softw 26:363-372.
type gammaSampler struct {
	shape float64
	// d is shape - 1/3 and c is 1 / (3 sqrt d), as in the paper.
	d, c float64
}

func newGammaSampler(shape float64) gammaSampler {
	d := shape - 1.0/3
	return gammaSampler{shape, d, 1 / (3 * math.Sqrt(d))}
}

// draw allows shape 0, which is the constant 0.
func (g gammaSampler) draw(r *rand.Rand) float64 {
	switch {
	case g.shape <= 0:
		return 0
	case g.shape == 1:
		return r.ExpFloat64()
	case g.shape < 1:
		return distuv.Gamma{Alpha: g.shape, Beta: 1, Src: r}.Rand()
	}
	for {
		x := r.NormFloat64()
		v := 1 + x*g.c
		if v <= 0 {
			continue
		}
		v = v * v * v
		u := r.Float64()
		if u < 1-0.0331*(x*x)*(x*x) || math.Log(u) < 0.5*x*x+g.d*(1-v+math.Log(v)) {
			return g.d * v
		}
	}
}

// gammaDraw draws once.
func gammaDraw(r *rand.Rand, shape float64) float64 { return newGammaSampler(shape).draw(r) }

// betaSampler draws from a beta distribution. It allows a parameter of 0, which
// puts all mass on an end.
type betaSampler struct{ a, b gammaSampler }

func newBetaSampler(a, b float64) betaSampler {
	return betaSampler{newGammaSampler(a), newGammaSampler(b)}
}

func (s betaSampler) draw(r *rand.Rand) float64 {
	if s.a.shape == 0 {
		return 0
	}
	if s.b.shape == 0 {
		return 1
	}
	x, y := s.a.draw(r), s.b.draw(r)
	return x / (x + y)
}
