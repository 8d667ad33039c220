package metrics

import "math"

// The interval methods for the difference of two unpaired proportions.
const (
	MethodNewcombe10         Method = "Newcombe hybrid score"
	MethodMiettinenNurminen  Method = "Miettinen-Nurminen score"
	methodDifferenceExplains        = "no observations in the %s group"
)

// NewcombeDifference estimates x1/n1 - x2/n2, the difference of two proportions
// from different episodes, by joining the Wilson limits of each group:
// d - sqrt((p1-l1)^2 + (u2-p2)^2) to d + sqrt((u1-p1)^2 + (p2-l2)^2).
//
// The counts of a group use the same unit, 0 <= x <= n; the groups share no
// episode (for two rule sets on the same episodes use the paired methods).
// A group without observations makes the difference not estimable. It returns
// an error wrapping ErrArgument for impossible counts or conf. The value and
// limits lie in [-1, 1].
//
// Source: method 10 of Newcombe (1998) Stat Med 17:873-890.
func NewcombeDifference(x1, n1, x2, n2 int64, conf float64) (Estimate, error) {
	return difference(x1, n1, x2, n2, conf, MethodNewcombe10, func(x1, n1, x2, n2, conf float64) (float64, float64) {
		l1, u1 := wilsonLimits(x1, n1, conf)
		l2, u2 := wilsonLimits(x2, n2, conf)
		return newcombeJoin(x1/n1, l1, u1, x2/n2, l2, u2)
	})
}

// newcombeJoin combines the limits of two independent estimates into limits of
// their difference ("square and add").
func newcombeJoin(p1, l1, u1, p2, l2, u2 float64) (low, high float64) {
	d := p1 - p2
	return d - math.Hypot(p1-l1, u2-p2), d + math.Hypot(u1-p1, p2-l2)
}

// MiettinenNurminenDifference estimates x1/n1 - x2/n2 with the differences that
// the score test does not reject, each tested with the likeliest pair of
// proportions that have this difference and with the variance factor
// N / (N - 1). It holds its level with small and empty cells.
//
// Arguments, edges and errors are those of NewcombeDifference.
//
// Source: Miettinen, Nurminen (1985) Stat Med 4:213-226.
func MiettinenNurminenDifference(x1, n1, x2, n2 int64, conf float64) (Estimate, error) {
	return difference(x1, n1, x2, n2, conf, MethodMiettinenNurminen, func(x1, n1, x2, n2, conf float64) (float64, float64) {
		z := twoSidedZ(conf)
		d := x1/n1 - x2/n2
		score := func(delta float64) float64 { return unpairedScore(x1, n1, x2, n2, delta) }
		low := risingRoot(func(delta float64) float64 { return z - score(delta) }, -1, d)
		high := risingRoot(func(delta float64) float64 { return -z - score(delta) }, d, 1)
		return low, high
	})
}

// unpairedScore is the Miettinen-Nurminen statistic for the true difference
// delta; it falls as delta rises.
func unpairedScore(x1, n1, x2, n2, delta float64) float64 {
	gap := x1/n1 - x2/n2 - delta
	p2 := restrictedSecond(x1, n1, x2, n2, delta)
	p1 := clip01(p2 + delta)
	n := n1 + n2
	v := (p1*(1-p1)/n1 + p2*(1-p2)/n2) * n / (n - 1)
	if v <= 0 {
		if gap == 0 {
			return 0
		}
		return math.Copysign(math.MaxFloat64, gap)
	}
	return gap / math.Sqrt(v)
}

// restrictedSecond maximises the likelihood over p2 given p1 - p2 = delta, as
// the closed root of a cubic (Miettinen and Nurminen 1985, appendix I).
func restrictedSecond(x1, n1, x2, n2, delta float64) float64 {
	n := n1 + n2
	l2 := (n1+2*n2)*delta - n - x1 - x2
	l1 := (n2*delta-n-2*x2)*delta + x1 + x2
	l0 := x2 * delta * (1 - delta)
	q := l2*l2*l2/(27*n*n*n) - l1*l2/(6*n*n) + l0/(2*n)
	p := math.Copysign(math.Sqrt(math.Max(0, l2*l2/(9*n*n)-l1/(3*n))), q)
	ratio := 0.0
	if p != 0 {
		ratio = math.Max(-1, math.Min(1, q/(p*p*p)))
	}
	a := (math.Pi + math.Acos(ratio)) / 3
	root := 2*p*math.Cos(a) - l2/(3*n)
	// The difference itself bounds what p2 may be.
	return math.Min(math.Min(1, 1-delta), math.Max(math.Max(0, -delta), root))
}

// difference checks the counts and dresses the limits of a difference.
func difference(x1, n1, x2, n2 int64, conf float64, m Method,
	f func(x1, n1, x2, n2, conf float64) (low, high float64)) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if x1 < 0 || n1 < x1 || x2 < 0 || n2 < x2 {
		return Estimate{}, argErr("%d of %d against %d of %d, expected 0 <= x <= n in each group", x1, n1, x2, n2)
	}
	if n1 == 0 {
		return notEstimable(conf, m, methodDifferenceExplains, "first"), nil
	}
	if n2 == 0 {
		return notEstimable(conf, m, methodDifferenceExplains, "second"), nil
	}
	d := float64(x1)/float64(n1) - float64(x2)/float64(n2)
	low, high := f(float64(x1), float64(n1), float64(x2), float64(n2), conf)
	return Estimate{
		Value: d, Low: math.Max(-1, math.Min(d, low)), High: math.Min(1, math.Max(d, high)),
		Conf: conf, Method: m,
	}, nil
}
