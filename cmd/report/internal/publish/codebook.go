package publish

import (
	_ "embed"
	"fmt"
	"html/template"
	"strings"

	"hindcheck/cmd/report/internal/sheet"
)

// codebook is the description of every column for people.
type codebook struct {
	Title, Version string
	Cautions       []string
	Missing        [][2]string
	Tables         []bookTable
}

type bookTable struct {
	Name, Title, Row string
	Rows             int64
	Columns          []bookColumn
}

type bookColumn struct {
	Name, Type, Unit, Title, Values string
	Coarse                          string
}

func (w *work) codebook() codebook {
	b := codebook{Title: w.opt.Config.Release.Title, Version: w.published.Version, Cautions: cautions, Missing: missing}
	for i, t := range w.tables {
		bt := bookTable{Name: t.Name, Title: t.Title, Row: t.Row, Rows: w.files[i].Rows}
		for _, c := range t.Columns {
			bc := bookColumn{Name: c.Name, Type: c.Type, Unit: c.Unit, Title: c.Title, Values: strings.Join(w.values(t, c), ", ")}
			if c.Quasi {
				bc.Coarse = w.coarse(c.Name)
			}
			bt.Columns = append(bt.Columns, bc)
		}
		b.Tables = append(b.Tables, bt)
	}
	return b
}

// coarse says what became of a quasi-identifier.
func (w *work) coarse(name string) string {
	for _, c := range w.risk.Columns {
		if c.Name == name {
			if c.Level == "all" {
				return "suppressed throughout"
			}
			return fmt.Sprintf("level %s, suppressed in %d of %d episodes", strings.ReplaceAll(c.Level, "_", " "), c.Suppressed, w.risk.Records)
		}
	}
	return ""
}

func (b codebook) markdown() string {
	var s strings.Builder
	fmt.Fprintf(&s, "# Codebook: %s\n\nRelease %s.\n\n## Before you use it\n\n%s\n## Cells without a value\n\n| cell | meaning |\n|---|---|\n%s", b.Title, b.Version, bullets(b.Cautions), missingTable())
	for _, t := range b.Tables {
		fmt.Fprintf(&s, "\n## %s\n\n%s; %s; %d rows.\n\n| column | type | what it holds | values |\n|---|---|---|---|\n", t.Name, t.Title, t.Row, t.Rows)
		for _, c := range t.Columns {
			what := c.Title
			if c.Unit != "" {
				what += ", in " + c.Unit
			}
			if c.Coarse != "" {
				what += " (" + c.Coarse + ")"
			}
			fmt.Fprintf(&s, "| `%s` | %s | %s | %s |\n", c.Name, c.Type, strings.ReplaceAll(what, "|", "\\|"), c.Values)
		}
	}
	return s.String()
}

//go:embed pages.html
var pagesHTML string

var pages = template.Must(template.New("pages").Funcs(template.FuncMap{
	"percent": func(x float64) string { return fmt.Sprintf("%.1f %%", 100*x) },
	"chance":  func(x float64) string { return fmt.Sprintf("%.4f", x) },
}).Parse(pagesHTML))

// framed puts the part of that name into the frame of every page.
func framed(part string, v any, p sheet.Page) (string, error) {
	var body, out strings.Builder
	if err := pages.ExecuteTemplate(&body, part, v); err != nil {
		return "", err
	}
	p.Body = template.HTML(body.String())
	for _, c := range cautions {
		p.Cautions = append(p.Cautions, template.HTML(template.HTMLEscapeString(c)))
	}
	err := sheet.Write(&out, p)
	return out.String(), err
}

func escaped(s string) template.HTML { return template.HTML(template.HTMLEscapeString(s)) }

func (b codebook) html() (string, error) {
	tables := sheet.Group{Name: "Tables"}
	for _, t := range b.Tables {
		tables.Links = append(tables.Links, sheet.Link{ID: t.Name, Text: t.Name})
	}
	return framed("codebook", b, sheet.Page{
		Title: "Codebook: " + b.Title, Kicker: "Codebook", Heading: escaped(b.Title),
		Facts: []sheet.Fact{{Name: "Release", Value: escaped(b.Version)}}, Contents: []sheet.Group{{Name: "Cells", Links: []sheet.Link{{ID: "missing", Text: "Cells without a value"}}}, tables},
	})
}

func (w *work) riskPage() (string, error) {
	title := w.opt.Config.Release.Title
	return framed("risk", map[string]any{"Risk": w.risk, "Differences": w.errors.Sections}, sheet.Page{
		Title: "Risk report: " + title, Kicker: "Risk report", Heading: escaped(title),
		Facts: []sheet.Fact{{Name: "Release", Value: escaped(w.published.Version)}, {Name: "Privacy file", Value: escaped(w.risk.Privacy + ": " + w.risk.Title)}},
		Contents: []sheet.Group{{Name: "Parts", Links: []sheet.Link{
			{ID: "picked", Text: "Can a person be picked out?"}, {ID: "found", Text: "What would be found out?"}, {ID: "coarser", Text: "What was made coarser?"}, {ID: "figures", Text: "What does that do to figures?"},
		}}},
	})
}
