package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// groupInput decodes the lists y and n of a case.
func groupInput(t *testing.T, c *checkCase) []GroupCount {
	t.Helper()
	var in struct{ Y, N []int64 }
	c.input(t, &in)
	if len(in.Y) != len(in.N) || len(in.Y) == 0 {
		t.Fatalf("%s: %d and %d counts", c.ID, len(in.Y), len(in.N))
	}
	groups := make([]GroupCount, len(in.Y))
	for i := range groups {
		groups[i] = GroupCount{in.Y[i], in.N[i]}
	}
	return groups
}

func shrinkLast(t *testing.T, prior BetaPrior, groups []GroupCount) Estimate {
	t.Helper()
	shrunken, err := prior.Shrink(groups, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return shrunken[len(shrunken)-1].Shrunken
}

func TestBetaByMomentsPublished(t *testing.T) {
	c := checkByID(t, "shrinkage", "sh-02")
	groups := groupInput(t, c)
	history := groups[:70] // the 71st group is the experiment to be shrunk
	prior, err := BetaByMoments(history)
	if err != nil || prior.NotEstimable != "" {
		t.Fatalf("%+v, %v", prior, err)
	}
	c.near(t, "mean", prior.Mean)
	raw := make([]float64, len(history))
	for i, g := range history {
		raw[i] = float64(g.Successes) / float64(g.Trials)
	}
	c.near(t, "sd", stat.StdDev(raw, nil))
	c.near(t, "alpha", prior.Alpha)
	c.near(t, "beta", prior.Beta)
	c.near(t, "posterior71_mean", shrinkLast(t, prior, groups).Value)
	post := distuv.Beta{Alpha: prior.Alpha + 4, Beta: prior.Beta + 10}
	c.near(t, "posterior71_sd", post.StdDev())
	c.allRead(t)
}

func TestBetaByMLPublished(t *testing.T) {
	c := checkByID(t, "shrinkage", "sh-03")
	groups := groupInput(t, c)
	prior, err := BetaByML(groups)
	if err != nil || prior.NotEstimable != "" {
		t.Fatalf("%+v, %v", prior, err)
	}
	c.near(t, "alpha", prior.Alpha)
	c.near(t, "beta", prior.Beta)
	c.near(t, "loglik", prior.LogLik)
	c.near(t, "mean", prior.Mean)
	c.near(t, "rho", prior.Rho)
	shrunken, err := prior.Shrink(groups, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "eb_mean_first", shrunken[0].Shrunken.Value)
	last := shrunken[70]
	c.near(t, "eb_mean_71", last.Shrunken.Value)
	c.near(t, "eb_95_group71.lower", last.Shrunken.Low)
	c.near(t, "eb_95_group71.upper", last.Shrunken.High)
	c.allRead(t)
	if last.Raw.Value != 4.0/14 || math.Abs(last.Weight-14/(14+prior.Alpha+prior.Beta)) > 1e-12 {
		t.Errorf("raw %v, weight %v", last.Raw.Value, last.Weight)
	}
}

func TestShrinkKeepsRawWilsonLimits(t *testing.T) {
	c := checkByID(t, "shrinkage", "sh-04")
	var in struct {
		Checks struct{ Hits, N []int64 }
	}
	c.input(t, &in)
	var raw, lower []float64
	groups := make([]GroupCount, len(in.Checks.N))
	for i := range groups {
		groups[i] = GroupCount{in.Checks.Hits[i], in.Checks.N[i]}
	}
	shrunken, err := BetaPrior{Alpha: 2, Beta: 1, Groups: 20, Method: MethodBetaML}.Shrink(groups, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range shrunken {
		raw, lower = append(raw, s.Raw.Value), append(lower, s.Raw.Low)
	}
	c.nearAll(t, "raw", raw)
	c.nearAll(t, "wilson_lower", lower)
	c.allRead(t)
}

func TestJamesSteinPublished(t *testing.T) {
	c := checkByID(t, "shrinkage", "sh-01")
	var in struct {
		Hits   []int64
		AtBats int64 `json:"at_bats"`
	}
	c.input(t, &in)
	res, err := JamesStein(in.Hits, in.AtBats)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "grand_mean", res.GrandMean)
	c.near(t, "common_variance", res.Variance)
	c.near(t, "shrink_factor", res.Factor)
	c.nearAll(t, "shrunken", res.Shrunken)
	printedItems(t, c, "shrunken", res.Shrunken)
	c.allRead(t)

	// Less scatter than chance gives: all the way to the mean, never beyond it.
	res, err = JamesStein([]int64{20, 21, 20, 21, 20}, 40)
	if err != nil || res.Factor != 0 || math.Abs(res.Shrunken[1]-res.GrandMean) > 1e-15 {
		t.Errorf("little scatter: %+v, %v", res, err)
	}
	for _, few := range [][]int64{{1, 2, 3}, {4, 4, 4, 4}} {
		if res, err := JamesStein(few, 10); err != nil || res.NotEstimable == "" || res.Shrunken != nil {
			t.Errorf("%v: %+v, %v", few, res, err)
		}
	}
	if _, err := JamesStein([]int64{1, 2, 3, 11}, 10); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
	if _, err := JamesStein([]int64{1}, 0); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

func TestTaroneOverdispersion(t *testing.T) {
	c := checkByID(t, "shrinkage", "tarone-overdispersion-by-hand")
	res, err := TaroneOverdispersion(groupInput(t, c))
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "z", res.Z)
	c.allRead(t)
	if math.Abs(res.P-distuv.UnitNormal.Survival(res.Z)) > 1e-15 {
		t.Errorf("p = %v", res.P)
	}
	for name, groups := range map[string][]GroupCount{
		"one group": {{3, 9}, {0, 0}}, "no success": {{0, 9}, {0, 4}}, "single calls": {{0, 1}, {1, 1}},
	} {
		if res, err := TaroneOverdispersion(groups); err != nil || res.NotEstimable == "" || res.Z != 0 {
			t.Errorf("%s: %+v, %v", name, res, err)
		}
	}
}

func TestBetaPriorNotEstimable(t *testing.T) {
	both := map[string]func([]GroupCount) (BetaPrior, error){"moments": BetaByMoments, "ML": BetaByML}
	for name, groups := range map[string][]GroupCount{
		"nothing":      nil,
		"one group":    {{3, 9}, {0, 0}},
		"no success":   {{0, 9}, {0, 4}},
		"all success":  {{9, 9}, {4, 4}},
		"identical":    {{5, 10}, {5, 10}, {5, 10}},
		"single calls": {{0, 1}, {1, 1}}, // spread as wide as can be, or not seen at all
	} {
		for method, f := range both {
			prior, err := f(groups)
			if err != nil || prior.NotEstimable == "" || prior.Alpha != 0 || prior.Beta != 0 {
				t.Errorf("%s of %s: %+v, %v", method, name, prior, err)
				continue
			}
			shrunken, err := prior.Shrink(groups, 0.9)
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range shrunken {
				checkSane(t, name, s.Raw, 0, 1)
				if s.Shrunken.Estimable() || s.Weight != 0 {
					t.Errorf("%s of %s: shrunken %+v", method, name, s)
				}
			}
		}
	}
	// Less spread than chance: the common proportion is still given.
	prior, err := BetaByML([]GroupCount{{10, 20}, {11, 20}, {10, 20}, {9, 20}})
	if err != nil || prior.NotEstimable == "" || prior.Mean != 0.5 {
		t.Errorf("little spread: %+v, %v", prior, err)
	}
	for method, f := range both {
		if _, err := f([]GroupCount{{3, 2}}); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", method, err)
		}
	}
	if _, err := (BetaPrior{Alpha: 1, Beta: 1}).Shrink([]GroupCount{{1, 2}}, 0); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

func TestShrinkProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(19, 20))
	for range 60 {
		groups := make([]GroupCount, 4+r.IntN(12))
		for i := range groups {
			n := r.Int64N(30)
			groups[i] = GroupCount{int64(float64(n) * r.Float64() * r.Float64()), n}
		}
		prior, err := BetaByML(groups)
		if err != nil {
			t.Fatal(err)
		}
		if prior.NotEstimable != "" {
			continue
		}
		// The score vanishes at the maximum.
		used, _ := groupsWithTrials(groups)
		da, db := betaBinomialScore(used, prior.Alpha, prior.Beta)
		if math.Abs(da*prior.Alpha) > 1e-4 || math.Abs(db*prior.Beta) > 1e-4 {
			t.Errorf("%v: score %v %v at %v %v", groups, da, db, prior.Alpha, prior.Beta)
		}
		shrunken, err := prior.Shrink(groups, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range shrunken {
			checkSane(t, "shrunken", s.Shrunken, 0, 1)
			if !s.Raw.Estimable() {
				if s.Weight != 0 || math.Abs(s.Shrunken.Value-prior.Mean) > 1e-12 {
					t.Errorf("%v: group %d has no calls but is not the prior: %+v", groups, i, s)
				}
				continue
			}
			between := s.Weight*s.Raw.Value + (1-s.Weight)*prior.Mean
			if math.Abs(between-s.Shrunken.Value) > 1e-12 {
				t.Errorf("%v: %v is not the weighted mean %v", groups, s.Shrunken.Value, between)
			}
			if (prior.Groups < fewGroups) != (len(s.Shrunken.Warnings) == 1) {
				t.Errorf("%d groups, warnings %v", prior.Groups, s.Shrunken.Warnings)
			}
		}
	}
}

