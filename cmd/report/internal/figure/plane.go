package figure

import (
	"math"
	"strconv"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Point is a place on a plane.
type Point struct{ X, Y float64 }

// Path is a line of a plane: Strong ones are drawn solid and dark (corrected
// figures), others dashed and pale (naive ones).
type Path struct {
	Points []Point
	Strong bool
	// Steps joins the points at right angles, as an empirical curve is.
	Steps bool
}

// Spot is a marked place with its name: Kind Square for what is in force, Disc
// for what is proposed.
type Spot struct {
	Point
	Name string
	Kind SpotKind
	// Low and High of X and Y, if HasLimits, are drawn as a cross.
	LowX, HighX, LowY, HighY float64
	HasLimits                bool
}

// SpotKind is the shape of a spot.
type SpotKind int8

// The shapes.
const (
	Disc SpotKind = iota
	Square
)

// Axis is one axis of a plane: its title, ends and whether it counts shares.
type Axis struct {
	Title    string
	Min, Max float64
	Share    bool
}

// PlaneSize serves half a desk, and a telephone.
var PlaneSize = Size{360, 320}

// Plane draws lines and spots over two axes. id must be unique on the page; desc
// is spoken in place of the drawing.
func Plane(id, title, desc string, x, y Axis, paths []Path, spots []Spot) (string, error) {
	c := NewCanvas(PlaneSize.Width, PlaneSize.Height)
	p := plot.New()
	p.BackgroundColor = nil
	styleAxes(p, nil, 1, Scale(0), PlaneSize)
	for _, a := range []struct {
		to *plot.Axis
		of Axis
	}{{&p.X, x}, {&p.Y, y}} {
		a.to.Min, a.to.Max = a.of.Min, math.Max(a.of.Max, a.of.Min+1e-9)
		a.to.Tick.Marker = plot.ConstantTicks(planeTicks(a.of))
	}
	p.X.Tick.Length = 4
	p.Add(planeLines{paths, spots, c})
	frame := draw.NewCanvas(c, PlaneSize.Width, PlaneSize.Height)
	p.Draw(draw.Crop(frame, 2, -16, 22, -26))
	label(c, y.Title, 11, true, ink, vg.Point{X: 1, Y: PlaneSize.Height - 14}, 1)
	label(c, x.Title, 11, true, ink, vg.Point{X: PlaneSize.Width - 8, Y: 6}, -1)
	return c.text(id, title, desc, "plane")
}

// planeTicks puts three to six round steps on an axis.
func planeTicks(a Axis) []plot.Tick {
	span := a.Max - a.Min
	if span <= 0 {
		return nil
	}
	step := math.Pow(10, math.Floor(math.Log10(span)))
	for _, f := range []float64{0.1, 0.2, 0.25, 0.5, 1, 2} {
		if span/(step*f) <= 5 {
			step *= f
			break
		}
	}
	var out []plot.Tick
	for k := math.Ceil(a.Min/step - 1e-9); k*step <= a.Max+step*1e-9; k++ {
		v := k*step + 0 // no negative zero
		text := strconv.FormatFloat(v, 'g', 4, 64)
		if a.Share {
			text = percentLabel(v)
			if step < 0.01 {
				text = strconv.FormatFloat(100*v, 'f', 1, 64) + " %"
			}
		}
		out = append(out, plot.Tick{Value: v, Label: text})
	}
	return out
}

// planeLines is the plotter of Plane.
type planeLines struct {
	paths []Path
	spots []Spot
	c     *Canvas
}

// Plot implements plot.Plotter.
func (l planeLines) Plot(dc draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&dc)
	at := func(q Point) vg.Point { return vg.Point{X: x(q.X), Y: y(q.Y)} }
	for _, tick := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		line(l.c, rule, 0.8, nil, vg.Point{X: dc.Min.X, Y: y(tick.Value)}, vg.Point{X: dc.Max.X, Y: y(tick.Value)})
	}
	for _, path := range l.paths {
		l.path(path, at)
	}
	for _, s := range l.spots {
		l.spot(s, at, dc)
	}
}

