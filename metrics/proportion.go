package metrics

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The interval methods for one proportion.
const (
	MethodWilson         Method = "Wilson score"
	MethodClopperPearson Method = "Clopper-Pearson exact"
	MethodJeffreys       Method = "Jeffreys"
	MethodAgrestiCoull   Method = "Agresti-Coull"
	MethodMidP           Method = "mid-P exact"
)

// limits gives the two limits of x of n at the given confidence, n > 0.
type limits func(x, n, conf float64) (low, high float64)

// proportion checks the counts and dresses a pair of limits as an Estimate.
func proportion(x, n int64, conf float64, m Method, f limits) (Estimate, error) {
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if x < 0 || n < 0 || x > n {
		return Estimate{}, argErr("%d of %d, expected 0 <= x <= n", x, n)
	}
	if n == 0 {
		return notEstimable(conf, m, "nothing was observed (0 of 0)"), nil
	}
	value := float64(x) / float64(n)
	low, high := f(float64(x), float64(n), conf)
	return Estimate{
		Value: value,
		// Rounding may put a limit a bit beyond the edge or the estimate.
		Low:  math.Min(value, clip01(low)),
		High: math.Max(value, clip01(high)),
		Conf: conf, Method: m, Numerator: float64(x), Denominator: float64(n),
	}, nil
}

// Wilson estimates the proportion x / n with Wilson's score limits, the values
// of p whose normal test does not reject x. Coverage is close to conf on
// average for any n, and the limits never leave [0, 1].
//
// x and n count the same unit, 0 <= x <= n. Limits are exactly 0 at x = 0 and 1
// at x = n on the respective side. n = 0 is not estimable. It returns an error
// wrapping ErrArgument for a negative count, x > n, or conf outside (0, 1). Also
// called the score interval without continuity correction.
//
// Source: Wilson (1927) J Am Stat Assoc 22:209-212; method 3 of Newcombe (1998)
// Stat Med 17:857-872.
func Wilson(x, n int64, conf float64) (Estimate, error) {
	return proportion(x, n, conf, MethodWilson, wilsonLimits)
}

// wilsonLimits accepts fractional counts, for effective sample sizes.
func wilsonLimits(x, n, conf float64) (low, high float64) {
	return wilsonWithZ(x, n, twoSidedZ(conf))
}

func wilsonWithZ(x, n, z float64) (low, high float64) {
	p := x / n
	mid := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return clip01(mid - half), clip01(mid + half)
}

// ClopperPearson estimates x / n with the limits that invert the two one-sided
// exact binomial tests. Coverage is never below conf and often well above it:
// choose it where a promise is checked, not where precision is described.
//
// Arguments, edges and errors are those of Wilson. Also called the exact
// binomial interval.
//
// Source: Clopper, Pearson (1934) Biometrika 26:404-413; method 5 of Newcombe
// (1998) Stat Med 17:857-872.
func ClopperPearson(x, n int64, conf float64) (Estimate, error) {
	return proportion(x, n, conf, MethodClopperPearson, clopperPearsonLimits)
}

func clopperPearsonLimits(x, n, conf float64) (low, high float64) {
	tail := (1 - conf) / 2
	low, high = 0, 1
	if x > 0 {
		low = betaQuantile(tail, x, n-x+1)
	}
	if x < n {
		high = betaQuantile(1-tail, x+1, n-x)
	}
	return low, high
}

// Jeffreys estimates x / n with the equal-tailed limits of the posterior under
// the prior Beta(1/2, 1/2), with the usual edge rule: the lower limit is 0 at
// x = 0 and the upper limit 1 at x = n, since the plain interval would leave
// out the estimate itself.
//
// Arguments, edges and errors are those of Wilson.
//
// Source: Brown, Cai, DasGupta (2001) Stat Sci 16:101-133.
func Jeffreys(x, n int64, conf float64) (Estimate, error) {
	return proportion(x, n, conf, MethodJeffreys, jeffreysLimits)
}

func jeffreysLimits(x, n, conf float64) (low, high float64) {
	tail := (1 - conf) / 2
	low, high = 0, 1
	if x > 0 {
		low = betaQuantile(tail, x+0.5, n-x+0.5)
	}
	if x < n {
		high = betaQuantile(1-tail, x+0.5, n-x+0.5)
	}
	return low, high
}

// AgrestiCoull estimates x / n with Wald's limits around the midpoint of
// Wilson's interval, (x + z*z/2) / (n + z*z). The published limits may leave
// [0, 1]; here they are clipped to it. The estimate stays x / n.
//
// Arguments, edges and errors are those of Wilson. With conf = 0.95 it is
// nearly "add two successes and two failures".
//
// Source: Agresti, Coull (1998) Am Stat 52:119-126.
func AgrestiCoull(x, n int64, conf float64) (Estimate, error) {
	return proportion(x, n, conf, MethodAgrestiCoull, agrestiCoullLimits)
}

func agrestiCoullLimits(x, n, conf float64) (low, high float64) {
	z := twoSidedZ(conf)
	nt := n + z*z
	p := (x + z*z/2) / nt
	half := z * math.Sqrt(p*(1-p)/nt)
	return p - half, p + half
}

// MidP estimates x / n with the exact binomial limits that count only half of
// the probability of x itself. Shorter than ClopperPearson; coverage is conf on
// average and may fall slightly below it.
//
// Arguments, edges and errors are those of Wilson.
//
// Source: Lancaster (1961) J Am Stat Assoc 56:223-234; method 6 of Newcombe
// (1998) Stat Med 17:857-872.
func MidP(x, n int64, conf float64) (Estimate, error) {
	return proportion(x, n, conf, MethodMidP, midPLimits)
}

func midPLimits(x, n, conf float64) (low, high float64) {
	tail := (1 - conf) / 2
	low, high = 0, 1
	if x > 0 {
		low = risingRoot(func(p float64) float64 { return midPUpperTail(x, n, p) - tail }, 0, x/n)
	}
	if x < n {
		high = risingRoot(func(p float64) float64 { return midPUpperTail(x, n, p) - (1 - tail) }, x/n, 1)
	}
	return low, high
}

// midPUpperTail is P(X > x) + P(X = x)/2 for a binomial of n and p, which is
// the mean of P(X >= x) and P(X > x); it rises with p.
func midPUpperTail(x, n, p float64) float64 {
	return (binomialAtLeast(x, n, p) + binomialAtLeast(x+1, n, p)) / 2
}

// binomialAtLeast is P(X >= x) for a binomial of n and p.
func binomialAtLeast(x, n, p float64) float64 {
	switch {
	case x <= 0:
		return 1
	case x > n, p <= 0:
		return 0
	case p >= 1:
		return 1
	}
	return mathext.RegIncBeta(x, n-x+1, p)
}

// betaQuantile is the value below which a Beta(a, b) variable lies with
// probability p.
func betaQuantile(p, a, b float64) float64 { return mathext.InvRegIncBeta(a, b, p) }
