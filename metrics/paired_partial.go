package metrics

import (
	"fmt"
	"math"
)

// PairVerificationStratum holds two rule sets on the same episodes of one stratum, each
// pair of answers with how the need of its episodes became known.
type PairVerificationStratum struct {
	// Name says which episodes these are; it appears in reasons and warnings.
	Name string
	// Both and Neither are episodes that both or neither rule set marks, FirstOnly and
	// SecondOnly those that only one of them marks.
	Both, FirstOnly, SecondOnly, Neither VerificationCell
}

func (s PairVerificationStratum) cells() [4]VerificationCell {
	return [4]VerificationCell{s.Both, s.FirstOnly, s.SecondOnly, s.Neither}
}

// The pairs of answers, in the order of PairVerificationStratum.cells.
const (
	pairBoth = iota
	pairFirstOnly
	pairSecondOnly
	pairNeither
)

var pairNames = [4]string{"marked by both", "marked by the first only", "marked by the second only", "marked by neither"}

// RuleCorrection compares two rule sets corrected for partial verification. Differences
// are first minus second, ratios first over second.
type RuleCorrection struct {
	// FirstSensitivity ... SecondSpecificity describe the population the episodes come from.
	FirstSensitivity, SecondSensitivity, FirstSpecificity, SecondSpecificity Estimate
	// SensitivityDifference and SpecificityDifference lie in -1..1.
	SensitivityDifference, SpecificityDifference Estimate
	// RelativeSensitivity and RelativeSpecificity are ratios; a ratio whose second rate is 0
	// is not estimable.
	RelativeSensitivity, RelativeSpecificity Estimate
	// Gained and Lost are how many of these very episodes in need only the first, and only
	// the second, rule set marks; Extra and Spared how many of those not in need. The
	// verified ones are known, the others expected.
	Gained, Lost, Extra, Spared Estimate
	// ExtraPerGained is (Extra - Spared) / (Gained - Lost): how many more animals not in
	// need the first rule set marks for each one in need that it marks more. Below 0 it
	// spares visits as well. It needs a Gained above Lost that its own limits confirm.
	ExtraPerGained Estimate
	// Verified holds the pairs whose need is known, whatever the route, and Naive what they
	// alone would say.
	Verified RulePair
	Naive    RuleComparison
	// Episodes counts all episodes, Unverified those without a known need, ThinUnverified
	// those of them in cells with fewer than MinSampled followed up.
	Episodes, Unverified, ThinUnverified int64
}

// CompareRulesPartial compares two rule sets on the same episodes where an outcome is known
// for some only, and whether it is known depends on the advice given. It is what
// Corrected is for one test, carried to pairs: within a stratum and a pair of answers, found
// episodes are added as they are and the remainder is taken to be like its followed-up part.
//
//	expected needed of a cell = found needed + (remainder) x (followed up, in need) / (followed up)
//
// Sensitivities, differences and ratios are those of the expected counts. Limits are
// percentiles over a posterior simulated on the counts, in which each of the four pairs of
// answers has one pseudo-observation. A relaxed rule shows its gain in verified episodes and
// its loss in unverified ones, so that Naive alone flatters it.
//
// The four pairs need not all be followed up: Gained and Extra need only those marked by the
// first alone, Lost and Spared those marked by the second alone, everything else needs all. A
// populated remainder without follow-up makes what needs it not estimable, with the reason.
// It returns ErrArgument for no strata, a negative count or options out of range. The order
// of strata does not matter.
//
// Source: Begg & Greenes (1983) Biometrics 39:207-215; for pairs Alonzo (2005) Stat Med 24:403-417.
// The simulation is that of Corrected.
func CompareRulesPartial(strata []PairVerificationStratum, opt CorrectionOptions) (RuleCorrection, error) {
	var c RuleCorrection
	parts, err := pairParts(strata, opt)
	if err != nil {
		return c, err
	}
	for _, s := range strata {
		for pair, cell := range s.cells() {
			c.count(cell, pair, opt.MinSampled)
		}
	}
	if c.Naive, err = CompareRules(c.Verified, opt.Conf); err != nil {
		return RuleCorrection{}, err
	}
	c.fill(newPairPosterior(parts, opt), opt.Conf)
	c.warn(opt.MinSampled)
	return c, nil
}

