package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

// Against a second rule set that marks everybody, the first one's figures are those of the
// published tables for one test, and the ratio of sensitivities is its sensitivity.
func TestCompareRulesPartialAgainstPublishedTables(t *testing.T) {
	for _, id := range []string{"vb-01", "vb-02", "vb-03", "vb-04"} {
		c := checkByID(t, "verification_bias", id)
		prefix := "corrected."
		if id == "vb-04" {
			prefix = ""
		}
		var strata []PairVerificationStratum
		for _, s := range publishedStrata(t, c) {
			strata = append(strata, PairVerificationStratum{Name: s.Name, Both: s.Present, SecondOnly: s.Absent})
		}
		got, err := CompareRulesPartial(strata, correctionOptions(1, 400))
		if err != nil {
			t.Fatal(err)
		}
		c.near(t, prefix+"sens.est", got.FirstSensitivity.Value)
		c.near(t, prefix+"spec.est", got.FirstSpecificity.Value)
		c.near(t, prefix+"sens.est", got.RelativeSensitivity.Value)
		c.near(t, prefix+"sens.est", 1+got.SensitivityDifference.Value)
		if got.SecondSensitivity.Value != 1 || got.SecondSpecificity.Value != 0 || got.RelativeSpecificity.Estimable() {
			t.Errorf("%s: the second marks everybody: %+v, %+v, %+v", id, got.SecondSensitivity, got.SecondSpecificity, got.RelativeSpecificity)
		}
	}
}

func randomPairStrata(r *rand.Rand) []PairVerificationStratum {
	cell := func() VerificationCell {
		c := VerificationCell{FoundNeeded: int64(r.IntN(2)), SampledNeeded: int64(r.IntN(5)), SampledNotNeeded: int64(r.IntN(8)), Unverified: int64(r.IntN(50))}
		if c.Sampled() == 0 && r.IntN(4) > 0 {
			c.SampledNotNeeded = 1
		}
		return c
	}
	out := make([]PairVerificationStratum, 1+r.IntN(3))
	for i := range out {
		out[i] = PairVerificationStratum{Name: string(rune('a' + i)), Both: cell(), FirstOnly: cell(), SecondOnly: cell(), Neither: cell()}
	}
	return out
}

func TestCompareRulesPartialProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(70, 71))
	estimable := 0
	for trial := range 200 {
		strata := randomPairStrata(r)
		got, err := CompareRulesPartial(strata, correctionOptions(uint64(trial), 200))
		if err != nil {
			t.Fatal(err)
		}
		for name, e := range map[string]Estimate{"first sens": got.FirstSensitivity, "second sens": got.SecondSensitivity, "first spec": got.FirstSpecificity, "second spec": got.SecondSpecificity} {
			checkSane(t, name, e, 0, 1)
		}
		checkSane(t, "sens difference", got.SensitivityDifference, -1, 1)
		checkSane(t, "spec difference", got.SpecificityDifference, -1, 1)
		checkSane(t, "ratio", got.RelativeSensitivity, 0, math.Inf(1))
		for name, e := range map[string]Estimate{"gained": got.Gained, "lost": got.Lost, "extra": got.Extra, "spared": got.Spared} {
			checkSane(t, name, e, 0, float64(got.Episodes))
		}
		if !got.SensitivityDifference.Estimable() {
			continue
		}
		estimable++
		if d := got.FirstSensitivity.Value - got.SecondSensitivity.Value; math.Abs(d-got.SensitivityDifference.Value) > 1e-12 {
			t.Fatalf("trial %d: difference %v of %v", trial, got.SensitivityDifference.Value, d)
		}
		// Episodes add up: what only one marks, in need or not, is all that only one marks.
		var firstOnly int64
		for _, s := range strata {
			firstOnly += s.FirstOnly.Total()
		}
		if n := got.Gained.Value + got.Extra.Value; math.Abs(n-float64(firstOnly)) > 1e-9*n {
			t.Fatalf("trial %d: gained and extra are %v of %d", trial, n, firstOnly)
		}
		turned := append([]PairVerificationStratum(nil), strata...)
		r.Shuffle(len(turned), func(i, j int) { turned[i], turned[j] = turned[j], turned[i] })
		again, _ := CompareRulesPartial(turned, correctionOptions(uint64(trial), 200))
		if !reflect.DeepEqual(got.SensitivityDifference, again.SensitivityDifference) {
			t.Fatalf("trial %d: the order of strata matters: %+v, %+v", trial, got.SensitivityDifference, again.SensitivityDifference)
		}
	}
	if estimable < 50 {
		t.Errorf("only %d estimable trials", estimable)
	}
}

func TestCompareRulesPartialAllVerifiedIsNaive(t *testing.T) {
	r := rand.New(rand.NewPCG(72, 73))
	for trial := range 100 {
		strata := randomPairStrata(r)
		for i := range strata {
			s := &strata[i]
			s.Both.Unverified, s.FirstOnly.Unverified, s.SecondOnly.Unverified, s.Neither.Unverified = 0, 0, 0, 0
		}
		got, err := CompareRulesPartial(strata, correctionOptions(1, 200))
		if err != nil {
			t.Fatal(err)
		}
		for name, e := range map[string][2]Estimate{
			"sensitivity": {got.FirstSensitivity, got.Naive.FirstSensitivity}, "specificity": {got.SecondSpecificity, got.Naive.SecondSpecificity},
			"difference": {got.SensitivityDifference, got.Naive.SensitivityDifference}, "ratio": {got.RelativeSpecificity, got.Naive.RelativeSpecificity},
		} {
			if e[0].Estimable() != e[1].Estimable() || math.Abs(e[0].Value-e[1].Value) > 1e-12 {
				t.Fatalf("trial %d: %s %+v, naive %+v", trial, name, e[0], e[1])
			}
		}
		if got.Gained.Low != got.Gained.High || got.Gained.Value != float64(got.Verified.Needed.FirstOnly) {
			t.Fatalf("trial %d: everything is known, gained %+v", trial, got.Gained)
		}
	}
}

