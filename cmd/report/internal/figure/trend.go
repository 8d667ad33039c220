package figure

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Month is one point of a trend.
type Month struct {
	// Label is short, such as Jan 26.
	Label string
	// Value is not negative; a month without one is left out.
	Value float64
	Known bool
	// Low, Centre and High are control limits at this month, if HasLimits.
	Low, Centre, High float64
	HasLimits         bool
	// Signal marks a point that a stated rule singles out.
	Signal bool
	// Young months are drawn open and joined by a dashed line.
	Young bool
	// Review marks the month under review.
	Review bool
	// Event marks a dated change between this month and the one before.
	Event bool
	// Provisional limits rest on few points; their edges are dashed.
	Provisional bool
}

// Scale says how an axis writes values.
type Scale int

// The scales.
const (
	Shares  Scale = iota + 1 // 0 to 1, written per cent
	Numbers                  // 0 and more
)

func (s Scale) write(v, step float64) string {
	switch {
	case s == Shares && step < 0.001-1e-9:
		return fmt.Sprintf("%.2f %%", 100*v)
	case s == Shares && step < 0.01:
		return fmt.Sprintf("%.1f %%", 100*v)
	case s == Shares:
		return percentLabel(v)
	case step < 1:
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.0f", v)
}

// Size is the view box of a figure.
type Size struct{ Width, Height vg.Length }

// Wide serves desks and paper, Narrow telephones; the page shows one of them.
var (
	Wide   = Size{720, 270}
	Narrow = Size{340, 250}
)

// Trend draws a value by month with its control limits. what names the value
// for the axis title, which stands above the axis so that it reads upright.
func Trend(id, title, desc, what string, months []Month, scale Scale, size Size) (string, error) {
	c := NewCanvas(size.Width, size.Height)
	p := plot.New()
	p.BackgroundColor = nil
	top := 0.0
	for _, m := range months {
		if m.Known {
			top = math.Max(top, m.Value)
		}
		if m.HasLimits {
			top = math.Max(top, m.High)
		}
	}
	styleAxes(p, months, niceTop(top, scale), scale, size)
	p.Add(trendLines{months, c})
	frame := draw.NewCanvas(c, size.Width, size.Height)
	// The head holds the axis title, the right margin the last month's label.
	p.Draw(draw.Crop(frame, 0, -22, 4, -26))
	label(c, what, 11, true, ink, vg.Point{X: 1, Y: size.Height - 14}, 1)
	cls := "trend wide"
	if size == Narrow {
		cls = "trend narrow"
	}
	return c.text(id, title, desc, cls)
}

// niceTop is the end of the axis: the next multiple of a round step.
func niceTop(top float64, scale Scale) float64 {
	if top <= 0 {
		return 0.1
	}
	step := niceStep(top)
	end := math.Ceil(top/step-1e-9) * step
	if scale == Shares {
		return math.Min(1, end)
	}
	return end
}

// niceStep gives three to six steps up to top: 1, 2 or 5 times a power of ten,
// or a quarter where that is all there is.
func niceStep(top float64) float64 {
	if !(top > 0) || top > 1-1e-9 && top < 1+1e-9 {
		return 0.25
	}
	for p := math.Pow(10, math.Floor(math.Log10(top))-1); ; p *= 10 {
		for _, s := range []float64{p, 2 * p, 5 * p} {
			if top/s <= 5 {
				return s
			}
		}
	}
}

// styleAxes sets ticks and type. Every month has a tick; a label stands under
// as many as fit.
func styleAxes(p *plot.Plot, months []Month, top float64, scale Scale, size Size) {
	const textSize = 10.5
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.LineStyle.Color, a.LineStyle.Width = muted, 1
		a.Tick.LineStyle.Color, a.Tick.LineStyle.Width = muted, 1
		a.Tick.Length = 4
		a.Tick.Label.Font = font.Font{Typeface: plot.DefaultFont.Typeface, Variant: "Sans", Size: textSize}
		a.Tick.Label.Color = muted
		a.Tick.Label.Handler = handler
		a.Padding = 6
	}
	p.Y.LineStyle.Width, p.Y.Tick.Length = 0, 0
	p.X.Min, p.X.Max = -0.3, math.Max(float64(len(months))-0.7, 0.7)
	p.Y.Min, p.Y.Max = 0, top
	var y []plot.Tick
	step := niceStep(top)
	for v := 0.0; v <= top+1e-9; v += step {
		y = append(y, plot.Tick{Value: v, Label: scale.write(v, step)})
	}
	p.Y.Tick.Marker = plot.ConstantTicks(y)
	room := float64(size.Width-70) / math.Max(1, float64(len(months)))
	longest := 0
	for _, m := range months {
		longest = max(longest, len(m.Label))
	}
	every := max(1, int(math.Ceil((10+6*float64(longest))/room)))
	var x []plot.Tick
	for i, m := range months {
		t := plot.Tick{Value: float64(i)}
		if (len(months)-1-i)%every == 0 {
			t.Label = m.Label
		}
		x = append(x, t)
	}
	p.X.Tick.Marker = plot.ConstantTicks(x)
}

