package metrics

import "math"

// TestResult is the outcome of one significance test.
//
// A test that the data cannot carry (no discordant pair, no variance) is not an
// error: NotEstimable then says why, and Statistic, DF and P mean nothing.
type TestResult struct {
	// Method names the test as the literature does.
	Method Method
	// Statistic is the test statistic; 0 for an exact test, which has none.
	Statistic float64
	// DF is the degrees of freedom of a chi-square or t statistic, else 0.
	DF float64
	// P is the p-value in 0..1, two-sided unless the function says otherwise.
	P float64
	// NotEstimable is empty for a test that could be made, else the reason.
	NotEstimable string
	// Warnings belong beside the figure as footnotes.
	Warnings []string
}

// Estimable reports whether the test could be made.
func (r TestResult) Estimable() bool { return r.NotEstimable == "" }

// normalTwoSidedP is P(|Z| >= |z|). The complementary error function keeps its
// digits far out in the tail, where 1 - cdf has none left.
func normalTwoSidedP(z float64) float64 { return math.Erfc(math.Abs(z) / math.Sqrt2) }

// normalUpperP is P(Z >= z).
func normalUpperP(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }

// chiSquare1P is the upper tail of the chi-square distribution with one degree
// of freedom.
func chiSquare1P(x float64) float64 { return normalTwoSidedP(math.Sqrt(math.Max(0, x))) }
