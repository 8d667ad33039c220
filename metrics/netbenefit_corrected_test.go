package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// By hand on published figures: net benefit = sensitivity x prevalence - (1 - specificity) x
// (1 - prevalence) x odds.
func TestCorrectedDecisionCurveAgainstPublishedTables(t *testing.T) {
	pts := []float64{0, 0.1, 0.4}
	for _, id := range []string{"vb-01", "vb-02", "vb-03"} {
		c := checkByID(t, "verification_bias", id)
		strata := publishedStrata(t, c)
		got, err := CorrectedDecisionCurve(strata, pts, correctionOptions(1, 400))
		if err != nil {
			t.Fatal(err)
		}
		sens, spec, prev := c.number(t, "corrected.sens.est"), c.number(t, "corrected.spec.est"), c.number(t, "corrected.prevalence")
		for i, pt := range pts {
			w := pt / (1 - pt)
			if want := sens*prev - (1-spec)*(1-prev)*w; math.Abs(got[i].RuleSet.Value-want) > 1e-9 {
				t.Errorf("%s at %v: %v, want %v", id, pt, got[i].RuleSet.Value, want)
			}
			if want := prev - (1-prev)*w; math.Abs(got[i].All.Value-want) > 1e-9 {
				t.Errorf("%s at %v: referring all %v, want %v", id, pt, got[i].All.Value, want)
			}
			checkSane(t, "rule set", got[i].RuleSet, -w, 1)
		}
		// The same rule set against one that marks everybody.
		var pairs []PairVerificationStratum
		for _, s := range strata {
			pairs = append(pairs, PairVerificationStratum{Name: s.Name, Both: s.Present, SecondOnly: s.Absent})
		}
		worth, err := CompareWorthPartial(pairs, pts, correctionOptions(1, 400))
		if err != nil {
			t.Fatal(err)
		}
		for i := range pts {
			x := worth[i]
			if math.Abs(x.First.Value-got[i].RuleSet.Value) > 1e-9 || math.Abs(x.Second.Value-got[i].All.Value) > 1e-9 ||
				math.Abs(x.Difference.Value-(x.First.Value-x.Second.Value)) > 1e-12 || math.Abs(x.All.Value-x.Second.Value) > 1e-12 {
				t.Errorf("%s at %v: %+v against %+v", id, pts[i], x, got[i])
			}
		}
	}
}

func TestCompareWorthPartialAllVerifiedIsNaive(t *testing.T) {
	r := rand.New(rand.NewPCG(76, 77))
	for trial := range 60 {
		strata := randomPairStrata(r)
		for i := range strata {
			s := &strata[i]
			s.Both.Unverified, s.FirstOnly.Unverified, s.SecondOnly.Unverified, s.Neither.Unverified = 0, 0, 0, 0
		}
		got, err := CompareWorthPartial(strata, []float64{0.2}, correctionOptions(1, 200))
		if err != nil {
			t.Fatal(err)
		}
		c, err := CompareRulesPartial(strata, correctionOptions(1, 200))
		if err != nil {
			t.Fatal(err)
		}
		want := mustEstimate(t)(NetBenefitDifference(c.Verified, 0.2, 0.95))
		if got[0].Difference.Estimable() != want.Estimable() || math.Abs(got[0].Difference.Value-want.Value) > 1e-12 {
			t.Fatalf("trial %d: %+v, naive %+v", trial, got[0].Difference, want)
		}
		checkSane(t, "difference", got[0].Difference, -1.25, 1.25)
	}
}

func TestCorrectedWorthNotFollowedUp(t *testing.T) {
	unseen := VerificationCell{FoundNeeded: 2, Unverified: 77}
	seen := VerificationCell{SampledNeeded: 4, SampledNotNeeded: 9, Unverified: 3}
	one, err := CorrectedDecisionCurve([]VerificationStratum{{Name: "home", Present: seen, Absent: unseen}}, []float64{0.1}, correctionOptions(1, 200))
	if err != nil || one[0].RuleSet.Estimable() || !strings.Contains(one[0].All.NotEstimable, "77") {
		t.Errorf("%+v, %v", one, err)
	}
	two, err := CompareWorthPartial([]PairVerificationStratum{{Name: "home", Both: seen, FirstOnly: seen, SecondOnly: seen, Neither: unseen}}, []float64{0.1}, correctionOptions(1, 200))
	if err != nil || two[0].First.Estimable() || !two[0].Difference.Estimable() {
		t.Errorf("only the difference can be had: %+v, %v", two, err)
	}
	none, err := CorrectedDecisionCurve([]VerificationStratum{{}}, []float64{0.1}, correctionOptions(1, 200))
	if err != nil || none[0].RuleSet.Estimable() {
		t.Errorf("no episodes: %+v, %v", none, err)
	}
	nobody, err := CompareWorthPartial([]PairVerificationStratum{{}}, []float64{0.1}, correctionOptions(1, 200))
	if err != nil || nobody[0].Difference.Estimable() {
		t.Errorf("no episodes: %+v, %v", nobody, err)
	}
	good := correctionOptions(1, 200)
	for name, f := range map[string]func() error{
		"no strata": func() error { _, err := CorrectedDecisionCurve(nil, []float64{0.1}, good); return err },
		"pt 1": func() error {
			_, err := CorrectedDecisionCurve([]VerificationStratum{{}}, []float64{1}, good)
			return err
		},
		"options": func() error {
			_, err := CorrectedDecisionCurve([]VerificationStratum{{}}, []float64{0}, CorrectionOptions{})
			return err
		},
		"no threshold": func() error { _, err := CompareWorthPartial([]PairVerificationStratum{{}}, nil, good); return err },
		"pair pt": func() error {
			_, err := CompareWorthPartial([]PairVerificationStratum{{}}, []float64{-1}, good)
			return err
		},
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
}
