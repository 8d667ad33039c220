package metrics

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// MethodSisonGlaz names the limits of SisonGlazLimits.
const MethodSisonGlaz Method = "Sison-Glaz simultaneous"

// SisonGlazLimits estimates the share of each category with limits that hold
// for all categories together and are shorter than those of MultinomialShares
// when there are many categories of similar size. All limits share one width:
// share - c/n and share + (c+2g)/n for the smallest whole c whose joint
// coverage, from truncated Poisson moments and an Edgeworth expansion, reaches
// conf; g interpolates between c and c-1.
//
// Inputs and errors are those of MultinomialShares. The expansion is an
// approximation for several categories with counts that are not tiny; where one
// category holds nearly all calls it has nothing to expand, and every share is
// marked not estimable with the advice to use MultinomialShares. With more than
// three quarters of all calls in one category the limits carry a warning: they
// then hold a point or two less often than they promise.
//
// Source: Sison & Glaz (1995) J Am Stat Assoc 90:366-369; algorithm of May &
// Johnson (2000) J Stat Softw 5(6).
func SisonGlazLimits(counts []int64, conf float64) ([]Estimate, error) {
	n, err := multinomialTotal(counts, conf)
	if err != nil {
		return nil, err
	}
	out := make([]Estimate, len(counts))
	c, gamma, ok := sisonGlazWidth(counts, n, conf)
	var warnings []string
	if 4*slices.Max(counts) > 3*n {
		warnings = []string{"one category holds most calls; the limits may be a little too narrow"}
	}
	for i, x := range counts {
		switch {
		case n == 0:
			out[i] = notEstimable(conf, MethodSisonGlaz, "no calls in any category")
		case !ok:
			out[i] = notEstimable(conf, MethodSisonGlaz, "%d calls spread too unevenly over %d categories for this method; Goodman's limits hold", n, len(counts))
		default:
			share := float64(x) / float64(n)
			out[i] = Estimate{
				Value: share, Conf: conf, Method: MethodSisonGlaz,
				Low:       math.Max(0, share-float64(c)/float64(n)),
				High:      math.Min(1, share+(float64(c)+2*gamma)/float64(n)),
				Numerator: float64(x), Denominator: float64(n),
				Warnings: slices.Clone(warnings),
			}
		}
	}
	return out, nil
}

// sisonGlazWidth finds the common half-width c (in calls) and the fraction
// gamma that is added twice at the upper end. It is not ok when no width was
// short of conf before one reached it, which happens where one category holds
// nearly everything: the lower limit would then sit on the estimate itself.
func sisonGlazWidth(counts []int64, n int64, conf float64) (c int, gamma float64, ok bool) {
	before := 0.0
	for width := 1; int64(width) <= n; width++ {
		reached := sisonGlazCoverage(counts, n, width)
		if reached >= conf {
			if width == 1 {
				return 0, 0, false
			}
			return width - 1, (conf - before) / (reached - before), true
		}
		before = reached
	}
	return 0, 0, false
}

// sisonGlazCoverage approximates the probability that every multinomial count
// falls within c of its expectation: independent Poisson counts, truncated and
// then conditioned on their sum n by an Edgeworth expansion.
func sisonGlazCoverage(counts []int64, n int64, c int) float64 {
	var mean, variance, third, excess float64
	logProduct := 0.0
	for _, x := range counts {
		m := truncatedPoisson(float64(x), c)
		mean += m.mean
		variance += m.variance
		third += m.third
		excess += m.fourth - 3*m.variance*m.variance
		logProduct += math.Log(m.inside)
	}
	if variance <= 0 {
		return 0
	}
	skew := third / math.Pow(variance, 1.5)
	kurt := excess / (variance * variance)
	z := (float64(n) - mean) / math.Sqrt(variance)
	z2 := z * z
	poly := 1 + skew*(z2*z-3*z)/6 + kurt*(z2*z2-6*z2+3)/24 +
		skew*skew*(z2*z2*z2-15*z2*z2+45*z2-15)/72
	density := poly * math.Exp(-z2/2) / math.Sqrt(2*math.Pi)
	exact := distuv.Poisson{Lambda: float64(n)}.LogProb(float64(n))
	return math.Exp(logProduct-exact) * density / math.Sqrt(variance)
}

// poissonMoments are the central moments of a truncated Poisson count and the
// probability of not being cut off.
type poissonMoments struct{ mean, variance, third, fourth, inside float64 }

// truncatedPoisson returns the moments of a Poisson count with mean lambda that
// is known to lie within lambda-c .. lambda+c.
func truncatedPoisson(lambda float64, c int) poissonMoments {
	low, high := int(math.Max(0, lambda-float64(c))), int(lambda)+c
	prob := make([]float64, 0, high-low+1)
	var m poissonMoments
	for k := low; k <= high; k++ {
		p := 0.0
		switch {
		case lambda > 0:
			p = distuv.Poisson{Lambda: lambda}.Prob(float64(k))
		case k == 0:
			p = 1
		}
		prob = append(prob, p)
		m.inside += p
		m.mean += p * float64(k)
	}
	m.mean /= m.inside
	for i, p := range prob {
		d := float64(low+i) - m.mean
		p /= m.inside
		m.variance += p * d * d
		m.third += p * d * d * d
		m.fourth += p * d * d * d * d
	}
	return m
}

// multinomialTotal checks the arguments of the simultaneous limits and sums the
// counts.
func multinomialTotal(counts []int64, conf float64) (int64, error) {
	if err := checkConf(conf); err != nil {
		return 0, err
	}
	if len(counts) < 2 {
		return 0, argErr("%d categories, expected at least 2", len(counts))
	}
	n := int64(0)
	for i, x := range counts {
		if x < 0 {
			return 0, argErr("count %d in category %d, expected 0 or more", x, i+1)
		}
		n += x
	}
	return n, nil
}
