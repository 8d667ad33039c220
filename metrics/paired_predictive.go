package metrics

import "math"

// Methods for the comparison of predictive values.
const (
	// MethodWeightedGeneralisedScore is Kosinski's test.
	MethodWeightedGeneralisedScore Method = "weighted generalised score"
	// MethodGeneralisedScore is the test of Leisenring, Alonzo and Pepe.
	MethodGeneralisedScore Method = "generalised score"
	// MethodPredictiveRatio is the log ratio of Moskowitz and Pepe.
	MethodPredictiveRatio Method = "log relative predictive value"
	// MethodPredictiveDifference is the difference with its multinomial variance.
	MethodPredictiveDifference Method = "difference of predictive values, delta method"
)

// PredictiveComparison compares one predictive value of two rule sets on the same
// verified episodes.
type PredictiveComparison struct {
	// First and Second are the two predictive values with Wilson limits.
	First, Second Estimate
	// Difference is First minus Second, with limits by the delta method.
	Difference Estimate
	// Ratio is First over Second, with limits on the log scale.
	Ratio Estimate
	// WeightedScore is Kosinski's test, the one to use: it becomes the score test of two
	// proportions when no animal is marked by both. Score is Leisenring's, for comparison.
	WeightedScore, Score TestResult
}

// ComparePPV compares the positive predictive values of two rule sets on the same verified
// episodes: of the animals that each marks, the share in need. The two groups of marked
// animals overlap, so that McNemar's test does not apply.
//
// A rule set that marks nobody makes everything not estimable; a ratio with an empty
// value, and a test without variance, is not estimable by itself. Predictive values move
// with the share in need and with who was verified: compare like with like. It returns
// ErrArgument for a negative count or a bad conf.
//
// Source: Kosinski (2013) Stat Med 32:964-977; Leisenring, Alonzo & Pepe (2000) Biometrics
// 56:345-351; Moskowitz & Pepe (2006) Clin Trials 3:272-279.
func ComparePPV(r RulePair, conf float64) (PredictiveComparison, error) {
	if err := r.check(); err != nil {
		return PredictiveComparison{}, err
	}
	return comparePredictive(r.Needed, r.NotNeeded, conf, "marks")
}

// CompareNPV compares the negative predictive values: of the animals that each rule set
// leaves unmarked, the share not in need. Otherwise as ComparePPV.
func CompareNPV(r RulePair, conf float64) (PredictiveComparison, error) {
	if err := r.check(); err != nil {
		return PredictiveComparison{}, err
	}
	return comparePredictive(r.NotNeeded.Complement(), r.Needed.Complement(), conf, "leaves unmarked")
}

// predictiveCells are the pairs with and without the outcome that the predictive value is
// about, among those with a yes: by both, by the first only, by the second only.
type predictiveCells struct {
	with, without  [3]float64
	right1, right2 float64 // yes and right
	yes1, yes2     float64 // all yes
}

func comparePredictive(with, without PairedCounts, conf float64, verb string) (PredictiveComparison, error) {
	var c PredictiveComparison
	if err := checkConf(conf); err != nil {
		return c, err
	}
	p := predictiveCells{with: yesCells(with), without: yesCells(without)}
	p.right1, p.right2 = p.with[0]+p.with[1], p.with[0]+p.with[2]
	p.yes1, p.yes2 = p.right1+p.without[0]+p.without[1], p.right2+p.without[0]+p.without[2]
	c.First, _ = Wilson(int64(p.right1), int64(p.yes1), conf)
	c.Second, _ = Wilson(int64(p.right2), int64(p.yes2), conf)
	c.WeightedScore.Method, c.Score.Method = MethodWeightedGeneralisedScore, MethodGeneralisedScore
	for i, yes := range []float64{p.yes1, p.yes2} {
		if yes == 0 {
			who := [2]string{"first", "second"}[i]
			why := "the " + who + " rule set " + verb + " no verified episode"
			c.Difference = notEstimable(conf, MethodPredictiveDifference, "%s", why)
			c.Ratio = notEstimable(conf, MethodPredictiveRatio, "%s", why)
			c.WeightedScore.NotEstimable, c.Score.NotEstimable = why, why
			return c, nil
		}
	}
	z := twoSidedZ(conf)
	c.Difference, c.Ratio = p.difference(conf, z), p.ratio(conf, z)
	p.weightedScore(&c.WeightedScore)
	p.score(&c.Score)
	return c, nil
}

