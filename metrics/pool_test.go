package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// tableInput decodes a case's tables (TP, FP, FN, TN).
func tableInput(t *testing.T, c *checkCase) []TwoByTwo {
	t.Helper()
	var in struct{ Tables [][4]int64 }
	c.input(t, &in)
	out := make([]TwoByTwo, len(in.Tables))
	for i, x := range in.Tables {
		out[i] = TwoByTwo{TP: x[0], FP: x[1], FN: x[2], TN: x[3]}
	}
	return out
}

// lineCounts is each line's sensitivity or specificity as a count.
func lineCounts(tables []TwoByTwo, sens bool) []GroupCount {
	out := make([]GroupCount, len(tables))
	for i, t := range tables {
		out[i] = GroupCount{t.TN, t.TN + t.FP}
		if sens {
			out[i] = GroupCount{t.TP, t.TP + t.FN}
		}
	}
	return out
}

type pooler func([]Effect, float64) (Pooled, error)

func mustPool(t *testing.T, f pooler, effects []Effect) Pooled {
	t.Helper()
	p, err := f(effects, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// checkPooled compares a pooled result with the keys under prefix.
func checkPooled(t *testing.T, c *checkCase, prefix string, p Pooled) {
	t.Helper()
	c.estimate(t, prefix+"estimate", prefix+"ci", p.Summary)
	c.near(t, prefix+"se", p.SE)
	c.near(t, prefix+"z", p.Z)
	c.near(t, prefix+"p", p.P)
	c.near(t, prefix+"tau2", p.Tau2)
	c.near(t, prefix+"Q", p.Q)
	c.near(t, prefix+"Q_df", float64(p.QDF))
	c.near(t, prefix+"Q_p", p.QP)
	c.near(t, prefix+"I2", 100*p.I2)
	c.near(t, prefix+"H2", p.H2)
	c.near(t, prefix+"prediction_interval.lower", p.PredictionPlain.Low)
	c.near(t, prefix+"prediction_interval.upper", p.PredictionPlain.High)
	if c.has(prefix + "pooled") {
		c.estimate(t, prefix+"pooled", prefix+"pooled_ci", FromLogit(p.Summary))
	}
	half := twoSidedT(0.95, float64(p.Lines-2)) * math.Sqrt(p.Tau2+p.SE*p.SE)
	if math.Abs(p.Prediction.High-p.Summary.Value-half) > 1e-12 || p.Prediction.High <= p.PredictionPlain.High {
		t.Errorf("%s: prediction %+v", c.ID, p.Prediction)
	}
}

func TestPooledRatiosPublished(t *testing.T) {
	moments := checkByID(t, "pooling", "ma-01")
	effects, err := LogRiskRatioEffects(tableInput(t, moments), LeaveOutEmpty)
	if err != nil {
		t.Fatal(err)
	}
	var y, v []float64
	for _, e := range effects {
		y, v = append(y, e.Value), append(v, e.Variance)
	}
	moments.nearAll(t, "yi", y)
	moments.nearAll(t, "vi", v)
	checkPooled(t, moments, "", mustPool(t, PoolDerSimonianLaird, effects))
	moments.allRead(t)

	reml := checkByID(t, "pooling", "ma-02")
	p := mustPool(t, PoolREML, effects)
	checkPooled(t, reml, "", p)
	reml.near(t, "knapp_hartung.se", p.KnappHartungSE)
	reml.near(t, "knapp_hartung.t", p.KnappHartung.Value/p.KnappHartungSE)
	reml.near(t, "knapp_hartung.df", float64(p.Lines-1))
	reml.near(t, "knapp_hartung.p", p.KnappHartungP)
	reml.near(t, "knapp_hartung.ci.lower", p.KnappHartung.Low)
	reml.near(t, "knapp_hartung.ci.upper", p.KnappHartung.High)
	reml.allRead(t)

	fixed := checkByID(t, "pooling", "ma-03")
	p = mustPool(t, PoolFixed, effects)
	fixed.near(t, "inverse_variance.estimate", p.Summary.Value)
	fixed.near(t, "inverse_variance.se", p.SE)
	mh, err := MantelHaenszelRiskRatio(tableInput(t, fixed), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	fixed.near(t, "mantel_haenszel.estimate", mh.LogRatio)
	fixed.near(t, "mantel_haenszel.se", mh.SE)
	fixed.allRead(t)
	if math.Abs(math.Log(mh.Ratio.High)-mh.LogRatio-twoSidedZ(0.95)*mh.SE) > 1e-12 {
		t.Errorf("limits %+v", mh.Ratio)
	}
}

func TestPooledProportionsPublished(t *testing.T) {
	c := checkByID(t, "pooling", "ma-04")
	tables := tableInput(t, c)
	for name, sens := range map[string]bool{"sens": true, "spec": false} {
		effects, err := LogitEffects(lineCounts(tables, sens), HalfEverywhere)
		if err != nil {
			t.Fatal(err)
		}
		checkPooled(t, c, name+"_dl.", mustPool(t, PoolDerSimonianLaird, effects))
		checkPooled(t, c, name+"_reml.", mustPool(t, PoolREML, effects))
	}
	c.allRead(t)
}

func TestPooledOddsRatioAndDeeksPublished(t *testing.T) {
	c := checkByID(t, "pooling", "ma-07")
	tables := tableInput(t, c)
	effects, err := LogOddsRatioEffects(tables, HalfEverywhere)
	if err != nil {
		t.Fatal(err)
	}
	checkPooled(t, c, "dl.", mustPool(t, PoolDerSimonianLaird, effects))
	checkPooled(t, c, "reml.", mustPool(t, PoolREML, effects))
	d, err := Deeks(tables)
	if err != nil || d.NotEstimable != "" || d.DF != 12 {
		t.Fatalf("%+v, %v", d, err)
	}
	c.near(t, "deeks.slope", d.Slope)
	c.near(t, "deeks.se", d.SE)
	c.near(t, "deeks.t", d.T)
	c.near(t, "deeks.p", d.P)
	c.allRead(t)
}

func TestBinomialNormalPublished(t *testing.T) {
	c := checkByID(t, "pooling", "ma-05")
	lines := lineCounts(tableInput(t, c), true)
	b, err := PoolBinomialNormal(lines, 0.95)
	if err != nil || !b.Logit.Estimable() {
		t.Fatalf("%+v, %v", b, err)
	}
	c.near(t, "aghq25.logit", b.Logit.Value)
	c.near(t, "aghq25.se", b.SE)
	c.near(t, "aghq25.tau2", b.Tau2)
	c.near(t, "aghq25.pooled", b.Proportion.Value)
	c.allRead(t)

	c = checkByID(t, "pooling", "ma-05-exact")
	c.near(t, "integrate.logit", b.Logit.Value)
	c.near(t, "integrate.tau2", b.Tau2)
	c.near(t, "integrate.se", b.SE)
	// One node is Laplace's approximation.
	q := newQuadrature(1)
	x, ok := climbSmooth(func(x []float64) float64 { return q.logLik(lines, x[0], math.Exp(x[1])) }, []float64{2, 0})
	if !ok {
		t.Fatal("no maximum")
	}
	c.near(t, "laplace.logit", x[0])
	c.near(t, "laplace.tau2", math.Exp(2*x[1]))
	c.allRead(t)
}

func TestBivariatePublished(t *testing.T) {
	c := checkByID(t, "pooling", "ma-06")
	tables := tableInput(t, c)
	b, err := PoolBivariate(tables, 0.95)
	if err != nil || !b.Sensitivity.Estimable() || !b.RhoKnown {
		t.Fatalf("%+v, %v", b, err)
	}
	c.near(t, "normal_reml.logit_sens", b.LogitSens)
	c.near(t, "normal_reml.logit_spec", b.LogitSpec)
	c.near(t, "normal_reml.se_sens", b.SESens)
	c.near(t, "normal_reml.se_spec", b.SESpec)
	c.near(t, "normal_reml.sd_sens", b.SDSens)
	c.near(t, "normal_reml.sd_spec", b.SDSpec)
	c.near(t, "normal_reml.rho", b.Rho)
	c.near(t, "normal_reml.pooled_sens", b.Sensitivity.Value)
	c.near(t, "normal_reml.pooled_fpr", 1-b.Specificity.Value)
	c.allRead(t)

	c = checkByID(t, "pooling", "ma-06-binomial")
	b, err = PoolBivariateBinomial(tables, 0.95)
	if err != nil || !b.Sensitivity.Estimable() || !b.RhoKnown {
		t.Fatalf("%+v, %v", b, err)
	}
	c.near(t, "binomial_laplace.logit_sens", b.LogitSens)
	c.near(t, "binomial_laplace.logit_spec", b.LogitSpec)
	c.near(t, "binomial_laplace.var_sens", b.SDSens*b.SDSens)
	c.near(t, "binomial_laplace.var_spec", b.SDSpec*b.SDSpec)
	c.near(t, "binomial_laplace.corr", b.Rho)
	c.allRead(t)
}

// TestBinomialNormalAgainstPlainSum integrates the same likelihood on a fine
// grid.
func TestBinomialNormalAgainstPlainSum(t *testing.T) {
	q := newQuadrature(quadraturePoints)
	for _, tc := range []struct{ s, n, mu, tau float64 }{
		{3, 10, 0.4, 0.8}, {0, 7, 1, 1.5}, {25, 25, 2, 2}, {400, 1000, -1, 0.3}, {1, 1, 0, 0.1},
	} {
		const step = 1e-3
		terms := []float64{}
		for b := -12.0; b <= 12; b += step {
			eta := tc.mu + tc.tau*b
			terms = append(terms, tc.s*eta-tc.n*softplus(eta)-b*b/2)
		}
		want := logSum(terms) + math.Log(step) - math.Log(2*math.Pi)/2
		if got := q.line(tc.s, tc.n, tc.mu, tc.tau); math.Abs(got-want) > 1e-6*math.Abs(want) {
			t.Errorf("%+v: %v, want %v", tc, got, want)
		}
	}
}

func TestPoolEdges(t *testing.T) {
	nan := math.NaN()
	for name, f := range map[string]pooler{"fixed": PoolFixed, "DL": PoolDerSimonianLaird, "REML": PoolREML} {
		for _, few := range [][]Effect{nil, {{1, 0.1, ""}}, {{1, 0.1, ""}, {0, 0, "no calls"}}} {
			p := mustPool(t, f, few)
			for _, e := range []Estimate{p.Summary, p.KnappHartung, p.Prediction, p.PredictionPlain} {
				checkSane(t, name, e, math.Inf(-1), math.Inf(1))
				if e.Estimable() {
					t.Errorf("%s of %v: %+v", name, few, e)
				}
			}
			if len(p.Weights) != len(few) || p.SE != 0 || p.Q != 0 {
				t.Errorf("%s of %v: %+v", name, few, p)
			}
		}
		two := mustPool(t, f, []Effect{{1, 0.1, ""}, {0, 0, "no calls"}, {2, 0.3, ""}})
		if !two.Summary.Estimable() || two.Prediction.Estimable() || two.Weights[1] != 0 || math.Abs(two.Weights[0]+two.Weights[2]-1) > 1e-15 || two.Lines != 2 {
			t.Errorf("%s of two lines: %+v", name, two)
		}
		same := mustPool(t, f, []Effect{{1, 0.1, ""}, {1, 0.3, ""}, {1, 0.2, ""}})
		if same.Tau2 != 0 || same.I2 != 0 || same.KnappHartung.Estimable() || math.Abs(same.Summary.Value-1) > 1e-12 {
			t.Errorf("%s of equal lines: %+v", name, same)
		}
		for _, bad := range []Effect{{nan, 1, ""}, {math.Inf(1), 1, ""}, {1, 0, ""}, {1, -1, ""}, {1, nan, ""}, {1, math.Inf(1), ""}} {
			if _, err := f([]Effect{{1, 1, ""}, bad}, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("%s of %+v: %v", name, bad, err)
			}
		}
		if _, err := f(nil, 1); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestEffectsAndZeroCells(t *testing.T) {
	lines := []GroupCount{{3, 9}, {0, 5}, {5, 5}, {0, 0}}
	for rule, want := range map[ZeroCells][]float64{
		LeaveOutEmpty:  {math.Log(3.0 / 6), nanAsGap, nanAsGap, nanAsGap},
		HalfWhereEmpty: {math.Log(3.0 / 6), math.Log(0.5 / 5.5), math.Log(5.5 / 0.5), nanAsGap},
		HalfEverywhere: {math.Log(3.5 / 6.5), math.Log(0.5 / 5.5), math.Log(5.5 / 0.5), nanAsGap},
	} {
		effects, err := LogitEffects(lines, rule)
		if err != nil {
			t.Fatal(err)
		}
		for i, e := range effects {
			if (e.NotEstimable != "") != (want[i] == nanAsGap) || e.NotEstimable == "" && math.Abs(e.Value-want[i]) > 1e-15 {
				t.Errorf("rule %d, line %d: %+v, want %v", rule, i, e, want[i])
			}
		}
	}
	tables := []TwoByTwo{{3, 1, 2, 7}, {3, 1, 0, 7}, {0, 0, 2, 7}, {3, 0, 2, 0}, {}}
	or, err := LogOddsRatioEffects(tables, HalfWhereEmpty)
	if err != nil || or[2].NotEstimable != "" || or[3].NotEstimable != "" {
		// Nothing marked leaves an odds ratio of halves; nobody out of need does not.
		if or[3].NotEstimable == "" {
			t.Errorf("%+v, %v", or, err)
		}
	}
	if math.Abs(or[0].Value-math.Log(3*7.0/2)) > 1e-15 || math.Abs(or[1].Value-math.Log(3.5*7.5/(1.5*0.5))) > 1e-15 || or[4].NotEstimable == "" {
		t.Errorf("%+v", or)
	}
	rr, err := LogRiskRatioEffects(tables, HalfWhereEmpty)
	if err != nil || rr[2].NotEstimable == "" || rr[4].NotEstimable == "" || math.Abs(rr[0].Value-math.Log(3.0/4/(2.0/9))) > 1e-15 {
		t.Errorf("%+v, %v", rr, err)
	}
	for _, rule := range []ZeroCells{0, 4} {
		if _, err := LogitEffects(lines, rule); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
		if _, err := LogOddsRatioEffects(tables, rule); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
	}
	if _, err := LogitEffects([]GroupCount{{3, 2}}, LeaveOutEmpty); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
	if _, err := LogRiskRatioEffects([]TwoByTwo{{TP: -1}}, LeaveOutEmpty); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

func TestBackFromLogScales(t *testing.T) {
	e := FromLog(Estimate{Value: 1, Low: -2, High: 800, Conf: 0.95})
	if math.Abs(e.Value-math.E) > 1e-15 || math.Abs(e.Low-math.Exp(-2)) > 1e-15 || e.High != 0 || !e.HighUnbounded {
		t.Errorf("a limit beyond numbers: %+v", e)
	}
	if e := FromLog(Estimate{Value: 800, Low: 1, High: 900}); e.Estimable() || e.Value != 0 {
		t.Errorf("a ratio beyond numbers: %+v", e)
	}
	e = FromLogit(Estimate{Value: 1, LowUnbounded: true, HighUnbounded: true})
	if math.Abs(e.Value-math.E/(1+math.E)) > 1e-15 || e.Low != 0 || e.High != 1 || e.LowUnbounded || e.HighUnbounded {
		t.Errorf("a proportion without limits: %+v", e)
	}
	none := notEstimable(0.95, MethodPoolREML, "no lines")
	if FromLog(none).NotEstimable != "no lines" || FromLogit(none).Value != 0 {
		t.Error("what is not estimable must stay so")
	}
}

// nanAsGap marks an effect that must not exist.
const nanAsGap = -999

func TestMantelHaenszelEdges(t *testing.T) {
	for name, f := range map[string]func([]TwoByTwo, float64) (MantelHaenszelResult, error){
		"odds": MantelHaenszelOddsRatio, "risk": MantelHaenszelRiskRatio,
	} {
		for what, tables := range map[string][]TwoByTwo{
			"nothing": nil, "empty": {{}}, "never against": {{3, 0, 0, 4}, {2, 0, 0, 1}}, "never for": {{0, 3, 4, 0}},
			"one row": {{3, 4, 0, 0}},
		} {
			res, err := f(tables, 0.95)
			checkSane(t, name, res.Ratio, 0, math.Inf(1))
			if err != nil || res.Ratio.Estimable() || res.LogRatio != 0 || res.SE != 0 || math.IsNaN(res.ChiSquare) {
				t.Errorf("%s of %s: %+v, %v", name, what, res, err)
			}
		}
		if _, err := f([]TwoByTwo{{FN: -1}}, 0.95); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
		if _, err := f(nil, 0); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
	}
	// One table: the plain odds ratio and Woolf's standard error.
	res, err := MantelHaenszelOddsRatio([]TwoByTwo{{12, 5, 7, 20}, {}}, 0.95)
	if err != nil || res.Strata != 1 || math.Abs(res.Ratio.Value-12.0*20/35) > 1e-12 ||
		math.Abs(res.SE-math.Sqrt(1.0/12+1.0/5+1.0/7+1.0/20)) > 1e-12 {
		t.Errorf("%+v, %v", res, err)
	}
	// Its test: 12 expected 17 * 19 / 44, hypergeometric variance with n - 1.
	d := 12 - 17*19.0/44
	if want := d * d / (17 * 27 * 19 * 25 / (44 * 44 * 43.0)); !res.TestKnown || math.Abs(res.ChiSquare-want) > 1e-9 ||
		math.Abs(res.P-distuv.ChiSquared{K: 1}.Survival(want)) > 1e-12 {
		t.Errorf("chi-square %v, p %v, want %v", res.ChiSquare, res.P, want)
	}
}

func TestBinomialNormalEdges(t *testing.T) {
	for name, lines := range map[string][]GroupCount{
		"nothing": nil, "one line": {{3, 9}, {0, 0}}, "no success": {{0, 9}, {0, 4}}, "no failure": {{9, 9}, {4, 4}},
	} {
		b, err := PoolBinomialNormal(lines, 0.95)
		if err != nil || b.SE != 0 || b.Tau2 != 0 {
			t.Errorf("%s: %+v, %v", name, b, err)
		}
		for _, e := range []Estimate{b.Logit, b.Proportion, b.Prediction} {
			checkSane(t, name, e, 0, 1)
			if e.Estimable() {
				t.Errorf("%s: %+v", name, e)
			}
		}
	}
	// Lines that differ less than chance: the binomial answer.
	b, err := PoolBinomialNormal([]GroupCount{{10, 20}, {11, 20}, {9, 20}}, 0.95)
	if err != nil || b.Tau2 != 0 || math.Abs(b.Proportion.Value-0.5) > 1e-9 || math.Abs(b.SE-math.Sqrt(1/(60*0.25))) > 1e-5 {
		t.Errorf("%+v, %v", b, err)
	}
	if _, err := PoolBinomialNormal([]GroupCount{{3, 2}}, 0.95); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
	if _, err := PoolBinomialNormal(nil, 1); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

func TestBivariateEdges(t *testing.T) {
	four := []TwoByTwo{{9, 3, 1, 20}, {7, 4, 2, 15}, {20, 9, 3, 40}, {5, 1, 1, 9}}
	both := map[string]func([]TwoByTwo, float64) (Bivariate, error){"normal": PoolBivariate, "binomial": PoolBivariateBinomial}
	for name, f := range both {
		for _, few := range [][]TwoByTwo{nil, four, append([]TwoByTwo{{TP: 3}}, four...)} {
			b, err := f(few, 0.95)
			if err != nil || b.Sensitivity.Estimable() || b.Specificity.Estimable() || b.SESens != 0 {
				t.Errorf("%s of %d lines: %+v, %v", name, len(few), b, err)
			}
		}
		if _, err := f([]TwoByTwo{{TP: -1}}, 0.95); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
		if _, err := f(nil, 1); !errors.Is(err, ErrArgument) {
			t.Error(err)
		}
	}
	// Lines that differ less than chance: an answer, with what it rests on.
	for name, f := range both {
		alike := []TwoByTwo{{40, 20, 10, 80}, {41, 19, 9, 81}, {39, 21, 11, 79}, {40, 20, 10, 80}, {41, 20, 9, 80}, {40, 19, 10, 81}}
		b, err := f(alike, 0.95)
		if err != nil || math.Abs(b.Sensitivity.Value-241.0/300) > 0.01 || math.Abs(b.Specificity.Value-481.0/600) > 0.01 || len(b.Warnings) == 0 {
			t.Errorf("%s of lines alike: %+v, %v", name, b, err)
		}
		if want := math.Sqrt(1.0/241 + 1.0/59); math.Abs(b.SESens-want) > 0.03*want {
			t.Errorf("%s of lines alike: SE %v, binomial %v", name, b.SESens, want)
		}
	}
	perfect := make([]TwoByTwo, 6)
	for i := range perfect {
		perfect[i] = TwoByTwo{TP: 10, FP: int64(i + 1), TN: 30}
	}
	if b, err := PoolBivariateBinomial(perfect, 0.95); err != nil || !strings.Contains(b.Sensitivity.NotEstimable, "empty in every line") {
		t.Errorf("nobody missed anywhere: %+v, %v", b, err)
	}
}

func TestDeeksEdges(t *testing.T) {
	same := []TwoByTwo{{9, 1, 1, 9}, {8, 2, 2, 8}, {7, 3, 3, 7}}
	for name, tables := range map[string][]TwoByTwo{
		"two lines": {{9, 1, 1, 9}, {8, 2, 2, 80}, {TP: 3}}, "one size": same, "nothing": nil,
	} {
		if d, err := Deeks(tables); err != nil || d.NotEstimable == "" || d.T != 0 {
			t.Errorf("%s: %+v, %v", name, d, err)
		}
	}
	if _, err := Deeks([]TwoByTwo{{TN: -1}}); !errors.Is(err, ErrArgument) {
		t.Error(err)
	}
}

// TestPoolProperties: order, shifting and scaling of effects, and REML against a
// search of its likelihood.
func TestPoolProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(37, 38))
	for range 200 {
		effects := make([]Effect, 2+r.IntN(10))
		sd := r.Float64() * 1.5
		for i := range effects {
			v := 0.02 + r.Float64()
			effects[i] = Effect{Value: 1 + r.NormFloat64()*math.Sqrt(v+sd*sd), Variance: v}
		}
		shuffled := append([]Effect(nil), effects...)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		moved := append([]Effect(nil), effects...)
		for i := range moved {
			moved[i].Value = 3*moved[i].Value - 5
			moved[i].Variance *= 9
		}
		for name, f := range map[string]pooler{"fixed": PoolFixed, "DL": PoolDerSimonianLaird, "REML": PoolREML} {
			p, s, m := mustPool(t, f, effects), mustPool(t, f, shuffled), mustPool(t, f, moved)
			for _, e := range []Estimate{p.Summary, p.KnappHartung, p.Prediction, p.PredictionPlain} {
				checkSane(t, name, e, math.Inf(-1), math.Inf(1))
			}
			if math.Abs(p.Summary.Value-s.Summary.Value) > 1e-7 || math.Abs(p.Tau2-s.Tau2) > 1e-6 {
				t.Errorf("%s of %v: order matters: %v %v and %v %v", name, effects, p.Summary.Value, p.Tau2, s.Summary.Value, s.Tau2)
			}
			if math.Abs(m.Summary.Value-(3*p.Summary.Value-5)) > 1e-6 || math.Abs(m.Tau2-9*p.Tau2) > 1e-5 || math.Abs(m.I2-p.I2) > 1e-6 {
				t.Errorf("%s of %v: scale matters: %+v and %+v", name, effects, p, m)
			}
			if p.I2 < 0 || p.I2 >= 1 || p.QP < 0 || p.QP > 1 {
				t.Errorf("%s: %+v", name, p)
			}
		}
		set, _, _ := startPool(effects, 0.95, MethodPoolREML)
		tau2 := set.restrictedTau2()
		for x := 0.0; x < 12; x += 0.01 {
			if set.restrictedLogLik(x) > set.restrictedLogLik(tau2)+1e-9 {
				t.Errorf("%v: REML at %v is beaten at %v", effects, tau2, x)
				break
			}
		}
	}
}

// TestPoolCoverage draws twelve lines of unlike size whose sensitivities differ.
func TestPoolCoverage(t *testing.T) {
	draws := 1500
	if testing.Short() {
		draws = 300
	}
	r := rand.New(rand.NewPCG(39, 40))
	held := map[string]int{}
	const mu, tau = 1.2, 0.5
	for range draws {
		lines := make([]GroupCount, 12)
		for i := range lines {
			p := logistic(mu + tau*r.NormFloat64())
			lines[i].Trials = int64(40 + 30*i)
			for range lines[i].Trials {
				if r.Float64() < p {
					lines[i].Successes++
				}
			}
		}
		effects, _ := LogitEffects(lines, HalfWhereEmpty)
		p, err := PoolREML(effects, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		next := mu + tau*r.NormFloat64()
		count(held, "Knapp-Hartung", p.KnappHartung, mu)
		count(held, "prediction", p.Prediction, next)
		count(held, "common effect", mustPool(t, PoolFixed, effects).Summary, mu)
	}
	for name, want := range map[string][2]float64{"Knapp-Hartung": {0.93, 0.97}, "prediction": {0.92, 0.98}, "common effect": {0, 0.75}} {
		coverage := float64(held[name]) / float64(draws)
		t.Logf("%s: %.3f", name, coverage)
		if coverage < want[0] || coverage > want[1] {
			t.Errorf("%s: coverage %.3f, want %v", name, coverage, want)
		}
	}
}

func count(held map[string]int, name string, e Estimate, truth float64) {
	if e.Estimable() && e.Low <= truth && truth <= e.High {
		held[name]++
	}
}

// TestBinomialNormalCoverage draws lines that often miss nobody.
func TestBinomialNormalCoverage(t *testing.T) {
	draws := 160
	if testing.Short() {
		draws = 30
	}
	src := rand.NewPCG(41, 42)
	r := rand.New(src)
	held := map[string]int{}
	const mu, tau = 2.5, 0.8
	for range draws {
		lines := make([]GroupCount, 30)
		for i := range lines {
			p := logistic(mu + tau*r.NormFloat64())
			n := int64(20 + i)
			lines[i] = GroupCount{int64(distuv.Binomial{N: float64(n), P: p, Src: src}.Rand()), n}
		}
		b, err := PoolBinomialNormal(lines, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		count(held, "binomial-normal", b.Logit, mu)
		effects, _ := LogitEffects(lines, HalfEverywhere)
		p, _ := PoolREML(effects, 0.95)
		count(held, "half a call", p.Summary, mu)
	}
	coverage := float64(held["binomial-normal"]) / float64(draws)
	t.Logf("binomial-normal %.3f, half a call added %.3f", coverage, float64(held["half a call"])/float64(draws))
	if coverage < 0.90 || coverage > 0.99 {
		t.Errorf("coverage %.3f, want 0.90 to 0.99", coverage)
	}
}

// TestMantelHaenszelCoverage draws thirty thin tables with one odds ratio.
func TestMantelHaenszelCoverage(t *testing.T) {
	draws := 2000
	if testing.Short() {
		draws = 400
	}
	r := rand.New(rand.NewPCG(47, 48))
	held := map[string]int{}
	for range draws {
		tables := make([]TwoByTwo, 30)
		for i := range tables {
			base := -1.5 + 0.1*float64(i)
			for range 6 {
				if r.Float64() < logistic(base+math.Log(3)) {
					tables[i].TP++
				} else {
					tables[i].FP++
				}
				if r.Float64() < logistic(base) {
					tables[i].FN++
				} else {
					tables[i].TN++
				}
			}
		}
		m, err := MantelHaenszelOddsRatio(tables, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		count(held, "odds ratio", m.Ratio, 3)
	}
	coverage := float64(held["odds ratio"]) / float64(draws)
	t.Logf("coverage %.3f", coverage)
	coverageNear95(t, t.Name(), coverage)
}

// TestBivariateCoverage draws lines that trade sensitivity for specificity.
func TestBivariateCoverage(t *testing.T) {
	draws := 150
	if testing.Short() {
		draws = 30
	}
	src := rand.NewPCG(49, 50)
	r := rand.New(src)
	const muSens, muSpec, sd, rho = 1.6, 1.2, 0.6, -0.5
	held := map[string]int{}
	settled := 0
	for range draws {
		tables := make([]TwoByTwo, 25)
		for i := range tables {
			a, b := r.NormFloat64(), r.NormFloat64()
			sens := logistic(muSens + sd*a)
			spec := logistic(muSpec + sd*(rho*a+math.Sqrt(1-rho*rho)*b))
			n := float64(30 + 2*i)
			tp := int64(distuv.Binomial{N: n, P: sens, Src: src}.Rand())
			tn := int64(distuv.Binomial{N: 2 * n, P: spec, Src: src}.Rand())
			tables[i] = TwoByTwo{TP: tp, FN: int64(n) - tp, TN: tn, FP: int64(2*n) - tn}
		}
		b, err := PoolBivariateBinomial(tables, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if b.Sensitivity.Estimable() {
			settled++
		}
		count(held, "sensitivity", b.Sensitivity, logistic(muSens))
		count(held, "specificity", b.Specificity, logistic(muSpec))
	}
	for name, n := range held {
		coverage := float64(n) / float64(settled)
		t.Logf("%s: %.3f of %d", name, coverage, settled)
		if coverage < 0.89 || coverage > 0.99 {
			t.Errorf("%s: coverage %.3f, want 0.89 to 0.99", name, coverage)
		}
	}
	if 10*settled < 9*draws {
		t.Errorf("only %d of %d fits settled", settled, draws)
	}
}
