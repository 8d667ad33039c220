package metrics

import "math"

// The interval methods of this file.
const (
	MethodLogRatio     Method = "log method"
	MethodLogRatioHalf Method = "log method, one half added to each cell"
)

// LRPositive estimates the positive likelihood ratio, sensitivity over
// (1 - specificity): the factor by which a mark multiplies the odds of need.
//
// Limits are exp(log LR +- z * sqrt(1/TP - 1/(TP+FN) + 1/FP - 1/(FP+TN))). Zero
// cells: FP = 0 has no finite ratio and is not estimable (the reason says so;
// LRPositivePlusHalf gives a figure at the price of a small bias). TP = 0 with
// FP > 0 has the value 0 and no upper limit (HighUnbounded), with a warning.
// Nobody in need, or nobody not in need: not estimable. It returns an error
// wrapping ErrArgument for a negative count or a conf outside (0, 1).
//
// Source: Simel, Samsa, Matchar (1991) J Clin Epidemiol 44:763-770.
func LRPositive(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, func(c fourCells) ratioParts {
		return likelihoodRatio(c.tp, c.fn, c.fp, c.tn, "false positives")
	}, 0)
}

// LRNegative estimates the negative likelihood ratio, (1 - sensitivity) over
// specificity: the factor by which the absence of a mark multiplies the odds
// of need. FN = 0 has the value 0 and no upper limit; TN = 0 is not estimable.
// Otherwise as LRPositive with the columns exchanged.
//
// Source: Simel, Samsa, Matchar (1991) J Clin Epidemiol 44:763-770.
func LRNegative(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, func(c fourCells) ratioParts {
		return likelihoodRatio(c.fn, c.tp, c.tn, c.fp, "true negatives")
	}, 0)
}

// DiagnosticOddsRatio estimates (TP * TN) / (FP * FN), with Woolf's limits
// exp(log DOR +- z * sqrt(1/TP + 1/FP + 1/FN + 1/TN)). FP = 0 or FN = 0 is not
// estimable; TP = 0 or TN = 0 has the value 0 and no upper limit. Errors as in
// LRPositive.
//
// Source: Glas et al. (2003) J Clin Epidemiol 56:1129-1135; limits Woolf (1955)
// Ann Hum Genet 19:251-253.
func DiagnosticOddsRatio(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, diagnosticOdds, 0)
}

// LRPositivePlusHalf is LRPositive after adding one half to each of the four
// cells, which always has a value and limits but pulls the ratio towards 1.
//
// Source: Haldane (1956) Ann Hum Genet 20:309-311; Anscombe (1956) Biometrika
// 43:461-464.
func LRPositivePlusHalf(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, func(c fourCells) ratioParts {
		return likelihoodRatio(c.tp, c.fn, c.fp, c.tn, "false positives")
	}, 0.5)
}

// LRNegativePlusHalf is LRNegative after adding one half to each of the four
// cells; see LRPositivePlusHalf.
func LRNegativePlusHalf(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, func(c fourCells) ratioParts {
		return likelihoodRatio(c.fn, c.tp, c.tn, c.fp, "true negatives")
	}, 0.5)
}

// DiagnosticOddsRatioPlusHalf is DiagnosticOddsRatio after adding one half to
// each of the four cells; see LRPositivePlusHalf.
func DiagnosticOddsRatioPlusHalf(t TwoByTwo, conf float64) (Estimate, error) {
	return t.ratio(conf, diagnosticOdds, 0.5)
}

// fourCells are a table's cells as numbers, one half added where asked.
type fourCells struct{ tp, fp, fn, tn float64 }

// ratioParts is a ratio with the variance of its logarithm. infinite names the
// empty cells when the ratio has no finite value.
type ratioParts struct {
	value, varLog float64
	infinite      string
}

// likelihoodRatio is (hit/(hit+miss)) / (alarm/(alarm+quiet)) with the variance
// of its logarithm; alarms names the cell that must not be empty.
func likelihoodRatio(hit, miss, alarm, quiet float64, alarms string) ratioParts {
	if alarm == 0 {
		return ratioParts{infinite: "no " + alarms}
	}
	need, well := hit+miss, alarm+quiet
	r := ratioParts{value: (hit / need) / (alarm / well)}
	if hit > 0 {
		r.varLog = 1/hit - 1/need + 1/alarm - 1/well
	}
	return r
}

func diagnosticOdds(c fourCells) ratioParts {
	switch {
	case c.fp == 0:
		return ratioParts{infinite: "no false positives"}
	case c.fn == 0:
		return ratioParts{infinite: "no false negatives"}
	}
	r := ratioParts{value: c.tp / c.fp * c.tn / c.fn}
	if r.value > 0 {
		r.varLog = 1/c.tp + 1/c.fp + 1/c.fn + 1/c.tn
	}
	return r
}

// ratio checks the table, adds plus to each cell and dresses a ratio.
func (t TwoByTwo) ratio(conf float64, f func(fourCells) ratioParts, plus float64) (Estimate, error) {
	m := MethodLogRatio
	if plus > 0 {
		m = MethodLogRatioHalf
	}
	if err := checkConf(conf); err != nil {
		return Estimate{}, err
	}
	if err := t.check(); err != nil {
		return Estimate{}, err
	}
	if t.TP+t.FN == 0 {
		return notEstimable(conf, m, "no verified episode was in need"), nil
	}
	if t.FP+t.TN == 0 {
		return notEstimable(conf, m, "every verified episode was in need"), nil
	}
	r := f(fourCells{
		tp: float64(t.TP) + plus, fp: float64(t.FP) + plus,
		fn: float64(t.FN) + plus, tn: float64(t.TN) + plus,
	})
	if r.infinite != "" {
		return notEstimable(conf, m, "%s, so the ratio has no finite value", r.infinite), nil
	}
	e := Estimate{Value: r.value, Conf: conf, Method: m}
	if r.value == 0 {
		e.HighUnbounded = true
		e.Warnings = []string{"a cell is empty: the log method gives no upper limit"}
		return e, nil
	}
	half := twoSidedZ(conf) * math.Sqrt(math.Max(0, r.varLog))
	e.Low, e.High = r.value*math.Exp(-half), r.value*math.Exp(half)
	if r.varLog <= 0 {
		e.Warnings = []string{"the test gave one answer for all: an interval of no width says nothing about precision"}
	}
	return e, nil
}
