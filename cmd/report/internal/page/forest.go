package page

import (
	"html/template"
	"strings"

	"hindcheck/cmd/report/internal/figure"
)

func init() {
	register(template.FuncMap{"forest": forest, "forestRate": forestRate, "forestAxis": forestAxis})
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

func forestAxis(n Node, name string) (template.HTML, error) {
	svg, err := figure.ForestAxis("axis-" + id(n.path) + "-" + name)
	return template.HTML(svg), err
}
