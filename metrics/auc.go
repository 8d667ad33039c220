package metrics

import "math"

// Methods for the area under the ROC curve.
const (
	// MethodDeLong is the area -/+ z times DeLong's standard error, cut at 0 and 1.
	MethodDeLong Method = "DeLong"
	// MethodDeLongLogit is DeLong's standard error carried to the log odds of the area.
	MethodDeLongLogit Method = "DeLong, logit scale"
	// MethodHanleyMcNeil uses the exponential approximation of Hanley and McNeil.
	MethodHanleyMcNeil Method = "Hanley-McNeil"
	// MethodNewcombeArea is Newcombe's score-type interval (method 5 of 2006).
	MethodNewcombeArea Method = "Newcombe score (area)"
	// MethodMannWhitney is the rank-sum test with the tie-corrected normal distribution.
	MethodMannWhitney Method = "Mann-Whitney, normal with ties"
)

// Area is the area under a ROC curve: the chance that an animal that needed
// prompt care has a worse value than one that did not, ties counting one half.
//
// Numerator is the Mann-Whitney U (pairs won plus half the ties), Denominator the
// number of pairs. An area below one half means that the finding points the other
// way; it is reported as it is.
type Area struct {
	Estimate
	// Variance is the variance of the area by the method that was asked for;
	// where VarianceDefined is false it is 0 and means nothing. The variance 0 of
	// complete separation or of one single value is defined, but no proof of
	// certainty: the limits are then Newcombe's.
	Variance        float64
	VarianceDefined bool
	// Needed and NotNeeded count verified episodes with a value.
	Needed, NotNeeded int64
}

// AUCDeLong estimates the area under the ROC curve with the variance of DeLong,
// DeLong and Clarke-Pearson, at a cost of k log k for k distinct values, however
// many episodes stand behind them:
//
//	A = sum over pairs of [worse + tie/2] / (m n),  var A = S10/m + S01/n,
//
// S10 and S01 being the sample variances (divisors m-1 and n-1) of the placement
// values of the m animals that needed care and the n that did not. Limits are
// A -/+ z SE, cut at 0 and 1.
//
// Where the variance is 0 (complete separation, one single value) or needs a second
// animal on one side, the limits are those of AUCNewcombe, with a warning. With an
// empty side the area is not estimable; likewise with BothEndsAreBad, since an area
// needs one order of the values: see DistanceFromRange. It returns ErrArgument for a
// negative count, a value that is not finite, an unknown direction or a bad conf.
// Also called c statistic, concordance, probability of superiority.
//
// Source: DeLong et al. (1988) Biometrics 44:837-845; on ranks, Sun & Xu (2014) IEEE
// Signal Process Lett 21:1389-1393.
func AUCDeLong(counts []ValueCount, d Direction, conf float64) (Area, error) {
	return areaBy(counts, d, conf, MethodDeLong, func(p placement, a float64) (float64, float64) {
		h := twoSidedZ(conf) * math.Sqrt(p.variance)
		return clip01(a - h), clip01(a + h)
	})
}

// AUCDeLongLogit is AUCDeLong with limits on the log-odds scale,
// logit A -/+ z SE / (A (1-A)), which stay inside 0..1 and hold their confidence
// better for areas near 1. Edges and errors are those of AUCDeLong.
//
// Source: Pepe (2003) The Statistical Evaluation of Medical Tests, section 5.2.
func AUCDeLongLogit(counts []ValueCount, d Direction, conf float64) (Area, error) {
	return areaBy(counts, d, conf, MethodDeLongLogit, func(p placement, a float64) (float64, float64) {
		h := twoSidedZ(conf) * math.Sqrt(p.variance) / (a * (1 - a))
		l := math.Log(a / (1 - a))
		return 1 / (1 + math.Exp(h-l)), 1 / (1 + math.Exp(-h-l))
	})
}

// AUCHanleyMcNeil estimates the area with the standard error of Hanley and McNeil,
// which needs only the area and the two numbers of animals (m needed, n not):
//
//	var A = [A(1-A) + (m-1)(Q1-A^2) + (n-1)(Q2-A^2)] / (m n),  Q1 = A/(2-A),  Q2 = 2A^2/(1+A)
//
// Limits are A -/+ z SE, cut at 0 and 1. It serves to compare with older papers; with
// many ties DeLong's variance is the better one. Edges and errors are those of AUCDeLong.
//
// Source: Hanley & McNeil (1982) Radiology 143:29-36.
func AUCHanleyMcNeil(counts []ValueCount, d Direction, conf float64) (Area, error) {
	return areaBy(counts, d, conf, MethodHanleyMcNeil, func(p placement, a float64) (float64, float64) {
		h := twoSidedZ(conf) * math.Sqrt(p.variance)
		return clip01(a - h), clip01(a + h)
	})
}

