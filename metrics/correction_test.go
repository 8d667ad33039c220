package metrics

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// randomStrata draws small strata with many zeros; sampled makes sure that
// every populated remainder holds a followed-up episode.
func randomStrata(r *rand.Rand, n int, sampled bool) []VerificationStratum {
	count := func(most int64) int64 {
		if r.IntN(3) == 0 {
			return 0
		}
		return r.Int64N(most)
	}
	cell := func() VerificationCell {
		c := VerificationCell{
			FoundNeeded: count(6), FoundNotNeeded: count(9),
			SampledNeeded: count(7), SampledNotNeeded: count(30), Unverified: count(300),
		}
		if sampled && c.Unverified > 0 && c.Sampled() == 0 {
			c.SampledNotNeeded = 1
		}
		return c
	}
	var out []VerificationStratum
	for i := range n {
		out = append(out, VerificationStratum{Name: fmt.Sprint("s", i), Present: cell(), Absent: cell()})
	}
	return out
}

// correctedFigures lists the figures of a correction with their names.
func correctedFigures(c Correction) map[string]Estimate {
	return map[string]Estimate{
		"sensitivity": c.Sensitivity, "specificity": c.Specificity, "PPV": c.PPV, "NPV": c.NPV,
		"prevalence": c.Prevalence, "missed": c.Missed, "caught": c.Caught, "needed": c.Needed,
	}
}

func TestCorrectedProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(15, 16))
	for range 300 {
		strata := randomStrata(r, 1+r.IntN(5), r.IntN(4) > 0)
		opt := testOptions(20)
		opt.Draws = 200
		c, err := Corrected(strata, opt)
		if err != nil {
			t.Fatal(err)
		}
		for name, e := range correctedFigures(c) {
			hi := 1.0
			if name == "missed" || name == "caught" || name == "needed" {
				hi = float64(c.Episodes)
			}
			checkSane(t, name, e, 0, hi)
		}
		for name, pair := range map[string]struct {
			e Estimate
			b Range
		}{
			"sensitivity": {c.Sensitivity, c.Bounds.Sensitivity}, "specificity": {c.Specificity, c.Bounds.Specificity},
			"PPV": {c.PPV, c.Bounds.PPV}, "NPV": {c.NPV, c.Bounds.NPV},
			"prevalence": {c.Prevalence, c.Bounds.Prevalence}, "missed": {c.Missed, c.Bounds.Missed}, "caught": {c.Caught, c.Bounds.Caught},
		} {
			if pair.e.Estimable() && (pair.e.Value < pair.b.Low-1e-9 || pair.e.Value > pair.b.High+1e-9) {
				t.Errorf("%s %v lies outside its bounds %+v: %+v", name, pair.e.Value, pair.b, strata)
			}
		}
		// The actual number can never leave the bounds, whatever is drawn.
		if c.Missed.Estimable() && (c.Missed.Low < c.Bounds.Missed.Low || c.Missed.High > c.Bounds.Missed.High) {
			t.Errorf("missed %v, bounds %+v: %+v", c.Missed, c.Bounds.Missed, strata)
		}
		if c.Missed.Estimable() != (unsampled(verificationParts(strata), false) == "") {
			t.Errorf("missed: %v: %+v", c.Missed, strata)
		}
	}
}

func TestCorrectedIgnoresTheOrderOfStrata(t *testing.T) {
	r := rand.New(rand.NewPCG(17, 18))
	for range 50 {
		strata := randomStrata(r, 6, true)
		a := mustCorrect(t, strata, 30)
		shuffled := slices.Clone(strata)
		r.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		b := mustCorrect(t, shuffled, 30)
		if d := cmp.Diff(a, b); d != "" {
			t.Errorf("%+v:\n%s", strata, d)
		}
		if d := cmp.Diff(a, mustCorrect(t, strata, 30)); d != "" {
			t.Errorf("the same seed does not repeat:\n%s", d)
		}
	}
}

// TestCorrectedLabelSwap exchanges mark and no mark, need and no need: what was
// sensitivity is specificity. Limits agree up to the noise of the draws.
func TestCorrectedLabelSwap(t *testing.T) {
	r := rand.New(rand.NewPCG(19, 20))
	for range 40 {
		strata := randomStrata(r, 4, true)
		opt := testOptions(40)
		opt.Draws = 8000
		a, _ := Corrected(strata, opt)
		b, _ := Corrected(mirrorStrata(strata), opt)
		for _, pair := range [][2]Estimate{{a.Sensitivity, b.Specificity}, {a.Specificity, b.Sensitivity}, {a.PPV, b.NPV}} {
			if math.Abs(pair[0].Value-pair[1].Value) > 1e-12 || pair[0].Estimable() != pair[1].Estimable() ||
				math.Abs(pair[0].Low-pair[1].Low) > 0.04 || math.Abs(pair[0].High-pair[1].High) > 0.04 {
				t.Errorf("%+v: %v, swapped %v", strata, pair[0], pair[1])
			}
		}
	}
}

