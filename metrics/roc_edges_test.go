package metrics

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
)

// Every answer of this family on thin data: no error, no figure, a reason in words.
func TestThinDataOfAreasAndThresholds(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	thin := map[string]struct {
		counts []ValueCount
		d      Direction
		reason string
	}{
		"nobody in need":   {[]ValueCount{{Value: 1, NotNeeded: 4}, {Value: 2, NotNeeded: 1}}, HighIsBad, "needed prompt care"},
		"everybody":        {[]ValueCount{{Value: 1, Needed: 4}}, LowIsBad, "needed prompt care"},
		"nothing recorded": {nil, HighIsBad, "no verified episode"},
	}
	for name, x := range thin {
		m, err := MannWhitney(x.counts, x.d)
		if err != nil || m.Estimable() || !strings.Contains(m.NotEstimable, x.reason) {
			t.Errorf("%s: Mann-Whitney %+v, %v", name, m, err)
		}
		p, err := PartialAUC(x.counts, x.d, OverSpecificity, 0.9, 1, 200, 0.95, rng)
		if err != nil || p.Raw.Estimable() || p.Standardised.Estimable() || !strings.Contains(p.Raw.NotEstimable, x.reason) {
			t.Errorf("%s: partial area %+v, %v", name, p, err)
		}
		u, err := CompareAreasUnpaired(x.counts, x.d, []ValueCount{{Value: 1, Needed: 3, NotNeeded: 2}, {Value: 0, NotNeeded: 4}}, HighIsBad, 0.95)
		if err != nil || u.Difference.Estimable() || u.Test.Estimable() || u.WelchTest.Estimable() || !strings.HasPrefix(u.Difference.NotEstimable, "first area") {
			t.Errorf("%s: unpaired %+v, %v", name, u, err)
		}
		b, err := BootstrapThreshold(x.counts, x.d, ByYouden(), 200, 0, 0.95, rng)
		if err != nil || b.Estimable() || b.Area.Estimable() || b.Upper.Estimable() || b.Score.Corrected.Estimable() {
			t.Errorf("%s: bootstrap %+v, %v", name, b, err)
		}
		joint := make([]JointCount, len(x.counts))
		for i, c := range x.counts {
			joint[i] = JointCount{First: c.Value, Second: c.Value, Needed: c.Needed, NotNeeded: c.NotNeeded}
		}
		q, err := CompareAreasPaired(joint, x.d, HighIsBad, 0.95)
		if err != nil || q.Difference.Estimable() || q.Test.Estimable() {
			t.Errorf("%s: paired %+v, %v", name, q, err)
		}
	}
	same, err := MannWhitney([]ValueCount{{Value: 7, Needed: 3, NotNeeded: 9}}, HighIsBad)
	if err != nil || same.Estimable() {
		t.Errorf("one single value: %+v, %v", same, err)
	}
	ends, err := PartialAUC([]ValueCount{{Value: 7, Needed: 3, NotNeeded: 9}}, BothEndsAreBad, OverSpecificity, 0, 1, 200, 0.95, rng)
	if err != nil || ends.Raw.Estimable() {
		t.Errorf("part of both ends: %+v, %v", ends, err)
	}
	single, err := CompareAreasUnpaired([]ValueCount{{Value: 7, Needed: 1, NotNeeded: 9}}, HighIsBad, []ValueCount{{Value: 7, Needed: 3, NotNeeded: 9}}, HighIsBad, 0.95)
	if err != nil || single.Difference.Estimable() || !strings.Contains(single.Difference.NotEstimable, "two animals") {
		t.Errorf("one animal in need: %+v, %v", single, err)
	}
}

// A floor that the data only just carry: many resamples cannot, and say so.
func TestBootstrapOfAFloorHardlyReached(t *testing.T) {
	floor := mustCriterion(t)(BySensitivityFloor(0.9, AtLowerLimit, 0.95))
	// 40 of 40 have a lower limit of 0.912, 34 of 34 one of 0.898.
	counts := []ValueCount{{Value: 1, NotNeeded: 60}, {Value: 2, Needed: 40, NotNeeded: 20}}
	b, err := BootstrapThreshold(counts, HighIsBad, floor, 400, 0, 0.95, rand.New(rand.NewPCG(2, 2)))
	if err != nil {
		t.Fatal(err)
	}
	if !b.Estimable() || b.Unmet < 10 || b.Unmet > 200 {
		t.Errorf("%d of 400 resamples without a threshold", b.Unmet)
	}
}

func TestLimitsChosenByOnlySomeDraws(t *testing.T) {
	c := chosenLimits{times: map[Threshold]int{}}
	both := Threshold{Lower: 36, Upper: 40, HasLower: true, HasUpper: true}
	for range 30 {
		c.note(both)
		c.note(Threshold{Upper: 39, HasUpper: true})
	}
	lower, upper := c.estimates(both, 0.95, MethodPercentileBootstrap)
	if len(lower.Warnings) != 1 || !strings.Contains(lower.Warnings[0], "30 of 60") || len(upper.Warnings) != 0 || upper.Low != 39 {
		t.Errorf("lower %+v, upper %+v", lower, upper)
	}
	none := chosenLimits{}
	if lower, _ := none.estimates(both, 0.95, MethodPercentileBootstrap); lower.Estimable() {
		t.Errorf("limits of no draw: %+v", lower)
	}
	empty := pairedDraws{}
	if o := empty.optimism(0.4, 0, 1, 0.95); o.Corrected.Estimable() || o.Apparent != 0.4 {
		t.Errorf("optimism of no draw: %+v", o)
	}
}

