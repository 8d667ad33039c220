package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func mustEstimate(t *testing.T) func(Estimate, error) Estimate {
	return func(e Estimate, err error) Estimate {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
}

func TestNetBenefitAgainstOutsideValues(t *testing.T) {
	for _, c := range readChecks(t, "net_benefit") {
		if !c.has("nb_all") {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			must := mustEstimate(t)
			var in struct {
				Threshold         float64
				Model, Famhistory TwoByTwo
			}
			c.input(t, &in)
			c.near(t, "nb_all", must(NetBenefitAll(in.Model, in.Threshold, 0.95)).Value)
			c.near(t, "nb_famhistory", must(NetBenefit(in.Famhistory, in.Threshold, 0.95)).Value)
			c.near(t, "nb_none", must(NetBenefit(TwoByTwo{FN: in.Model.TP + in.Model.FN, TN: in.Model.FP + in.Model.TN}, in.Threshold, 0.95)).Value)
			if c.has("nb_model") {
				c.near(t, "n", float64(in.Model.Total()))
				c.near(t, "tp", float64(in.Model.TP))
				c.near(t, "fp", float64(in.Model.FP))
				c.near(t, "nb_model", must(NetBenefit(in.Model, in.Threshold, 0.95)).Value)
				c.near(t, "standardized_nb", must(StandardisedNetBenefit(in.Model, in.Threshold, 0.95)).Value)
				c.near(t, "net_reduction_per_100", 100*must(AvoidedReferrals(in.Model, in.Threshold, 0.95)).Value)
			}
			c.allRead(t)
		})
	}
}

func TestNetBenefitFormulaCases(t *testing.T) {
	c := checkByID(t, "net_benefit", "nb-04")
	var in struct {
		TP, FP, N []int64
		Threshold []float64
	}
	c.input(t, &in)
	got := make([]float64, len(in.TP))
	for i := range in.TP {
		e := mustEstimate(t)(NetBenefit(TwoByTwo{TP: in.TP[i], FP: in.FP[i], TN: in.N[i] - in.TP[i] - in.FP[i]}, in.Threshold[i], 0.95))
		got[i] = e.Value
		if e.High-e.Low <= 0 {
			t.Errorf("case %d: no width: %+v", i, e)
		}
	}
	c.nearAll(t, "nb", got)
	c.allRead(t)
}

