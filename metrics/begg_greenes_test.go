package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// checkCell reads a side of a published table: diseased, healthy, unverified.
type checkCell struct{ Diseased, Healthy, Unverified int64 }

func (c checkCell) cell() VerificationCell {
	return VerificationCell{SampledNeeded: c.Diseased, SampledNotNeeded: c.Healthy, Unverified: c.Unverified}
}

// publishedStrata reads either a single table or parallel lists by stratum.
func publishedStrata(t *testing.T, c *checkCase) []VerificationStratum {
	t.Helper()
	var in struct {
		Pos    checkCell `json:"test_pos"`
		Neg    checkCell `json:"test_neg"`
		Strata struct {
			Stratum                []string
			S1, R1, U1, S0, R0, U0 []int64
		}
	}
	c.input(t, &in)
	if len(in.Strata.Stratum) == 0 {
		return []VerificationStratum{{Name: "all", Present: in.Pos.cell(), Absent: in.Neg.cell()}}
	}
	var out []VerificationStratum
	for i, name := range in.Strata.Stratum {
		s := in.Strata
		out = append(out, VerificationStratum{
			Name:    name,
			Present: checkCell{s.S1[i], s.R1[i], s.U1[i]}.cell(),
			Absent:  checkCell{s.S0[i], s.R0[i], s.U0[i]}.cell(),
		})
	}
	return out
}

func testOptions(seed uint64) CorrectionOptions {
	return CorrectionOptions{Conf: 0.95, MinSampled: 10, Draws: 2000, Rand: rand.New(rand.NewPCG(seed, 1))}
}

