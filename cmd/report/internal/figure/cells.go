package figure

import (
	"bytes"
	"fmt"
	"html"

	"gonum.org/v1/plot/vg"
)

// Interval is a share with its limits; it is drawn only if Known.
type Interval struct {
	Low, At, High float64
	Known         bool
}

// The geometry of a forest cell: the axis runs from 0 to 1 between the margins.
const (
	cellWidth   = 190
	cellHeight  = 26
	axisHeight  = 20
	cellMargin  = 14
	naiveOffset = 5
)

func cellX(share float64) vg.Length {
	return cellMargin + vg.Length(share)*(cellWidth-2*cellMargin)
}

// Forest draws one row: the corrected interval with a filled disc above the
// naive one with an open square, and the assumption-free bounds as a pale bar
// behind. desc is spoken in place of the drawing.
func Forest(id, title, desc string, corrected, naive, bounds Interval) (string, error) {
	c := NewCanvas(cellWidth, cellHeight)
	grid(c, 0, cellHeight)
	mid := vg.Length(cellHeight) / 2
	if bounds.Known {
		box(c, band, cellX(bounds.Low), mid-9, cellX(bounds.High), mid+9)
	}
	for _, s := range []float64{0, 0.5, 1} {
		line(c, rule, 1, nil, vg.Point{X: cellX(s), Y: 0}, vg.Point{X: cellX(s), Y: cellHeight})
	}
	up, down := mid+naiveOffset, mid-naiveOffset
	if naive.Known {
		line(c, muted, 1.2, nil, vg.Point{X: cellX(naive.Low), Y: down}, vg.Point{X: cellX(naive.High), Y: down})
		square(c, vg.Point{X: cellX(naive.At), Y: down}, 2.8, muted, false)
	}
	if corrected.Known {
		line(c, mark, 2, nil, vg.Point{X: cellX(corrected.Low), Y: up}, vg.Point{X: cellX(corrected.High), Y: up})
		disc(c, vg.Point{X: cellX(corrected.At), Y: up}, 3.6, mark, true)
	} else {
		label(c, "not estimable", 9, false, muted, vg.Point{X: cellX(0.5), Y: up - 3}, 0)
	}
	return c.text(id, title, desc, "forest")
}

func grid(c *Canvas, y0, y1 vg.Length) {
	for _, s := range []float64{0.25, 0.75} {
		line(c, rule, 0.6, []vg.Length{2, 2}, vg.Point{X: cellX(s), Y: y0}, vg.Point{X: cellX(s), Y: y1})
	}
}

// ForestAxis draws the axis that the cells share, for the head of the table.
func ForestAxis(id string) (string, error) {
	c := NewCanvas(cellWidth, axisHeight)
	for _, s := range []float64{0, 0.25, 0.5, 0.75, 1} {
		line(c, muted, 1, nil, vg.Point{X: cellX(s), Y: 0}, vg.Point{X: cellX(s), Y: 4})
	}
	line(c, muted, 1, nil, vg.Point{X: cellX(0), Y: 0.5}, vg.Point{X: cellX(1), Y: 0.5})
	c.textClass = "tick"
	for _, s := range []float64{0, 0.5, 1} {
		label(c, percentLabel(s), 9.5, false, muted, vg.Point{X: cellX(s), Y: 7}, 0)
	}
	return c.text(id, "Axis from 0 to 100 per cent", "The scale of the cells below.", "forest")
}

// Part is one segment of a bar.
type Part struct {
	Name  string
	Share float64
}

// Parts draws a bar of up to five segments whose fills differ in lightness and
// pattern, so that they can be told apart in grey.
func Parts(id, title string, parts []Part) (string, error) {
	const width, height = 200, 16
	var b bytes.Buffer
	desc := ""
	x := 0.0
	for i, p := range parts {
		w := p.Share * width
		if w > 0 {
			fmt.Fprintf(&b, `<rect class="part p%d" x="%s" y="1" width="%s" height="14"/>`, i, num(x), num(w))
		}
		x += w
		if desc != "" {
			desc += ", "
		}
		desc += p.Name
	}
	c := NewCanvas(width, height)
	c.Raw(b.String())
	return c.text(id, title, "From left to right: "+desc+". The numbers stand in this row.", "parts")
}

// text writes the drawing as a string.
func (c *Canvas) text(id, title, desc, cls string) (string, error) {
	var b bytes.Buffer
	err := c.WriteSVG(&b, html.EscapeString(id), title, desc, cls)
	return b.String(), err
}
