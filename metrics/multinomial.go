package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MethodGoodman names simultaneous limits of multinomial shares.
const MethodGoodman Method = "Goodman simultaneous"

// MultinomialShares estimates the share of each category (of calls at each
// level, say) with limits that hold for all categories together: at least conf
// of such tables have every share within its limits. Each is a score interval
// at the Bonferroni-divided level, so an empty category still has an upper
// limit. For one category looked at alone use Wilson.
//
// counts holds one count a category. No calls is not estimable. Fewer than two
// categories, a negative count or a conf outside (0, 1) is ErrArgument.
//
// Source: Goodman (1965) Technometrics 7:247-254.
func MultinomialShares(counts []int64, conf float64) ([]Estimate, error) {
	if len(counts) < 2 {
		return nil, argErr("%d categories, expected at least 2", len(counts))
	}
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	n := 0.0
	for i, c := range counts {
		if c < 0 {
			return nil, argErr("category %d holds %d, expected a count of 0 or more", i+1, c)
		}
		n += float64(c)
	}
	shares := make([]Estimate, len(counts))
	a := distuv.ChiSquared{K: 1}.Quantile(1 - (1-conf)/float64(len(counts)))
	for i, c := range counts {
		if n == 0 {
			shares[i] = notEstimable(conf, MethodGoodman, "no calls")
			continue
		}
		x := float64(c)
		half := math.Sqrt(a * (a + 4*x*(n-x)/n))
		shares[i] = Estimate{
			Value: x / n, Conf: conf, Method: MethodGoodman, Numerator: x, Denominator: n,
			Low:  clip01(math.Min(x/n, (a+2*x-half)/(2*(n+a)))),
			High: clip01(math.Max(x/n, (a+2*x+half)/(2*(n+a)))),
		}
		if c == 0 {
			shares[i].Low = 0
		}
	}
	return shares, nil
}
