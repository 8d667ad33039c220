package metrics

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// By hand: a mean of 0.10 with limits 0.10 -/+ 0.15 after 6 months. To clear 0 with a
// chance of one half the half-width must be 0.10: 6 x (1.5)^2 = 13.5 months, 7.5 more.
// With 80 %, by a factor of (1.959964 + 0.841621) / 1.959964 narrower: 27.585 months.
func TestMonthsToSettleByHand(t *testing.T) {
	e := Estimate{Value: 0.10, Low: -0.05, High: 0.25, Conf: 0.95}
	for power, want := range map[float64]float64{0.5: 7.5, 0.8: 21.583} {
		got, err := MonthsToSettle(e, 0, 6, power)
		if err != nil || math.Abs(got.Months-want) > 1e-3*want {
			t.Errorf("power %v: %+v, %v, want %v more months", power, got, err, want)
		}
	}
	if got, _ := MonthsToSettle(e, 0.30, 6, 0.8); got.Months != 0 || got.NotReachable != "" {
		t.Errorf("a bound outside the limits is settled: %+v", got)
	}
	for want, c := range map[string]struct {
		e     Estimate
		bound float64
	}{
		"no estimate":      {notEstimable(0.95, MethodWilson, "nobody was followed up"), 0},
		"at the bound":     {e, 0.10},
		"no limit":         {Estimate{Value: 1, Low: 0, HighUnbounded: true, Conf: 0.95}, 2},
		"more than 100 ye": {Estimate{Value: 0.1, Low: -50, High: 50, Conf: 0.95}, 0},
	} {
		if got, err := MonthsToSettle(c.e, c.bound, 6, 0.8); err != nil || !strings.Contains(got.NotReachable, want) {
			t.Errorf("%s: %+v, %v", want, got, err)
		}
	}
	for name, f := range map[string]func() error{
		"bound":  func() error { _, err := MonthsToSettle(e, math.NaN(), 6, 0.8); return err },
		"months": func() error { _, err := MonthsToSettle(e, 0, 0, 0.8); return err },
		"power":  func() error { _, err := MonthsToSettle(e, 0, 6, 0.3); return err },
	} {
		if err := f(); !errors.Is(err, ErrArgument) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// The promise holds for a proportion: after the time that the plan says, the limit clears
// the bound in about four fifths of simulated lines.
func TestMonthsToSettleKeepsItsPromise(t *testing.T) {
	const p, bound, perMonth, months = 0.90, 0.87, 40, 6
	e, err := Wilson(int64(p*perMonth*months), perMonth*months, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	plan, err := MonthsToSettle(e, bound, months, 0.8)
	if err != nil || plan.Months <= 0 {
		t.Fatalf("%+v, %v", plan, err)
	}
	n := int64(math.Round((months + plan.Months) * perMonth))
	r := rand.New(rand.NewPCG(11, 12))
	const lines = 2000
	clear := 0
	for range lines {
		x := int64(0)
		for range n {
			if r.Float64() < p {
				x++
			}
		}
		if w, _ := Wilson(x, n, 0.95); w.Low > bound {
			clear++
		}
	}
	if share := float64(clear) / lines; share < 0.74 || share > 0.90 {
		t.Errorf("after %d animals the limit clears the bound in %.2f of the lines, want about 0.8", n, share)
	}
}
