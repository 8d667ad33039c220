package metrics

import (
	"fmt"
	"math"
	"math/rand/v2"
)

// Optimism tells how much a figure flatters because the threshold was chosen on
// the same episodes.
type Optimism struct {
	// Apparent is the figure at the chosen threshold in the episodes themselves.
	Apparent float64
	// Optimism is the mean, over resamples, of the figure of the resample's own
	// choice in the resample minus the same threshold's figure in the episodes.
	Optimism float64
	// Corrected is Apparent minus Optimism, with percentile limits of the apparent
	// figure over the resamples, moved by the same amount.
	Corrected Estimate
}

// ThresholdShare is one threshold with the share of resamples that chose it.
type ThresholdShare struct {
	Threshold Threshold
	Share     float64
}

// ThresholdBootstrap is the uncertainty of a chosen threshold.
type ThresholdBootstrap struct {
	// Choice is the threshold chosen in the episodes themselves.
	Choice Choice
	// Lower and Upper are the chosen limits, in the finding's unit, with percentile
	// limits over the resamples that chose one; a warning counts those that did not. A
	// limit that the choice does not apply is not estimable.
	Lower, Upper Estimate
	// Shares lists the thresholds chosen in resamples, most frequent first.
	Shares []ThresholdShare
	// Draws is the number of resamples, Unmet of which gave no threshold because an
	// outcome did not occur or no threshold met the criterion's condition.
	Draws, Unmet int
	// Area has percentile limits around the area of the episodes; not estimable with
	// BothEndsAreBad.
	Area Estimate
	// Sensitivity and Specificity at the chosen threshold, and the score.
	Sensitivity, Specificity, Score Optimism
	// NotEstimable is empty, or why there is nothing to resample.
	NotEstimable string
	// Warnings belong beside the figures.
	Warnings []string
}

// Estimable reports whether there is a bootstrap.
func (b ThresholdBootstrap) Estimable() bool { return b.NotEstimable == "" }

// BootstrapThreshold repeats the choice of a threshold on draws resamples of the
// counts, to show how firmly the data choose it and how much its accuracy flatters.
//
// A resample is one multinomial draw over all cells (value by need), so its cost is the
// number of distinct values, however many episodes there are. Arguments, edges and
// errors are those of ChooseThreshold; draws must be at least 200 (2,000 is usual) and
// rng not nil. The same rng state gives the same answer. Repeat contacts of one animal
// are taken as independent.
//
// Source: optimism: Efron (1983) J Am Stat Assoc 78:316-331, Harrell, Lee & Mark (1996)
// Stat Med 15:361-387; shifted limits: Noma, Shinozaki, Iba, Teramukai & Furukawa (2021)
// Stat Med 40:5691-5701.
func BootstrapThreshold(counts []ValueCount, d Direction, by Criterion, draws int, within, conf float64, rng *rand.Rand) (ThresholdBootstrap, error) {
	choice, err := ChooseThreshold(counts, d, by, within, conf)
	if err != nil {
		return ThresholdBootstrap{}, err
	}
	if err := checkDraws(draws, rng); err != nil {
		return ThresholdBootstrap{}, err
	}
	b := ThresholdBootstrap{Choice: choice, Draws: draws, NotEstimable: choice.NotEstimable}
	if !b.Estimable() {
		none := notEstimable(conf, MethodPercentileBootstrap, "%s", choice.NotEstimable)
		b.Lower, b.Upper, b.Area = none, none, none
		b.Sensitivity.Corrected, b.Specificity.Corrected, b.Score.Corrected = none, none, none
		return b, nil
	}
	t, _ := tabulateValues(counts)
	s := newChoiceSampler(t, d, by)
	r := newResampler(t, rng)
	for range draws {
		s.note(r.episodes())
	}
	s.summarise(&b, conf)
	return b, nil
}

// choiceSampler collects what each resample chose.
type choiceSampler struct {
	t          valueTable
	cum        cumulative
	d          Direction
	by         Criterion
	chosen     chosenLimits
	area       []float64
	sens, spec pairedDraws
	score      pairedDraws
	unmet      int
}

