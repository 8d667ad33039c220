package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

func correctionOptions(seed uint64, draws int) CorrectionOptions {
	return CorrectionOptions{Conf: 0.95, MinSampled: 10, Draws: draws, Rand: rand.New(rand.NewPCG(seed, 99))}
}

// asValues turns a yes/no test into a finding with the values 1 and 0.
func asValues(strata []VerificationStratum) []ValueVerification {
	var out []ValueVerification
	for _, s := range strata {
		out = append(out, ValueVerification{Value: 1, Stratum: s.Name, VerificationCell: s.Present},
			ValueVerification{Value: 0, Stratum: s.Name, VerificationCell: s.Absent})
	}
	return out
}

// A curve with two values has one real point: the published corrected accuracy.
func TestCorrectedROCAgainstPublishedTables(t *testing.T) {
	for _, id := range []string{"vb-01", "vb-02", "vb-03", "vb-04"} {
		c := checkByID(t, "verification_bias", id)
		prefix := "corrected."
		if id == "vb-04" {
			prefix = ""
		}
		got, err := CorrectedROC(asValues(publishedStrata(t, c)), HighIsBad, WithinStratumAndValue, correctionOptions(1, 400))
		if err != nil {
			t.Fatal(err)
		}
		p := got.Points[1]
		c.near(t, prefix+"sens.est", p.Sensitivity.Value)
		c.near(t, prefix+"spec.est", p.Specificity.Value)
		if got.Naive.Points[1].Sensitivity() == p.Sensitivity.Value {
			t.Errorf("%s: naive and corrected sensitivity are the same", id)
		}
	}
}

// With the side of a threshold among the strata, the point there is that of Corrected, and
// the limits agree within the noise of the draws.
func TestCorrectedROCAgreesWithCorrected(t *testing.T) {
	r := rand.New(rand.NewPCG(60, 61))
	for trial := range 20 {
		sides := []VerificationStratum{{Name: "home"}, {Name: "sent in"}}
		var cells []ValueVerification
		for v := range 6 {
			for i := range sides {
				c := VerificationCell{SampledNeeded: int64(1 + r.IntN(9)), SampledNotNeeded: int64(1 + r.IntN(30)),
					FoundNeeded: int64(r.IntN(3)), Unverified: int64(r.IntN(200))}
				side, name := &sides[i].Absent, "below"
				if v >= 3 {
					side, name = &sides[i].Present, "above"
				}
				*side = side.Add(c)
				cells = append(cells, ValueVerification{Value: float64(v), Stratum: sides[i].Name + name, VerificationCell: c})
			}
		}
		curve, err := CorrectedROC(cells, HighIsBad, WithinStratum, correctionOptions(uint64(trial), 2000))
		if err != nil {
			t.Fatal(err)
		}
		two, err := Corrected(sides, correctionOptions(uint64(trial), 2000))
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range curve.Points {
			if p.Threshold.Upper != 3 || !p.Threshold.HasUpper {
				continue
			}
			for name, e := range map[string][2]Estimate{"sensitivity": {p.Sensitivity, two.Sensitivity}, "specificity": {p.Specificity, two.Specificity}} {
				if math.Abs(e[0].Value-e[1].Value) > 1e-9 {
					t.Errorf("trial %d: %s %v, Corrected %v", trial, name, e[0].Value, e[1].Value)
				}
				if w := e[1].High - e[1].Low; math.Abs(e[0].Low-e[1].Low) > 0.15*w || math.Abs(e[0].High-e[1].High) > 0.15*w {
					t.Errorf("trial %d: %s %v to %v, Corrected %v to %v", trial, name, e[0].Low, e[0].High, e[1].Low, e[1].High)
				}
			}
		}
	}
}

func randomVerification(r *rand.Rand, sampledEverywhere bool) []ValueVerification {
	var cells []ValueVerification
	for v := range 1 + r.IntN(6) {
		for _, s := range []string{"home", "sent in"} {
			c := VerificationCell{FoundNeeded: int64(r.IntN(3)), FoundNotNeeded: int64(r.IntN(2)),
				SampledNeeded: int64(r.IntN(4)), SampledNotNeeded: int64(r.IntN(9)), Unverified: int64(r.IntN(40))}
			if sampledEverywhere && c.Sampled() == 0 {
				c.SampledNotNeeded = 1
			}
			cells = append(cells, ValueVerification{Value: float64(v), Stratum: s, VerificationCell: c})
		}
	}
	return cells
}

func TestCorrectedROCProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(62, 63))
	for trial := range 150 {
		cells := randomVerification(r, trial%2 == 0)
		for _, unit := range []CorrectionUnit{WithinStratum, WithinStratumAndValue} {
			for _, d := range []Direction{HighIsBad, LowIsBad, BothEndsAreBad} {
				got, err := CorrectedROC(cells, d, unit, correctionOptions(uint64(trial), 200))
				if err != nil {
					t.Fatal(err)
				}
				checkSane(t, "area", got.Area, 0, 1)
				if d == BothEndsAreBad && got.Area.Estimable() {
					t.Fatal("an area for both ends")
				}
				if !got.Estimable() {
					continue
				}
				if len(got.Points) != len(got.Curve.Points) {
					t.Fatalf("trial %d: %d points with limits, %d without", trial, len(got.Points), len(got.Curve.Points))
				}
				for i, p := range got.Points {
					checkSane(t, "sensitivity", p.Sensitivity, 0, 1)
					checkSane(t, "specificity", p.Specificity, 0, 1)
					if i > 0 && p.Sensitivity.Value < got.Points[i-1].Sensitivity.Value-1e-12 {
						t.Fatalf("trial %d: the curve falls", trial)
					}
				}
				total := got.Curve.Needed + got.Curve.NotNeeded
				if math.Abs(total-float64(got.Episodes)) > 1e-6*total {
					t.Fatalf("trial %d: %v expected episodes, %d counted", trial, total, got.Episodes)
				}
				turned := append([]ValueVerification(nil), cells...)
				r.Shuffle(len(turned), func(i, j int) { turned[i], turned[j] = turned[j], turned[i] })
				again, _ := CorrectedROC(turned, d, unit, correctionOptions(uint64(trial), 200))
				if math.Abs(again.Area.Value-got.Area.Value) > 1e-12 || again.Area.Low != got.Area.Low {
					t.Fatalf("trial %d: the order of cells matters", trial)
				}
			}
		}
	}
}

func TestCorrectedROCAllVerifiedIsNaive(t *testing.T) {
	r := rand.New(rand.NewPCG(64, 65))
	for trial := range 100 {
		cells := randomVerification(r, true)
		for i := range cells {
			cells[i].Unverified = 0
		}
		for _, unit := range []CorrectionUnit{WithinStratum, WithinStratumAndValue} {
			got, err := CorrectedROC(cells, HighIsBad, unit, correctionOptions(1, 200))
			if err != nil {
				t.Fatal(err)
			}
			if got.Area.Estimable() != got.NaiveArea.Estimable() || math.Abs(got.Area.Value-got.NaiveArea.Value) > 1e-12 {
				t.Fatalf("trial %d: corrected %v, naive %v", trial, got.Area, got.NaiveArea)
			}
			if !reflect.DeepEqual(got.Curve.Points, got.Naive.Points) {
				t.Fatalf("trial %d: corrected curve differs from the naive one", trial)
			}
		}
	}
}

func TestCorrectedROCNotFollowedUp(t *testing.T) {
	cells := []ValueVerification{
		{Value: 1, Stratum: "home", VerificationCell: VerificationCell{FoundNeeded: 5, Unverified: 300}},
		{Value: 2, Stratum: "sent in", VerificationCell: VerificationCell{SampledNeeded: 20, SampledNotNeeded: 30, Unverified: 10}},
	}
	got, err := CorrectedROC(cells, HighIsBad, WithinStratum, correctionOptions(1, 200))
	if err != nil || got.Estimable() || !strings.Contains(got.NotEstimable, "300") || !strings.Contains(got.NotEstimable, "home") {
		t.Errorf("found cases stood for the unseen: %+v, %v", got, err)
	}
	if !got.NaiveArea.Estimable() {
		t.Error("the naive area went missing")
	}
	choice, err := CorrectedThreshold(cells, HighIsBad, WithinStratum, ByYouden(), 0, correctionOptions(1, 200))
	if err != nil || choice.Choice.Estimable() || choice.Upper.Estimable() || choice.Choice.Sensitivity.Estimable() {
		t.Errorf("a threshold was chosen: %+v, %v", choice, err)
	}
	empty, err := CorrectedROC(nil, HighIsBad, WithinStratum, correctionOptions(1, 200))
	if err != nil || empty.Estimable() {
		t.Errorf("no cells: %+v, %v", empty, err)
	}
}