// AUCNewcombe estimates the area with Newcombe's score-type limits: the areas A at
// which |a - A| = z sqrt(V(A)), V being Hanley and McNeil's variance at A with both
// numbers of animals, inside the bracket only, replaced by their mean. It gives
// sensible limits at 0 and 1 and for few animals. Variance is V at the estimate.
// Edges and errors are those of AUCDeLong.
//
// Source: Newcombe (2006) Stat Med 25:559-573, method 5.
func AUCNewcombe(counts []ValueCount, d Direction, conf float64) (Area, error) {
	return areaBy(counts, d, conf, MethodNewcombeArea, func(p placement, a float64) (float64, float64) {
		return newcombeAreaLimits(a, p.nPos, p.nNeg, conf)
	})
}

// MannWhitney tests whether values of animals that needed prompt care and of those
// that did not come from one distribution: z = (U - mn/2) / SE with the tie-corrected
// SE and no continuity correction; two-sided P. With an empty side, one single value
// or BothEndsAreBad it is not estimable. Errors are those of AUCDeLong. Also called
// Wilcoxon rank-sum test.
//
// Source: Mann & Whitney (1947) Ann Math Stat 18:50-60; ties as in Lehmann (1975)
// Nonparametrics, section 1.4.
func MannWhitney(counts []ValueCount, d Direction) (TestResult, error) {
	t, err := tabulateDirected(counts, d)
	if err != nil {
		return TestResult{}, err
	}
	r := TestResult{Method: MethodMannWhitney, NotEstimable: t.areaObstacle(d)}
	if !r.Estimable() {
		return r, nil
	}
	p := t.placements(d)
	n := t.nPos + t.nNeg
	ties := 0.0
	for i := range t.value {
		c := t.pos[i] + t.neg[i]
		ties += c * (c*c - 1)
	}
	v := t.nPos * t.nNeg / 12 * (n + 1 - ties/(n*(n-1)))
	if !(v > 0) || len(t.value) < 2 {
		r.NotEstimable = "all animals have the same value"
		return r, nil
	}
	r.Statistic = (p.u - t.nPos*t.nNeg/2) / math.Sqrt(v)
	r.P = normalTwoSidedP(r.Statistic)
	return r, nil
}

// DistanceFromRange turns a finding that is bad at both ends into one that is bad
// when high: each value becomes its distance from the stated normal range [low, high],
// 0 inside it. The range is a clinical statement made before the data are seen; low =
// high measures from one centre. The result has the area, tests and thresholds of
// HighIsBad, in the finding's unit.
//
// It returns ErrArgument for a range that is not finite or upside down, for a negative
// count and for a value that is not finite.
func DistanceFromRange(counts []ValueCount, low, high float64) ([]ValueCount, error) {
	if !(low <= high) || math.IsInf(low, 0) || math.IsInf(high, 0) {
		return nil, argErr("normal range %v to %v, expected two finite numbers, the lower first", low, high)
	}
	if _, err := tabulateValues(counts); err != nil {
		return nil, err
	}
	out := make([]ValueCount, len(counts))
	for i, c := range counts {
		out[i] = c
		out[i].Value = math.Max(0, math.Max(low-c.Value, c.Value-high))
	}
	return out, nil
}

func tabulateDirected(counts []ValueCount, d Direction) (valueTable, error) {
	t, err := tabulateValues(counts)
	if err != nil {
		return t, err
	}
	return t, checkDirection(d)
}

// areaObstacle says why there is no area, or nothing.
func (t valueTable) areaObstacle(d Direction) string {
	if d == BothEndsAreBad {
		return "an area needs one order of the values: measure the distance from a stated normal range instead"
	}
	return t.emptySideWhy
}

