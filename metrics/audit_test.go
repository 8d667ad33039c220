package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// By hand: 200 eligible. 10 were drawn with probability 1/4 and 8 answered, 6 with
// 1/10 and 3 answered. Weighted by 1/p: drawn 40 + 60 = 100, answered 32 + 30 = 62,
// so the response is 0.62; an answer of the first draw stands for 200/62*4
// episodes, of the second for 200/62*10. In need: 2 of the first, 1 of the second:
// (2*4 + 1*10)/62*200 = 3600/62. Found: 3 of 5 in need.
func TestAuditPrevalenceByHand(t *testing.T) {
	s := AuditStratum{
		Name: "home", Eligible: 200, FoundNeeded: 3, FoundNotNeeded: 2,
		Draws: []AuditDraw{{0.25, 10, 8, 2}, {0.1, 6, 3, 1}},
	}
	got, err := AuditPrevalence([]AuditStratum{s}, testOptions(1))
	if err != nil {
		t.Fatal(err)
	}
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %v, want %v", name, got, want)
		}
	}
	near("needed", got.Needed.Value, 3+3600.0/62)
	near("rate", got.Rate.Value, (3+3600.0/62)/205)
	near("response of the first draw", got.Weights[0].Response, 0.62)
	near("weight of the first draw", got.Weights[0].Weight, 800.0/62)
	near("weight of the second draw", got.Weights[1].Weight, 2000.0/62)
	near("plain response", got.Response.Value, 11.0/16)
	near("needed if the silent are well", got.Silent.Low, 3+2*18)
	near("needed if the silent are in need", got.Silent.High, 3+2*(18+2*4+3*10))
	checkSane(t, "needed", got.Needed, 0, 205)
	checkSane(t, "rate", got.Rate, 0, 1)
}

// TestAuditEqualsCorrected compares the two roads where both lead.
func TestAuditEqualsCorrected(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 32))
	for range 100 {
		var strata []AuditStratum
		var cells []VerificationStratum
		for range 1 + r.IntN(4) {
			s := AuditStratum{Name: "s", Eligible: 300 + r.Int64N(900), FoundNeeded: r.Int64N(5), FoundNotNeeded: r.Int64N(9)}
			d := AuditDraw{Probability: 0.1, Answered: 20 + r.Int64N(30), Needed: r.Int64N(5)}
			d.Drawn = d.Answered + r.Int64N(20)
			s.Draws = []AuditDraw{d}
			strata = append(strata, s)
			cells = append(cells, VerificationStratum{Name: "s", Absent: s.Cell()})
		}
		opt := testOptions(2)
		opt.Draws = 4000
		a, err := AuditPrevalence(strata, opt)
		if err != nil {
			t.Fatal(err)
		}
		b := mustCorrect(t, cells, 3)
		if math.Abs(a.Needed.Value-b.Missed.Value) > 1e-9 {
			t.Errorf("needed %v, missed %v: %+v", a.Needed, b.Missed, strata)
		}
		width := b.Missed.High - b.Missed.Low
		if math.Abs(a.Needed.Low-b.Missed.Low) > 0.15*width || math.Abs(a.Needed.High-b.Missed.High) > 0.15*width {
			t.Errorf("needed %v, missed %v: %+v", a.Needed, b.Missed, strata)
		}
	}
}

