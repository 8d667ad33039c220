package metrics

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Methods for the comparison of two areas.
const (
	// MethodDeLongPaired compares two findings read on the same animals.
	MethodDeLongPaired Method = "DeLong, paired"
	// MethodDeLongUnpaired compares one finding in two separate groups of animals.
	MethodDeLongUnpaired Method = "DeLong, unpaired"
	// MethodDeLongWelch is MethodDeLongUnpaired on a t distribution with Welch's
	// degrees of freedom.
	MethodDeLongWelch Method = "DeLong, unpaired, t with Welch degrees of freedom"
)

// JointCount is how often one pair of values of two findings occurred together
// among verified episodes in which both were recorded.
type JointCount struct {
	// First and Second are the two values, each in its own finding's unit.
	First, Second float64
	// Needed and NotNeeded count episodes.
	Needed, NotNeeded int64
}

// AreaComparison is the difference between two areas under ROC curves.
type AreaComparison struct {
	// First and Second are the two areas with DeLong's variance.
	First, Second Area
	// Difference is First minus Second, in -1..1.
	Difference Estimate
	// Covariance of the two areas; 0 for separate groups.
	Covariance float64
	// Test has the null hypothesis that the areas are equal, two-sided.
	Test TestResult
	// WelchTest is the same for separate groups against a t distribution.
	WelchTest TestResult
}

// CompareAreasPaired compares the areas of two findings on the same episodes. The
// covariance comes from the placement values of each animal under both findings:
//
//	cov = S10(1,2)/m + S01(1,2)/n,  z = (A1 - A2) / sqrt(var1 + var2 - 2 cov)
//
// The limits of the difference are d -/+ z SE, cut at -1 and 1. first and second are
// the directions of the two findings. A difference without variance (fewer than two
// animals on a side, or two findings that order the animals alike) is not estimable;
// nor is anything with an empty side or a both-ended finding. Errors are those of
// AUCDeLong.
//
// Source: DeLong et al. (1988) Biometrics 44:837-845.
func CompareAreasPaired(joint []JointCount, first, second Direction, conf float64) (AreaComparison, error) {
	one, two := make([]ValueCount, len(joint)), make([]ValueCount, len(joint))
	for i, j := range joint {
		one[i] = ValueCount{Value: j.First, Needed: j.Needed, NotNeeded: j.NotNeeded}
		two[i] = ValueCount{Value: j.Second, Needed: j.Needed, NotNeeded: j.NotNeeded}
	}
	c, err := twoAreas(one, first, two, second, conf)
	if err != nil {
		return c, err
	}
	c.Difference.Method, c.Test.Method, c.WelchTest.Method = MethodDeLongPaired, MethodDeLongPaired, MethodDeLongWelch
	c.WelchTest.NotEstimable = "only for separate groups of animals"
	if !c.Difference.Estimable() {
		return c, nil
	}
	c.Covariance = placementCovariance(joint, one, first, two, second)
	v := c.First.Variance + c.Second.Variance - 2*c.Covariance
	// What is left of equal variances after subtraction is rounding, not variance.
	if v <= 1e-14*(c.First.Variance+c.Second.Variance) {
		v = 0
	}
	c.finish(v)
	return c, nil
}

