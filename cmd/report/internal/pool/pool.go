package pool

import (
	"fmt"
	"slices"
	"strings"

	"hindcheck/cmd/report/internal/caution"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
)

// Result is what pooling several lines came to.
type Result struct {
	Format     int     `json:"format"`
	Confidence float64 `json:"confidence"`
	Lines      []Line  `json:"lines"`
	// Remarks say in what the lines differ, so that they may not mean the same.
	Remarks  []string `json:"remarks"`
	Pools    []Pooled `json:"pools"`
	Cautions []string `json:"cautions"`
}

// Line is one line that was pooled.
type Line struct {
	Line           string `json:"line"`
	From           string `json:"from"`
	To             string `json:"to"`
	CaseDefinition string `json:"case_definition"`
	RuleSet        string `json:"ruleset"`
	Minimum        int64  `json:"minimum"`
	// Hidden of Cells cells are hidden in its file.
	Hidden int `json:"hidden_cells"`
	Cells  int `json:"cells"`
}

// Pooled is one index test at one cut over all lines.
type Pooled struct {
	Index string `json:"index"`
	Flag  string `json:"flag,omitempty"`
	Title string `json:"title,omitempty"`
	Cut   string `json:"cut"`
	// Lines are in the order of the files.
	Lines []LineFigures `json:"lines"`
	// Naive is from verified episodes alone, Corrected from each line's figures
	// corrected for who was verified. Both cover the verified and assessed.
	Naive     Both `json:"naive"`
	Corrected Both `json:"corrected"`
}

// LineFigures are one line's part of a pooled test.
type LineFigures struct {
	Line string `json:"line"`
	// TP to TN are verified episodes, null where hidden.
	TP *int64 `json:"tp"`
	FP *int64 `json:"fp"`
	FN *int64 `json:"fn"`
	TN *int64 `json:"tn"`
	// Naive and Corrected are the line's own figures.
	Naive     Figures `json:"naive"`
	Corrected Figures `json:"corrected"`
}

// Figures is a sensitivity and a specificity.
type Figures struct {
	Sensitivity review.Figure `json:"sensitivity"`
	Specificity review.Figure `json:"specificity"`
}

// Both is a pooled sensitivity and specificity.
type Both struct {
	Sensitivity Effects `json:"sensitivity"`
	Specificity Effects `json:"specificity"`
}

// Effects is one pooled figure with how much the lines differ.
type Effects struct {
	// Lines that entered.
	Lines int `json:"lines"`
	// Summary is the figure of the middle line, Prediction that of a further
	// line of the same kind.
	Summary    review.Figure `json:"summary"`
	Prediction review.Figure `json:"prediction"`
	// Tau2 is the variance of the log odds between lines, I2 the share of the
	// scatter that is between lines, Q Cochran's statistic with its upper tail;
	// left out where there is nothing to compare.
	Tau2 *float64 `json:"tau2,omitempty"`
	I2   *float64 `json:"i2,omitempty"`
	Q    *float64 `json:"q,omitempty"`
	QP   *float64 `json:"q_p,omitempty"`
}

// ErrTooFew is returned for fewer than two files.
var ErrTooFew = fmt.Errorf("expected the counts files of two lines or more")

// Pool joins lines. Thin data are no error: what cannot be pooled says why.
func Pool(lines []*Counts, conf float64) (*Result, error) {
	if len(lines) < 2 {
		return nil, ErrTooFew
	}
	out := &Result{Format: Format, Confidence: conf, Remarks: remarks(lines), Cautions: caution.Lines, Pools: []Pooled{}}
	names := map[string]bool{}
	for _, c := range lines {
		if names[c.Line] {
			return nil, fmt.Errorf("two files are of the line %q: pooling one line twice counts it twice; name lines with report counts --line", c.Line)
		}
		names[c.Line] = true
		l := Line{Line: c.Line, From: c.From, To: c.To, CaseDefinition: c.CaseDefinition, RuleSet: c.RuleSet, Minimum: c.Minimum}
		for _, t := range c.Tables {
			for _, row := range t.Cells {
				for _, n := range row {
					l.Cells++
					if n == nil {
						l.Hidden++
					}
				}
			}
		}
		out.Lines = append(out.Lines, l)
	}
	for _, k := range keys(lines) {
		p, err := pooled(lines, k, conf)
		if err != nil {
			return nil, fmt.Errorf("pool %s %s: %w", k.index, k.flag, err)
		}
		out.Pools = append(out.Pools, p)
	}
	return out, nil
}

