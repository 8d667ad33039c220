package metrics

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Number for number what the library draws, whatever the shape, and the
// generator is left in the same state.
func TestGammaSamplerDrawsAsTheLibrary(t *testing.T) {
	shapes := []float64{0.05, 0.5, 1, 1.0001, 1.5, 2, 3, 17, 17.25, 400, 1e6}
	ours, its := rand.New(rand.NewPCG(3, 4)), rand.New(rand.NewPCG(3, 4))
	for _, shape := range shapes {
		g, d := newGammaSampler(shape), distuv.Gamma{Alpha: shape, Beta: 1, Src: its}
		for i := range 20000 {
			if a, b := g.draw(ours), d.Rand(); a != b {
				t.Fatalf("shape %v, draw %d: %v, library %v", shape, i, a, b)
			}
		}
	}
	if ours.Uint64() != its.Uint64() {
		t.Error("the generators have parted")
	}
	if before := *ours; gammaDraw(ours, 0) != 0 || *ours != before {
		t.Error("shape 0 is the constant 0")
	}
}

func TestBetaSamplerAtItsEnds(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	if newBetaSampler(0, 3).draw(r) != 0 || newBetaSampler(3, 0).draw(r) != 1 {
		t.Error("a parameter of 0 puts all mass on an end")
	}
}

func BenchmarkGamma(b *testing.B) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, shape := range []float64{2, 100} {
		b.Run(fmt.Sprintf("shape=%v/by=ours", shape), func(b *testing.B) {
			g := newGammaSampler(shape)
			for b.Loop() {
				g.draw(r)
			}
		})
		b.Run(fmt.Sprintf("shape=%v/by=distuv", shape), func(b *testing.B) {
			for b.Loop() {
				distuv.Gamma{Alpha: shape, Beta: 1, Src: r}.Rand()
			}
		})
	}
}
