package metrics

import (
	"errors"
	"math"
	"testing"
)

// 30 of 40 by Woolf's variance has the log odds limits below (by hand: log 3 =
// 1.0986, variance 1/30 + 1/10); reading value and limits back gives the same
// effect.
func TestLogitFromLimits(t *testing.T) {
	want, err := LogitEffects([]GroupCount{{30, 40}}, LeaveOutEmpty)
	if err != nil {
		t.Fatal(err)
	}
	half := 1.959963984540054 * math.Sqrt(1.0/30+1.0/10)
	e := FromLogit(Estimate{Value: math.Log(3), Low: math.Log(3) - half, High: math.Log(3) + half, Conf: 0.95})
	got, err := LogitFromLimits(e)
	if err != nil || math.Abs(got.Value-want[0].Value) > 1e-12 || math.Abs(got.Variance-want[0].Variance) > 1e-12 {
		t.Errorf("effect %+v, %v; want %+v", got, err, want[0])
	}
	for name, e := range map[string]Estimate{
		"not estimable":      {NotEstimable: "nobody"},
		"limit at 1":         {Value: 0.9, Low: 0.8, High: 1, Conf: 0.95},
		"limit at 0":         {Value: 0.1, Low: 0, High: 0.2, Conf: 0.95},
		"no upper limit":     {Value: 0.1, Low: 0.05, HighUnbounded: true, Conf: 0.95},
		"limits of no width": {Value: 0.1, Low: 0.1, High: 0.1, Conf: 0.95},
	} {
		if got, err := LogitFromLimits(e); err != nil || got.NotEstimable == "" || got.Variance != 0 {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	for _, e := range []Estimate{{Value: 0.5, Low: 0.4, High: 0.6, Conf: 1}, {Value: 0.3, Low: 0.4, High: 0.6, Conf: 0.9}} {
		if _, err := LogitFromLimits(e); !errors.Is(err, ErrArgument) {
			t.Errorf("%+v: %v", e, err)
		}
	}
}
