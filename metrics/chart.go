package metrics

import "time"

// ChartKind says what a control chart plots.
type ChartKind string

// The kinds of control chart.
const (
	ChartP      ChartKind = "p chart"        // a proportion of calls
	ChartU      ChartKind = "u chart"        // a rate per unit of opportunity
	ChartPPrime ChartKind = "Laney p' chart" // p with the variation between points
	ChartUPrime ChartKind = "Laney u' chart" // u with the variation between points
	ChartG      ChartKind = "g chart"        // calls between rare events
	ChartT      ChartKind = "t chart"        // time between rare events
)

// LimitMethod says how the control limits of a chart are made.
type LimitMethod int

const (
	// SigmaLimits are the centre +- 3 standard deviations, cut at the edge of
	// what is possible. Unreliable where fewer than 5 events are expected.
	SigmaLimits LimitMethod = iota + 1
	// ExactLimits are the quantiles of the binomial, Poisson or geometric
	// distribution beyond which a point falls at most as often as a normal
	// one beyond 3 sigma, on either side (0.00135).
	ExactLimits
)

// ChartSettings are the choices behind a chart; print them with it.
type ChartSettings struct {
	Limits LimitMethod
	Rules  RunRules
	// MinForLimits is the number of baseline points below which limits are
	// provisional; 20 to 24 are common practice.
	MinForLimits int
	// MinForRuns is the number of useful points (those not on the centre
	// line) below which longest run and crossings are not judged; 12 is common.
	MinForRuns int
}

// CommonChartSettings are 3 sigma limits and the rule beyond them, longest run
// and crossings by the number of points, at least 20 points for limits and 12
// for runs.
func CommonChartSettings() ChartSettings {
	return ChartSettings{
		Limits:       SigmaLimits,
		Rules:        RunRules{Beyond: true, LongestRun: true, Crossings: true},
		MinForLimits: 20, MinForRuns: 12,
	}
}

func (s ChartSettings) check() error {
	if s.Limits != SigmaLimits && s.Limits != ExactLimits {
		return argErr("limits %d, expected SigmaLimits or ExactLimits", int(s.Limits))
	}
	if s.MinForLimits < 2 || s.MinForRuns < 2 {
		return argErr("at least %d points for limits and %d for runs, expected 2 or more", s.MinForLimits, s.MinForRuns)
	}
	return s.Rules.check()
}

// Phase is a stretch of points with limits of its own. A new one is opened
// only for a known cause with a date (a new version of the rules, other
// software, other opening hours), never to make a signal go away; the limits of
// earlier phases stay on their points.
type Phase struct {
	// Start is the first point, counted from 0.
	Start int
	// BaselineEnd is the point after the last one that the limits are
	// computed from; 0 means all points of the phase.
	BaselineEnd int
	// Exclude names points left out of the computation, with the cause of
	// each. They stay on the chart and can signal.
	Exclude map[int]string
	// Cause and Date say why and when; both are required after the first phase.
	Cause string
	Date  time.Time
}

// ChartPhase is a phase with what was computed for it.
type ChartPhase struct {
	Phase
	// End is the point after the last of the phase.
	End int
	// Centre is the mean of the baseline; for a g or t chart it is the median
	// that the chart implies, and Mean is the mean.
	Centre, Mean float64
	// Dispersion is the standard deviation of the standardised baseline points
	// on a Laney chart (1 where the points vary as the model says), else 0.
	Dispersion float64
	// BaselinePoints were used; Provisional says that they are too few.
	BaselinePoints int
	Provisional    bool
	// NotEstimable is empty, or says why the phase has no limits.
	NotEstimable string
	Runs         Runs
	Warnings     []string
}

// ChartPoint is one point of a chart.
type ChartPoint struct {
	// Value is what is plotted. Missing is empty, or says why nothing is.
	Value   float64
	Missing string
	// Phase is the index of the point's phase.
	Phase int
	// Centre, Low and High are the centre line and the limits at this point,
	// and HasLimits says whether they exist.
	Centre, Low, High float64
	HasLimits         bool
	// Z is the distance from the centre in standard deviations.
	Z float64
	// Signals are the rules of which this point completes the pattern.
	Signals []Rule
	// side is -1 or 1 below or above the centre line, 0 on it.
	side int
}

// Chart is a control chart, ready to draw.
type Chart struct {
	Kind     ChartKind
	Settings ChartSettings
	Points   []ChartPoint
	Phases   []ChartPhase
}

// newChart lays out the phases of n points and checks them.
func newChart(kind ChartKind, n int, phases []Phase, s ChartSettings) (*Chart, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	if len(phases) == 0 {
		phases = []Phase{{}}
	}
	c := &Chart{Kind: kind, Settings: s, Points: make([]ChartPoint, n)}
	for i, p := range phases {
		end := n
		if i+1 < len(phases) {
			end = phases[i+1].Start
		}
		if p.BaselineEnd == 0 {
			p.BaselineEnd = end
		}
		switch {
		case i == 0 && p.Start != 0:
			return nil, argErr("the first phase starts at point %d, expected 0", p.Start)
		case n > 0 && (p.Start >= end || end > n):
			return nil, argErr("phase %d runs from point %d to before point %d of %d, expected at least one point", i+1, p.Start, end, n)
		case n > 0 && (p.BaselineEnd <= p.Start || p.BaselineEnd > end):
			return nil, argErr("phase %d: baseline ends before point %d, expected %d to %d", i+1, p.BaselineEnd, p.Start+1, end)
		case i > 0 && (p.Cause == "" || p.Date.IsZero()):
			return nil, argErr("phase %d has no cause or no date; new limits need both", i+1)
		}
		for at, cause := range p.Exclude {
			if at < p.Start || at >= p.BaselineEnd || cause == "" {
				return nil, argErr("phase %d leaves out point %d for cause %q, expected a point of its baseline and a cause", i+1, at, cause)
			}
		}
		c.Phases = append(c.Phases, ChartPhase{Phase: p, End: end})
		for j := p.Start; j < end; j++ {
			c.Points[j].Phase = i
		}
	}
	return c, nil
}

// baseline lists the points that the limits of phase i come from.
func (c *Chart) baseline(i int) []int {
	var at []int
	p := &c.Phases[i]
	for j := p.Start; j < p.BaselineEnd; j++ {
		if _, out := p.Exclude[j]; !out && c.Points[j].Missing == "" {
			at = append(at, j)
		}
	}
	p.BaselinePoints = len(at)
	p.Provisional = len(at) < c.Settings.MinForLimits
	return at
}

// plotted lists the points of phase i that have a value.
func (c *Chart) plotted(i int) []int {
	var at []int
	for j := c.Phases[i].Start; j < c.Phases[i].End; j++ {
		if c.Points[j].Missing == "" {
			at = append(at, j)
		}
	}
	return at
}

// setLimits fills one point. It keeps the limits in [floor, ceiling].
func (p *ChartPoint) setLimits(centre, low, high, z, floor, ceiling float64) {
	p.HasLimits = true
	p.Centre, p.Z = centre, z
	p.Low, p.High = max(low, floor), min(high, ceiling)
	switch {
	case p.Value > centre:
		p.side = 1
	case p.Value < centre:
		p.side = -1
	}
}
