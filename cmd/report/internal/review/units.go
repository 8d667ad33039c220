package review

import (
	"cmp"
	"slices"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// Units sets sites and advisors beside what chance allows, unranked, and says
// what came of advice that left the rules' level.
type Units struct {
	Funnels []FunnelPlot `json:"funnels"`
	// Overrides are judged at both cuts, the same day first.
	Overrides []Override `json:"overrides"`
	// Settings say how the funnels were made.
	Settings FunnelSettings `json:"settings"`
}

// FunnelSettings are the choices behind the funnels.
type FunnelSettings struct {
	// Inner and Outer are the shares that the two pairs of limits hold if all
	// units share the line's proportion.
	Inner float64 `json:"inner"`
	Outer float64 `json:"outer"`
	// MinN is the number of episodes below which a unit is not judged.
	MinN int64 `json:"min_n"`
}

// FunnelPlot is one share of sites or of advisors.
type FunnelPlot struct {
	// Kind is site or advisor; Measure says what the share is, of Of.
	Kind    string `json:"kind"`
	Measure string `json:"measure"`
	Of      string `json:"of"`
	// Target is the share of the whole line, around which the limits lie.
	Target *float64     `json:"target,omitempty"`
	Units  []FunnelUnit `json:"units"`
	// Curve are the limits by number of episodes, to draw.
	Curve []FunnelLimits `json:"curve"`
	// Outside counts units beyond the inner and the outer limits; Judged those
	// that can be. By chance alone, ExpectedOutside lie beyond the inner ones.
	Judged          int     `json:"judged"`
	OutsideInner    int     `json:"outside_inner"`
	OutsideOuter    int     `json:"outside_outer"`
	ExpectedOutside float64 `json:"expected_outside"`
	// Differ tests whether the units differ more than chance makes them; Phi is
	// how many times more, and Widened says that the limits allow for it.
	Differ  Dispersion `json:"differ"`
	Phi     float64    `json:"phi"`
	Widened bool       `json:"widened"`
	// NotEstimable says why there is no funnel.
	NotEstimable string   `json:"not_estimable,omitempty"`
	Warnings     []string `json:"warnings"`
}

// FunnelUnit is one site or advisor.
type FunnelUnit struct {
	// Name of the site, or the first eight signs of the advisor's pseudonym.
	Name  string `json:"name"`
	Share Figure `json:"share"`
	// Outside is 0 within the inner limits, 1 or -1 beyond them, 2 or -2 beyond
	// the outer ones.
	Outside int `json:"outside"`
	// NotJudged says why the unit is not held against the limits.
	NotJudged string `json:"not_judged,omitempty"`
}

// FunnelLimits are the limits at one number of episodes.
type FunnelLimits struct {
	N         int64   `json:"n"`
	OuterLow  float64 `json:"outer_low"`
	InnerLow  float64 `json:"inner_low"`
	InnerHigh float64 `json:"inner_high"`
	OuterHigh float64 `json:"outer_high"`
}

// unitMeasures are the shares of a unit. None of them is a share of missed
// cases: one advisor's would rest on none to two.
var unitMeasures = []struct {
	name, of string
	share    func(queries.UnitCountsRow) (in, of bool)
}{
	{"advised same day or sooner", withAdvice, func(x queries.UnitCountsRow) (bool, bool) { return x.Level >= sameDay, x.Level > 0 }},
	{"advised above the rules' level", withBoth, func(x queries.UnitCountsRow) (bool, bool) {
		return x.Level > x.RuleLevel, x.Level > 0 && x.RuleLevel > 0
	}},
	{"advised below the rules' level", withBoth, func(x queries.UnitCountsRow) (bool, bool) {
		return x.Level < x.RuleLevel, x.Level > 0 && x.RuleLevel > 0
	}},
	{"owner told when to ring again", "episodes on which that is recorded", func(x queries.UnitCountsRow) (bool, bool) { return x.SafetyNet == 1, x.SafetyNet >= 0 }},
}

const withBoth = "episodes with an advice level on record and a level of the rules"

func (b *builder) fillUnits(r *Review) error {
	rows, err := b.db.UnitCounts(b.ctx, b.scope)
	if err != nil {
		return err
	}
	set := metrics.CommonFunnelSettings()
	r.Units = Units{Funnels: []FunnelPlot{}, Settings: FunnelSettings{set.Inner, set.Outer, set.MinN}}
	for _, kind := range []string{"site", "advisor"} {
		for _, m := range unitMeasures {
			f, err := b.funnel(rows, kind, m.share)
			if err != nil {
				return err
			}
			f.Kind, f.Measure, f.Of = kind, m.name, m.of
			r.Units.Funnels = append(r.Units.Funnels, f)
		}
	}
	return b.fillOverrides(&r.Units)
}

// funnel counts one share for each unit of a kind and holds it to the limits.
// Units come in the order of their names, never of their shares.
func (b *builder) funnel(rows []queries.UnitCountsRow, kind string, share func(queries.UnitCountsRow) (in, of bool)) (FunnelPlot, error) {
	out := FunnelPlot{Units: []FunnelUnit{}, Curve: []FunnelLimits{}, Warnings: []string{}}
	var points []metrics.ProportionPoint
	var groups []metrics.GroupCount
	var names []string
	for _, x := range rows {
		in, of := share(x)
		if x.Kind != kind || x.Unit == "" || !of {
			continue
		}
		if n := len(names); n == 0 || names[n-1] != x.Unit {
			names, points = append(names, x.Unit), append(points, metrics.ProportionPoint{})
		}
		p := &points[len(points)-1]
		p.N += x.N
		if in {
			p.X += x.N
		}
	}
	set := metrics.CommonFunnelSettings()
	for i, p := range points {
		e, err := metrics.Wilson(p.X, p.N, b.opt.Confidence)
		if err != nil {
			return out, err
		}
		out.Units = append(out.Units, FunnelUnit{Name: pseudonym(names[i]), Share: figure(e)})
		if p.N >= set.MinN {
			groups = append(groups, metrics.GroupCount{Successes: p.X, Trials: p.N})
		}
	}
	var err error
	if out.Differ, err = dispersion(groups); err != nil {
		return out, err
	}
	if len(points) == 0 {
		out.NotEstimable = "no unit is on record"
		return out, nil
	}
	plot, err := metrics.Funnel(points, set)
	if err != nil {
		return out, err
	}
	if plot.BeyondChance && len(groups) >= enoughUnits {
		set.Allow, set.Winsorise = metrics.AdditiveOverdispersion, 0.1
		wide, err := metrics.Funnel(points, set)
		if err != nil {
			return out, err
		}
		wide.Phi, plot, out.Widened = plot.Phi, wide, true
	}
	return out, b.fillFunnel(&out, plot, points, set)
}

// enoughUnits are needed to tell differences between units from one odd unit;
// with fewer the limits stay those of chance.
const enoughUnits = 10

// pseudonym shortens a UUID to what a person can say; a site keeps its name.
func pseudonym(unit string) string {
	const full, short = 36, 8
	if len(unit) == full && unit[short] == '-' {
		return unit[:short]
	}
	return unit
}

func (b *builder) fillFunnel(out *FunnelPlot, plot metrics.FunnelPlot, points []metrics.ProportionPoint, set metrics.FunnelSettings) error {
	out.Phi, out.NotEstimable = plot.Phi, plot.NotEstimable
	out.Warnings = append(out.Warnings, plot.Warnings...)
	if plot.NotEstimable != "" {
		for i := range out.Units {
			out.Units[i].NotJudged = plot.NotEstimable
		}
		return nil
	}
	out.Target = &plot.Target
	var largest int64
	for i, p := range plot.Points {
		u := &out.Units[i]
		u.Outside, u.NotJudged = p.Outside, p.NotJudged
		largest = max(largest, p.N)
		if p.NotJudged != "" {
			continue
		}
		out.Judged++
		switch p.Outside {
		case 1, -1:
			out.OutsideInner++
		case 2, -2:
			out.OutsideInner++
			out.OutsideOuter++
		}
	}
	out.ExpectedOutside = float64(out.Judged) * (1 - set.Inner)
	return b.curve(out, plot, points, set, largest)
}

// curve asks metrics for the limits at a row of sizes: those of units without
// any event of their own, held to the same target and spread.
func (b *builder) curve(out *FunnelPlot, plot metrics.FunnelPlot, points []metrics.ProportionPoint, set metrics.FunnelSettings, largest int64) error {
	const steps = 40
	set.Target = plot.Target
	sizes := []int64{}
	for i := range steps + 1 {
		// Closer together where the limits bend.
		x := float64(i) / steps
		sizes = append(sizes, set.MinN+int64(x*x*float64(max(largest-set.MinN, 0))))
	}
	sizes = slices.Compact(sizes)
	if !out.Widened {
		for _, n := range sizes {
			l := FunnelLimits{N: n}
			for _, x := range []struct {
				into *float64
				prob float64
			}{
				{&l.OuterLow, (1 - set.Outer) / 2}, {&l.InnerLow, (1 - set.Inner) / 2},
				{&l.InnerHigh, (1 + set.Inner) / 2}, {&l.OuterHigh, (1 + set.Outer) / 2},
			} {
				v, err := metrics.FunnelLimit(plot.Target, n, x.prob, set.Method)
				if err != nil {
					return err
				}
				*x.into = min(1, max(0, v))
			}
			out.Curve = append(out.Curve, l)
		}
		return nil
	}
	// Widened limits depend on the spread between the units themselves, so they
	// are drawn at the units' own sizes.
	for i, p := range plot.Points {
		if p.NotJudged == "" {
			out.Curve = append(out.Curve, FunnelLimits{points[i].N, p.OuterLow, p.InnerLow, p.InnerHigh, p.OuterHigh})
		}
	}
	slices.SortFunc(out.Curve, func(a, b FunnelLimits) int { return cmp.Compare(a.N, b.N) })
	out.Curve = slices.CompactFunc(out.Curve, func(a, b FunnelLimits) bool { return a.N == b.N })
	return nil
}

// Override is advice that left the level of the rules, at one cut: raised to it
// or lowered below it, and what came of it.
type Override struct {
	// Direction is raised (the rules demanded less than the cut, the advice was
	// at or above it) or lowered (the other way).
	Direction string `json:"direction"`
	Cut       string `json:"cut"`
	CutLabel  string `json:"cut_label"`
	// Share is of the episodes on which the rules demanded less (raised), or at
	// least the cut (lowered).
	Share Figure `json:"share"`
	// Needed, NotNeeded and Unverified are the mature ones among them; Pending
	// the others.
	Needed     int64 `json:"needed"`
	NotNeeded  int64 `json:"not_needed"`
	Unverified int64 `json:"unverified"`
	Pending    int64 `json:"pending"`
	// NeededShare is of the verified ones; Range holds whatever the unverified
	// were.
	NeededShare Figure `json:"needed_share"`
	Range       Range  `json:"range"`
}

func (b *builder) fillOverrides(u *Units) error {
	rows, err := b.rulesFollowed()
	if err != nil {
		return err
	}
	u.Overrides = []Override{}
	for _, cut := range bothCuts {
		for _, direction := range []string{"raised", "lowered"} {
			o, err := b.override(rows, cut, direction)
			if err != nil {
				return err
			}
			u.Overrides = append(u.Overrides, o)
		}
	}
	return nil
}

func (b *builder) override(rows []queries.RulesFollowedRow, cut int, direction string) (Override, error) {
	o := Override{Direction: direction, Cut: levelWords[cut], CutLabel: cutLabel(cut)}
	var changed, of int64
	for _, x := range rows {
		if x.Level == 0 || x.RuleLevel == 0 {
			continue // no advice, or nothing assessed that the rules ask for
		}
		demanded, given := int(x.RuleLevel) >= cut, int(x.Level) >= cut
		if demanded != (direction == "lowered") {
			continue
		}
		of += x.N
		if demanded == given {
			continue
		}
		changed += x.N
		need := x.NeedSameDay
		if cut == emergency {
			need = x.NeedEmergency
		}
		switch {
		case !x.Mature:
			o.Pending += x.N
		case need == 1:
			o.Needed += x.N
		case need == 0:
			o.NotNeeded += x.N
		default:
			o.Unverified += x.N
		}
	}
	share, err := metrics.Wilson(changed, of, b.opt.Confidence)
	if err != nil {
		return o, err
	}
	needed, err := metrics.Wilson(o.Needed, o.Needed+o.NotNeeded, b.opt.Confidence)
	if err != nil {
		return o, err
	}
	o.Share, o.NeededShare = figure(share), figure(needed)
	all := float64(o.Needed + o.NotNeeded + o.Unverified)
	low, high := float64(o.Needed), float64(o.Needed+o.Unverified)
	o.Range = Range{Low: &low, High: &high}.over(all)
	return o, nil
}
