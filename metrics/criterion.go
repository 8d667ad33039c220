package metrics

import (
	"fmt"
	"math"
)

// Criterion is a stated reason for preferring one threshold over another. Each is
// made by one of the By... functions; the zero Criterion is a bad argument.
//
// Of thresholds that score the same the one that marks more animals in need is
// taken, and then the one that refers fewer of the others.
type Criterion struct {
	// name is shown with the result; unit is what the score is measured in.
	name, unit string
	// score gives the point's merit, higher is better, and whether it meets the
	// criterion's condition at all.
	score func(ROCPoint) (merit float64, met bool)
	// linear is true when every point meets the criterion and merit is a constant plus a
	// multiple of TP minus a multiple of FP; the best pair of limits then needs no search
	// over pairs.
	linear bool
	// unmet says why no threshold may qualify.
	unmet string
	// shown turns the merit into the figure that is reported (a cost is minus merit).
	shown func(merit float64) float64
	// floor, judged and onSpecificity describe a floor criterion, for those who must judge
	// it on other limits than Wilson's.
	floor         float64
	judged        Judged
	onSpecificity bool
}

// String names the criterion with its stated numbers.
func (c Criterion) String() string { return c.name }

func (c Criterion) check() error {
	if c.score == nil {
		return argErr("empty criterion, expected one made by ByYouden, ByCostRatio or another of the By functions")
	}
	return nil
}

func (c Criterion) report(merit float64) float64 {
	if c.shown == nil {
		return merit
	}
	return c.shown(merit)
}

// ByYouden prefers the greatest sensitivity + specificity - 1. It says that a
// missed animal and a needless referral are equally bad among equally many of each,
// which is rarely what an advice line means; see ByCostRatio.
//
// Source: Youden (1950) Cancer 3:32-35.
func ByYouden() Criterion {
	return Criterion{name: "Youden index", unit: "index, -1 to 1", linear: true,
		score: func(p ROCPoint) (float64, bool) { return p.TP/p.Needed - p.FP/p.NotNeeded, true }}
}

// ByCostRatio prefers the least missCost x FN + FP in the episodes counted, missCost
// being how many needless referrals one missed animal is worth (above 0, finite). The
// score is that cost, in needless referrals. The share that needed care is the one in
// the counts: among verified episodes it may be far from the line's own, see
// ByCostRatioAt. It returns ErrArgument for another missCost.
//
// Source: McNeil, Keeler & Adelstein (1975) N Engl J Med 293:211-215; Metz (1978)
// Semin Nucl Med 8:283-298.
func ByCostRatio(missCost float64) (Criterion, error) {
	if !(missCost > 0) || math.IsInf(missCost, 0) {
		return Criterion{}, argErr("cost of a miss %v, expected a number above 0", missCost)
	}
	return Criterion{
		name: fmt.Sprintf("least cost, one miss = %g needless referrals", missCost), unit: "needless referrals", linear: true,
		score: func(p ROCPoint) (float64, bool) { return -(missCost*(p.Needed-p.TP) + p.FP), true },
		shown: func(m float64) float64 { return -m },
	}, nil
}

// ByCostRatioAt prefers the greatest sensitivity + (1-prevalence)/(missCost prevalence)
// x specificity: the least expected cost where the share prevalence of animals needs
// care, whatever share the counts hold. prevalence is in (0, 1). It returns ErrArgument
// for another prevalence or a missCost that is not above 0.
//
// Source: Perkins & Schisterman (2006) Am J Epidemiol 163:670-675.
func ByCostRatioAt(missCost, prevalence float64) (Criterion, error) {
	if !(missCost > 0) || math.IsInf(missCost, 0) {
		return Criterion{}, argErr("cost of a miss %v, expected a number above 0", missCost)
	}
	if !(prevalence > 0 && prevalence < 1) {
		return Criterion{}, argErr("prevalence %v, expected a number between 0 and 1", prevalence)
	}
	r := (1 - prevalence) / (missCost * prevalence)
	return Criterion{
		name: fmt.Sprintf("least cost, one miss = %g needless referrals, prevalence %g", missCost, prevalence),
		unit: "sensitivity + weighted specificity", linear: true,
		score: func(p ROCPoint) (float64, bool) {
			return p.Sensitivity() + r*p.Specificity(), true
		},
	}, nil
}

