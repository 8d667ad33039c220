package review

import (
	"fmt"
	"time"

	"hindcheck/metrics"
	"hindcheck/queries"
)

// ControlChart follows one directly counted quantity over time. Each waits
// equally long for every point, so that young months do not look different.
type ControlChart struct {
	// Name is escalated, calls, recontact, emergency or death.
	Name  string `json:"name"`
	Title string `json:"title"`
	// Waits says after how long a point is complete.
	Waits string `json:"waits"`
	Kind  string `json:"kind"`
	// Scale says how values are written: share, rare_share (of one in a hundred or
	// a thousand), a day, or days.
	Scale  string         `json:"scale"`
	Points []ChartPoint   `json:"points"`
	Phases []ChartStretch `json:"phases"`
	// Signals explains the signals in sentences, of points that stand out the
	// latest and how many more there are; empty if there is none.
	Signals []string `json:"signals"`
	// Open is how long ago the last event was, in charts of days between.
	Open *float64 `json:"open_days,omitempty"`
	// NotEstimable says why there is no chart at all.
	NotEstimable string   `json:"not_estimable,omitempty"`
	Warnings     []string `json:"warnings"`
}

// ChartPoint is one point.
type ChartPoint struct {
	Label string `json:"label"`
	// Month is yyyy-mm; in charts of days between, that of the event that ends
	// the gap.
	Month string   `json:"month"`
	Value *float64 `json:"value,omitempty"`
	// Count of Size is behind Value: events of episodes, or of days.
	Count float64 `json:"count"`
	Size  float64 `json:"size"`
	// Mature is whether outcomes of that time have had time to arrive.
	Mature bool    `json:"mature"`
	Limits *Limits `json:"limits,omitempty"`
	// Signals are the rules by which this point stands out.
	Signals []string `json:"signals"`
	// Missing says why there is no value.
	Missing string `json:"missing,omitempty"`
	// Events are changes that fall between this point and the one before.
	Events []string `json:"events"`
}

// Limits are the centre line and control limits at one point.
type Limits struct {
	Low    float64 `json:"low"`
	Centre float64 `json:"centre"`
	High   float64 `json:"high"`
}

// ChartStretch is a row of points with limits of their own.
type ChartStretch struct {
	From  string `json:"from"`
	Cause string `json:"cause,omitempty"`
	// Points is how many the limits rest on; Provisional says fewer than 20.
	Points      int  `json:"points"`
	Provisional bool `json:"provisional"`
	// Longest is the longest run on one side of the centre line, a signal above
	// LongestLimit; Crossings of the line are one below CrossingsLimit.
	Longest        int    `json:"longest_run"`
	LongestLimit   int    `json:"longest_run_limit"`
	Crossings      int    `json:"crossings"`
	CrossingsLimit int    `json:"crossings_limit"`
	NotJudged      string `json:"runs_not_judged,omitempty"`
	NotEstimable   string `json:"not_estimable,omitempty"`
}

// chartData is what one chart is drawn from.
type chartData struct {
	starts []time.Time // when the time of each point began
	values []ChartPoint
	// baseline is how many points the limits rest on, least how many it takes.
	baseline, least int
	draw            func(phases []metrics.Phase) (metrics.Chart, error)
	write           func(float64) string
	// low names a low value in a sentence, high a high one.
	low, high string
}

// fillCharts draws all charts of one scan of months and one of rare events.
func (b *builder) fillCharts(r *Review, rows []queries.ProcessByMonthRow) error {
	r.Charts = []ControlChart{}
	for _, c := range []struct {
		chart ControlChart
		data  chartData
	}{b.escalatedChart(rows), b.callsChart(rows), b.recontactChart(rows)} {
		if err := b.finish(&c.chart, c.data, r.Events); err != nil {
			return fmt.Errorf("chart %s: %w", c.chart.Name, err)
		}
		r.Charts = append(r.Charts, c.chart)
	}
	missed, err := b.missCharts(rows)
	if err != nil {
		return err
	}
	for _, x := range missed {
		if err := b.finish(&x.chart, x.data, r.Events); err != nil {
			return fmt.Errorf("chart %s: %w", x.chart.Name, err)
		}
		r.Charts = append(r.Charts, x.chart)
	}
	return nil
}

type chartWith = struct {
	chart ControlChart
	data  chartData
}

