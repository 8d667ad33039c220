package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// nearKappa compares every figure of a kappa with the keys under prefix.
func nearKappa(t *testing.T, c *checkCase, prefix string, table [][]int64, weights [][]float64) {
	t.Helper()
	k, err := WeightedKappa(table, weights, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, prefix+".po", k.Observed)
	c.near(t, prefix+".pe", k.Expected)
	c.estimate(t, prefix+".kappa", prefix+".ci", k.Estimate)
	c.near(t, prefix+".se", k.SE)
	c.near(t, prefix+".se0", k.SENull)
	c.near(t, prefix+".z", k.Z)
}

func TestKappaPublished(t *testing.T) {
	for _, c := range readChecks(t, "agreement") {
		var in struct {
			Table         [][]int64   `json:"table"`
			Agreement     [][]float64 `json:"agreement_weights"`
			Disagreement  [][]float64 `json:"disagreement_weights"`
			WeightedScale float64     `json:"-"`
		}
		c.input(t, &in)
		if in.Table == nil || !c.has("unweighted.kappa") {
			continue
		}
		k := len(in.Table)
		nearKappa(t, c, "unweighted", in.Table, IdentityWeights(k))
		if c.has("linear.kappa") {
			nearKappa(t, c, "linear", in.Table, LinearWeights(k))
			nearKappa(t, c, "quadratic", in.Table, QuadraticWeights(k))
		}
		weights := in.Agreement
		if in.Disagreement != nil {
			weights = IdentityWeights(k)
			for i := range weights {
				for j := range weights {
					weights[i][j] = 1 - in.Disagreement[i][j]/6 // 6 is the largest of this case
				}
			}
		}
		if weights != nil {
			nearKappa(t, c, "weighted", in.Table, weights)
		}
		if c.has("weighted_var") {
			plain, _ := CohenKappa(in.Table, 0.95)
			free, _ := WeightedKappa(in.Table, weights, 0.95)
			c.near(t, "unweighted_var", plain.SE*plain.SE)
			c.near(t, "weighted_var", free.SE*free.SE)
		}
		c.skip("the other coefficients have tests of their own", "ac1", "pabak")
		c.allRead(t)
	}
}

