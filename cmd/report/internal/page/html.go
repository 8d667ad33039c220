package page

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/figure"
	"hindcheck/cmd/report/internal/review"
)

// templates hold review.html, the frame, and a file for each part of the page.
//
//go:embed *.html
var templates embed.FS

// styles hold review.css for the whole page and a file for each part that
// needs rules of its own.
//
//go:embed *.css
var styles embed.FS

// css joins the style sheets, that of the whole page first.
var css = sync.OnceValue(func() template.CSS {
	out := ""
	list, _ := styles.ReadDir(".") // embedded: it cannot fail
	for _, f := range list {
		text, _ := styles.ReadFile(f.Name())
		if f.Name() == "review.css" {
			out = string(text) + out
		} else {
			out += string(text)
		}
	}
	return template.CSS(out)
})

//go:embed sort.js
var sortJS string

// funcs are what the template may call: they format and draw.
var funcs = template.FuncMap{
	"css":        css,
	"js":         func() template.JS { return template.JS(sortJS) },
	"forest":     forest,
	"forestAxis": forestAxis,
	"parts":      parts,
	"partsKey":   func() []string { return partNames },
	"trend":      trend,
	"shade":      shade,
	"add":        func(a, b int) int { return a + b },
	"words":      Words,
}

var parsed = sync.OnceValues(func() (*template.Template, error) {
	return template.New("review.html").Funcs(funcs).ParseFS(templates, "*.html")
})

// HTML writes a review as one file that needs nothing else: no network, no
// script to be read, its figures drawn inside.
func HTML(w io.Writer, r *review.Review) error {
	data, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	return FromJSON(w, data)
}

// FromJSON writes the page of a stored review.
func FromJSON(w io.Writer, data []byte) error {
	n, err := root(data)
	if err != nil {
		return err
	}
	t, err := parsed()
	if err != nil {
		return fmt.Errorf("parse page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, n); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	_, err = w.Write(squeeze(b.Bytes()))
	return err
}

// squeeze drops the blank lines that template actions leave.
func squeeze(b []byte) []byte {
	var out bytes.Buffer
	for _, line := range strings.Split(string(b), "\n") {
		if trimmed := strings.TrimRight(line, " \t"); trimmed != "" {
			out.WriteString(trimmed)
			out.WriteByte('\n')
		}
	}
	return out.Bytes()
}

// id makes an identifier of a path.
func id(path string) string { return strings.NewReplacer(".", "-", "_", "-").Replace(path) }

// interval reads a figure for drawing.
func interval(n Node, path string) figure.Interval {
	at, ok := n.float(path + ".estimate")
	low, okLow := n.float(path + ".low")
	high, okHigh := n.float(path + ".high")
	return figure.Interval{Low: low, At: at, High: high, Known: ok && okLow && okHigh}
}

// forest draws the cell of one figure: n has corrected, naive and bounds.
func forest(n Node, of string) (template.HTML, error) {
	b := figure.Interval{}
	low, okLow := n.float("bounds." + of + ".low")
	high, okHigh := n.float("bounds." + of + ".high")
	if okLow && okHigh {
		b = figure.Interval{Low: low, High: high, Known: true}
	}
	svg, err := figure.Forest(id(n.path)+"-"+of, "Corrected and naive "+of,
		"Filled disc: corrected. Open square: naive. Pale bar: possible range. The numbers stand in this row.",
		interval(n, "corrected."+of), interval(n, "naive."+of), b)
	return template.HTML(svg), err
}

// forestRate draws the cell of an under- or over-triage rate.
func forestRate(n Node) (template.HTML, error) {
	b := figure.Interval{}
	low, okLow := n.float("bounds.low")
	high, okHigh := n.float("bounds.high")
	if okLow && okHigh {
		b = figure.Interval{Low: low, High: high, Known: true}
	}
	svg, err := figure.Forest(id(n.path)+"-rate", "Corrected and naive rate",
		"Filled disc: corrected. Open square: naive. Pale bar: possible range. The numbers stand in this row.",
		interval(n, "corrected"), interval(n, "naive"), b)
	return template.HTML(svg), err
}

func init() { funcs["forestRate"] = forestRate }

func forestAxis(n Node, name string) (template.HTML, error) {
	svg, err := figure.ForestAxis("axis-" + id(n.path) + "-" + name)
	return template.HTML(svg), err
}

// partNames are the segments of a bar of states, in their order.
var partNames = []string{"assessed", "not asked", "not asked: stopped early", "not possible", "declined"}

// parts draws the states of one finding.
func parts(n Node) (template.HTML, error) {
	total, _ := n.float("episodes")
	var list []figure.Part
	rest := total
	for i, key := range []string{"", "not_asked", "stopped_early", "not_possible", "declined"} {
		x, _ := n.float(key)
		rest -= x
		list = append(list, figure.Part{Name: partNames[i], Share: x})
	}
	list[0].Share = rest
	for i := range list {
		if total > 0 {
			list[i].Share /= total
		}
	}
	svg, err := figure.Parts(id(n.path)+"-parts", "How often the check was done, and why not", list)
	return template.HTML(svg), err
}

// trend draws the escalated share by month, wide and narrow.
func trend(n Node) (template.HTML, error) {
	points, err := n.List("trend")
	if err != nil {
		return "", err
	}
	review, err := n.Raw("period.month")
	if err != nil {
		return "", err
	}
	var months []figure.Month
	for _, p := range points {
		share, ok := p.float("escalated.estimate")
		m := figure.Month{Share: share, Known: ok, Young: !p.Has("mature"), Review: p.Is("month", review), Signal: p.Has("signals")}
		if m.Label, err = p.Raw("label"); err != nil {
			return "", err
		}
		if p.Has("limits") {
			m.HasLimits = true
			m.Low, _ = p.float("limits.low")
			m.Centre, _ = p.float("limits.centre")
			m.High, _ = p.float("limits.high")
		}
		months = append(months, m)
	}
	out := template.HTML("")
	for i, size := range []figure.Size{figure.Wide, figure.Narrow} {
		svg, err := figure.Trend(fmt.Sprintf("trend-%d", i), "Share of episodes advised same day or sooner, by month",
			"A line over months with control limits as a pale band. The numbers stand in the table below.",
			"Advised same day or sooner", months, size)
		if err != nil {
			return "", err
		}
		out += template.HTML(svg)
	}
	return out, nil
}

// shade is the class of a cell by its share of the row, in five steps.
func shade(n Node, path, total string) string {
	x, ok := n.float(path)
	t, ok2 := n.float(total)
	if !ok || !ok2 || t == 0 || x == 0 {
		return "h0"
	}
	return fmt.Sprintf("h%d", min(5, 1+int(x/t*5)))
}