func yesCells(c PairedCounts) [3]float64 {
	return [3]float64{float64(c.Both), float64(c.FirstOnly), float64(c.SecondOnly)}
}

// sumSquares adds count x influence^2 over the six cells.
func (p predictiveCells) sumSquares(influence func(yes1, yes2, right float64) float64) float64 {
	v := 0.0
	for i, says := range [3][2]float64{{1, 1}, {1, 0}, {0, 1}} {
		f, g := influence(says[0], says[1], 1), influence(says[0], says[1], 0)
		v += p.with[i]*f*f + p.without[i]*g*g
	}
	return v
}

func (p predictiveCells) difference(conf, z float64) Estimate {
	a, b := p.right1/p.yes1, p.right2/p.yes2
	v := p.sumSquares(func(yes1, yes2, right float64) float64 {
		return yes1*(right-a)/p.yes1 - yes2*(right-b)/p.yes2
	})
	if !(v > 0) {
		return notEstimable(conf, MethodPredictiveDifference, "the difference has no variance in these episodes")
	}
	d, h := a-b, z*math.Sqrt(v)
	return Estimate{Value: d, Low: math.Max(-1, d-h), High: math.Min(1, d+h), Conf: conf, Method: MethodPredictiveDifference}
}

func (p predictiveCells) ratio(conf, z float64) Estimate {
	if p.right1 == 0 || p.right2 == 0 {
		return notEstimable(conf, MethodPredictiveRatio, "a predictive value of 0 has no finite log ratio")
	}
	v := p.sumSquares(func(yes1, yes2, right float64) float64 {
		return yes1*(right/p.right1-1/p.yes1) - yes2*(right/p.right2-1/p.yes2)
	})
	if !(v > 0) {
		return notEstimable(conf, MethodPredictiveRatio, "the ratio has no variance in these episodes")
	}
	q, h := (p.right1/p.yes1)/(p.right2/p.yes2), z*math.Sqrt(v)
	return Estimate{Value: q, Low: q * math.Exp(-h), High: q * math.Exp(h), Conf: conf, Method: MethodPredictiveRatio}
}

// weightedScore is (PPV1 - PPV2)^2 over its variance with both predictive values pooled,
// D(1-D) - 2C) (1/yes1 + 1/yes2), C being what pairs marked by both add.
func (p predictiveCells) weightedScore(r *TestResult) {
	all := p.yes1 + p.yes2
	pooled := (p.right1 + p.right2) / all
	common := (p.with[0]*(1-pooled)*(1-pooled) + p.without[0]*pooled*pooled) / all
	v := (pooled*(1-pooled) - 2*common) * (1/p.yes1 + 1/p.yes2)
	// With every mark shared the two terms cancel but for rounding.
	if !(v > 1e-14*(1/p.yes1+1/p.yes2)) {
		r.NotEstimable = "the two predictive values have no variance of their difference: the rule sets mark the same animals or are all right"
		return
	}
	d := p.right1/p.yes1 - p.right2/p.yes2
	r.Statistic, r.DF = d*d/v, 1
	r.P = chiSquare1P(r.Statistic)
}

// score is the generalised estimating equation score test without Kosinski's weights.
func (p predictiveCells) score(r *TestResult) {
	all := p.yes1 + p.yes2
	pooled, second := (p.right1+p.right2)/all, p.yes2/all
	t, v := 0.0, 0.0
	for i, a := range [3]float64{1 - 2*second, -second, 1 - second} {
		t += p.with[i] * a
		v += p.with[i]*a*a*(1-pooled)*(1-pooled) + p.without[i]*a*a*pooled*pooled
	}
	if !(v > 0) {
		r.NotEstimable = "the score has no variance: the rule sets mark the same animals or are all right"
		return
	}
	r.Statistic, r.DF = t*t/v, 1
	r.P = chiSquare1P(r.Statistic)
}
