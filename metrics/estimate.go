package metrics

import (
	"errors"
	"fmt"
)

// ErrArgument is wrapped by every error of this package that blames the
// caller: a negative count, a confidence outside (0, 1), slices of unequal
// length. Thin data is never an error; see Estimate.NotEstimable.
var ErrArgument = errors.New("bad argument")

// argErr reports a bad argument as an error that wraps ErrArgument.
func argErr(format string, args ...any) error {
	return fmt.Errorf("%w: %s", ErrArgument, fmt.Sprintf(format, args...))
}

// Method names how an interval was made, in the words of the literature. It
// travels with the number to the page, so that a reader can look it up.
type Method string

// Estimate is one figure with all that is needed to read it honestly.
//
// An estimate either is estimable, and then Value is finite and lies within
// [Low, High], or it is not, and then NotEstimable says why in words that a
// clinical lead can read and Value, Low and High are 0 and mean nothing. No
// NaN or infinity leaves this package inside an Estimate unless the field's
// own documentation says that infinity is a legal limit (a likelihood ratio
// with an empty cell has no upper limit: LowUnbounded or HighUnbounded says so).
type Estimate struct {
	// Value is the point estimate; proportions are in 0..1, never percent.
	Value float64
	// Low and High are the limits at confidence Conf.
	Low, High float64
	// LowUnbounded and HighUnbounded mark a limit that does not exist; the
	// matching Low or High is then 0 and must not be shown.
	LowUnbounded, HighUnbounded bool
	// Conf is the confidence of the limits, in (0, 1); 0.95 for 95 %.
	Conf float64
	// Method names the interval.
	Method Method
	// Numerator and Denominator are the counts behind Value. They are whole
	// for a directly counted proportion and fractional for a corrected one
	// (expected counts); both are 0 where a single fraction does not exist.
	Numerator, Denominator float64
	// NotEstimable is empty for an estimable figure, else the reason.
	NotEstimable string
	// Warnings are short sentences that belong beside the figure as
	// footnotes ("only 4 verified negatives in 2 strata").
	Warnings []string
}

// Estimable reports whether the estimate has a value.
func (e Estimate) Estimable() bool { return e.NotEstimable == "" }

// notEstimable makes an Estimate without a value.
func notEstimable(conf float64, m Method, format string, args ...any) Estimate {
	return Estimate{Conf: conf, Method: m, NotEstimable: fmt.Sprintf(format, args...)}
}

// checkConf refuses a confidence outside (0, 1), NaN included.
func checkConf(conf float64) error {
	if !(conf > 0 && conf < 1) {
		return argErr("confidence %v, expected a number between 0 and 1", conf)
	}
	return nil
}
