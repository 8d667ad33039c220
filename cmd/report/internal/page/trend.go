package page

import (
	"fmt"
	"html/template"

	"hindcheck/cmd/report/internal/figure"
)

func init() { register(template.FuncMap{"trend": trend}) }

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
