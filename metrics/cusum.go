package metrics

import "math"

// CusumPoint is one point of a cumulative sum in both directions.
type CusumPoint struct {
	Upper, Lower             float64
	UpperSignal, LowerSignal bool
}

// Cusum sums what exceeds the target by more than an allowance, upwards and
// downwards apart: Upper = max(0, Upper + x - target - allowance), Lower =
// max(0, Lower + target - allowance - x). A sum signals when it exceeds limit
// strictly; it goes on afterwards.
//
// values are in time order, in the unit of target, allowance (0 or more) and
// limit (above 0); head (0 or more, below limit) is where both sums start. It
// returns ErrArgument for numbers out of range or not finite.
//
// Source: Page (1954) Biometrika 41:100-115; in tabular form Montgomery,
// Introduction to Statistical Quality Control, chapter on cumulative sums.
func Cusum(values []float64, target, allowance, limit, head float64) ([]CusumPoint, error) {
	if !(allowance >= 0) || !(limit > 0) || !(head >= 0 && head < limit) ||
		math.IsInf(allowance, 0) || math.IsInf(limit, 0) || math.IsNaN(target) || math.IsInf(target, 0) {
		return nil, argErr("target %v, allowance %v, limit %v, head %v; expected allowance >= 0, limit > 0, 0 <= head < limit",
			target, allowance, limit, head)
	}
	out := make([]CusumPoint, len(values))
	up, down := head, head
	for i, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return nil, argErr("value %d is %v, expected a finite number", i, x)
		}
		up = math.Max(0, up+x-target-allowance)
		down = math.Max(0, down+target-allowance-x)
		out[i] = CusumPoint{Upper: up, Lower: down, UpperSignal: up > limit, LowerSignal: down > limit}
	}
	return out, nil
}

// ProportionCusum sums events above what is allowed for: after each group of n
// calls with x events, S = max(0, S + x - allowed n). S is a number of events,
// "misses beyond the allowance since things last looked well", and signals when
// it exceeds Limit. DesignProportionCusum makes one.
type ProportionCusum struct {
	// Acceptable and Poor are the proportions that it is to tell apart.
	Acceptable, Poor float64
	// Events and Calls make the allowance: Events in Calls. It lies between
	// Acceptable and Poor. A fraction of small whole numbers makes the run
	// length exact.
	Events, Calls int64
	// Limit is in events.
	Limit float64
}

// Allowed is the allowance as a proportion.
func (c ProportionCusum) Allowed() float64 { return float64(c.Events) / float64(c.Calls) }

// cusumSteps bounds the states of the run length's chain, and so the fineness
// of the allowance; cusumCalls bounds the allowance's denominator.
const (
	cusumSteps = 1200
	cusumCalls = 300
)

// DesignProportionCusum sets the allowance of a cumulative sum that is to tell
// an acceptable proportion from a poor one: the value at which both explain the
// calls equally well,
//
//	ln((1-a)/(1-p)) / ln(p (1-a) / (a (1-p)))
//
// rounded to a fraction between the two with a denominator small enough for an
// exact run length. Poor must exceed acceptable: to watch for improvement, count
// the calls without the event. limit is in events, above 0; see
// ProportionCusumLimit. Anything else is ErrArgument, and so are proportions so
// close or so small that no such fraction lies between them.
//
// Source: Reynolds & Stoumbos (1999) J Qual Technol 31:87-108.
func DesignProportionCusum(acceptable, poor, limit float64) (ProportionCusum, error) {
	if !(acceptable > 0 && acceptable < poor && poor < 1) {
		return ProportionCusum{}, argErr("acceptable proportion %v and poor %v, expected 0 < acceptable < poor < 1", acceptable, poor)
	}
	if !(limit > 0) || math.IsInf(limit, 0) {
		return ProportionCusum{}, argErr("limit %v events, expected a finite number above 0", limit)
	}
	r1 := math.Log1p(-acceptable) - math.Log1p(-poor)
	r2 := math.Log(poor) - math.Log(acceptable) + r1
	most := int64(math.Min(cusumCalls, math.Max(1, cusumSteps/limit)))
	events, calls := nearestFraction(r1/r2, most)
	if got := float64(events) / float64(calls); got <= acceptable || got >= poor {
		return ProportionCusum{}, argErr("no fraction with a denominator up to %d lies between %v and %v; choose proportions farther apart or a lower limit, or chart the time between events",
			most, acceptable, poor)
	}
	return ProportionCusum{Acceptable: acceptable, Poor: poor, Events: events, Calls: calls, Limit: limit}, nil
}

// nearestFraction is the fraction nearest to v in (0, 1) with a denominator of
// at most most, above 0 where one such exists.
func nearestFraction(v float64, most int64) (num, den int64) {
	num, den = 1, max(1, most)
	best := math.Inf(1)
	for d := int64(1); d <= most; d++ {
		n := max(1, int64(math.Round(v*float64(d))))
		if miss := math.Abs(float64(n)/float64(d) - v); miss < best-1e-15 {
			best, num, den = miss, n, d
		}
	}
	return num, den
}

// check refuses a sum that was not made by DesignProportionCusum or its like.
func (c ProportionCusum) check() error {
	if c.Events < 1 || c.Calls <= c.Events || !(c.Limit > 0) || math.IsInf(c.Limit, 0) || c.Limit*float64(c.Calls) > 2*cusumSteps {
		return argErr("cumulative sum allows %d in %d calls with limit %v, expected a design of DesignProportionCusum", c.Events, c.Calls, c.Limit)
	}
	return nil
}

// Sum runs the cumulative sum over points in time order, one entry a point.
// Only Upper and UpperSignal are set; it goes on after a signal. X outside 0..N
// is ErrArgument. Within a point the order of its calls is not known, so a
// signal can come at its end only.
func (c ProportionCusum) Sum(points []ProportionPoint) ([]CusumPoint, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	out := make([]CusumPoint, len(points))
	steps := int64(0) // the sum in units of 1 / Calls, so that nothing is rounded
	limit := c.limitSteps()
	for i, p := range points {
		if p.X < 0 || p.X > p.N {
			return nil, argErr("point %d is %d of %d, expected 0 <= x <= n", i, p.X, p.N)
		}
		steps = max(0, steps+p.X*c.Calls-p.N*c.Events)
		out[i] = CusumPoint{Upper: float64(steps) / float64(c.Calls), UpperSignal: steps > limit}
	}
	return out, nil
}

// limitSteps is the largest sum, in units of 1 / Calls, that does not signal.
func (c ProportionCusum) limitSteps() int64 {
	return int64(math.Floor(c.Limit*float64(c.Calls) + 1e-9))
}
