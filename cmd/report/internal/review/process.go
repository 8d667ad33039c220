package review

import (
	"hindcheck/metrics"
	"hindcheck/queries"
)

// Month is the month under review in counts, beside the months before it.
type Month struct {
	Episodes     int64 `json:"episodes"`
	Emergency    int64 `json:"emergency"`
	SameDay      int64 `json:"same_day"`
	Soon         int64 `json:"soon"`
	HomeCare     int64 `json:"home_care"`
	NoLevel      int64 `json:"no_level"`
	WithOutcome  int64 `json:"with_outcome"`
	FollowedUp   int64 `json:"followed_up"`
	Verified     int64 `json:"verified"`
	Needed       int64 `json:"needed"`
	Died         int64 `json:"died"`
	DidNotAttend int64 `json:"did_not_attend"`
	// Changes compare the month with the months before it in the period.
	Changes []Change `json:"changes"`
}

// Change compares a share of the month with that of the months before.
type Change struct {
	Measure string `json:"measure"`
	// Of says what the share is of.
	Of     string `json:"of"`
	Now    Figure `json:"now"`
	Before Figure `json:"before"`
	// Difference is now minus before, in shares.
	Difference Figure `json:"difference"`
	// Signal is whether the limits of the difference leave out 0.
	Signal bool `json:"signal"`
}

// Point is one month of the trend.
type Point struct {
	Month string `json:"month"`
	Label string `json:"label"`
	// Mature is whether all its episodes are.
	Mature   bool  `json:"mature"`
	Episodes int64 `json:"episodes"`
	// InPeriod is whether it is one of the twelve months.
	InPeriod bool `json:"in_period"`
	// Escalated and Emergency are shares of the episodes with an advice level
	// on record that were advised same day or sooner, and emergency.
	Escalated Figure `json:"escalated"`
	Emergency Figure `json:"emergency"`
	// Raised and Lowered are episodes advised above and below the rules' level.
	Raised  int64 `json:"raised"`
	Lowered int64 `json:"lowered"`
	// Recontact24h is the share with another contact within 24 hours.
	Recontact24h Figure `json:"recontact_24h"`
	// FollowedUp is the share of soon and home care with a follow-up answer.
	FollowedUp  Figure `json:"followed_up"`
	WithOutcome int64  `json:"with_outcome"`
	Verified    int64  `json:"verified"`
	Needed      int64  `json:"needed"`
	// Missed are known cases, not a rate: needed same day, advised later.
	Missed       int64 `json:"missed"`
	DidNotAttend int64 `json:"did_not_attend"`
	Died         int64 `json:"died"`
	PersonHurt   int64 `json:"person_hurt"`
}

// withAdvice names the episodes that advised counts: one without an advice on
// record was neither escalated nor kept.
const withAdvice = "episodes with an advice level on record"

func advised(r queries.ProcessByMonthRow) int64 { return r.Emergency + r.SameDay + r.Soon + r.HomeCare }

// measures are the shares that the month is compared by.
var measures = []struct {
	name, of string
	share    func(queries.ProcessByMonthRow) (x, n int64)
}{
	{"advised same day or sooner", withAdvice, func(r queries.ProcessByMonthRow) (int64, int64) { return r.Emergency + r.SameDay, advised(r) }},
	{"advised emergency", withAdvice, func(r queries.ProcessByMonthRow) (int64, int64) { return r.Emergency, advised(r) }},
	{"advised above the rules' level", withAdvice, func(r queries.ProcessByMonthRow) (int64, int64) { return r.Raised, advised(r) }},
	{"advised below the rules' level", withAdvice, func(r queries.ProcessByMonthRow) (int64, int64) { return r.Lowered, advised(r) }},
	{"rang again within 24 hours", "all episodes", func(r queries.ProcessByMonthRow) (int64, int64) { return r.Recontact24h, r.Episodes }},
	{"advised higher at a later contact", "all episodes", func(r queries.ProcessByMonthRow) (int64, int64) { return r.RaisedLater, r.Episodes }},
	{"owner told when to ring again", "episodes on which that is recorded", func(r queries.ProcessByMonthRow) (int64, int64) { return r.SafetyNet, r.SafetyNetKnown }},
	{"followed up by call or audit", "episodes advised soon or home care", func(r queries.ProcessByMonthRow) (int64, int64) {
		return min(r.FollowedUp, r.Soon+r.HomeCare), r.Soon + r.HomeCare
	}},
	{"did not attend", "episodes advised same day or sooner", func(r queries.ProcessByMonthRow) (int64, int64) { return r.DidNotAttend, r.Emergency + r.SameDay }},
	{"nothing assessed that the rules ask for", "all episodes", func(r queries.ProcessByMonthRow) (int64, int64) { return r.Undetermined, r.Episodes }},
}

