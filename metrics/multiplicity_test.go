package metrics

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

type pAdjuster struct {
	key string
	f   func([]PValue) ([]PValue, error)
}

func pAdjusters() []pAdjuster {
	return []pAdjuster{
		{"bonferroni", Bonferroni}, {"holm", Holm}, {"hochberg", Hochberg},
		{"bh", BenjaminiHochberg}, {"by", BenjaminiYekutieli},
	}
}

// asPValues turns a decoded list with nulls into tests with and without a p.
func asPValues(t *testing.T, list []any) []PValue {
	t.Helper()
	out := make([]PValue, len(list))
	for i, v := range list {
		switch v := v.(type) {
		case nil:
			out[i].NotEstimable = "the flag never fired"
		case float64:
			out[i].P = v
		default:
			t.Fatalf("p-value %v", v)
		}
	}
	return out
}

// printedItems holds a list to figures printed under key#position (from 1).
func printedItems(t *testing.T, c *checkCase, key string, got []float64) {
	t.Helper()
	for k, p := range c.Printed {
		if at, ok := strings.CutPrefix(k, key+"#"); ok {
			var i int
			if _, err := fmt.Sscan(at, &i); err != nil || i < 1 || i > len(got) {
				t.Fatalf("%s: printed key %s", c.ID, k)
			}
			c.nearPrinted(t, k, p.Value, got[i-1])
		}
	}
}

func TestAdjustedPValuesPublished(t *testing.T) {
	for _, c := range readChecks(t, "multiplicity") {
		if !strings.HasPrefix(c.ID, "sh-") {
			continue
		}
		var in struct{ P []any }
		c.input(t, &in)
		p := asPValues(t, in.P)
		for _, a := range pAdjusters() {
			if !c.has(a.key) {
				continue
			}
			got, err := a.f(p)
			if err != nil {
				t.Fatal(err)
			}
			want := asPValues(t, c.raw(t, a.key).([]any))
			rejected := 0.0
			for i := range got {
				if (got[i].NotEstimable == "") != (want[i].NotEstimable == "") || !c.within(got[i].P, want[i].P) {
					t.Errorf("%s %s[%d] = %+v, want %+v", c.ID, a.key, i, got[i], want[i])
				}
				if got[i].NotEstimable == "" && got[i].P <= 0.05 {
					rejected++
				}
			}
			if key := "rejected_" + a.key + "_05"; c.has(key) {
				c.near(t, key, rejected)
			}
		}
		c.allRead(t)
	}
}

func TestTaroneByHand(t *testing.T) {
	c := checkByID(t, "multiplicity", "tarone-by-hand")
	var in struct {
		P          []any
		Attainable []float64
		Alpha      float64
	}
	c.input(t, &in)
	p := asPValues(t, in.P)
	res, err := Tarone(p, in.Attainable, in.Alpha)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "comparisons", float64(res.Comparisons))
	c.nearAll(t, "testable", zeroOne(res.Testable))
	c.nearAll(t, "rejected", zeroOne(res.Rejected))
	c.allRead(t)

	// With every minimum at 0 nothing is saved: K is the number of tests.
	res, err = Tarone(p, make([]float64, len(p)), in.Alpha)
	if err != nil || res.Comparisons != len(p) {
		t.Errorf("minima of 0: %+v, %v; want %d comparisons", res, err, len(p))
	}
	// A test that was not made is neither counted nor called testable.
	p[1] = PValue{NotEstimable: "no calls"}
	res, err = Tarone(p, make([]float64, len(p)), in.Alpha)
	if err != nil || res.Comparisons != 4 || res.Testable[1] || res.Rejected[1] {
		t.Errorf("a missing test: %+v, %v", res, err)
	}
}

func zeroOne(list []bool) []float64 {
	out := make([]float64, len(list))
	for i, b := range list {
		if b {
			out[i] = 1
		}
	}
	return out
}

func TestFisherSmallestP(t *testing.T) {
	c := checkByID(t, "multiplicity", "fisher-smallest-by-hand")
	var in struct{ Margins [][3]int64 }
	c.input(t, &in)
	var got []float64
	for _, m := range in.Margins {
		p, err := FisherSmallestP(m[0], m[1], m[2])
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, p)
	}
	c.nearAll(t, "smallest", got)
	c.allRead(t)
	for _, m := range [][3]int64{{-1, 2, 0}, {2, -1, 0}, {2, 2, -1}, {2, 2, 5}} {
		if _, err := FisherSmallestP(m[0], m[1], m[2]); !errors.Is(err, ErrArgument) {
			t.Errorf("margins %v: %v", m, err)
		}
	}
}

func TestAdjustedPValueProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	for range 300 {
		p := make([]PValue, r.IntN(9))
		for i := range p {
			switch r.IntN(5) {
			case 0:
				p[i].NotEstimable = "no calls"
			case 1:
				p[i].P = float64(r.IntN(3)) / 20 // ties and zeros
			default:
				p[i].P = r.Float64() * r.Float64()
			}
		}
		got := map[string][]PValue{}
		for _, a := range pAdjusters() {
			adjusted, err := a.f(p)
			if err != nil {
				t.Fatalf("%v: %v", p, err)
			}
			got[a.key] = adjusted
			for i, v := range adjusted {
				if p[i].NotEstimable != "" {
					if v != p[i] {
						t.Errorf("%s of %v: missing test became %+v", a.key, p, v)
					}
					continue
				}
				if v.P < p[i].P || v.P > 1 {
					t.Errorf("%s of %v: %v at %d", a.key, p, v.P, i)
				}
				for j := range p {
					if p[j].NotEstimable == "" && p[i].P <= p[j].P && v.P > adjusted[j].P+1e-15 {
						t.Errorf("%s of %v: order changed between %d and %d", a.key, p, i, j)
					}
				}
			}
		}
		for i := range p {
			chain := []float64{got["bh"][i].P, got["hochberg"][i].P, got["holm"][i].P, got["bonferroni"][i].P}
			for k := 1; k < len(chain); k++ {
				if chain[k] < chain[k-1]-1e-15 {
					t.Errorf("%v: BH <= Hochberg <= Holm <= Bonferroni fails at %d: %v", p, i, chain)
				}
			}
		}
	}
}

func TestMultiplicityRefusesBadArguments(t *testing.T) {
	for _, bad := range []float64{-0.1, 1.1, math.NaN()} {
		for _, a := range pAdjusters() {
			if _, err := a.f([]PValue{{P: bad}}); !errors.Is(err, ErrArgument) {
				t.Errorf("%s of %v: %v", a.key, bad, err)
			}
		}
		if _, err := Tarone([]PValue{{P: bad}}, []float64{0}, 0.05); !errors.Is(err, ErrArgument) {
			t.Errorf("Tarone of %v: %v", bad, err)
		}
	}
	one := []PValue{{P: 0.02}}
	for name, call := range map[string]func() (TaroneResult, error){
		"lists of unequal length": func() (TaroneResult, error) { return Tarone(one, nil, 0.05) },
		"minimum above p":         func() (TaroneResult, error) { return Tarone(one, []float64{0.03}, 0.05) },
		"alpha of 0":              func() (TaroneResult, error) { return Tarone(one, []float64{0.01}, 0) },
		"minimum not a number":    func() (TaroneResult, error) { return Tarone(one, []float64{math.NaN()}, 0.05) },
	} {
		if _, err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestFamilywiseErrorBySimulation draws families of ten true null hypotheses on
// small tables, where Tarone saves comparisons, and counts families with a false
// alarm.
func TestFamilywiseErrorBySimulation(t *testing.T) {
	families := 4000
	if testing.Short() {
		families = 800
	}
	r := rand.New(rand.NewPCG(13, 14))
	holm, tarone := 0, 0
	for range families {
		p := make([]PValue, 10)
		minima := make([]float64, 10)
		for i := range p {
			p[i].P = r.Float64()
			if i >= 5 { // discrete: p is 0.2, 0.4, ... 1
				p[i].P = math.Ceil(p[i].P*5) / 5
				minima[i] = 0.2
			}
		}
		adjusted, _ := Holm(p)
		res, _ := Tarone(p, minima, 0.05)
		anyHolm, anyTarone := false, false
		for i := range p {
			anyHolm = anyHolm || adjusted[i].P <= 0.05
			anyTarone = anyTarone || res.Rejected[i]
		}
		if anyHolm {
			holm++
		}
		if anyTarone {
			tarone++
		}
	}
	rate := func(n int) float64 { return float64(n) / float64(families) }
	t.Logf("families with a false alarm: Holm %.4f, Tarone %.4f", rate(holm), rate(tarone))
	// Five continuous tests: Holm spends 5/10 of alpha, Tarone all of it.
	if rate(holm) > 0.04 || rate(tarone) < 0.035 || rate(tarone) > 0.065 {
		t.Errorf("Holm %.4f, Tarone %.4f; want about 0.025 and 0.05", rate(holm), rate(tarone))
	}
}
