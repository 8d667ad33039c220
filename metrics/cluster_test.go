package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// By hand: clusters (caught of needed) 4/4, 0/2, 3/6. N = 12, p = 7/12; the
// residuals Caught - p*Needed are 5/3, -7/6 and -1/2; with k/(k-1) = 3/2 the
// variance is 3/2 * (25/9 + 49/36 + 1/4) / 144.
func TestClusterRobustByHand(t *testing.T) {
	got, err := ClusterRobust([]ClusterPattern{{4, 4, 1}, {2, 0, 1}, {6, 3, 1}, {0, 0, 9}}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	variance := 1.5 * (25.0/9 + 49.0/36 + 1.0/4) / 144
	binomial := 7.0 / 12 * 5.0 / 12 / 12
	if math.Abs(got.DesignEffect-variance/binomial) > 1e-12 || got.Clusters != 3 {
		t.Errorf("design effect %v of %d clusters, want %v of 3", got.DesignEffect, got.Clusters, variance/binomial)
	}
	if got.Value != 7.0/12 || got.Numerator != 7 || got.Denominator != 12 {
		t.Errorf("value: %+v", got)
	}
	if len(got.Warnings) == 0 {
		t.Error("3 clusters give no warning")
	}
}

func TestClusterRobustProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 300 {
		var patterns []ClusterPattern
		var x, n int64
		for range 2 + r.IntN(6) {
			needed := r.Int64N(6)
			c := ClusterPattern{Needed: needed, Caught: r.Int64N(needed + 1), Times: 1 + r.Int64N(4)}
			patterns = append(patterns, c)
			x, n = x+c.Caught*c.Times, n+c.Needed*c.Times
		}
		got, err := ClusterRobust(patterns, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		checkSane(t, "cluster", got.Estimate, 0, 1)
		if !got.Estimable() {
			continue
		}
		plain, _ := Wilson(x, n, 0.95)
		if got.Value != plain.Value || got.High-got.Low < plain.High-plain.Low-1e-12 {
			t.Errorf("%+v: %v, without clusters %v", patterns, got.Estimate, plain)
		}
		// One pattern listed twice with half the times is the same data.
		split := append([]ClusterPattern{}, patterns...)
		split[0].Times = 0
		for range patterns[0].Times {
			split = append(split, ClusterPattern{patterns[0].Needed, patterns[0].Caught, 1})
		}
		again, _ := ClusterRobust(split, 0.95)
		if math.Abs(again.Low-got.Low) > 1e-12 || math.Abs(again.High-got.High) > 1e-12 {
			t.Errorf("splitting a pattern moves the limits: %v, %v", got.Estimate, again.Estimate)
		}
	}
}

func TestClusterRobustEdges(t *testing.T) {
	for name, patterns := range map[string][]ClusterPattern{
		"none": nil, "no needed": {{0, 0, 5}}, "one cluster": {{9, 4, 1}},
	} {
		if e, err := ClusterRobust(patterns, 0.95); err != nil || e.Estimable() {
			t.Errorf("%s: %+v, %v", name, e, err)
		}
	}
	// All caught: whole clusters are taken to agree, so 40 clusters of 5 count
	// as 40 episodes, not 200.
	e, _ := ClusterRobust([]ClusterPattern{{5, 5, 40}}, 0.95)
	if e.DesignEffectKnown || math.Abs(e.EffectiveN-40) > 1e-9 || e.High != 1 {
		t.Errorf("all caught: %+v", e)
	}
	for _, bad := range []ClusterPattern{{-1, 0, 1}, {1, 2, 1}, {1, -1, 1}, {1, 1, -1}} {
		if _, err := ClusterRobust([]ClusterPattern{bad}, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

// TestClusterRobustCoverage draws clusters with their own chance of being
// caught; the naive limits cover far too seldom, the robust ones do not.
func TestClusterRobustCoverage(t *testing.T) {
	const draws = 2000
	src := rand.NewPCG(9, 10)
	own := distuv.Beta{Alpha: 3.2, Beta: 0.8, Src: src} // mean 0.8, correlation 1/5
	r := rand.New(src)
	robust, naive := 0, 0
	for range draws {
		var patterns []ClusterPattern
		var x, n int64
		for range 60 {
			p, needed, caught := own.Rand(), 1+r.Int64N(11), int64(0)
			for range needed {
				if r.Float64() < p {
					caught++
				}
			}
			patterns = append(patterns, ClusterPattern{needed, caught, 1})
			x, n = x+caught, n+needed
		}
		if e, _ := ClusterRobust(patterns, 0.95); e.Low <= 0.8 && 0.8 <= e.High {
			robust++
		}
		if e, _ := Wilson(x, n, 0.95); e.Low <= 0.8 && 0.8 <= e.High {
			naive++
		}
	}
	coverage := float64(robust) / float64(draws)
	t.Logf("robust %.3f, naive %.3f", coverage, float64(naive)/float64(draws))
	if coverage < 0.93 || coverage > 0.97 {
		t.Errorf("coverage %.3f, want 0.93 to 0.97", coverage)
	}
	if float64(naive)/float64(draws) > 0.88 {
		t.Errorf("naive limits cover %d of %d: the simulation has no clusters", naive, draws)
	}
}

func TestWidenByDesignEffect(t *testing.T) {
	r := rand.New(rand.NewPCG(51, 52))
	for range 300 {
		n := 200 + r.Int64N(2000)
		x := n/10 + r.Int64N(8*n/10)
		e, _ := Wilson(x, n, 0.95)
		// With n and x divided by 4, and the same share, the interval is that of a
		// design effect of 4.
		low, high := wilsonLimits(float64(x)/4, float64(n)/4, 0.95)
		got, err := WidenByDesignEffect(e, 4)
		if err != nil || math.Abs(got.Low-low) > 0.005 || math.Abs(got.High-high) > 0.005 || got.Value != e.Value {
			t.Errorf("%d of %d: %v, want about %v to %v (%v)", x, n, got, low, high, err)
		}
		checkSane(t, "widened", got, 0, 1)
	}
	all, _ := ClopperPearson(400, 400, 0.95)
	quarter, _ := ClopperPearson(100, 100, 0.95)
	if got, _ := WidenByDesignEffect(all, 4); math.Abs(got.Low-quarter.Low) > 0.001 || got.High != 1 {
		t.Errorf("all of 400: %v, want about %v", got, quarter)
	}
	plain, _ := Wilson(3, 10, 0.95)
	if got, _ := WidenByDesignEffect(plain, 0.5); got.Low != plain.Low || got.Method != plain.Method {
		t.Errorf("a design effect below 1 changes the limits: %v", got)
	}
	missing := notEstimable(0.95, MethodWilson, "nothing")
	if got, err := WidenByDesignEffect(missing, 2); err != nil || got.Estimable() {
		t.Errorf("not estimable: %v, %v", got, err)
	}
	for name, f := range map[string]func() error{
		"zero":     func() error { _, err := WidenByDesignEffect(plain, 0); return err },
		"NaN":      func() error { _, err := WidenByDesignEffect(plain, math.NaN()); return err },
		"a number": func() error { _, err := WidenByDesignEffect(Estimate{Value: 130, Low: 76, High: 221}, 2); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Where clusters do not matter, the design effect scatters about 1 with the
// spread that is stated; where they do, it lies far beyond it.
func TestDesignEffectSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 3))
	for _, sizes := range [][]int64{{40, 60, 30, 50, 45, 20, 70, 55, 35, 25, 40, 60, 30, 50, 45, 20, 70, 55, 35, 25}, slices.Concat(slices.Repeat([]int64{1}, 400), slices.Repeat([]int64{2}, 80), slices.Repeat([]int64{4}, 10))} {
		const years = 2000
		var sum, squares float64
		var beyond int
		var spread float64
		for range years {
			var p []ClusterPattern
			for _, n := range sizes {
				p = append(p, ClusterPattern{Needed: n, Caught: int64(binomialDraw(r, float64(n), 0.8)), Times: 1})
			}
			e, err := ClusterRobust(p, 0.95)
			if err != nil || !e.DesignEffectKnown {
				t.Fatal(err, e)
			}
			spread = e.DesignEffectSpread
			sum, squares = sum+e.DesignEffect, squares+e.DesignEffect*e.DesignEffect
			if e.DesignEffect > 1+1.645*spread {
				beyond++
			}
		}
		mean := sum / years
		sd := math.Sqrt(squares/years - mean*mean)
		if math.Abs(mean-1) > 0.03 || math.Abs(sd/spread-1) > 0.1 || beyond < years/50 || beyond > years/12 {
			t.Errorf("%d clusters: mean %.3f, standard deviation %.3f, stated %.3f, %d of %d beyond", len(sizes), mean, sd, spread, beyond, years)
		}
	}
	same, err := ClusterRobust([]ClusterPattern{{Needed: 20, Caught: 20, Times: 16}, {Needed: 20, Caught: 0, Times: 4}}, 0.95)
	if err != nil || same.DesignEffect < 1+10*same.DesignEffectSpread {
		t.Errorf("whole clusters agree: design effect %v, spread %v, %v", same.DesignEffect, same.DesignEffectSpread, err)
	}
}