func TestReferralsOfOverlappingLimits(t *testing.T) {
	assessed := []ValueTotal{{Value: 1, Episodes: 10}, {Value: 2, Episodes: 20}, {Value: 3, Episodes: 30}}
	for _, x := range []struct {
		th   Threshold
		want float64
	}{
		{Threshold{Lower: 3, Upper: 1, HasLower: true, HasUpper: true}, 60},
		{Threshold{Lower: 1, Upper: 3, HasLower: true, HasUpper: true}, 40},
		{Threshold{Lower: 1.5, HasLower: true}, 10},
		{Threshold{Upper: 1.5, HasUpper: true}, 50},
	} {
		got := mustEstimate(t)(ReferralsPerDay(x.th, 1, assessed, 0.95))
		slow := 0.0
		for _, a := range assessed {
			if x.th.Positive(a.Value) {
				slow += float64(a.Episodes)
			}
		}
		if got.Value != x.want || slow != x.want {
			t.Errorf("%v: %v a day, want %v (slow %v)", x.th, got.Value, x.want, slow)
		}
	}
	if _, err := ReferralsPerDay(Threshold{}, 1, assessed, 0); !errors.Is(err, ErrArgument) {
		t.Errorf("error %v, want ErrArgument", err)
	}
}

func TestWordsOfDirectionsAndCriteria(t *testing.T) {
	for d, want := range map[Direction]string{HighIsBad: "high is bad", LowIsBad: "low is bad", BothEndsAreBad: "both ends are bad", 0: "no direction stated"} {
		if d.String() != want {
			t.Errorf("direction %d: %q", d, d)
		}
	}
	floor := mustCriterion(t)(BySensitivityFloor(0.95, AtLowerLimit, 0.9))
	if got := floor.String(); got != "sensitivity at least 0.95 (lower limit at 90 % confidence)" {
		t.Errorf("criterion reads %q", got)
	}
}

// Bad arguments that the earlier tables leave out.
func TestAreaComparisonBadArguments(t *testing.T) {
	good, bad := []ValueCount{{Value: 1, Needed: 1, NotNeeded: 1}}, []ValueCount{{Value: 1, Needed: -1}}
	for name, f := range map[string]func() error{
		"paired": func() error {
			_, err := CompareAreasPaired([]JointCount{{Needed: -1}}, HighIsBad, HighIsBad, 0.95)
			return err
		},
		"paired direction": func() error { _, err := CompareAreasPaired(nil, HighIsBad, 0, 0.95); return err },
		"unpaired second":  func() error { _, err := CompareAreasUnpaired(good, HighIsBad, bad, HighIsBad, 0.95); return err },
		"unpaired conf":    func() error { _, err := CompareAreasUnpaired(good, HighIsBad, good, HighIsBad, 1); return err },
		"Mann-Whitney":     func() error { _, err := MannWhitney(bad, HighIsBad); return err },
		"distance":         func() error { _, err := DistanceFromRange(bad, 1, 2); return err },
		"partial": func() error {
			_, err := PartialAUC(bad, HighIsBad, OverSpecificity, 0, 1, 200, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"partial conf": func() error {
			_, err := PartialAUC(good, HighIsBad, OverSpecificity, 0, 1, 200, 0, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"partial draws": func() error { _, err := PartialAUC(good, HighIsBad, OverSpecificity, 0, 1, 10, 0.95, nil); return err },
		"bootstrap": func() error {
			_, err := BootstrapThreshold(bad, HighIsBad, ByYouden(), 200, 0, 0.95, rand.New(rand.NewPCG(1, 1)))
			return err
		},
		"candidates conf":   func() error { _, err := CandidateTable(good, HighIsBad, 0); return err },
		"accuracy conf":     func() error { _, err := AccuracyAt(good, Threshold{}, 1); return err },
		"non-inferior":      func() error { _, err := PairedNonInferiority(PairedCounts{Both: -1}, 0.1, 0.025); return err },
		"Bonett-Price conf": func() error { _, err := PairedRatioBonettPrice(PairedCounts{}, 0); return err },
		"rules conf":        func() error { _, err := CompareRules(RulePair{}, 0); return err },
		"npv":               func() error { _, err := CompareNPV(RulePair{NotNeeded: PairedCounts{Neither: -1}}, 0.95); return err },
		"reclassified conf": func() error { _, err := NetReclassification(Reclassified{}, Reclassified{}, 0); return err },
		"avoided":           func() error { _, err := AvoidedReferrals(TwoByTwo{FN: -1}, 0.1, 0.95); return err },
		"difference pt":     func() error { _, err := NetBenefitDifference(RulePair{}, 1, 0.95); return err },
		"difference conf":   func() error { _, err := NetBenefitDifference(RulePair{}, 0.1, 0); return err },
		"break-even":        func() error { _, err := BreakEven(RulePair{NotNeeded: PairedCounts{Both: -1}}, 0.95); return err },
		"curve pt":          func() error { _, err := DecisionCurve([]TwoByTwo{{}}, []float64{1}, 0.95); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
}
