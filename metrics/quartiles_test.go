package metrics

import (
	"errors"
	"math"
	"testing"
)

// R 4: quantile(1:10) gives 1, 3.25, 5.5, 7.75, 10; quantile(c(2, 9, 4)) gives
// 2, 3, 4, 6.5, 9 (type 7, the default). From memory, and by hand.
func TestSpreadOf(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   Spread
	}{
		{[]float64{10, 9, 8, 7, 6, 5, 4, 3, 2, 1}, Spread{1, 3.25, 5.5, 7.75, 10, 10}},
		{[]float64{2, 9, 4}, Spread{2, 3, 4, 6.5, 9, 3}},
		{[]float64{5}, Spread{5, 5, 5, 5, 5, 1}},
		{nil, Spread{}},
	} {
		got, err := SpreadOf(c.values)
		if err != nil || got != c.want {
			t.Errorf("%v: %+v, %v; want %+v", c.values, got, err, c.want)
		}
	}
	if _, err := SpreadOf([]float64{1, math.NaN()}); !errors.Is(err, ErrArgument) {
		t.Errorf("not a number: %v", err)
	}
}
