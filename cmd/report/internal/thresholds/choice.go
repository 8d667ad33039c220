package thresholds

import (
	"fmt"
	"slices"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
)

// present judges the threshold in force on both parts of the period.
func (b *builder) present(g *Group, inForce threshold) error {
	if g.Rule == "" || g.Readings == 0 {
		return nil
	}
	t, err := b.trial(g, inForce)
	g.Present = t
	return err
}

// trial judges a threshold on the earlier and the later months.
func (b *builder) trial(g *Group, th threshold) (*Trial, error) {
	t := &Trial{Rule: b.rule(th)}
	var err error
	if t.Fit, err = b.at(g.fit, th); err != nil {
		return nil, err
	}
	if b.r.Judge.Days == 0 {
		none := review.FigureOf(metrics.Estimate{Conf: b.opt.Review.Confidence, NotEstimable: "the period is too short to judge on later months"})
		t.Judge, t.Naive, t.PerDay = Rates{none, none}, Rates{none, none}, none
		return t, nil
	}
	if t.Judge, err = b.at(g.judge, th); err != nil {
		return nil, err
	}
	if t.Naive, err = b.naive(g.judge, th); err != nil {
		return nil, err
	}
	t.PerDay, _, _, err = b.load(g.judge, th)
	return t, err
}

// choices lets every criterion choose on the earlier months.
func (b *builder) choices(g *Group, inForce threshold) error {
	if b.r.Fit.Days == 0 {
		return nil
	}
	for _, c := range b.opt.Criteria {
		x, err := b.choose(g, c)
		if err != nil {
			return fmt.Errorf("criterion %s: %w", c.Text, err)
		}
		if x.Trial != nil && g.Rule != "" {
			x.Against = b.against(g.fit, inForce, x.threshold)
		}
		g.Choices = append(g.Choices, x)
	}
	return nil
}

func (b *builder) choose(g *Group, c Criterion) (Choice, error) {
	x := Choice{Given: c.Text, Plateau: []string{}, Warnings: []string{}}
	by, err := c.bind(b.opt.Review.Confidence, g.fit.Days, g.fit.Totals)
	if err != nil {
		return x, err
	}
	x.Criterion = by.String()
	width, words := c.within(g.fit.N)
	x.Within = words
	got, err := metrics.CorrectedThreshold(g.fit.Cells, b.direction, metrics.WithinStratum, by, width, b.correction())
	if err != nil {
		return x, err
	}
	if err := b.optimism(&x, g, by, width); err != nil {
		return x, err
	}
	for _, w := range got.Choice.Warnings {
		if !slices.Contains(got.Curve.Warnings, w) { // the group carries those of the curve
			x.Warnings = append(x.Warnings, w)
		}
	}
	if !got.Choice.Estimable() {
		x.NotEstimable = got.Choice.NotEstimable
		x.AtLimit = review.FigureOf(got.Choice.AtThreshold)
		return x, nil
	}
	x.threshold = got.Choice.Threshold
	if x.Trial, err = b.trial(g, x.threshold); err != nil {
		return x, err
	}
	x.AtLimit = review.FigureOf(got.Choice.AtThreshold)
	for _, end := range []struct {
		has  bool
		e    metrics.Estimate
		into **review.Figure
	}{{x.threshold.HasLower, got.Lower, &x.Lower}, {x.threshold.HasUpper, got.Upper, &x.Upper}} {
		if end.has {
			f := review.FigureOf(end.e)
			*end.into = &f
		}
	}
	for _, p := range got.Choice.Plateau {
		x.Plateau = append(x.Plateau, b.rule(p))
	}
	x.Holds = holds(x.Trial)
	return x, nil
}

// optimism repeats the choice on resamples of the verified episodes.
func (b *builder) optimism(x *Choice, g *Group, by metrics.Criterion, width float64) error {
	boot, err := metrics.BootstrapThreshold(g.fit.Counts, b.direction, by, b.opt.Draws, width, b.opt.Review.Confidence, b.rand())
	if err != nil || !boot.Estimable() {
		return err
	}
	x.NaiveRule = b.rule(boot.Choice.Threshold)
	x.Optimism = &Optimism{Sensitivity: boot.Sensitivity.Optimism, Specificity: boot.Specificity.Optimism}
	x.Warnings = append(x.Warnings, boot.Warnings...)
	return nil
}

// holds says whether the later months bear out the earlier ones: each interval of
// one part holds the estimate of the other, or at least meets it.
func holds(t *Trial) string {
	worst := ""
	for _, x := range []struct {
		name       string
		fit, judge review.Figure
	}{{"sensitivity", t.Fit.Sensitivity, t.Judge.Sensitivity}, {"specificity", t.Fit.Specificity, t.Judge.Specificity}} {
		switch {
		case !x.fit.Estimable() || !x.judge.Estimable():
			return "cannot tell: " + x.name + " is not estimable in both parts"
		case *x.judge.High < *x.fit.Low:
			worst = fmt.Sprintf("no: %s is lower in the later months than was promised", x.name)
		}
	}
	if worst != "" {
		return worst
	}
	return "yes: the later months are in line with what was promised"
}

// against says what a threshold does beside the one in force, on the readings it
// was chosen on.
func (b *builder) against(s *Side, was, is threshold) string {
	var more, fewer int64
	for _, v := range s.Totals {
		switch {
		case is.Positive(v.Value) && !was.Positive(v.Value):
			more += v.Episodes
		case was.Positive(v.Value) && !is.Positive(v.Value):
			fewer += v.Episodes
		}
	}
	if more == 0 && fewer == 0 {
		return "marks the same readings as the threshold in force"
	}
	text := []string{}
	if more > 0 {
		text = append(text, fmt.Sprintf("marks %d readings more than the threshold in force", more))
	}
	if fewer > 0 {
		text = append(text, fmt.Sprintf("leaves out %d that it marks", fewer))
	}
	return strings.Join(text, " and ")
}