type key struct{ index, flag, cut string }

// keys lists what any line counted, in the order of the first that did.
func keys(lines []*Counts) []key {
	var out []key
	for _, c := range lines {
		for _, t := range c.Tables {
			if k := (key{t.Index, t.Flag, t.Cut}); !slices.Contains(out, k) {
				out = append(out, k)
			}
		}
	}
	return out
}

// remarks say where lines differ in what they count.
func remarks(lines []*Counts) []string {
	out := []string{}
	for _, x := range []struct {
		what string
		of   func(*Counts) string
		why  string
	}{
		{"case definitions", func(c *Counts) string { return c.CaseDefinition }, "what counts as needing care may differ"},
		{"rules files", func(c *Counts) string { return c.RuleSet }, "a flag of the same name may not ask the same"},
		{"periods", func(c *Counts) string { return c.From + " to " + c.To }, "seasons may differ"},
	} {
		var seen []string
		for _, c := range lines {
			if v := x.of(c); !slices.Contains(seen, v) {
				seen = append(seen, v)
			}
		}
		if len(seen) > 1 {
			out = append(out, fmt.Sprintf("the lines use different %s (%s): %s", x.what, strings.Join(seen, "; "), x.why))
		}
	}
	if len(lines) < 5 {
		out = append(out, fmt.Sprintf("with %d lines the spread between lines is hardly known; read the prediction and each line by itself", len(lines)))
	}
	return out
}

func (c *Counts) table(k key) (Table, bool) {
	for _, t := range c.Tables {
		if t.Index == k.index && t.Flag == k.flag && t.Cut == k.cut {
			return t, true
		}
	}
	return Table{}, false
}

func pooled(lines []*Counts, k key, conf float64) (Pooled, error) {
	p := Pooled{Index: k.index, Flag: k.flag, Cut: k.cut}
	var work gathered
	for _, c := range lines {
		t, ok := c.table(k)
		if !ok {
			continue
		}
		if p.Title == "" {
			p.Title = t.Title
		}
		l, err := work.add(c, t, conf)
		if err != nil {
			return p, err
		}
		p.Lines = append(p.Lines, l)
	}
	return p, work.pool(&p, conf)
}

// gathered is what the lines bring to one pooled test.
type gathered struct {
	whole                  []metrics.TwoByTwo
	sens, spec             []metrics.GroupCount
	correctSens, correctNo []metrics.Effect
}

// add takes one line's table.
func (g *gathered) add(c *Counts, t Table, conf float64) (LineFigures, error) {
	l := LineFigures{Line: c.Line, TP: t.Cells[0][0], FP: t.Cells[0][1], FN: t.Cells[1][0], TN: t.Cells[1][1]}
	if l.TP != nil && l.FP != nil && l.FN != nil && l.TN != nil {
		g.whole = append(g.whole, metrics.TwoByTwo{TP: *l.TP, FP: *l.FP, FN: *l.FN, TN: *l.TN})
	}
	for _, x := range []struct {
		right, wrong *int64
		into         *[]metrics.GroupCount
		figure       *review.Figure
	}{{l.TP, l.FN, &g.sens, &l.Naive.Sensitivity}, {l.TN, l.FP, &g.spec, &l.Naive.Specificity}} {
		if x.right == nil || x.wrong == nil {
			*x.figure = review.Figure{Conf: conf, NotEstimable: "a count is hidden because it is small, or protects one that is"}
			continue
		}
		n := metrics.GroupCount{Successes: *x.right, Trials: *x.right + *x.wrong}
		*x.into = append(*x.into, n)
		e, err := metrics.Wilson(n.Successes, n.Trials, conf)
		if err != nil {
			return l, err
		}
		*x.figure = review.FigureOf(e)
	}
	for _, x := range []struct {
		share  Share
		into   *[]metrics.Effect
		figure *review.Figure
	}{{t.Corrected.Sensitivity, &g.correctSens, &l.Corrected.Sensitivity}, {t.Corrected.Specificity, &g.correctNo, &l.Corrected.Specificity}} {
		e := x.share.estimate(c.Confidence)
		*x.figure = review.FigureOf(e)
		effect, err := metrics.LogitFromLimits(e)
		if err != nil {
			return l, err
		}
		*x.into = append(*x.into, effect)
	}
	return l, nil
}

