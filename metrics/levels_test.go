package metrics

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// levelMatrixOf names the levels of a table L1, L2, ...
func levelMatrixOf(counts [][]int64) LevelMatrix {
	m := LevelMatrix{Counts: counts}
	for i := range counts {
		m.Levels = append(m.Levels, fmt.Sprintf("L%d", i+1))
	}
	return m
}

// squareOf draws a k x k table of n calls, many on the diagonal, some empty.
func squareOf(r *rand.Rand, k, n int) [][]int64 {
	table := make([][]int64, k)
	for i := range table {
		table[i] = make([]int64, k)
	}
	for range n {
		i := r.IntN(k)
		j := i
		if r.IntN(2) == 0 {
			j = r.IntN(k)
		}
		table[i][j]++
	}
	return table
}

func TestLevelShares(t *testing.T) {
	c := checkByID(t, "levels", "TL-01")
	var in struct{ Table [][]int64 }
	c.input(t, &in)
	m := levelMatrixOf(in.Table)
	must := func(e Estimate, err error) Estimate {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	c.near(t, "n", float64(m.Total()))
	rows, err := LevelTable(m, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for key, e := range map[string]Estimate{
		"exact":                          must(ExactLevel(m, 0.95)),
		"under":                          must(UnderByLevels(m, 1, 0.95)),
		"over":                           must(OverByLevels(m, 1, 0.95)),
		"under_by_two_or_more":           must(UnderByLevels(m, 2, 0.95)),
		"over_by_two_or_more":            must(OverByLevels(m, 2, 0.95)),
		"under_among_most_urgent_needed": rows[0].UnderOfNeeded,
		"over_among_given_top":           rows[0].OverOfAdvised,
	} {
		c.estimate(t, key+".est", key+".clopper_pearson", e)
		w := must(Wilson(int64(e.Numerator), int64(e.Denominator), 0.95))
		c.estimate(t, key+".est", key+".wilson", w)
	}
	c.near(t, "mean_signed_error", must(MeanLevelError(m, false, 0.95)).Value)
	c.near(t, "mean_absolute_error", must(MeanLevelError(m, true, 0.95)).Value)
	for key, w := range map[string][][]float64{
		"kappa": IdentityWeights(5), "kappa_linear": LinearWeights(5), "kappa_quadratic": QuadraticWeights(5),
	} {
		k, err := WeightedKappa(in.Table, w, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		c.near(t, key, k.Value)
	}
	c.allRead(t)
}

func TestTriageMeanings(t *testing.T) {
	for _, id := range []string{"TR-01", "TR-02"} {
		c := checkByID(t, "levels", id)
		var in TwoByTwo
		c.input(t, &in)
		for _, meaning := range []TriageMeaning{PerNeed, PerDecision, PerAllCalls} {
			under, err := UnderTriage(in, meaning, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			over, err := OverTriage(in, meaning, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			if under.Formula == "" || over.Formula == "" || under.Meaning != meaning || over.Meaning != meaning {
				t.Errorf("%s: a rate without its meaning: %+v %+v", id, under, over)
			}
			prefix := map[TriageMeaning]string{PerNeed: "per_need", PerDecision: "per_decision", PerAllCalls: "per_all_calls"}[meaning]
			if c.has(prefix + ".under") {
				c.near(t, prefix+".under", under.Value)
			}
			if c.has(prefix + ".over") {
				c.near(t, prefix+".over", over.Value)
			}
		}
		c.allRead(t)
	}
}

// Under- and over-triage are the complements of four figures that have code
// of their own.
func TestTriageComplements(t *testing.T) {
	table := TwoByTwo{TP: 31, FP: 12, FN: 5, TN: 77}
	for _, tc := range []struct {
		name    string
		rate    func(TwoByTwo, TriageMeaning, float64) (TriageRate, error)
		meaning TriageMeaning
		of      func(TwoByTwo, float64) (Estimate, error)
	}{
		{"under per need", UnderTriage, PerNeed, Sensitivity},
		{"over per need", OverTriage, PerNeed, Specificity},
		{"under per decision", UnderTriage, PerDecision, NPV},
		{"over per decision", OverTriage, PerDecision, PPV},
	} {
		rate, err := tc.rate(table, tc.meaning, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		e, err := tc.of(table, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(rate.Value+e.Value-1) > 1e-12 {
			t.Errorf("%s: %v and %v do not add to 1", tc.name, rate.Value, e.Value)
		}
	}
}

// A page must be able to name every meaning and print its fraction.
func TestTriageMeaningsNamed(t *testing.T) {
	seen := map[string]bool{}
	for _, m := range []TriageMeaning{PerNeed, PerDecision, PerAllCalls} {
		for _, text := range []string{m.String(), m.UnderFormula(), m.OverFormula()} {
			if text == "" || seen[text] {
				t.Errorf("meaning %d: %q is empty or used twice", int(m), text)
			}
			seen[text] = true
		}
	}
	if m := TriageMeaning(0); m.UnderFormula() != "" || m.OverFormula() != "" || seen[m.String()] {
		t.Errorf("no meaning: %q, %q, %q", m, m.UnderFormula(), m.OverFormula())
	}
}

func TestTriageEdges(t *testing.T) {
	under, err := UnderTriage(TwoByTwo{FP: 3, TN: 9}, PerNeed, 0.95)
	if err != nil || under.Estimable() {
		t.Errorf("nobody in need: %+v, %v", under, err)
	}
	for name, call := range map[string]func() error{
		"unknown meaning": func() error { _, err := UnderTriage(TwoByTwo{TP: 1}, 0, 0.95); return err },
		"negative cell":   func() error { _, err := OverTriage(TwoByTwo{TP: -1}, PerNeed, 0.95); return err },
		"confidence":      func() error { _, err := OverTriage(TwoByTwo{FP: 1}, PerNeed, 1); return err },
	} {
		if err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
}

// Rows of single calls, folded slowly, give the same tables as the matrix.
func TestLevelCutsAgainstRows(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 1))
	for range 50 {
		k := 2 + r.IntN(4)
		counts := squareOf(r, k, 40)
		m := levelMatrixOf(counts)
		for cut := range k - 1 {
			var want TwoByTwo
			for i, row := range counts {
				for j, c := range row {
					for range c {
						switch escalated, need := i <= cut, j <= cut; {
						case escalated && need:
							want.TP++
						case escalated:
							want.FP++
						case need:
							want.FN++
						default:
							want.TN++
						}
					}
				}
			}
			got, err := m.AtCut(cut)
			if err != nil {
				t.Fatal(err)
			}
			if got != want {
				t.Fatalf("cut %d of %v: %+v, want %+v", cut, counts, got, want)
			}
		}
		levelSharesAddUp(t, m)
	}
}

// levelSharesAddUp checks that exact, under and over make up all calls, that
// the per-level table adds to the same, and that all shares are sane.
func levelSharesAddUp(t *testing.T, m LevelMatrix) {
	t.Helper()
	exact, _ := ExactLevel(m, 0.9)
	under, _ := UnderByLevels(m, 1, 0.9)
	over, _ := OverByLevels(m, 1, 0.9)
	within, _ := WithinLevels(m, 1, 0.9)
	far, _ := UnderByLevels(m, 2, 0.9)
	farOver, _ := OverByLevels(m, 2, 0.9)
	if exact.Numerator+under.Numerator+over.Numerator != float64(m.Total()) {
		t.Errorf("%v: exact %v, under %v, over %v of %d", m.Counts, exact.Numerator, under.Numerator, over.Numerator, m.Total())
	}
	if within.Numerator+far.Numerator+farOver.Numerator != float64(m.Total()) {
		t.Errorf("%v: within one and by two or more do not add up", m.Counts)
	}
	rows, err := LevelTable(m, 0.9)
	if err != nil {
		t.Fatal(err)
	}
	var advised, needed int64
	var byNeed, byAdvice float64
	for _, row := range rows {
		advised += row.Advised
		needed += row.Needed
		byNeed += row.UnderOfNeeded.Numerator
		byAdvice += row.UnderOfAdvised.Numerator
		for name, e := range map[string]Estimate{
			"right": row.Right, "under of needed": row.UnderOfNeeded, "over of needed": row.OverOfNeeded,
			"under of advised": row.UnderOfAdvised, "over of advised": row.OverOfAdvised,
		} {
			checkSane(t, row.Level+" "+name, e, 0, 1)
		}
	}
	if advised != m.Total() || needed != m.Total() || byNeed != under.Numerator || byAdvice != under.Numerator {
		t.Errorf("%v: per-level table adds to %d, %d, %v, %v", m.Counts, advised, needed, byNeed, byAdvice)
	}
	for _, absolute := range []bool{false, true} {
		e, err := MeanLevelError(m, absolute, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		lo := -float64(len(m.Levels) - 1)
		if absolute {
			lo = 0
		}
		checkSane(t, "mean level error", Estimate{Value: e.Value, Low: e.Low, High: e.High}, lo, float64(len(m.Levels)-1))
	}
}

// The limits of a mean level error against those of the same calls as a plain
// list, by hand: differences 0, 0, 1, 1, 2: mean 0.8, sd sqrt(0.7), t(4) 2.776445.
func TestMeanLevelErrorByHand(t *testing.T) {
	m := levelMatrixOf([][]int64{{1, 0, 0}, {1, 1, 0}, {1, 1, 0}})
	e, err := MeanLevelError(m, false, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	half := 2.776445 * math.Sqrt(0.7/5)
	if math.Abs(e.Value-0.8) > 1e-12 || math.Abs(e.Low-(0.8-half)) > 1e-6 || math.Abs(e.High-(0.8+half)) > 1e-6 {
		t.Errorf("got %+v, want 0.8 +- %v", e, half)
	}
}

func TestWorstUnderTriage(t *testing.T) {
	m := levelMatrixOf([][]int64{
		{9, 9, 9, 9},
		{4, 9, 9, 9},
		{0, 3, 9, 9},
		{1, 2, 0, 9},
	})
	got, err := WorstUnderTriage(m, 1)
	if err != nil {
		t.Fatal(err)
	}
	want := []LevelCell{
		{Advised: 3, Needed: 0, Count: 1}, {Advised: 3, Needed: 1, Count: 2},
		{Advised: 1, Needed: 0, Count: 4}, {Advised: 2, Needed: 1, Count: 3},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("worst cells (-want +got):\n%s", diff)
	}
}

func TestLevelMatrixArguments(t *testing.T) {
	good := levelMatrixOf([][]int64{{1, 0}, {0, 1}})
	for name, m := range map[string]LevelMatrix{
		"ragged":        {Levels: []string{"a", "b"}, Counts: [][]int64{{1, 0}, {1}}},
		"negative":      {Levels: []string{"a", "b"}, Counts: [][]int64{{1, 0}, {-1, 0}}},
		"one level":     {Levels: []string{"a"}, Counts: [][]int64{{1}}},
		"unnamed":       {Levels: []string{"a", ""}, Counts: good.Counts},
		"named twice":   {Levels: []string{"a", "a"}, Counts: good.Counts},
		"names missing": {Counts: good.Counts},
	} {
		if _, err := ExactLevel(m, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
		if _, err := LevelTable(m, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: table: %v, want ErrArgument", name, err)
		}
	}
	for name, call := range map[string]func() error{
		"cut of the last level": func() error { _, err := good.AtCut(1); return err },
		"negative cut":          func() error { _, err := good.AtCut(-1); return err },
		"by 0":                  func() error { _, err := UnderByLevels(good, 0, 0.95); return err },
		"over by 0":             func() error { _, err := OverByLevels(good, 0, 0.95); return err },
		"worst by 0":            func() error { _, err := WorstUnderTriage(good, 0); return err },
		"distance":              func() error { _, err := WithinLevels(good, -1, 0.95); return err },
		"confidence":            func() error { _, err := MeanLevelError(good, true, 0); return err },
	} {
		if err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v, want ErrArgument", name, err)
		}
	}
	empty := levelMatrixOf([][]int64{{0, 0}, {0, 0}})
	if e, err := ExactLevel(empty, 0.95); err != nil || e.Estimable() {
		t.Errorf("no calls: %+v, %v", e, err)
	}
	if e, err := MeanLevelError(empty, false, 0.95); err != nil || e.Estimable() {
		t.Errorf("no calls: %+v, %v", e, err)
	}
}
