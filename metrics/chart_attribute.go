package metrics

import "math"

// ProportionPoint is one point of a p chart: X of N calls.
type ProportionPoint struct{ X, N int64 }

// RatePoint is one point of a u chart: X events in Size units of opportunity
// (thousands of calls, animal-days); Size need not be whole.
type RatePoint struct {
	X    int64
	Size float64
}

// meanRange2 is the expected range of two standard normal values in units of
// their standard deviation (d2 of the tables, to the three digits in use).
const meanRange2 = 1.128

// PChart charts a proportion of calls over time: centre line p, the pooled
// proportion of the baseline, and limits p +- 3 sqrt(p (1-p) / n) at each
// point, or exact binomial ones.
//
// points are in time order. A point with N = 0 is not plotted and breaks no
// run. phases may be nil for one phase with all points as its baseline. A
// baseline without any event, or with nothing but events, gives no limits: the
// phase says so. Very large N make every point signal; use LaneyPChart. It
// returns ErrArgument for X outside 0..N, phases out of order, without cause or
// date, or settings out of range.
//
// Source: Shewhart (1931) Economic Control of Quality of Manufactured Product;
// Montgomery, Introduction to Statistical Quality Control, chapter on charts
// for attributes.
func PChart(points []ProportionPoint, phases []Phase, s ChartSettings) (Chart, error) {
	return proportionChart(ChartP, points, phases, s)
}

// LaneyPChart is PChart for large denominators: the limits also hold the
// variation between points, p +- 3 sigma_z sqrt(p (1-p) / n), where sigma_z is
// the mean moving range of the standardised baseline points over 1.128. With
// sigma_z near 1 it is the p chart; below 1 it is narrower.
//
// It needs two baseline points at least and has no exact limits (ErrArgument).
// Everything else is as for PChart. Also called p' chart.
//
// Source: Laney (2002) Qual Eng 14:531-537.
func LaneyPChart(points []ProportionPoint, phases []Phase, s ChartSettings) (Chart, error) {
	return proportionChart(ChartPPrime, points, phases, s)
}

// UChart charts a rate per unit of opportunity: centre line u, all baseline
// events over all baseline units, and limits u +- 3 sqrt(u / size), cut at 0,
// or exact Poisson ones. A Size that is negative or not finite is ErrArgument;
// everything else is as for PChart.
//
// Source: Montgomery, Introduction to Statistical Quality Control, chapter on
// charts for attributes.
func UChart(points []RatePoint, phases []Phase, s ChartSettings) (Chart, error) {
	return rateChart(ChartU, points, phases, s)
}

// LaneyUChart is UChart with the variation between points in the limits. See
// LaneyPChart.
func LaneyUChart(points []RatePoint, phases []Phase, s ChartSettings) (Chart, error) {
	return rateChart(ChartUPrime, points, phases, s)
}

// attributeChart is any of the four charts, with what differs between them: the
// largest value, the variance at the centre and the exact quantile.
type attributeChart struct {
	*Chart
	x, size  []float64
	ceiling  float64
	variance func(centre, size float64) float64
	quantile func(prob, centre, size float64) float64
	laney    bool
}

func proportionChart(kind ChartKind, points []ProportionPoint, phases []Phase, s ChartSettings) (Chart, error) {
	c, err := newChart(kind, len(points), phases, s)
	if err != nil {
		return Chart{}, err
	}
	a := attributeChart{
		Chart: c, ceiling: 1, laney: kind == ChartPPrime,
		variance: func(centre, size float64) float64 { return centre * (1 - centre) / size },
		quantile: func(prob, centre, size float64) float64 {
			return float64(binomialQuantile(prob, int64(size), centre)) / size
		},
	}
	for i, p := range points {
		if p.X < 0 || p.X > p.N {
			return Chart{}, argErr("point %d is %d of %d, expected 0 <= x <= n", i, p.X, p.N)
		}
		a.put(i, float64(p.X), float64(p.N), "no calls")
	}
	return a.build()
}

