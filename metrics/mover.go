package metrics

// MethodMover names the interval of DifferenceOfEstimates.
const MethodMover Method = "limits of two independent estimates joined by square and add"

// DifferenceOfEstimates is first minus second for two estimates from different
// episodes, whatever their methods (two corrected sensitivities, say):
// d - sqrt((a-l1)^2 + (u2-b)^2) to d + sqrt((u1-a)^2 + (b-l2)^2).
//
// The two must be independent; for the same episodes under two rule sets use
// the paired methods. It is not estimable where either estimate is not, or lacks
// a limit; the warnings of both travel with it. Two confidences that differ are
// ErrArgument. With Wilson's limits it is NewcombeDifference.
//
// Also called MOVER. Source: Zou, Donner (2008) Stat Med 27:1693-1702.
func DifferenceOfEstimates(first, second Estimate) (Estimate, error) {
	if first.Conf != second.Conf {
		return Estimate{}, argErr("confidences %v and %v, expected the same", first.Conf, second.Conf)
	}
	if err := checkConf(first.Conf); err != nil {
		return Estimate{}, err
	}
	for _, e := range []Estimate{first, second} {
		if !e.Estimable() {
			return notEstimable(e.Conf, MethodMover, "%s", e.NotEstimable), nil
		}
		if e.LowUnbounded || e.HighUnbounded {
			return notEstimable(e.Conf, MethodMover, "one of the two has no limit on one side"), nil
		}
	}
	low, high := newcombeJoin(first.Value, first.Low, first.High, second.Value, second.Low, second.High)
	e := Estimate{Value: first.Value - second.Value, Low: low, High: high, Conf: first.Conf, Method: MethodMover}
	for _, w := range append(append([]string{}, first.Warnings...), second.Warnings...) {
		if len(e.Warnings) == 0 || e.Warnings[len(e.Warnings)-1] != w {
			e.Warnings = append(e.Warnings, w)
		}
	}
	return e, nil
}
