package metrics

import (
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// HosmerLemeshowGroup is one row of the grouped comparison.
type HosmerLemeshowGroup struct {
	// Low and High bound the predicted probabilities of the group: above Low
	// (the first group includes it) up to and including High.
	Low, High float64
	// Trials is the number of calls, Observed those with the outcome, Expected
	// the sum of their predicted probabilities.
	Trials, Observed int64
	Expected         float64
}

// HosmerLemeshowTest compares observed with expected outcomes in groups of
// rising predicted probability.
type HosmerLemeshowTest struct {
	// Groups is the table the test rests on; read it before the p-value.
	Groups []HosmerLemeshowGroup
	// ChiSquare has DF = groups - 2 degrees of freedom; P is its upper tail.
	ChiSquare float64
	DF        int
	P         float64
	// NotEstimable is empty, or the reason why there is no test (the table is
	// still filled in where there are calls).
	NotEstimable string
}

// HosmerLemeshow groups calls by quantiles of their predicted probability and
// tests whether observed and expected outcomes agree:
//
//	chi-square = sum (observed - expected)^2 / (expected (1 - expected / n)).
//
// Group bounds are the quantiles 0, 1/groups, ..., 1 of the predicted
// probabilities, one value a call, interpolated between order statistics (type 7
// of Hyndman & Fan); equal bounds are merged; a group is closed on the right.
// Other programs group otherwise and get another chi-square from the same calls,
// so compare the table first. With many calls the test finds trivial
// disagreement, with few it finds none: it never replaces the table. It is meant
// for the calls the model was fitted to; for new calls the degrees of freedom
// are one to two more.
//
// Fewer than three groups, or a group whose expectation is 0 or everything, is
// reported in NotEstimable. It returns an error wrapping ErrArgument for fewer
// than 3 groups asked, a probability outside [0, 1] or a count outside
// 0..Trials.
//
// Source: Hosmer & Lemeshow (1980) Commun Stat Theory Methods 9:1043-1069.
func HosmerLemeshow(predictions []Prediction, groups int) (HosmerLemeshowTest, error) {
	if groups < 3 {
		return HosmerLemeshowTest{}, argErr("%d groups, expected at least 3", groups)
	}
	if err := checkPredictions(predictions); err != nil {
		return HosmerLemeshowTest{}, err
	}
	sorted := byPrediction(predictions)
	if len(sorted) == 0 {
		return HosmerLemeshowTest{NotEstimable: "no calls"}, nil
	}
	res := HosmerLemeshowTest{Groups: riskGroups(sorted, riskBounds(sorted, groups))}
	if len(res.Groups) < 3 {
		res.NotEstimable = "the predictions take too few different values for 3 groups"
		return res, nil
	}
	for _, g := range res.Groups {
		n := float64(g.Trials)
		if !(g.Expected > 0 && g.Expected < n) {
			res.ChiSquare = 0
			res.NotEstimable = "a group is predicted to have the outcome never or always"
			return res, nil
		}
		d := float64(g.Observed) - g.Expected
		res.ChiSquare += d * d / (g.Expected * (1 - g.Expected/n))
	}
	res.DF = len(res.Groups) - 2
	res.P = distuv.ChiSquared{K: float64(res.DF)}.Survival(res.ChiSquare)
	return res, nil
}

// riskBounds returns the distinct quantiles that bound the groups.
func riskBounds(sorted []Prediction, groups int) []float64 {
	n := int64(0)
	for _, p := range sorted {
		n += p.Trials
	}
	value := func(at int64) float64 { // the at-th smallest prediction, from 0
		for _, p := range sorted {
			if at < p.Trials {
				return p.P
			}
			at -= p.Trials
		}
		return sorted[len(sorted)-1].P
	}
	bounds := make([]float64, 0, groups+1)
	for g := range groups + 1 {
		at := float64(g) / float64(groups) * float64(n-1)
		i := int64(at)
		low, high := value(i), value(min(i+1, n-1))
		bounds = append(bounds, low+(at-float64(i))*(high-low))
	}
	return slices.Compact(bounds)
}

// riskGroups fills the groups between the bounds; a single bound makes a single
// group.
func riskGroups(sorted []Prediction, bounds []float64) []HosmerLemeshowGroup {
	if len(bounds) == 1 {
		bounds = []float64{bounds[0], bounds[0]}
	}
	out := make([]HosmerLemeshowGroup, len(bounds)-1)
	for i := range out {
		out[i].Low, out[i].High = bounds[i], bounds[i+1]
	}
	at := 0
	for _, p := range sorted {
		for at < len(out)-1 && p.P > out[at].High {
			at++
		}
		out[at].Trials += p.Trials
		out[at].Observed += p.Successes
		out[at].Expected += p.P * float64(p.Trials)
	}
	// Bounds between two values of the list may leave a group without calls.
	return slices.DeleteFunc(out, func(g HosmerLemeshowGroup) bool { return g.Trials == 0 })
}