// TestShrinkCoverage draws the true proportions from a known beta distribution
// and counts how often the shrunken limits hold them.
func TestShrinkCoverage(t *testing.T) {
	rounds := 60
	if testing.Short() {
		rounds = 10
	}
	src := rand.NewPCG(21, 22)
	truth := distuv.Beta{Alpha: 6, Beta: 4, Src: src}
	held, all := 0, 0
	for range rounds {
		groups := make([]GroupCount, 60)
		real := make([]float64, len(groups))
		for i := range groups {
			real[i] = truth.Rand()
			n := int64(10 + i%30)
			groups[i] = GroupCount{int64(distuv.Binomial{N: float64(n), P: real[i], Src: src}.Rand()), n}
		}
		prior, err := BetaByML(groups)
		if err != nil {
			t.Fatal(err)
		}
		shrunken, err := prior.Shrink(groups, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for i, s := range shrunken {
			all++
			if s.Shrunken.Low <= real[i] && real[i] <= s.Shrunken.High {
				held++
			}
		}
	}
	coverage := float64(held) / float64(all)
	t.Logf("coverage %.3f", coverage)
	coverageNear95(t, t.Name(), coverage)
}

func TestBayesianBootstrap(t *testing.T) {
	first := func(share []float64) (float64, bool) { return share[0] / (share[0] + share[1]), share[0]+share[1] > 0 }
	run := func(counts []int64, seed uint64) Estimate {
		t.Helper()
		e, err := BayesianBootstrap(counts, first, 4000, 0.95, rand.New(rand.NewPCG(seed, 1)))
		if err != nil {
			t.Fatal(err)
		}
		checkSane(t, "bootstrap", e, 0, 1)
		return e
	}
	e := run([]int64{18, 6, 76}, 1)
	// The share of one cell among two has the posterior Beta(18, 6) exactly.
	post := distuv.Beta{Alpha: 18, Beta: 6}
	if e.Value != 0.75 || math.Abs(e.Low-post.Quantile(0.025)) > 0.015 || math.Abs(e.High-post.Quantile(0.975)) > 0.015 {
		t.Errorf("%+v, want about %v to %v", e, post.Quantile(0.025), post.Quantile(0.975))
	}
	again, other := run([]int64{18, 6, 76}, 1), run([]int64{18, 6, 76}, 2)
	if e.Low != again.Low || e.High != again.High || e.Low == other.Low {
		t.Errorf("same seed %v %v, other seed %v", e, again, other)
	}
	if e := run([]int64{18, 0, 5}, 3); e.Low != 1 || len(e.Warnings) != 1 {
		t.Errorf("an empty cell needs its warning: %+v", e)
	}
	if e := run([]int64{0, 0, 5}, 3); e.Estimable() {
		t.Errorf("undefined figure: %+v", e)
	}
	if e := run([]int64{0, 0, 0}, 3); e.Estimable() {
		t.Errorf("empty table: %+v", e)
	}
	rare := func(share []float64) (float64, bool) { return share[0], share[0] < 0.55 }
	if e, err := BayesianBootstrap([]int64{10, 10}, rare, 400, 0.95, rand.New(rand.NewPCG(1, 1))); err != nil || e.Estimable() {
		t.Errorf("a figure undefined in many draws: %+v, %v", e, err)
	}
}

// TestBayesianBootstrapCoverage: limits of a positive predictive value at a fixed
// prevalence, which has no simple formula.
func TestBayesianBootstrapCoverage(t *testing.T) {
	draws := 500
	if testing.Short() {
		draws = 150
	}
	at := func(share []float64) (float64, bool) { // cells TP, FP, FN, TN
		sens, fpr := share[0]/(share[0]+share[2]), share[1]/(share[1]+share[3])
		v := 0.1 * sens / (0.1*sens + 0.9*fpr)
		return v, !math.IsNaN(v)
	}
	src := rand.NewPCG(51, 52)
	r := rand.New(src)
	held := map[string]int{}
	for range draws {
		tp := int64(distuv.Binomial{N: 60, P: 0.8, Src: src}.Rand())
		fp := int64(distuv.Binomial{N: 90, P: 0.3, Src: src}.Rand())
		e, err := BayesianBootstrap([]int64{tp, fp, 60 - tp, 90 - fp}, at, 400, 0.95, r)
		if err != nil {
			t.Fatal(err)
		}
		count(held, "PPV", e, 0.08/(0.08+0.27))
	}
	coverage := float64(held["PPV"]) / float64(draws)
	t.Logf("coverage %.3f", coverage)
	if coverage < 0.92 || coverage > 0.975 {
		t.Errorf("coverage %.3f, want 0.92 to 0.975", coverage)
	}
}

func TestBayesianBootstrapRefusesBadArguments(t *testing.T) {
	ok := func([]float64) (float64, bool) { return 1, true }
	bad := func([]float64) (float64, bool) { return math.NaN(), true }
	r := rand.New(rand.NewPCG(1, 1))
	for name, call := range map[string]func() (Estimate, error){
		"no cells":       func() (Estimate, error) { return BayesianBootstrap(nil, ok, 100, 0.95, r) },
		"few draws":      func() (Estimate, error) { return BayesianBootstrap([]int64{1}, ok, 99, 0.95, r) },
		"no figure":      func() (Estimate, error) { return BayesianBootstrap([]int64{1}, nil, 100, 0.95, r) },
		"no generator":   func() (Estimate, error) { return BayesianBootstrap([]int64{1}, ok, 100, 0.95, nil) },
		"negative count": func() (Estimate, error) { return BayesianBootstrap([]int64{-1}, ok, 100, 0.95, r) },
		"conf of 1":      func() (Estimate, error) { return BayesianBootstrap([]int64{1}, ok, 100, 1, r) },
		"not a number":   func() (Estimate, error) { return BayesianBootstrap([]int64{1, 2}, bad, 100, 0.95, r) },
	} {
		if _, err := call(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