// CompareAreasUnpaired compares the area of a finding in two separate groups of
// animals, such as two species or two advice lines: D = (A1 - A2) / sqrt(var1 + var2),
// with limits d -/+ z SE cut at -1 and 1. WelchTest refers D to a t distribution with
// Welch's degrees of freedom over the numbers of episodes. Edges and errors are those
// of CompareAreasPaired.
//
// Source: DeLong et al. (1988) Biometrics 44:837-845 for the variances; Welch (1947)
// Biometrika 34:28-35 for the degrees of freedom.
func CompareAreasUnpaired(first []ValueCount, firstDirection Direction, second []ValueCount, secondDirection Direction, conf float64) (AreaComparison, error) {
	c, err := twoAreas(first, firstDirection, second, secondDirection, conf)
	if err != nil {
		return c, err
	}
	c.Difference.Method, c.Test.Method, c.WelchTest.Method = MethodDeLongUnpaired, MethodDeLongUnpaired, MethodDeLongWelch
	if !c.Difference.Estimable() {
		c.WelchTest.NotEstimable = c.Difference.NotEstimable
		return c, nil
	}
	v1, v2 := c.First.Variance, c.Second.Variance
	c.finish(v1 + v2)
	c.WelchTest.NotEstimable = c.Test.NotEstimable
	if c.Test.Estimable() {
		n1 := float64(c.First.Needed + c.First.NotNeeded)
		n2 := float64(c.Second.Needed + c.Second.NotNeeded)
		df := (v1 + v2) * (v1 + v2) / (v1*v1/(n1-1) + v2*v2/(n2-1))
		c.WelchTest.Statistic, c.WelchTest.DF = c.Test.Statistic, df
		c.WelchTest.P = 2 * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Survival(math.Abs(c.Test.Statistic))
	}
	return c, nil
}

// twoAreas fills the areas and settles whether a difference can be had.
func twoAreas(a []ValueCount, da Direction, b []ValueCount, db Direction, conf float64) (AreaComparison, error) {
	var c AreaComparison
	var err error
	if c.First, err = AUCDeLong(a, da, conf); err != nil {
		return c, err
	}
	if c.Second, err = AUCDeLong(b, db, conf); err != nil {
		return c, err
	}
	c.Difference.Conf = conf
	switch {
	case !c.First.Estimable():
		c.Difference.NotEstimable = "first area: " + c.First.NotEstimable
	case !c.Second.Estimable():
		c.Difference.NotEstimable = "second area: " + c.Second.NotEstimable
	case !c.First.VarianceDefined || !c.Second.VarianceDefined:
		c.Difference.NotEstimable = "a variance needs two animals that needed prompt care and two that did not"
	}
	c.Test.NotEstimable = c.Difference.NotEstimable
	return c, nil
}

// finish sets difference and test from the variance of the difference.
func (c *AreaComparison) finish(v float64) {
	if !(v > 0) {
		c.Difference.NotEstimable = "the difference has no variance in these animals, so neither limits nor a test can be given"
		c.Test.NotEstimable = c.Difference.NotEstimable
		return
	}
	d, se := c.First.Value-c.Second.Value, math.Sqrt(v)
	h := twoSidedZ(c.Difference.Conf) * se
	c.Difference.Value = d
	c.Difference.Low, c.Difference.High = math.Max(-1, d-h), math.Min(1, d+h)
	c.Test.Statistic = d / se
	c.Test.P = normalTwoSidedP(c.Test.Statistic)
}

// placementCovariance walks over the joint cells once; both tables are known to be
// sound and to have two animals on each side.
func placementCovariance(joint []JointCount, one []ValueCount, d1 Direction, two []ValueCount, d2 Direction) float64 {
	t1, _ := tabulateValues(one)
	t2, _ := tabulateValues(two)
	p1, p2 := t1.placements(d1), t2.placements(d2)
	a1, a2 := p1.area(), p2.area()
	s10, s01 := 0.0, 0.0
	for _, j := range joint {
		if j.Needed == 0 && j.NotNeeded == 0 {
			continue
		}
		x := sort.SearchFloat64s(t1.value, j.First)
		y := sort.SearchFloat64s(t2.value, j.Second)
		s10 += float64(j.Needed) * (p1.v10[x] - a1) * (p2.v10[y] - a2)
		s01 += float64(j.NotNeeded) * (p1.v01[x] - a1) * (p2.v01[y] - a2)
	}
	return s10/(t1.nPos-1)/t1.nPos + s01/(t1.nNeg-1)/t1.nNeg
}
