package replay

import (
	"fmt"
	"strconv"

	"hindcheck/metrics"
)

// whole writes a count with commas.
func whole(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

func calls(n int64) string {
	if n == 1 {
		return "1 call"
	}
	return whole(n) + " calls"
}

func percent(x float64) string { return strconv.FormatFloat(100*x, 'f', 1, 64) + " %" }

func points(x float64) string {
	return strconv.FormatFloat(100*x, 'f', 1, 64) + " percentage points"
}

func number(x float64) string { return strconv.FormatFloat(x, 'f', 2, 64) }

// said writes an estimate with its limits.
func said(e metrics.Estimate, write func(float64) string) string {
	if !e.Estimable() {
		return "not estimable"
	}
	return fmt.Sprintf("%s (%s to %s)", write(e.Value), write(e.Low), write(e.High))
}
