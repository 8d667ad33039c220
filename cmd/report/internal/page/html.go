package page

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"maps"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/review"
	"hindcheck/cmd/report/internal/sheet"
)

//go:embed sections/*.html sections/*.css
var sectionFiles embed.FS

// funcs are what the sections may call: they format and draw. A file that
// draws for a section adds its own with register.
var funcs = template.FuncMap{
	"add":   func(a, b int) int { return a + b },
	"words": Words,
	"lit":   literal,
	"part":  func(id string) (template.HTML, error) { return partLink(id) },
}

// register adds functions for the sections.
func register(more template.FuncMap) { maps.Copy(funcs, more) }

// literal marks a number of the running text that comes from no figure: a
// definition, a year of a source.
func literal(text string) template.HTML {
	return template.HTML(`<span data-lit>` + template.HTMLEscapeString(text) + `</span>`)
}

var parsed = templates(sync.OnceValues(func() (*template.Template, error) {
	return template.New("sections").Funcs(funcs).ParseFS(sectionFiles, "sections/*.html")
}))

var style = sync.OnceValues(func() (template.CSS, error) {
	names, err := sectionFiles.ReadDir("sections")
	var b strings.Builder
	for _, d := range names {
		if strings.HasSuffix(d.Name(), ".css") {
			text, readErr := sectionFiles.ReadFile("sections/" + d.Name())
			if readErr != nil {
				return "", readErr
			}
			b.Write(text)
		}
	}
	return template.CSS(b.String()), err
})

// HTML writes a review as one file that needs nothing else: no network, no
// script to be read, its figures drawn inside.
func HTML(w io.Writer, r *review.Review) error {
	data, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	return FromJSON(w, data)
}

// FromJSON writes the page of a stored review.
func FromJSON(w io.Writer, data []byte) error {
	n, err := root(data)
	if err != nil {
		return err
	}
	p, err := head(n)
	if err != nil {
		return err
	}
	if p.Style, err = style(); err != nil {
		return fmt.Errorf("read style: %w", err)
	}
	if p.Opening, err = parsed.execute("opening.html", n); err != nil {
		return err
	}
	if p.Contents, p.Body, err = body(n); err != nil {
		return err
	}
	return sheet.Write(w, p)
}

// Summary writes a review as two sheets of A4 in plain words, for a meeting.
func Summary(w io.Writer, r *review.Review) error {
	data, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write summary: %w", err)
	}
	n, err := root(data)
	if err != nil {
		return err
	}
	p, err := head(n)
	if err != nil {
		return err
	}
	p.Title, p.Kicker, p.Class = "Summary of the "+strings.ToLower(p.Title[:1])+p.Title[1:], "Animal advice line \u00b7 summary of the monthly review of telephone triage", "summary"
	if p.Style, err = style(); err != nil {
		return fmt.Errorf("read style: %w", err)
	}
	if p.Body, err = parsed.execute("summary", n); err != nil {
		return err
	}
	return sheet.Write(w, p)
}

// head fills what stands above the first page.
func head(n Node) (sheet.Page, error) {
	label, err := n.Raw("period.month_label")
	if err != nil {
		return sheet.Page{}, err
	}
	p := sheet.Page{Title: "Monthly review, " + label, Class: "review", Kicker: "Animal advice line \u00b7 monthly review of telephone triage"}
	err = fill(&p, []piece{
		{&p.Heading, "", func() (template.HTML, error) { return n.Text("period.month_label") }},
		{&p.Foot, "", func() (template.HTML, error) { return parsed.execute("foot", n) }},
		{nil, "Rates cover", func() (template.HTML, error) { return n.Text("period.label") }},
		{nil, "Data up to", func() (template.HTML, error) { return parsed.execute("cut", n) }},
		{nil, "Unit", func() (template.HTML, error) { return n.Text("unit") }},
		{nil, "Case definition", func() (template.HTML, error) { return n.Word("case_definition") }},
		{nil, "Rules", func() (template.HTML, error) { return n.Word("ruleset") }},
	})
	return p, err
}

// piece is one text of a page's frame: it goes into a place of its own or, with
// a name, becomes a fact of the head.
type piece struct {
	into *template.HTML
	name string
	html func() (template.HTML, error)
}

// fill puts the pieces into a page, facts in their order.
func fill(p *sheet.Page, pieces []piece) error {
	for _, x := range pieces {
		text, err := x.html()
		if err != nil {
			return err
		}
		if x.into != nil {
			*x.into = text
		} else {
			p.Facts = append(p.Facts, sheet.Fact{Name: x.name, Value: text})
		}
	}
	return nil
}

// body writes the parts in their order and lists them. A part whose template
// writes nothing (a comparison that nobody asked for) is left out.
func body(n Node) ([]sheet.Group, template.HTML, error) {
	var contents []sheet.Group
	var out strings.Builder
	for _, c := range chapters {
		g := sheet.Group{Name: c.name}
		for _, s := range c.sections {
			text, err := parsed.part(s, s.number(), n)
			if err != nil {
				return nil, "", err
			}
			if text != "" {
				g.Links = append(g.Links, sheet.Link{ID: s.id, Number: s.number(), Text: s.short})
				out.WriteString(text)
			}
		}
		if len(g.Links) > 0 {
			contents = append(contents, g)
		}
	}
	return contents, template.HTML(out.String()), nil
}
