package timingtest_test

import (
	"slices"
	"testing"
	"time"

	"hindcheck/pipeline/timingtest"
)

func TestMedian(t *testing.T) {
	times := timingtest.New()
	for _, s := range []time.Duration{5, 1, 9} {
		times.Add("odd", timingtest.Spent{Processor: s, Wall: 10 - s})
	}
	for _, s := range []time.Duration{5, 1, 9, 7} {
		times.Add("even", timingtest.Spent{Processor: s, Wall: s})
	}
	for part, want := range map[string]timingtest.Spent{"odd": {Processor: 5, Wall: 5}, "even": {Processor: 6, Wall: 6}, "never": {}} {
		if got := times.Median(part); got != want {
			t.Errorf("%s: %v, want %v", part, got, want)
		}
	}
}

func TestTurns(t *testing.T) {
	var order []string
	a, b := func() { order = append(order, "a") }, func() { order = append(order, "b") }
	for i := range 3 {
		timingtest.Turns(i, a, b)
	}
	if want := []string{"a", "b", "b", "a", "a", "b"}; !slices.Equal(order, want) {
		t.Errorf("%v, want %v", order, want)
	}
}

func TestProcessor(t *testing.T) {
	times := timingtest.New()
	times.Run("spin", func() {
		for from := timingtest.Processor(); timingtest.Processor() == from; {
			_ = make([]byte, 1<<16)
		}
	})
	if m := times.Median("spin"); m.Processor <= 0 || m.Wall <= 0 {
		t.Errorf("work took %v", m)
	}
}
