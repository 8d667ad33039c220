package metrics

import (
	"errors"
	"math"
	"testing"
)

// With Wilson's limits of each group the join is Newcombe's method 10.
func TestDifferenceOfEstimatesIsNewcombe(t *testing.T) {
	for _, c := range [][4]int64{{56, 70, 48, 80}, {9, 10, 3, 10}, {0, 10, 0, 20}, {10, 10, 0, 20}} { // cases of Newcombe (1998) table II
		a, _ := Wilson(c[0], c[1], 0.95)
		b, _ := Wilson(c[2], c[3], 0.95)
		got, err := DifferenceOfEstimates(a, b)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := NewcombeDifference(c[0], c[1], c[2], c[3], 0.95)
		if math.Abs(got.Low-want.Low) > 1e-12 || math.Abs(got.High-want.High) > 1e-12 || math.Abs(got.Value-want.Value) > 1e-12 {
			t.Errorf("%v: %v (%v to %v), want %v (%v to %v)", c, got.Value, got.Low, got.High, want.Value, want.Low, want.High)
		}
	}
}

func TestDifferenceOfEstimatesEdges(t *testing.T) {
	a, _ := Wilson(1, 2, 0.95)
	b, _ := Wilson(0, 0, 0.95)
	if e, err := DifferenceOfEstimates(a, b); err != nil || e.Estimable() {
		t.Errorf("%+v %v", e, err)
	}
	open := a
	open.HighUnbounded = true
	if e, err := DifferenceOfEstimates(open, a); err != nil || e.Estimable() {
		t.Errorf("%+v %v", e, err)
	}
	c, _ := Wilson(1, 2, 0.9)
	if _, err := DifferenceOfEstimates(a, c); !errors.Is(err, ErrArgument) {
		t.Errorf("two confidences: %v", err)
	}
	a.Warnings = []string{"few"}
	if e, _ := DifferenceOfEstimates(a, a); len(e.Warnings) != 1 || e.Value != 0 {
		t.Errorf("%+v", e)
	}
}