// counts lists value, needed and not needed.
func (t valueTable) counts() [][3]float64 {
	var out [][3]float64
	for i, v := range t.value {
		out = append(out, [3]float64{v, t.pos[i], t.neg[i]})
	}
	return out
}

func TestCorrectedThreshold(t *testing.T) {
	r := rand.New(rand.NewPCG(66, 67))
	floor := mustCriterion(t)(BySensitivityFloor(0.6, AtLowerLimit, 0.95))
	chosen := 0
	for trial := range 60 {
		cells := randomVerification(r, true)
		// A value nobody verified has no expected episode, so that two thresholds mark the same.
		cells = append(cells, ValueVerification{Value: 2.5, Stratum: "home", VerificationCell: VerificationCell{Unverified: 5}})
		for _, d := range []Direction{HighIsBad, BothEndsAreBad} {
			for _, by := range []Criterion{ByYouden(), floor} {
				got, err := CorrectedThreshold(cells, d, WithinStratum, by, 0.01, correctionOptions(3, 200))
				if err != nil {
					t.Fatal(err)
				}
				if !got.Choice.Estimable() {
					continue
				}
				chosen++
				for name, e := range map[string]Estimate{"sensitivity": got.Choice.Sensitivity, "specificity": got.Choice.Specificity, "on a limit": got.Choice.AtThreshold} {
					checkSane(t, name, e, 0, 1)
					if !e.Estimable() || e.Conf != 0.95 {
						t.Fatalf("trial %d, %v, %v: %s %+v", trial, d, by, name, e)
					}
				}
				tp, needed := 0.0, 0.0
				for _, c := range newCorrectedSampler(cells, WithinStratum, nil).expected.counts() {
					needed += c[1]
					if got.Choice.Threshold.Positive(c[0]) {
						tp += c[1]
					}
				}
				if math.Abs(got.Choice.Sensitivity.Value-tp/needed) > 1e-9 {
					t.Fatalf("trial %d, %v, %v: sensitivity %v, its threshold marks %v", trial, d, by, got.Choice.Sensitivity.Value, tp/needed)
				}
				if by.judged == AtLowerLimit && (got.Choice.Sensitivity.Low < 0.6 || got.Upper.Estimable()) {
					t.Fatalf("trial %d: floor 0.6, chosen with %+v, upper %+v", trial, got.Choice.Sensitivity, got.Upper)
				}
				checkSane(t, "upper", got.Upper, -1, 6)
				checkSane(t, "lower", got.Lower, -1, 6)
			}
		}
	}
	if chosen < 100 {
		t.Errorf("only %d choices", chosen)
	}
}

func TestCorrectedROCBadArguments(t *testing.T) {
	good := correctionOptions(1, 200)
	for name, f := range map[string]func() error{
		"negative": func() error {
			_, err := CorrectedROC([]ValueVerification{{VerificationCell: VerificationCell{Unverified: -1}}}, HighIsBad, WithinStratum, good)
			return err
		},
		"value": func() error {
			_, err := CorrectedROC([]ValueVerification{{Value: math.NaN()}}, HighIsBad, WithinStratum, good)
			return err
		},
		"direction": func() error { _, err := CorrectedROC(nil, 0, WithinStratum, good); return err },
		"unit":      func() error { _, err := CorrectedROC(nil, HighIsBad, 0, good); return err },
		"options":   func() error { _, err := CorrectedROC(nil, HighIsBad, WithinStratum, CorrectionOptions{}); return err },
		"criterion": func() error {
			_, err := CorrectedThreshold(nil, HighIsBad, WithinStratum, Criterion{}, 0, good)
			return err
		},
		"within": func() error {
			_, err := CorrectedThreshold(nil, HighIsBad, WithinStratum, ByYouden(), math.NaN(), good)
			return err
		},
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: error %v, want ErrArgument", name, err)
		}
	}
}

func BenchmarkCorrectedROC(b *testing.B) {
	var cells []ValueVerification
	for i, c := range tenMillion() {
		for s, name := range []string{"emergency", "same day", "soon", "home"} {
			k := int64(4 * (s + 1))
			cells = append(cells, ValueVerification{Value: c.Value, Stratum: name, VerificationCell: VerificationCell{
				SampledNeeded: c.Needed / (50 * k), SampledNotNeeded: c.NotNeeded / (50 * k), FoundNeeded: int64(i % 3),
				Unverified: (c.Needed + c.NotNeeded) / 4}})
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := CorrectedROC(cells, HighIsBad, WithinStratum, correctionOptions(1, 2000)); err != nil {
			b.Fatal(err)
		}
	}
}
