package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MethodPairedExactPower names the test for which pairs are planned.
const MethodPairedExactPower Method = "exact conditional McNemar test"

// PairedPower is the chance that the exact McNemar test, two-sided at level
// 1 - conf, tells two rule sets apart on pairs episodes when a share onlyFirst of
// them is marked by the first alone and onlySecond by the second alone.
//
// It averages over the number of discordant pairs. The shares are 0 or more and
// add up to at most 1, pairs is 0 or more, else an error wrapping ErrArgument.
//
// Source: Duffy (1984) Biometrics 40:1005-1015, unconditional power of the exact
// conditional test.
func PairedPower(pairs int64, onlyFirst, onlySecond, conf float64) (float64, error) {
	if err := checkPaired(pairs, onlyFirst, onlySecond, conf); err != nil {
		return 0, err
	}
	discordant := onlyFirst + onlySecond
	if pairs == 0 || discordant == 0 {
		return 0, nil
	}
	n := float64(pairs)
	spread := 8*math.Sqrt(n*discordant*(1-discordant)) + 8 // the rest weighs nothing
	from := max(1, int64(n*discordant-spread))
	to := min(pairs, int64(n*discordant+spread)+1)
	count := distuv.Binomial{N: n, P: discordant}
	tail := (1 - conf) / 2
	critical := mcnemarCritical(from, tail)
	var power float64
	for m := from; m <= to; m++ {
		// One more pair raises the critical number by at most one.
		if 1-binomialAtLeast(float64(critical+2), float64(m), 0.5) <= tail {
			critical++
		}
		if critical >= 0 {
			size, p := float64(m), onlyFirst/discordant
			reject := 1 - binomialAtLeast(float64(critical+1), size, p) + binomialAtLeast(size-float64(critical), size, p)
			power += pairedWeight(count, m, discordant) * reject
		}
	}
	return math.Min(1, power), nil
}

// pairedWeight is the chance of m discordant pairs.
func pairedWeight(count distuv.Binomial, m int64, discordant float64) float64 {
	if discordant == 1 {
		if float64(m) == count.N {
			return 1
		}
		return 0
	}
	return count.Prob(float64(m))
}

// mcnemarCritical is the largest c with P(X <= c) <= tail for a fair coin tossed
// m times, or -1.
func mcnemarCritical(m int64, tail float64) int64 {
	return smallest(-1, m, func(c int64) bool { return 1-binomialAtLeast(float64(c+2), float64(m), 0.5) > tail })
}

// PlanPaired says how many episodes, seen by both rule sets, are needed to tell
// them apart with probability power, given the shares marked by one alone. For a
// comparison of sensitivities the pairs are animals in need, and the shares are
// shares of those. Equal shares cannot be told apart: NotReachable.
//
// Arguments and source as in PairedPower; power in (0, 1).
func PlanPaired(onlyFirst, onlySecond, conf, power float64, pace Pace) (SamplePlan, error) {
	const m = MethodPairedExactPower
	if err := checkPaired(0, onlyFirst, onlySecond, conf); err != nil {
		return SamplePlan{}, err
	}
	if err := pace.check(); err != nil {
		return SamplePlan{}, err
	}
	if !(power > 0 && power < 1) {
		return SamplePlan{}, argErr("power %v, expected a number between 0 and 1", power)
	}
	gap := math.Abs(onlyFirst - onlySecond)
	if gap == 0 {
		return SamplePlan{Method: m, NotReachable: "the rule sets do not differ"}, nil
	}
	discordant := onlyFirst + onlySecond
	root := (twoSidedZ(conf)*math.Sqrt(discordant) + math.Max(0, distuv.UnitNormal.Quantile(power))*math.Sqrt(discordant)) / gap
	if root*root > mostPlanned {
		return SamplePlan{Method: m, NotReachable: fmt.Sprintf("more than %d pairs", mostPlanned)}, nil
	}
	enough := func(n int64) bool {
		p, err := PairedPower(n, onlyFirst, onlySecond, conf)
		return err == nil && p >= power
	}
	hi := int64(root*root) + 50
	for !enough(hi) {
		hi *= 2
	}
	n := smallest(1, hi, enough)
	// The power rises almost, not quite, steadily: pass the last dip.
	for k := n; k < n+20; k++ {
		if !enough(k) {
			n = k + 1
		}
	}
	p := plan(n, pace, m)
	var err error
	p.Power, err = PairedPower(n, onlyFirst, onlySecond, conf)
	return p, err
}

func checkPaired(pairs int64, onlyFirst, onlySecond, conf float64) error {
	if err := checkConf(conf); err != nil {
		return err
	}
	if pairs < 0 || !(onlyFirst >= 0 && onlySecond >= 0 && onlyFirst+onlySecond <= 1) {
		return argErr("%d pairs, shares %v and %v, expected 0 or more and shares that add up to at most 1", pairs, onlyFirst, onlySecond)
	}
	return nil
}
