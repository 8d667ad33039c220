package metrics

import (
	"errors"
	"math"
	"testing"
)

func TestCostPerEvent(t *testing.T) {
	// By hand: 200 questions of 40 s, 10 of them deciding: 800 s each. Wilson's
	// limits of 10/200 are 0.0274 and 0.0896 (R 4: prop.test(10, 200, correct = FALSE)).
	e, err := CostPerEvent(8000, 10, 200, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if e.Value != 800 || math.Abs(e.Low-40/0.0896) > 1 || math.Abs(e.High-40/0.0274) > 3 || e.Numerator != 8000 || e.Denominator != 10 {
		t.Errorf("%+v", e)
	}
	for _, c := range [][2]int64{{0, 20}, {0, 0}} {
		if e, err := CostPerEvent(5, c[0], c[1], 0.95); err != nil || e.Estimable() || e.Value != 0 {
			t.Errorf("%v: %+v %v", c, e, err)
		}
	}
	for _, total := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := CostPerEvent(total, 1, 2, 0.95); !errors.Is(err, ErrArgument) {
			t.Errorf("total %v: %v", total, err)
		}
	}
	if _, err := CostPerEvent(1, 3, 2, 0.95); !errors.Is(err, ErrArgument) {
		t.Errorf("3 of 2: %v", err)
	}
}
