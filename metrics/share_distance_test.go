package metrics

import (
	"errors"
	"math"
	"testing"
)

func TestDistanceOfShares(t *testing.T) {
	// Snee (1974) hair colours of men and women, as in R's HairEyeColor (totals by
	// sex over hair): R 4: chisq.test(rbind(c(56,143,34,46), c(52,143,37,81)))
	// gives X-squared 7.9942, df 3, p 0.04613.
	men, women := []int64{56, 143, 34, 46}, []int64{52, 143, 37, 81}
	d, err := DistanceOfShares(men, women)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(d.Test.Statistic-7.9942) > 5e-4 || d.Test.DF != 3 || math.Abs(d.Test.P-0.04613) > 5e-5 || d.Largest != 3 {
		t.Errorf("%+v", d)
	}
	other, _ := DistanceOfShares(women, men)
	if math.Abs(other.Distance-d.Distance) > 1e-15 || math.Abs(other.Shift+d.Shift) > 1e-15 {
		t.Error("the distance is not symmetric")
	}
	// By hand: 1/2 and 1/2 against 1 and 0: ((1/2)^2/(3/2) + (1/2)^2/(1/2)) / 2 = 1/3.
	if d, _ := DistanceOfShares([]int64{5, 5, 0}, []int64{8, 0, 0}); math.Abs(d.Distance-1.0/3) > 1e-15 || d.Test.DF != 1 || d.Shift != 0.5 {
		t.Errorf("%+v", d)
	}
	if d, _ := DistanceOfShares([]int64{5, 0}, []int64{0, 8}); d.Distance != 1 {
		t.Errorf("nothing in common: %+v", d)
	}
	if d, _ := DistanceOfShares([]int64{50, 10}, []int64{5, 1}); d.Distance > 1e-15 || d.SmallestExpected != 1 {
		t.Errorf("the same shares: %+v", d)
	}
}

func TestDistanceOfSharesEdges(t *testing.T) {
	for _, c := range [][2][]int64{{{0, 0}, {1, 2}}, {{}, {}}, {{1}, {0}}} {
		if d, err := DistanceOfShares(c[0], c[1]); err != nil || d.NotEstimable == "" {
			t.Errorf("%v: %+v %v", c, d, err)
		}
	}
	if d, err := DistanceOfShares([]int64{4, 0}, []int64{9, 0}); err != nil || d.Distance != 0 || d.Test.NotEstimable == "" {
		t.Errorf("one category: %+v %v", d, err)
	}
	for _, c := range [][2][]int64{{{1}, {1, 2}}, {{-1, 2}, {1, 2}}} {
		if _, err := DistanceOfShares(c[0], c[1]); !errors.Is(err, ErrArgument) {
			t.Errorf("%v: %v", c, err)
		}
	}
}
