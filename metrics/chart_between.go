package metrics

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// GChart charts the number of calls between rare events (missed emergencies,
// say): each point is one event, its value the calls since the event before.
// High is good; deterioration shows as many short gaps, so the rules that judge
// runs matter more than the lower limit, which is mostly 0.
//
// gaps are in time order, 0 for two events in a row. The gaps are taken as
// geometric. The centre line is the median that the mean gap implies, so that
// half of the points fall on either side; Mean is the mean. SigmaLimits are
// mean +- 3 sqrt(mean (mean + 1)), cut at 0; ExactLimits are quantiles of the
// geometric distribution, and then Z is the normal score of the gap; with
// SigmaLimits zone rules take no account of the skew. A baseline of fewer than 2
// gaps, or of zeros only, gives no limits. A negative gap, bad phases or
// settings are ErrArgument. The gap since the last event is open and belongs in
// no chart until the next event ends it.
//
// Source: Benneyan (2001) Health Care Manag Sci 4:305-318.
func GChart(gaps []int64, phases []Phase, s ChartSettings) (Chart, error) {
	c, err := newChart(ChartG, len(gaps), phases, s)
	if err != nil {
		return Chart{}, err
	}
	for i, g := range gaps {
		if g < 0 {
			return Chart{}, argErr("gap %d is %d calls, expected 0 or more", i, g)
		}
		c.Points[i].Value = float64(g)
	}
	for i := range c.Phases {
		c.geometricPhase(i)
	}
	c.judge()
	return *c, nil
}

func (c *Chart) geometricPhase(i int) {
	p := &c.Phases[i]
	base := c.baseline(i)
	for _, j := range base {
		p.Mean += c.Points[j].Value / float64(len(base))
	}
	if len(base) < 2 || p.Mean == 0 {
		p.NotEstimable = "fewer than 2 gaps in the baseline, or none longer than 0"
		return
	}
	// P(gap > g) = stay^(g+1).
	stay := p.Mean / (p.Mean + 1)
	quantile := func(prob float64) float64 {
		return math.Max(0, math.Ceil(math.Log1p(-prob)/math.Log(stay)-1-1e-9))
	}
	p.Centre = quantile(0.5)
	sd := math.Sqrt(p.Mean * (p.Mean + 1))
	for _, j := range c.plotted(i) {
		g := c.Points[j].Value
		if c.Settings.Limits == ExactLimits {
			// The middle of the step of the distribution at g.
			upper := (math.Pow(stay, g) + math.Pow(stay, g+1)) / 2
			z := 8.0
			if upper > 1e-15 {
				z = -distuv.UnitNormal.Quantile(upper)
			}
			c.Points[j].setLimits(p.Centre, quantile(tailBeyond3Sigma), quantile(1-tailBeyond3Sigma), z, 0, math.MaxFloat64)
			continue
		}
		c.Points[j].setLimits(p.Centre, p.Mean-3*sd, p.Mean+3*sd, (g-p.Mean)/sd, 0, math.MaxFloat64)
	}
}

// weibullPower turns exponential times into nearly normal ones.
const weibullPower = 1 / 3.6

// TChart charts the time between rare events: each point is one event, its
// value the time since the event before, in one unit (days). High is good.
//
// gaps are in time order, 0 or more; many zeros mean that the unit is too
// coarse. Times are taken as exponential, raised to 1/3.6 to become nearly
// normal, charted by their moving range (mean +- 2.66 mean ranges) and turned
// back. The centre line is the turned-back mean, about the median; Mean is the
// mean of the times. A lower limit below 0 is 0. There are no other exact limits
// than these: ExactLimits is ErrArgument. A baseline of fewer than 2 gaps, or
// one that does not vary, gives no limits. Days on which the line was closed
// count, unless the caller takes them out.
//
// Source: Nelson (1994) J Qual Technol 26:239-240 (from memory).
func TChart(gaps []float64, phases []Phase, s ChartSettings) (Chart, error) {
	c, err := newChart(ChartT, len(gaps), phases, s)
	if err != nil {
		return Chart{}, err
	}
	if s.Limits == ExactLimits {
		return Chart{}, argErr("a t chart has no exact limits")
	}
	for i, g := range gaps {
		if !(g >= 0) || math.IsInf(g, 0) {
			return Chart{}, argErr("gap %d is %v, expected a finite time of 0 or more", i, g)
		}
		c.Points[i].Value = g
	}
	for i := range c.Phases {
		c.timePhase(i)
	}
	c.judge()
	return *c, nil
}

func (c *Chart) timePhase(i int) {
	p := &c.Phases[i]
	base := c.baseline(i)
	power := func(j int) float64 { return math.Pow(c.Points[j].Value, weibullPower) }
	var mean, ranges float64
	for k, j := range base {
		p.Mean += c.Points[j].Value / float64(len(base))
		mean += power(j) / float64(len(base))
		if k > 0 {
			ranges += math.Abs(power(j)-power(base[k-1])) / float64(len(base)-1)
		}
	}
	if ranges == 0 {
		p.NotEstimable = "fewer than 2 gaps in the baseline, or all of the same length"
		return
	}
	sd := ranges / meanRange2
	back := func(y float64) float64 { return math.Pow(math.Max(0, y), 1/weibullPower) }
	p.Centre = back(mean)
	for _, j := range c.plotted(i) {
		c.Points[j].setLimits(p.Centre, back(mean-3*sd), back(mean+3*sd), (power(j)-mean)/sd, 0, math.MaxFloat64)
	}
}
