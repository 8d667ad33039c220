package tune

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/figure"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
	"hindcheck/cmd/report/internal/thresholds"
)

//go:embed page.html
var pageHTML string

// row is one line of the table of trials.
type row struct {
	Name, Months string
	Part         Part
}

var page = sync.OnceValues(func() (*template.Template, error) {
	return template.New("page").Funcs(template.FuncMap{
		"percent": percent, "points": points, "path": pathFigure,
		"perDay": func(f review.Figure) string { return thresholds.Limits(f, 1, 2, "") },
		"share":  func(x float64) string { return fmt.Sprintf("%.1f %%", 100*x) },
		"join":   func(l []string) string { return strings.Join(l, ", ") },
		"row":    func(name, months string, p Part) row { return row{name, months, p} },
	}).Parse(pageHTML)
})

// HTML writes a result as one page that needs nothing else.
func HTML(w io.Writer, r *Result) error {
	t, err := page()
	if err != nil {
		return fmt.Errorf("parse page of tune: %w", err)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "body", r); err != nil {
		return fmt.Errorf("write page of tune: %w", err)
	}
	text := func(s string) template.HTML { return template.HTML(template.HTMLEscapeString(s)) }
	return sheet.Write(w, sheet.Page{
		Title: "Thresholds together: " + r.RuleSet, Kicker: "Thresholds", Heading: "Several thresholds at once",
		Style: `svg.plane { width: 100%; height: auto; max-width: 38rem; display: block; } tr.on th, tr.on td { background: var(--band); }`,
		Facts: []sheet.Fact{
			{Name: "Cut", Value: text(r.CutLabel)}, {Name: "Rules in force", Value: text(r.RuleSet)},
			{Name: "Definition of need", Value: text(r.CaseDefinition)}, {Name: "Data up to", Value: text(r.AsOf.DataCut.Format("2 January 2006"))},
		},
		Body: template.HTML(b.String()), Cautions: sheet.Usual(),
		Foot: text(fmt.Sprintf("Load %d. Intervals at %.0f %% confidence, %d draws, seed %d.", r.AsOf.Load, 100*r.Standard.Confidence, r.Standard.Draws, r.Standard.Seed)),
	})
}

// pathFigure draws referrals against missed animals, the rules in force and the
// choice marked.
func pathFigure(r *Result) (template.HTML, error) {
	line := figure.Path{Strong: true, Steps: true}
	var spots []figure.Spot
	low, high, most := r.Path[0].PerDay, 0.0, 0.0
	for _, s := range r.Path {
		at := figure.Point{X: s.PerDay, Y: s.Missed}
		low, high, most = min(low, at.X), max(high, at.X), max(most, at.Y)
		switch {
		case s.Chosen && r.Chosen != nil && r.Chosen.Fit.Sensitivity.Estimable():
			f := r.Chosen.Fit.Sensitivity
			spots = append(spots, figure.Spot{Point: at, Name: "chosen", HasLimits: true, LowX: at.X, HighX: at.X, LowY: 1 - *f.High, HighY: 1 - *f.Low})
			most = max(most, 1-*f.Low)
		case s.Present:
			spots = append(spots, figure.Spot{Point: at, Name: "in force", Kind: figure.Square})
			continue // it need not lie on the path
		}
		line.Points = append(line.Points, at)
	}
	svg, err := figure.Plane("path", "Referrals against missed animals", "A falling line of combinations. The numbers stand in the table of the path.",
		figure.Axis{Title: "Referrals a day", Min: low - 0.05*(high-low), Max: high + 0.05*(high-low)},
		figure.Axis{Title: "Missed of those in need", Max: max(most*1.1, 0.01), Share: true}, []figure.Path{line}, spots)
	return template.HTML(svg), err
}
