package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// JamesSteinResult is the answer of JamesStein: all groups pulled towards their
// mean by one factor. The estimator has no agreed limits, so it carries none:
// show Shrunken only beside figures with limits (BetaPrior.Shrink).
type JamesSteinResult struct {
	// GrandMean is the plain mean of the raw proportions.
	GrandMean float64
	// Variance is the binomial variance of a raw proportion at the grand mean.
	Variance float64
	// Factor multiplies each group's distance from the grand mean, 0 to 1.
	Factor float64
	// Raw and Shrunken are proportions in the order of the groups. Shrunken is
	// empty where NotEstimable is set.
	Raw, Shrunken []float64
	// NotEstimable is empty, or the reason why nothing was shrunk.
	NotEstimable string
}

// JamesStein shrinks the proportions of at least four groups with the same
// number of trials towards their mean m:
//
//	m + c (raw - m),  c = 1 - (k - 3) v / sum (raw - m)^2,  v = m (1 - m) / trials.
//
// c is cut off at 0 (the positive-part rule). It is the simplest shrinkage and
// easy to check by hand; groups of unequal size need BetaByML. Fewer than four
// groups or identical groups are reported in NotEstimable. It returns
// ErrArgument for trials below 1 or a count outside 0..trials.
//
// Source: Efron & Morris (1977) Sci Am 236(5):119-127; positive part after
// Efron & Morris (1975) J Am Stat Assoc 70:311-319.
func JamesStein(successes []int64, trials int64) (JamesSteinResult, error) {
	if trials < 1 {
		return JamesSteinResult{}, argErr("%d trials a group, expected at least 1", trials)
	}
	res := JamesSteinResult{Raw: make([]float64, len(successes))}
	for i, s := range successes {
		if s < 0 || s > trials {
			return JamesSteinResult{}, argErr("group %d: %d of %d, expected 0 to all of the trials", i+1, s, trials)
		}
		res.Raw[i] = float64(s) / float64(trials)
	}
	if len(successes) < 4 {
		res.NotEstimable = "fewer than 4 groups"
		return res, nil
	}
	k := float64(len(successes))
	mean, variance := stat.MeanVariance(res.Raw, nil)
	res.GrandMean, res.Variance = mean, mean*(1-mean)/float64(trials)
	if variance == 0 {
		res.NotEstimable = "all groups have the same proportion"
		return res, nil
	}
	res.Factor = math.Max(0, 1-(k-3)*res.Variance/(variance*(k-1)))
	res.Shrunken = make([]float64, len(res.Raw))
	for i, raw := range res.Raw {
		res.Shrunken[i] = mean + res.Factor*(raw-mean)
	}
	return res, nil
}