func TestTwoRuleSetsNetBenefit(t *testing.T) {
	c := checkByID(t, "net_benefit", "nb-03")
	var in struct {
		Thresholds []float64
	}
	c.input(t, &in)
	pair := rulePairInput(t, checkByID(t, "paired", "pc-07"))
	curve, err := DecisionCurve([]TwoByTwo{pair.First(), pair.Second()}, in.Thresholds, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	var first, second, diff []float64
	for i, p := range curve {
		first, second = append(first, p.RuleSets[0].Value), append(second, p.RuleSets[1].Value)
		d := mustEstimate(t)(NetBenefitDifference(pair, in.Thresholds[i], 0.95))
		diff = append(diff, d.Value)
		if p.Threshold != in.Thresholds[i] || !p.All.Estimable() {
			t.Errorf("point %d: %+v", i, p)
		}
	}
	c.nearAll(t, "nb_rule1", first)
	c.nearAll(t, "nb_rule2", second)
	c.nearAll(t, "difference", diff)
	even := mustEstimate(t)(BreakEven(pair, 0.95))
	c.near(t, "break_even_threshold", even.Value)
	c.allRead(t)
	if !(even.Low < even.Value && even.Value < even.High) {
		t.Fatalf("break-even without width: %+v", even)
	}
	// At the limits of the break-even the difference is just not clear.
	for _, pt := range []float64{even.Low, even.High} {
		d := mustEstimate(t)(NetBenefitDifference(pair, pt, 0.95))
		if math.Min(math.Abs(d.Low), math.Abs(d.High)) > 1e-9 {
			t.Errorf("at %v the difference is %v to %v", pt, d.Low, d.High)
		}
	}
}

func TestNetBenefitProperties(t *testing.T) {
	must := mustEstimate(t)
	r := rand.New(rand.NewPCG(50, 51))
	for trial := range 500 {
		pair := RulePair{Needed: randomPairs(r), NotNeeded: randomPairs(r)}
		pt := r.Float64() * 0.95
		w := pt / (1 - pt)
		first, second := must(NetBenefit(pair.First(), pt, 0.95)), must(NetBenefit(pair.Second(), pt, 0.95))
		diff, back := must(NetBenefitDifference(pair, pt, 0.95)), must(NetBenefitDifference(pair.Swap(), pt, 0.95))
		checkSane(t, "first", first, -w, 1)
		checkSane(t, "difference", diff, -1-w, 1+w)
		checkSane(t, "all", must(NetBenefitAll(pair.First(), pt, 0.95)), -w, 1)
		if !first.Estimable() {
			continue
		}
		if math.Abs(first.Value-second.Value-diff.Value) > 1e-12 || math.Abs(diff.Low+back.High) > 1e-9 {
			t.Fatalf("trial %d: %v - %v against %+v, back %+v", trial, first.Value, second.Value, diff, back)
		}
		if !(diff.Low < diff.High) || !(first.Low < first.High) {
			t.Fatalf("trial %d: no width: %+v, %+v of %+v", trial, diff, first, pair)
		}
		even := must(BreakEven(pair, 0.95))
		checkSane(t, "break-even", even, 0, 1)
		if even.Estimable() && even.Value < 1 {
			if d := must(NetBenefitDifference(pair, even.Value, 0.95)); math.Abs(d.Value) > 1e-9 {
				t.Fatalf("trial %d: at the break-even the difference is %v", trial, d.Value)
			}
		}
	}
}

// Referring everybody is the rule set without a miss: its limits must be those that the share
// in need alone gives, which holds only if the two cells are taken as one multinomial.
func TestNetBenefitOfReferringAll(t *testing.T) {
	must := mustEstimate(t)
	for _, x := range []TwoByTwo{{TP: 14, FP: 86}, {TP: 1, FP: 30}, {TP: 20}, {FP: 7}} {
		for _, pt := range []float64{0, 0.1, 0.5, 0.9} {
			a, b := must(NetBenefit(x, pt, 0.95)), must(NetBenefitAll(x, pt, 0.95))
			if math.Abs(a.Value-b.Value) > 1e-12 || math.Abs(a.Low-b.Low) > 1e-9 || math.Abs(a.High-b.High) > 1e-9 {
				t.Errorf("%+v at %v: %+v, by the share in need %+v", x, pt, a, b)
			}
		}
	}
}

func TestBreakEvenOfADominatedRuleSet(t *testing.T) {
	better := RulePair{Needed: PairedCounts{FirstOnly: 5, SecondOnly: 1}, NotNeeded: PairedCounts{FirstOnly: 1, SecondOnly: 6}}
	if e := mustEstimate(t)(BreakEven(better, 0.95)); e.Estimable() || !strings.Contains(e.NotEstimable, "first rule set") {
		t.Errorf("first is ahead: %+v", e)
	}
	if e := mustEstimate(t)(BreakEven(better.Swap(), 0.95)); e.Estimable() || !strings.Contains(e.NotEstimable, "second rule set") {
		t.Errorf("second is ahead: %+v", e)
	}
	if e := mustEstimate(t)(BreakEven(RulePair{}, 0.95)); e.Estimable() {
		t.Errorf("nothing to compare: %+v", e)
	}
}

func TestNetBenefitBadArguments(t *testing.T) {
	good := TwoByTwo{TP: 1, FP: 1, FN: 1, TN: 1}
	for name, f := range map[string]func() error{
		"pt 1":          func() error { _, err := NetBenefit(good, 1, 0.95); return err },
		"pt nan":        func() error { _, err := NetBenefitAll(good, math.NaN(), 0.95); return err },
		"negative":      func() error { _, err := NetBenefit(TwoByTwo{TP: -1}, 0.1, 0.95); return err },
		"conf":          func() error { _, err := StandardisedNetBenefit(good, 0.1, 2); return err },
		"avoided at 0":  func() error { _, err := AvoidedReferrals(good, 0, 0.95); return err },
		"no rule sets":  func() error { _, err := DecisionCurve(nil, []float64{0.1}, 0.95); return err },
		"no thresholds": func() error { _, err := DecisionCurve([]TwoByTwo{good}, nil, 0.95); return err },
		"other episodes": func() error {
			_, err := DecisionCurve([]TwoByTwo{good, {TP: 2, FP: 1, TN: 1, FN: 1}}, []float64{0.1}, 0.95)
			return err
		},
		"pair, negative": func() error {
			_, err := NetBenefitDifference(RulePair{Needed: PairedCounts{Both: -1}}, 0.1, 0.95)
			return err
		},
		"break-even conf": func() error { _, err := BreakEven(RulePair{}, 0); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
	if e := mustEstimate(t)(NetBenefit(TwoByTwo{}, 0.2, 0.95)); e.Estimable() {
		t.Errorf("no episode: %+v", e)
	}
	if e := mustEstimate(t)(StandardisedNetBenefit(TwoByTwo{TN: 5}, 0.2, 0.95)); e.Estimable() {
		t.Errorf("nobody in need: %+v", e)
	}
}
