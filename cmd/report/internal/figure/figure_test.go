package figure

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/plot/vg"
)

// wellFormed reads a drawing back as XML and returns the text elements.
func wellFormed(t *testing.T, svg string) (texts []string) {
	t.Helper()
	dec := xml.NewDecoder(strings.NewReader(svg))
	in := false
	for {
		tok, err := dec.Token()
		if err == io.EOF {
			return texts
		}
		if err != nil {
			t.Fatalf("%v in %s", err, svg)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			in = tok.Name.Local == "text"
			for _, a := range tok.Attr {
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Fatalf("%s=%q", a.Name.Local, a.Value)
				}
			}
		case xml.CharData:
			if in {
				texts = append(texts, string(tok))
			}
		case xml.EndElement:
			in = false
		}
	}
}

func TestTransforms(t *testing.T) {
	c := NewCanvas(100, 50)
	at := func() string {
		x, y := c.state.m.at(vg.Point{X: 10, Y: 20})
		return fmt.Sprintf("%.6g %.6g", x, y)
	}
	if got := at(); got != "10 30" { // y counts from below
		t.Errorf("plain: %s", got)
	}
	c.Push()
	c.Translate(vg.Point{X: 5, Y: 5})
	if got := at(); got != "15 25" {
		t.Errorf("moved: %s", got)
	}
	c.Rotate(math.Pi / 2) // (10, 20) turns to (-20, 10), then moves to (-15, 15)
	if got := at(); got != "-15 35" {
		t.Errorf("moved and turned: %s", got)
	}
	c.Scale(2, 1)
	if got := at(); got != "-15 25" { // (20, 20) turns to (-20, 20)
		t.Errorf("scaled before turning: %s", got)
	}
	c.Pop()
	if got := at(); got != "10 30" {
		t.Errorf("after pop: %s", got)
	}
}

func TestForestDrawsWhatIsKnown(t *testing.T) {
	known := Interval{0.2, 0.5, 0.9, true}
	for name, c := range map[string]struct {
		corrected, naive, bounds Interval
		has, lacks               []string
	}{
		"all":         {known, known, known, []string{"f-band", "f-mark", "s-muted"}, []string{"not estimable"}},
		"naive only":  {Interval{}, known, Interval{}, []string{"not estimable", "s-muted"}, []string{"f-mark", "f-band"}},
		"nothing":     {Interval{}, Interval{}, Interval{}, []string{"not estimable"}, []string{"f-mark", "f-band"}},
		"at the ends": {Interval{0, 0, 1, true}, Interval{1, 1, 1, true}, Interval{0, 0, 1, true}, []string{"f-mark"}, nil},
	} {
		svg, err := Forest("x", "a <title>", "a & b", c.corrected, c.naive, c.bounds)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, svg)
		for _, s := range c.has {
			if !strings.Contains(svg, s) {
				t.Errorf("%s: no %s in %s", name, s, svg)
			}
		}
		for _, s := range c.lacks {
			if strings.Contains(svg, s) {
				t.Errorf("%s: %s in %s", name, s, svg)
			}
		}
		if !strings.Contains(svg, "a &lt;title&gt;") || !strings.Contains(svg, `role="img"`) {
			t.Errorf("%s: title or role is missing", name)
		}
	}
}

// The corrected disc stands at its share of the axis.
func TestForestPosition(t *testing.T) {
	if cellX(0) != cellMargin || cellX(1) != cellWidth-cellMargin || cellX(0.5) != cellWidth/2 {
		t.Errorf("axis from %v over %v to %v", cellX(0), cellX(0.5), cellX(1))
	}
}

func months(n int) []Month {
	var out []Month
	for i := range n {
		out = append(out, Month{Label: fmt.Sprintf("M%d", i), Value: 0.2 + 0.01*float64(i%5), Known: i != 3, Young: i >= n-2,
			HasLimits: i > 0, Low: 0.15, Centre: 0.22, High: 0.28, Signal: i == 2, Review: i == n-3})
	}
	return out
}

