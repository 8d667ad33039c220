package review

import (
	"fmt"
	"time"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// leastGaps are needed for limits of days between events: of two or three they
// span everything.
const leastGaps = 8

// mostRare is how many events of a kind within the trend are drawn by the days
// between them, about one a day. More are not rare: most gaps would be nothing, and a share
// of the month's episodes shows a change sooner.
const mostRare = 500

const waitsForOutcomes = "the window of the case definition and the lag of outcomes"

// missKinds are the grave misses that are followed. Both count what came to
// light, so that more follow-up finds more of them.
var missKinds = []struct {
	kind, between, share string
	of                   func(queries.ProcessByMonthRow) (events, advised int64)
}{
	{"emergency", "Days between known emergencies that were first advised less", "Known emergencies, of all episodes first advised less than that",
		func(x queries.ProcessByMonthRow) (int64, int64) {
			return x.EmergencyMissed, x.SameDay + x.Soon + x.HomeCare
		}},
	{"death", "Days between deaths after the first advice soon or home care", "Deaths, of all episodes first advised soon or home care",
		func(x queries.ProcessByMonthRow) (int64, int64) { return x.DiedAdvisedLess, x.Soon + x.HomeCare }},
}

// missCharts draws the days between grave misses, or their share of the month
// where they are not rare. rows are the months of the trend.
func (b *builder) missCharts(rows []queries.ProcessByMonthRow) (out []chartWith, err error) {
	var between []queries.RareMissesRow
	asked := false
	for _, k := range missKinds {
		events := int64(0)
		for _, row := range rows {
			n, _ := k.of(row)
			events += n
		}
		if events > mostRare {
			out = append(out, b.missShareChart(rows, k.kind, k.share, k.of))
			continue
		}
		if !asked {
			if between, err = b.db.RareMisses(b.ctx, b.trendScope(), mostRare); err != nil {
				return nil, err
			}
			asked = true
		}
		out = append(out, b.betweenChart(between, k.kind, k.between))
	}
	return out, nil
}

// missShareChart has one point a month; one whose outcomes are still arriving
// has no value.
func (b *builder) missShareChart(rows []queries.ProcessByMonthRow, kind, title string, of func(queries.ProcessByMonthRow) (events, advised int64)) chartWith {
	points, d := b.monthly(rows, func(x queries.ProcessByMonthRow) (int64, float64, string) {
		events, advised := of(x)
		if !b.oldEnough(x.Month) {
			return events, float64(advised), "outcomes are still arriving"
		}
		return events, float64(advised), ""
	})
	d.write, d.low, d.high = finePercent, "fewer came to light than usual", "more came to light than usual"
	d.draw = func(ph []metrics.Phase) (metrics.Chart, error) {
		return metrics.LaneyPChart(proportions(points), ph, metrics.CommonChartSettings())
	}
	return chartWith{ControlChart{Name: kind, Title: title, Scale: "rare_share", Waits: waitsForOutcomes}, d}
}

// betweenChart is a t chart of the days between rare events, one point an event
// from the second on. Only mature episodes count: the rest have not had equal
// time to become known.
func (b *builder) betweenChart(rows []queries.RareMissesRow, kind, title string) chartWith {
	c := ControlChart{Name: kind, Title: title, Scale: "days", Waits: waitsForOutcomes}
	d := chartData{write: func(v float64) string { return fmt.Sprintf("%.1f days", v) },
		least: leastGaps, low: "the events follow each other more closely than usual", high: "the events lie further apart than usual"}
	var last time.Time
	var gaps []float64
	for _, x := range rows {
		if x.Kind != kind {
			continue
		}
		at := x.StartedAt.UTC()
		if !last.IsZero() {
			gap := at.Sub(last).Hours() / 24
			gaps, d.starts = append(gaps, gap), append(d.starts, last)
			d.values = append(d.values, ChartPoint{Label: at.Format("2 Jan 06"), Month: at.Format("2006-01"), Mature: true, Count: 1, Size: gap})
			if at.Before(queries.MonthStart(queries.AddMonths(b.scope.To, 1))) {
				d.baseline++
			}
		}
		last = at
	}
	if end := b.mature.MatureBefore; !last.IsZero() && end.After(last) {
		open := end.Sub(last).Hours() / 24
		c.Open = &open
	}
	d.draw = func(ph []metrics.Phase) (metrics.Chart, error) {
		return metrics.TChart(gaps, ph, metrics.CommonChartSettings())
	}
	return chartWith{c, d}
}
