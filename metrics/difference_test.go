package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

var unpairedMethods = []struct {
	key string
	f   func(x1, n1, x2, n2 int64, conf float64) (Estimate, error)
}{
	{"newcombe_wilson", NewcombeDifference},
	{"miettinen_nurminen", MiettinenNurminenDifference},
}

func TestUnpairedDifferencePublished(t *testing.T) {
	for _, c := range readChecks(t, "unpaired_differences") {
		var in struct {
			X1, N1, X2, N2 int64
			Conf           float64 `json:"conf_level"`
		}
		c.input(t, &in)
		for _, m := range unpairedMethods {
			e, err := m.f(in.X1, in.N1, in.X2, in.N2, in.Conf)
			if err != nil {
				t.Fatal(err)
			}
			c.estimate(t, "diff", m.key, e)
		}
		c.skip("the groups' own shares are Wilson's subject", "p1", "p2")
		c.allRead(t)
	}
}

func TestUnpairedDifferenceProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		n1, n2 := 1+r.Int64N(30), 1+r.Int64N(30)
		x1, x2 := r.Int64N(n1+1)*r.Int64N(2), r.Int64N(n2+1)*r.Int64N(2)
		for _, m := range unpairedMethods {
			e, err := m.f(x1, n1, x2, n2, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, m.key, e, -1, 1)
			swap, _ := m.f(x2, n2, x1, n1, 0.95)
			if math.Abs(e.Value+swap.Value) > 1e-12 || math.Abs(e.Low+swap.High) > 1e-8 {
				t.Errorf("%s: %d/%d against %d/%d: exchange does not change the sign: %v, %v", m.key, x1, n1, x2, n2, e, swap)
			}
			ten, _ := m.f(10*x1, 10*n1, 10*x2, 10*n2, 0.95)
			if ten.High-ten.Low >= e.High-e.Low {
				t.Errorf("%s: %d/%d against %d/%d: ten times is not narrower", m.key, x1, n1, x2, n2)
			}
		}
	}
}

func TestUnpairedDifferenceEdges(t *testing.T) {
	for _, m := range unpairedMethods {
		if e, err := m.f(0, 0, 1, 2, 0.95); err != nil || e.Estimable() {
			t.Errorf("%s: empty first group: %v, %v", m.key, e, err)
		}
		if _, err := m.f(3, 2, 1, 2, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: 3 of 2: %v", m.key, err)
		}
		if _, err := m.f(1, 2, 1, 2, 1.5); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: conf 1.5: %v", m.key, err)
		}
	}
}
