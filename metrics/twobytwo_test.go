package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// tableMeasure names a measure as the check file does, with the table's
// proportion x of n where it is one.
type tableMeasure struct {
	key  string
	f    func(TwoByTwo, float64) (Estimate, error)
	part func(TwoByTwo) (x, n int64)
}

var tableMeasures = []tableMeasure{
	{"sens", Sensitivity, func(t TwoByTwo) (int64, int64) { return t.TP, t.TP + t.FN }},
	{"spec", Specificity, func(t TwoByTwo) (int64, int64) { return t.TN, t.TN + t.FP }},
	{"ppv", PPV, func(t TwoByTwo) (int64, int64) { return t.TP, t.TP + t.FP }},
	{"npv", NPV, func(t TwoByTwo) (int64, int64) { return t.TN, t.TN + t.FN }},
	{"accuracy", Accuracy, func(t TwoByTwo) (int64, int64) { return t.TP + t.TN, t.Total() }},
	{"prevalence", Prevalence, func(t TwoByTwo) (int64, int64) { return t.TP + t.FN, t.Total() }},
}

var tableRatios = []struct {
	key, limits string
	f           func(TwoByTwo, float64) (Estimate, error)
}{
	{"lr_pos", "lr_pos", LRPositive}, {"lr_neg", "lr_neg", LRNegative}, {"dor", "dor", DiagnosticOddsRatio},
	{"lr_pos_plus_half", "lr_pos_plus_half", LRPositivePlusHalf},
	{"lr_neg_plus_half", "lr_neg_plus_half", LRNegativePlusHalf},
	{"dor_plus_half", "dor_plus_half", DiagnosticOddsRatioPlusHalf},
	{"youden", "youden.newcombe", Youden},
}

