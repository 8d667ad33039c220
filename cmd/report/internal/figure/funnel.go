package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Unit is one site or advisor of a funnel.
type Unit struct {
	// Name is drawn beside units beyond the limits only.
	Name  string
	N     float64
	Share float64
	// Outside is 0 within the inner limits, 1 or -1 beyond them, 2 or -2 beyond
	// the outer ones. NotJudged units are drawn small and open.
	Outside   int
	NotJudged bool
}

// FunnelLimit is the pair of limits at one size.
type FunnelLimit struct{ N, OuterLow, InnerLow, InnerHigh, OuterHigh float64 }

// Funnel draws units by size and share with their limits around target.
func Funnel(id, title, desc string, units []Unit, limits []FunnelLimit, target float64, size Size) (string, error) {
	c := NewCanvas(size.Width, size.Height)
	p := plot.New()
	p.BackgroundColor = nil
	top, low, right := target, target, 1.0
	for _, u := range units {
		top, low, right = math.Max(top, u.Share), math.Min(low, u.Share), math.Max(right, u.N)
	}
	for _, l := range limits {
		// The limits of the smallest sizes reach far; the axis follows the units.
		if l.N >= right/5 {
			top, low = math.Max(top, l.OuterHigh), math.Min(low, l.OuterLow)
		}
	}
	shareAxis(p, low, top, size)
	p.X.Min, p.X.Max = 0, right*1.04
	step := niceStep(right)
	var ticks []plot.Tick
	for v := 0.0; v <= right*1.04; v += step {
		ticks = append(ticks, plot.Tick{Value: v, Label: commas(v)})
	}
	p.X.Tick.Marker = plot.ConstantTicks(ticks)
	p.Add(&funnelLines{units: units, limits: limits, target: target, c: c})
	p.Draw(draw.Crop(draw.NewCanvas(c, size.Width, size.Height), 0, -14, 18, -10))
	label(c, "episodes", 10.5, false, muted, vg.Point{X: size.Width - 14, Y: 2}, -1)
	cls := "trend wide"
	if size == Narrow {
		cls = "trend narrow"
	}
	return c.text(id, title, desc, cls)
}

// shareAxis spans what is drawn, from nought where that is not far.
func shareAxis(p *plot.Plot, low, top float64, size Size) {
	styleAxes(p, nil, niceTop(top, Shares), Shares, size)
	if low < top/2 || top <= low {
		return
	}
	step := niceStep(top - low)
	p.Y.Min, p.Y.Max = math.Max(0, math.Floor(low/step)*step), math.Min(1, math.Ceil(top/step-1e-9)*step)
	var y []plot.Tick
	for v := p.Y.Min; v <= p.Y.Max+1e-9; v += step {
		y = append(y, plot.Tick{Value: v, Label: Shares.write(v, step)})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(y)
}

// commas writes a whole number with commas.
func commas(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// funnelLines is the plotter of Funnel.
type funnelLines struct {
	units  []Unit
	limits []FunnelLimit
	target float64
	c      *Canvas
	// named are the places of the labels so far: one that would cover another is
	// left out, since the table below names every unit.
	named []vg.Rectangle
}

// Plot implements plot.Plotter.
func (f *funnelLines) Plot(dc draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&dc)
	at := func(n, share float64) vg.Point {
		return vg.Point{X: x(n), Y: y(math.Min(p.Y.Max, math.Max(p.Y.Min, share)))}
	}
	for _, tick := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		line(f.c, rule, 0.8, nil, vg.Point{X: dc.Min.X, Y: y(tick.Value)}, vg.Point{X: dc.Max.X, Y: y(tick.Value)})
	}
	for _, l := range []struct {
		of    func(FunnelLimit) float64
		width vg.Length
		dash  []vg.Length
	}{
		{func(l FunnelLimit) float64 { return l.OuterLow }, 1.4, nil}, {func(l FunnelLimit) float64 { return l.OuterHigh }, 1.4, nil},
		{func(l FunnelLimit) float64 { return l.InnerLow }, 1, []vg.Length{4, 3}}, {func(l FunnelLimit) float64 { return l.InnerHigh }, 1, []vg.Length{4, 3}},
	} {
		var pts []vg.Point
		for _, at1 := range f.limits {
			if v := l.of(at1); v >= p.Y.Min && v <= p.Y.Max {
				pts = append(pts, at(at1.N, v))
			}
		}
		if len(pts) > 1 {
			line(f.c, muted, l.width, l.dash, pts...)
		}
	}
	line(f.c, muted, 1, []vg.Length{1, 3}, vg.Point{X: dc.Min.X, Y: y(f.target)}, vg.Point{X: dc.Max.X, Y: y(f.target)})
	for _, u := range f.units {
		f.unit(at(u.N, u.Share), u, dc)
	}
}

func (f *funnelLines) unit(at vg.Point, u Unit, dc draw.Canvas) {
	switch {
	case u.NotJudged:
		disc(f.c, at, 2.4, muted, false)
		return
	case u.Outside == 0:
		disc(f.c, at, 3.4, mark, true)
		return
	case u.Outside == 1 || u.Outside == -1:
		square(f.c, at, 3.8, mark, false)
	default:
		square(f.c, at, 4.2, alert, true)
	}
	const size, gap = 10, 7
	f10, side := face(size, false), 1
	width := f10.Width(u.Name)
	box := vg.Rectangle{Min: vg.Point{X: at.X + gap, Y: at.Y - 4}, Max: vg.Point{X: at.X + gap + width, Y: at.Y + 8}}
	if at.X > (dc.Min.X+dc.Max.X)/2 {
		side = -1
		box.Min.X, box.Max.X = at.X-gap-width, at.X-gap
	}
	for _, r := range f.named {
		if box.Min.X < r.Max.X+2 && r.Min.X < box.Max.X+2 && box.Min.Y < r.Max.Y && r.Min.Y < box.Max.Y {
			return
		}
	}
	f.named = append(f.named, box)
	label(f.c, u.Name, size, false, ink, vg.Point{X: at.X + vg.Length(side)*gap, Y: at.Y - 3.5}, side)
}