func TestKappaUndefined(t *testing.T) {
	c := checkByID(t, "agreement", "AG-10")
	var in struct{ Table [][]int64 }
	c.input(t, &in)
	k, err := CohenKappa(in.Table, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.estimate(t, "kappa", "", k.Estimate)
	c.skip("observed and expected agreement have no use without kappa", "po", "pe")
	c.allRead(t)
	for name, table := range map[string][][]int64{
		"no animals": {{0, 0}, {0, 0}}, "one animal": {{0, 1}, {0, 0}},
	} {
		if k, err := CohenKappa(table, 0.95); err != nil || k.Estimable() || k.TestNotEstimable == "" {
			t.Errorf("%s: %+v, %v; want not estimable", name, k, err)
		}
	}
}

// Two readers who never differ have kappa 1, but not for certain.
func TestKappaCompleteAgreement(t *testing.T) {
	k, err := CohenKappa([][]int64{{10, 0}, {0, 10}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: 0.025^(1/20) is the exact lower limit of 20 of 20.
	want := (math.Pow(0.025, 1.0/20) - 0.5) / 0.5
	if k.Value != 1 || k.High != 1 || math.Abs(k.Low-want) > 1e-9 || len(k.Warnings) == 0 {
		t.Errorf("got %+v, want 1 from %v with a warning", k, want)
	}
	k, _ = CohenKappa([][]int64{{0, 10}, {10, 0}}, 0.95)
	if k.Value != -1 || k.High <= -1 || k.Low != -1 {
		t.Errorf("complete disagreement: %+v", k)
	}
	k, _ = CohenKappa([][]int64{{10, 2}, {0, 0}}, 0.95)
	if k.Value != 0 || k.TestNotEstimable == "" || !k.Estimable() {
		t.Errorf("one reader with one category: %+v", k)
	}
}

func TestKappaWeights(t *testing.T) {
	want := [][]float64{{1, 0.5, 0}, {0.5, 1, 0.5}, {0, 0.5, 1}}
	if diff := cmp.Diff(want, LinearWeights(3)); diff != "" {
		t.Error(diff)
	}
	want = [][]float64{{1, 0.75, 0}, {0.75, 1, 0.75}, {0, 0.75, 1}}
	if diff := cmp.Diff(want, QuadraticWeights(3)); diff != "" {
		t.Error(diff)
	}
	table := [][]int64{{3, 1}, {1, 5}}
	for name, w := range map[string][][]float64{
		"rows":      {{1, 0}},
		"columns":   {{1, 0}, {1}},
		"diagonal":  {{1, 0}, {0, 0.5}},
		"above one": {{1, 1.5}, {0, 1}},
		"not a number": {{1, math.NaN()},
			{0, 1}},
	} {
		if _, err := WeightedKappa(table, w, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
	if _, err := CohenKappa(table, 1.5); !errors.Is(err, ErrArgument) {
		t.Errorf("confidence: %v", err)
	}
	if _, err := CohenKappa([][]int64{{1, 2, 3}, {1, 2, 3}}, 0.95); !errors.Is(err, ErrArgument) {
		t.Errorf("not square: %v", err)
	}
}

// The properties every kappa must have, on random tables with many zeros.
func TestKappaProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 1))
	for range 200 {
		size := 2 + r.IntN(4)
		table := squareOf(r, size, 3+r.IntN(60))
		for name, w := range map[string][][]float64{
			"plain": IdentityWeights(size), "linear": LinearWeights(size), "quadratic": QuadraticWeights(size),
		} {
			k, err := WeightedKappa(table, w, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, name, k.Estimate, -1, 1)
			if !k.Estimable() {
				continue
			}
			if got := kappaByRows(table, w); math.Abs(got-k.Value) > 1e-10 {
				t.Errorf("%s of %v: %v, animal by animal %v", name, table, k.Value, got)
			}
			swapped, mirrored, tenfold := make([][]int64, size), make([][]int64, size), make([][]int64, size)
			for i := range table {
				swapped[i], mirrored[i], tenfold[i] = make([]int64, size), make([]int64, size), make([]int64, size)
				for j := range table {
					swapped[i][j] = table[j][i]
					mirrored[i][j] = table[size-1-i][size-1-j]
					tenfold[i][j] = 10 * table[i][j]
				}
			}
			for what, other := range map[string][][]int64{"swapped readers": swapped, "reversed scale": mirrored} {
				o, _ := WeightedKappa(other, w, 0.95)
				if math.Abs(o.Value-k.Value)+math.Abs(o.Low-k.Low)+math.Abs(o.SENull-k.SENull) > 1e-9 {
					t.Errorf("%s of %v: %s: %+v, want %+v", name, table, what, o, k)
				}
			}
			o, _ := WeightedKappa(tenfold, w, 0.95)
			if math.Abs(o.Value-k.Value) > 1e-10 || math.Abs(o.SE*math.Sqrt(10)-k.SE) > 1e-9 {
				t.Errorf("%s of %v: tenfold counts: %+v, want %+v and se by sqrt 10", name, table, o, k)
			}
		}
	}
}

// kappaByRows takes every animal, and every pairing of one animal's first with
// another's second reading, one at a time.
func kappaByRows(table [][]int64, w [][]float64) float64 {
	var first, second []int
	for i, row := range table {
		for j, c := range row {
			for range c {
				first, second = append(first, i), append(second, j)
			}
		}
	}
	var po, pe float64
	n := float64(len(first))
	for a := range first {
		po += w[first[a]][second[a]] / n
		for b := range second {
			pe += w[first[a]][second[b]] / (n * n)
		}
	}
	return (po - pe) / (1 - pe)
}

// The standard error against numerical derivatives, free weights included.
func TestKappaStandardError(t *testing.T) {
	table := [][]int64{{40, 9, 3}, {12, 31, 8}, {2, 7, 22}}
	n := 134.0
	shares := make([][]float64, 3)
	for i := range table {
		shares[i] = make([]float64, 3)
		for j := range table[i] {
			shares[i][j] = float64(table[i][j]) / n
		}
	}
	for name, w := range map[string][][]float64{
		"plain": IdentityWeights(3), "quadratic": QuadraticWeights(3),
		"free": {{1, 0.2, 0.9}, {0.4, 1, 0}, {0.1, 0.6, 1}},
	} {
		want := deltaSE(shares, n, func(p [][]float64) float64 {
			var po, pe, all float64
			for i := range p {
				for j := range p {
					all += p[i][j]
				}
			}
			for i := range p {
				for j := range p {
					po += w[i][j] * p[i][j] / all
					for a := range p {
						for b := range p {
							pe += w[i][j] * p[i][a] * p[b][j] / (all * all)
						}
					}
				}
			}
			return (po - pe) / (1 - pe)
		})
		k, err := WeightedKappa(table, w, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(k.SE-want) > 1e-6*want {
			t.Errorf("%s: se %v, by numerical derivatives %v", name, k.SE, want)
		}
	}
}

// drawPair draws two readings of one animal in k categories that agree by
// copying with probability copying, else independently from margin.
func drawPair(r *rand.Rand, margin []float64, copying float64) (int, int) {
	draw := func() int {
		u := r.Float64()
		for i, p := range margin {
			if u < p {
				return i
			}
			u -= p
		}
		return len(margin) - 1
	}
	i := draw()
	if r.Float64() < copying {
		return i, i
	}
	return i, draw()
}

// With copying readers of equal margins the true kappa is the share of copies,
// for all weights.
func TestKappaCoverage(t *testing.T) {
	runs := 3000
	if testing.Short() {
		runs = 600
	}
	margin := []float64{0.3, 0.4, 0.3}
	for name, w := range map[string][][]float64{"plain": IdentityWeights(3), "quadratic": QuadraticWeights(3)} {
		r := rand.New(rand.NewPCG(17, 1))
		covered := 0
		for range runs {
			table := [][]int64{make([]int64, 3), make([]int64, 3), make([]int64, 3)}
			for range 200 {
				i, j := drawPair(r, margin, 0.6)
				table[i][j]++
			}
			k, _ := WeightedKappa(table, w, 0.95)
			if k.Low <= 0.6 && 0.6 <= k.High {
				covered++
			}
		}
		coverageNear95(t, name, float64(covered)/float64(runs))
	}
}

// coverageNear95 wants 93 to 97 %, a little looser where few runs were made.
func coverageNear95(t *testing.T, name string, share float64) {
	t.Helper()
	low, high := 0.93, 0.97
	if testing.Short() {
		low, high = 0.915, 0.98
	}
	if share < low || share > high {
		t.Errorf("%s: coverage %.3f, want %v to %v", name, share, low, high)
	}
}
