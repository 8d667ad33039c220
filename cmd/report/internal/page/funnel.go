package page

import (
	"fmt"
	"html/template"

	"hindcheck/cmd/report/internal/figure"
)

func init() { register(template.FuncMap{"funnel": funnel}) }

// funnel draws one funnel plot, wide and narrow.
func funnel(n Node) (template.HTML, error) {
	list, err := n.List("units")
	if err != nil {
		return "", err
	}
	var units []figure.Unit
	for _, x := range list {
		u := figure.Unit{NotJudged: x.Has("not_judged")}
		if u.Name, err = x.Raw("name"); err != nil {
			return "", err
		}
		share, ok := x.float("share.estimate")
		if !ok {
			continue
		}
		u.Share = share
		u.N, _ = x.float("share.denominator")
		outside, _ := x.float("outside")
		u.Outside = int(outside)
		units = append(units, u)
	}
	curve, err := n.List("curve")
	if err != nil {
		return "", err
	}
	var limits []figure.FunnelLimit
	for _, x := range curve {
		var l figure.FunnelLimit
		for key, into := range map[string]*float64{"n": &l.N, "outer_low": &l.OuterLow, "inner_low": &l.InnerLow, "inner_high": &l.InnerHigh, "outer_high": &l.OuterHigh} {
			*into, _ = x.float(key)
		}
		limits = append(limits, l)
	}
	target, _ := n.float("target")
	measure, err := n.Raw("measure")
	if err != nil {
		return "", err
	}
	out := template.HTML("")
	for i, size := range []figure.Size{figure.Wide, figure.Narrow} {
		svg, err := figure.Funnel(fmt.Sprintf("%s-%d", id(n.path), i), "Funnel plot: "+measure,
			"Each mark is one unit, by its number of episodes and its share. The numbers stand in the table below.", units, limits, target, size)
		if err != nil {
			return "", err
		}
		out += template.HTML(svg)
	}
	return out, nil
}
