package metrics

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Overdispersion says how limits allow for differences between units that case
// mix and chance at the desk explain, and nobody should answer for.
type Overdispersion int

const (
	// NoOverdispersion: the limits are those of chance alone.
	NoOverdispersion Overdispersion = iota + 1
	// MultiplicativeOverdispersion widens limits by sqrt(phi).
	MultiplicativeOverdispersion
	// AdditiveOverdispersion adds a variance between units, tau squared.
	AdditiveOverdispersion
)

// FunnelSettings are the choices behind a funnel; print them with it.
type FunnelSettings struct {
	// Target is the proportion that all are held against; 0 for the pooled one.
	Target float64
	Method FunnelMethod
	// Inner and Outer are the two-sided shares that the limits hold, such as
	// 0.95 and 0.998, Inner < Outer.
	Inner, Outer float64
	// MinN is the number of calls below which a unit is not judged.
	MinN int64
	// Allow says what to do if the units differ more than chance. With the
	// last two, limits are normal, and stay as they are while Phi is at most 1.
	Allow Overdispersion
	// Winsorise is the share of units at either end, 0 to below 0.5, whose
	// standardised values are pulled in before Phi is computed; 0.1 is common.
	Winsorise float64
}

// CommonFunnelSettings are exact interpolated limits at 95 % and 99.8 % around
// the pooled proportion, units of at least 10 calls, and no allowance.
func CommonFunnelSettings() FunnelSettings {
	return FunnelSettings{
		Method: FunnelInterpolated, Inner: 0.95, Outer: 0.998, MinN: 10,
		Allow: NoOverdispersion, Winsorise: 0.1,
	}
}

// FunnelPoint is one unit, in the order given: a funnel never ranks.
type FunnelPoint struct {
	Value float64
	N     int64
	// InnerLow to OuterHigh are the limits at this N, clipped to [0, 1].
	InnerLow, InnerHigh, OuterLow, OuterHigh float64
	// Z is the distance from the target in standard deviations of chance.
	Z float64
	// Outside is 0 within the inner limits, 1 or -1 beyond them (above or
	// below), 2 or -2 beyond the outer ones. With FunnelInterpolated the count
	// decides, so a unit drawn on a line's edge is not outside by drawing.
	Outside int
	// NotJudged is empty, or says why nothing but N is given.
	NotJudged string
}

// FunnelPlot holds limits for units of different size.
type FunnelPlot struct {
	Settings FunnelSettings
	Target   float64
	Points   []FunnelPoint
	// Phi is the mean square of the winsorised Z over the units judged, 1 if
	// chance alone makes them differ. It is beyond chance when it exceeds
	// 1 + 2 sqrt(2 / units), which BeyondChance says.
	Phi          float64
	BeyondChance bool
	// Tau is the standard deviation between units, with AdditiveOverdispersion.
	Tau float64
	// NotEstimable is empty, or says why there is no funnel.
	NotEstimable string
	Warnings     []string
}

// Funnel sets advisors or practices against what chance allows at their number
// of calls, without ranking them.
//
// points are one unit each. Without units of MinN calls, or with a pooled
// proportion of 0 or 1, there is no funnel. It returns ErrArgument for X outside
// 0..N or settings out of range.
//
// Source: Spiegelhalter (2005) Stat Med 24:1185-1202; overdispersion also
// Spiegelhalter (2005) Qual Saf Health Care 14:347-351.
func Funnel(points []ProportionPoint, s FunnelSettings) (FunnelPlot, error) {
	if err := s.check(); err != nil {
		return FunnelPlot{}, err
	}
	f := FunnelPlot{Settings: s, Target: s.Target}
	var x, n int64
	judged := 0
	for i, p := range points {
		if p.X < 0 || p.X > p.N {
			return FunnelPlot{}, argErr("unit %d is %d of %d, expected 0 <= x <= n", i, p.X, p.N)
		}
		x += p.X
		n += p.N
		point := FunnelPoint{N: p.N}
		if p.N < s.MinN {
			point.NotJudged = "too few calls to be judged"
		} else {
			judged++
			point.Value = float64(p.X) / float64(p.N)
		}
		f.Points = append(f.Points, point)
	}
	if f.Target == 0 && n > 0 {
		f.Target = float64(x) / float64(n)
	}
	if judged == 0 || f.Target <= 0 || f.Target >= 1 {
		f.NotEstimable = "no unit has enough calls, or the pooled proportion is 0 or 1"
		for i := range f.Points {
			f.Points[i] = FunnelPoint{N: f.Points[i].N, NotJudged: f.NotEstimable}
		}
		return f, nil
	}
	f.disperse()
	for i := range f.Points {
		if err := f.limits(i); err != nil {
			return FunnelPlot{}, err
		}
	}
	if f.BeyondChance && s.Allow == NoOverdispersion {
		f.Warnings = append(f.Warnings, "the units differ more than chance allows: many will lie outside for reasons of case mix")
	}
	return f, nil
}

