package thresholds

import (
	"fmt"
	"strconv"
	"strings"

	"hindcheck/metrics"
)

// Criterion is a stated reason for preferring one threshold, as a person writes
// it: youden, cost=20, net-benefit=0.05, sensitivity=0.95, specificity=0.9 or
// referrals=1.5.
type Criterion struct {
	Text  string
	kind  string
	value float64
}

// Criteria explains the forms of a criterion.
const Criteria = `  cost=N           least cost where one missed animal is worth N needless referrals
  net-benefit=P    most net benefit where a chance P of need just justifies a visit
  sensitivity=S    sensitivity at least S at its lower limit, then most specificity
  specificity=S    specificity at least S at its lower limit, then most sensitivity
  referrals=N      at most N readings a day beyond the threshold, then most sensitivity
  youden           most sensitivity + specificity`

// Given are the criteria shown when none is asked for. They are examples: what a
// missed animal is worth is for the line to say.
var Given = []string{"cost=20", "net-benefit=0.05", "sensitivity=0.9", "specificity=0.9", "youden"}

// ParseCriterion reads a criterion.
func ParseCriterion(text string) (Criterion, error) {
	kind, number, has := strings.Cut(text, "=")
	c := Criterion{Text: text, kind: kind}
	low, high := 0.0, 1.0
	switch kind {
	case "youden":
		if has {
			return c, fmt.Errorf("criterion %q: expected youden without a number", text)
		}
		return c, nil
	case "cost", "referrals":
		high = 1e6
	case "net-benefit", "sensitivity", "specificity":
	default:
		return c, fmt.Errorf("criterion %q: expected one of\n%s", text, Criteria)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err != nil || !(v > low) || !(v < high) {
		return c, fmt.Errorf("criterion %q: expected a number above %g and below %g after the equals sign", text, low, high)
	}
	c.value = v
	return c, nil
}

// bind makes the criterion of metrics for one group. assessed and days give the
// load of a referral ceiling.
func (c Criterion) bind(conf, days float64, assessed []metrics.ValueTotal) (metrics.Criterion, error) {
	switch c.kind {
	case "cost":
		return metrics.ByCostRatio(c.value)
	case "net-benefit":
		return metrics.ByNetBenefit(c.value)
	case "sensitivity":
		return metrics.BySensitivityFloor(c.value, metrics.AtLowerLimit, conf)
	case "specificity":
		return metrics.BySpecificityFloor(c.value, metrics.AtLowerLimit, conf)
	case "referrals":
		return metrics.ByReferralCeiling(c.value, days, assessed)
	}
	return metrics.ByYouden(), nil
}

// within is how much worse a threshold may score and still count as equally
// good: a difference that nobody would act on.
func (c Criterion) within(readings float64) (float64, string) {
	switch c.kind {
	case "cost":
		return readings / 100, "one needless referral in 100 readings"
	case "net-benefit":
		return 0.002, "two net animals in 1,000 readings"
	}
	return 0.02, "two per cent of the animals"
}
