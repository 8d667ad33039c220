package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// pairedInput reads one fourfold table of pairs.
func pairedInput(t *testing.T, c *checkCase) PairedCounts {
	t.Helper()
	var in struct {
		Both    int64 `json:"both_yes"`
		First   int64 `json:"first_only"`
		Second  int64 `json:"second_only"`
		Neither int64 `json:"neither"`
	}
	c.input(t, &in)
	return PairedCounts{Both: in.Both, FirstOnly: in.First, SecondOnly: in.Second, Neither: in.Neither}
}

// rulePairInput reads the two tables of a rule pair.
func rulePairInput(t *testing.T, c *checkCase) RulePair {
	t.Helper()
	type four struct {
		Both       int64
		FirstOnly  int64 `json:"rule1_only"`
		SecondOnly int64 `json:"rule2_only"`
		Neither    int64
	}
	var in struct {
		Present four `json:"outcome_present"`
		Absent  four `json:"outcome_absent"`
	}
	c.input(t, &in)
	return RulePair{Needed: PairedCounts(in.Present), NotNeeded: PairedCounts(in.Absent)}
}

func randomPairs(r *rand.Rand) PairedCounts {
	n := func() int64 { return int64(r.IntN(1 + r.IntN(12))) }
	return PairedCounts{Both: n(), FirstOnly: n(), SecondOnly: n(), Neither: n()}
}

