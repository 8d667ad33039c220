package review

import (
	"fmt"

	"hindcheck/queries"
)

// Waiting is data that has not come yet, and what brings it.
type Waiting struct {
	What string `json:"what"`
	// Count is of Unit: episodes, days, rows.
	Count int64  `json:"count"`
	Unit  string `json:"unit"`
	// Until says when or by what it arrives.
	Until string `json:"until"`
}

// fillAwaited lists what later data may still change.
func (b *builder) fillAwaited(r *Review) error {
	r.Awaited = []Waiting{}
	add := func(what string, n int64, unit, until string) {
		if n > 0 {
			r.Awaited = append(r.Awaited, Waiting{what, n, unit, until})
		}
	}
	for _, p := range r.Trend {
		if p.Mature {
			continue
		}
		after, err := monthAfter(p.Month)
		if err != nil {
			return err
		}
		m, err := queries.ParseMonth(after)
		if err != nil {
			return err
		}
		add("outcomes of "+p.Label, p.Episodes, "episodes", "exports made on or after "+day(queries.MonthStart(m).Add(b.opt.Window+b.opt.Lag)))
	}
	for _, g := range r.Data.FeedGaps {
		add(fmt.Sprintf("feed %s, %s", g.Feed, g.Month), int64(g.DaysInMonth-g.Days), "days", "a delivery that covers them")
	}
	t := r.Data.FlowTotal
	add("answers of the audit sample", t.AuditSelected-t.AuditResponded, "episodes", "the follow-up calls; who cannot be reached stays unknown")
	add("outcomes that do not settle the need", t.Unverified, "episodes", "a vet's finding, or a contact with the owner after the window")
	add("rows set aside", r.Data.SetAsideTotal, "rows", "a mended mapping or export, loaded again; ingest set-aside lists them")
	return nil
}