func TestTwoByTwoPublished(t *testing.T) {
	for _, c := range readChecks(t, "dx_2x2") {
		var table TwoByTwo
		c.input(t, &table)
		if !c.has("sens.est") {
			continue // predictive values and post-test probability: their own tests
		}
		for _, m := range tableMeasures {
			if !c.has(m.key + ".est") {
				continue
			}
			e, err := m.f(table, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			c.estimate(t, m.key+".est", m.key+".wilson", e)
			x, n := m.part(table)
			for _, p := range oneProportionMethods {
				if key := m.key + "." + p.key; c.has(key + ".lower") {
					clipExpected(c, key)
					e, _ := p.f(x, n, 0.95)
					c.estimate(t, m.key+".est", key, e)
				}
			}
		}
		for _, m := range tableRatios {
			if c.has(m.key + ".est") {
				e, err := m.f(table, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				c.estimate(t, m.key+".est", m.limits, e)
			}
		}
		c.allRead(t)
	}
}

func TestPredictiveValuesAtPrevalence(t *testing.T) {
	c := checkByID(t, "dx_2x2", "dx-09")
	var in struct{ Prevalence []float64 }
	c.input(t, &in)
	table := TwoByTwo{TP: 231, FP: 32, FN: 27, TN: 54} // the case's sens and spec
	var ppv, npv []float64
	for _, p := range in.Prevalence {
		pos, err := PPVAt(table, p, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		neg, err := NPVAt(table, p, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		checkSane(t, "PPVAt", pos, 0, 1)
		checkSane(t, "NPVAt", neg, 0, 1)
		ppv, npv = append(ppv, pos.Value), append(npv, neg.Value)
		if p == 0.25 {
			c.near(t, "ppv_at_25pc", pos.Value)
			c.near(t, "npv_at_25pc", neg.Value)
		}
	}
	c.nearAll(t, "ppv", ppv)
	c.nearAll(t, "npv", npv)
	c.allRead(t)

	for _, p := range []float64{0, 1, -0.1, math.NaN()} {
		for name, f := range map[string]func(TwoByTwo, float64, float64) (Estimate, error){"PPVAt": PPVAt, "NPVAt": NPVAt} {
			if _, err := f(table, p, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("%s at prevalence %v: %v", name, p, err)
			}
			if _, err := f(TwoByTwo{FP: -1}, 0.1, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("%s with a negative cell: %v", name, err)
			}
		}
	}
	for _, edge := range []TwoByTwo{{TP: 3, TN: 9, FN: 1}, {FP: 2, TN: 5, FN: 1}, {TP: 3, FP: 1, TN: 4}, {TP: 2, FP: 3}, {}} {
		for _, f := range []func(TwoByTwo, float64, float64) (Estimate, error){PPVAt, NPVAt} {
			e, err := f(edge, 0.1, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, "predictive value at an edge", e, 0, 1)
		}
	}
}

func TestPostTest(t *testing.T) {
	c := checkByID(t, "dx_2x2", "dx-10")
	var in struct {
		Pretest float64
		LRPos   float64 `json:"lr_pos"`
		LRNeg   float64 `json:"lr_neg"`
	}
	c.input(t, &in)
	pos, _ := PostTest(in.Pretest, in.LRPos)
	neg, _ := PostTest(in.Pretest, in.LRNeg)
	c.near(t, "post_pos", pos)
	c.near(t, "post_neg", neg)
	c.allRead(t)
	if p, err := PostTest(1, 0); err != nil || p != 1 {
		t.Errorf("certainty does not stay certainty: %v, %v", p, err)
	}
	for _, bad := range [][2]float64{{-0.1, 1}, {1.1, 1}, {0.5, -1}, {0.5, math.Inf(1)}, {math.NaN(), 1}} {
		if _, err := PostTest(bad[0], bad[1]); !errors.Is(err, ErrArgument) {
			t.Errorf("PostTest%v: %v", bad, err)
		}
	}
}

// smallTable draws a table of small counts with many zeros.
func smallTable(r *rand.Rand) TwoByTwo {
	cell := func() int64 {
		if r.IntN(3) == 0 {
			return 0
		}
		return r.Int64N(25)
	}
	return TwoByTwo{TP: cell(), FP: cell(), FN: cell(), TN: cell()}
}

func TestTwoByTwoProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 1000 {
		table := smallTable(r)
		for _, m := range tableMeasures {
			e, err := m.f(table, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, m.key, e, 0, 1)
			if e.Estimable() != (e.Denominator > 0) {
				t.Errorf("%s of %+v: estimable without a denominator: %+v", m.key, table, e)
			}
		}
		for _, m := range tableRatios {
			e, err := m.f(table, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, m.key, e, -1, math.MaxFloat64)
		}
		// Exchanging the names of mark and need exchanges the measures.
		mirror := TwoByTwo{TP: table.TN, TN: table.TP, FP: table.FN, FN: table.FP}
		sens, _ := Sensitivity(table, 0.95)
		spec, _ := Specificity(mirror, 0.95)
		if sens.Value != spec.Value || sens.Low != spec.Low || sens.High != spec.High {
			t.Errorf("label swap: %+v: %v, %v", table, sens, spec)
		}
	}
}

func TestTwoByTwoRefusesNegativeCells(t *testing.T) {
	for _, table := range []TwoByTwo{{TP: -1}, {FP: -1}, {FN: -1}, {TN: -1}} {
		for _, m := range tableMeasures {
			if _, err := m.f(table, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("%s of %+v: %v", m.key, table, err)
			}
		}
		for _, m := range tableRatios {
			if _, err := m.f(table, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("%s of %+v: %v", m.key, table, err)
			}
		}
	}
}

// TestRatioZeroCells fixes the stated behaviour at every pattern of empty cells.
func TestRatioZeroCells(t *testing.T) {
	tests := []struct {
		name  string
		f     func(TwoByTwo, float64) (Estimate, error)
		table TwoByTwo
		want  string // "none", "zero", "value"
	}{
		{"LR+ without false positives", LRPositive, TwoByTwo{TP: 10, FN: 5, TN: 20}, "none"},
		{"LR+ without true positives", LRPositive, TwoByTwo{FP: 3, FN: 5, TN: 20}, "zero"},
		{"LR+ with nothing marked", LRPositive, TwoByTwo{FN: 5, TN: 20}, "none"},
		{"LR+ with nobody in need", LRPositive, TwoByTwo{FP: 5, TN: 20}, "none"},
		{"LR+ with everybody in need", LRPositive, TwoByTwo{TP: 5, FN: 20}, "none"},
		{"LR- without false negatives", LRNegative, TwoByTwo{TP: 12, FP: 9, TN: 40}, "zero"},
		{"LR- without true negatives", LRNegative, TwoByTwo{TP: 12, FP: 9, FN: 4}, "none"},
		{"DOR without false negatives", DiagnosticOddsRatio, TwoByTwo{TP: 12, FP: 9, TN: 40}, "none"},
		{"DOR without true positives", DiagnosticOddsRatio, TwoByTwo{FP: 9, FN: 2, TN: 40}, "zero"},
		{"LR+ with a half added", LRPositivePlusHalf, TwoByTwo{TP: 10, FN: 5, TN: 20}, "value"},
		{"LR- with a half added", LRNegativePlusHalf, TwoByTwo{TP: 12, FP: 9, TN: 40}, "value"},
		{"DOR with a half added", DiagnosticOddsRatioPlusHalf, TwoByTwo{TP: 1, TN: 1}, "value"},
	}
	for _, tt := range tests {
		e, err := tt.f(tt.table, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		got := "value"
		switch {
		case !e.Estimable():
			got = "none"
		case e.Value == 0 && e.HighUnbounded && len(e.Warnings) > 0:
			got = "zero"
		case e.HighUnbounded:
			got = "unbounded"
		}
		if got != tt.want {
			t.Errorf("%s: %s, want %s: %+v", tt.name, got, tt.want, e)
		}
	}
}

// TestTwoByTwoRowByRow counts from single episodes, one by one.
func TestTwoByTwoRowByRow(t *testing.T) {
	r := rand.New(rand.NewPCG(53, 54))
	for range 100 {
		var table TwoByTwo
		var marked, needed []bool
		for range 1 + r.IntN(200) {
			m, need := r.IntN(2) == 0, r.IntN(3) == 0
			marked, needed = append(marked, m), append(needed, need)
			switch {
			case m && need:
				table.TP++
			case m:
				table.FP++
			case need:
				table.FN++
			default:
				table.TN++
			}
		}
		share := func(of func(marked, need bool) bool, hit func(marked, need bool) bool) (x, n float64) {
			for i := range marked {
				if of(marked[i], needed[i]) {
					n++
					if hit(marked[i], needed[i]) {
						x++
					}
				}
			}
			return x, n
		}
		need := func(_, n bool) bool { return n }
		well := func(_, n bool) bool { return !n }
		mark := func(m, _ bool) bool { return m }
		left := func(m, _ bool) bool { return !m }
		all := func(_, _ bool) bool { return true }
		for _, m := range []struct {
			f       func(TwoByTwo, float64) (Estimate, error)
			of, hit func(marked, need bool) bool
		}{
			{Sensitivity, need, mark}, {Specificity, well, left}, {PPV, mark, need}, {NPV, left, well},
			{Accuracy, all, func(m, n bool) bool { return m == n }}, {Prevalence, all, need},
		} {
			e, _ := m.f(table, 0.95)
			if x, n := share(m.of, m.hit); e.Numerator != x || e.Denominator != n {
				t.Errorf("%+v: %v of %v, row by row %v of %v", table, e.Numerator, e.Denominator, x, n)
			}
		}
	}
}