// estimate is a share as metrics has it.
func (s Share) estimate(conf float64) metrics.Estimate {
	if s.Estimate == nil {
		reason := s.NotEstimable
		if reason == "" {
			reason = "the line gave no figure"
		}
		return metrics.Estimate{Conf: conf, NotEstimable: reason}
	}
	e := metrics.Estimate{Value: *s.Estimate, Conf: conf, Method: "as the line gave it, to four digits", LowUnbounded: s.Low == nil, HighUnbounded: s.High == nil}
	if s.Low != nil {
		e.Low = *s.Low
	}
	if s.High != nil {
		e.High = *s.High
	}
	return e
}

// pool fills the pooled figures of a test.
func (g *gathered) pool(p *Pooled, conf float64) error {
	for _, x := range []struct {
		lines []metrics.GroupCount
		into  *Effects
	}{{g.sens, &p.Naive.Sensitivity}, {g.spec, &p.Naive.Specificity}} {
		if err := x.into.fromCounts(x.lines, conf); err != nil {
			return err
		}
	}
	// Lines that send more in have a higher sensitivity and a lower specificity;
	// where there are enough lines, both are taken from one model.
	both, err := metrics.PoolBivariateBinomial(g.whole, conf)
	if err != nil {
		return err
	}
	if both.Sensitivity.Estimable() && both.Specificity.Estimable() {
		p.Naive.Sensitivity.Summary, p.Naive.Specificity.Summary = review.FigureOf(both.Sensitivity), review.FigureOf(both.Specificity)
	}
	for _, x := range []struct {
		effects []metrics.Effect
		into    *Effects
	}{{g.correctSens, &p.Corrected.Sensitivity}, {g.correctNo, &p.Corrected.Specificity}} {
		if err := x.into.fromEffects(x.effects, conf, true); err != nil {
			return err
		}
	}
	return nil
}

// fromCounts pools proportions by a model of the counts; how much the lines
// differ comes from their log odds.
func (e *Effects) fromCounts(lines []metrics.GroupCount, conf float64) error {
	effects, err := metrics.LogitEffects(lines, metrics.HalfWhereEmpty)
	if err != nil {
		return err
	}
	if err := e.fromEffects(effects, conf, false); err != nil {
		return err
	}
	b, err := metrics.PoolBinomialNormal(lines, conf)
	if err != nil {
		return err
	}
	e.Lines, e.Summary, e.Prediction = b.Lines, review.FigureOf(b.Proportion), review.FigureOf(b.Prediction)
	if b.Proportion.Estimable() {
		e.Tau2 = &b.Tau2
	}
	return nil
}

func (e *Effects) fromEffects(effects []metrics.Effect, conf float64, summary bool) error {
	r, err := metrics.PoolREML(effects, conf)
	if err != nil {
		return err
	}
	if r.Lines >= 2 {
		e.Tau2, e.I2, e.Q, e.QP = &r.Tau2, &r.I2, &r.Q, &r.QP
	}
	if !summary {
		return nil
	}
	e.Lines = r.Lines
	best := r.KnappHartung
	if !best.Estimable() {
		best = r.Summary
	}
	e.Summary, e.Prediction = review.FigureOf(metrics.FromLogit(best)), review.FigureOf(metrics.FromLogit(r.Prediction))
	return nil
}