func (s FunnelSettings) check() error {
	switch {
	case !(s.Target >= 0 && s.Target < 1):
		return argErr("target %v, expected a proportion, or 0 for the pooled one", s.Target)
	case s.Method < FunnelInterpolated || s.Method > FunnelNormal:
		return argErr("funnel method %d, expected FunnelInterpolated, FunnelExact or FunnelNormal", int(s.Method))
	case !(0 < s.Inner && s.Inner < s.Outer && s.Outer < 1):
		return argErr("limits at %v and %v, expected 0 < inner < outer < 1", s.Inner, s.Outer)
	case s.MinN < 1:
		return argErr("at least %d calls, expected 1 or more", s.MinN)
	case s.Allow < NoOverdispersion || s.Allow > AdditiveOverdispersion:
		return argErr("overdispersion %d, expected one of the three constants", int(s.Allow))
	case !(s.Winsorise >= 0 && s.Winsorise < 0.5):
		return argErr("winsorised share %v, expected 0 to below 0.5", s.Winsorise)
	}
	return nil
}

// disperse computes each unit's Z, and Phi and Tau from the winsorised ones:
// with k = floor(share * units), the k largest become the next one, as do the k
// smallest.
func (f *FunnelPlot) disperse() {
	var z, precision []float64
	for i := range f.Points {
		p := &f.Points[i]
		if p.NotJudged != "" {
			continue
		}
		variance := f.Target * (1 - f.Target) / float64(p.N)
		p.Z = (p.Value - f.Target) / math.Sqrt(variance)
		z = append(z, p.Z)
		precision = append(precision, 1/variance)
	}
	sort.Float64s(z)
	units := float64(len(z))
	k := int(f.Settings.Winsorise * units)
	for _, v := range z {
		v = math.Max(z[k], math.Min(z[len(z)-1-k], v))
		f.Phi += v * v / units
	}
	f.BeyondChance = f.Phi > 1+2*math.Sqrt(2/units)
	if f.Settings.Allow == AdditiveOverdispersion && units > 1 {
		var w, w2 float64
		for _, p := range precision {
			w += p
			w2 += p * p
		}
		f.Tau = math.Sqrt(math.Max(0, (units*f.Phi-(units-1))/(w-w2/w)))
	}
}

// limits fills the limits of unit i and whether it lies outside.
func (f *FunnelPlot) limits(i int) error {
	p := &f.Points[i]
	if p.NotJudged != "" {
		return nil
	}
	sd := math.Sqrt(f.Target * (1 - f.Target) / float64(p.N))
	wide, widened := sd, false
	switch f.Settings.Allow {
	case MultiplicativeOverdispersion:
		wide, widened = sd*math.Sqrt(math.Max(1, f.Phi)), f.Phi > 1
	case AdditiveOverdispersion:
		wide, widened = math.Hypot(sd, f.Tau), f.Tau > 0
	}
	at := func(prob float64) (float64, error) {
		if widened {
			return f.Target + distuv.UnitNormal.Quantile(prob)*wide, nil
		}
		return FunnelLimit(f.Target, p.N, prob, f.Settings.Method)
	}
	inner, outer := (1-f.Settings.Inner)/2, (1-f.Settings.Outer)/2
	for _, l := range []struct {
		prob float64
		to   *float64
	}{{inner, &p.InnerLow}, {1 - inner, &p.InnerHigh}, {outer, &p.OuterLow}, {1 - outer, &p.OuterHigh}} {
		v, err := at(l.prob)
		if err != nil {
			return err
		}
		*l.to = clip01(v)
	}
	p.Outside = f.outside(*p, widened)
	return nil
}

// outside judges a unit: by its limits where these are normal, else by the
// counts, since an interpolated line runs between two of them.
func (f *FunnelPlot) outside(p FunnelPoint, widened bool) int {
	limit := [4]float64{p.OuterLow, p.InnerLow, p.InnerHigh, p.OuterHigh}
	value := p.Value
	if !widened && f.Settings.Method != FunnelNormal {
		value = math.Round(p.Value * float64(p.N))
		inner, outer := (1-f.Settings.Inner)/2, (1-f.Settings.Outer)/2
		for i, prob := range []float64{outer, inner, 1 - inner, 1 - outer} {
			limit[i] = float64(binomialQuantile(prob, p.N, f.Target))
		}
	}
	switch {
	case value > limit[3]:
		return 2
	case value < limit[0]:
		return -2
	case value > limit[2]:
		return 1
	case value < limit[1]:
		return -1
	}
	return 0
}
