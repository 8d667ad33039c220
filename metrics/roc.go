package metrics

import (
	"math"
	"sort"
	"strconv"
)

// ValueCount is how often one recorded value of a finding occurred among
// verified episodes, split by whether the animal needed prompt care. A
// continuous check is reduced to one ValueCount for each distinct value.
type ValueCount struct {
	// Value is the recorded value in the finding's own unit; it must be finite.
	Value float64
	// Needed and NotNeeded count episodes.
	Needed, NotNeeded int64
}

// Direction says which end of a finding's scale is bad. It is a clinical fact
// stated before the data are seen and is never chosen from them: a finding that
// points the wrong way shows as an area below one half and is not turned round.
type Direction uint8

// The directions. With each of them a value equal to a limit is positive.
const (
	// HighIsBad: positive when value >= upper limit.
	HighIsBad Direction = iota + 1
	// LowIsBad: positive when value <= lower limit.
	LowIsBad
	// BothEndsAreBad: positive when value <= lower limit or value >= upper limit.
	BothEndsAreBad
)

// String names the direction in words.
func (d Direction) String() string {
	switch d {
	case HighIsBad:
		return "high is bad"
	case LowIsBad:
		return "low is bad"
	case BothEndsAreBad:
		return "both ends are bad"
	}
	return "no direction stated"
}

func checkDirection(d Direction) error {
	if d < HighIsBad || d > BothEndsAreBad {
		return argErr("direction %d, expected HighIsBad, LowIsBad or BothEndsAreBad", d)
	}
	return nil
}

// Threshold says which values of a finding are positive: those at or below
// Lower, and those at or above Upper. A value equal to a limit is positive; that
// is the one tie rule of this package. A limit whose Has field is false is not
// applied, so the zero Threshold calls no value positive.
type Threshold struct {
	// Lower and Upper are in the finding's own unit.
	Lower, Upper float64
	// HasLower and HasUpper say which of the two limits apply.
	HasLower, HasUpper bool
}

// Positive reports whether the value v is positive.
func (t Threshold) Positive(v float64) bool {
	return t.HasLower && v <= t.Lower || t.HasUpper && v >= t.Upper
}

// String writes the rule, such as "<= 36.9 or >= 39.6".
func (t Threshold) String() string {
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	switch {
	case t.HasLower && t.HasUpper:
		return "<= " + num(t.Lower) + " or >= " + num(t.Upper)
	case t.HasLower:
		return "<= " + num(t.Lower)
	case t.HasUpper:
		return ">= " + num(t.Upper)
	}
	return "no value"
}

// ROCPoint is one threshold with the episodes it calls positive.
type ROCPoint struct {
	// Threshold is the rule of this point.
	Threshold Threshold
	// TP and FP count positive episodes that needed and did not need prompt
	// care. They are whole from counts, fractional on a corrected curve.
	TP, FP float64
	// Needed and NotNeeded are the totals, the same at every point of a curve.
	Needed, NotNeeded float64
}

// Sensitivity is TP / Needed.
func (p ROCPoint) Sensitivity() float64 { return p.TP / p.Needed }

// Specificity is 1 - FP / NotNeeded.
func (p ROCPoint) Specificity() float64 { return (p.NotNeeded - p.FP) / p.NotNeeded }

// Curve is an empirical ROC curve.
type Curve struct {
	// Direction is the one stated by the caller.
	Direction Direction
	// Needed and NotNeeded are the totals behind the two axes.
	Needed, NotNeeded float64
	// Points run from "no value is positive" to "every value is positive", with
	// TP and FP never falling. Empty when the curve is not estimable.
	Points []ROCPoint
	// NotEstimable is empty, or the reason why there is no curve.
	NotEstimable string
}

// Estimable reports whether the curve has points.
func (c Curve) Estimable() bool { return c.NotEstimable == "" }

// ROC gives the empirical receiver operating characteristic curve of a finding
// from its value counts: for each threshold the share of animals needing prompt
// care that it marks (sensitivity) against the share of the others that it marks
// (1 - specificity).
//
// counts may be in any order and may repeat a value; a value without episodes is
// left out. There is one point for each distinct value and one for "no value".
// With BothEndsAreBad a point has a lower and an upper limit; of all such pairs
// the curve keeps those that no other pair beats on both axes. That curve is
// picked from the data, so its height flatters: judge a pair on later data or by
// BootstrapThreshold.
//
// Without an episode on one of the two sides the curve is marked not estimable.
// It returns ErrArgument for a negative count, a value that is not finite or an
// unknown direction. Verified episodes only: where verification follows the
// finding see CorrectedROC.
//
// Source: Hanley & McNeil (1982) Radiology 143:29-36.
func ROC(counts []ValueCount, d Direction) (Curve, error) {
	t, err := tabulateValues(counts)
	if err != nil {
		return Curve{}, err
	}
	if err := checkDirection(d); err != nil {
		return Curve{}, err
	}
	return t.curve(d), nil
}

// valueTable holds a finding's distinct values in ascending order with the
// (possibly fractional) number of episodes on each side.
type valueTable struct {
	value        []float64
	pos, neg     []float64
	nPos, nNeg   float64
	emptySideWhy string
}