// areaBy does what the four area functions share. limits is only asked when the
// variance is above 0 and the area lies inside (0, 1), or for Newcombe's method.
func areaBy(counts []ValueCount, d Direction, conf float64, m Method, limits func(placement, float64) (float64, float64)) (Area, error) {
	t, err := tabulateDirected(counts, d)
	if err != nil {
		return Area{}, err
	}
	if err := checkConf(conf); err != nil {
		return Area{}, err
	}
	a := Area{Estimate: notEstimable(conf, m, "%s", t.areaObstacle(d)), Needed: int64(t.nPos), NotNeeded: int64(t.nNeg)}
	if !a.Estimable() {
		return a, nil
	}
	p := t.placements(d)
	if m == MethodHanleyMcNeil {
		p.variance, p.varianceDefined = hanleyMcNeilVariance(p.area(), t.nPos, t.nNeg), true
	} else if m == MethodNewcombeArea {
		p.variance, p.varianceDefined = newcombeAreaVariance(p.area(), t.nPos, t.nNeg), true
	}
	a.Value, a.Numerator, a.Denominator = p.area(), p.u, t.nPos*t.nNeg
	a.Variance, a.VarianceDefined = p.variance, p.varianceDefined
	if m != MethodNewcombeArea && !(p.variance > 0) {
		a.Method = MethodNewcombeArea
		a.Low, a.High = newcombeAreaLimits(a.Value, t.nPos, t.nNeg, conf)
		a.Warnings = append(a.Warnings, string(m)+" gives no usable variance here; the limits are Newcombe's score limits")
	} else {
		a.Low, a.High = limits(p, a.Value)
	}
	a.Low, a.High = math.Min(a.Low, a.Value), math.Max(a.High, a.Value)
	return a, nil
}

// placement holds, for each distinct value, the chance that an animal with that
// value is outranked rightly, and the area and variance that follow.
type placement struct {
	// v10[i]: share of not-needed animals with a value less bad than value i, ties
	// one half. v01[i]: share of needed animals with a worse value, ties one half.
	v10, v01        []float64
	u, nPos, nNeg   float64
	variance        float64
	varianceDefined bool
}

func (p placement) area() float64 { return p.u / (p.nPos * p.nNeg) }

// placements makes one pass over the values, from least to most bad.
func (t valueTable) placements(d Direction) placement {
	k := len(t.value)
	p := placement{v10: make([]float64, k), v01: make([]float64, k), nPos: t.nPos, nNeg: t.nNeg}
	posBelow, negBelow := 0.0, 0.0
	for step := range k {
		i := step
		if d == LowIsBad {
			i = k - 1 - step
		}
		p.u += t.pos[i] * (negBelow + t.neg[i]/2)
		p.v10[i] = (negBelow + t.neg[i]/2) / t.nNeg
		p.v01[i] = (t.nPos - posBelow - t.pos[i]/2) / t.nPos
		posBelow += t.pos[i]
		negBelow += t.neg[i]
	}
	if t.nPos < 2 || t.nNeg < 2 {
		return p
	}
	a, s10, s01 := p.area(), 0.0, 0.0
	for i := range k {
		s10 += t.pos[i] * (p.v10[i] - a) * (p.v10[i] - a)
		s01 += t.neg[i] * (p.v01[i] - a) * (p.v01[i] - a)
	}
	p.variance = s10/(t.nPos-1)/t.nPos + s01/(t.nNeg-1)/t.nNeg
	p.varianceDefined = true
	return p
}

func hanleyMcNeilVariance(a, m, n float64) float64 {
	q1, q2 := a/(2-a), 2*a*a/(1+a)
	return math.Max(0, (a*(1-a)+(m-1)*(q1-a*a)+(n-1)*(q2-a*a))/(m*n))
}

func newcombeAreaVariance(a, m, n float64) float64 {
	star := (m+n)/2 - 1
	return a * (1 - a) * (1 + star*(1-a)/(2-a) + star*a/(1+a)) / (m * n)
}

func newcombeAreaLimits(a, m, n, conf float64) (low, high float64) {
	z := twoSidedZ(conf)
	gap := func(b float64) float64 { return z * math.Sqrt(newcombeAreaVariance(b, m, n)) }
	low, high = a, a
	// V is 0 at 0 and 1, which would pass for a root: stop just short of them.
	if a > 0 {
		low = risingRoot(func(b float64) float64 { return b - a + gap(b) }, 0, math.Min(a, math.Nextafter(1, 0)))
	}
	if a < 1 {
		high = risingRoot(func(b float64) float64 { return b - a - gap(b) }, math.Max(a, 1e-300), 1)
	}
	return low, high
}
