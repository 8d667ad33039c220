package review

import (
	"fmt"
	"time"

	"hindcheck/queries"
)

// Period is the rolling twelve months and the month under review, as 2026-07.
type Period struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Month string `json:"month"`
	// MonthLabel and Label write them for people.
	MonthLabel string `json:"month_label"`
	Label      string `json:"label"`
	// WithEpisodes is how many months of the period hold any episode.
	WithEpisodes int `json:"months_with_episodes"`
}

// Maturity says whether outcomes have had time to arrive.
type Maturity struct {
	// MatureBefore: an episode that began earlier is mature.
	MatureBefore time.Time `json:"mature_before"`
	// Mature is whether the month under review is, with every expected feed.
	Mature bool `json:"mature"`
	// Chosen is whether the month was asked for, not taken by default.
	Chosen bool `json:"chosen"`
	// Reasons say why the month is not mature, or why a later one was passed over.
	Reasons []string `json:"reasons"`
}

// feedMemory is how many months a silent feed is still expected: a practice
// that left the line would otherwise hold every later month back.
const feedMemory = 3

// choose decides the month, the period and what is mature.
func (b *builder) choose() error {
	var err error
	if b.months, err = b.db.Months(b.ctx); err != nil {
		return err
	}
	cut := b.db.Meta().DataCut.UTC()
	b.mature = Maturity{MatureBefore: cut.Add(-b.opt.Window - b.opt.Lag), Chosen: b.opt.Month != 0, Reasons: []string{}}
	if cut.IsZero() {
		b.mature.MatureBefore = time.Time{}
	}
	month := b.opt.Month
	if month == 0 {
		if month, err = b.latestMature(cut); err != nil {
			return err
		}
	}
	b.setPeriod(queries.AddMonths(month, 1-Months), month)
	reasons, err := b.immature(month)
	if err != nil {
		return err
	}
	b.mature.Mature = len(reasons) == 0
	b.mature.Reasons = append(b.mature.Reasons, reasons...)
	return nil
}

func (b *builder) setPeriod(from, to int) {
	b.scope = queries.Scope{From: from, To: to, MatureBefore: b.mature.MatureBefore}
	label := fmt.Sprintf("the 12 months to %s", monthName(to))
	if queries.AddMonths(from, Months-1) != to {
		label = fmt.Sprintf("%s to %s", monthName(from), monthName(to))
	}
	b.period = Period{
		From: queries.FormatMonth(from), To: queries.FormatMonth(to), Month: queries.FormatMonth(to),
		MonthLabel: monthName(to), Label: label,
	}
	for _, m := range b.months {
		if m.Month >= from && m.Month <= to {
			b.period.WithEpisodes++
		}
	}
}

// latestMature walks back from the latest month with episodes. If none is
// mature, it returns that latest month, which is then shown as what it is.
func (b *builder) latestMature(cut time.Time) (int, error) {
	if len(b.months) == 0 {
		if cut.IsZero() {
			cut = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
		}
		return cut.Year()*100 + int(cut.Month()), nil
	}
	last := b.months[len(b.months)-1].Month
	for i := len(b.months) - 1; i >= 0; i-- {
		month := b.months[i].Month
		reasons, err := b.immature(month)
		if err != nil {
			return 0, err
		}
		if len(reasons) == 0 {
			return month, nil
		}
		if b.oldEnough(month) {
			b.mature.Reasons = append(b.mature.Reasons, fmt.Sprintf("%s was passed over: %s", monthName(month), list(reasons)))
		}
	}
	b.mature.Reasons = nil
	return last, nil
}

func (b *builder) oldEnough(month int) bool {
	return !queries.MonthStart(queries.AddMonths(month, 1)).After(b.mature.MatureBefore)
}

// immature lists why a month is not mature; empty if it is.
func (b *builder) immature(month int) ([]string, error) {
	if !b.oldEnough(month) {
		ready := queries.MonthStart(queries.AddMonths(month, 1)).Add(b.opt.Window + b.opt.Lag)
		return []string{fmt.Sprintf("outcomes of %s are complete in exports made on or after %s", monthName(month), ready.Format("2 January 2006"))}, nil
	}
	gaps, known, err := b.gaps(month)
	if err != nil {
		return nil, err
	}
	if !known {
		return nil, nil // without any record of deliveries only time can be judged; Data says so
	}
	var reasons []string
	for _, g := range gaps {
		reasons = append(reasons, fmt.Sprintf("feed %s delivered %d of the %d days of %s", g.Feed, g.Days, g.DaysInMonth, monthName(month)))
	}
	return reasons, nil
}

// gaps lists the feeds that are expected in a month and did not deliver all of
// it. known is false if the store has no record of deliveries at all.
func (b *builder) gaps(month int) (gaps []queries.FeedCoverageRow, known bool, err error) {
	rows, err := b.db.FeedCoverage(b.ctx, queries.Scope{From: queries.AddMonths(month, -feedMemory), To: queries.AddMonths(month, feedMemory)})
	if err != nil {
		return nil, false, err
	}
	delivered := map[string]bool{}
	for _, r := range rows {
		delivered[r.Feed] = delivered[r.Feed] || r.Days > 0
	}
	for _, r := range rows {
		if r.Month == month && r.Days < r.DaysInMonth && delivered[r.Feed] {
			gaps = append(gaps, r)
		}
	}
	return gaps, len(rows) > 0, nil
}