// comparePairs holds differences and the McNemar family to the keys under prefix.
func comparePairs(t *testing.T, c *checkCase, prefix string, p PairedCounts) {
	t.Helper()
	newcombe, err := PairedDifferenceNewcombe(p, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	tango, err := PairedDifferenceTango(p, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	n := float64(p.N())
	c.near(t, prefix+"n", n)
	c.near(t, prefix+"p1", float64(p.Both+p.FirstOnly)/n)
	c.near(t, prefix+"p2", float64(p.Both+p.SecondOnly)/n)
	c.estimate(t, prefix+"diff", prefix+"newcombe_method10", newcombe)
	c.estimate(t, prefix+"diff", prefix+"tango", tango)
	if !c.has(prefix + "mcnemar.p_mid") {
		return
	}
	for key, f := range map[string]func(PairedCounts) (TestResult, error){
		"p": McNemar, "p_cc": McNemarCorrected, "p_exact": McNemarExact, "p_mid": McNemarMidP,
	} {
		r, err := f(p)
		if err != nil {
			t.Fatal(err)
		}
		key = prefix + "mcnemar." + key
		statistic := strings.Replace(key, "mcnemar.p", "mcnemar.chisq", 1)
		if c.raw(t, key) == nil {
			if r.Estimable() || c.raw(t, statistic) != nil {
				t.Errorf("%s: %s is %+v, want not estimable", c.ID, key, r)
			}
			continue
		}
		c.near(t, key, r.P)
		if c.has(statistic) {
			c.near(t, statistic, r.Statistic)
		}
	}
}

func TestPairedProportionsAgainstOutsideValues(t *testing.T) {
	for _, c := range readChecks(t, "paired") {
		if !c.has("tango.lower") {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			comparePairs(t, c, "", pairedInput(t, c))
			c.allRead(t)
		})
	}
}

func TestRuleComparisonAgainstOutsideValues(t *testing.T) {
	for _, id := range []string{"pc-07", "co-pair"} {
		c := checkByID(t, "paired", id)
		t.Run(id, func(t *testing.T) {
			pair := rulePairInput(t, c)
			comparePairs(t, c, "sens.", pair.Needed)
			comparePairs(t, c, "spec.", pair.NotNeeded.Complement())
			got, err := CompareRules(pair, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			c.near(t, "sens.p1", got.FirstSensitivity.Value)
			c.near(t, "sens.p2", got.SecondSensitivity.Value)
			c.near(t, "spec.p1", got.FirstSpecificity.Value)
			c.near(t, "spec.p2", got.SecondSpecificity.Value)
			c.estimate(t, "sens.diff", "sens.tango", got.SensitivityDifference)
			c.estimate(t, "spec.diff", "spec.tango", got.SpecificityDifference)
			c.near(t, "sens.mcnemar.p_mid", got.SensitivityTest.P)
			c.near(t, "spec.mcnemar.p_mid", got.SpecificityTest.P)
			for key, e := range map[string]Estimate{
				"relative_tpf": got.RelativeSensitivity, "relative_fpf": got.RelativeFalsePositive,
				"relative_lr_pos": got.RelativeLRPositive, "relative_lr_neg": got.RelativeLRNegative,
			} {
				c.estimate(t, key+".est", key+".ci", e)
				c.near(t, key+".se_log", math.Log(e.High/e.Low)/2/twoSidedZ(0.95))
			}
			if c.has("n_used") {
				c.near(t, "n_used", float64(pair.N()))
			}
			comparePredictiveKeys(t, c, "ppv", pair, ComparePPV)
			comparePredictiveKeys(t, c, "npv", pair, CompareNPV)
			c.allRead(t)
		})
	}
}

func comparePredictiveKeys(t *testing.T, c *checkCase, key string, pair RulePair, f func(RulePair, float64) (PredictiveComparison, error)) {
	t.Helper()
	got, err := f(pair, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, key+".rule1", got.First.Value)
	c.near(t, key+".rule2", got.Second.Value)
	c.near(t, key+".diff", got.Difference.Value)
	c.near(t, key+".gs_chisq", got.Score.Statistic)
	c.near(t, key+".gs_p", got.Score.P)
	c.near(t, key+".wgs_chisq", got.WeightedScore.Statistic)
	c.near(t, key+".wgs_p", got.WeightedScore.P)
	c.estimate(t, key+".ratio", key+".ratio_ci", got.Ratio)
	se := math.Log(got.Ratio.High/got.Ratio.Low) / 2 / twoSidedZ(0.95)
	c.near(t, key+".ratio_se_log", se)
	c.near(t, key+".ratio_p", normalTwoSidedP(math.Log(got.Ratio.Value)/se))
}

func TestPairedRatioBonettPrice(t *testing.T) {
	c := checkByID(t, "paired", "bonett-price-ratio")
	got, err := PairedRatioBonettPrice(pairedInput(t, c), 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.estimate(t, "ratio", "ratio_ci", got)
	c.allRead(t)
	same, err := PairedRatio(PairedCounts{Both: 30, Neither: 12}, 0.95)
	if err != nil || same.Value != 1 || same.Low > 0.95 || same.High < 1.05 || len(same.Warnings) == 0 {
		t.Errorf("no discordant pair: %+v, %v", same, err)
	}
	zero, err := PairedRatio(PairedCounts{SecondOnly: 8, Neither: 12}, 0.95)
	if err != nil || zero.Value != 0 || zero.Low != 0 || zero.High <= 0 {
		t.Errorf("first never says yes: %+v, %v", zero, err)
	}
	none, err := PairedRatio(PairedCounts{FirstOnly: 8, Neither: 12}, 0.95)
	if err != nil || none.Estimable() {
		t.Errorf("second never says yes: %+v, %v", none, err)
	}
}

func TestNetReclassificationAgainstOutsideValues(t *testing.T) {
	c := checkByID(t, "paired", "pc-08")
	var in struct{ Events, Nonevents Reclassified }
	c.input(t, &in)
	got, err := NetReclassification(in.Events, in.Nonevents, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "event_nri", got.Needed.Value)
	c.near(t, "nonevent_nri", got.NotNeeded.Value)
	c.estimate(t, "nri", "ci_multinomial", got.Sum)
	c.near(t, "se_multinomial", (got.Sum.High-got.Sum.Low)/2/twoSidedZ(0.95))
	c.near(t, "z_pencina", got.SumTest.Statistic)
	c.near(t, "se_null_pencina", got.Sum.Value/got.SumTest.Statistic)
	c.near(t, "p_pencina", got.SumTest.P)
	c.allRead(t)
	still, err := NetReclassification(Reclassified{N: 10}, Reclassified{N: 10}, 0.95)
	if err != nil || still.Sum.Estimable() || !still.Needed.Estimable() || still.Needed.High <= 0 {
		t.Errorf("nothing moved: %+v, %v", still, err)
	}
	empty, err := NetReclassification(Reclassified{}, Reclassified{N: 10, Up: 1}, 0.95)
	if err != nil || empty.Needed.Estimable() || empty.Sum.Estimable() {
		t.Errorf("nobody in need: %+v, %v", empty, err)
	}
}

// Tango's interval excludes 0 exactly when the uncorrected McNemar test rejects.
func TestTangoAgreesWithMcNemar(t *testing.T) {
	r := rand.New(rand.NewPCG(40, 41))
	for trial := range 1000 {
		p := randomPairs(r)
		if p.FirstOnly+p.SecondOnly == 0 {
			continue
		}
		e, err := PairedDifferenceTango(p, 0.9)
		if err != nil {
			t.Fatal(err)
		}
		m, _ := McNemar(p)
		if excludes := e.Low > 0 || e.High < 0; excludes != (m.P < 0.1) && math.Abs(m.P-0.1) > 1e-9 {
			t.Fatalf("trial %d, %+v: limits %v to %v, P %v", trial, p, e.Low, e.High, m.P)
		}
	}
}

// The exact tests against a slow sum over all outcomes at least as unlikely.
func TestMcNemarExactEqualsSlowSum(t *testing.T) {
	for n := int64(1); n <= 40; n++ {
		pmf := make([]float64, n+1)
		pmf[0] = math.Pow(0.5, float64(n))
		for k := int64(1); k <= n; k++ {
			pmf[k] = pmf[k-1] * float64(n-k+1) / float64(k)
		}
		for b := int64(0); b <= n; b++ {
			exact, mid := 0.0, 0.0
			for k := int64(0); k <= n; k++ {
				switch {
				case math.Abs(float64(2*k-n)) > math.Abs(float64(2*b-n)): // less likely
					exact += pmf[k]
					mid += pmf[k]
				case k == b || k == n-b: // as likely as the observed one
					exact += pmf[k]
					mid += pmf[k] / 2
				}
			}
			p := PairedCounts{FirstOnly: b, SecondOnly: n - b, Both: 3}
			e, _ := McNemarExact(p)
			m, _ := McNemarMidP(p)
			if math.Abs(e.P-exact) > 1e-12 || math.Abs(m.P-mid) > 1e-12 {
				t.Fatalf("%d of %d: exact %v (want %v), mid-p %v (want %v)", b, n, e.P, exact, m.P, mid)
			}
		}
	}
}

func TestPairedProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(42, 43))
	methods := map[string]func(PairedCounts, float64) (Estimate, error){
		"Newcombe": PairedDifferenceNewcombe, "Tango": PairedDifferenceTango,
	}
	for trial := range 1000 {
		p := randomPairs(r)
		for name, f := range methods {
			e, err := f(p, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, name, e, -1, 1)
			swap, _ := f(p.Swap(), 0.95)
			flip, _ := f(p.Complement(), 0.95)
			for what, o := range map[string]Estimate{"swap": swap, "complement": flip} {
				if math.Abs(e.Value+o.Value) > 1e-12 || math.Abs(e.Low+o.High) > 1e-9 || math.Abs(e.High+o.Low) > 1e-9 {
					t.Fatalf("trial %d, %s, %s: %+v against %+v of %+v", trial, name, what, e, o, p)
				}
			}
			more, _ := f(PairedCounts{9 * p.Both, 9 * p.FirstOnly, 9 * p.SecondOnly, 9 * p.Neither}, 0.95)
			if more.High-more.Low > e.High-e.Low+1e-12 {
				t.Fatalf("trial %d, %s: nine times the pairs widened %+v", trial, name, p)
			}
			if e.Estimable() && !(e.Low < e.High) {
				t.Fatalf("trial %d, %s: no width: %+v of %+v", trial, name, e, p)
			}
		}
		for name, f := range map[string]func(PairedCounts, float64) (Estimate, error){"ratio": PairedRatio, "Bonett-Price": PairedRatioBonettPrice} {
			e, err := f(p, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			checkSane(t, name, e, 0, math.Inf(1))
			// Where one share is 0, one of the two ratios does not exist.
			if o, _ := f(p.Swap(), 0.95); e.Estimable() && o.Estimable() && e.Value > 0 && math.Abs(e.Low*o.High-1) > 1e-9 {
				t.Fatalf("trial %d, %s: %+v against %+v", trial, name, e, o)
			}
		}
		pair := RulePair{Needed: p, NotNeeded: randomPairs(r)}
		c, err := CompareRules(pair, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for name, e := range map[string]Estimate{"rel spec": c.RelativeSpecificity, "lr+": c.RelativeLRPositive, "lr-": c.RelativeLRNegative} {
			checkSane(t, name, e, 0, math.Inf(1))
		}
		for _, f := range []func(RulePair, float64) (PredictiveComparison, error){ComparePPV, CompareNPV} {
			v, err := f(pair, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			back, _ := f(pair.Swap(), 0.95)
			checkSane(t, "predictive difference", v.Difference, -1, 1)
			checkSane(t, "predictive ratio", v.Ratio, 0, math.Inf(1))
			for _, x := range [][2]TestResult{{v.WeightedScore, back.WeightedScore}, {v.Score, back.Score}} {
				if x[0].Estimable() != x[1].Estimable() || math.Abs(x[0].Statistic-x[1].Statistic) > 1e-9*(1+x[0].Statistic) || math.IsNaN(x[0].P) {
					t.Fatalf("trial %d: %+v against %+v of %+v", trial, x[0], x[1], pair)
				}
			}
		}
	}
}

// With no animal marked by both, the weighted score is the pooled test of two
// independent proportions.
func TestWeightedScoreOfSeparateGroups(t *testing.T) {
	pair := RulePair{Needed: PairedCounts{FirstOnly: 30, SecondOnly: 20, Neither: 5}, NotNeeded: PairedCounts{FirstOnly: 10, SecondOnly: 25, Neither: 7}}
	got, err := ComparePPV(pair, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	p1, p2, p := 30.0/40, 20.0/45, 50.0/85
	want := (p1 - p2) * (p1 - p2) / (p * (1 - p) * (1.0/40 + 1.0/45))
	if math.Abs(got.WeightedScore.Statistic-want) > 1e-12 {
		t.Errorf("chi-square %v, want %v", got.WeightedScore.Statistic, want)
	}
}

func TestPairedNonInferiority(t *testing.T) {
	r := rand.New(rand.NewPCG(44, 45))
	for trial := range 1000 {
		p := randomPairs(r)
		got, err := PairedNonInferiority(p, 0.2, 0.025)
		if err != nil {
			t.Fatal(err)
		}
		if !got.Difference.Estimable() {
			if got.Shown || got.Test.Estimable() {
				t.Fatalf("trial %d: shown without data: %+v", trial, got)
			}
			continue
		}
		if limit := got.Difference.Low > -0.2; limit != got.Shown && math.Abs(got.Test.P-0.025) > 1e-9 {
			t.Fatalf("trial %d, %+v: lower limit %v, P %v", trial, p, got.Difference.Low, got.Test.P)
		}
	}
	// No loss seen in 60 pairs excludes 10 %, in 6 pairs it does not.
	many, _ := PairedNonInferiority(PairedCounts{Both: 55, Neither: 5}, 0.1, 0.025)
	few, _ := PairedNonInferiority(PairedCounts{Both: 5, Neither: 1}, 0.1, 0.025)
	if !many.Shown || few.Shown {
		t.Errorf("60 pairs: %+v; 6 pairs: %+v", many, few)
	}
}

func TestPairedBadArgumentsAndThinData(t *testing.T) {
	bad := PairedCounts{FirstOnly: -1}
	for name, f := range map[string]func() error{
		"McNemar":    func() error { _, err := McNemar(bad); return err },
		"corrected":  func() error { _, err := McNemarCorrected(bad); return err },
		"exact":      func() error { _, err := McNemarExact(bad); return err },
		"mid-p":      func() error { _, err := McNemarMidP(bad); return err },
		"Newcombe":   func() error { _, err := PairedDifferenceNewcombe(bad, 0.95); return err },
		"Tango conf": func() error { _, err := PairedDifferenceTango(PairedCounts{}, 1); return err },
		"ratio":      func() error { _, err := PairedRatio(bad, 0.95); return err },
		"rules":      func() error { _, err := CompareRules(RulePair{NotNeeded: bad}, 0.95); return err },
		"ppv":        func() error { _, err := ComparePPV(RulePair{Needed: bad}, 0.95); return err },
		"npv conf":   func() error { _, err := CompareNPV(RulePair{}, 0); return err },
		"margin 0":   func() error { _, err := PairedNonInferiority(PairedCounts{}, 0, 0.025); return err },
		"level 0.5":  func() error { _, err := PairedNonInferiority(PairedCounts{}, 0.1, 0.5); return err },
		"moved too many": func() error {
			_, err := NetReclassification(Reclassified{N: 3, Up: 2, Down: 2}, Reclassified{}, 0.95)
			return err
		},
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
	c, err := CompareRules(RulePair{}, 0.95)
	if err != nil || c.SensitivityDifference.Estimable() || c.RelativeSensitivity.Estimable() || c.RelativeLRPositive.Estimable() {
		t.Errorf("no episode: %+v, %v", c, err)
	}
	p, err := ComparePPV(RulePair{Needed: PairedCounts{FirstOnly: 3}}, 0.95)
	if err != nil || p.Difference.Estimable() || p.WeightedScore.Estimable() || !strings.Contains(p.Ratio.NotEstimable, "second") {
		t.Errorf("second marks nobody: %+v, %v", p, err)
	}
}
