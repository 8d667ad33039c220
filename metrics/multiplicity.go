package metrics

import (
	"cmp"
	"math"
	"slices"
)

// PValue is the result of one test among several. A test that could not be
// made (a flag that never fired) keeps its place in the list with the reason
// and is not counted among the comparisons.
type PValue struct {
	// P is the p-value, in [0, 1]. It is 0 and means nothing where
	// NotEstimable is set.
	P float64
	// NotEstimable is empty, or the reason why the test could not be made.
	NotEstimable string
}

// Bonferroni multiplies each p-value by the number of tests made, m, and caps
// the product at 1. A flag whose adjusted value is at most alpha keeps the
// chance of even one false alarm among all m tests at alpha, whatever the
// dependence between them.
//
// The order of the input is kept; tests that could not be made are returned as
// they came and not counted in m. It returns an error wrapping ErrArgument for a p-value outside
// [0, 1].
//
// Source: Bonferroni (1936) Pubbl R Ist Super Sci Econ Commer Firenze 8:3-62;
// adjusted form as in Wright (1992) Biometrics 48:1005-1013.
func Bonferroni(p []PValue) ([]PValue, error) {
	return adjustSorted(p, func(sorted []float64) {
		for i := range sorted {
			sorted[i] *= float64(len(sorted))
		}
	})
}

// Holm is Bonferroni's method made less wasteful by stepping down: the
// smallest p-value is multiplied by m, the next by m-1 and so on, each at least
// as large as the one before. It controls the same chance (one false alarm or
// more among all tests) under any dependence and never gives a larger value.
//
// Ties share one adjusted value. Order, missing tests and errors as for
// Bonferroni. Also called the sequentially rejective Bonferroni test.
//
// Source: Holm (1979) Scand J Stat 6:65-70.
func Holm(p []PValue) ([]PValue, error) {
	return adjustSorted(p, func(sorted []float64) {
		highest := 0.0
		for i := range sorted {
			highest = max(highest, sorted[i]*float64(len(sorted)-i))
			sorted[i] = highest
		}
	})
}

// Hochberg uses Holm's multipliers but steps up from the largest p-value, so
// its values are never larger than Holm's. It controls the chance of one false
// alarm or more for independent tests and for some positive dependences; flags
// that read the same sign from two sides may break that. Prefer Holm in doubt.
//
// Order, missing tests and errors as for Bonferroni.
//
// Source: Hochberg (1988) Biometrika 75:800-802.
func Hochberg(p []PValue) ([]PValue, error) {
	return adjustSorted(p, func(sorted []float64) {
		stepUp(sorted, func(i int) float64 { return float64(len(sorted) - i) })
	})
}

// BenjaminiHochberg adjusts p-values so that, calling every flag with an
// adjusted value of at most q, the expected share of false calls among the
// calls is at most q. This is a weaker promise than Holm's and is meant for
// screening many flags; it may not enter a harm test or a safety list.
//
// The adjusted value of the i-th smallest of m is the least of p(j) m / j over
// j >= i, capped at 1. Valid for independent or positively dependent tests.
// Order, missing tests and errors as for Bonferroni. Also called the false
// discovery rate adjustment or q-value (loosely).
//
// Source: Benjamini & Hochberg (1995) J R Stat Soc B 57:289-300.
func BenjaminiHochberg(p []PValue) ([]PValue, error) {
	return adjustSorted(p, func(sorted []float64) {
		m := float64(len(sorted))
		stepUp(sorted, func(i int) float64 { return m / float64(i+1) })
	})
}

// BenjaminiYekutieli is BenjaminiHochberg multiplied by 1 + 1/2 + ... + 1/m,
// which makes the promise hold under any dependence between the tests.
//
// Order, missing tests and errors as for Bonferroni.
//
// Source: Benjamini & Yekutieli (2001) Ann Stat 29:1165-1188, theorem 1.3.
func BenjaminiYekutieli(p []PValue) ([]PValue, error) {
	return adjustSorted(p, func(sorted []float64) {
		m := float64(len(sorted))
		harmonic := 0.0
		for i := range sorted {
			harmonic += 1 / float64(i+1)
		}
		stepUp(sorted, func(i int) float64 { return harmonic * m / float64(i+1) })
	})
}

// stepUp multiplies ascending p-values by factor(i) and takes the running
// minimum from the largest down.
func stepUp(sorted []float64, factor func(i int) float64) {
	lowest := math.Inf(1)
	for i := len(sorted) - 1; i >= 0; i-- {
		lowest = min(lowest, sorted[i]*factor(i))
		sorted[i] = lowest
	}
}

// adjustSorted hands the p-values that exist to adjust in ascending order, caps
// the answers at 1 and returns them in the order of the input.
func adjustSorted(p []PValue, adjust func(sorted []float64)) ([]PValue, error) {
	made, err := testsMade(p)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(made, func(a, b int) int { return cmp.Compare(p[a].P, p[b].P) })
	sorted := make([]float64, len(made))
	for i, at := range made {
		sorted[i] = p[at].P
	}
	adjust(sorted)
	out := slices.Clone(p)
	for i, at := range made {
		out[at].P = min(1, sorted[i])
	}
	return out, nil
}