func TestTrend(t *testing.T) {
	for _, size := range []Size{Wide, Narrow} {
		for _, n := range []int{0, 1, 2, 12, 26, 60} {
			svg, err := Trend("t", "title", "desc", "what", months(n), Shares, size)
			if err != nil {
				t.Fatal(err)
			}
			texts := wellFormed(t, svg)
			if n > 0 && texts[len(texts)-1] != "what" {
				t.Errorf("%d months: texts %q", n, texts)
			}
			if strings.Contains(svg, "NaN") {
				t.Errorf("%d months: NaN", n)
			}
		}
	}
	svg, _ := Trend("t", "title", "desc", "what", months(12), Shares, Wide)
	if !strings.Contains(svg, "s-alert") && !strings.Contains(svg, "f-alert") || !strings.Contains(svg, "stroke-dasharray=\"4 3\"") {
		t.Error("a signal or a young month is not marked")
	}
	again, _ := Trend("t", "title", "desc", "what", months(12), Shares, Wide)
	if svg != again {
		t.Error("the same data give another drawing")
	}
}

func TestNiceTop(t *testing.T) {
	for top, want := range map[float64]float64{0: 0.1, 0.013: 0.015, 0.09: 0.1, 0.31: 0.4, 0.36: 0.4, 0.93: 1, 1: 1} {
		if got := niceTop(top, Shares); math.Abs(got-want) > 1e-9 {
			t.Errorf("niceTop(%v) = %v, want %v", top, got, want)
		}
	}
}

// Numbers end above one, and what changed and what is provisional is drawn.
func TestTrendOfNumbers(t *testing.T) {
	list := []Month{{Label: "a", Value: 12, Known: true, HasLimits: true, Low: 3, Centre: 9, High: 41, Provisional: true}, {Label: "b", Value: 30, Known: true, Event: true}}
	svg, err := Trend("t", "title", "desc", "days", list, Numbers, Wide)
	if err != nil {
		t.Fatal(err)
	}
	texts := strings.Join(wellFormed(t, svg), " ")
	if !strings.Contains(texts, "50") || strings.Contains(texts, "%") {
		t.Errorf("axis: %s", texts)
	}
	if !strings.Contains(svg, `stroke-dasharray="6 2"`) || !strings.Contains(svg, `stroke-dasharray="5 3"`) {
		t.Error("an event or a provisional limit is not marked")
	}
}

func TestParts(t *testing.T) {
	svg, err := Parts("p", "title", []Part{{"assessed", 0.75}, {"not asked", 0}, {"declined", 0.25}})
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, svg)
	if strings.Count(svg, "<rect") != 2 || !strings.Contains(svg, `x="150" y="1" width="50"`) {
		t.Errorf("%s", svg)
	}
}

// Units within the limits have no name; those beyond are named and differ in
// shape, so that they can be told apart in grey.
func TestFunnel(t *testing.T) {
	limits := []FunnelLimit{{10, 0, 0, 0.6, 0.8}, {100, 0.1, 0.15, 0.35, 0.4}, {400, 0.2, 0.21, 0.3, 0.31}}
	units := []Unit{{"a", 100, 0.25, 0, false}, {"b", 300, 0.34, 2, false}, {"c", 200, 0.18, -1, false}, {"d", 5, 0.9, 0, true}}
	for _, size := range []Size{Wide, Narrow} {
		svg, err := Funnel("f", "title", "desc", units, limits, 0.25, size)
		if err != nil {
			t.Fatal(err)
		}
		texts := strings.Join(wellFormed(t, svg), "|")
		for name, want := range map[string]bool{"|b|": true, "|c": true, "|a|": false, "|d|": false} {
			if strings.Contains(texts+"|", name) != want {
				t.Errorf("%s named: %v, want %v: %s", name, !want, want, texts)
			}
		}
		if strings.Count(svg, "f-alert") != 1 {
			t.Error("the unit beyond the full limits is not marked alone")
		}
	}
	for _, none := range [][]Unit{nil, {{"a", 0, 0, 0, true}}} {
		if svg, err := Funnel("f", "title", "desc", none, nil, 0, Wide); err != nil || strings.Contains(svg, "NaN") {
			t.Errorf("%v %s", err, svg)
		}
	}
	twins, _ := Funnel("f", "title", "desc", []Unit{{"a", 100, 0.9, 2, false}, {"b", 101, 0.9, 2, false}}, limits, 0.25, Narrow)
	if texts := strings.Join(wellFormed(t, twins), "|"); strings.Contains(texts, "a|b") || !strings.Contains(texts, "|a|") {
		t.Errorf("two labels in one place: %s", texts)
	}
	svg, _ := Funnel("f", "title", "desc", []Unit{{"a", 4000, 0.8, 0, false}, {"b", 5000, 0.82, 0, false}}, []FunnelLimit{{4000, 0.78, 0.79, 0.83, 0.84}, {5000, 0.79, 0.8, 0.82, 0.83}}, 0.81, Wide)
	if texts := strings.Join(wellFormed(t, svg), "|"); !strings.Contains(texts, "4,000") || strings.Contains("|"+texts, "|0 %|") {
		t.Errorf("axes: %s", texts)
	}
}