func TestCorrectedMoreDataNarrows(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	for range 40 {
		strata := randomStrata(r, 4, true)
		many := slices.Clone(strata)
		for i := range many {
			for _, c := range []*VerificationCell{&many[i].Present, &many[i].Absent} {
				c.FoundNeeded, c.FoundNotNeeded, c.Unverified = 10*c.FoundNeeded, 10*c.FoundNotNeeded, 10*c.Unverified
				c.SampledNeeded, c.SampledNotNeeded = 10*c.SampledNeeded, 10*c.SampledNotNeeded
			}
		}
		a, b := mustCorrect(t, strata, 50), mustCorrect(t, many, 51)
		for name, e := range map[string][2]Estimate{"sensitivity": {a.Sensitivity, b.Sensitivity}, "specificity": {a.Specificity, b.Specificity}} {
			if e[0].Estimable() && e[1].High-e[1].Low >= e[0].High-e[0].Low {
				t.Errorf("%s: ten times the counts is not narrower: %v, %v: %+v", name, e[0], e[1], strata)
			}
		}
	}
}

// TestNoCaseFoundIsNotNoCase is the honest interval: 0 of 504 followed up in
// six strata says "at most a few per thousand", never "none".
func TestNoCaseFoundIsNotNoCase(t *testing.T) {
	var strata []VerificationStratum
	for i := range 6 {
		strata = append(strata, VerificationStratum{
			Name:    fmt.Sprint("stratum ", i),
			Present: VerificationCell{SampledNeeded: 250, SampledNotNeeded: 700, Unverified: 650},
			Absent:  VerificationCell{FoundNotNeeded: 60, SampledNotNeeded: 84, Unverified: 2256},
		})
	}
	c := mustCorrect(t, strata, 60)
	if c.Sensitivity.Value != 1 || c.Missed.Value != 0 {
		t.Fatalf("sensitivity %v, missed %v", c.Sensitivity, c.Missed)
	}
	// The rule of three: 3 of 504 among the 14,040 of the remainder are 84.
	if c.Missed.High < 60 || c.Missed.High > 110 {
		t.Errorf("missed up to %v, want about 84", c.Missed.High)
	}
	if c.Sensitivity.Low > 0.98 {
		t.Errorf("sensitivity from %v, with up to %v missed of %v", c.Sensitivity.Low, c.Missed.High, c.Needed.Value)
	}
	if len(c.Sensitivity.Warnings) == 0 || !strings.Contains(c.Sensitivity.Warnings[0], "rests on 0 in need among 504 followed up") {
		t.Errorf("no warning about few cases: %q", c.Sensitivity.Warnings)
	}
}

// TestEverybodyFollowedUpWasInNeed is the other edge: eight strata, in each of which
// all ten of twenty followed up were in need. One animal more or less is in doubt
// in one of them, not the eighty unseen.
func TestEverybodyFollowedUpWasInNeed(t *testing.T) {
	var strata []VerificationStratum
	for i := range 8 {
		strata = append(strata, VerificationStratum{
			Name:    fmt.Sprint("stratum ", i),
			Present: VerificationCell{SampledNeeded: 30, SampledNotNeeded: 10},
			Absent:  VerificationCell{SampledNeeded: 10, Unverified: 10},
		})
	}
	c := mustCorrect(t, strata, 90)
	if c.Missed.Value != 160 || c.Missed.High != 160 || c.Missed.Low < 152 || c.Missed.Low >= 160 {
		t.Errorf("missed %v, want 160, from a few less", c.Missed)
	}
	if c.NPV.Value != 0 || c.NPV.High <= 0 || c.NPV.High > 0.1 {
		t.Errorf("NPV %v, want 0 to a few per cent", c.NPV)
	}
}

func TestCorrectedThinCells(t *testing.T) {
	strata := []VerificationStratum{
		{Name: "rich", Present: VerificationCell{SampledNeeded: 30, SampledNotNeeded: 40, Unverified: 10}, Absent: VerificationCell{SampledNeeded: 1, SampledNotNeeded: 40, Unverified: 90}},
		{Name: "just enough", Absent: VerificationCell{SampledNotNeeded: 10, Unverified: 100}},
		{Name: "thin", Present: VerificationCell{SampledNeeded: 9, SampledNotNeeded: 9}, Absent: VerificationCell{FoundNeeded: 20, SampledNotNeeded: 9, Unverified: 300}},
	}
	c := mustCorrect(t, strata, 70)
	if c.ThinUnverified != 300 || c.ThinParts != 1 || math.Abs(c.ThinShare-0.6) > 1e-12 || c.Unverified != 500 || c.Episodes != 668 {
		t.Errorf("thin %d of %d in %d cells, share %v, %d episodes", c.ThinUnverified, c.Unverified, c.ThinParts, c.ThinShare, c.Episodes)
	}
	if want := "60 % of the unverified episodes are in 1 cell with fewer than 10 followed up"; !slices.Contains(c.Sensitivity.Warnings, want) {
		t.Errorf("warnings %q", c.Sensitivity.Warnings)
	}
	if c.MissedFound != 20 || c.MissedSampled != 1 || c.FollowedUp != 60 || c.MissedFound+c.MissedSampled != c.Verified.FN {
		t.Errorf("missed: %d found, %d of %d followed up, verified %+v", c.MissedFound, c.MissedSampled, c.FollowedUp, c.Verified)
	}
}