// testsMade returns the positions of the tests that have a p-value.
func testsMade(p []PValue) ([]int, error) {
	var made []int
	for i, v := range p {
		if v.NotEstimable != "" {
			continue
		}
		if !(v.P >= 0 && v.P <= 1) {
			return nil, argErr("p-value %v at position %d, expected a number from 0 to 1", v.P, i+1)
		}
		made = append(made, i)
	}
	return made, nil
}

// TaroneResult is the answer of Tarone.
type TaroneResult struct {
	// Comparisons is K, the number of tests the error rate is shared among:
	// at most the number of tests made, and 0 when no test was made.
	Comparisons int
	// Testable marks tests that could reach alpha / K at all. The others had
	// too few events to show anything, whatever they had shown.
	Testable []bool
	// Rejected marks testable tests with p at most alpha / K.
	Rejected []bool
}

// Tarone is Bonferroni's method for tests on counts. A flag that fired twice
// cannot give a small p-value whatever happened, so it should not cost the
// other flags any error rate: with m(k) the number of tests whose smallest
// attainable p-value is at most alpha / k, K is the smallest k with m(k) <= k,
// and tests are judged at alpha / K.
//
// attainable[i] is the smallest p-value that test i could have given with its
// margins as they are; see FisherSmallestP for a two-by-two table. alpha is the
// error rate to share, in (0, 1). Tests that could not be made are neither
// testable nor rejected. It returns an error wrapping ErrArgument for lists of unequal length,
// values outside [0, 1], a p-value below its attainable minimum or a bad alpha.
//
// Source: Tarone (1990) Biometrics 46:515-522.
func Tarone(p []PValue, attainable []float64, alpha float64) (TaroneResult, error) {
	if len(p) != len(attainable) {
		return TaroneResult{}, argErr("%d p-values and %d attainable minima, expected as many", len(p), len(attainable))
	}
	if !(alpha > 0 && alpha < 1) {
		return TaroneResult{}, argErr("error rate %v, expected a number between 0 and 1", alpha)
	}
	made, err := testsMade(p)
	if err != nil {
		return TaroneResult{}, err
	}
	for _, i := range made {
		// The slack forgives rounding between two ways to sum the same tail.
		if a := attainable[i]; !(a >= 0 && a <= 1) || p[i].P < a*(1-1e-9) {
			return TaroneResult{}, argErr("attainable minimum %v at position %d, expected from 0 to the p-value %v", a, i+1, p[i].P)
		}
	}
	res := TaroneResult{Testable: make([]bool, len(p)), Rejected: make([]bool, len(p))}
	if len(made) == 0 {
		return res, nil
	}
	within := func(k int) int {
		m := 0
		for _, i := range made {
			if attainable[i] <= alpha/float64(k) {
				m++
			}
		}
		return m
	}
	k := 1
	for within(k) > k {
		k++
	}
	res.Comparisons = k
	for _, i := range made {
		res.Testable[i] = attainable[i] <= alpha/float64(k)
		res.Rejected[i] = res.Testable[i] && p[i].P <= alpha/float64(k)
	}
	return res, nil
}

// FisherSmallestP returns the smallest two-sided p-value that Fisher's exact
// test could give for a two-by-two table with the given margins: the least
// probability of any table with these margins, together with all tables of the
// same probability. row1 and row2 count the calls of the two rows, column1 the
// calls in the first column.
//
// It returns an error wrapping ErrArgument for a negative count or a column larger than all rows
// together. An empty table gives 1.
//
// Source: Fisher (1935) J R Stat Soc 98:39-82, section 5; use in Tarone (1990).
func FisherSmallestP(row1, row2, column1 int64) (float64, error) {
	if row1 < 0 || row2 < 0 || column1 < 0 || column1 > row1+row2 {
		return 0, argErr("margins %d, %d and %d, expected counts from 0 with the column within both rows", row1, row2, column1)
	}
	first, last := max(0, column1-row2), min(column1, row1)
	total := logChoose(row1+row2, column1)
	prob := func(x int64) float64 {
		return math.Exp(logChoose(row1, x) + logChoose(row2, column1-x) - total)
	}
	// The hypergeometric probabilities rise and then fall, so the least one
	// stands at an end.
	a, b := prob(first), prob(last)
	switch {
	case first == last:
		return 1, nil
	case math.Abs(a-b) <= 1e-7*max(a, b): // the same tie rule as R's fisher.test
		return min(1, a+b), nil
	default:
		return min(a, b), nil
	}
}

// logChoose is the logarithm of the binomial coefficient n over k, 0 <= k <= n.
func logChoose(n, k int64) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}