// pairParts checks the arguments and lists the parts of each pair of answers.
func pairParts(strata []PairVerificationStratum, opt CorrectionOptions) (parts [4][]part, err error) {
	if err := opt.check(); err != nil {
		return parts, err
	}
	if len(strata) == 0 {
		return parts, argErr("no strata")
	}
	for pair := range parts {
		one := make([]VerificationStratum, len(strata))
		for i, s := range strata {
			one[i] = VerificationStratum{Name: s.Name, Present: s.cells()[pair]}
		}
		if err := checkStrata(one); err != nil {
			return parts, err
		}
		parts[pair] = verificationParts(one)
	}
	return parts, nil
}

// count adds a cell to the verified pairs and to the numbers of episodes.
func (c *RuleCorrection) count(cell VerificationCell, pair int, minSampled int64) {
	c.Episodes += cell.Total()
	c.Unverified += cell.Unverified
	if cell.Unverified > 0 && cell.Sampled() < minSampled {
		c.ThinUnverified += cell.Unverified
	}
	*c.Verified.Needed.cell(pair) += cell.needed()
	*c.Verified.NotNeeded.cell(pair) += cell.notNeeded()
}

func (c *PairedCounts) cell(pair int) *int64 {
	return [4]*int64{&c.Both, &c.FirstOnly, &c.SecondOnly, &c.Neither}[pair]
}

// pairDraw holds needed and not needed by pair of answers, up to a common factor, and the
// numbers among these very episodes.
type pairDraw struct {
	needed, notNeeded       [4]float64
	actual, actualNotNeeded [4]float64
}

// pairPosterior holds the expected counts and draws around them.
type pairPosterior struct {
	expected pairDraw
	draws    []pairDraw
	blocked  [4]string
}

func newPairPosterior(parts [4][]part, opt CorrectionOptions) pairPosterior {
	var p pairPosterior
	p.draws = make([]pairDraw, opt.Draws)
	for pair, list := range parts {
		p.blocked[pair] = unsampledPair(list, pairNames[pair])
		known, all := 0.0, 0.0
		for _, x := range list {
			need := x.n * x.rate()
			p.expected.needed[pair] += need
			p.expected.notNeeded[pair] += x.n - need
			known += x.x
			all += x.n
		}
		p.expected.actual[pair], p.expected.actualNotNeeded[pair] = p.expected.needed[pair], p.expected.notNeeded[pair]
		sampler := newSideSampler(list, true, opt.Rand)
		for i := range p.draws {
			d := &p.draws[i]
			var unseen float64
			d.needed[pair], d.notNeeded[pair], unseen = sampler.draw()
			d.actual[pair] = known + unseen
			d.actualNotNeeded[pair] = all - d.actual[pair]
		}
	}
	return p
}

// unsampledPair says which populated remainder lacks follow-up, or nothing.
func unsampledPair(parts []part, name string) string {
	for _, p := range parts {
		if p.k == 0 && p.n > 0 {
			return fmt.Sprintf("none of the %.0f unverified episodes %s in stratum %q was followed up", p.n, name, p.stratum)
		}
	}
	return ""
}

func (p pairPosterior) anyBlocked() string {
	for _, b := range p.blocked {
		if b != "" {
			return b
		}
	}
	return ""
}

// estimate dresses a figure of a draw; ok is false where it is not defined.
func (p pairPosterior) estimate(conf float64, why, undefined string, f func(pairDraw) (v float64, ok bool)) Estimate {
	v, ok := f(p.expected)
	if why == "" && !ok {
		why = undefined
	}
	if why != "" {
		return notEstimable(conf, MethodBeggGreenesDraws, "%s", why)
	}
	figures := make([]float64, 0, len(p.draws))
	for _, d := range p.draws {
		if x, ok := f(d); ok {
			figures = append(figures, x)
		}
	}
	return percentileEstimate(v, figures, conf, MethodBeggGreenesDraws)
}

// shares are the two rule sets' shares of yes among the four cells.
func shares(c [4]float64) (first, second float64, ok bool) {
	n := c[pairBoth] + c[pairFirstOnly] + c[pairSecondOnly] + c[pairNeither]
	if !(n > 0) {
		return 0, 0, false
	}
	return (c[pairBoth] + c[pairFirstOnly]) / n, (c[pairBoth] + c[pairSecondOnly]) / n, true
}