func TestRatios(t *testing.T) {
	if ratioX(1) != cellX(0.5) || ratioX(100) != cellX(1) || ratioX(1000) != cellX(1) || ratioX(0) != cellX(0) || math.Abs(float64(ratioX(0.1)-cellX(0.25))) > 1e-9 {
		t.Error("the axis is not logarithmic from a hundredth to a hundred")
	}
	svg, err := Ratios("r", "title", "desc", Ratio{2, 5, math.Inf(1), true}, Ratio{0, 0.5, 0.9, true})
	if err != nil {
		t.Fatal(err)
	}
	wellFormed(t, svg)
	none, _ := Ratios("r", "title", "desc", Ratio{}, Ratio{})
	if !strings.Contains(none, "not estimable") || strings.Contains(svg, "not estimable") {
		t.Error("what is not known is not said")
	}
	axis, _ := RatioAxis("a")
	if texts := strings.Join(wellFormed(t, axis), " "); texts != "0.01 0.1 1 10 100" {
		t.Errorf("axis %s", texts)
	}
}

func TestPlaneAndStacks(t *testing.T) {
	rising := []Path{{Points: []Point{{0, 0}, {0.2, 0.6}, {1, 1}}, Strong: true, Steps: true}, {Points: []Point{{0, 0}, {1, 1}}}}
	spots := []Spot{{Point: Point{0.2, 0.6}, Name: "in <force>", Kind: Square}, {Point: Point{0.9, 0.95}, Name: "chosen", HasLimits: true, LowX: 0.8, HighX: 1, LowY: 0.9, HighY: 1}}
	svg, err := Plane("p", "title", "desc", Axis{Title: "1 - specificity", Max: 1, Share: true}, Axis{Title: "Sensitivity", Max: 1, Share: true}, rising, spots)
	if err != nil {
		t.Fatal(err)
	}
	texts := strings.Join(wellFormed(t, svg), "|")
	for _, want := range []string{"0 %", "100 %", "in <force>", "chosen", "Sensitivity", "1 - specificity"} {
		if !strings.Contains(texts, want) {
			t.Errorf("no %q in %s", want, texts)
		}
	}
	if !strings.Contains(svg, "s-mark") || !strings.Contains(svg, "stroke-dasharray") || strings.Contains(texts, "-0") {
		t.Errorf("lines: %s", svg)
	}
	for _, bars := range [][]Stack{nil, {{X: 3, Parts: []float64{1, 2, 0}}}, {{X: 36.5, Parts: []float64{1}}, {X: 40, Parts: []float64{0, 5}}}} {
		svg, err := Stacks("s", "title", "desc", "degC", bars, 0.1, []float64{38})
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, svg)
		if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") {
			t.Errorf("%d bars: %s", len(bars), svg)
		}
	}
	if svg, err := Plane("e", "t", "d", Axis{}, Axis{}, nil, nil); err != nil || strings.Contains(svg, "NaN") {
		t.Errorf("an empty plane: %v", err)
	}
}
