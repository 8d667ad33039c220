package metrics

import "math"

// Choice is a threshold chosen by a stated criterion, with what must be shown
// beside it. Its accuracy is apparent: the threshold was chosen on the same
// episodes, so the figures flatter; see BootstrapThreshold.
type Choice struct {
	// Criterion names the criterion with its stated numbers, Unit the unit of Score.
	Criterion, Unit string
	// Threshold is the chosen rule, Score what the criterion measures there.
	Threshold Threshold
	Score     float64
	// Sensitivity and Specificity have Wilson limits, as if the threshold had been
	// fixed beforehand.
	Sensitivity, Specificity Estimate
	// AtThreshold is the share of episodes whose value lies exactly on a limit: the
	// readings that a shift of one step would move.
	AtThreshold Estimate
	// Plateau lists, in the curve's order, all thresholds that meet the criterion's
	// condition and score within Within of the best one.
	Plateau []Threshold
	Within  float64
	// NotEstimable is empty, or why no threshold can be chosen.
	NotEstimable string
	// Warnings belong beside the figures.
	Warnings []string
}

// Estimable reports whether a threshold was chosen.
func (c Choice) Estimable() bool { return c.NotEstimable == "" }

// ChooseThreshold picks the threshold that the criterion prefers among all observed
// values (with BothEndsAreBad: all pairs of a lower and an upper value), including
// "no value" and "every value". within is how much worse, in the unit of the score, a
// threshold may be and still count as equally good; 0 lists exact ties only.
//
// With an empty side, or a condition that no threshold meets, nothing is chosen and
// NotEstimable says why. It returns ErrArgument for bad counts, direction or conf, an
// empty criterion, and a within below 0.
func ChooseThreshold(counts []ValueCount, d Direction, by Criterion, within, conf float64) (Choice, error) {
	t, err := tabulateDirected(counts, d)
	if err != nil {
		return Choice{}, err
	}
	if err := checkConf(conf); err != nil {
		return Choice{}, err
	}
	if err := by.check(); err != nil {
		return Choice{}, err
	}
	if err := checkWithin(within); err != nil {
		return Choice{}, err
	}
	c := t.choose(d, by, within)
	if !c.Estimable() {
		none := notEstimable(conf, MethodWilson, "%s", c.NotEstimable)
		c.Sensitivity, c.Specificity, c.AtThreshold = none, none, none
		return c, nil
	}
	p := t.at(c.Threshold)
	c.Sensitivity, _ = Wilson(int64(p.TP), int64(p.Needed), conf)
	c.Specificity, _ = Wilson(int64(p.NotNeeded-p.FP), int64(p.NotNeeded), conf)
	c.AtThreshold, _ = Wilson(int64(t.onLimit(c.Threshold)), int64(t.nPos+t.nNeg), conf)
	return c, nil
}

func checkWithin(within float64) error {
	if !(within >= 0) || math.IsInf(within, 0) {
		return argErr("plateau width %v, expected 0 or more", within)
	}
	return nil
}

// scoreSlack absorbs rounding when scores of different thresholds are compared.
const scoreSlack = 1e-12

// better reports whether a point of merit m beats the best one so far.
func better(p ROCPoint, m float64, best ROCPoint, bestMerit float64) bool {
	slack := scoreSlack * math.Max(1, math.Abs(bestMerit))
	switch {
	case m > bestMerit+slack:
		return true
	case m < bestMerit-slack:
		return false
	case p.TP != best.TP:
		return p.TP > best.TP
	}
	return p.FP < best.FP
}

// best finds the point a criterion prefers; found is false when none qualifies.
func (t valueTable) best(d Direction, by Criterion) (best ROCPoint, merit float64, found bool) {
	if d == BothEndsAreBad && by.linear && len(t.value) > 0 {
		best, merit = t.bestPair(by)
		return best, merit, true
	}
	t.eachPoint(d, func(p ROCPoint) {
		m, met := by.score(p)
		if met && (!found || better(p, m, best, merit)) {
			best, merit, found = p, m, true
		}
	})
	return best, merit, found
}

// bestPair finds the best pair of limits for a linear criterion in one pass. What the
// values up to the lower limit add and what those from the upper limit on add do not
// depend on each other, so that each upper limit goes with the best lower limit below it.
func (t valueTable) bestPair(by Criterion) (best ROCPoint, merit float64) {
	low := ROCPoint{Needed: t.nPos, NotNeeded: t.nNeg} // the best lower limit so far
	lowMerit, _ := by.score(low)
	best, merit = low, lowMerit
	try := func(p ROCPoint) {
		if m, _ := by.score(p); better(p, m, best, merit) {
			best, merit = p, m
		}
	}
	below := low // the values below the upper limit that could all be marked
	rest := ROCPoint{TP: t.nPos, FP: t.nNeg}
	for j, v := range t.value {
		if j > 0 { // at least the value before the upper limit stays unmarked
			upper := low
			upper.TP, upper.FP = low.TP+rest.TP, low.FP+rest.FP
			upper.Threshold.Upper, upper.Threshold.HasUpper = v, true
			try(upper)
			below.TP, below.FP = below.TP+t.pos[j-1], below.FP+t.neg[j-1]
			below.Threshold = Threshold{Lower: t.value[j-1], HasLower: true}
			if m, _ := by.score(below); better(below, m, low, lowMerit) {
				low, lowMerit = below, m
			}
		} else {
			everybody := ROCPoint{Threshold: Threshold{Upper: v, HasUpper: true}, TP: rest.TP, FP: rest.FP, Needed: t.nPos, NotNeeded: t.nNeg}
			try(everybody)
		}
		rest.TP, rest.FP = rest.TP-t.pos[j], rest.FP-t.neg[j]
	}
	try(low)
	return best, merit
}

