package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// By hand: 4 in need marked by both, 2 by the first alone, 1 by the second alone,
// 3 by neither; one unverified in each cell. Highest: first alone 3, second alone 1,
// the rest 7, (3-1)/11. Lowest: 2 against 2 of any number, 0.
func TestPairBoundsByHand(t *testing.T) {
	cell := func(need int64) VerificationCell { return VerificationCell{SampledNeeded: need, Unverified: 1} }
	got, err := ComparePairBounds([]PairVerificationStratum{{Both: cell(4), FirstOnly: cell(2), SecondOnly: cell(1), Neither: cell(3)}})
	if err != nil {
		t.Fatal(err)
	}
	if r := got.SensitivityDifference; math.Abs(r.High-2.0/11) > 1e-15 || r.Low != 0 {
		t.Errorf("sensitivity %+v, want 0 to 2/11", r)
	}
	if got.Gained != (Range{Low: 2, High: 3}) || got.Lost != (Range{Low: 1, High: 2}) || got.Extra != (Range{High: 1}) {
		t.Errorf("%+v", got)
	}
	if r := got.SpecificityDifference; r.Low != -1 || r.High != 1 {
		t.Errorf("specificity %+v: nothing is known of animals not in need", r)
	}
	none, err := ComparePairBounds([]PairVerificationStratum{{Name: "none"}})
	if err != nil || none.SensitivityDifference.Undefined == "" {
		t.Errorf("no episode: %+v, %v", none, err)
	}
	if _, err := ComparePairBounds([]PairVerificationStratum{{FirstOnly: VerificationCell{Unverified: -1}}}); !errors.Is(err, ErrArgument) {
		t.Errorf("negative: %v", err)
	}
}

// Second opinion: every way to give the unverified their outcome is tried, and the
// extremes found are the bounds.
func TestPairBoundsAreReached(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for trial := range 300 {
		var c [4]VerificationCell
		for i := range c {
			c[i] = VerificationCell{SampledNeeded: r.Int64N(3), FoundNotNeeded: r.Int64N(3), Unverified: r.Int64N(3)}
		}
		got, err := ComparePairBounds([]PairVerificationStratum{{Both: c[0], FirstOnly: c[1], SecondOnly: c[2], Neither: c[3]}})
		if err != nil {
			t.Fatal(err)
		}
		low, high, seen := math.Inf(1), math.Inf(-1), false
		var try func(i int, need [4]float64)
		try = func(i int, need [4]float64) {
			if i == 4 {
				if n := need[0] + need[1] + need[2] + need[3]; n > 0 {
					d := (need[1] - need[2]) / n
					low, high, seen = math.Min(low, d), math.Max(high, d), true
				}
				return
			}
			for u := range c[i].Unverified + 1 {
				need[i] = float64(c[i].SampledNeeded + u)
				try(i+1, need)
			}
		}
		try(0, [4]float64{})
		if b := got.SensitivityDifference; seen == (b.Undefined != "") || seen && (b.Low > low+1e-12 || b.High < high-1e-12 || low < 0 && math.Abs(b.Low-low) > 1e-12 || high > 0 && math.Abs(b.High-high) > 1e-12) {
			t.Fatalf("trial %d: %+v: bounds %+v, found %v to %v (%v)", trial, c, b, low, high, seen)
		}
	}
}