// trendLines is the plotter of Trend. It holds the canvas because its marks are
// drawn in the page's colours.
type trendLines struct {
	months []Month
	c      *Canvas
}

// Plot implements plot.Plotter.
func (t trendLines) Plot(dc draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&dc)
	at := func(i int, v float64) vg.Point { return vg.Point{X: x(float64(i)), Y: y(v)} }
	for _, tick := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		line(t.c, rule, 0.8, nil, vg.Point{X: dc.Min.X, Y: y(tick.Value)}, vg.Point{X: dc.Max.X, Y: y(tick.Value)})
	}
	t.limits(at)
	t.events(at, dc.Min.Y, dc.Max.Y)
	last := -1
	for i, m := range t.months {
		if !m.Known {
			continue
		}
		if last >= 0 {
			var dash []vg.Length
			if m.Young {
				dash = []vg.Length{4, 3}
			}
			line(t.c, mark, 1.8, dash, at(last, t.months[last].Value), at(i, m.Value))
		}
		last = i
	}
	for i, m := range t.months {
		if m.Known {
			t.point(at(i, m.Value), m)
		}
	}
}

// limits draws the band between the control limits as steps, and the centre.
func (t trendLines) limits(at func(int, float64) vg.Point) {
	half := (at(1, 0).X - at(0, 0).X) / 2
	for i, m := range t.months {
		if !m.HasLimits {
			continue
		}
		low, high, mid := at(i, m.Low), at(i, m.High), at(i, m.Centre)
		left, right := low.X-half, low.X+half
		if i == 0 {
			left = low.X
		}
		if i == len(t.months)-1 {
			right = low.X
		}
		box(t.c, band, left, low.Y, right, high.Y)
		line(t.c, muted, 1, []vg.Length{1, 3}, vg.Point{X: left, Y: mid.Y}, vg.Point{X: right, Y: mid.Y})
		if m.Provisional {
			for _, edge := range []vg.Length{low.Y, high.Y} {
				line(t.c, muted, 0.8, []vg.Length{5, 3}, vg.Point{X: left, Y: edge}, vg.Point{X: right, Y: edge})
			}
		}
	}
}

// events draws an upright line with a foot where something changed.
func (t trendLines) events(at func(int, float64) vg.Point, bottom, top vg.Length) {
	half := (at(1, 0).X - at(0, 0).X) / 2
	for i, m := range t.months {
		if !m.Event {
			continue
		}
		x := at(i, 0).X - half
		if i == 0 {
			x = at(i, 0).X
		}
		line(t.c, ink, 1.2, []vg.Length{6, 2}, vg.Point{X: x, Y: bottom}, vg.Point{X: x, Y: top})
		var p vg.Path
		p.Move(vg.Point{X: x - 5, Y: top})
		p.Line(vg.Point{X: x + 5, Y: top})
		p.Line(vg.Point{X: x, Y: top - 7})
		p.Close()
		t.c.SetColor(ink)
		t.c.Fill(p)
	}
}

func (t trendLines) point(at vg.Point, m Month) {
	if m.Review {
		disc(t.c, at, 7, mark, false)
	}
	switch {
	case m.Signal:
		square(t.c, at, 4.2, alert, !m.Young)
	default:
		disc(t.c, at, 3.6, mark, !m.Young)
	}
}