// monthly lays out one point a month; part gives events and size, and why the
// month is not complete yet.
func (b *builder) monthly(rows []queries.ProcessByMonthRow, part func(queries.ProcessByMonthRow) (x int64, size float64, missing string)) ([]metrics.RatePoint, chartData) {
	var points []metrics.RatePoint
	d := chartData{}
	for _, row := range rows {
		x, size, missing := part(row)
		p := ChartPoint{Label: queries.MonthStart(row.Month).Format("Jan 06"), Month: queries.FormatMonth(row.Month), Mature: b.oldEnough(row.Month),
			Count: float64(x), Size: size, Missing: missing}
		if missing != "" {
			x, size = 0, 0
		}
		d.values, d.starts = append(d.values, p), append(d.starts, queries.MonthStart(row.Month))
		points = append(points, metrics.RatePoint{X: x, Size: size})
		if row.Month <= b.scope.To {
			d.baseline++
		}
	}
	return points, d
}

func proportions(points []metrics.RatePoint) []metrics.ProportionPoint {
	out := make([]metrics.ProportionPoint, len(points))
	for i, p := range points {
		out[i] = metrics.ProportionPoint{X: p.X, N: int64(p.Size)}
	}
	return out
}

func (b *builder) escalatedChart(rows []queries.ProcessByMonthRow) chartWith {
	points, d := b.monthly(rows, func(x queries.ProcessByMonthRow) (int64, float64, string) {
		return x.Emergency + x.SameDay, float64(advised(x)), ""
	})
	d.write, d.low, d.high = percent, "fewer were sent in than usual", "more were sent in than usual"
	d.draw = func(ph []metrics.Phase) (metrics.Chart, error) {
		return metrics.LaneyPChart(proportions(points), ph, metrics.CommonChartSettings())
	}
	return chartWith{ControlChart{Name: "escalated", Title: "Advised same day or sooner, of episodes with an advice level on record", Scale: "share",
		Waits: "nothing: it is known when the call ends"}, d}
}

// callsChart counts episodes a day; the month of the data cut has fewer days.
func (b *builder) callsChart(rows []queries.ProcessByMonthRow) chartWith {
	cut := b.db.Meta().DataCut.UTC()
	points, d := b.monthly(rows, func(x queries.ProcessByMonthRow) (int64, float64, string) {
		start, end := queries.MonthStart(x.Month), queries.MonthStart(queries.AddMonths(x.Month, 1))
		if cut.Before(end) {
			return x.Episodes, end.Sub(start).Hours() / 24, "the month was not over at the data cut"
		}
		return x.Episodes, end.Sub(start).Hours() / 24, ""
	})
	d.write = func(v float64) string { return fmt.Sprintf("%.1f a day", v) }
	d.low, d.high = "fewer episodes began than usual", "more episodes began than usual"
	d.draw = func(ph []metrics.Phase) (metrics.Chart, error) {
		return metrics.LaneyUChart(points, ph, metrics.CommonChartSettings())
	}
	return chartWith{ControlChart{Name: "calls", Title: "Episodes begun a day", Scale: "a day", Waits: "the end of the month"}, d}
}

func (b *builder) recontactChart(rows []queries.ProcessByMonthRow) chartWith {
	cut := b.db.Meta().DataCut.UTC()
	points, d := b.monthly(rows, func(x queries.ProcessByMonthRow) (int64, float64, string) {
		if cut.Before(queries.MonthStart(queries.AddMonths(x.Month, 1)).Add(24 * time.Hour)) {
			return x.Recontact24h, float64(x.Episodes), "24 hours had not passed for all of it at the data cut"
		}
		return x.Recontact24h, float64(x.Episodes), ""
	})
	d.write, d.low, d.high = percent, "fewer owners rang again than usual", "more owners rang again than usual"
	d.draw = func(ph []metrics.Phase) (metrics.Chart, error) {
		return metrics.LaneyPChart(proportions(points), ph, metrics.CommonChartSettings())
	}
	return chartWith{ControlChart{Name: "recontact", Title: "Owners who rang again within 24 hours, of all episodes", Scale: "share",
		Waits: "24 hours after the month"}, d}
}

