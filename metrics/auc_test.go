package metrics

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func mustArea(t *testing.T) func(Area, error) Area {
	return func(a Area, err error) Area {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
}

func TestAreaAgainstOutsideValues(t *testing.T) {
	for _, c := range readChecks(t, "roc") {
		if !c.has("delong_var") || !c.has("auc") {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			counts := rocCounts(t, c)
			a := mustArea(t)(AUCDeLong(counts, HighIsBad, 0.95))
			se := math.Sqrt(a.Variance)
			c.near(t, "n_pos", float64(a.Needed))
			c.near(t, "n_neg", float64(a.NotNeeded))
			c.near(t, "auc", a.Value)
			c.near(t, "delong_var", a.Variance)
			c.near(t, "delong_ci.lower", a.Value-twoSidedZ(0.95)*se)
			c.near(t, "delong_ci.upper", a.Value+twoSidedZ(0.95)*se)
			if !c.has("mann_whitney_u") { // the shorter colic cases
				return
			}
			c.near(t, "mann_whitney_u", a.Numerator)
			c.near(t, "delong_se", se)
			c.near(t, "delong_ci_clipped.lower", a.Low)
			c.near(t, "delong_ci_clipped.upper", a.High)
			h := mustArea(t)(AUCHanleyMcNeil(counts, HighIsBad, 0.95))
			c.near(t, "hanley_mcneil_se", math.Sqrt(h.Variance))
			test, err := MannWhitney(counts, HighIsBad)
			if err != nil {
				t.Fatal(err)
			}
			c.near(t, "wilcoxon_p_normal_ties", test.P)
		})
	}
}

func TestAreaEdges(t *testing.T) {
	c := checkByID(t, "roc", "roc-11")
	var in map[string][][3]float64
	c.input(t, &in)
	for name, rows := range in {
		a := mustArea(t)(AUCDeLong(valueCounts(rows), HighIsBad, 0.95))
		c.estimate(t, name+".auc", "", a.Estimate)
		if key := name + ".delong_var"; c.has(key) {
			if want := c.raw(t, key); want == nil {
				if a.VarianceDefined {
					t.Errorf("%s: variance %v, want none", name, a.Variance)
				}
			} else if c.near(t, key, a.Variance); !a.VarianceDefined {
				t.Errorf("%s: variance not defined", name)
			}
		}
		if a.Estimable() && (a.Method != MethodNewcombeArea || len(a.Warnings) == 0 || a.High-a.Low < 0.1) {
			t.Errorf("%s: limits %v to %v by %s without width or warning", name, a.Low, a.High, a.Method)
		}
	}
	c.allRead(t)
}

// slowArea counts pairs one by one.
func slowArea(counts []ValueCount, d Direction) (area float64, ok bool) {
	wins, pairs := 0.0, 0.0
	for _, p := range counts {
		for _, n := range counts {
			w := float64(p.Needed) * float64(n.NotNeeded)
			pairs += w
			worse := p.Value > n.Value
			if d == LowIsBad {
				worse = p.Value < n.Value
			}
			if worse {
				wins += w
			} else if p.Value == n.Value {
				wins += w / 2
			}
		}
	}
	return wins / pairs, pairs > 0
}

// slowDeLong computes the variance from rows, by the definition of the placements.
func slowDeLong(counts []ValueCount, d Direction) (variance float64, ok bool) {
	var pos, neg []float64
	for _, c := range counts {
		for range c.Needed {
			pos = append(pos, c.Value)
		}
		for range c.NotNeeded {
			neg = append(neg, c.Value)
		}
	}
	if len(pos) < 2 || len(neg) < 2 {
		return 0, false
	}
	psi := func(x, y float64) float64 {
		if x == y {
			return 0.5
		}
		if (x > y) == (d == HighIsBad) {
			return 1
		}
		return 0
	}
	v10, v01 := make([]float64, len(pos)), make([]float64, len(neg))
	for i, x := range pos {
		for j, y := range neg {
			v10[i] += psi(x, y) / float64(len(neg))
			v01[j] += psi(x, y) / float64(len(pos))
		}
	}
	sampleVariance := func(v []float64) float64 {
		mean, ss := 0.0, 0.0
		for _, x := range v {
			mean += x / float64(len(v))
		}
		for _, x := range v {
			ss += (x - mean) * (x - mean)
		}
		return ss / float64(len(v)-1)
	}
	return sampleVariance(v10)/float64(len(pos)) + sampleVariance(v01)/float64(len(neg)), true
}

func TestAreaEqualsSlowPairCounting(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for trial := range 500 {
		counts := randomValueCounts(r)
		for _, d := range []Direction{HighIsBad, LowIsBad} {
			a := mustArea(t)(AUCDeLong(counts, d, 0.95))
			want, ok := slowArea(counts, d)
			if a.Estimable() != ok {
				t.Fatalf("trial %d %v: estimable %v, want %v", trial, counts, a.Estimable(), ok)
			}
			if ok && math.Abs(a.Value-want) > 1e-12 {
				t.Fatalf("trial %d %v %v: area %v, pair counting %v", trial, d, counts, a.Value, want)
			}
			v, ok := slowDeLong(counts, d)
			if a.VarianceDefined != ok || ok && math.Abs(a.Variance-v) > 1e-12 {
				t.Fatalf("trial %d %v %v: variance %v (%v), row by row %v (%v)", trial, d, counts, a.Variance, a.VarianceDefined, v, ok)
			}
		}
	}
}

func TestAreaProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	methods := map[string]func([]ValueCount, Direction, float64) (Area, error){
		"DeLong": AUCDeLong, "logit": AUCDeLongLogit, "Hanley-McNeil": AUCHanleyMcNeil, "Newcombe": AUCNewcombe,
	}
	for trial := range 300 {
		counts := randomValueCounts(r)
		for name, f := range methods {
			a := mustArea(t)(f(counts, HighIsBad, 0.95))
			checkSane(t, name, a.Estimate, 0, 1)
			if !a.Estimable() {
				continue
			}
			flipped := mustArea(t)(f(counts, LowIsBad, 0.95))
			swapped := make([]ValueCount, len(counts))
			more := make([]ValueCount, len(counts))
			shuffled := append([]ValueCount(nil), counts...)
			for i, c := range counts {
				swapped[i] = ValueCount{Value: c.Value, Needed: c.NotNeeded, NotNeeded: c.Needed}
				more[i] = ValueCount{Value: c.Value, Needed: 9 * c.Needed, NotNeeded: 9 * c.NotNeeded}
			}
			r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			s := mustArea(t)(f(swapped, HighIsBad, 0.95))
			for what, other := range map[string]Area{"direction flip": flipped, "label swap": s} {
				if name == "Hanley-McNeil" { // the exponential model treats the two sides differently
					continue
				}
				if math.Abs(a.Value+other.Value-1) > 1e-9 || math.Abs(a.Low+other.High-1) > 1e-6 || math.Abs(a.High+other.Low-1) > 1e-6 {
					t.Fatalf("trial %d, %s, %s: %+v against %+v of %v", trial, name, what, a, other, counts)
				}
			}
			if o := mustArea(t)(f(shuffled, HighIsBad, 0.95)); o.Value != a.Value || math.Abs(o.Low-a.Low) > 1e-12 {
				t.Fatalf("trial %d, %s: order of the counts matters", trial, name)
			}
			// Narrowing compares like with like: the same method on both sides.
			if m := mustArea(t)(f(more, HighIsBad, 0.95)); m.Method == a.Method && m.High-m.Low > a.High-a.Low+1e-12 {
				t.Fatalf("trial %d, %s: nine times the counts widened %v..%v to %v..%v", trial, name, a.Low, a.High, m.Low, m.High)
			}
		}
	}
}

func TestAreaOfBothEndsNeedsADistance(t *testing.T) {
	c := checkByID(t, "roc", "co-roc-dead-temp-deviation")
	var in struct{ Raw [][3]float64 }
	c.input(t, &in)
	raw := valueCounts(in.Raw)
	a := mustArea(t)(AUCDeLong(raw, BothEndsAreBad, 0.95))
	if a.Estimable() || !strings.Contains(a.NotEstimable, "distance") {
		t.Errorf("area with both ends bad: %+v", a)
	}
	folded, err := DistanceFromRange(raw, 37.8, 37.8)
	if err != nil {
		t.Fatal(err)
	}
	for i := range folded { // the check case rounds to tenths
		folded[i].Value = math.Round(10 * folded[i].Value)
	}
	got := mustArea(t)(AUCDeLong(folded, HighIsBad, 0.95))
	c.near(t, "auc", got.Value)
	c.near(t, "delong_var", got.Variance)
	inside, err := DistanceFromRange([]ValueCount{{Value: 38, Needed: 1}, {Value: 36.5, Needed: 1}, {Value: 40, Needed: 1}}, 37.5, 39)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0, 1, 1} {
		if inside[i].Value != want {
			t.Errorf("distance %d = %v, want %v", i, inside[i].Value, want)
		}
	}
}

func TestPartialAreas(t *testing.T) {
	c := checkByID(t, "roc", "roc-06")
	counts := rocCounts(t, c)
	part := func(axis PartialAxis, from, to float64) PartialArea {
		p, err := PartialAUC(counts, HighIsBad, axis, from, to, 200, 0.95, rand.New(rand.NewPCG(9, 9)))
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []Estimate{p.Raw, p.Standardised} {
			checkSane(t, "partial area", e, -1, 1)
			if e.Low >= e.High {
				t.Errorf("partial area without width: %+v", e)
			}
		}
		return p
	}
	strict := part(OverSpecificity, 1, 0.9)
	c.near(t, "spec_1_to_090", strict.Raw.Value)
	c.near(t, "spec_1_to_090_mcclish", strict.Standardised.Value)
	careful := part(OverSensitivity, 0.9, 1)
	c.near(t, "sens_1_to_090", careful.Raw.Value)
	c.near(t, "sens_1_to_090_mcclish", careful.Standardised.Value)
	c.near(t, "spec_09_to_07", part(OverSpecificity, 0.9, 0.7).Raw.Value)
	c.allRead(t)

	whole := part(OverSpecificity, 0, 1)
	area := mustArea(t)(AUCDeLong(counts, HighIsBad, 0.95))
	if math.Abs(whole.Raw.Value-area.Value) > 1e-12 || math.Abs(whole.Standardised.Value-area.Value) > 1e-12 {
		t.Errorf("the part 0 to 1 is %v, the area %v", whole.Raw.Value, area.Value)
	}
	if again := part(OverSpecificity, 1, 0.9); again.Raw.Low != strict.Raw.Low || again.Raw.High != strict.Raw.High {
		t.Error("the same seed gave other limits")
	}
}
