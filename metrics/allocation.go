package metrics

import "math"

// AllocationStratum is a stratum to which follow-up calls can be given.
type AllocationStratum struct {
	Name string
	// Eligible is the number of episodes that may be followed up.
	Eligible int64
	// Rate is the share in need expected among them, in (0, 1): a past
	// estimate, or a guess. A stratum without a case so far has a small rate, not 0.
	Rate float64
	// Response is the share of calls expected to give an outcome, in (0, 1].
	Response float64
}

// Allocation is a number of calls for each stratum.
type Allocation struct {
	// Calls has one entry for each stratum, in the order given.
	Calls []int64
	// HalfWidth is the expected half-width of the normal limits of the number in
	// need among all eligible episodes, at the confidence asked for.
	HalfWidth float64
}

// AuditAllocation divides follow-up calls between strata so that the estimated
// number of animals in need has the narrowest interval: a stratum gets calls in
// proportion to its size times sqrt(rate*(1-rate)/response), in whole calls, at
// least minCalls each (or all its episodes, if fewer) and no more than it has.
//
// The whole-number optimum is found by giving each next call to the stratum whose
// variance falls most, size^2*rate*(1-rate)/response * (1/n - 1/(n+1)). minCalls
// is 1 or more, because a stratum without a call cannot be estimated; 10 over the
// response keeps it out of the thin cells. Errors wrap ErrArgument: rates outside
// their range, too few calls for the minima, no strata, conf outside (0, 1).
// Calls beyond all eligible episodes are not given.
//
// Source: Neyman (1934) J R Stat Soc 97:558-625; whole numbers and minima after
// Wright (2012) Am Stat 66:217-224.
func AuditAllocation(strata []AllocationStratum, calls, minCalls int64, conf float64) (Allocation, error) {
	if err := checkConf(conf); err != nil {
		return Allocation{}, err
	}
	if len(strata) == 0 || minCalls < 1 {
		return Allocation{}, argErr("%d strata with at least %d calls, expected 1 or more of both", len(strata), minCalls)
	}
	out := Allocation{Calls: make([]int64, len(strata))}
	weight := make([]float64, len(strata))
	left := calls
	for i, s := range strata {
		if s.Eligible < 0 || !(s.Rate > 0 && s.Rate < 1) || !(s.Response > 0 && s.Response <= 1) {
			return Allocation{}, argErr("stratum %q: %d eligible, rate %v, response %v: expected 0 or more, between 0 and 1, up to 1",
				s.Name, s.Eligible, s.Rate, s.Response)
		}
		weight[i] = float64(s.Eligible) * math.Sqrt(s.Rate*(1-s.Rate)/s.Response)
		out.Calls[i] = min(minCalls, s.Eligible)
		left -= out.Calls[i]
	}
	if left < 0 {
		return Allocation{}, argErr("%d calls, expected at least %d for %d strata", calls, calls-left, len(strata))
	}
	for ; left > 0; left-- {
		best, gain := -1, 0.0
		for i, s := range strata {
			n := float64(out.Calls[i])
			if g := weight[i] / math.Sqrt(n*(n+1)); out.Calls[i] < s.Eligible && g > gain {
				best, gain = i, g
			}
		}
		if best < 0 {
			break // every eligible episode is called
		}
		out.Calls[best]++
	}
	var variance float64
	for i, s := range strata {
		if s.Eligible > 0 {
			variance += allocationVariance(s, out.Calls[i])
		}
	}
	out.HalfWidth = twoSidedZ(conf) * math.Sqrt(variance)
	return out, nil
}

// allocationVariance is the variance of a stratum's estimated number in need with
// n calls, allowing for the finite number of episodes.
func allocationVariance(s AllocationStratum, n int64) float64 {
	size := float64(s.Eligible)
	answers := float64(n) * s.Response
	return size * size * s.Rate * (1 - s.Rate) * math.Max(0, 1/answers-1/size)
}
