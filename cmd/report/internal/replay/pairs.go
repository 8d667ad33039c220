package replay

import (
	"math"
	"slices"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/queries"
)

// The pairs of answers: the proposal is first.
const (
	both = iota
	onlyNew
	onlyOld
	neither
)

func pairOf(old, new bool) int {
	switch {
	case old && new:
		return both
	case new:
		return onlyNew
	case old:
		return onlyOld
	}
	return neither
}

// pairs gathers verification cells by advice, stratum and pair of answers.
type pairs struct {
	order []string
	by    map[string]*entry
}

type entry struct {
	key   []string
	cells [4]metrics.VerificationCell
}

// add enters mature episodes with an advice.
func (p *pairs) add(r *queries.ReplayCountsRow, pair int, need int8) {
	key := append([]string{review.LevelWord(r.Level)}, r.Stratum...)
	name := strings.Join(key, "\x00")
	if p.by == nil {
		p.by = map[string]*entry{}
	}
	e := p.by[name]
	if e == nil {
		e = &entry{key: key}
		p.by[name] = e
		p.order = append(p.order, name)
	}
	review.Enter(&e.cells[pair], r.Level, r.Route, need, r.N)
}

// needAt is the need at a cut.
func needAt(r *queries.ReplayCountsRow, cut int) int8 {
	if cut == emergency {
		return r.NeedEmergency
	}
	return r.NeedSameDay
}

// strata joins thin strata in the order of the strata file; the level stays.
// Each pair of answers is joined apart, because calls on which the rules differ
// are few where those on which they agree are many.
func (b *builder) strata(p *pairs) ([]metrics.PairVerificationStratum, error) {
	meta := b.db.Meta()
	dims := append([]string{"level"}, meta.Strata...)
	var out []metrics.PairVerificationStratum
	for pair := range 4 {
		var side []metrics.KeyedStratum
		for _, name := range p.order {
			if e := p.by[name]; e.cells[pair].Total() > 0 {
				side = append(side, metrics.KeyedStratum{Key: e.key, Present: e.cells[pair]})
			}
		}
		joined, err := metrics.CollapseStrata(side, metrics.CollapseOptions{Dimensions: dims, Order: meta.Collapse, MinSampled: int64(b.std.MinVerified)})
		if err != nil {
			return nil, err
		}
		for _, s := range joined.Strata {
			one := metrics.PairVerificationStratum{Name: s.Name}
			*cell(&one, pair) = s.Present
			out = append(out, one)
		}
	}
	if len(out) == 0 {
		out = append(out, metrics.PairVerificationStratum{Name: "no episodes"})
	}
	return out, nil
}

func cell(s *metrics.PairVerificationStratum, pair int) *metrics.VerificationCell {
	return [4]*metrics.VerificationCell{&s.Both, &s.FirstOnly, &s.SecondOnly, &s.Neither}[pair]
}

// narrow is how far a share may move between the extremes of the cells that
// nobody followed up before it counts as not estimable, as in the review; a number
// of animals may move by as much of those known to be in need.
const narrow = 0.05

// corrected is a comparison with its worth.
type corrected struct {
	metrics.RuleCorrection
	worth []metrics.CorrectedRuleWorth
}

func (b *builder) partial(strata []metrics.PairVerificationStratum, conf float64) (c corrected, err error) {
	if c.RuleCorrection, err = metrics.CompareRulesPartial(strata, b.options(conf)); err != nil {
		return c, err
	}
	c.worth, err = metrics.CompareWorthPartial(strata, plausible, b.options(conf))
	return c, err
}

// correct compares two rule sets on strata. Figures that are not estimable only
// because a few episodes lie in cells of which nobody was followed up are
// computed at both extremes of those cells; where these hardly differ, the
// figure stands midway and its limits cover both.
func (b *builder) correct(strata []metrics.PairVerificationStratum, conf float64) (corrected, error) {
	c, err := b.partial(strata, conf)
	if err != nil || !unfollowed(strata) {
		return c, err
	}
	var at [4]corrected
	for i, needed := range [4][4]bool{
		{onlyOld: true}, // worst for the proposal: all that it lowers was in need
		{onlyNew: true}, // best
		{true, true, true, true}, {},
	} {
		if at[i], err = b.partial(settled(strata, needed), conf); err != nil {
			return c, err
		}
	}
	worst, best, all, none := &at[0], &at[1], &at[2], &at[3]
	animals := narrow * float64(max(1, c.Verified.Needed.N()))
	midway(&c.SensitivityDifference, worst.SensitivityDifference, best.SensitivityDifference, narrow)
	midway(&c.SpecificityDifference, worst.SpecificityDifference, best.SpecificityDifference, narrow)
	midway(&c.FirstSensitivity, all.FirstSensitivity, none.FirstSensitivity, narrow)
	midway(&c.SecondSensitivity, all.SecondSensitivity, none.SecondSensitivity, narrow)
	midway(&c.FirstSpecificity, all.FirstSpecificity, none.FirstSpecificity, narrow)
	midway(&c.SecondSpecificity, all.SecondSpecificity, none.SecondSpecificity, narrow)
	midway(&c.Gained, worst.Gained, best.Gained, animals)
	midway(&c.Lost, worst.Lost, best.Lost, animals)
	midway(&c.Extra, worst.Extra, best.Extra, animals)
	midway(&c.Spared, worst.Spared, best.Spared, animals)
	midway(&c.ExtraPerGained, worst.ExtraPerGained, best.ExtraPerGained, math.Inf(1))
	for i := range c.worth {
		midway(&c.worth[i].Difference, worst.worth[i].Difference, best.worth[i].Difference, narrow)
		midway(&c.worth[i].First, all.worth[i].First, none.worth[i].First, narrow)
		midway(&c.worth[i].Second, all.worth[i].Second, none.worth[i].Second, narrow)
		midway(&c.worth[i].All, all.worth[i].All, none.worth[i].All, narrow)
	}
	return c, nil
}

// unfollowed reports whether some cell has unverified episodes and no sample.
func unfollowed(strata []metrics.PairVerificationStratum) bool {
	return slices.ContainsFunc(strata, func(s metrics.PairVerificationStratum) bool {
		for pair := range 4 {
			if c := cell(&s, pair); c.Unverified > 0 && c.Sampled() == 0 {
				return true
			}
		}
		return false
	})
}

// settled gives the unverified of cells without a sample one outcome by pair.
func settled(strata []metrics.PairVerificationStratum, needed [4]bool) []metrics.PairVerificationStratum {
	out := slices.Clone(strata)
	for i := range out {
		for pair := range 4 {
			c := cell(&out[i], pair)
			if c.Unverified == 0 || c.Sampled() > 0 {
				continue
			}
			if needed[pair] {
				c.FoundNeeded += c.Unverified
			} else {
				c.FoundNotNeeded += c.Unverified
			}
			c.Unverified = 0
		}
	}
	return out
}

// midway fills a figure that is not estimable from two extremes, if these lie
// within room of each other.
func midway(e *metrics.Estimate, a, b metrics.Estimate, room float64) {
	if e.Estimable() || !a.Estimable() || !b.Estimable() || math.Abs(a.Value-b.Value) > room {
		return
	}
	*e = metrics.Estimate{
		Value: (a.Value + b.Value) / 2, Low: min(a.Low, b.Low), High: max(a.High, b.High), Conf: a.Conf,
		Method:   a.Method + ", both extremes of the cells without follow-up",
		Warnings: append(slices.Clone(a.Warnings), "some episodes without an outcome lie where nobody was followed up; the limits cover both extremes of them"),
	}
}
