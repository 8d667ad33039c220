package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

func mustCriterion(t *testing.T) func(Criterion, error) Criterion {
	return func(c Criterion, err error) Criterion {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
}

func mustChoose(t *testing.T, counts []ValueCount, d Direction, by Criterion, within float64) Choice {
	t.Helper()
	c, err := ChooseThreshold(counts, d, by, within, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// halfway is the midpoint between the chosen observed value and the next one below it,
// which is how the outside program states its thresholds.
func halfway(counts []ValueCount, upper float64) float64 {
	below := math.Inf(-1)
	for _, c := range counts {
		if c.Value < upper && c.Value > below {
			below = c.Value
		}
	}
	return (below + upper) / 2
}

func TestYoudenAgainstOutsideValues(t *testing.T) {
	c := checkByID(t, "roc", "roc-07")
	var in map[string][][3]float64
	c.input(t, &in)
	for name, rows := range in {
		counts := valueCounts(rows)
		got := mustChoose(t, counts, HighIsBad, ByYouden(), 0)
		c.near(t, name+".threshold", halfway(counts, got.Threshold.Upper))
		c.near(t, name+".sens", got.Sensitivity.Value)
		c.near(t, name+".spec", got.Specificity.Value)
	}
	c.allRead(t)
}

func TestCostThresholdsAgainstOutsideValues(t *testing.T) {
	c := checkByID(t, "roc", "roc-08")
	var in struct {
		Settings struct{ Cost, Prev []float64 }
	}
	c.input(t, &in)
	counts := rocCounts(t, c)
	keys := []string{"cost1_prev50", "cost5_prev20", "cost20_prev05", "cost1_prev05"}
	for i, key := range keys {
		by := mustCriterion(t)(ByCostRatioAt(in.Settings.Cost[i], in.Settings.Prev[i]))
		got := mustChoose(t, counts, HighIsBad, by, 0)
		c.near(t, key+".threshold", halfway(counts, got.Threshold.Upper))
		c.near(t, key+".sens", got.Sensitivity.Value)
		c.near(t, key+".spec", got.Specificity.Value)
	}
	c.allRead(t)
}

func TestRatesAtFixedRates(t *testing.T) {
	c := checkByID(t, "roc", "roc-09")
	counts := rocCounts(t, c)
	bySpec := mustChoose(t, counts, HighIsBad, mustCriterion(t)(BySpecificityFloor(0.9, AtEstimate, 0.95)), 0)
	c.near(t, "sens_at_spec_090_best_attainable", bySpec.Sensitivity.Value)
	bySens := mustChoose(t, counts, HighIsBad, mustCriterion(t)(BySensitivityFloor(0.9, AtEstimate, 0.95)), 0)
	c.near(t, "spec_at_sens_090_best_attainable", bySens.Specificity.Value)
	c.skip("a rate read off the line between two points belongs to no usable threshold", "sens_at_spec_090_interp", "spec_at_sens_090_interp")
	c.allRead(t)
}

func TestThresholdChoicesOnDepressionScores(t *testing.T) {
	c := checkByID(t, "roc", "roc-10")
	counts := rocCounts(t, c)
	youden := mustChoose(t, counts, HighIsBad, ByYouden(), 0)
	c.near(t, "youden_cutpoint", youden.Threshold.Upper)
	c.near(t, "youden", youden.Score)
	c.near(t, "youden_sens", youden.Sensitivity.Value)
	c.near(t, "youden_spec", youden.Specificity.Value)
	row, err := AccuracyAt(counts, youden.Threshold, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "youden_accuracy", float64(row.Table.TP+row.Table.TN)/float64(row.Table.Total()))
	cost := mustChoose(t, counts, HighIsBad, mustCriterion(t)(ByCostRatio(10)), 0)
	c.near(t, "cost_fn10_fp1_cutpoint", cost.Threshold.Upper)
	c.near(t, "cost_fn10_fp1", cost.Score)
	c.near(t, "cost_sens", cost.Sensitivity.Value)
	c.near(t, "cost_spec", cost.Specificity.Value)
	spec := mustChoose(t, counts, HighIsBad, mustCriterion(t)(BySpecificityFloor(0.9, AtEstimate, 0.95)), 0)
	c.near(t, "max_sens_with_spec_090_cutpoint", spec.Threshold.Upper)
	c.near(t, "max_sens_with_spec_090", spec.Sensitivity.Value)
}

func TestThresholdChoicesOnColic(t *testing.T) {
	for _, c := range readChecks(t, "roc") {
		if !c.has("youden_thresholds") {
			continue
		}
		t.Run(c.ID, func(t *testing.T) {
			counts := rocCounts(t, c)
			youden := mustChoose(t, counts, HighIsBad, ByYouden(), 0)
			c.near(t, "youden_max", youden.Score)
			uppers := make([]float64, 0, len(youden.Plateau))
			for i := len(youden.Plateau) - 1; i >= 0; i-- {
				uppers = append(uppers, youden.Plateau[i].Upper)
			}
			c.nearAll(t, "youden_thresholds", uppers)
			c.nearAll(t, "youden_sens", []float64{youden.Sensitivity.Value})
			c.nearAll(t, "youden_spec", []float64{youden.Specificity.Value})
			floor := mustChoose(t, counts, HighIsBad, mustCriterion(t)(BySensitivityFloor(0.9, AtEstimate, 0.95)), 0)
			c.near(t, "its_spec", floor.Specificity.Value)
			// Of thresholds with one specificity the file names the highest; ours is the
			// most sensitive, and the plateau lists them all.
			highest := floor.Plateau[0]
			c.near(t, "highest_threshold_with_sens_090", highest.Upper)
			row, err := AccuracyAt(counts, highest, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			c.near(t, "its_sens", row.Sensitivity.Value)
			if floor.Sensitivity.Value < row.Sensitivity.Value {
				t.Errorf("chosen %v is less sensitive than %v at one specificity", floor.Threshold, highest)
			}
			cost := mustChoose(t, counts, HighIsBad, mustCriterion(t)(ByCostRatio(10)), 0)
			c.near(t, "cost_fn10_fp1_min", cost.Score)
			c.nearAll(t, "cost_thresholds", []float64{cost.Threshold.Upper})
			c.skip("compared in the test of the area", "n_pos", "n_neg", "auc", "delong")
			c.allRead(t)
			if strings.HasSuffix(c.ID, "dead-pulse") && len(cost.Warnings) == 0 {
				t.Error("refer-everybody came without a warning")
			}
		})
	}
}

// Two ends at once: animals in need are cold or hot. By hand: <= 36 or >= 40 marks 9 of
// 10 in need and 1 of 20 others, and neither end alone marks more than 5 in need without
// taking 16 others along.
func TestBothEndedChoiceByHand(t *testing.T) {
	counts := []ValueCount{
		{Value: 35, Needed: 3}, {Value: 36, Needed: 2, NotNeeded: 1}, {Value: 38, Needed: 1, NotNeeded: 15},
		{Value: 39, NotNeeded: 4}, {Value: 40, Needed: 3}, {Value: 41, Needed: 1},
	}
	got := mustChoose(t, counts, BothEndsAreBad, ByYouden(), 0)
	want := Threshold{Lower: 36, Upper: 40, HasLower: true, HasUpper: true}
	if got.Threshold != want || math.Abs(got.Score-(0.9-0.05)) > 1e-12 {
		t.Errorf("chosen %v with %v, want %v with 0.85", got.Threshold, got.Score, want)
	}
	if got.AtThreshold.Numerator != 6 || got.AtThreshold.Denominator != 30 {
		t.Errorf("on a limit: %v of %v, want 6 of 30", got.AtThreshold.Numerator, got.AtThreshold.Denominator)
	}
	// Next best is <= 35 or >= 40: 7 of 10 in need and no other, 0.7.
	if near := mustChoose(t, counts, BothEndsAreBad, ByYouden(), 0.14); len(near.Plateau) != 1 {
		t.Errorf("plateau within 0.14: %v", near.Plateau)
	}
	if near := mustChoose(t, counts, BothEndsAreBad, ByYouden(), 0.16); len(near.Plateau) != 2 {
		t.Errorf("plateau within 0.16: %v", near.Plateau)
	}
}

// The best point of the fast scan must be the best of a slow search over every rule.
func TestChoiceEqualsSlowSearch(t *testing.T) {
	r := rand.New(rand.NewPCG(12, 13))
	cost := mustCriterion(t)(ByCostRatio(3))
	nb := mustCriterion(t)(ByNetBenefit(0.25))
	slow := map[string]func(sens, spec, tp, fp, fn, n float64) float64{
		"Youden": func(sens, spec, _, _, _, _ float64) float64 { return sens + spec - 1 },
		"cost":   func(_, _, _, fp, fn, _ float64) float64 { return -(3*fn + fp) },
		"net":    func(_, _, tp, fp, _, n float64) float64 { return tp/n - fp/n/3 },
	}
	for trial := range 200 {
		counts := randomValueCounts(r)
		for _, d := range []Direction{HighIsBad, LowIsBad, BothEndsAreBad} {
			rules := []Threshold{{}}
			for _, a := range counts {
				if d != LowIsBad {
					rules = append(rules, Threshold{Upper: a.Value, HasUpper: true})
				}
				if d != HighIsBad {
					rules = append(rules, Threshold{Lower: a.Value, HasLower: true})
				}
				for _, b := range counts {
					if d == BothEndsAreBad {
						rules = append(rules, Threshold{Lower: a.Value, Upper: b.Value, HasLower: true, HasUpper: true})
					}
				}
			}
			for name, by := range map[string]Criterion{"Youden": ByYouden(), "cost": cost, "net": nb} {
				got := mustChoose(t, counts, d, by, 0)
				if !got.Estimable() {
					continue
				}
				best := math.Inf(-1)
				for _, th := range rules {
					row, _ := AccuracyAt(counts, th, 0.95)
					x := row.Table
					s := slow[name](row.Sensitivity.Value, row.Specificity.Value, float64(x.TP), float64(x.FP), float64(x.FN), float64(x.Total()))
					best = math.Max(best, s)
				}
				score := got.Score
				if name == "cost" {
					score = -score
				}
				if math.Abs(score-best) > 1e-9 {
					t.Fatalf("trial %d, %v, %s: chosen %v with %v, slow search finds %v in %v", trial, d, name, got.Threshold, score, best, counts)
				}
				checkSane(t, "sensitivity", got.Sensitivity, 0, 1)
				checkSane(t, "at threshold", got.AtThreshold, 0, 1)
			}
		}
	}
}

func TestChoiceTiesGoToTheAnimal(t *testing.T) {
	// Both 5 and 3 have index 0.5; 3 marks more animals in need.
	counts := []ValueCount{{Value: 1, NotNeeded: 2}, {Value: 3, Needed: 2, NotNeeded: 2}, {Value: 5, Needed: 2}}
	got := mustChoose(t, counts, HighIsBad, ByYouden(), 0)
	if got.Threshold.Upper != 3 || len(got.Plateau) != 2 {
		t.Errorf("chosen %v of %v, want >= 3 of two", got.Threshold, got.Plateau)
	}
	turned := mustChoose(t, []ValueCount{{Value: -1, NotNeeded: 2}, {Value: -3, Needed: 2, NotNeeded: 2}, {Value: -5, Needed: 2}}, LowIsBad, ByYouden(), 0)
	if turned.Threshold.Lower != -3 || turned.Score != got.Score {
		t.Errorf("turned round: %v with %v", turned.Threshold, turned.Score)
	}
}

func TestSensitivityFloorIsJudgedAtItsLowerLimit(t *testing.T) {
	// 48 of 50 in need at 20 and above: estimate 0.96, lower limit 0.865.
	counts := []ValueCount{{Value: 10, Needed: 2, NotNeeded: 60}, {Value: 20, Needed: 48, NotNeeded: 40}}
	strict := mustCriterion(t)(BySensitivityFloor(0.9, AtLowerLimit, 0.95))
	if got := mustChoose(t, counts, HighIsBad, strict, 0); got.Threshold.Upper != 10 {
		t.Errorf("judged at the lower limit: %v, want >= 10", got.Threshold)
	}
	loose := mustCriterion(t)(BySensitivityFloor(0.9, AtEstimate, 0.95))
	if got := mustChoose(t, counts, HighIsBad, loose, 0); got.Threshold.Upper != 20 {
		t.Errorf("judged at the estimate: %v, want >= 20", got.Threshold)
	}
	// Twelve of twelve have a lower limit of 0.757: the data cannot carry 0.9.
	few := mustChoose(t, []ValueCount{{Value: 10, Needed: 12}, {Value: 5, NotNeeded: 30}}, HighIsBad, strict, 0)
	if few.Estimable() || !strings.Contains(few.NotEstimable, "lower limit") {
		t.Errorf("twelve animals carried a floor of 0.9: %+v", few)
	}
}

func TestReferralCeilingCountsAllCalls(t *testing.T) {
	verified := []ValueCount{{Value: 20, Needed: 1, NotNeeded: 8}, {Value: 30, Needed: 3, NotNeeded: 2}, {Value: 40, Needed: 4, NotNeeded: 1}}
	assessed := []ValueTotal{{Value: 40, Episodes: 100}, {Value: 20, Episodes: 500}, {Value: 30, Episodes: 200}}
	by := mustCriterion(t)(ByReferralCeiling(3, 100, assessed))
	got := mustChoose(t, verified, HighIsBad, by, 0)
	if got.Threshold.Upper != 30 {
		t.Errorf("chosen %v, want >= 30 (3 a day)", got.Threshold)
	}
	load, err := ReferralsPerDay(got.Threshold, 100, assessed, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if load.Value != 3 || load.Numerator != 300 {
		t.Errorf("load %+v, want 3 a day", load)
	}
	// Recomputed: R 4.2.2 poisson.test(300).
	if math.Abs(load.Low*100-267.009275233) > 1e-6 || math.Abs(load.High*100-335.941125553) > 1e-6 {
		t.Errorf("limits %v to %v", load.Low*100, load.High*100)
	}
	tight := mustCriterion(t)(ByReferralCeiling(0.5, 100, assessed))
	if got := mustChoose(t, verified, HighIsBad, tight, 0); got.Threshold.HasUpper || len(got.Warnings) == 0 {
		t.Errorf("half a referral a day: %v, want nobody and a warning", got.Threshold)
	}
	none, err := ReferralsPerDay(Threshold{}, 100, assessed, 0.95)
	if err != nil || none.Value != 0 || none.Low != 0 || math.Abs(none.High*100-3.688879) > 1e-5 {
		t.Errorf("nobody: %+v, %v; upper limit of no event is -log 0.025", none, err)
	}
}

func TestCriteriaRefuseBadArguments(t *testing.T) {
	bad := map[string]func() error{
		"cost 0":             func() error { _, err := ByCostRatio(0); return err },
		"cost infinite":      func() error { _, err := ByCostRatio(math.Inf(1)); return err },
		"prevalence 1":       func() error { _, err := ByCostRatioAt(2, 1); return err },
		"cost nan":           func() error { _, err := ByCostRatioAt(math.NaN(), 0.5); return err },
		"pt 1":               func() error { _, err := ByNetBenefit(1); return err },
		"pt below 0":         func() error { _, err := ByNetBenefit(-0.1); return err },
		"floor 0":            func() error { _, err := BySensitivityFloor(0, AtEstimate, 0.95); return err },
		"floor above 1":      func() error { _, err := BySpecificityFloor(1.1, AtEstimate, 0.95); return err },
		"floor nan":          func() error { _, err := BySpecificityFloor(math.NaN(), AtEstimate, 0.95); return err },
		"judged by nothing":  func() error { _, err := BySensitivityFloor(0.9, 0, 0.95); return err },
		"floor, bad conf":    func() error { _, err := BySensitivityFloor(0.9, AtLowerLimit, 1); return err },
		"negative ceiling":   func() error { _, err := ByReferralCeiling(-1, 10, nil); return err },
		"no days":            func() error { _, err := ByReferralCeiling(1, 0, nil); return err },
		"negative episodes":  func() error { _, err := ByReferralCeiling(1, 1, []ValueTotal{{1, -1}}); return err },
		"value not a number": func() error { _, err := ByReferralCeiling(1, 1, []ValueTotal{{math.NaN(), 1}}); return err },
		"empty criterion":    func() error { _, err := ChooseThreshold(nil, HighIsBad, Criterion{}, 0, 0.95); return err },
		"plateau below 0":    func() error { _, err := ChooseThreshold(nil, HighIsBad, ByYouden(), -1, 0.95); return err },
		"range upside down":  func() error { _, err := DistanceFromRange(nil, 2, 1); return err },
		"too few draws": func() error {
			_, err := BootstrapThreshold(nil, HighIsBad, ByYouden(), 199, 0, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"no random source": func() error { _, err := BootstrapThreshold(nil, HighIsBad, ByYouden(), 200, 0, 0.95, nil); return err },
		"partial, no axis": func() error {
			_, err := PartialAUC(nil, HighIsBad, 0, 0, 1, 200, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"partial, no width": func() error {
			_, err := PartialAUC(nil, HighIsBad, OverSensitivity, 0.5, 0.5, 200, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"partial, outside": func() error {
			_, err := PartialAUC(nil, HighIsBad, OverSensitivity, 0.5, 1.5, 200, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"referrals, no days":  func() error { _, err := ReferralsPerDay(Threshold{}, math.NaN(), nil, 0.95); return err },
		"accuracy, bad count": func() error { _, err := AccuracyAt([]ValueCount{{Needed: -1}}, Threshold{}, 0.95); return err },
	}
	for name, f := range bad {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
}

func TestCandidateTableAddsUp(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 15))
	for trial := range 200 {
		counts := randomValueCounts(r)
		for _, d := range []Direction{HighIsBad, LowIsBad, BothEndsAreBad} {
			rows, err := CandidateTable(counts, d, 0.95)
			if err != nil {
				t.Fatal(err)
			}
			for _, row := range rows {
				again, err := AccuracyAt(counts, row.Threshold, 0.95)
				if err != nil || again.Table != row.Table {
					t.Fatalf("trial %d, %v, %v: table %+v, counted again %+v (%v)", trial, d, row.Threshold, row.Table, again.Table, err)
				}
				for name, e := range map[string]Estimate{"sens": row.Sensitivity, "spec": row.Specificity, "ppv": row.PPV, "npv": row.NPV, "marked": row.Marked} {
					checkSane(t, name, e, 0, 1)
				}
			}
		}
	}
}

// The one-pass search for a pair of limits against the visit to every pair, ties included.
func TestBestPairEqualsVisitToEveryPair(t *testing.T) {
	r := rand.New(rand.NewPCG(16, 17))
	criteria := []Criterion{ByYouden(), mustCriterion(t)(ByCostRatio(4)), mustCriterion(t)(ByCostRatioAt(2, 0.3)), mustCriterion(t)(ByNetBenefit(0.5))}
	for trial := range 2000 {
		tab, err := tabulateValues(randomValueCounts(r))
		if err != nil {
			t.Fatal(err)
		}
		if tab.emptySideWhy != "" {
			continue
		}
		for _, by := range criteria {
			fast, m, found := tab.best(BothEndsAreBad, by)
			by.linear = false
			slow, want, _ := tab.best(BothEndsAreBad, by)
			if !found || math.Abs(m-want) > 1e-9 || fast.TP != slow.TP || fast.FP != slow.FP {
				t.Fatalf("trial %d, %v: one pass finds %+v with %v, every pair %+v with %v", trial, by, fast, m, slow, want)
			}
			if at := tab.at(fast.Threshold); at.TP != fast.TP || at.FP != fast.FP {
				t.Fatalf("trial %d, %v: %+v holds other counts than its threshold marks: %+v", trial, by, fast, at)
			}
		}
	}
}