// finish draws limits and explains signals.
func (b *builder) finish(c *ControlChart, d chartData, events []Event) error {
	c.Points, c.Phases, c.Signals, c.Warnings = d.values, []ChartStretch{}, []string{}, []string{}
	if c.Points == nil {
		c.Points = []ChartPoint{}
	}
	for i := range c.Points {
		c.Points[i].Signals, c.Points[i].Events = []string{}, []string{}
	}
	if d.baseline == 0 || d.baseline < d.least {
		c.NotEstimable = "there are no points up to the month under review to compute limits from"
		if d.baseline > 0 {
			c.NotEstimable = fmt.Sprintf("%s are too few to compute limits from", plural(int64(d.baseline), "gap", "gaps"))
		}
		for i, p := range c.Points {
			v := p.Size
			if c.Scale != "days" && p.Size > 0 {
				v = p.Count / p.Size
			}
			if p.Missing == "" {
				c.Points[i].Value = &v
			}
		}
		return nil
	}
	markEvents(c, d, events)
	chart, err := d.draw(phases(d, events))
	if err != nil {
		return err
	}
	c.Kind = string(chart.Kind)
	for i, p := range chart.Points {
		x := &c.Points[i]
		if x.Missing == "" {
			x.Missing = p.Missing
		}
		if p.Missing == "" {
			v := p.Value
			x.Value = &v
		}
		if p.HasLimits && x.Missing == "" {
			x.Limits = &Limits{p.Low, p.Centre, p.High}
		}
		for _, s := range p.Signals {
			x.Signals = append(x.Signals, s.String())
			c.Signals = append(c.Signals, pointSentence(*x, p, s, d))
		}
	}
	if more := len(c.Signals) - mostSentences; more > 0 {
		c.Signals = append([]string{fmt.Sprintf("%s before these; the points say which.", plural(int64(more), "signal", "signals"))}, c.Signals[more:]...)
	}
	for i, ph := range chart.Phases {
		c.stretch(ph, i)
	}
	return nil
}

// mostSentences is how many points of a chart are explained one by one.
const mostSentences = 12

// pointSentence explains why a point stands out.
func pointSentence(x ChartPoint, p metrics.ChartPoint, rule metrics.Rule, d chartData) string {
	if rule != metrics.RuleBeyond {
		return fmt.Sprintf("%s: %s.", x.Label, rule)
	}
	if p.Value > p.High {
		return fmt.Sprintf("%s: %s lies above the upper limit of %s: %s.", x.Label, d.write(p.Value), d.write(p.High), d.high)
	}
	return fmt.Sprintf("%s: %s lies below the lower limit of %s: %s.", x.Label, d.write(p.Value), d.write(p.Low), d.low)
}

// stretch takes over one phase and explains its runs.
func (c *ControlChart) stretch(ph metrics.ChartPhase, i int) {
	s := ChartStretch{Cause: ph.Cause, Points: ph.BaselinePoints, Provisional: ph.Provisional, NotEstimable: ph.NotEstimable,
		Longest: ph.Runs.Longest, LongestLimit: ph.Runs.LongestLimit, Crossings: ph.Runs.Crossings, CrossingsLimit: ph.Runs.CrossingsLimit, NotJudged: ph.Runs.NotJudged}
	if len(c.Points) > 0 {
		s.From = c.Points[ph.Start].Label
	}
	c.Phases, c.Warnings = append(c.Phases, s), append(c.Warnings, ph.Warnings...)
	since := ""
	if i > 0 {
		since = " since " + s.From
	}
	if ph.Runs.LongestSignal {
		c.Signals = append(c.Signals, fmt.Sprintf("%d points in a row%s lie on one side of the centre line, more than the %d that chance allows among %d: the level has shifted.",
			s.Longest, since, s.LongestLimit, ph.Runs.Useful))
	}
	if ph.Runs.CrossingsSignal {
		c.Signals = append(c.Signals, fmt.Sprintf("The centre line is crossed %s%s, fewer than the %d to expect at least among %d points: the level drifts or has shifted.",
			plural(int64(s.Crossings), "time", "times"), since, s.CrossingsLimit, ph.Runs.Useful))
	}
}

// markEvents puts each event on the first point that begins at or after it; one
// before the first point is not on the chart.
func markEvents(c *ControlChart, d chartData, events []Event) {
	for _, e := range events {
		for i, start := range d.starts {
			end := start
			if i+1 < len(d.starts) {
				end = d.starts[i+1]
			} else {
				end = queries.MonthStart(queries.AddMonths(start.Year()*100+int(start.Month()), 1))
			}
			if !e.Date.Before(start) && e.Date.Before(end) {
				c.Points[i].Events = append(c.Points[i].Events, e.Date.Format("2 January 2006")+": "+e.What)
				break
			}
		}
	}
}

// minStretch is the least number of points on either side of new limits; with
// fewer there is nothing to compute them from.
const minStretch = 3

// phases opens limits of their own where an event of the file asks for it, from
// the first point that lies wholly after it. The last phase rests on points up
// to the month under review; later ones are judged by it.
func phases(d chartData, events []Event) []metrics.Phase {
	out := []metrics.Phase{{}}
	for _, e := range events {
		if !e.NewLimits {
			continue
		}
		for i, start := range d.starts {
			last := out[len(out)-1].Start
			if !start.Before(e.Date) && i-last >= minStretch && d.baseline-i >= minStretch {
				out = append(out, metrics.Phase{Start: i, Cause: e.What, Date: e.Date})
				break
			}
			if !start.Before(e.Date) {
				break
			}
		}
	}
	out[len(out)-1].BaselineEnd = d.baseline
	return out
}
