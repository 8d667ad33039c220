package figure

import (
	"fmt"
	"image/color"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// The colours are classes of the page; these values only tell them apart while
// drawing and serve where there is no style sheet. They keep their order of
// lightness in grey.
var (
	ink   = color.NRGBA{0x16, 0x25, 0x2e, 0xff}
	muted = color.NRGBA{0x5a, 0x69, 0x72, 0xff}
	rule  = color.NRGBA{0xd9, 0xdf, 0xe3, 0xff}
	mark  = color.NRGBA{0x0e, 0x4c, 0x7a, 0xff}
	alert = color.NRGBA{0xb5, 0x47, 0x08, 0xff}
	band  = color.NRGBA{0xe9, 0xf0, 0xf5, 0xff}
	paper = color.NRGBA{0xff, 0xff, 0xff, 0xff}
)

var classes = map[color.NRGBA]string{ink: "ink", muted: "muted", rule: "rule", mark: "mark", alert: "alert", band: "band", paper: "paper"}

// class names a colour. One that is not ours would not follow the page, so it
// is drawn as ink.
func class(c color.Color) string {
	if n, ok := color.NRGBAModel.Convert(c).(color.NRGBA); ok {
		if name, ok := classes[n]; ok {
			return name
		}
	}
	return "ink"
}

// face is Liberation Sans at a size in units of the view box.
func face(size vg.Length, bold bool) font.Face {
	f := plot.DefaultFont
	f.Variant = "Sans"
	if bold {
		f.Weight = 2 // bold
	}
	return font.DefaultCache.Lookup(f, size)
}

// handler is what gonum/plot measures and draws labels with.
var handler = text.Plain{Fonts: font.DefaultCache}

// label draws text at a point: x is -1 left of it, 0 centred, 1 right of it.
func label(c *Canvas, s string, size vg.Length, bold bool, col color.Color, at vg.Point, x int) (width vg.Length) {
	f := face(size, bold)
	w := f.Width(s)
	switch x {
	case 0:
		at.X -= w / 2
	case -1:
		at.X -= w
	}
	c.SetColor(col)
	c.FillString(f, at, s)
	return w
}

// disc and square are the two marks: filled for corrected figures, open for
// naive ones, so that they differ without colour.
func disc(c *Canvas, at vg.Point, r vg.Length, col color.Color, filled bool) {
	var p vg.Path
	p.Move(vg.Point{X: at.X + r, Y: at.Y})
	p.Arc(at, r, 0, 6.283185307179586)
	p.Close()
	shape(c, p, col, filled)
}

func square(c *Canvas, at vg.Point, r vg.Length, col color.Color, filled bool) {
	var p vg.Path
	p.Move(vg.Point{X: at.X - r, Y: at.Y - r})
	p.Line(vg.Point{X: at.X + r, Y: at.Y - r})
	p.Line(vg.Point{X: at.X + r, Y: at.Y + r})
	p.Line(vg.Point{X: at.X - r, Y: at.Y + r})
	p.Close()
	shape(c, p, col, filled)
}

func shape(c *Canvas, p vg.Path, col color.Color, filled bool) {
	if filled {
		c.SetColor(col)
		c.Fill(p)
		return
	}
	c.SetColor(paper)
	c.Fill(p)
	c.SetColor(col)
	c.SetLineWidth(1.4)
	c.SetLineDash(nil, 0)
	c.Stroke(p)
}

func line(c *Canvas, col color.Color, width vg.Length, dash []vg.Length, pts ...vg.Point) {
	var p vg.Path
	p.Move(pts[0])
	for _, pt := range pts[1:] {
		p.Line(pt)
	}
	c.SetColor(col)
	c.SetLineWidth(width)
	c.SetLineDash(dash, 0)
	c.Stroke(p)
	c.SetLineDash(nil, 0)
}

func box(c *Canvas, col color.Color, x0, y0, x1, y1 vg.Length) {
	var p vg.Path
	p.Move(vg.Point{X: x0, Y: y0})
	p.Line(vg.Point{X: x1, Y: y0})
	p.Line(vg.Point{X: x1, Y: y1})
	p.Line(vg.Point{X: x0, Y: y1})
	p.Close()
	c.SetColor(col)
	c.Fill(p)
}

func percentLabel(share float64) string { return fmt.Sprintf("%.0f %%", 100*share) }