// tabulateValues checks, merges and sorts value counts.
func tabulateValues(counts []ValueCount) (valueTable, error) {
	cells := make([]ValueCount, 0, len(counts))
	for i, c := range counts {
		if math.IsNaN(c.Value) || math.IsInf(c.Value, 0) {
			return valueTable{}, argErr("value count %d: value %v, expected a finite number", i, c.Value)
		}
		if c.Needed < 0 || c.NotNeeded < 0 {
			return valueTable{}, argErr("value count %d: counts %d and %d, expected none below 0", i, c.Needed, c.NotNeeded)
		}
		if c.Needed > 0 || c.NotNeeded > 0 {
			cells = append(cells, c)
		}
	}
	sort.SliceStable(cells, func(i, j int) bool { return cells[i].Value < cells[j].Value })
	var t valueTable
	for _, c := range cells {
		t.add(c.Value, float64(c.Needed), float64(c.NotNeeded))
	}
	t.total()
	return t, nil
}

// add appends a cell, merging it into the last one when the value is the same;
// values must come in ascending order.
func (t *valueTable) add(v, pos, neg float64) {
	if k := len(t.value); k > 0 && t.value[k-1] == v {
		t.pos[k-1] += pos
		t.neg[k-1] += neg
		return
	}
	t.value = append(t.value, v)
	t.pos = append(t.pos, pos)
	t.neg = append(t.neg, neg)
}

func (t *valueTable) total() {
	t.nPos, t.nNeg = 0, 0
	for i := range t.value {
		t.nPos += t.pos[i]
		t.nNeg += t.neg[i]
	}
	switch {
	case t.nPos == 0 && t.nNeg == 0:
		t.emptySideWhy = "no verified episode has a value"
	case t.nPos == 0:
		t.emptySideWhy = "no verified animal with a value needed prompt care"
	case t.nNeg == 0:
		t.emptySideWhy = "every verified animal with a value needed prompt care"
	default:
		t.emptySideWhy = ""
	}
}

func (t valueTable) curve(d Direction) Curve {
	c := Curve{Direction: d, Needed: t.nPos, NotNeeded: t.nNeg, NotEstimable: t.emptySideWhy}
	if !c.Estimable() {
		return c
	}
	t.eachPoint(d, func(p ROCPoint) { c.Points = append(c.Points, p) })
	if d == BothEndsAreBad {
		c.Points = bestPoints(c.Points)
	}
	return c
}

// eachPoint visits every candidate threshold once. One-ended directions go from
// nobody to everybody; both-ended ones visit nobody, everybody, then all pairs.
func (t valueTable) eachPoint(d Direction, visit func(ROCPoint)) {
	p := ROCPoint{Needed: t.nPos, NotNeeded: t.nNeg}
	visit(p)
	k := len(t.value)
	switch d {
	case HighIsBad:
		for i := k - 1; i >= 0; i-- {
			p.TP += t.pos[i]
			p.FP += t.neg[i]
			p.Threshold = Threshold{Upper: t.value[i], HasUpper: true}
			visit(p)
		}
	case LowIsBad:
		for i := range k {
			p.TP += t.pos[i]
			p.FP += t.neg[i]
			p.Threshold = Threshold{Lower: t.value[i], HasLower: true}
			visit(p)
		}
	case BothEndsAreBad:
		t.eachPair(visit)
	}
}

// eachPair visits every pair of limits that leaves at least one value negative,
// pairs with one limit only, and the rule that marks every value.
func (t valueTable) eachPair(visit func(ROCPoint)) {
	k := len(t.value)
	if k == 0 {
		return
	}
	visit(ROCPoint{Threshold: Threshold{Upper: t.value[0], HasUpper: true},
		TP: t.nPos, FP: t.nNeg, Needed: t.nPos, NotNeeded: t.nNeg})
	lowPos, lowNeg := 0.0, 0.0
	for i := 0; i < k; i++ { // the first i values are at or below the lower limit
		p := ROCPoint{TP: lowPos, FP: lowNeg, Needed: t.nPos, NotNeeded: t.nNeg}
		if i > 0 {
			p.Threshold = Threshold{Lower: t.value[i-1], HasLower: true}
			visit(p)
		}
		for j := k - 1; j > i; j-- { // values j and above are at or over the upper limit
			p.TP += t.pos[j]
			p.FP += t.neg[j]
			p.Threshold.Upper, p.Threshold.HasUpper = t.value[j], true
			visit(p)
		}
		lowPos += t.pos[i]
		lowNeg += t.neg[i]
	}
}

// bestPoints keeps the points that no other point equals or beats on both axes,
// in ascending order, between "no value is positive" and "every value is".
func bestPoints(all []ROCPoint) []ROCPoint {
	nobody, everybody := all[0], all[1] // the order of eachPair
	ps := append([]ROCPoint(nil), all...)
	sort.SliceStable(ps, func(i, j int) bool {
		if ps[i].FP != ps[j].FP {
			return ps[i].FP < ps[j].FP
		}
		return ps[i].TP > ps[j].TP
	})
	best := []ROCPoint{nobody}
	for _, p := range ps {
		if p.TP > best[len(best)-1].TP {
			best = append(best, p)
		}
	}
	if best[len(best)-1].FP < everybody.FP {
		best = append(best, everybody)
	}
	return best
}