func (c *RuleCorrection) fill(p pairPosterior, conf float64) {
	needed := func(d pairDraw) [4]float64 { return d.needed }
	left := func(d pairDraw) [4]float64 { // not marked: both and neither, first and second change places
		x := d.notNeeded
		return [4]float64{x[pairNeither], x[pairSecondOnly], x[pairFirstOnly], x[pairBoth]}
	}
	why := p.anyBlocked()
	figure := func(cells func(pairDraw) [4]float64, undefined string, f func(first, second float64) (float64, bool)) Estimate {
		return p.estimate(conf, why, undefined, func(d pairDraw) (float64, bool) {
			a, b, ok := shares(cells(d))
			if !ok {
				return 0, false
			}
			return f(a, b)
		})
	}
	first := func(a, _ float64) (float64, bool) { return clip01(a), true }
	second := func(_, b float64) (float64, bool) { return clip01(b), true }
	difference := func(a, b float64) (float64, bool) { return math.Max(-1, math.Min(1, a-b)), true }
	ratio := func(a, b float64) (float64, bool) {
		if b <= 0 {
			return 0, false
		}
		return a / b, true
	}
	const noneNeeded, allNeeded = "no animal in need was found or sampled", "every animal found or sampled was in need"
	c.FirstSensitivity = figure(needed, noneNeeded, first)
	c.SecondSensitivity = figure(needed, noneNeeded, second)
	c.SensitivityDifference = figure(needed, noneNeeded, difference)
	c.RelativeSensitivity = figure(needed, "no animal in need that the second marks was found or sampled", ratio)
	c.FirstSpecificity = figure(left, allNeeded, first)
	c.SecondSpecificity = figure(left, allNeeded, second)
	c.SpecificityDifference = figure(left, allNeeded, difference)
	c.RelativeSpecificity = figure(left, "no animal not in need that the second leaves unmarked was found or sampled", ratio)
	number := func(pair int, of func(pairDraw) [4]float64) Estimate {
		return p.estimate(conf, p.blocked[pair], "", func(d pairDraw) (float64, bool) { return of(d)[pair], true })
	}
	actual := func(d pairDraw) [4]float64 { return d.actual }
	actualNot := func(d pairDraw) [4]float64 { return d.actualNotNeeded }
	c.Gained, c.Lost = number(pairFirstOnly, actual), number(pairSecondOnly, actual)
	c.Extra, c.Spared = number(pairFirstOnly, actualNot), number(pairSecondOnly, actualNot)
	c.ExtraPerGained = p.extraPerGained(conf)
}

// extraPerGained divides net extra by net gained, where the gain is beyond doubt: with a
// denominator on either side of 0 a ratio has no interval.
func (p pairPosterior) extraPerGained(conf float64) Estimate {
	why := p.blocked[pairFirstOnly]
	if why == "" {
		why = p.blocked[pairSecondOnly]
	}
	gain := p.estimate(conf, why, "", func(d pairDraw) (float64, bool) { return d.actual[pairFirstOnly] - d.actual[pairSecondOnly], true })
	if gain.Estimable() && gain.Low <= 0 {
		why = "it is not certain that more animals in need would be marked"
	}
	return p.estimate(conf, why, "no more animals in need would be marked", func(d pairDraw) (float64, bool) {
		gained := d.actual[pairFirstOnly] - d.actual[pairSecondOnly]
		return (d.actualNotNeeded[pairFirstOnly] - d.actualNotNeeded[pairSecondOnly]) / gained, gained > 0
	})
}

// warn puts the share of thinly followed-up episodes beside the corrected figures.
func (c *RuleCorrection) warn(minSampled int64) {
	if c.ThinUnverified == 0 {
		return
	}
	w := fmt.Sprintf("%d of %d unverified episodes are in cells with fewer than %d followed up", c.ThinUnverified, c.Unverified, minSampled)
	for _, e := range []*Estimate{
		&c.FirstSensitivity, &c.SecondSensitivity, &c.FirstSpecificity, &c.SecondSpecificity, &c.SensitivityDifference,
		&c.SpecificityDifference, &c.RelativeSensitivity, &c.RelativeSpecificity, &c.Gained, &c.Lost, &c.Extra, &c.Spared, &c.ExtraPerGained,
	} {
		if e.Estimable() {
			e.Warnings = append(e.Warnings, w)
		}
	}
}
