package metrics

import (
	"fmt"
	"math"
)

// AuditPlan is the size of an audit sample.
type AuditPlan struct {
	// Answers are needed, Calls give so many at the expected response.
	Answers, Calls int64
	// HalfWidth is the expected half-width of the interval of the rate, 0 in a
	// plan of detection. Chance is the probability to see a case, 0 in a plan of
	// width.
	HalfWidth, Chance float64
	// NotReachable is empty, or says why there are not enough episodes; the
	// numbers are then 0 and mean nothing.
	NotReachable string
}

// PlanAudit says how many follow-up calls estimate the rate of need among
// eligible episodes to within halfWidth, in one stratum with simple random
// drawing. For several strata divide calls with AuditAllocation.
//
// The limits are Wilson's, the number is reduced for the finite number of
// episodes: n0 / (1 + (n0-1)/eligible). rate is the one expected, in [0, 1];
// halfWidth in (0, 0.5), response in (0, 1], eligible 1 or more, else an error
// wrapping ErrArgument. If even calling all does not do, NotReachable.
//
// Source: Cochran (1977) Sampling Techniques, 3rd edition, section 4.4.
func PlanAudit(eligible int64, rate, halfWidth, response, conf float64) (AuditPlan, error) {
	if err := checkAudit(eligible, response); err != nil {
		return AuditPlan{}, err
	}
	p, err := PlanHalfWidth(rate, halfWidth, conf, MethodWilson, Pace{1, 1})
	if err != nil {
		return AuditPlan{}, err
	}
	if p.NotReachable != "" {
		return AuditPlan{NotReachable: p.NotReachable}, nil
	}
	answers := math.Ceil(float64(p.Animals) / (1 + float64(p.Animals-1)/float64(eligible)))
	out := auditCalls(eligible, answers, response)
	if out.NotReachable == "" {
		out.HalfWidth = p.HalfWidth
	}
	return out, nil
}

// PlanAuditDetection says how many follow-up calls find at least one animal in
// need with probability chance, if a share rate of the eligible episodes is:
// 1 - (1-rate)^n >= chance. At chance 0.95 this is about 3 / rate answers.
//
// rate and chance are in (0, 1), the rest as in PlanAudit. Drawing without
// replacement finds slightly more.
//
// Source: Hanley, Lippman-Hand (1983) JAMA 249:1743-1745, the rule of three.
func PlanAuditDetection(eligible int64, rate, chance, response float64) (AuditPlan, error) {
	if err := checkAudit(eligible, response); err != nil {
		return AuditPlan{}, err
	}
	if !(rate > 0 && rate < 1 && chance > 0 && chance < 1) {
		return AuditPlan{}, argErr("rate %v and chance %v, expected numbers between 0 and 1", rate, chance)
	}
	answers := math.Ceil(math.Log1p(-chance) / math.Log1p(-rate))
	out := auditCalls(eligible, answers, response)
	if out.NotReachable == "" {
		out.Chance = -math.Expm1(float64(out.Answers) * math.Log1p(-rate))
	}
	return out, nil
}

// auditCalls turns answers into calls, if there are as many episodes.
func auditCalls(eligible int64, answers, response float64) AuditPlan {
	calls := math.Ceil(answers / response)
	if calls > float64(eligible) {
		return AuditPlan{NotReachable: fmt.Sprintf("%.0f calls are needed, %d episodes are eligible", calls, eligible)}
	}
	return AuditPlan{Answers: int64(answers), Calls: int64(calls)}
}

func checkAudit(eligible int64, response float64) error {
	if eligible < 1 || !(response > 0 && response <= 1) {
		return argErr("%d eligible with response %v, expected 1 or more and up to 1", eligible, response)
	}
	return nil
}
