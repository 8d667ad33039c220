package thresholds

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
)

//go:embed page.html
var pageHTML string

var page = sync.OnceValues(func() (*template.Template, error) {
	return template.New("page").Funcs(template.FuncMap{
		"percent": percent, "figure": func(f review.Figure, times float64, decimals int) string { return Limits(f, times, decimals, "") },
		"points": func(x float64) string { return signed(100 * x) },
		"words":  func(s string) string { return strings.ReplaceAll(s, "_", " ") },
		"join":   func(l []string) string { return strings.Join(l, ", ") },
		"curve":  curveFigure, "tradeOff": tradeOffFigure, "distribution": distributionFigure,
	}).Parse(pageHTML)
})

// style adds to the shared one what only this page needs.
const style = `svg.plane, svg.stacks { width: 100%; height: auto; max-width: 45rem; display: block; }
div.two { display: grid; grid-template-columns: repeat(auto-fit, minmax(17rem, 1fr)); gap: 1rem; }
table.choices td:nth-child(2), table.choices td:last-child { min-width: 13rem; } table.choices th:first-child { min-width: 9rem; }
tr.on th, tr.on td { background: var(--band); }
@media print { td.r { white-space: normal; } table.choices td:nth-child(2), table.choices td:last-child { min-width: 7rem; } table.choices th:first-child { min-width: 6rem; } th.r, td.r { padding-right: 0.5rem; } }`

// HTML writes a result as one page that needs nothing else.
func HTML(w io.Writer, r *Result) error {
	t, err := page()
	if err != nil {
		return fmt.Errorf("parse page of thresholds: %w", err)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, "body", r); err != nil {
		return fmt.Errorf("write page of thresholds: %w", err)
	}
	text := func(s string) template.HTML { return template.HTML(template.HTMLEscapeString(s)) }
	return sheet.Write(w, sheet.Page{
		Title: "Thresholds: " + r.Label, Kicker: "Thresholds", Heading: text(r.Label), Style: style,
		Facts: []sheet.Fact{
			{Name: "Months", Value: text(r.Whole.From + " to " + r.Whole.To)}, {Name: "Cut", Value: text(r.CutLabel)},
			{Name: "Bad end", Value: text(r.Direction)}, {Name: "Rules in force", Value: text(r.RuleSet)},
			{Name: "Definition of need", Value: text(r.CaseDefinition)}, {Name: "Data up to", Value: text(r.AsOf.DataCut.Format("2 January 2006"))},
		},
		Contents: contents(r), Body: template.HTML(b.String()), Cautions: sheet.Usual(),
		Foot: text(fmt.Sprintf("Load %d. Intervals at %.0f %% confidence, %d draws, seed %d.", r.AsOf.Load, 100*r.Standard.Confidence, r.Standard.Draws, r.Standard.Seed)),
	})
}

// signed writes a number with its sign and one decimal.
func signed(x float64) string {
	if s := fmt.Sprintf("%+.1f", x); s != "-0.0" {
		return s
	}
	return "+0.0"
}

func contents(r *Result) []sheet.Group {
	g := sheet.Group{Name: "Animals"}
	for i, x := range r.Groups {
		name := x.Name
		if name == "all" {
			name = "all species"
		}
		g.Links = append(g.Links, sheet.Link{ID: fmt.Sprintf("group-%d", i), Text: name})
	}
	return []sheet.Group{g}
}