func TestCorrectedRefuses(t *testing.T) {
	good := []VerificationStratum{{Name: "a", Present: VerificationCell{SampledNeeded: 3}, Absent: VerificationCell{SampledNotNeeded: 3}}}
	for name, f := range map[string]func(*CorrectionOptions, *[]VerificationStratum){
		"confidence":          func(o *CorrectionOptions, _ *[]VerificationStratum) { o.Conf = 95 },
		"few draws":           func(o *CorrectionOptions, _ *[]VerificationStratum) { o.Draws = 10 },
		"no source":           func(o *CorrectionOptions, _ *[]VerificationStratum) { o.Rand = nil },
		"negative MinSampled": func(o *CorrectionOptions, _ *[]VerificationStratum) { o.MinSampled = -1 },
		"no strata":           func(_ *CorrectionOptions, s *[]VerificationStratum) { *s = nil },
		"negative count": func(_ *CorrectionOptions, s *[]VerificationStratum) {
			*s = []VerificationStratum{{Name: "x", Absent: VerificationCell{Unverified: -1}}}
		},
	} {
		opt, strata := testOptions(1), slices.Clone(good)
		f(&opt, &strata)
		if _, err := Corrected(strata, opt); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := VerificationBounds([]VerificationStratum{{Present: VerificationCell{FoundNeeded: -1}}}); !errors.Is(err, ErrArgument) {
		t.Errorf("bounds: %v", err)
	}
}

// TestVerificationBoundsByTrial tries every outcome of a few unseen episodes.
func TestVerificationBoundsByTrial(t *testing.T) {
	r := rand.New(rand.NewPCG(23, 24))
	for range 200 {
		strata := randomStrata(r, 1, false)
		s := &strata[0]
		s.Present.Unverified, s.Absent.Unverified = s.Present.Unverified%5, s.Absent.Unverified%5
		got, err := VerificationBounds(strata)
		if err != nil {
			t.Fatal(err)
		}
		table := verifiedTable(strata)
		var want [4]Range
		for i := range want {
			want[i] = Range{Low: 2, High: -1}
		}
		for a := range s.Present.Unverified + 1 {
			for b := range s.Absent.Unverified + 1 {
				x := TwoByTwo{TP: table.TP + a, FP: table.FP + s.Present.Unverified - a, FN: table.FN + b, TN: table.TN + s.Absent.Unverified - b}
				for i, m := range tableMeasures[:4] {
					if e, _ := m.f(x, 0.95); e.Estimable() {
						want[i].Low, want[i].High = math.Min(want[i].Low, e.Value), math.Max(want[i].High, e.Value)
					}
				}
			}
		}
		for i, b := range []Range{got.Sensitivity, got.Specificity, got.PPV, got.NPV} {
			if want[i].High < 0 {
				if b.Undefined == "" {
					t.Errorf("%s: %+v, want undefined: %+v", tableMeasures[i].key, b, strata)
				}
				continue
			}
			if math.Abs(b.Low-want[i].Low) > 1e-12 || math.Abs(b.High-want[i].High) > 1e-12 {
				t.Errorf("%s: %+v, by trial %+v: %+v", tableMeasures[i].key, b, want[i], strata)
			}
		}
	}
}

// TestTippingPoint puts the answer back: with that many unseen in need, the
// corrected sensitivity is the floor.
func TestTippingPoint(t *testing.T) {
	r := rand.New(rand.NewPCG(25, 26))
	reached, byOdds := 0, 0
	for range 400 {
		strata := randomStrata(r, 1+r.IntN(4), true)
		floor := 0.3 + 0.65*r.Float64()
		tip, err := TippingPoint(strata, floor)
		if err != nil {
			t.Fatal(err)
		}
		c := mustCorrect(t, strata, 80)
		if tip.NotEstimable != "" {
			continue
		}
		if math.Abs(tip.Value-c.Sensitivity.Value) > 1e-12 || tip.Met != (tip.Value >= floor) {
			t.Errorf("%+v, corrected %v", tip, c.Sensitivity)
		}
		if !tip.Reachable {
			continue
		}
		reached++
		caught := c.Caught.Value
		known := c.Bounds.Missed.Low
		if got := caught / (caught + known + tip.Needed); math.Abs(got-floor) > 1e-9 {
			t.Errorf("with %v unseen in need sensitivity is %v, want %v", tip.Needed, got, floor)
		}
		if tip.Met != (tip.Rate >= tip.SeenRate-1e-12) {
			t.Errorf("%+v: met means that more unseen in need are needed than expected", tip)
		}
		if tip.OddsFactorKnown {
			byOdds++
			w, err := WhatIf(strata, 1, tip.OddsFactor)
			if err != nil || math.Abs(w.Sensitivity-floor) > 1e-6 {
				t.Errorf("odds factor %v gives %v, want %v (%v)", tip.OddsFactor, w.Sensitivity, floor, err)
			}
		}
	}
	if reached < 50 || byOdds < 30 {
		t.Errorf("only %d reachable and %d by odds: the test tests little", reached, byOdds)
	}
}

func TestTippingPointEdges(t *testing.T) {
	// Nothing followed up: the value is unknown, the question still has an answer.
	strata := []VerificationStratum{{Name: "a", Present: VerificationCell{SampledNeeded: 40, SampledNotNeeded: 60, Unverified: 20}, Absent: VerificationCell{Unverified: 500}}}
	tip, err := TippingPoint(strata, 0.9)
	if err != nil || tip.ValueKnown || !tip.Reachable || math.Abs(tip.Needed-48*0.1/0.9) > 1e-9 || tip.OddsFactorKnown {
		t.Errorf("nothing followed up: %+v, %v", tip, err)
	}
	// More known misses than the floor allows: no outcome helps.
	strata[0].Absent = VerificationCell{FoundNeeded: 20, SampledNotNeeded: 5, Unverified: 10}
	if tip, _ := TippingPoint(strata, 0.9); tip.Reachable || tip.Met {
		t.Errorf("known misses: %+v", tip)
	}
	strata[0].Present = VerificationCell{Unverified: 4}
	if tip, _ := TippingPoint(strata, 0.9); tip.NotEstimable == "" {
		t.Errorf("marked side unseen: %+v", tip)
	}
	for _, floor := range []float64{0, 1, math.NaN(), 90} {
		if _, err := TippingPoint(strata, floor); !errors.Is(err, ErrArgument) {
			t.Errorf("floor %v: %v", floor, err)
		}
	}
	// Specificity by the mirror.
	c := checkByID(t, "verification_bias", "vb-02")
	s, _ := TippingPointSpecificity(publishedStrata(t, c), 0.9)
	if got := mustCorrect(t, publishedStrata(t, c), 1).Specificity.Value; math.Abs(s.Value-got) > 1e-12 || !s.Met {
		t.Errorf("specificity %+v, corrected %v", s, got)
	}
}

func BenchmarkCorrected(b *testing.B) {
	r := rand.New(rand.NewPCG(55, 56))
	for _, n := range []int{6, 30} {
		strata, _, _ := ordinarySettings[0].scaled(n).model(r).draw(r, 24000)
		for _, sharesOnly := range []bool{false, true} {
			b.Run(fmt.Sprintf("strata=%d/draws=4000/sharesOnly=%v", n, sharesOnly), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := Corrected(strata, CorrectionOptions{Conf: 0.95, MinSampled: 10, Draws: 4000, Rand: r, SharesOnly: sharesOnly}); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

// Without the numbers the shares stay what they are: the same estimates, and
// limits from other draws of the same posterior.
func TestSharesOnly(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	strata := randomStrata(r, 6, true)
	with, err := Corrected(strata, CorrectionOptions{Conf: 0.95, Draws: 4000, Rand: rand.New(rand.NewPCG(1, 2))})
	if err != nil {
		t.Fatal(err)
	}
	without, err := Corrected(strata, CorrectionOptions{Conf: 0.95, Draws: 4000, Rand: rand.New(rand.NewPCG(1, 2)), SharesOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	if without.Missed.Estimable() || without.Caught.Estimable() || without.Needed.Estimable() {
		t.Errorf("numbers that were not asked for: %+v", without)
	}
	a, b := correctedFigures(with), correctedFigures(without)
	for _, of := range []string{"sensitivity", "specificity", "PPV", "NPV", "prevalence"} {
		x, y := a[of], b[of]
		if x.Value != y.Value || math.Abs(x.Low-y.Low) > 0.1*(x.High-x.Low) || math.Abs(x.High-y.High) > 0.1*(x.High-x.Low) {
			t.Errorf("%s: %v (%v to %v), without numbers %v (%v to %v)", of, x.Value, x.Low, x.High, y.Value, y.Low, y.High)
		}
	}
}
