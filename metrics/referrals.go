package metrics

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// ValueTotal is how many episodes had one recorded value of a finding, verified or not.
type ValueTotal struct {
	// Value is in the finding's own unit.
	Value float64
	// Episodes counts all assessed episodes.
	Episodes int64
}

// ByReferralCeiling prefers, among thresholds under which at most perDay episodes a day
// would be referred for this finding, the one of greatest sensitivity. assessed holds
// the episodes of a stated period of days days by value, verified or not: capacity is
// used up by every caller, not by those whose outcome is known. The referral load is
// taken as counted, without an interval; ReferralsPerDay gives one.
//
// It returns ErrArgument for a negative ceiling, days not above 0, a negative count or
// a value that is not finite.
func ByReferralCeiling(perDay, days float64, assessed []ValueTotal) (Criterion, error) {
	if !(perDay >= 0) || math.IsInf(perDay, 0) {
		return Criterion{}, argErr("ceiling of %v referrals a day, expected 0 or more", perDay)
	}
	load, err := newReferralLoad(days, assessed)
	if err != nil {
		return Criterion{}, err
	}
	return Criterion{
		name:  fmt.Sprintf("at most %g referrals a day", perDay),
		unit:  "sensitivity",
		unmet: fmt.Sprintf("even the strictest threshold refers more than %g a day", perDay),
		score: func(p ROCPoint) (float64, bool) {
			return p.Sensitivity(), load.marked(p.Threshold) <= perDay*days+1e-9
		},
	}, nil
}

// ReferralsPerDay estimates how many episodes a day the threshold would refer, from
// the assessed episodes of days days, with exact Poisson limits. With nothing marked the
// lower limit is 0. It returns ErrArgument as ByReferralCeiling does.
//
// Source: Garwood (1936) Biometrika 28:437-442.
func ReferralsPerDay(t Threshold, days float64, assessed []ValueTotal, conf float64) (Estimate, error) {
	load, err := newReferralLoad(days, assessed)
	if err != nil {
		return Estimate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	x := load.marked(t)
	low, high := garwoodLimits(x, conf)
	return Estimate{Value: x / days, Low: low / days, High: high / days, Conf: conf,
		Method: MethodGarwood, Numerator: x, Denominator: days}, nil
}

// MethodGarwood is the exact (gamma) interval of a Poisson count.
const MethodGarwood Method = "Garwood exact Poisson"

// garwoodLimits inverts the Poisson tails: P(X >= x | low) = P(X <= x | high) = a/2.
func garwoodLimits(x, conf float64) (low, high float64) {
	tail := (1 - conf) / 2
	if x > 0 {
		low = gammaQuantile(tail, x)
	}
	return low, gammaQuantile(1-tail, x+1)
}

// referralLoad answers how many assessed episodes a threshold marks, by prefix sums.
type referralLoad struct {
	value  []float64
	before []float64 // before[i]: episodes with a value below value[i]; one longer than value
}

func newReferralLoad(days float64, assessed []ValueTotal) (referralLoad, error) {
	if !(days > 0) || math.IsInf(days, 0) {
		return referralLoad{}, argErr("a period of %v days, expected more than 0", days)
	}
	cells := make([]ValueTotal, len(assessed))
	copy(cells, assessed)
	for i, a := range cells {
		if math.IsNaN(a.Value) || math.IsInf(a.Value, 0) || a.Episodes < 0 {
			return referralLoad{}, argErr("assessed value %d: value %v, %d episodes, expected a finite value and no negative count", i, a.Value, a.Episodes)
		}
	}
	sort.Slice(cells, func(i, j int) bool { return cells[i].Value < cells[j].Value })
	l := referralLoad{before: []float64{0}}
	for _, a := range cells {
		l.value = append(l.value, a.Value)
		l.before = append(l.before, l.before[len(l.before)-1]+float64(a.Episodes))
	}
	return l, nil
}

func (l referralLoad) marked(t Threshold) float64 {
	k := len(l.value)
	low, high := 0, k // the first low values and those from high on are marked
	if t.HasLower {
		low = sort.Search(k, func(i int) bool { return l.value[i] > t.Lower })
	}
	if t.HasUpper {
		high = sort.SearchFloat64s(l.value, t.Upper)
	}
	if low >= high {
		return l.before[k]
	}
	return l.before[low] + l.before[k] - l.before[high]
}

// gammaQuantile is the quantile of the gamma distribution of the given shape and
// rate 1.
func gammaQuantile(p, shape float64) float64 {
	return distuv.Gamma{Alpha: shape, Beta: 1}.Quantile(p)
}
