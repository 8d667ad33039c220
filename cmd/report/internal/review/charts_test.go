package review

import (
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/queries"
)

// A miss is followed by the days between, and by its share of a month where it
// is not rare.
func TestMissCharts(t *testing.T) {
	b := &builder{}
	b.scope.To, b.mature.MatureBefore = 202606, time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	rows := []queries.ProcessByMonthRow{
		{Month: 202605, SameDay: 1000, Soon: 2000, HomeCare: 7000, EmergencyMissed: 300, DiedAdvisedLess: 400},
		{Month: 202606, SameDay: 1000, Soon: 2000, HomeCare: 7000, EmergencyMissed: 400, DiedAdvisedLess: 200},
		{Month: 202607, SameDay: 1000, Soon: 2000, HomeCare: 7000, EmergencyMissed: 10, DiedAdvisedLess: 10},
	}
	charts, err := b.missCharts(rows)
	if err != nil || len(charts) != 2 {
		t.Fatalf("%d charts, %v", len(charts), err)
	}
	for i, want := range []struct {
		name, title string
		count, of   float64
	}{{"emergency", "Known emergencies", 400, 10000}, {"death", "Deaths, of all", 200, 9000}} {
		c, points := charts[i].chart, charts[i].data.values
		if c.Name != want.name || !strings.HasPrefix(c.Title, want.title) || c.Scale != "rare_share" || len(points) != 3 {
			t.Errorf("chart %d is %q, %q, %s, %d points", i, c.Name, c.Title, c.Scale, len(points))
		}
		if p := points[1]; p.Count != want.count || p.Size != want.of || p.Missing != "" {
			t.Errorf("%s: June has %v of %v, missing %q", c.Name, p.Count, p.Size, p.Missing)
		}
		if points[2].Missing == "" {
			t.Errorf("%s: July has a value while its outcomes are still arriving", c.Name)
		}
	}
}

func TestBetweenChart(t *testing.T) {
	b := &builder{}
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	b.scope.To, b.mature.MatureBefore = 202601, start.AddDate(0, 2, 0)
	rows := []queries.RareMissesRow{{Kind: "death", StartedAt: start}, {Kind: "emergency", StartedAt: start},
		{Kind: "death", StartedAt: start.AddDate(0, 0, 10)}, {Kind: "death", StartedAt: start.AddDate(0, 1, 0)}}
	got := b.betweenChart(rows, "death", "days between")
	if v := got.data.values; len(v) != 2 || v[0].Size != 10 || v[1].Size != 21 || got.data.baseline != 1 {
		t.Errorf("gaps %v, %d of them behind the limits", v, got.data.baseline)
	}
	if o := got.chart.Open; o == nil || *o != 28 {
		t.Errorf("since the last one %v", o)
	}
}

// Of many points that stand out the latest are explained.
func TestSentencesOfAChart(t *testing.T) {
	b := &builder{}
	start := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	b.scope.To, b.mature.MatureBefore = 202602, start.AddDate(4, 0, 0)
	rows := []queries.RareMissesRow{{Kind: "death", StartedAt: start}}
	for i := range 50 { // limits from gaps of a day or two, then gaps of a month
		days := 1 + i%2
		if i >= 30 {
			days = 30
		}
		rows = append(rows, queries.RareMissesRow{Kind: "death", StartedAt: rows[i].StartedAt.AddDate(0, 0, days)})
	}
	c := b.betweenChart(rows, "death", "days between")
	if err := b.finish(&c.chart, c.data, nil); err != nil {
		t.Fatal(err)
	}
	out := 0
	for _, p := range c.chart.Points {
		out += len(p.Signals)
	}
	got := c.chart.Signals
	if out != 20 || got[0] != "8 signals before these; the points say which." || !strings.HasPrefix(got[1], c.chart.Points[38].Label) {
		t.Errorf("%d signals, the first sentences %q", out, got[:2])
	}
}

func TestMarked(t *testing.T) {
	c := ControlChart{Title: "Days", Points: []ChartPoint{
		{Label: "1 Jan 26", Month: "2026-01", Signals: []string{"beyond"}}, {Label: "2 Jan 26", Month: "2026-01"},
		{Label: "3 Jan 26", Month: "2026-01", Signals: []string{"beyond"}}, {Label: "3 Jan 26", Month: "2026-01", Signals: []string{"beyond"}},
		{Label: "1 Feb 26", Month: "2026-02", Signals: []string{"beyond"}}}}
	if got, want := marked(c, "2026-01"), []string{"1 Jan 26", "3 Jan 26"}; !slices.Equal(got, want) {
		t.Errorf("marked %q, want %q", got, want)
	}
	if got := firstOf([]string{"a", "b", "c", "d", "e"}); got != "a, b, c, and 2 more" {
		t.Errorf("first of five %q", got)
	}
}