func rateChart(kind ChartKind, points []RatePoint, phases []Phase, s ChartSettings) (Chart, error) {
	c, err := newChart(kind, len(points), phases, s)
	if err != nil {
		return Chart{}, err
	}
	a := attributeChart{
		Chart: c, ceiling: math.MaxFloat64, laney: kind == ChartUPrime,
		variance: func(centre, size float64) float64 { return centre / size },
		quantile: func(prob, centre, size float64) float64 {
			return float64(poissonQuantile(prob, centre*size)) / size
		},
	}
	for i, p := range points {
		if p.X < 0 || !(p.Size >= 0) || math.IsInf(p.Size, 0) || (p.Size == 0 && p.X > 0) {
			return Chart{}, argErr("point %d is %d events in %v units, expected 0 or more of both, and no event in nothing", i, p.X, p.Size)
		}
		a.put(i, float64(p.X), p.Size, "nothing to count in")
	}
	return a.build()
}

func (a *attributeChart) put(i int, x, size float64, missing string) {
	a.x, a.size = append(a.x, x), append(a.size, size)
	if size == 0 {
		a.Points[i].Missing = missing
		return
	}
	a.Points[i].Value = x / size
}

func (a *attributeChart) build() (Chart, error) {
	if a.laney && a.Settings.Limits == ExactLimits {
		return Chart{}, argErr("a Laney chart has no exact limits")
	}
	for i := range a.Phases {
		a.phase(i)
	}
	a.judge()
	return *a.Chart, nil
}

// phase computes centre, spread and limits of phase i.
func (a *attributeChart) phase(i int) {
	p := &a.Phases[i]
	base := a.baseline(i)
	var x, size float64
	for _, j := range base {
		x += a.x[j]
		size += a.size[j]
	}
	switch {
	case len(base) == 0:
		p.NotEstimable = "no baseline point"
		return
	case x == 0:
		p.NotEstimable = "no event in the baseline; chart the time between events"
		return
	case x >= size && a.ceiling == 1:
		p.NotEstimable = "nothing but events in the baseline"
		return
	}
	p.Centre = x / size
	p.Mean = p.Centre
	spread := 1.0
	if a.laney {
		p.Dispersion = a.dispersion(base, p.Centre)
		if p.Dispersion == 0 {
			p.NotEstimable = "the baseline points do not vary, or are fewer than 2"
			return
		}
		spread = p.Dispersion
	}
	few := 0
	for _, j := range a.plotted(i) {
		sd := math.Sqrt(a.variance(p.Centre, a.size[j]))
		low, high := p.Centre-3*spread*sd, p.Centre+3*spread*sd
		if a.Settings.Limits == ExactLimits {
			low = a.quantile(tailBeyond3Sigma, p.Centre, a.size[j])
			high = a.quantile(1-tailBeyond3Sigma, p.Centre, a.size[j])
		} else if a.size[j]*p.Centre < 5 {
			few++
		}
		z := (a.Points[j].Value - p.Centre) / (spread * sd)
		a.Points[j].setLimits(p.Centre, low, high, z, 0, a.ceiling)
	}
	if few > 0 {
		p.Warnings = append(p.Warnings, "fewer than 5 events are expected at some points: 3 sigma limits are unreliable there, exact limits are not")
	}
}

// dispersion is the mean moving range of the standardised points over d2.
func (a *attributeChart) dispersion(base []int, centre float64) float64 {
	if len(base) < 2 {
		return 0
	}
	z := func(j int) float64 {
		return (a.Points[j].Value - centre) / math.Sqrt(a.variance(centre, a.size[j]))
	}
	sum := 0.0
	for k := 1; k < len(base); k++ {
		sum += math.Abs(z(base[k]) - z(base[k-1]))
	}
	return sum / float64(len(base)-1) / meanRange2
}