func mustCorrect(t *testing.T, strata []VerificationStratum, seed uint64) Correction {
	t.Helper()
	c, err := Corrected(strata, testOptions(seed))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestVerificationPublished holds the closed form, the simulated correction's
// point estimates, the naive figures and the bounds to outside values.
func TestVerificationPublished(t *testing.T) {
	for _, id := range []string{"vb-01", "vb-02", "vb-03"} {
		c := checkByID(t, "verification_bias", id)
		strata := publishedStrata(t, c)
		got, err := BeggGreenes(strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		sim := mustCorrect(t, strata, 1)
		for _, m := range []struct {
			key   string
			form  ClosedForm
			sim   Estimate
			naive Estimate
			bound Range
			x, n  int64
		}{
			{"sens", got.Sensitivity, sim.Sensitivity, sim.Naive.Sensitivity, sim.Bounds.Sensitivity, sim.Verified.TP, sim.Verified.TP + sim.Verified.FN},
			{"spec", got.Specificity, sim.Specificity, sim.Naive.Specificity, sim.Bounds.Specificity, sim.Verified.TN, sim.Verified.TN + sim.Verified.FP},
		} {
			c.estimate(t, "corrected."+m.key+".est", "corrected."+m.key+".logit", m.form.Logit)
			c.estimate(t, "corrected."+m.key+".est", "corrected."+m.key+".wald", m.form.Wald)
			c.estimate(t, "corrected."+m.key+".est", "", m.sim)
			c.near(t, "corrected."+m.key+".se", m.form.SE)
			c.estimate(t, "naive."+m.key+".est", "naive."+m.key+".wilson", m.naive)
			exact, _ := ClopperPearson(m.x, m.n, 0.95)
			c.estimate(t, "naive."+m.key+".est", "naive."+m.key+".clopper_pearson", exact)
			c.near(t, "extreme_bounds."+m.key+"_min", m.bound.Low)
			c.near(t, "extreme_bounds."+m.key+"_max", m.bound.High)
			// The simulated limits are another method; on rich cells they agree.
			if d := math.Abs(m.sim.Low-m.form.Logit.Low) + math.Abs(m.sim.High-m.form.Logit.High); d > 0.06 {
				t.Errorf("%s: %s: simulated %v, closed form %v", id, m.key, m.sim, m.form.Logit)
			}
		}
		c.near(t, "corrected.prevalence", sim.Prevalence.Value)
		c.near(t, "corrected.ppv", sim.PPV.Value)
		c.near(t, "corrected.npv", sim.NPV.Value)
		c.near(t, "corrected.prevalence", got.Prevalence.Logit.Value)
		c.near(t, "corrected.ppv", got.PPV.Logit.Value)
		c.near(t, "corrected.npv", got.NPV.Logit.Value)
		c.allRead(t)
	}
}

func TestVerificationPublishedStrata(t *testing.T) {
	c := checkByID(t, "verification_bias", "vb-04")
	strata := publishedStrata(t, c)
	got, err := BeggGreenes(strata, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	sim := mustCorrect(t, strata, 2)
	c.near(t, "sens.est", got.Sensitivity.Logit.Value)
	c.near(t, "sens.est", sim.Sensitivity.Value)
	c.near(t, "sens.se", got.Sensitivity.SE)
	c.near(t, "spec.est", got.Specificity.Logit.Value)
	c.near(t, "spec.est", sim.Specificity.Value)
	c.near(t, "spec.se", got.Specificity.SE)
	c.near(t, "prevalence", got.Prevalence.Logit.Value)
	c.near(t, "prevalence", sim.Prevalence.Value)
	c.allRead(t)
}

// inverseProbability is the second opinion: it walks over the verified episodes
// one by one, each with the weight of those it stands for.
func inverseProbability(strata []VerificationStratum) (sens, spec float64) {
	var tp, fp, fn, tn float64
	for _, s := range strata {
		for _, side := range []struct {
			c         VerificationCell
			need, not *float64
		}{{s.Present, &tp, &fp}, {s.Absent, &fn, &tn}} {
			for range side.c.FoundNeeded {
				*side.need++
			}
			for range side.c.FoundNotNeeded {
				*side.not++
			}
			if side.c.Sampled() == 0 {
				continue
			}
			weight := float64(side.c.Sampled()+side.c.Unverified) / float64(side.c.Sampled())
			for range side.c.SampledNeeded {
				*side.need += weight
			}
			for range side.c.SampledNotNeeded {
				*side.not += weight
			}
		}
	}
	return tp / (tp + fn), tn / (tn + fp)
}

func TestInverseProbabilityIsTheSameEstimator(t *testing.T) {
	c := checkByID(t, "verification_bias", "vb-05")
	strata := publishedStrata(t, c)
	var pos, neg []float64
	for _, s := range strata {
		pos = append(pos, float64(s.Present.Total())/float64(s.Present.Sampled()))
		neg = append(neg, float64(s.Absent.Total())/float64(s.Absent.Sampled()))
	}
	c.nearAll(t, "weight_pos", pos)
	c.nearAll(t, "weight_neg", neg)
	sens, spec := inverseProbability(strata)
	c.near(t, "sens", sens)
	c.near(t, "spec", spec)
	c.allRead(t)

	r := rand.New(rand.NewPCG(11, 12))
	for range 200 {
		strata := randomStrata(r, 1+r.IntN(6), true)
		got := mustCorrect(t, strata, 3)
		sens, spec := inverseProbability(strata)
		if got.Sensitivity.Estimable() && math.Abs(got.Sensitivity.Value-sens) > 1e-12 {
			t.Errorf("sensitivity %v, weighted row by row %v: %+v", got.Sensitivity.Value, sens, strata)
		}
		if got.Specificity.Estimable() && math.Abs(got.Specificity.Value-spec) > 1e-12 {
			t.Errorf("specificity %v, weighted row by row %v: %+v", got.Specificity.Value, spec, strata)
		}
	}
}

func TestAllVerifiedEqualsNaive(t *testing.T) {
	c := checkByID(t, "verification_bias", "vb-06")
	strata := publishedStrata(t, c)
	got, err := BeggGreenes(strata, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	sim := mustCorrect(t, strata, 4)
	c.near(t, "corrected_sens", sim.Sensitivity.Value)
	c.near(t, "corrected_spec", sim.Specificity.Value)
	c.near(t, "se_sens", got.Sensitivity.SE)
	c.near(t, "binomial_se_sens", got.Sensitivity.SE)
	c.near(t, "se_spec", got.Specificity.SE)
	for key, got := range map[string]float64{
		"bounds.sens_min": sim.Bounds.Sensitivity.Low, "bounds.sens_max": sim.Bounds.Sensitivity.High,
		"bounds.spec_min": sim.Bounds.Specificity.Low, "bounds.spec_max": sim.Bounds.Specificity.High,
	} {
		c.near(t, key, got)
	}
	c.allRead(t)

	// The simulated limits are those of a mid-P interval when all is verified,
	// up to the noise of the draws.
	midP, _ := MidP(231, 258, 0.95)
	if math.Abs(sim.Sensitivity.Low-midP.Low) > 0.005 || math.Abs(sim.Sensitivity.High-midP.High) > 0.005 {
		t.Errorf("all verified: simulated %v, mid-P %v", sim.Sensitivity, midP)
	}
	if sim.Missed.Low != 27 || sim.Missed.Value != 27 || sim.Missed.High != 27 {
		t.Errorf("all verified: missed %v, want exactly 27", sim.Missed)
	}

	r := rand.New(rand.NewPCG(13, 14))
	for range 300 {
		strata := randomStrata(r, 1+r.IntN(5), true)
		for i := range strata {
			strata[i].Present.Unverified, strata[i].Absent.Unverified = 0, 0
		}
		sim := mustCorrect(t, strata, 5)
		if math.Abs(sim.Sensitivity.Value-sim.Naive.Sensitivity.Value) > 1e-12 || math.Abs(sim.Specificity.Value-sim.Naive.Specificity.Value) > 1e-12 {
			t.Errorf("all verified: corrected %v, naive %v: %+v", sim.Sensitivity, sim.Naive.Sensitivity, strata)
		}
	}
}

func TestNothingFollowedUpIsNotEstimable(t *testing.T) {
	c := checkByID(t, "verification_bias", "vb-07")
	strata := publishedStrata(t, c)
	strata[0].Name = "home_care, dog"
	sim := mustCorrect(t, strata, 6)
	closed, err := BeggGreenes(strata, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	c.near(t, "ppv", sim.PPV.Value)
	c.near(t, "ppv", closed.PPV.Logit.Value)
	c.near(t, "naive_sens", sim.Naive.Sensitivity.Value)
	c.near(t, "naive_spec", sim.Naive.Specificity.Value)
	for key, e := range map[string]Estimate{"corrected_sens": sim.Sensitivity, "corrected_spec": sim.Specificity} {
		c.estimate(t, key, "", e)
		if want := `none of the 500 unverified episodes without the mark in stratum "home_care, dog" was followed up`; e.NotEstimable != want {
			t.Errorf("reason %q, want %q", e.NotEstimable, want)
		}
	}
	c.estimate(t, "corrected_sens", "", closed.Sensitivity.Logit)
	for key, got := range map[string]float64{
		"sens_min": sim.Bounds.Sensitivity.Low, "sens_max": sim.Bounds.Sensitivity.High,
		"spec_min": sim.Bounds.Specificity.Low, "spec_max": sim.Bounds.Specificity.High,
	} {
		c.near(t, key, got)
	}
	c.allRead(t)
	for name, e := range map[string]Estimate{"NPV": sim.NPV, "missed": sim.Missed, "needed": sim.Needed, "prevalence": sim.Prevalence} {
		if e.Estimable() {
			t.Errorf("%s is estimable: %v", name, e)
		}
	}
	for name, e := range map[string]Estimate{"PPV": sim.PPV, "caught": sim.Caught} {
		if !e.Estimable() {
			t.Errorf("%s needs the marked side only, but: %s", name, e.NotEstimable)
		}
	}

	// Found episodes alone are no sample of the remainder.
	strata[0].Absent.FoundNeeded, strata[0].Absent.FoundNotNeeded = 12, 30
	if sim := mustCorrect(t, strata, 7); sim.Sensitivity.Estimable() {
		t.Errorf("found episodes stand in for the unseen: %v", sim.Sensitivity)
	}
	strata[0].Absent.Unverified = 0
	if sim := mustCorrect(t, strata, 7); !sim.Sensitivity.Estimable() {
		t.Errorf("nothing is unseen, but: %s", sim.Sensitivity.NotEstimable)
	}
}

func TestWhatIfPublished(t *testing.T) {
	c := checkByID(t, "verification_bias", "vb-08")
	strata := publishedStrata(t, c)
	var in struct {
		Pos []float64 `json:"odds_multiplier_pos"`
		Neg []float64 `json:"odds_multiplier_neg"`
	}
	c.input(t, &in)
	var sens, spec []float64
	for i := range in.Pos {
		w, err := WhatIf(strata, in.Pos[i], in.Neg[i])
		if err != nil {
			t.Fatal(err)
		}
		sens, spec = append(sens, w.Sensitivity), append(spec, w.Specificity)
	}
	c.nearAll(t, "sens", sens)
	c.nearAll(t, "spec", spec)
	c.allRead(t)
	for _, bad := range []float64{0, -1, math.Inf(1), math.NaN()} {
		if _, err := WhatIf(strata, bad, 1); !errors.Is(err, ErrArgument) {
			t.Errorf("factor %v: %v", bad, err)
		}
	}
}

// TestBeggGreenesEdges: thin data is an answer with a reason, bad arguments are
// errors.
func TestBeggGreenesEdges(t *testing.T) {
	cell := func(need, well, unseen int64) VerificationCell { return checkCell{need, well, unseen}.cell() }
	for name, tt := range map[string]struct {
		strata []VerificationStratum
		want   string // of the sensitivity
	}{
		"no case at all":     {[]VerificationStratum{{Present: cell(0, 5, 2), Absent: cell(0, 9, 3)}}, "no animal in need was found or sampled"},
		"no case unmarked":   {[]VerificationStratum{{Present: cell(4, 5, 2), Absent: cell(0, 9, 3)}}, "no standard error; simulate"},
		"marked side unseen": {[]VerificationStratum{{Name: "a", Present: cell(0, 0, 7), Absent: cell(1, 9, 3)}}, `7 unverified episodes with the mark in stratum "a"`},
	} {
		got, err := BeggGreenes(tt.strata, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []Estimate{got.Sensitivity.Logit, got.Sensitivity.Wald} {
			if !strings.Contains(e.NotEstimable, tt.want) {
				t.Errorf("%s: %q, want %q", name, e.NotEstimable, tt.want)
			}
			checkSane(t, name, e, 0, 1)
		}
	}
	empty, err := BeggGreenes(nil, 0.95)
	if err != nil || empty.PPV.Logit.Estimable() || empty.Prevalence.Logit.NotEstimable != "there are no episodes" {
		t.Errorf("no strata: %+v, %v", empty, err)
	}
	for name, f := range map[string]func() error{
		"confidence": func() error { _, err := BeggGreenes(nil, 2); return err },
		"count":      func() error { _, err := BeggGreenes([]VerificationStratum{{Absent: cell(-1, 0, 0)}}, 0.95); return err },
		"what if":    func() error { _, err := WhatIf([]VerificationStratum{{Absent: cell(-1, 0, 0)}}, 1, 1); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, strata := range map[string][]VerificationStratum{
		"unseen":    {{Present: cell(1, 1, 0), Absent: cell(0, 0, 5)}},
		"no case":   {{Present: cell(0, 1, 0), Absent: cell(0, 3, 5)}},
		"all cases": {{Present: cell(3, 0, 0), Absent: cell(3, 0, 5)}},
	} {
		if w, err := WhatIf(strata, 1, 1); err != nil || w.NotEstimable == "" || w.Sensitivity != 0 {
			t.Errorf("what if, %s: %+v, %v", name, w, err)
		}
	}
}
