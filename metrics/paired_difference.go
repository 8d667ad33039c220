package metrics

import "math"

// Methods for the difference of two paired proportions.
const (
	// MethodNewcombePaired joins the Wilson limits of both proportions, allowing for
	// their correlation (method 10 of Newcombe's paper on paired data).
	MethodNewcombePaired Method = "Newcombe hybrid score (paired)"
	// MethodTango inverts the score test of the difference.
	MethodTango Method = "Tango score"
	// MethodTangoNonInferiority is Tango's score test at the margin, one-sided.
	MethodTangoNonInferiority Method = "Tango score test of non-inferiority"
)

// PairedDifferenceNewcombe estimates the share of yes by the first minus that by the
// second, (b - c)/n, on the same n episodes. With Wilson limits l, u of each share and
// the correlation phi of the fourfold table (its numerator lessened by n/2, but not
// below 0, when positive):
//
//	d - sqrt((p1-l1)^2 - 2 phi (p1-l1)(u2-p2) + (u2-p2)^2)
//	d + sqrt((u1-p1)^2 - 2 phi (u1-p1)(p2-l2) + (p2-l2)^2)
//
// The limits stay within -1..1 and have width even without a discordant pair. With no
// pair it is not estimable. It returns ErrArgument for a negative count or a bad conf.
//
// Source: Newcombe (1998) Stat Med 17:2635-2650, method 10.
func PairedDifferenceNewcombe(c PairedCounts, conf float64) (Estimate, error) {
	return pairedDifference(c, conf, MethodNewcombePaired, func(b, s, n float64) (float64, float64) {
		x1, x2 := float64(c.Both+c.FirstOnly), float64(c.Both+c.SecondOnly)
		l1, u1 := wilsonLimits(x1, n, conf)
		l2, u2 := wilsonLimits(x2, n, conf)
		p1, p2 := x1/n, x2/n
		phi := newcombePhi(c)
		return movers(p1, l1, u1, p2, l2, u2, phi)
	})
}

// newcombePhi is the correlation of the fourfold table with Newcombe's correction.
func newcombePhi(c PairedCounts) float64 {
	a, b, s, d := float64(c.Both), float64(c.FirstOnly), float64(c.SecondOnly), float64(c.Neither)
	product := (a + b) * (s + d) * (a + s) * (b + d)
	if product == 0 {
		return 0
	}
	top := a*d - b*s
	if top > 0 {
		top = math.Max(0, top-(a+b+s+d)/2)
	}
	return top / math.Sqrt(product)
}

// movers gives limits of p1 - p2 from the limits of both and their correlation (method
// of variance estimates recovery).
//
// Source: Zou & Donner (2008) Stat Med 27:1693-1702.
func movers(p1, l1, u1, p2, l2, u2, rho float64) (low, high float64) {
	// With rho = 1 rounding may leave a small negative number under the root.
	root := func(x, y float64) float64 { return math.Sqrt(math.Max(0, x*x-2*rho*x*y+y*y)) }
	d := p1 - p2
	return d - root(p1-l1, u2-p2), d + root(u1-p1, p2-l2)
}

// PairedDifferenceTango estimates (b - c)/n with limits that invert the score test: all
// differences D with |b - c - nD| / sqrt(n (2q + D (1-D))) <= z, q being the likeliest
// probability of "second only" under D. It keeps its confidence with few discordant
// pairs and agrees with McNemar's test about a difference of 0. With no pair it is not
// estimable. It returns ErrArgument for a negative count or a bad conf.
//
// Source: Tango (1998) Stat Med 17:891-908.
func PairedDifferenceTango(c PairedCounts, conf float64) (Estimate, error) {
	return pairedDifference(c, conf, MethodTango, func(b, s, n float64) (float64, float64) {
		return tangoLimits(b, s, n, twoSidedZ(conf))
	})
}

