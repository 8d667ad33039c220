package metrics

import "math"

// RunLength is the mean number of groups of n calls until the sum signals, if
// the true proportion is p from the first group on. In calls it is n times
// that. The sum moves on whole multiples of 1 / Calls, so the Markov chain is
// exact. A group size below 1 or p outside [0, 1] is ErrArgument.
//
// Source: Brook & Evans (1972) Biometrika 59:539-549.
func (c ProportionCusum) RunLength(n int64, p float64) (RunLength, error) {
	if err := c.check(); err != nil {
		return RunLength{}, err
	}
	if n < 1 || !(p >= 0 && p <= 1) {
		return RunLength{}, argErr("groups of %d calls at proportion %v, expected n >= 1 and 0 <= p <= 1", n, p)
	}
	// Only multiples of the common divisor can be reached from 0.
	unit := commonDivisor(c.Calls, n*c.Events)
	event, allowed := c.Calls/unit, n*c.Events/unit
	states := c.limitSteps()/unit + 1
	leave := newBandedLeave(int(states))
	for x := int64(0); x <= n && x*event-allowed < states; x++ {
		if weight := binomialCDF(x, n, p) - binomialCDF(x-1, n, p); weight > 0 {
			leave.move(int(x*event-allowed), weight)
		}
	}
	return runLength(leave.stepsFromZero()), nil
}

func commonDivisor(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// bandedLeave is the system L = 1 + Q L of a chain on 0, 1, 2, ... that moves by
// the same steps from everywhere, stays at 0 instead of falling below, and
// leaves above its last state. I - Q has rows that sum to 0 or more, with no
// positive entry off the diagonal, so elimination needs no pivoting.
type bandedLeave struct {
	rows     [][]float64 // I - Q
	down, up int         // the farthest moves within the states
}

func newBandedLeave(states int) *bandedLeave {
	b := &bandedLeave{rows: make([][]float64, states)}
	for i := range b.rows {
		b.rows[i] = make([]float64, states)
		b.rows[i][i] = 1
	}
	return b
}

// move adds a step of the given size and probability.
func (b *bandedLeave) move(step int, weight float64) {
	b.down, b.up = max(b.down, min(-step, len(b.rows)-1)), max(b.up, step)
	for i := range b.rows {
		if to := max(0, i+step); to < len(b.rows) {
			b.rows[i][to] -= weight
		}
	}
}

// stepsFromZero is the mean number of steps to leave from 0, or not a number
// where the chain never leaves. It uses up the system.
func (b *bandedLeave) stepsFromZero() float64 {
	n := len(b.rows)
	steps := make([]float64, n)
	for i := range steps {
		steps[i] = 1
	}
	// From the last state to the first, so that 0 is solved at the end.
	for k := n - 1; k >= 0; k-- {
		pivot := b.rows[k]
		if pivot[k] <= 1e-14 {
			return math.NaN()
		}
		first := max(0, k-b.down)
		for i := max(0, k-b.up); i < k; i++ {
			row := b.rows[i]
			if row[k] == 0 {
				continue
			}
			f := row[k] / pivot[k]
			for j := first; j < k; j++ {
				row[j] -= f * pivot[j]
			}
			steps[i] -= f * steps[k]
		}
	}
	return steps[0] / b.rows[0][0]
}

// ProportionCusumLimit is a design whose mean run length, at the acceptable
// proportion in groups of n calls, is at least groups: how many groups pass on
// average between false alarms. Of limits in steps of half an event up to 40
// events it is the lowest that does, found by bisection. It returns ErrArgument
// as DesignProportionCusum does, or where no limit is enough.
func ProportionCusumLimit(acceptable, poor float64, n int64, groups float64) (ProportionCusum, error) {
	if !(groups >= 1) || math.IsInf(groups, 0) {
		return ProportionCusum{}, argErr("mean run length of %v groups, expected a finite number of 1 or more", groups)
	}
	if n < 1 {
		return ProportionCusum{}, argErr("groups of %d calls, expected 1 or more", n)
	}
	if _, err := DesignProportionCusum(acceptable, poor, 0.5); err != nil {
		return ProportionCusum{}, err
	}
	var found *ProportionCusum
	low, high := 0, 81 // half events: low is not enough, high is, or cannot be made
	for high-low > 1 {
		middle := (low + high) / 2
		c, err := DesignProportionCusum(acceptable, poor, float64(middle)/2)
		if err != nil {
			high = middle
			continue
		}
		r, err := c.RunLength(n, acceptable)
		if err != nil {
			return ProportionCusum{}, err
		}
		if r.NotEstimable != "" || r.Points >= groups {
			found, high = &c, middle
		} else {
			low = middle
		}
	}
	if found == nil {
		return ProportionCusum{}, argErr("no limit up to 40 events, with an allowance between %v and %v, gives a mean run length of %v groups",
			acceptable, poor, groups)
	}
	return *found, nil
}
