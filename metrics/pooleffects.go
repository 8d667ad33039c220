package metrics

import (
	"math"
)

// Effect is what one advice line (or practice, or study) contributes to a pooled
// estimate: a value on a scale where it is close to normal, and its variance.
type Effect struct {
	// Value is a log odds, a log risk ratio or a log odds ratio.
	Value float64
	// Variance is its sampling variance, above 0.
	Variance float64
	// NotEstimable is empty, or why the line has no effect; it then keeps its
	// place but no weight, and Value and Variance are 0.
	NotEstimable string
}

// ZeroCells says what to do about a line with an empty cell, whose log is
// infinite. There is no best answer, so there is no default: adding half a call
// pulls every line towards one half, most of all small ones, and leaving such
// lines out drops the very lines that did best or worst. PoolBinomialNormal
// needs neither.
type ZeroCells int

// The ways to treat empty cells.
const (
	// LeaveOutEmpty leaves lines with an empty cell out.
	LeaveOutEmpty ZeroCells = iota + 1
	// HalfWhereEmpty adds half a call to every cell of a line that has an empty
	// one.
	HalfWhereEmpty
	// HalfEverywhere adds half a call to every cell of every line.
	HalfEverywhere
)

// add returns what to add to each of the cells, or the reason to leave the line
// out.
func (z ZeroCells) add(cells ...int64) (half float64, reason string) {
	empty := false
	for _, c := range cells {
		empty = empty || c == 0
	}
	switch {
	case z == HalfEverywhere, z == HalfWhereEmpty && empty:
		return 0.5, ""
	case empty:
		return 0, "an empty cell"
	}
	return 0, ""
}

func (z ZeroCells) check() error {
	if z < LeaveOutEmpty || z > HalfEverywhere {
		return argErr("zero-cell rule %d, expected one of the named rules", int(z))
	}
	return nil
}

// LogitEffects turns each line's proportion (its sensitivity, its share of
// escalated calls) into log odds with variance 1/successes + 1/failures.
//
// A line without trials has no effect. It returns an error wrapping ErrArgument
// for a count outside 0..Trials or an unknown rule for empty cells.
//
// Source: Cox & Snell, Analysis of Binary Data, 2nd ed. 1989, section 2.1.6 for
// the half.
func LogitEffects(lines []GroupCount, empty ZeroCells) ([]Effect, error) {
	if err := empty.check(); err != nil {
		return nil, err
	}
	if _, err := groupsWithTrials(lines); err != nil {
		return nil, err
	}
	out := make([]Effect, len(lines))
	for i, g := range lines {
		if g.Trials == 0 {
			out[i].NotEstimable = "no calls"
			continue
		}
		failures := g.Trials - g.Successes
		half, reason := empty.add(g.Successes, failures)
		if reason != "" {
			out[i].NotEstimable = reason
			continue
		}
		s, f := float64(g.Successes)+half, float64(failures)+half
		out[i] = Effect{Value: math.Log(s / f), Variance: 1/s + 1/f}
	}
	return out, nil
}

// LogOddsRatioEffects turns each line's two-by-two table into its log
// diagnostic odds ratio, log(TP TN / (FP FN)), with variance 1/TP + 1/FP + 1/FN
// + 1/TN.
//
// A line without episodes in need or without episodes not in need has no effect.
// It returns an error wrapping ErrArgument for a negative cell or an unknown rule
// for empty cells.
//
// Source: Woolf (1955) Ann Hum Genet 19:251-253.
func LogOddsRatioEffects(tables []TwoByTwo, empty ZeroCells) ([]Effect, error) {
	return tableEffects(tables, empty, func(a, b, c, d float64) Effect {
		return Effect{Value: math.Log(a * d / (b * c)), Variance: 1/a + 1/b + 1/c + 1/d}
	}, func(t TwoByTwo) bool { return t.TP+t.FN > 0 && t.FP+t.TN > 0 })
}

