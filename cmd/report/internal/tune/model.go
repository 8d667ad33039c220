package tune

import (
	"fmt"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/thresholds"
	"hindcheck/metrics"
	"hindcheck/queries"
)

// combination is a step for each tuned flag, from 1; see tunable.
type combination []int

func (c combination) key() string {
	var b strings.Builder
	for _, s := range c {
		fmt.Fprintf(&b, "%d,", s)
	}
	return b.String()
}

// patterns are the different answers that episodes gave: whether the rest of the
// rules sends the animal in, and how many steps of each tuned flag are met.
type patterns struct {
	tuned []tunable
	list  []pattern
	by    map[string]int
}

type pattern struct {
	rest bool
	bins []int
}

func newPatterns(tuned []tunable) *patterns { return &patterns{tuned: tuned, by: map[string]int{}} }

// place finds or adds a pattern. What the rest sends in needs no bins, and an
// unknown answer to a flag that does not count it is the same as none.
func (p *patterns) place(rest bool, bins []int) int {
	own := make([]int, len(bins))
	for i, n := range bins {
		if !rest && (n > 0 || p.tuned[i].raise) {
			own[i] = max(n, -n)
		}
	}
	key := fmt.Sprint(rest, own)
	if i, ok := p.by[key]; ok {
		return i
	}
	p.by[key] = len(p.list)
	p.list = append(p.list, pattern{rest, own})
	return len(p.list) - 1
}

// marks reports whether the rules with a combination send a pattern in.
func (p *patterns) marks(place int, c combination) bool {
	x := &p.list[place]
	if x.rest {
		return true
	}
	for i, step := range c {
		if x.bins[i] >= step {
			return true
		}
	}
	return false
}

// model is the counts of some months, ready to judge any combination.
type model struct {
	*patterns
	side *thresholds.Side
	// needed and well are the expected animals of each pattern, corrected for
	// outcomes that never became known; episodes counts all.
	needed, well, episodes []float64
	allNeeded, allWell     float64
	// why says why nothing can be corrected.
	why string
}

// model gathers rows whose value is a pattern. The expected counts are the steps
// of the corrected curve over the patterns, taken as if they were values.
func (b *builder) model(p *patterns, rows []queries.ThresholdValuesRow, days int, dims []int) (*model, error) {
	m := &model{patterns: p, side: thresholds.NewSide(rows, days, dims, func(v int) float64 { return float64(v) })}
	n := len(p.list)
	m.needed, m.well, m.episodes = make([]float64, n), make([]float64, n), make([]float64, n)
	for _, t := range m.side.Totals {
		m.episodes[int(t.Value)] = float64(t.Episodes)
	}
	opt := b.correction()
	opt.Draws = 200 // only the curve is wanted
	curve, err := metrics.CorrectedROC(m.side.Cells, metrics.HighIsBad, metrics.WithinStratum, opt)
	if err != nil {
		return nil, err
	}
	if m.why = curve.NotEstimable; m.why != "" {
		return m, nil
	}
	m.allNeeded, m.allWell = curve.Curve.Needed, curve.Curve.NotNeeded
	for i := 1; i < len(curve.Curve.Points); i++ {
		was, is := curve.Curve.Points[i-1], curve.Curve.Points[i]
		at := int(is.Threshold.Upper)
		m.needed[at], m.well[at] = is.TP-was.TP, is.FP-was.FP
	}
	return m, nil
}

// outcome is what a combination does to the episodes of a model.
type outcome struct {
	c combination
	// caught are expected animals in need that are sent in, sent all episodes.
	caught, sent float64
}

func (m *model) try(c combination) outcome {
	o := outcome{c: c}
	for i := range m.list {
		if m.marks(i, c) {
			o.caught += m.needed[i]
			o.sent += m.episodes[i]
		}
	}
	return o
}

// part judges a combination on the model's months, with intervals.
func (b *builder) part(m *model, c combination) (Part, metrics.Estimate, metrics.Estimate, error) {
	conf := b.opt.Review.Confidence
	marked := func(v float64) bool { return m.marks(int(v), c) }
	sens, spec, err := m.side.Judge(marked, b.correction())
	if err != nil {
		return Part{}, sens, spec, err
	}
	p := Part{Sensitivity: review.FigureOf(sens), Specificity: review.FigureOf(spec)}
	two := []metrics.ValueCount{{Value: 0}, {Value: 1}}
	load := []metrics.ValueTotal{{Value: 0}, {Value: 1}}
	for k, v := range m.side.Counts {
		i := 0
		if marked(v.Value) {
			i = 1
		}
		two[i].Needed, two[i].NotNeeded = two[i].Needed+v.Needed, two[i].NotNeeded+v.NotNeeded
		load[i].Episodes += m.side.Totals[k].Episodes
	}
	above := metrics.Threshold{Upper: 1, HasUpper: true}
	naive, err := metrics.AccuracyAt(two, above, conf)
	if err != nil {
		return p, sens, spec, err
	}
	p.Naive = thresholds.Rates{Sensitivity: review.FigureOf(naive.Sensitivity), Specificity: review.FigureOf(naive.Specificity)}
	if m.side.Days == 0 {
		p.PerDay = review.FigureOf(metrics.Estimate{Conf: conf, NotEstimable: "the period holds no such months"})
		return p, sens, spec, nil
	}
	day, err := metrics.ReferralsPerDay(above, m.side.Days, load, conf)
	p.PerDay = review.FigureOf(day)
	return p, sens, spec, err
}
