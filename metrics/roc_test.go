package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// valueCounts turns [value, needed, not needed] rows of a check file into counts.
func valueCounts(rows [][3]float64) []ValueCount {
	out := make([]ValueCount, len(rows))
	for i, r := range rows {
		out[i] = ValueCount{Value: r[0], Needed: int64(r[1]), NotNeeded: int64(r[2])}
	}
	return out
}

// rocCounts reads the input "counts" of a ROC check case.
func rocCounts(t *testing.T, c *checkCase) []ValueCount {
	t.Helper()
	var in struct{ Counts [][3]float64 }
	c.input(t, &in)
	return valueCounts(in.Counts)
}

// randomValueCounts makes a small table with many ties and many zeros.
func randomValueCounts(r *rand.Rand) []ValueCount {
	out := make([]ValueCount, 1+r.IntN(8))
	for i := range out {
		out[i].Value = float64(r.IntN(12)) / 2
		if r.IntN(3) > 0 {
			out[i].Needed = int64(r.IntN(5))
		}
		if r.IntN(3) > 0 {
			out[i].NotNeeded = int64(r.IntN(5))
		}
	}
	return out
}

func TestROCOperatingPoints(t *testing.T) {
	c := checkByID(t, "roc", "roc-02")
	curve, err := ROC(rocCounts(t, c), HighIsBad)
	if err != nil {
		t.Fatal(err)
	}
	if first := curve.Points[0]; first.TP != 0 || first.FP != 0 || first.Threshold.String() != "no value" {
		t.Errorf("the curve starts at %+v, want at nobody", first)
	}
	var th, tp, fp, sens, spec []float64
	for i := len(curve.Points) - 1; i > 0; i-- { // the file goes up, the curve comes down
		p := curve.Points[i]
		th, tp, fp = append(th, p.Threshold.Upper), append(tp, p.TP), append(fp, p.FP)
		sens, spec = append(sens, p.Sensitivity()), append(spec, p.Specificity())
	}
	c.nearAll(t, "threshold", th)
	c.nearAll(t, "tp", tp)
	c.nearAll(t, "fp", fp)
	c.nearAll(t, "sens", sens)
	c.nearAll(t, "spec", spec)
	c.allRead(t)
}

func TestThresholdTieRule(t *testing.T) {
	tests := []struct {
		name     string
		th       Threshold
		positive []float64
		negative []float64
		words    string
	}{
		{"upper", Threshold{Upper: 30, HasUpper: true}, []float64{30, 31}, []float64{29.9, -5}, ">= 30"},
		{"lower", Threshold{Lower: 36.5, HasLower: true}, []float64{36.5, 30}, []float64{36.6}, "<= 36.5"},
		{"both", Threshold{Lower: 37, Upper: 39.5, HasLower: true, HasUpper: true}, []float64{37, 39.5, 20, 41}, []float64{37.1, 39.4}, "<= 37 or >= 39.5"},
		{"nobody", Threshold{}, nil, []float64{0, -1e9, 1e9}, "no value"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for _, v := range tt.positive {
				if !tt.th.Positive(v) {
					t.Errorf("%v is negative under %v", v, tt.th)
				}
			}
			for _, v := range tt.negative {
				if tt.th.Positive(v) {
					t.Errorf("%v is positive under %v", v, tt.th)
				}
			}
			if got := tt.th.String(); got != tt.words {
				t.Errorf("String() = %q, want %q", got, tt.words)
			}
		})
	}
}

// Every point of a curve must hold what its own threshold marks, and both counts must
// rise along the curve, whatever the direction.
func TestROCPointsAreWhatTheirThresholdMarks(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for trial := range 400 {
		counts := randomValueCounts(r)
		for _, d := range []Direction{HighIsBad, LowIsBad, BothEndsAreBad} {
			curve, err := ROC(counts, d)
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range curve.Points {
				var tp, fp float64
				for _, c := range counts {
					if p.Threshold.Positive(c.Value) {
						tp += float64(c.Needed)
						fp += float64(c.NotNeeded)
					}
				}
				if tp != p.TP || fp != p.FP {
					t.Fatalf("trial %d, %v, %v: point has %v/%v, its threshold marks %v/%v", trial, d, p.Threshold, p.TP, p.FP, tp, fp)
				}
				if i > 0 && (p.TP < curve.Points[i-1].TP || p.FP < curve.Points[i-1].FP) {
					t.Fatalf("trial %d, %v: counts fall along the curve", trial, d)
				}
			}
			if n := len(curve.Points); n > 0 && (curve.Points[n-1].TP != curve.Needed || curve.Points[n-1].FP != curve.NotNeeded) {
				t.Fatalf("trial %d, %v: curve ends at %+v", trial, d, curve.Points[n-1])
			}
		}
	}
}

