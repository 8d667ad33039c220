package review

import (
	"slices"
	"strings"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// GroupCut is the accuracy of the advice in parts of the line at one cut.
type GroupCut struct {
	Cut        string          `json:"cut"`
	CutLabel   string          `json:"cut_label"`
	Properties []GroupProperty `json:"properties"`
}

// GroupProperty splits the episodes by one property.
type GroupProperty struct {
	Property string `json:"property"`
	// Label says what the property is, in words.
	Label string  `json:"label"`
	Rows  []Group `json:"rows"`
	// Differ tests whether under-triage per need of the verified differs between
	// the groups more than chance makes it, before anyone reads meaning into it.
	Differ Dispersion `json:"differ"`
	// NotShrunken says why there are no shrunken figures; empty if there are.
	NotShrunken string `json:"not_shrunken,omitempty"`
}

// Dispersion is a test of groups that should share one proportion.
type Dispersion struct {
	// P is one-sided: the chance of differences this large if all groups share
	// one proportion. NotEstimable says why there is none.
	P            *float64 `json:"p,omitempty"`
	Groups       int      `json:"groups"`
	NotEstimable string   `json:"not_estimable,omitempty"`
}

func dispersion(groups []metrics.GroupCount) (Dispersion, error) {
	t, err := metrics.TaroneOverdispersion(groups)
	d := Dispersion{Groups: t.Groups, NotEstimable: t.NotEstimable}
	if t.NotEstimable == "" {
		d.P = &t.P
	}
	return d, err
}

// Group is one value of a property. All counts are mature episodes with an
// advice level on record.
type Group struct {
	Value     string `json:"value"`
	Episodes  int64  `json:"episodes"`
	Escalated Figure `json:"escalated"`
	Verified  Cells  `json:"verified"`
	// Unverified have no known need.
	Unverified Sides `json:"unverified"`
	// Under and Over are per need, naive and corrected within the level only:
	// a group is too small for finer strata.
	Under GroupRate `json:"under_triage"`
	Over  GroupRate `json:"over_triage"`
	// Shrunken is the naive under-triage pulled towards that of all groups, for
	// reading many small groups calmly. It enters no test and no list.
	Shrunken *Figure `json:"shrunken_under_triage,omitempty"`
	// FollowedUp are those advised less whose need became known by follow-up call
	// or audit; FollowedUpNeeded of them had needed it. The corrected
	// under-triage rests on these few.
	FollowedUp       int64 `json:"followed_up"`
	FollowedUpNeeded int64 `json:"followed_up_needed"`
	// CaughtLater are known misses of the first advice that a later contact of
	// the same episode sent in.
	CaughtLater int64 `json:"caught_later"`
}

// GroupRate is one rate of a group.
type GroupRate struct {
	Naive     Figure `json:"naive"`
	Corrected Figure `json:"corrected"`
	Bounds    Range  `json:"bounds"`
}

// groupProperties are the properties in the page's order.
var groupProperties = []struct{ name, label string }{
	{"species", "Species"},
	{"complaint", "Complaint"},
	{"site", "Site"},
	{"hours", "Time of day of the first contact: day 8 to 18 h, evening 18 to 23 h, night 23 to 8 h, local time"},
	{"week", "Day of the week: weekend is Saturday and Sunday"},
	{"contact", "One contact in the episode, or several: the owner rang again or was rung. That is known only afterwards"},
}

// groupWork gathers one group at one cut.
type groupWork struct {
	group     Group
	escalated int64
	cells     keyed
}

func (b *builder) fillGroups(r *Review) error {
	rows, err := b.db.AdviceGroups(b.ctx, b.scope)
	if err != nil {
		return err
	}
	r.Groups = []GroupCut{}
	for _, cut := range bothCuts {
		g := GroupCut{Cut: levelWords[cut], CutLabel: cutLabel(cut), Properties: []GroupProperty{}}
		for _, p := range groupProperties {
			x, err := b.groupProperty(rows, p.name, cut)
			if err != nil {
				return err
			}
			x.Label = p.label
			g.Properties = append(g.Properties, x)
		}
		r.Groups = append(r.Groups, g)
	}
	return nil
}

func (b *builder) groupProperty(rows []queries.AdviceGroupsRow, property string, cut int) (GroupProperty, error) {
	out := GroupProperty{Property: property, Rows: []Group{}}
	var work []*groupWork // in the order of the rows, which is that of the values
	for _, x := range rows {
		if x.Property != property || x.Level == 0 {
			continue
		}
		if n := len(work); n == 0 || work[n-1].group.Value != x.Value {
			work = append(work, &groupWork{group: Group{Value: x.Value}})
		}
		work[len(work)-1].add(x, cut)
	}
	var missed []metrics.GroupCount
	for _, w := range work {
		if err := b.judgeGroup(w); err != nil {
			return out, err
		}
		v := w.group.Verified
		missed = append(missed, metrics.GroupCount{Successes: v.FN, Trials: v.TP + v.FN})
		out.Rows = append(out.Rows, w.group)
	}
	if property == "contact" {
		// Several contacts come of what happened, so a test of the difference or
		// a common mean would say nothing.
		out.NotShrunken = "how many contacts there were is known only afterwards"
		out.Differ = Dispersion{Groups: len(missed), NotEstimable: out.NotShrunken}
		return out, nil
	}
	var err error
	if out.Differ, err = dispersion(missed); err != nil {
		return out, err
	}
	return out, b.shrink(&out, missed)
}

func (w *groupWork) add(x queries.AdviceGroupsRow, cut int) {
	need, present := x.NeedSameDay, int(x.Level) >= cut
	if cut == emergency {
		need = x.NeedEmergency
	}
	g := &w.group
	g.Episodes += x.N
	if present {
		w.escalated += x.N
	}
	enter(w.cells.cell(x.Level, nil, present), x.Level, x.Route, need, x.N)
	if need < 0 {
		g.Unverified.add(present, x.N)
		return
	}
	g.Verified.add(present, need, x.N)
	if need == 1 && !present && int(x.LaterLevel) >= cut {
		g.CaughtLater += x.N
	}
}

func (b *builder) judgeGroup(w *groupWork) error {
	g := &w.group
	e, err := metrics.Wilson(w.escalated, g.Episodes, b.opt.Confidence)
	if err != nil {
		return err
	}
	g.Escalated = figure(e)
	x := b.shares()
	x.dimensions, x.order = nil, nil
	c, _, _, err := x.corrected(&w.cells)
	if err != nil {
		return err
	}
	g.FollowedUp, g.FollowedUpNeeded = c.FollowedUp, c.MissedSampled
	for _, e := range []*metrics.Estimate{&c.Sensitivity, &c.Specificity} {
		// The row says on how many it rests, in columns of its own.
		e.Warnings = slices.DeleteFunc(slices.Clone(e.Warnings), func(w string) bool { return strings.HasPrefix(w, "rests on") })
	}
	g.Under = GroupRate{figure(c.Naive.Sensitivity).complement(), figure(c.Sensitivity).complement(), bounds(c.Bounds.Sensitivity).complement()}
	g.Over = GroupRate{figure(c.Naive.Specificity).complement(), figure(c.Specificity).complement(), bounds(c.Bounds.Specificity).complement()}
	return nil
}

// shrink adds the shrunken figures, or says why there are none.
func (b *builder) shrink(p *GroupProperty, missed []metrics.GroupCount) error {
	prior, err := metrics.BetaByML(missed)
	if err != nil {
		return err
	}
	if p.NotShrunken = prior.NotEstimable; p.NotShrunken != "" {
		return nil
	}
	list, err := prior.Shrink(missed, b.opt.Confidence)
	if err != nil {
		return err
	}
	for i, s := range list {
		f := figure(s.Shrunken)
		p.Rows[i].Shrunken = &f
	}
	return nil
}
