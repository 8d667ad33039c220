package page

import (
	"html/template"

	"hindcheck/cmd/report/internal/figure"
)

func init() { register(template.FuncMap{"filled": filled, "moved": moved, "besideCell": besideCell}) }

// filled draws a share as a bar.
func filled(n Node, path string) (template.HTML, error) {
	share, ok := n.float(path + ".estimate")
	if !ok {
		return "", nil
	}
	svg, err := figure.Parts(id(n.path)+"-"+id(path), "Share filled", []figure.Part{{Name: "filled", Share: share}, {Name: "blank", Share: 1 - share}})
	return template.HTML(svg), err
}

// moved draws the share of the word that moved most, now above before.
func moved(n Node) (template.HTML, error) {
	svg, err := figure.Forest(id(n.path)+"-moved", "Share of the word now and before",
		"Filled disc: now. Open square: before. The numbers stand in this row.", interval(n, "word_now"), interval(n, "word_before"), figure.Interval{})
	return template.HTML(svg), err
}

// besideCell draws the two figures that stand side by side.
func besideCell(n Node) (template.HTML, error) {
	svg, err := figure.Forest(id(n.path)+"-beside", "Second and first figure",
		"Filled disc: second. Open square: first. The numbers stand in this row.", interval(n, "second"), interval(n, "first"), figure.Interval{})
	return template.HTML(svg), err
}
