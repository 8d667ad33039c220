package metrics

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// PairedCounts counts pairs: the same episodes judged by two rule sets (or read on
// two occasions), each saying yes or no.
type PairedCounts struct {
	// Both and Neither count pairs that agree, FirstOnly and SecondOnly those in
	// which only the first or only the second says yes (the discordant pairs).
	Both, FirstOnly, SecondOnly, Neither int64
}

// N is the number of pairs.
func (c PairedCounts) N() int64 { return c.Both + c.FirstOnly + c.SecondOnly + c.Neither }

// Swap exchanges first and second.
func (c PairedCounts) Swap() PairedCounts {
	c.FirstOnly, c.SecondOnly = c.SecondOnly, c.FirstOnly
	return c
}

// Complement exchanges yes and no: what both flagged, neither left alone.
func (c PairedCounts) Complement() PairedCounts {
	return PairedCounts{Both: c.Neither, FirstOnly: c.SecondOnly, SecondOnly: c.FirstOnly, Neither: c.Both}
}

func (c PairedCounts) check() error {
	for _, x := range []struct {
		name string
		n    int64
	}{{"both", c.Both}, {"first only", c.FirstOnly}, {"second only", c.SecondOnly}, {"neither", c.Neither}} {
		if x.n < 0 {
			return argErr("%d pairs in cell %q, expected a count of 0 or more", x.n, x.name)
		}
	}
	return nil
}

// Methods of the McNemar family.
const (
	MethodMcNemar          Method = "McNemar, asymptotic"
	MethodMcNemarCorrected Method = "McNemar, asymptotic, continuity corrected"
	MethodMcNemarExact     Method = "McNemar, exact conditional"
	MethodMcNemarMidP      Method = "McNemar, mid-p"
)

// noDiscordantPair is why an asymptotic test cannot be made.
const noDiscordantPair = "no discordant pair: the two never disagree"

// McNemar tests whether two rule sets say yes equally often on the same episodes:
// chi-square = (b - c)^2 / (b + c) with one degree of freedom, b and c being the
// discordant pairs. Two-sided P. Without a discordant pair it is not estimable (the
// exact and mid-p tests then give P = 1). It returns ErrArgument for a negative count.
//
// Source: McNemar (1947) Psychometrika 12:153-157.
func McNemar(c PairedCounts) (TestResult, error) {
	return mcNemarChiSquare(c, MethodMcNemar, 0)
}

// McNemarCorrected is McNemar with Edwards's continuity correction,
// max(0, |b - c| - 1)^2 / (b + c). It is conservative; McNemarMidP is the better choice.
//
// Source: Edwards (1948) Psychometrika 13:185-187.
func McNemarCorrected(c PairedCounts) (TestResult, error) {
	return mcNemarChiSquare(c, MethodMcNemarCorrected, 1)
}

func mcNemarChiSquare(c PairedCounts, m Method, correction float64) (TestResult, error) {
	r := TestResult{Method: m}
	if err := c.check(); err != nil {
		return r, err
	}
	n := float64(c.FirstOnly + c.SecondOnly)
	if n == 0 {
		r.NotEstimable = noDiscordantPair
		return r, nil
	}
	gap := math.Max(0, math.Abs(float64(c.FirstOnly-c.SecondOnly))-correction)
	r.Statistic, r.DF = gap*gap/n, 1
	r.P = chiSquare1P(r.Statistic)
	return r, nil
}

// McNemarExact is the two-sided binomial test of one half on the discordant pairs,
// P = min(1, 2 P(X <= min(b, c))). It never exceeds its level and is therefore
// conservative with few pairs. Without a discordant pair P is 1. It returns ErrArgument
// for a negative count. Also called sign test.
//
// Source: Fagerland, Lydersen & Laake (2013) BMC Med Res Methodol 13:91.
func McNemarExact(c PairedCounts) (TestResult, error) {
	r := TestResult{Method: MethodMcNemarExact, P: 1}
	if err := c.check(); err != nil {
		return TestResult{}, err
	}
	if n := c.FirstOnly + c.SecondOnly; n > 0 {
		r.P = math.Min(1, 2*halfBinomialCDF(min(c.FirstOnly, c.SecondOnly), n))
	}
	return r, nil
}

// McNemarMidP is McNemarExact with half the probability of the observed outcome taken
// off: 2 P(X <= min(b, c)) - P(X = b), and 1 - P(X = b)/2 where b = c. Its level is
// close to nominal, so that it is the test to use by default. Without a discordant pair
// P is 1. It returns ErrArgument for a negative count.
//
// Source: Fagerland, Lydersen & Laake (2013) BMC Med Res Methodol 13:91, equation for
// mid-p and the special case of b = c.
func McNemarMidP(c PairedCounts) (TestResult, error) {
	r := TestResult{Method: MethodMcNemarMidP, P: 1}
	if err := c.check(); err != nil {
		return TestResult{}, err
	}
	n, k := c.FirstOnly+c.SecondOnly, min(c.FirstOnly, c.SecondOnly)
	switch {
	case n == 0:
	case c.FirstOnly == c.SecondOnly:
		r.P = 1 - halfBinomialPMF(k, n)/2
	default:
		r.P = 2*halfBinomialCDF(k, n) - halfBinomialPMF(k, n)
	}
	return r, nil
}

// halfBinomialCDF is P(X <= k), k < n, for n tosses of a fair coin, through the
// incomplete beta function, which keeps its digits in the tail.
func halfBinomialCDF(k, n int64) float64 {
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 0.5)
}

// halfBinomialPMF is P(X = k) for n tosses of a fair coin.
func halfBinomialPMF(k, n int64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return math.Exp(a - b - c - float64(n)*math.Ln2)
}