// LogRiskRatioEffects turns each line's two-by-two table into the log of how
// many times likelier need is when the test marks than when it does not, PPV /
// (1 - NPV), with variance 1/TP - 1/(TP+FP) + 1/FN - 1/(FN+TN).
//
// Any empty cell counts as empty. A line where nothing or everything was marked
// has no effect. Errors as for LogOddsRatioEffects.
//
// Source: Katz, Baptista, Azen & Pike (1978) Biometrics 34:469-474.
func LogRiskRatioEffects(tables []TwoByTwo, empty ZeroCells) ([]Effect, error) {
	return tableEffects(tables, empty, func(a, b, c, d float64) Effect {
		return Effect{Value: math.Log(a / (a + b) / (c / (c + d))), Variance: 1/a - 1/(a+b) + 1/c - 1/(c+d)}
	}, func(t TwoByTwo) bool { return t.TP+t.FP > 0 && t.FN+t.TN > 0 })
}

func tableEffects(tables []TwoByTwo, empty ZeroCells, effect func(a, b, c, d float64) Effect, usable func(TwoByTwo) bool) ([]Effect, error) {
	if err := empty.check(); err != nil {
		return nil, err
	}
	out := make([]Effect, len(tables))
	for i, t := range tables {
		if err := t.check(); err != nil {
			return nil, err
		}
		if !usable(t) {
			out[i].NotEstimable = "one of the two groups to compare is empty"
			continue
		}
		half, reason := empty.add(t.TP, t.FP, t.FN, t.TN)
		if reason != "" {
			out[i].NotEstimable = reason
			continue
		}
		out[i] = effect(float64(t.TP)+half, float64(t.FP)+half, float64(t.FN)+half, float64(t.TN)+half)
	}
	return out, nil
}

// FromLogit takes an estimate from the log odds scale to a proportion. What is
// not estimable stays so; a limit that does not exist becomes 0 or 1.
func FromLogit(e Estimate) Estimate {
	if !e.Estimable() {
		return e
	}
	e.Value, e.Low, e.High = logistic(e.Value), logistic(e.Low), logistic(e.High)
	if e.LowUnbounded {
		e.Low, e.LowUnbounded = 0, false
	}
	if e.HighUnbounded {
		e.High, e.HighUnbounded = 1, false
	}
	return e
}

// FromLog takes an estimate from the log scale to a ratio. A limit too large for
// a number becomes unbounded.
func FromLog(e Estimate) Estimate { return expEstimate(e) }

// LogitFromLimits takes a line's proportion that is known only with its limits,
// such as a corrected sensitivity, to the log odds scale: the standard error is
// the distance of the limits there over twice the normal quantile. It is as good
// as the limits are symmetric on that scale.
//
// A proportion that is not estimable, or whose limits reach 0 or 1, has no
// effect. It returns an error wrapping ErrArgument for an estimate whose
// confidence is outside (0, 1) or whose limits do not enclose its value.
//
// Source: Higgins et al. (eds) (2019) Cochrane Handbook for Systematic Reviews of
// Interventions, 2nd ed., section 6.3.
func LogitFromLimits(e Estimate) (Effect, error) {
	if !e.Estimable() {
		return Effect{NotEstimable: e.NotEstimable}, nil
	}
	if err := checkConf(e.Conf); err != nil {
		return Effect{}, err
	}
	if e.LowUnbounded || e.HighUnbounded || e.Low <= 0 || e.High >= 1 {
		return Effect{NotEstimable: "limits that reach 0 or 1"}, nil
	}
	if e.Value < e.Low || e.Value > e.High {
		return Effect{}, argErr("value %v outside its limits %v to %v", e.Value, e.Low, e.High)
	}
	if e.Low == e.High {
		return Effect{NotEstimable: "limits without width"}, nil
	}
	logit := func(p float64) float64 { return math.Log(p / (1 - p)) }
	se := (logit(e.High) - logit(e.Low)) / (2 * twoSidedZ(e.Conf))
	return Effect{Value: logit(e.Value), Variance: se * se}, nil
}