// A relaxed rule: its loss sits in calls nobody verified. The naive comparison sees no loss;
// the corrected one does.
func TestCompareRulesPartialFindsTheHiddenLoss(t *testing.T) {
	strata := []PairVerificationStratum{{
		Name: "all", Both: VerificationCell{SampledNeeded: 90, SampledNotNeeded: 110},
		FirstOnly:  VerificationCell{SampledNeeded: 2, SampledNotNeeded: 18, Unverified: 380},
		SecondOnly: VerificationCell{SampledNeeded: 3, SampledNotNeeded: 57},
		Neither:    VerificationCell{SampledNotNeeded: 50, Unverified: 450},
	}}
	got, err := CompareRulesPartial(strata, correctionOptions(5, 2000))
	if err != nil {
		t.Fatal(err)
	}
	if got.Naive.SensitivityDifference.Value >= 0 || got.SensitivityDifference.Value <= 0 {
		t.Errorf("naive %+v, corrected %+v", got.Naive.SensitivityDifference, got.SensitivityDifference)
	}
	if got.Gained.Value != 40 || got.Lost.Value != 3 || got.Lost.High != 3 {
		t.Errorf("gained %+v (want 2 of 20, so 40 of 400), lost %+v (want 3, known)", got.Gained, got.Lost)
	}
}

func TestCompareRulesPartialNotFollowedUp(t *testing.T) {
	strata := []PairVerificationStratum{{Name: "home", Both: VerificationCell{SampledNeeded: 9, SampledNotNeeded: 9},
		FirstOnly: VerificationCell{SampledNeeded: 2, SampledNotNeeded: 8, Unverified: 20}, Neither: VerificationCell{FoundNeeded: 2, Unverified: 77}}}
	got, err := CompareRulesPartial(strata, correctionOptions(1, 200))
	if err != nil {
		t.Fatal(err)
	}
	if got.SensitivityDifference.Estimable() || !strings.Contains(got.SensitivityDifference.NotEstimable, "77") || !strings.Contains(got.SensitivityDifference.NotEstimable, "neither") {
		t.Errorf("difference %+v", got.SensitivityDifference)
	}
	if !got.Gained.Estimable() || got.Gained.Value != 6 || !got.Naive.SensitivityDifference.Estimable() {
		t.Errorf("gained %+v, naive %+v", got.Gained, got.Naive.SensitivityDifference)
	}
	for name, f := range map[string]func() error{
		"no strata": func() error { _, err := CompareRulesPartial(nil, correctionOptions(1, 200)); return err },
		"options":   func() error { _, err := CompareRulesPartial(strata, CorrectionOptions{}); return err },
		"negative": func() error {
			_, err := CompareRulesPartial([]PairVerificationStratum{{Neither: VerificationCell{FoundNeeded: -1}}}, correctionOptions(1, 200))
			return err
		},
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
}

// By hand: of 40 marked by the first alone all are known, 10 in need and 30 not; the second
// alone marks 2 in need and 6 not: (30 - 6) / (10 - 2) = 3 for each one found.
func TestExtraPerGained(t *testing.T) {
	s := PairVerificationStratum{Both: VerificationCell{SampledNeeded: 5, SampledNotNeeded: 5}, Neither: VerificationCell{SampledNotNeeded: 50},
		FirstOnly: VerificationCell{SampledNeeded: 10, SampledNotNeeded: 30}, SecondOnly: VerificationCell{SampledNeeded: 2, SampledNotNeeded: 6}}
	got, err := CompareRulesPartial([]PairVerificationStratum{s}, correctionOptions(1, 400))
	if err != nil || got.ExtraPerGained.Value != 3 || got.ExtraPerGained.Low != 3 || got.ExtraPerGained.High != 3 {
		t.Errorf("%+v, %v", got.ExtraPerGained, err)
	}
	s.FirstOnly.Unverified = 100
	if got, err = CompareRulesPartial([]PairVerificationStratum{s}, correctionOptions(1, 400)); err != nil || !(got.ExtraPerGained.Low < got.ExtraPerGained.Value) ||
		math.Abs(got.ExtraPerGained.Value-(30+75-6)/(10+25-2.0)) > 1e-12 {
		t.Errorf("with unverified ones: %+v, %v", got.ExtraPerGained, err)
	}
	s.FirstOnly.SampledNeeded, s.FirstOnly.Unverified = 1, 0
	if got, err = CompareRulesPartial([]PairVerificationStratum{s}, correctionOptions(1, 400)); err != nil || got.ExtraPerGained.Estimable() {
		t.Errorf("no gain, no ratio: %+v, %v", got.ExtraPerGained, err)
	}
}
