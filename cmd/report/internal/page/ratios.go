package page

import (
	"html/template"
	"math"

	"hindcheck/cmd/report/internal/figure"
)

func init() { register(template.FuncMap{"ratios": ratios, "ratioAxis": ratioAxis}) }

// ratio reads a likelihood ratio for drawing; a limit that it lacks lies at the
// end of the axis.
func ratio(n Node, path string) figure.Ratio {
	at, ok := n.float(path + ".estimate")
	low, okLow := n.float(path + ".low")
	high, okHigh := n.float(path + ".high")
	if !okLow {
		low = 0
	}
	if !okHigh {
		high = math.Inf(1)
	}
	return figure.Ratio{Low: low, At: at, High: high, Known: ok}
}

func ratios(n Node) (template.HTML, error) {
	svg, err := figure.Ratios(id(n.path)+"-ratios", "Positive and negative likelihood ratio",
		"Filled disc: positive. Open square: negative. The numbers stand in this row.", ratio(n, "lr_positive"), ratio(n, "lr_negative"))
	return template.HTML(svg), err
}

func ratioAxis(n Node) (template.HTML, error) {
	svg, err := figure.RatioAxis("axis-" + id(n.path) + "-ratios")
	return template.HTML(svg), err
}
