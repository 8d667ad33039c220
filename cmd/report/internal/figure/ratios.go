package figure

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// Ratio is a likelihood ratio with its limits. A limit that does not exist
// (0 below, infinity above) is drawn to the end of the axis.
type Ratio struct {
	Low, At, High float64
	Known         bool
}

// The axis of ratios is logarithmic, from a hundredth to a hundred.
const ratioEnd = 100

// ratioX places a ratio, at the end of the axis if it lies beyond.
func ratioX(r float64) vg.Length {
	if !(r > 0) {
		return cellX(0)
	}
	return cellX(min(1, max(0, 0.5+math.Log10(r)/math.Log10(ratioEnd)/2)))
}

// Ratios draws one row: the positive likelihood ratio with a filled disc above
// the negative one with an open square. The upright line at 1 is a flag that
// says nothing.
func Ratios(id, title, desc string, positive, negative Ratio) (string, error) {
	c := NewCanvas(cellWidth, cellHeight)
	mid := vg.Length(cellHeight) / 2
	for _, r := range []float64{1.0 / ratioEnd, 0.1, 1, 10, ratioEnd} {
		width := vg.Length(0.6)
		if r == 1 {
			width = 1.2
		}
		line(c, rule, width, nil, vg.Point{X: ratioX(r), Y: 0}, vg.Point{X: ratioX(r), Y: cellHeight})
	}
	if negative.Known {
		y := mid - naiveOffset
		line(c, muted, 1.2, nil, vg.Point{X: ratioX(negative.Low), Y: y}, vg.Point{X: ratioX(negative.High), Y: y})
		square(c, vg.Point{X: ratioX(negative.At), Y: y}, 2.8, muted, false)
	}
	if positive.Known {
		y := mid + naiveOffset
		line(c, mark, 2, nil, vg.Point{X: ratioX(positive.Low), Y: y}, vg.Point{X: ratioX(positive.High), Y: y})
		disc(c, vg.Point{X: ratioX(positive.At), Y: y}, 3.6, mark, true)
	}
	if !negative.Known && !positive.Known {
		label(c, "not estimable", 9, false, muted, vg.Point{X: cellX(0.5), Y: mid - 3}, 0)
	}
	return c.text(id, title, desc, "forest")
}

// RatioAxis draws the axis that the cells share.
func RatioAxis(id string) (string, error) {
	c := NewCanvas(cellWidth, axisHeight)
	line(c, muted, 1, nil, vg.Point{X: cellX(0), Y: 0.5}, vg.Point{X: cellX(1), Y: 0.5})
	c.textClass = "tick"
	for _, x := range []struct {
		r float64
		s string
	}{{1.0 / ratioEnd, "0.01"}, {0.1, "0.1"}, {1, "1"}, {10, "10"}, {ratioEnd, "100"}} {
		line(c, muted, 1, nil, vg.Point{X: ratioX(x.r), Y: 0}, vg.Point{X: ratioX(x.r), Y: 4})
		label(c, x.s, 9.5, false, muted, vg.Point{X: ratioX(x.r), Y: 7}, 0)
	}
	return c.text(id, "Axis of ratios from a hundredth to a hundred, by factors of ten", "The scale of the cells below.", "forest")
}