// trendMonths is how far back the trend goes: limits need about twenty months.
const trendMonths = 24

// trendScope is the period of the trend: up to the last month with episodes.
func (b *builder) trendScope() queries.Scope {
	scope := b.scope
	scope.From = queries.AddMonths(scope.To, 1-trendMonths)
	if n := len(b.months); n > 0 {
		scope.To = max(scope.To, b.months[n-1].Month)
	}
	return scope
}

// fillProcess fills the trend and the month. Months after the one under review
// are shown too, since a rise in calls must not wait for outcomes.
func (b *builder) fillProcess(r *Review) error {
	rows, err := b.db.ProcessByMonth(b.ctx, b.trendScope())
	if err != nil {
		return err
	}
	r.Trend = []Point{}
	var now queries.ProcessByMonthRow
	var before []queries.ProcessByMonthRow
	for _, row := range rows {
		p, err := b.point(row)
		if err != nil {
			return err
		}
		r.Trend = append(r.Trend, p)
		if row.Month == b.scope.To {
			now = row
		} else if row.Month >= b.scope.From && row.Month < b.scope.To {
			before = append(before, row)
		}
	}
	r.Month = Month{
		Episodes: now.Episodes, Emergency: now.Emergency, SameDay: now.SameDay, Soon: now.Soon, HomeCare: now.HomeCare,
		NoLevel: now.NoLevel, WithOutcome: now.WithOutcome, FollowedUp: now.FollowedUp, Verified: now.Verified,
		Needed: now.Needed, Died: now.Died, DidNotAttend: now.DidNotAttend, Changes: []Change{},
	}
	if err := b.fillEvents(r); err != nil {
		return err
	}
	if err := b.fillCharts(r, rows); err != nil {
		return err
	}
	return b.changes(&r.Month, now, before)
}

func (b *builder) changes(m *Month, now queries.ProcessByMonthRow, before []queries.ProcessByMonthRow) error {
	for _, x := range measures {
		x1, n1 := x.share(now)
		var x2, n2 int64
		for _, row := range before {
			x, n := x.share(row)
			x2, n2 = x2+x, n2+n
		}
		a, err := metrics.Wilson(x1, n1, b.opt.Confidence)
		if err != nil {
			return err
		}
		c, err := metrics.Wilson(x2, n2, b.opt.Confidence)
		if err != nil {
			return err
		}
		d, err := metrics.NewcombeDifference(x1, n1, x2, n2, b.opt.Confidence)
		if err != nil {
			return err
		}
		ch := Change{Measure: x.name, Of: x.of, Now: figure(a), Before: figure(c), Difference: figure(d)}
		ch.Signal = ch.Difference.Estimable() && (*ch.Difference.Low > 0 || *ch.Difference.High < 0)
		m.Changes = append(m.Changes, ch)
	}
	return nil
}

func (b *builder) point(r queries.ProcessByMonthRow) (Point, error) {
	p := Point{
		Month: queries.FormatMonth(r.Month), Label: queries.MonthStart(r.Month).Format("Jan 06"), Mature: b.oldEnough(r.Month),
		Episodes: r.Episodes, InPeriod: r.Month >= b.scope.From && r.Month <= b.scope.To, Raised: r.Raised, Lowered: r.Lowered, WithOutcome: r.WithOutcome,
		Verified: r.Verified, Needed: r.Needed, Missed: r.Missed, DidNotAttend: r.DidNotAttend, Died: r.Died, PersonHurt: r.PersonHurt,
	}
	kept := r.Soon + r.HomeCare
	for _, x := range []struct {
		into *Figure
		x, n int64
	}{
		{&p.Escalated, r.Emergency + r.SameDay, advised(r)}, {&p.Emergency, r.Emergency, advised(r)},
		{&p.Recontact24h, r.Recontact24h, r.Episodes}, {&p.FollowedUp, min(r.FollowedUp, kept), kept},
	} {
		e, err := metrics.Wilson(x.x, x.n, b.opt.Confidence)
		if err != nil {
			return p, err
		}
		*x.into = figure(e)
	}
	return p, nil
}
