package metrics

// MethodCostPerEvent names the interval of CostPerEvent.
const MethodCostPerEvent Method = "total over Wilson limits of the share"

// CostPerEvent estimates what was spent for each event, total / events, such as
// the seconds of asking for each answer that changed the advice: a question that
// takes 40 s and decides in one call of 20 costs 800 s for each decision.
//
// total is in any unit, 0 or more, spent on trials of which events had the
// event. The limits are total/trials over the Wilson limits of events/trials, the
// cost of one trial taken as known. Without events there is nothing to divide
// by and the figure is not estimable; the same holds without trials. It returns
// an error wrapping ErrArgument for impossible counts, total or conf.
//
// Source: the interval of a number needed, by inverting the limits of a share:
// Altman (1998) BMJ 317:1309-1312.
func CostPerEvent(total float64, events, trials int64, conf float64) (Estimate, error) {
	p, err := Wilson(events, trials, conf)
	if err != nil {
		return Estimate{}, err
	}
	if !(total >= 0 && total < 1e300) {
		return Estimate{}, argErr("total %v, expected 0 or more", total)
	}
	switch {
	case trials == 0:
		return notEstimable(conf, MethodCostPerEvent, "nothing was spent: there are no trials"), nil
	case events == 0:
		return notEstimable(conf, MethodCostPerEvent, "no event among %d trials", trials), nil
	}
	each := total / float64(trials)
	return Estimate{Value: total / float64(events), Low: each / p.High, High: each / p.Low, Conf: conf,
		Method: MethodCostPerEvent, Numerator: total, Denominator: float64(events)}, nil
}
