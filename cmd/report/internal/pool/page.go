package pool

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"hindcheck/cmd/report/internal/figure"
	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
)

//go:embed page.html
var pageHTML string

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"shown": shown, "limits": limits, "percent": percent, "count": count,
	"cut": func(c string) string { return cutWords[c] },
}).Parse(pageHTML))

// shownPool is a pooled test as the page arranges it.
type shownPool struct {
	ID, Name, Title, Cut string
	Sides                []shownSide
}

type shownSide struct {
	ID, Of, Right, Wrong string
	Axis                 template.HTML
	Lines                []shownLine
	Naive, Corrected     Effects
	Pooled, Further      template.HTML
}

type shownLine struct {
	Line             string
	Right, Wrong     *int64
	Naive, Corrected review.Figure
	Forest           template.HTML
}

// HTML writes a result as a page with a forest plot for each pooled test. Only
// tests that could be pooled in some figure are drawn; the others are listed.
func HTML(w io.Writer, r *Result) error {
	var pools []shownPool
	var thin []string
	groups := []sheet.Group{{Name: "What was pooled", Links: []sheet.Link{{ID: "lines", Text: "Lines"}}}, {Name: "Advice and rules"}, {Name: "Flags, same day or emergency"}, {Name: "Flags, emergency"}}
	for i, p := range r.Pools {
		if !p.any() {
			thin = append(thin, p.name()+" at "+cutWords[p.Cut])
			continue
		}
		s, err := arrange(fmt.Sprintf("p%d", i), p)
		if err != nil {
			return err
		}
		pools = append(pools, s)
		at, text := 1, s.Name+", "+s.Cut
		if p.Index == "flag" {
			at, text = 2, p.Flag
			if p.Cut == "emergency" {
				at = 3
			}
		}
		groups[at].Links = append(groups[at].Links, sheet.Link{ID: s.ID, Text: text})
	}
	var body strings.Builder
	if err := pageTemplate.Execute(&body, map[string]any{"R": r, "Pools": pools, "Thin": thin}); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	contents := groups[:0]
	for _, g := range groups {
		if len(g.Links) > 0 {
			contents = append(contents, g)
		}
	}
	return sheet.Write(w, sheet.Page{
		Title: "Several advice lines together", Kicker: "Pooled counts", Heading: "Several advice lines together",
		Facts:    []sheet.Fact{{Name: "Lines", Value: template.HTML(fmt.Sprint(len(r.Lines)))}, {Name: "Limits", Value: template.HTML(fmt.Sprintf("%.0f %%", 100*r.Confidence))}},
		Contents: contents, Body: template.HTML(body.String()), Cautions: sheet.Usual(),
	})
}

// any is whether anything of a test could be pooled.
func (p Pooled) any() bool {
	for _, s := range p.sides() {
		if s.naive.Summary.Estimable() || s.corrected.Summary.Estimable() {
			return true
		}
	}
	return false
}

func arrange(id string, p Pooled) (shownPool, error) {
	out := shownPool{ID: id, Name: p.name(), Title: p.Title, Cut: cutWords[p.Cut]}
	for _, s := range p.sides() {
		side := shownSide{ID: id + "-" + s.of, Of: s.of, Naive: s.naive, Corrected: s.corrected, Right: "TP", Wrong: "FN"}
		if s.of == "specificity" {
			side.Right, side.Wrong = "TN", "FP"
		}
		axis, err := figure.ForestAxis("axis-" + side.ID)
		if err != nil {
			return out, err
		}
		side.Axis = template.HTML(axis)
		for i, l := range s.lines {
			cell, err := forest(fmt.Sprintf("%s-%d", side.ID, i), l.line, l.corrected, l.naive)
			if err != nil {
				return out, err
			}
			side.Lines = append(side.Lines, shownLine{l.line, l.right, l.wrong, l.naive, l.corrected, cell})
		}
		if side.Pooled, err = forest(side.ID+"-pooled", "pooled", s.corrected.Summary, s.naive.Summary); err != nil {
			return out, err
		}
		if side.Further, err = forest(side.ID+"-further", "a further line", s.corrected.Prediction, s.naive.Prediction); err != nil {
			return out, err
		}
		out.Sides = append(out.Sides, side)
	}
	return out, nil
}

func forest(id, who string, corrected, naive review.Figure) (template.HTML, error) {
	svg, err := figure.Forest(id, "Corrected and naive figure, "+who,
		fmt.Sprintf("Corrected %s, naive %s.", shown(corrected), shown(naive)), interval(corrected), interval(naive), figure.Interval{})
	return template.HTML(svg), err
}

func interval(f review.Figure) figure.Interval {
	if !f.Estimable() || f.Low == nil || f.High == nil {
		return figure.Interval{}
	}
	return figure.Interval{Low: *f.Low, At: *f.Estimate, High: *f.High, Known: true}
}