func (l planeLines) path(p Path, at func(Point) vg.Point) {
	if len(p.Points) < 2 {
		return
	}
	pts := []vg.Point{at(p.Points[0])}
	for _, q := range p.Points[1:] {
		next := at(q)
		if p.Steps {
			pts = append(pts, vg.Point{X: next.X, Y: pts[len(pts)-1].Y})
		}
		pts = append(pts, next)
	}
	if p.Strong {
		line(l.c, mark, 1.8, nil, pts...)
	} else {
		line(l.c, muted, 1.2, []vg.Length{4, 3}, pts...)
	}
}

// spot draws a mark with its name on the side where there is room.
func (l planeLines) spot(s Spot, at func(Point) vg.Point, dc draw.Canvas) {
	pt := at(s.Point)
	if s.HasLimits {
		line(l.c, alert, 1, nil, at(Point{s.LowX, s.Y}), at(Point{s.HighX, s.Y}))
		line(l.c, alert, 1, nil, at(Point{s.X, s.LowY}), at(Point{s.X, s.HighY}))
	}
	if s.Kind == Square {
		square(l.c, pt, 4.5, alert, true)
	} else {
		disc(l.c, pt, 4.2, mark, true)
	}
	side, shift := 1, vg.Length(9)
	if pt.X > (dc.Min.X+dc.Max.X)/2 {
		side, shift = -1, -9
	}
	up := vg.Length(7)
	if pt.Y > dc.Min.Y+(dc.Max.Y-dc.Min.Y)*2/3 {
		up = -15
	}
	l.c.textClass = "tick"
	label(l.c, s.Name, 10, false, ink, vg.Point{X: pt.X + shift, Y: pt.Y + up}, side)
	l.c.textClass = ""
}

// Stack is one bar of a distribution: how many of each kind have a value.
type Stack struct {
	X     float64
	Parts []float64
}

// Stacks draws a distribution of counts over a number: one bar a value, its parts
// from below in the fills of Parts; lines mark thresholds.
func Stacks(id, title, desc, axis string, bars []Stack, step float64, marks []float64) (string, error) {
	c := NewCanvas(Wide.Width, 150)
	const left, right, bottom, top = 8, 8, 22, 14
	if len(bars) == 0 {
		return c.text(id, title, desc, "stacks")
	}
	low, high, most := bars[0].X, bars[len(bars)-1].X, 0.0
	for _, b := range bars {
		sum := 0.0
		for _, p := range b.Parts {
			sum += p
		}
		most = math.Max(most, sum)
	}
	span := math.Max(high-low+step, step)
	at := func(x float64) float64 { return left + (x-low)/span*(float64(Wide.Width)-left-right) }
	width := math.Max(1, at(low+step)-at(low)-0.8)
	for _, b := range bars {
		base := 150.0 - bottom
		for k, n := range b.Parts {
			h := n / math.Max(most, 1) * (150 - bottom - top)
			if h > 0 {
				c.Raw(`<rect class="part p` + strconv.Itoa(k) + `" x="` + num(at(b.X)) + `" y="` + num(base-h) + `" width="` + num(width) + `" height="` + num(h) + `"/>`)
			}
			base -= h
		}
	}
	for _, m := range marks {
		px := vg.Length(at(m))
		line(c, alert, 1.4, []vg.Length{4, 2}, vg.Point{X: px, Y: bottom}, vg.Point{X: px, Y: 150 - 2})
	}
	line(c, muted, 1, nil, vg.Point{X: left, Y: bottom}, vg.Point{X: Wide.Width - right, Y: bottom})
	c.textClass = "tick"
	for _, t := range planeTicks(Axis{Min: low, Max: high}) {
		label(c, t.Label, 10, false, muted, vg.Point{X: vg.Length(at(t.Value) + width/2), Y: bottom - 13}, 0)
	}
	label(c, axis, 10, false, muted, vg.Point{X: Wide.Width - right, Y: 0.5}, -1)
	return c.text(id, title, desc, "stacks")
}