// choose fills all of a Choice that does not need whole counts.
func (t valueTable) choose(d Direction, by Criterion, within float64) Choice {
	c := Choice{Criterion: by.name, Unit: by.unit, Within: within, NotEstimable: t.emptySideWhy}
	if !c.Estimable() {
		return c
	}
	best, merit, found := t.best(d, by)
	if !found {
		c.NotEstimable = by.unmet
		return c
	}
	c.Threshold, c.Score = best.Threshold, by.report(merit)
	slack := scoreSlack * math.Max(1, math.Abs(merit))
	t.eachPoint(d, func(p ROCPoint) {
		if m, met := by.score(p); met && m >= merit-within-slack {
			c.Plateau = append(c.Plateau, p.Threshold)
		}
	})
	switch {
	case best.TP+best.FP == 0:
		c.Warnings = append(c.Warnings, "the criterion prefers to refer no animal for this finding")
	case best.TP == t.nPos && best.FP == t.nNeg:
		c.Warnings = append(c.Warnings, "the criterion prefers to refer every animal, whatever the value")
	}
	return c
}

// at counts the episodes that a threshold marks.
func (t valueTable) at(th Threshold) ROCPoint {
	p := ROCPoint{Threshold: th, Needed: t.nPos, NotNeeded: t.nNeg}
	for i, v := range t.value {
		if th.Positive(v) {
			p.TP += t.pos[i]
			p.FP += t.neg[i]
		}
	}
	return p
}

// onLimit counts episodes whose value equals a limit that applies.
func (t valueTable) onLimit(th Threshold) float64 {
	n := 0.0
	for i, v := range t.value {
		if th.HasLower && v == th.Lower || th.HasUpper && v == th.Upper {
			n += t.pos[i] + t.neg[i]
		}
	}
	return n
}

// Candidate is the accuracy of one candidate threshold among verified episodes.
type Candidate struct {
	// Threshold is the rule, Table what it does to the verified episodes.
	Threshold Threshold
	Table     TwoByTwo
	// The four rates have Wilson limits, each by itself: they do not allow for
	// choosing among the rows.
	Sensitivity, Specificity, PPV, NPV Estimate
	// Marked is the share of all counted episodes that the rule marks.
	Marked Estimate
}

// CandidateTable lists the accuracy of every threshold of the empirical curve, in the
// curve's order, from "no value" to "every value" (see ROC). A rate without denominator
// is marked not estimable in its row; with no episode at all the table is empty. Where
// one side is empty the rates of the other are still given. Errors are those of ROC,
// and a bad conf.
func CandidateTable(counts []ValueCount, d Direction, conf float64) ([]Candidate, error) {
	t, err := tabulateDirected(counts, d)
	if err != nil {
		return nil, err
	}
	if err := checkConf(conf); err != nil {
		return nil, err
	}
	var points []ROCPoint
	t.eachPoint(d, func(p ROCPoint) { points = append(points, p) })
	if d == BothEndsAreBad && len(points) > 1 {
		points = bestPoints(points)
	}
	if len(t.value) == 0 {
		return nil, nil
	}
	rows := make([]Candidate, len(points))
	for i, p := range points {
		rows[i] = candidate(p, conf)
	}
	return rows, nil
}

// AccuracyAt is the row of CandidateTable for a threshold of the caller's own, such as
// the one in force; it need not be an observed value. Errors are those of ROC, and a
// bad conf.
func AccuracyAt(counts []ValueCount, th Threshold, conf float64) (Candidate, error) {
	t, err := tabulateValues(counts)
	if err != nil {
		return Candidate{}, err
	}
	if err := checkConf(conf); err != nil {
		return Candidate{}, err
	}
	return candidate(t.at(th), conf), nil
}

// candidate reads the rates off a point with whole counts; conf is known to be sound.
func candidate(p ROCPoint, conf float64) Candidate {
	c := Candidate{Threshold: p.Threshold, Table: TwoByTwo{
		TP: int64(p.TP), FP: int64(p.FP), FN: int64(p.Needed - p.TP), TN: int64(p.NotNeeded - p.FP)}}
	c.Sensitivity, _ = Sensitivity(c.Table, conf)
	c.Specificity, _ = Specificity(c.Table, conf)
	c.PPV, _ = PPV(c.Table, conf)
	c.NPV, _ = NPV(c.Table, conf)
	c.Marked, _ = Wilson(c.Table.TP+c.Table.FP, c.Table.Total(), conf)
	return c
}
