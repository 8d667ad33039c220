package metrics

import (
	"errors"
	"math"
	"testing"
)

func TestAgainstFloor(t *testing.T) {
	for name, tt := range map[string]struct {
		e    Estimate
		want FloorVerdict
	}{
		"above":           {Estimate{Value: 0.97, Low: 0.95, High: 0.99}, FloorMet},
		"just":            {Estimate{Value: 0.95, Low: 0.9, High: 0.99}, FloorMet},
		"holds the floor": {Estimate{Value: 0.97, Low: 0.89, High: 0.99}, FloorOpen},
		"value below":     {Estimate{Value: 0.8, Low: 0.7, High: 0.9}, FloorOpen},
		"below":           {Estimate{Value: 0.7, Low: 0.6, High: 0.89}, FloorNotMet},
		"no upper limit":  {Estimate{Value: 0, Low: 0, HighUnbounded: true}, FloorOpen},
		"no lower limit":  {Estimate{Value: 2, High: 3, LowUnbounded: true}, FloorOpen},
		"no figure":       {notEstimable(0.95, MethodWilson, "nothing"), FloorNotEstimable},
	} {
		if got, err := AgainstFloor(tt.e, 0.9); err != nil || got != tt.want {
			t.Errorf("%s: %v, want %v (%v)", name, got, tt.want, err)
		}
	}
	if _, err := AgainstFloor(Estimate{}, math.NaN()); !errors.Is(err, ErrArgument) {
		t.Errorf("NaN: %v", err)
	}
	if FloorOpen.String() != "cannot tell" || FloorMet.String() != "at or above the floor" {
		t.Errorf("words: %v, %v", FloorOpen, FloorMet)
	}
}
