package tune

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/metrics"
	"hindcheck/queries"
)

// choose searches on the earlier months, takes what the criterion prefers, and
// judges it on the later ones.
func (b *builder) choose() error {
	front := b.front(b.search(b.fit))
	present := b.fit.try(b.present())
	inForce, _, _, err := b.trial(b.present())
	if err != nil {
		return err
	}
	b.r.Present = inForce
	chosen, err := b.prefer(front, present)
	if err != nil {
		return err
	}
	b.path(front, present, chosen)
	if chosen == nil {
		return nil
	}
	trial, fit, later, err := b.trial(chosen.c)
	if err != nil {
		return err
	}
	b.r.Chosen = trial
	var looser []string
	for i, t := range b.tuned {
		b.r.Tuned[i].Chosen = t.word(chosen.c[i])
		if chosen.c[i] > t.inForce {
			looser = append(looser, b.r.Tuned[i].Flag)
		}
		if chosen.c[i] != t.inForce {
			x := move{flag: t.Flag, condition: t.Condition, lower: t.Lower, off: chosen.c[i] > t.count()}
			if !x.off && t.Condition >= 0 {
				x.at = t.At[chosen.c[i]-1]
			}
			b.r.moves = append(b.r.moves, x)
		}
	}
	if len(looser) > 0 {
		b.r.Warnings = append(b.r.Warnings, fmt.Sprintf("the choice marks fewer animals by %s: look at each one that would be newly missed (report replay --proposed) before anything is relaxed", strings.Join(looser, ", ")))
	}
	return b.optimism(fit, later)
}

// mostLimits bounds how many combinations have their interval worked out while a
// floor is looked for.
const mostLimits = 400

// prefer applies the criterion along the front: both criteria are met by one of
// its combinations if by any.
func (b *builder) prefer(front []outcome, present outcome) (*outcome, error) {
	c := b.opt.Criterion
	if c.capped {
		var best *outcome
		for i := range front {
			if front[i].sent <= present.sent+c.extra*b.fit.side.Days+1e-9 {
				best = &front[i] // the front rises in both
			}
		}
		if best == nil {
			b.r.NotEstimable = "no combination keeps within that many referrals a day"
		}
		return best, nil
	}
	tried := 0
	for i := range front {
		if b.fit.allNeeded == 0 || front[i].caught/b.fit.allNeeded < c.sensitivity-1e-12 {
			continue
		}
		if tried++; tried > mostLimits {
			break
		}
		p, _, _, err := b.part(b.fit, front[i].c)
		if err != nil {
			return nil, err
		}
		if p.Sensitivity.Low != nil && *p.Sensitivity.Low >= c.sensitivity-1e-12 {
			return &front[i], nil
		}
	}
	b.r.NotEstimable = fmt.Sprintf("no combination of these thresholds reaches a sensitivity of %g at its lower limit", c.sensitivity)
	return nil, nil
}

// trial judges a combination on both parts. It hands back the sensitivity and
// specificity of each, for a difference.
func (b *builder) trial(c combination) (t *Trial, fit, later []metrics.Estimate, err error) {
	t = &Trial{}
	for i, x := range b.tuned {
		t.Thresholds = append(t.Thresholds, b.r.Tuned[i].Flag+" "+x.word(c[i]))
	}
	sens, spec := metrics.Estimate{}, metrics.Estimate{}
	if t.Fit, sens, spec, err = b.part(b.fit, c); err != nil {
		return nil, nil, nil, err
	}
	fit = []metrics.Estimate{sens, spec}
	if t.Later, sens, spec, err = b.part(b.judged, c); err != nil {
		return nil, nil, nil, err
	}
	return t, fit, []metrics.Estimate{sens, spec}, nil
}

// optimism is what was promised minus what the later months show.
func (b *builder) optimism(fit, later []metrics.Estimate) error {
	var out [2]metrics.Estimate
	for i := range out {
		d, err := metrics.DifferenceOfEstimates(fit[i], later[i])
		if err != nil {
			return err
		}
		out[i] = d
	}
	b.r.Optimism = &Optimism{Sensitivity: review.FigureOf(out[0]), Specificity: review.FigureOf(out[1])}
	switch {
	case !out[0].Estimable() || !out[1].Estimable():
		b.r.Holds = "cannot tell: the later months carry no corrected figure"
	case out[0].Low > 0:
		b.r.Holds = "no: the later months show a lower sensitivity than was promised"
	case out[1].Low > 0:
		b.r.Holds = "no: the later months show a lower specificity than was promised"
	default:
		b.r.Holds = "yes: what was promised lies within the limits of the difference from the later months"
	}
	return nil
}

