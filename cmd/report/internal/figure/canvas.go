package figure

import (
	"bytes"
	"fmt"
	"html"
	"image"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// Canvas is a vg.Canvas that writes SVG. One point of vg is one unit of the
// view box, which the page scales.
type Canvas struct {
	width, height vg.Length
	body          bytes.Buffer
	state         state
	stack         []state
	// mark, if set, is added to the class of the next text.
	textClass string
}

// state is what Push saves.
type state struct {
	m     matrix
	line  vg.Length
	dash  []vg.Length
	shift vg.Length
	color color.Color
}

// matrix maps vg coordinates to the view box: x' = a x + c y + e, y' = b x + d y + f.
type matrix struct{ a, b, c, d, e, f float64 }

func (m matrix) at(p vg.Point) (x, y float64) {
	px, py := float64(p.X), float64(p.Y)
	return m.a*px + m.c*py + m.e, m.b*px + m.d*py + m.f
}

// then applies n before m, as drawing transforms do.
func (m matrix) then(n matrix) matrix {
	return matrix{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b, m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

// NewCanvas makes an empty canvas. vg counts y from below, SVG from above.
func NewCanvas(width, height vg.Length) *Canvas {
	c := &Canvas{width: width, height: height, state: state{m: matrix{a: 1, d: -1, f: float64(height)}}}
	vg.Initialize(c)
	return c
}

// Size implements vg.CanvasSizer.
func (c *Canvas) Size() (x, y vg.Length) { return c.width, c.height }

// SetLineWidth implements vg.Canvas.
func (c *Canvas) SetLineWidth(w vg.Length) { c.state.line = w }

// SetLineDash implements vg.Canvas.
func (c *Canvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.state.dash, c.state.shift = pattern, offset
}

// SetColor implements vg.Canvas.
func (c *Canvas) SetColor(col color.Color) {
	if col == nil {
		col = color.Black
	}
	c.state.color = col
}

// Rotate implements vg.Canvas.
func (c *Canvas) Rotate(r float64) {
	sin, cos := math.Sincos(r)
	c.state.m = c.state.m.then(matrix{a: cos, b: sin, c: -sin, d: cos})
}

// Translate implements vg.Canvas.
func (c *Canvas) Translate(p vg.Point) {
	c.state.m = c.state.m.then(matrix{a: 1, d: 1, e: float64(p.X), f: float64(p.Y)})
}

// Scale implements vg.Canvas.
func (c *Canvas) Scale(x, y float64) { c.state.m = c.state.m.then(matrix{a: x, d: y}) }

// Push implements vg.Canvas.
func (c *Canvas) Push() { c.stack = append(c.stack, c.state) }

// Pop implements vg.Canvas.
func (c *Canvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

// Stroke implements vg.Canvas.
func (c *Canvas) Stroke(p vg.Path) {
	if c.state.line <= 0 {
		return
	}
	fmt.Fprintf(&c.body, `<path class="s-%s" d="%s" stroke-width="%s"%s/>`, class(c.state.color), c.path(p), num(float64(c.state.line)), c.dashes())
}

// Fill implements vg.Canvas.
func (c *Canvas) Fill(p vg.Path) {
	fmt.Fprintf(&c.body, `<path class="f-%s" d="%s"/>`, class(c.state.color), c.path(p))
}

func (c *Canvas) dashes() string {
	if len(c.state.dash) == 0 {
		return ""
	}
	parts := make([]string, len(c.state.dash))
	for i, d := range c.state.dash {
		parts[i] = num(float64(d))
	}
	return fmt.Sprintf(` stroke-dasharray="%s"`, strings.Join(parts, " "))
}

// path writes a path in view box coordinates. Arcs become short lines: an
// arc under a general transform has no simple SVG form, and ours are small.
func (c *Canvas) path(p vg.Path) string {
	var b strings.Builder
	put := func(op string, pts ...vg.Point) {
		b.WriteString(op)
		for i, pt := range pts {
			if i > 0 {
				b.WriteByte(' ')
			}
			x, y := c.state.m.at(pt)
			b.WriteString(num(x) + "," + num(y))
		}
	}
	for i, comp := range p {
		switch comp.Type {
		case vg.MoveComp:
			put("M", comp.Pos)
		case vg.LineComp:
			put("L", comp.Pos)
		case vg.CurveComp:
			if len(comp.Control) == 1 {
				put("Q", comp.Control[0], comp.Pos)
			} else {
				put("C", comp.Control[0], comp.Control[1], comp.Pos)
			}
		case vg.ArcComp:
			const steps = 24
			for k := 0; k <= steps; k++ {
				sin, cos := math.Sincos(comp.Start + comp.Angle*float64(k)/steps)
				op := "L"
				if k == 0 && i == 0 {
					op = "M"
				}
				put(op, vg.Point{X: comp.Pos.X + comp.Radius*vg.Length(cos), Y: comp.Pos.Y + comp.Radius*vg.Length(sin)})
			}
		case vg.CloseComp:
			b.WriteByte('Z')
		}
	}
	return b.String()
}

// FillString implements vg.Canvas. Rotated text keeps its rotation.
func (c *Canvas) FillString(f font.Face, pt vg.Point, text string) {
	if f.Font.Size == 0 || text == "" {
		return
	}
	x, y := c.state.m.at(pt)
	turn := ""
	if m := c.state.m; math.Abs(m.b) > 1e-9 {
		turn = fmt.Sprintf(` transform="rotate(%s %s %s)"`, num(math.Atan2(m.b, m.a)*180/math.Pi), num(x), num(y))
	}
	cls := "f-" + class(c.state.color)
	if c.textClass != "" {
		cls += " " + c.textClass
	}
	if f.Font.Weight > 0 {
		cls += " b"
	}
	fmt.Fprintf(&c.body, `<text class="%s" x="%s" y="%s" font-size="%s"%s>%s</text>`, cls, num(x), num(y), num(f.Font.Size.Points()), turn, html.EscapeString(text))
}

// DrawImage implements vg.Canvas; our figures hold no images.
func (c *Canvas) DrawImage(vg.Rectangle, image.Image) {}

// Raw adds SVG elements of our own, such as a group.
func (c *Canvas) Raw(svg string) { c.body.WriteString(svg) }

// WriteSVG writes the drawing as an img with a title and a description, which
// a screen reader speaks; id must be unique on the page.
func (c *Canvas) WriteSVG(w io.Writer, id, title, desc, cls string) error {
	_, err := fmt.Fprintf(w, `<svg class="%s" role="img" aria-labelledby="%s-t %s-d" viewBox="0 0 %s %s" width="%s" height="%s" xmlns="http://www.w3.org/2000/svg"><title id="%s-t">%s</title><desc id="%s-d">%s</desc>%s</svg>`,
		html.EscapeString(cls), id, id, num(float64(c.width)), num(float64(c.height)), num(float64(c.width)), num(float64(c.height)),
		id, html.EscapeString(title), id, html.EscapeString(desc), c.body.String())
	return err
}

// num writes a coordinate with two decimals at most.
func num(x float64) string {
	s := strconv.FormatFloat(math.Round(x*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}
