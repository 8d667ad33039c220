package thresholds

import (
	"fmt"
	"html/template"

	"hindcheck/cmd/report/internal/figure"
	"hindcheck/cmd/report/internal/review"
)

// rateLine makes a path of candidates whose two figures are known.
func rateLine(g Group, of func(Candidate) (x, y review.Figure, flipX, flipY bool), strong bool) figure.Path {
	p := figure.Path{Strong: strong}
	for _, c := range g.Candidates {
		x, y, flipX, flipY := of(c)
		if !x.Estimable() || !y.Estimable() {
			continue
		}
		p.Points = append(p.Points, figure.Point{X: flip(*x.Estimate, flipX), Y: flip(*y.Estimate, flipY)})
	}
	return p
}

func flip(x float64, yes bool) float64 {
	if yes {
		return 1 - x
	}
	return x
}

// curveFigure draws the two ROC curves with the threshold in force and the first
// choice.
func curveFigure(r *Result, g Group) (template.HTML, error) {
	corrected := rateLine(g, func(c Candidate) (review.Figure, review.Figure, bool, bool) {
		return c.Corrected.Specificity, c.Corrected.Sensitivity, true, false
	}, true)
	naive := rateLine(g, func(c Candidate) (review.Figure, review.Figure, bool, bool) {
		return c.Naive.Specificity, c.Naive.Sensitivity, true, false
	}, false)
	naive.Steps, corrected.Steps = true, true
	diagonal := figure.Path{Points: []figure.Point{{X: 0, Y: 0}, {X: 1, Y: 1}}}
	var spots []figure.Spot
	for _, c := range g.Candidates {
		rates := c.Corrected
		if !rates.Sensitivity.Estimable() {
			rates = c.Naive
		}
		if c.InForce && rates.Sensitivity.Estimable() && rates.Specificity.Estimable() {
			spots = append(spots, figure.Spot{Point: figure.Point{X: 1 - *rates.Specificity.Estimate, Y: *rates.Sensitivity.Estimate}, Name: c.Rule, Kind: figure.Square})
		}
	}
	for _, c := range g.Choices {
		if c.Trial != nil && c.Trial.Fit.Sensitivity.Estimable() && c.Trial.Fit.Specificity.Estimable() && c.Trial.Rule != g.Rule {
			sens, spec := c.Trial.Fit.Sensitivity, c.Trial.Fit.Specificity
			spots = append(spots, figure.Spot{Point: figure.Point{X: 1 - *spec.Estimate, Y: *sens.Estimate}, Name: c.Trial.Rule, HasLimits: true,
				LowX: 1 - *spec.High, HighX: 1 - *spec.Low, LowY: *sens.Low, HighY: *sens.High})
			break
		}
	}
	share := func(title string) figure.Axis { return figure.Axis{Title: title, Max: 1, Share: true} }
	svg, err := figure.Plane("roc-"+g.Name, "ROC curve of "+r.Label+", "+g.Name, "Two curves from the lower left to the upper right. The numbers stand in the table of every threshold.",
		share("1 - specificity"), share("Sensitivity"), []figure.Path{diagonal, naive, corrected}, spots)
	return template.HTML(svg), err
}

// tradeOffFigure draws the animals in need left unmarked against the readings
// marked a day.
func tradeOffFigure(r *Result, g Group) (template.HTML, error) {
	line := rateLine(g, func(c Candidate) (review.Figure, review.Figure, bool, bool) {
		sens := c.Corrected.Sensitivity
		if !sens.Estimable() {
			sens = c.Naive.Sensitivity
		}
		return c.PerDay, sens, false, true
	}, true)
	most := 0.0
	for _, p := range line.Points {
		most = max(most, p.X)
	}
	var spots []figure.Spot
	for i, c := range g.Candidates {
		if c.InForce && i < len(line.Points) {
			spots = append(spots, figure.Spot{Point: line.Points[i], Name: c.Rule, Kind: figure.Square})
		}
	}
	svg, err := figure.Plane("trade-"+g.Name, "What a threshold costs and misses, "+g.Name,
		"A falling curve: the more readings are marked a day, the fewer animals in need are left out. The numbers stand in the table of every threshold.",
		figure.Axis{Title: "Readings marked a day", Max: most}, figure.Axis{Title: "Animals in need left unmarked", Max: 1, Share: true}, []figure.Path{line}, spots)
	return template.HTML(svg), err
}

// distributionFigure draws how often each value was read, by outcome.
func distributionFigure(r *Result, g Group) (template.HTML, error) {
	step := 1.0
	for range r.Decimals {
		step /= 10
	}
	var bars []figure.Stack
	for _, v := range g.Values {
		bars = append(bars, figure.Stack{X: v.Value, Parts: []float64{float64(v.Needed), float64(v.NotNeeded), float64(v.Unverified)}})
	}
	var marks []float64
	for _, c := range g.Candidates {
		if !c.InForce {
			continue
		}
		if c.Lower != nil {
			marks = append(marks, *c.Lower+step)
		}
		if c.Upper != nil {
			marks = append(marks, *c.Upper)
		}
	}
	svg, err := figure.Stacks("values-"+g.Name, "Readings of "+r.Label+" by outcome, "+g.Name,
		fmt.Sprintf("One bar for each of %d values. The numbers stand in the JSON and CSV forms of this result.", len(bars)), r.UnitOf, bars, step, marks)
	return template.HTML(svg), err
}
