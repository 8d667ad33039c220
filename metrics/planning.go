package metrics

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// mostPlanned is where a plan stops: no line will see that many animals in need,
// so a larger number is answered with "not reachable" instead of a figure.
const mostPlanned = 1_000_000

// Pace turns a number of animals into episodes and months.
type Pace struct {
	// PerEpisode is the share of episodes that give one of the counted animals:
	// for sensitivity those in need and verified. In (0, 1].
	PerEpisode float64
	// EpisodesPerMonth is the present rate, positive.
	EpisodesPerMonth float64
}

func (p Pace) check() error {
	if !(p.PerEpisode > 0 && p.PerEpisode <= 1) || !(p.EpisodesPerMonth > 0 && p.EpisodesPerMonth <= math.MaxFloat64) {
		return argErr("pace of %v an episode and %v episodes a month, expected up to 1 and a positive number", p.PerEpisode, p.EpisodesPerMonth)
	}
	return nil
}

// SamplePlan says how many must be seen, and how long that takes.
type SamplePlan struct {
	// Animals is the number to be counted (in need and verified, or pairs).
	Animals int64
	// Episodes is the number of episodes that bring so many, Months the time at
	// the present rate.
	Episodes, Months float64
	// Power is the chance to reach the aim with so many, where the plan is one of
	// power, else 0. HalfWidth is the expected half-width of the interval, where
	// the plan is one of width, else 0.
	Power, HalfWidth float64
	// Method is the interval or test that will be used.
	Method Method
	// NotReachable is empty, or says why there is no plan; all numbers are then 0
	// and mean nothing.
	NotReachable string
}

// plan dresses a number of animals.
func plan(n int64, pace Pace, m Method) SamplePlan {
	episodes := math.Ceil(float64(n) / pace.PerEpisode)
	return SamplePlan{Animals: n, Episodes: episodes, Months: episodes / pace.EpisodesPerMonth, Method: m}
}

// PlanAboveFloor says how many animals in need must be seen so that, if the true
// sensitivity is expected, the lower limit of its interval lies above floor with
// probability power.
//
// m is MethodClopperPearson or MethodWilson, the limits to be used later. The
// chance is computed from the binomial distribution itself; because it rises in
// saw teeth, the answer is the number from which it stays at power or above.
// floor < expected <= 1, both in (0, 1) otherwise; power and conf in (0, 1), else an
// error wrapping ErrArgument. More than a million animals is NotReachable. The same
// serves specificity, with animals not in need.
//
// Source: exact power of one proportion; saw teeth after Chernick, Liu (2002) Am
// Stat 56:149-155.
func PlanAboveFloor(expected, floor, conf, power float64, m Method, pace Pace) (SamplePlan, error) {
	if err := checkPlan(conf, m, pace); err != nil {
		return SamplePlan{}, err
	}
	if !(floor > 0 && floor < expected && expected <= 1) {
		return SamplePlan{}, argErr("expected %v and floor %v, expected 0 < floor < expected <= 1", expected, floor)
	}
	if !(power > 0 && power < 1) {
		return SamplePlan{}, argErr("power %v, expected a number between 0 and 1", power)
	}
	z, zPower := twoSidedZ(conf), distuv.UnitNormal.Quantile(power)
	root := (z*math.Sqrt(floor*(1-floor)) + zPower*math.Sqrt(expected*(1-expected))) / (expected - floor)
	rough := root * root
	if rough > mostPlanned {
		return SamplePlan{Method: m, NotReachable: fmt.Sprintf("more than %d animals", mostPlanned)}, nil
	}
	// Start well beyond the normal approximation and walk down to the last
	// number that falls short.
	n := int64(1.5*rough) + 300
	for n > 0 && floorPower(n, expected, floor, conf, m) >= power {
		n--
	}
	p := plan(n+1, pace, m)
	p.Power = floorPower(n+1, expected, floor, conf, m)
	return p, nil
}

// floorPower is the chance that the lower limit exceeds floor with n animals.
func floorPower(n int64, expected, floor, conf float64, m Method) float64 {
	return binomialAtLeast(float64(floorCritical(n, floor, conf, m)), float64(n), expected)
}

// floorCritical is the smallest count of n whose lower limit exceeds floor, or
// n+1 if none does.
func floorCritical(n int64, floor, conf float64, m Method) int64 {
	limits := wilsonLimits
	if m == MethodClopperPearson {
		// The lower limit exceeds floor exactly if floor is rejected from above.
		limits = func(x, n, conf float64) (float64, float64) {
			if binomialAtLeast(x, n, floor) < (1-conf)/2 {
				return 1, 1
			}
			return 0, 1
		}
	}
	lo, hi := int64(0), n+1 // lo falls short, hi is enough
	for hi-lo > 1 {
		mid := lo + (hi-lo)/2
		if low, _ := limits(float64(mid), float64(n), conf); low > floor {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// PlanHalfWidth says how many animals in need must be seen so that the interval
// of a sensitivity near expected is no wider than halfWidth to either side on
// average, (high - low) / 2.
//
// expected is in [0, 1], halfWidth in (0, 0.5); the rest as in PlanAboveFloor. The
// limits are taken at expected * n, a fraction included, so that the answer does
// not jump.
func PlanHalfWidth(expected, halfWidth, conf float64, m Method, pace Pace) (SamplePlan, error) {
	if err := checkPlan(conf, m, pace); err != nil {
		return SamplePlan{}, err
	}
	if !(expected >= 0 && expected <= 1) || !(halfWidth > 0 && halfWidth < 0.5) {
		return SamplePlan{}, argErr("expected %v with half-width %v, expected 0 to 1 and between 0 and 0.5", expected, halfWidth)
	}
	limits := wilsonLimits
	if m == MethodClopperPearson {
		limits = clopperPearsonLimits
	}
	width := func(n int64) float64 {
		low, high := limits(expected*float64(n), float64(n), conf)
		return (high - low) / 2
	}
	if width(mostPlanned) > halfWidth {
		return SamplePlan{Method: m, NotReachable: fmt.Sprintf("more than %d animals", mostPlanned)}, nil
	}
	n := smallest(1, mostPlanned, func(n int64) bool { return width(n) <= halfWidth })
	p := plan(n, pace, m)
	p.HalfWidth = width(n)
	return p, nil
}

// smallest finds the smallest n in [lo, hi] with ok(n), where ok(hi) holds and ok
// once true stays true.
func smallest(lo, hi int64, ok func(int64) bool) int64 {
	for lo < hi {
		mid := lo + (hi-lo)/2
		if ok(mid) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	return lo
}

// checkPlan refuses a confidence, interval method or pace that a plan cannot use.
func checkPlan(conf float64, m Method, pace Pace) error {
	if err := checkConf(conf); err != nil {
		return err
	}
	if m != MethodWilson && m != MethodClopperPearson {
		return argErr("method %q, expected %q or %q", m, MethodWilson, MethodClopperPearson)
	}
	return pace.check()
}
