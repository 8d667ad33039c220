package page

import (
	"fmt"
	"html/template"

	"hindcheck/cmd/report/internal/figure"
)

func init() { register(template.FuncMap{"chart": chart}) }

// chart draws one control chart, wide and narrow; root knows the month under
// review.
func chart(root, n Node) (template.HTML, error) {
	points, err := n.List("points")
	if err != nil {
		return "", err
	}
	review, err := root.Raw("period.month")
	if err != nil {
		return "", err
	}
	title, err := n.Raw("title")
	if err != nil {
		return "", err
	}
	provisional := n.Has("phases.0.provisional")
	var months []figure.Month
	for _, p := range points {
		m := figure.Month{Young: !p.Has("mature"), Review: p.Is("month", review) && !n.Is("scale", "days"), Signal: p.Has("signals"), Event: p.Has("events"), Provisional: provisional}
		if m.Label, err = p.Raw("label"); err != nil {
			return "", err
		}
		if !p.Has("missing") {
			m.Value, m.Known = p.float("value")
		}
		if p.Has("limits") {
			m.HasLimits = true
			m.Low, _ = p.float("limits.low")
			m.Centre, _ = p.float("limits.centre")
			m.High, _ = p.float("limits.high")
		}
		months = append(months, m)
	}
	scale := figure.Numbers
	if n.Is("scale", "share") || n.Is("scale", "rare_share") {
		scale = figure.Shares
	}
	out := template.HTML("")
	for i, size := range []figure.Size{figure.Wide, figure.Narrow} {
		svg, err := figure.Trend(fmt.Sprintf("%s-%d", id(n.path), i), title,
			"Points joined by a line, with control limits as a pale band. The numbers stand in the table below.", "", months, scale, size)
		if err != nil {
			return "", err
		}
		out += template.HTML(svg)
	}
	return out, nil
}