// pairedDraws holds a figure of each resample's choice, and the sum of its excess
// over the same threshold's figure in the episodes themselves.
type pairedDraws struct {
	resample []float64
	excess   float64
}

func (p *pairedDraws) note(resample, original float64) {
	p.resample = append(p.resample, resample)
	p.excess += resample - original
}

func newChoiceSampler(t valueTable, d Direction, by Criterion) *choiceSampler {
	return &choiceSampler{t: t, d: d, by: by, chosen: chosenLimits{times: map[Threshold]int{}}, cum: t.cumulate()}
}

func (s *choiceSampler) note(draw valueTable) {
	if draw.emptySideWhy != "" {
		s.unmet++
		return
	}
	if s.d != BothEndsAreBad {
		s.area = append(s.area, draw.placements(s.d).area())
	}
	p, merit, found := draw.best(s.d, s.by)
	if !found {
		s.unmet++
		return
	}
	s.chosen.note(p.Threshold)
	o := s.cum.at(s.t, p.Threshold)
	s.sens.note(p.Sensitivity(), o.Sensitivity())
	s.spec.note(p.Specificity(), o.Specificity())
	// A threshold that meets a floor in the resample may miss it in the episodes; its
	// score there is still the figure it would have.
	m, _ := s.by.score(o)
	s.score.note(s.by.report(merit), s.by.report(m))
}

func (s *choiceSampler) summarise(b *ThresholdBootstrap, conf float64) {
	b.Unmet = s.unmet
	b.Shares = topShares(s.chosen.times)
	b.Lower, b.Upper = s.chosen.estimates(b.Choice.Threshold, conf, MethodPercentileBootstrap)
	if s.d == BothEndsAreBad {
		b.Area = notEstimable(conf, MethodPercentileBootstrap, "%s", s.t.areaObstacle(s.d))
	} else {
		b.Area = percentileEstimate(s.t.placements(s.d).area(), s.area, conf, MethodPercentileBootstrap)
	}
	b.Sensitivity = s.sens.optimism(b.Choice.Sensitivity.Value, 0, 1, conf)
	b.Specificity = s.spec.optimism(b.Choice.Specificity.Value, 0, 1, conf)
	b.Score = s.score.optimism(b.Choice.Score, math.Inf(-1), math.Inf(1), conf)
	if s.unmet*20 > b.Draws {
		b.Warnings = append(b.Warnings, "more than one resample in twenty gave no threshold: the data hardly carry this choice")
	}
}

// chosenLimits collects the thresholds that draws chose.
type chosenLimits struct {
	lower, upper []float64
	times        map[Threshold]int
	n            int
}

func (c *chosenLimits) note(th Threshold) {
	c.n++
	c.times[th]++
	if th.HasLower {
		c.lower = append(c.lower, th.Lower)
	}
	if th.HasUpper {
		c.upper = append(c.upper, th.Upper)
	}
}

// estimates puts percentile limits around the two limits of the chosen threshold.
func (c *chosenLimits) estimates(th Threshold, conf float64, m Method) (lower, upper Estimate) {
	one := func(applies bool, value float64, draws []float64) Estimate {
		if !applies {
			return notEstimable(conf, m, "the chosen rule has no such limit")
		}
		e := percentileEstimate(value, draws, conf, m)
		if without := c.n - len(draws); e.Estimable() && without > 0 {
			e.Warnings = append(e.Warnings, fmt.Sprintf("%d of %d draws chose a rule without this limit", without, c.n))
		}
		return e
	}
	return one(th.HasLower, th.Lower, c.lower), one(th.HasUpper, th.Upper, c.upper)
}

func (p *pairedDraws) optimism(apparent, least, most, conf float64) Optimism {
	o := Optimism{Apparent: apparent}
	if len(p.resample) == 0 {
		o.Corrected = notEstimable(conf, MethodPercentileBootstrap, "no resample gave a threshold")
		return o
	}
	o.Optimism = p.excess / float64(len(p.resample))
	o.Corrected = percentileEstimate(apparent, p.resample, conf, MethodPercentileBootstrap)
	for _, v := range []*float64{&o.Corrected.Value, &o.Corrected.Low, &o.Corrected.High} {
		*v = math.Max(least, math.Min(most, *v-o.Optimism))
	}
	return o
}