// mostSteps is how many combinations of the front are shown.
const mostSteps = 40

// path picks combinations of the front at even steps, with the present and the
// chosen one.
func (b *builder) path(front []outcome, present outcome, chosen *outcome) {
	shown := front
	if len(front) > mostSteps {
		shown = nil
		for k := range mostSteps {
			shown = append(shown, front[k*(len(front)-1)/(mostSteps-1)])
		}
	}
	shown = slices.Clone(shown)
	for _, extra := range []*outcome{&present, chosen} {
		if extra != nil && !slices.ContainsFunc(shown, func(o outcome) bool { return slices.Equal(o.c, extra.c) }) {
			shown = append(shown, *extra)
		}
	}
	slices.SortStableFunc(shown, func(x, y outcome) int {
		if x.sent < y.sent {
			return -1
		}
		return 1
	})
	for _, o := range shown {
		s := Step{Moved: []string{}, PerDay: o.sent / b.fit.side.Days, Present: slices.Equal(o.c, present.c), Chosen: chosen != nil && slices.Equal(o.c, chosen.c)}
		if b.fit.allNeeded > 0 {
			s.Missed = max(0, 1-o.caught/b.fit.allNeeded)
		}
		for i, t := range b.tuned {
			s.Thresholds = append(s.Thresholds, t.word(o.c[i]))
			if o.c[i] != t.inForce {
				s.Moved = append(s.Moved, b.r.Tuned[i].Flag+" "+t.word(o.c[i]))
			}
		}
		b.r.Path = append(b.r.Path, s)
	}
}

// cautiousShare marks a flag: even at the upper limit, fewer than a third as many
// of the animals it alone sends in needed it as of those the rules send in.
const cautiousShare = 1.0 / 3

// flagsByThemselves lists what each flag at the cut adds alone, over the whole
// period, and marks those that look too cautious.
func (b *builder) flagsByThemselves(ctx context.Context) error {
	rows, err := b.db.FlagPatterns(ctx, b.scope)
	if err != nil {
		return err
	}
	var at []int
	for i := range b.set.Flags {
		if int(b.set.Flags[i].Demands) >= b.opt.Cut {
			at = append(at, i)
		}
	}
	if len(at) > 64 {
		b.r.Warnings = append(b.r.Warnings, "flags by themselves are left out: more than 64 demand the cut")
		return nil
	}
	known, unknown := map[uint64]metrics.NeedCount{}, map[uint64]int64{}
	for _, r := range rows {
		if !r.Mature {
			continue
		}
		var bits uint64
		for _, f := range r.Fired {
			if k := slices.Index(at, f); k >= 0 {
				bits |= 1 << k
			}
		}
		n := known[bits]
		switch needAt(r, b.opt.Cut) {
		case 1:
			n.Needed += r.N
		case 0:
			n.NotNeeded += r.N
		default:
			unknown[bits] += r.N
		}
		known[bits] = n
	}
	all, err := metrics.LeaveOneFlagOut(known, max(len(at), 1), b.opt.Review.Confidence)
	if err != nil {
		return err
	}
	whole, err := metrics.PPV(all.Table, b.opt.Review.Confidence)
	if err != nil {
		return err
	}
	for k, f := range all.Flags[:len(at)] {
		if f.Alone.Needed+f.Alone.NotNeeded+unknown[1<<k] == 0 {
			continue
		}
		b.r.ByThemselves = append(b.r.ByThemselves, Flag{
			Flag: b.set.Flags[at[k]].ID, AloneNeeded: f.Alone.Needed, AloneNotNeeded: f.Alone.NotNeeded, AloneUnknown: unknown[1<<k],
			PPV: review.FigureOf(f.AlonePPV), Lost: review.FigureOf(f.SensitivityLost),
			Cautious: f.AlonePPV.Estimable() && whole.Estimable() && f.AlonePPV.High < cautiousShare*whole.Low,
		})
	}
	slices.SortStableFunc(b.r.ByThemselves, func(x, y Flag) int { return int(y.AloneNotNeeded - x.AloneNotNeeded) })
	return nil
}

func needAt(r queries.FlagPatternsRow, cut int) int8 {
	if cut == 4 {
		return r.NeedEmergency
	}
	return r.NeedSameDay
}