// No pair of limits may beat the both-ended curve; searched row by row.
func TestBothEndedCurveIsUnbeaten(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for trial := range 200 {
		counts := randomValueCounts(r)
		curve, err := ROC(counts, BothEndsAreBad)
		if err != nil {
			t.Fatal(err)
		}
		if !curve.Estimable() {
			continue
		}
		for i := 2; i+1 < len(curve.Points); i++ { // the ends are there whether useful or not
			if p, q := curve.Points[i-1], curve.Points[i]; q.TP == p.TP || q.FP == p.FP {
				t.Fatalf("trial %d: of %v and %v one beats the other", trial, p, q)
			}
		}
		for _, lo := range counts {
			for _, hi := range counts {
				th := Threshold{Lower: lo.Value, Upper: hi.Value, HasLower: true, HasUpper: true}
				var tp, fp float64
				for _, c := range counts {
					if th.Positive(c.Value) {
						tp += float64(c.Needed)
						fp += float64(c.NotNeeded)
					}
				}
				reached := false
				for _, p := range curve.Points {
					if p.TP >= tp && p.FP <= fp {
						reached = true
					}
				}
				if !reached {
					t.Fatalf("trial %d: %v marks %v of the needed and %v others, better than the curve %+v", trial, th, tp, fp, curve.Points)
				}
			}
		}
	}
}

func TestROCBadArguments(t *testing.T) {
	good := []ValueCount{{Value: 1, Needed: 2, NotNeeded: 3}}
	tests := []struct {
		name   string
		counts []ValueCount
		d      Direction
	}{
		{"negative needed", []ValueCount{{Value: 1, Needed: -1}}, HighIsBad},
		{"negative not needed", []ValueCount{{Value: 1, NotNeeded: -1}}, HighIsBad},
		{"not a number", []ValueCount{{Value: math.NaN(), Needed: 1}}, HighIsBad},
		{"infinite", []ValueCount{{Value: math.Inf(1), Needed: 1}}, HighIsBad},
		{"no direction", good, 0},
		{"unknown direction", good, 4},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := ROC(tt.counts, tt.d); !errors.Is(err, ErrArgument) {
				t.Errorf("ROC: error %v, want ErrArgument", err)
			}
			if _, err := AUCDeLong(tt.counts, tt.d, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("AUCDeLong: error %v, want ErrArgument", err)
			}
			if _, err := CandidateTable(tt.counts, tt.d, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("CandidateTable: error %v, want ErrArgument", err)
			}
			if _, err := ChooseThreshold(tt.counts, tt.d, ByYouden(), 0, 0.95); !errors.Is(err, ErrArgument) {
				t.Errorf("ChooseThreshold: error %v, want ErrArgument", err)
			}
		})
	}
	for _, conf := range []float64{0, 1, -0.5, math.NaN()} {
		if _, err := AUCDeLong(good, HighIsBad, conf); !errors.Is(err, ErrArgument) {
			t.Errorf("conf %v: error %v, want ErrArgument", conf, err)
		}
	}
}

func TestROCThinDataIsAnAnswer(t *testing.T) {
	for name, counts := range map[string][]ValueCount{
		"nothing":          nil,
		"only zeros":       {{Value: 3}},
		"only needed":      {{Value: 3, Needed: 4}},
		"only not needed":  {{Value: 3, NotNeeded: 4}, {Value: 5, NotNeeded: 1}},
		"needed and empty": {{Value: 3, Needed: 4}, {Value: 5}},
	} {
		for _, d := range []Direction{HighIsBad, LowIsBad, BothEndsAreBad} {
			curve, err := ROC(counts, d)
			if err != nil || curve.Estimable() || len(curve.Points) > 0 {
				t.Errorf("%s, %v: curve %+v, error %v", name, d, curve, err)
			}
			area, err := AUCDeLong(counts, d, 0.95)
			if err != nil || area.Estimable() || area.Value != 0 {
				t.Errorf("%s, %v: area %+v, error %v", name, d, area, err)
			}
			choice, err := ChooseThreshold(counts, d, ByYouden(), 0, 0.95)
			if err != nil || choice.Estimable() || choice.Sensitivity.Estimable() {
				t.Errorf("%s, %v: choice %+v, error %v", name, d, choice, err)
			}
			if _, err := CandidateTable(counts, d, 0.95); err != nil {
				t.Errorf("%s, %v: table error %v", name, d, err)
			}
		}
	}
}
