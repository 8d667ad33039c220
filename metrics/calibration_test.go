package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// fittedPredictions are the fitted probabilities of a case of logistic.json.
func fittedPredictions(t *testing.T, id string) []Prediction {
	t.Helper()
	terms, patterns := patternInput(t, checkByID(t, "logistic", id))
	fit, err := FitLogistic(terms, patterns)
	if err != nil || fit.NotEstimable != "" {
		t.Fatalf("%q, %v", fit.NotEstimable, err)
	}
	out := make([]Prediction, len(patterns))
	for i, p := range patterns {
		prob, err := fit.Predict(p.X)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = Prediction{prob, p.Successes, p.Trials}
	}
	return out
}

func TestCalibrationPublished(t *testing.T) {
	for _, c := range readChecks(t, "calibration") {
		var in struct {
			Fit          string
			Slope, Shift float64
			Groups       int
		}
		c.input(t, &in)
		predictions := fittedPredictions(t, in.Fit)
		if in.Slope != 0 {
			for i, p := range predictions {
				predictions[i].P = logistic(in.Slope*math.Log(p.P/(1-p.P)) + in.Shift)
			}
		}
		b, err := Brier(predictions)
		if err != nil || b.NotEstimable != "" {
			t.Fatalf("%+v, %v", b, err)
		}
		c.near(t, "brier", b.Score)
		c.near(t, "brier_null", b.Reference)
		c.near(t, "scaled_brier", b.Scaled)
		c.near(t, "log_loss", b.LogLoss)
		if c.has("calibration.slope") {
			cal, err := Calibrate(predictions, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			c.near(t, "calibration.intercept_given_slope1", cal.Intercept.Value)
			c.near(t, "calibration.intercept_se", cal.InterceptSE)
			c.near(t, "calibration.slope", cal.Slope.Value)
			c.near(t, "calibration.slope_se", cal.SlopeSE)
			c.near(t, "calibration.joint_intercept", cal.JointIntercept.Value)
			c.near(t, "calibration.observed_over_expected", cal.ObservedOverExpected)
		}
		if in.Groups > 0 {
			hl, err := HosmerLemeshow(predictions, in.Groups)
			if err != nil || hl.NotEstimable != "" {
				t.Fatalf("%+v, %v", hl, err)
			}
			var n, observed, expected []float64
			for _, g := range hl.Groups {
				n, observed, expected = append(n, float64(g.Trials)), append(observed, float64(g.Observed)), append(expected, g.Expected)
			}
			c.near(t, "hosmer_lemeshow.groups", float64(len(hl.Groups)))
			c.nearAll(t, "hosmer_lemeshow.n", n)
			c.nearAll(t, "hosmer_lemeshow.observed", observed)
			c.nearAll(t, "hosmer_lemeshow.expected", expected)
			c.near(t, "hosmer_lemeshow.chisq", hl.ChiSquare)
			c.near(t, "hosmer_lemeshow.df", float64(hl.DF))
			c.near(t, "hosmer_lemeshow.p", hl.P)
		}
		c.allRead(t)
	}
}

// TestBrierSplitAddsUp on small lists with ties and certain predictions.
func TestBrierSplitAddsUp(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	for range 300 {
		list := make([]Prediction, 1+r.IntN(8))
		for i := range list {
			n := r.Int64N(5)
			list[i] = Prediction{float64(r.IntN(6)) / 5, r.Int64N(n + 1), n}
		}
		b, err := Brier(list)
		if err != nil {
			t.Fatal(err)
		}
		if b.NotEstimable != "" {
			if b.Trials != 0 || b.Score != 0 {
				t.Errorf("%v: %+v", list, b)
			}
			continue
		}
		if math.Abs(b.Score-(b.Reliability-b.Resolution+b.Reference)) > 1e-12 {
			t.Errorf("%v: parts do not add up: %+v", list, b)
		}
		// The same score call by call.
		sum, impossible := 0.0, false
		for _, p := range list {
			for k := range p.Trials {
				y := 0.0
				if k < p.Successes {
					y = 1
				}
				sum += (y - p.P) * (y - p.P)
				impossible = impossible || p.P == 1-y && (p.P == 0 || p.P == 1)
			}
		}
		if math.Abs(b.Score-sum/float64(b.Trials)) > 1e-12 || b.LogLossKnown == impossible {
			t.Errorf("%v: call by call %v, impossible %v: %+v", list, sum/float64(b.Trials), impossible, b)
		}
		if b.LogLossKnown && (math.IsNaN(b.LogLoss) || b.LogLoss < 0) || !b.LogLossKnown && b.LogLoss != 0 {
			t.Errorf("%v: log loss %v", list, b.LogLoss)
		}
	}
}

func TestCalibrationEdges(t *testing.T) {
	for name, tc := range map[string]struct {
		list             []Prediction
		intercept, slope bool
	}{
		"nothing":        {nil, false, false},
		"no calls":       {[]Prediction{{0.3, 0, 0}}, false, false},
		"one value":      {[]Prediction{{0.3, 2, 9}}, true, false},
		"certain":        {[]Prediction{{0.3, 2, 9}, {1, 4, 5}}, false, false},
		"certain, empty": {[]Prediction{{0.3, 2, 9}, {0.6, 3, 5}, {1, 0, 0}}, true, true},
		"no outcome":     {[]Prediction{{0.3, 0, 9}, {0.6, 0, 9}}, false, false},
		"separated":      {[]Prediction{{0.3, 0, 9}, {0.6, 9, 9}}, true, false},
	} {
		cal, err := Calibrate(tc.list, 0.95)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		for _, e := range []Estimate{cal.Intercept, cal.Slope, cal.JointIntercept} {
			checkSane(t, name, e, math.Inf(-1), math.Inf(1))
		}
		if cal.Intercept.Estimable() != tc.intercept || cal.Slope.Estimable() != tc.slope {
			t.Errorf("%s: intercept %q, slope %q", name, cal.Intercept.NotEstimable, cal.Slope.NotEstimable)
		}
		hl, err := HosmerLemeshow(tc.list, 10)
		if err != nil || hl.NotEstimable == "" || hl.ChiSquare != 0 || hl.P != 0 {
			t.Errorf("%s: Hosmer-Lemeshow of few values: %+v, %v", name, hl, err)
		}
	}
	// One single predicted value: calibration in the large is a plain logit.
	cal, _ := Calibrate([]Prediction{{0.3, 2, 8}}, 0.95)
	if want := math.Log(2.0/6) - math.Log(0.3/0.7); math.Abs(cal.Intercept.Value-want) > 1e-9 {
		t.Errorf("intercept %v, want %v", cal.Intercept.Value, want)
	}
	// A group of certain predictions has no chi-square, but it has its table.
	hl, err := HosmerLemeshow([]Prediction{{0, 0, 5}, {0.4, 2, 5}, {0.5, 3, 5}, {0.7, 2, 5}}, 4)
	if err != nil || hl.NotEstimable == "" || len(hl.Groups) < 3 || hl.ChiSquare != 0 {
		t.Errorf("%+v, %v", hl, err)
	}
}

func TestCalibrationRefusesBadArguments(t *testing.T) {
	for _, bad := range []Prediction{{-0.1, 1, 2}, {1.1, 1, 2}, {math.NaN(), 1, 2}, {0.5, 3, 2}, {0.5, -1, 2}, {0.5, 0, -1}} {
		list := []Prediction{bad}
		if _, err := Calibrate(list, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("%+v: %v", bad, err)
		}
		if _, err := Brier(list); !errors.Is(err, ErrArgument) {
			t.Errorf("%+v: %v", bad, err)
		}
		if _, err := HosmerLemeshow(list, 5); !errors.Is(err, ErrArgument) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if _, err := Calibrate(nil, 0); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
	if _, err := HosmerLemeshow(nil, 2); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

// TestHosmerLemeshowGroupsByHand: ten calls, two tied at a bound.
func TestHosmerLemeshowGroupsByHand(t *testing.T) {
	// Sorted: .1 .2 .3 .3 .4 .5 .6 .7 .8 .9; the type 7 quantiles for three
	// groups are at places 0, 3, 6, 9: .1, .3, .6, .9.
	var list []Prediction
	for _, p := range []float64{0.9, 0.1, 0.3, 0.2, 0.3, 0.5, 0.4, 0.7, 0.6, 0.8} {
		s := int64(0)
		if p > 0.45 {
			s = 1
		}
		list = append(list, Prediction{p, s, 1})
	}
	before := slices.Clone(list)
	hl, err := HosmerLemeshow(list, 3)
	if err != nil || len(hl.Groups) != 3 {
		t.Fatalf("%+v, %v", hl, err)
	}
	if !slices.Equal(list, before) {
		t.Error("the caller's list was changed")
	}
	want := []HosmerLemeshowGroup{{0.1, 0.3, 4, 0, 0.9}, {0.3, 0.6, 3, 2, 1.5}, {0.6, 0.9, 3, 3, 2.4}}
	for i, g := range hl.Groups {
		w := want[i]
		if math.Abs(g.Low-w.Low)+math.Abs(g.High-w.High)+math.Abs(g.Expected-w.Expected) > 1e-9 || g.Trials != w.Trials || g.Observed != w.Observed {
			t.Errorf("group %d: %+v, want %+v", i, g, w)
		}
	}
	chi := 0.9*0.9/(0.9*(1-0.225)) + 0.25/(1.5*0.5) + 0.36/(2.4*0.2)
	if math.Abs(hl.ChiSquare-chi) > 1e-9 || hl.DF != 1 {
		t.Errorf("chi-square %v on %d, want %v on 1", hl.ChiSquare, hl.DF, chi)
	}
}

func TestClusterLimitsPublished(t *testing.T) {
	c := checkByID(t, "logistic", "rg-06")
	var in struct{ Clusters []int64 }
	c.input(t, &in)
	terms, patterns := patternInput(t, c)
	fit, err := FitLogistic(terms, patterns)
	if err != nil {
		t.Fatal(err)
	}
	table, err := fit.ClusterLimits(in.Clusters, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	pick := func(of func(ClusterCoefficient) float64) []float64 {
		var out []float64
		for _, c := range table {
			out = append(out, of(c))
		}
		return out
	}
	c.nearAll(t, "coef", fit.Coef)
	c.nearAll(t, "se_naive", pick(func(c ClusterCoefficient) float64 { return c.SENaive }))
	c.nearAll(t, "se_cluster_hc0", pick(func(c ClusterCoefficient) float64 { return c.SEUncorrected }))
	c.nearAll(t, "se_cluster_hc0_g_over_g_minus_1", pick(func(c ClusterCoefficient) float64 { return c.SE }))
	c.near(t, "clusters", float64(len(slices.Compact(slices.Sorted(slices.Values(in.Clusters))))))
	c.allRead(t)
	for j, row := range table {
		half := twoSidedT(0.95, 49) * row.SE
		if math.Abs(row.LogOdds.High-row.LogOdds.Value-half) > 1e-9 || math.Abs(row.DesignEffect-row.SE*row.SE/(fit.SE[j]*fit.SE[j])) > 1e-12 {
			t.Errorf("%+v: half width %v", row, half)
		}
	}
}

func TestClusterLimitsEdges(t *testing.T) {
	x := func(v float64) []float64 { return []float64{v} }
	patterns := []Pattern{{x(0), 1, 3}, {x(1), 2, 3}, {x(0), 2, 4}, {x(1), 3, 4}}
	fit, _ := FitLogistic([]string{"a"}, patterns)
	firth, _ := FitFirth([]string{"a"}, patterns)
	none, _ := FitLogistic([]string{"a"}, []Pattern{{x(0), 0, 3}, {x(1), 0, 3}, {x(0), 0, 4}, {x(1), 0, 4}})
	for name, tc := range map[string]struct {
		fit     LogisticFit
		cluster []int64
	}{"one cluster": {fit, []int64{7, 7, 7, 7}}, "penalised": {firth, []int64{1, 1, 2, 2}}, "no fit": {none, []int64{1, 1, 2, 2}}} {
		table, err := tc.fit.ClusterLimits(tc.cluster, 0.95)
		if err != nil || len(table) != 2 || table[1].LogOdds.Estimable() || table[1].OddsRatio.Estimable() {
			t.Errorf("%s: %+v, %v", name, table, err)
		}
	}
	table, err := fit.ClusterLimits([]int64{1, 2, 3, 4}, 0.95)
	if err != nil || len(table[1].LogOdds.Warnings) != 1 || len(table[1].OddsRatio.Warnings) != 1 {
		t.Errorf("few clusters need a warning: %+v, %v", table, err)
	}
	if _, err := fit.ClusterLimits([]int64{1, 2, 3}, 0.95); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
	if _, err := fit.ClusterLimits([]int64{1, 2, 3, 4}, 1); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

// TestClusterLimitsCoverage draws practices that differ in how often animals
// need care; the flag is a property of the practice's calls as a whole.
func TestClusterLimitsCoverage(t *testing.T) {
	draws := 1000
	if testing.Short() {
		draws = 200
	}
	src := rand.NewPCG(33, 34)
	r := rand.New(src)
	robust, naive := 0, 0
	for range draws {
		var patterns []Pattern
		var cluster []int64
		for k := range 60 {
			flag := float64(k % 2)
			mean := []float64{0.3, 0.5}[k%2]
			own := distuv.Beta{Alpha: 4 * mean, Beta: 4 * (1 - mean), Src: src}.Rand()
			p := Pattern{X: []float64{flag}, Trials: 4 + r.Int64N(9)}
			for range p.Trials {
				if r.Float64() < own {
					p.Successes++
				}
			}
			patterns, cluster = append(patterns, p), append(cluster, int64(k))
		}
		fit, _ := FitLogistic([]string{"flag"}, patterns)
		table, err := fit.ClusterLimits(cluster, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		truth := -math.Log(0.3 / 0.7) // the log odds of 0.5 are 0
		if e := table[1].LogOdds; e.Low <= truth && truth <= e.High {
			robust++
		}
		wald, _ := fit.WaldLimits(0.95)
		if e := wald[1].LogOdds; e.Low <= truth && truth <= e.High {
			naive++
		}
	}
	coverage := float64(robust) / float64(draws)
	t.Logf("robust %.3f, naive %.3f", coverage, float64(naive)/float64(draws))
	if coverage < 0.93 || coverage > 0.97 || float64(naive)/float64(draws) > 0.88 {
		t.Errorf("robust %.3f, want 0.93 to 0.97; naive %.3f, want well below", coverage, float64(naive)/float64(draws))
	}
}

// TestCalibrationCoverage draws outcomes from predictions that are too extreme by
// a known slope and too high by a known shift.
func TestCalibrationCoverage(t *testing.T) {
	draws := 1500
	if testing.Short() {
		draws = 300
	}
	const shift, slope = -0.4, 0.7
	r := rand.New(rand.NewPCG(45, 46))
	held := map[string]int{}
	for range draws {
		var list []Prediction
		for k := range 20 {
			logit := -2.4 + 0.25*float64(k)
			p := Prediction{P: logistic(logit), Trials: 15}
			for range p.Trials {
				if r.Float64() < logistic(shift+slope*logit) {
					p.Successes++
				}
			}
			list = append(list, p)
		}
		cal, err := Calibrate(list, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		count(held, "slope", cal.Slope, slope)
		count(held, "intercept beside the slope", cal.JointIntercept, shift)
	}
	for name, n := range held {
		coverage := float64(n) / float64(draws)
		t.Logf("%s: %.3f", name, coverage)
		coverageNear95(t, name, coverage)
	}
}