func pairedDifference(c PairedCounts, conf float64, m Method, limits func(b, s, n float64) (float64, float64)) (Estimate, error) {
	if err := c.check(); err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if c.N() == 0 {
		return notEstimable(conf, m, "no episode was judged by both"), nil
	}
	b, s, n := float64(c.FirstOnly), float64(c.SecondOnly), float64(c.N())
	low, high := limits(b, s, n)
	d := (b - s) / n
	return Estimate{Value: d, Low: math.Min(d, math.Max(-1, low)), High: math.Max(d, math.Min(1, high)),
		Conf: conf, Method: m, Numerator: b - s, Denominator: n}, nil
}

// tangoLimits solves the score equation on either side of the estimate.
func tangoLimits(b, c, n, z float64) (low, high float64) {
	d := (b - c) / n
	low = risingRoot(func(x float64) float64 { return z - tangoScore(b, c, n, x) }, -1, d)
	high = risingRoot(func(x float64) float64 { return -z - tangoScore(b, c, n, x) }, d, 1)
	return low, high
}

// tangoScore is the score statistic for the difference delta; it falls as delta rises.
func tangoScore(b, c, n, delta float64) float64 {
	gap := b - c - n*delta
	if gap == 0 {
		return 0
	}
	// q solves 2n q^2 + B q + C = 0.
	bq := -b - c + (2*n-b+c)*delta
	cq := -c * delta * (1 - delta)
	q := (math.Sqrt(math.Max(0, bq*bq-8*n*cq)) - bq) / (4 * n)
	v := n * (2*q + delta*(1-delta))
	if v <= 0 {
		// At -1 or 1 nothing but that difference is possible.
		return math.Copysign(math.MaxFloat64, gap)
	}
	return gap / math.Sqrt(v)
}

// NonInferiority is the answer to "is the first not worse than the second by more than
// the margin", the margin having been stated before the data were seen.
type NonInferiority struct {
	// Difference is first minus second with Tango's limits at confidence 1 - 2 alpha,
	// alpha being the one-sided level of the test.
	Difference Estimate
	// Margin is the greatest loss that would be accepted, in (0, 1).
	Margin float64
	// Test is one-sided; its null hypothesis is a loss of the margin or more.
	Test TestResult
	// Shown is true when the lower limit lies above -Margin. False means "not shown",
	// never "shown to be worse".
	Shown bool
}

// PairedNonInferiority tests on the same episodes whether the first rule set's share of
// yes (for a safety question: its sensitivity, so give the pairs of animals in need)
// falls short of the second's by less than margin. alpha is the one-sided level, often
// 0.025. The statistic is Tango's score at a difference of -margin, so that test and
// limit always agree. With no pair nothing is estimable and Shown is false. It returns
// ErrArgument for a negative count, a margin outside (0, 1), or alpha outside (0, 0.5).
//
// Source: Tango (1998) Stat Med 17:891-908; Nam (1997) Biometrics 53:1422-1430.
func PairedNonInferiority(c PairedCounts, margin, alpha float64) (NonInferiority, error) {
	if !(margin > 0 && margin < 1) {
		return NonInferiority{}, argErr("margin %v, expected a number between 0 and 1", margin)
	}
	if !(alpha > 0 && alpha < 0.5) {
		return NonInferiority{}, argErr("one-sided level %v, expected a number between 0 and 0.5", alpha)
	}
	d, err := PairedDifferenceTango(c, 1-2*alpha)
	if err != nil {
		return NonInferiority{}, err
	}
	r := NonInferiority{Difference: d, Margin: margin, Test: TestResult{Method: MethodTangoNonInferiority, NotEstimable: d.NotEstimable}}
	if d.Estimable() {
		r.Test.Statistic = tangoScore(float64(c.FirstOnly), float64(c.SecondOnly), float64(c.N()), -margin)
		r.Test.P = normalUpperP(r.Test.Statistic)
		r.Shown = r.Test.P < alpha
	}
	return r, nil
}