func TestAuditPrevalenceEdges(t *testing.T) {
	silent := []AuditStratum{
		{Name: "dogs", Eligible: 100, Draws: []AuditDraw{{0.1, 10, 10, 1}}},
		{Name: "cats", Eligible: 50, Draws: []AuditDraw{{0.1, 5, 0, 0}}},
	}
	got, err := AuditPrevalence(silent, testOptions(3))
	if err != nil || got.Needed.Estimable() || !strings.Contains(got.Needed.NotEstimable, `"cats"`) || got.Rate.Estimable() {
		t.Errorf("nobody answered for cats: %+v, %v", got, err)
	}
	if math.Abs(got.Silent.High-(10+50)) > 1e-9 {
		t.Errorf("silent %+v, want up to 60", got.Silent)
	}
	for name, s := range map[string]AuditStratum{
		"probability 0":       {Eligible: 9, Draws: []AuditDraw{{0, 1, 1, 0}}},
		"probability above 1": {Eligible: 9, Draws: []AuditDraw{{1.1, 1, 1, 0}}},
		"more answers":        {Eligible: 9, Draws: []AuditDraw{{0.5, 1, 2, 0}}},
		"more needed":         {Eligible: 9, Draws: []AuditDraw{{0.5, 2, 1, 2}}},
		"more drawn":          {Eligible: 1, Draws: []AuditDraw{{0.5, 2, 1, 1}}},
		"negative":            {Eligible: -1},
	} {
		if _, err := AuditPrevalence([]AuditStratum{s}, testOptions(4)); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := AuditPrevalence(nil, testOptions(4)); !errors.Is(err, ErrArgument) {
		t.Errorf("no strata: %v", err)
	}
}

// TestAuditCoverage draws audits with two probabilities in a stratum, more calls
// where need is commoner, and response that differs between strata; the limits hold the actual number in need, and an
// unweighted share does not.
func TestAuditCoverage(t *testing.T) {
	years, lowest, highest := 700, 0.93, 0.97
	if testing.Short() {
		years, lowest, highest = 150, 0.88, 1.0
	}
	r := rand.New(rand.NewPCG(33, 34))
	binom := func(n int64, p float64) int64 { return int64(binomialDraw(r, float64(n), p)) }
	held, plain := 0, 0
	for range years {
		var strata []AuditStratum
		var actual, all, answered, found int64
		for s := range 4 {
			rate, response := []float64{0.01, 0.02, 0.04, 0.06}[s], []float64{0.8, 0.7, 0.6, 0.5}[s]
			stratum := AuditStratum{Name: "s"}
			for _, p := range [][]float64{{0.02, 0.04}, {0.05, 0.1}, {0.1, 0.2}, {0.15, 0.3}}[s] {
				n := int64(1500)
				need := binom(n, rate)
				d := AuditDraw{Probability: p}
				drawnNeed, drawnWell := binom(need, p), binom(n-need, p)
				d.Drawn, d.Needed = drawnNeed+drawnWell, binom(drawnNeed, response)
				d.Answered = d.Needed + binom(drawnWell, response)
				stratum.Draws = append(stratum.Draws, d)
				stratum.Eligible += n
				actual, all = actual+need, all+n
				answered, found = answered+d.Answered, found+d.Needed
			}
			strata = append(strata, stratum)
		}
		got, err := AuditPrevalence(strata, CorrectionOptions{Conf: 0.95, MinSampled: 10, Draws: 400, Rand: r})
		if err != nil {
			t.Fatal(err)
		}
		if got.Needed.Low <= float64(actual) && float64(actual) <= got.Needed.High {
			held++
		}
		if e, _ := Wilson(found, answered, 0.95); e.Low*float64(all) <= float64(actual) && float64(actual) <= e.High*float64(all) {
			plain++
		}
	}
	share := float64(held) / float64(years)
	t.Logf("weighted %.3f, unweighted %.3f", share, float64(plain)/float64(years))
	if share < lowest || share > highest {
		t.Errorf("coverage %.3f, want %v to %v", share, lowest, highest)
	}
	if float64(plain) > 0.8*float64(years) {
		t.Errorf("the unweighted share covers in %d of %d years: the weights do nothing here", plain, years)
	}
}

func TestAccuracyBySource(t *testing.T) {
	vet, owner := TwoByTwo{TP: 40, FP: 60, FN: 5, TN: 90}, TwoByTwo{TP: 8, FP: 4, FN: 6, TN: 200}
	got, err := AccuracyBySource(vet, owner, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	v, _ := Sensitivity(vet, 0.95)
	o, _ := Specificity(owner, 0.95)
	if got.Vet.Sensitivity.Value != v.Value || got.Owner.Specificity.Value != o.Value {
		t.Errorf("%+v", got)
	}
	if math.Abs(got.SensitivityGap.Value-(8.0/14-40.0/45)) > 1e-12 || math.Abs(got.SpecificityGap.Value-(200.0/204-90.0/150)) > 1e-12 {
		t.Errorf("gaps %v, %v", got.SensitivityGap, got.SpecificityGap)
	}
	if got, _ := AccuracyBySource(vet, TwoByTwo{}, 0.95); got.Owner.Sensitivity.Estimable() || got.SensitivityGap.Estimable() || !got.Vet.Sensitivity.Estimable() {
		t.Errorf("no owner's account: %+v", got)
	}
	if _, err := AccuracyBySource(vet, TwoByTwo{FP: -1}, 0.95); !errors.Is(err, ErrArgument) {
		t.Errorf("negative: %v", err)
	}
}
