package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

type oneProportion struct {
	key string
	f   func(x, n int64, conf float64) (Estimate, error)
}

var oneProportionMethods = []oneProportion{
	{"wilson", Wilson}, {"clopper_pearson", ClopperPearson}, {"jeffreys", Jeffreys},
	{"agresti_coull", AgrestiCoull}, {"mid_p", MidP},
}

func TestProportionPublished(t *testing.T) {
	for _, c := range readChecks(t, "proportions") {
		var in struct {
			X, N int64
			Conf float64 `json:"conf_level"`
		}
		c.input(t, &in)
		for _, m := range oneProportionMethods {
			e, err := m.f(in.X, in.N, in.Conf)
			if err != nil {
				t.Fatal(err)
			}
			if m.key == "agresti_coull" {
				clipExpected(c, m.key)
			}
			c.estimate(t, "est", m.key, e)
		}
		c.allRead(t)
	}
}

// clipExpected clips the outside values of Agresti-Coull, which are printed
// unclipped there and clipped here.
func clipExpected(c *checkCase, key string) {
	for _, k := range []string{key + ".lower", key + ".upper"} {
		if v, ok := c.Expected[k].(float64); ok {
			c.Expected[k] = clip01(v)
		}
	}
}

func TestProportionEdges(t *testing.T) {
	for _, m := range oneProportionMethods {
		for _, n := range []int64{1, 2, 7, 38, 1000, 10_000_000} {
			zero, _ := m.f(0, n, 0.95)
			all, _ := m.f(n, n, 0.95)
			if zero.Low != 0 || all.High != 1 {
				t.Errorf("%s: n = %d: 0 gives low %v, all gives high %v", m.key, n, zero.Low, all.High)
			}
			if zero.High <= 0 || all.Low >= 1 {
				t.Errorf("%s: n = %d: interval of no width at the edge", m.key, n)
			}
		}
		if e, err := m.f(0, 0, 0.95); err != nil || e.Estimable() {
			t.Errorf("%s: 0 of 0 gives %v, %v", m.key, e, err)
		}
		for _, bad := range []struct {
			x, n int64
			conf float64
		}{{-1, 5, 0.95}, {6, 5, 0.95}, {1, -1, 0.95}, {1, 2, 0}, {1, 2, 1}, {1, 2, math.NaN()}, {1, 2, 95}} {
			if _, err := m.f(bad.x, bad.n, bad.conf); !errors.Is(err, ErrArgument) {
				t.Errorf("%s%v: error %v", m.key, bad, err)
			}
		}
	}
}

// TestProportionProperties draws counts with many zeros and checks range,
// mirror symmetry and that more data or less confidence narrows.
func TestProportionProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 400 {
		n := 1 + r.Int64N(40)
		x := r.Int64N(n + 1)
		if r.IntN(4) == 0 {
			x = 0
		}
		for _, m := range oneProportionMethods {
			e, _ := m.f(x, n, 0.95)
			checkSane(t, m.key, e, 0, 1)
			mirror, _ := m.f(n-x, n, 0.95)
			if math.Abs(e.Low+mirror.High-1) > 1e-9 || math.Abs(e.High+mirror.Low-1) > 1e-9 {
				t.Errorf("%s: %d of %d is not the mirror of %d", m.key, x, n, n-x)
			}
			ten, _ := m.f(10*x, 10*n, 0.95)
			if ten.High-ten.Low >= e.High-e.Low {
				t.Errorf("%s: ten times %d of %d is not narrower", m.key, x, n)
			}
			loose, _ := m.f(x, n, 0.8)
			if loose.High-loose.Low >= e.High-e.Low {
				t.Errorf("%s: %d of %d: 80 %% is not narrower than 95 %%", m.key, x, n)
			}
		}
	}
}

// exactCoverage sums the binomial probability of every x whose limits hold p.
func exactCoverage(f func(x, n int64, conf float64) (Estimate, error), n int64, p float64) float64 {
	b := distuv.Binomial{N: float64(n), P: p}
	var sum float64
	for x := int64(0); x <= n; x++ {
		if e, _ := f(x, n, 0.95); e.Low <= p && p <= e.High {
			sum += b.Prob(float64(x))
		}
	}
	return sum
}

// TestProportionCoverage computes coverage exactly, without drawing: the exact
// interval never falls below 95 %, the others lie close to it on average.
func TestProportionCoverage(t *testing.T) {
	for _, m := range oneProportionMethods {
		for _, n := range []int64{20, 60} {
			var mean float64
			lowest := 1.0
			const steps = 199
			for i := 1; i <= steps; i++ {
				cov := exactCoverage(m.f, n, float64(i)/(steps+1))
				mean += cov / steps
				lowest = math.Min(lowest, cov)
			}
			switch m.key {
			case "clopper_pearson":
				if lowest < 0.95 {
					t.Errorf("Clopper-Pearson covers only %.4f at n = %d", lowest, n)
				}
			default:
				if mean < 0.94 || mean > 0.972 || lowest < 0.82 {
					t.Errorf("%s, n = %d: mean coverage %.4f, lowest %.4f", m.key, n, mean, lowest)
				}
			}
		}
	}
}