// ByNetBenefit prefers the greatest net benefit TP/n - FP/n x pt/(1-pt) at the stated
// threshold probability pt in [0, 1): the chance of need at which an owner and a vet
// would just accept a visit. n are the episodes counted, with the same caution about
// the share that needed care as in ByCostRatio. It returns ErrArgument for another pt.
//
// Source: Vickers & Elkin (2006) Med Decis Making 26:565-574.
func ByNetBenefit(pt float64) (Criterion, error) {
	w, err := harmWeight(pt)
	if err != nil {
		return Criterion{}, err
	}
	return Criterion{name: fmt.Sprintf("net benefit at threshold probability %g", pt), unit: "net true positives an episode", linear: true,
		score: func(p ROCPoint) (float64, bool) { return (p.TP - w*p.FP) / (p.Needed + p.NotNeeded), true }}, nil
}

// Judged says on which figure a floor is tested.
type Judged uint8

// The figures a floor may be tested on.
const (
	// AtLowerLimit asks that the lower Wilson limit reaches the floor: the data
	// must show it, not merely suggest it.
	AtLowerLimit Judged = iota + 1
	// AtEstimate asks it of the estimate only; the truth is then below the floor
	// about half the time.
	AtEstimate
)

// BySensitivityFloor prefers, among thresholds whose sensitivity reaches floor, the
// one of greatest specificity. With AtLowerLimit the lower limit of the two-sided
// Wilson interval of confidence conf must reach it; with AtEstimate conf is not used.
// When no threshold does, the choice is not estimable and says so. floor is in (0, 1].
// It returns ErrArgument for another floor or conf or an unknown judged.
func BySensitivityFloor(floor float64, judged Judged, conf float64) (Criterion, error) {
	return byFloor("sensitivity", floor, judged, conf,
		func(p ROCPoint) (float64, float64) { return p.TP, p.Needed },
		func(p ROCPoint) float64 { return p.Specificity() })
}

// BySpecificityFloor prefers, among thresholds whose specificity reaches floor, the
// one of greatest sensitivity. Arguments and edges are those of BySensitivityFloor.
func BySpecificityFloor(floor float64, judged Judged, conf float64) (Criterion, error) {
	return byFloor("specificity", floor, judged, conf,
		func(p ROCPoint) (float64, float64) { return p.NotNeeded - p.FP, p.NotNeeded },
		func(p ROCPoint) float64 { return p.Sensitivity() })
}

func byFloor(rate string, floor float64, judged Judged, conf float64, of func(ROCPoint) (float64, float64), merit func(ROCPoint) float64) (Criterion, error) {
	if !(floor > 0 && floor <= 1) {
		return Criterion{}, argErr("floor %v for the %s, expected a number above 0, at most 1", floor, rate)
	}
	where := "estimate"
	switch judged {
	case AtLowerLimit:
		if err := checkConf(conf); err != nil {
			return Criterion{}, err
		}
		where = fmt.Sprintf("lower limit at %g %% confidence", 100*conf)
	case AtEstimate:
	default:
		return Criterion{}, argErr("judged %d, expected AtLowerLimit or AtEstimate", judged)
	}
	return Criterion{
		floor: floor, judged: judged, onSpecificity: rate == "specificity",
		name:  fmt.Sprintf("%s at least %g (%s)", rate, floor, where),
		unit:  "the other rate",
		unmet: fmt.Sprintf("no threshold reaches a %s of %g at the %s", rate, floor, where),
		score: func(p ROCPoint) (float64, bool) {
			x, n := of(p)
			r := x / n
			if judged == AtLowerLimit {
				r, _ = wilsonLimits(x, n, conf)
			}
			// A share such as 9/10 may fall short of its own decimal by one bit.
			return merit(p), r >= floor-1e-12
		},
	}, nil
}
