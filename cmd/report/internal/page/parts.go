package page

import (
	"html/template"

	"hindcheck/cmd/report/internal/figure"
)

func init() {
	register(template.FuncMap{"parts": parts, "partsKey": func() []string { return partNames }})
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
