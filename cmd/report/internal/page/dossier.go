package page

import (
	"embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"maps"
	"strconv"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/replay"
	"hindcheck/cmd/report/internal/sheet"
)

//go:embed dossier/*.html dossier/*.css
var dossierFiles embed.FS

// dossierParts is the order of the record of a change; each is a template of
// its name.
var dossierParts = []section{
	{"record", "What is proposed, and on what it rests", "The proposal"},
	{"criteria", "Criteria fixed beforehand", "Criteria"},
	{"cases", "Cases newly missed", "Cases newly missed"},
	{"moves", "Which calls change", "Which calls change"},
	{"compare", "Accuracy on the same calls", "Accuracy"},
	{"groups", "Harm to any kind of animal", "Groups"},
	{"workload", "What it means for those who see the animals", "Workload"},
	{"unknowns", "How much rests on unknown answers", "Unknown answers"},
	{"limits", "What past calls cannot show", "What cannot be shown"},
	{"sign", "Decision", "Decision"},
}

// labelled is a figure of a table row with its words.
type labelled struct {
	N     Node
	Label string
}

var dossierFuncs = template.FuncMap{
	"strings": func(list ...string) []string { return list },
	"join":    func(parts ...string) string { return strings.Join(parts, "") },
	"row": func(n Node, path, label string) (labelled, error) {
		x, err := n.At(path)
		return labelled{x, label}, err
	},
}

var parsedDossier = templates(sync.OnceValues(func() (*template.Template, error) {
	all := maps.Clone(funcs)
	maps.Copy(all, dossierFuncs)
	return template.New("dossier").Funcs(all).ParseFS(dossierFiles, "dossier/*.html")
}))

// ReplayHTML writes the record of a change as one file to read, print and sign.
func ReplayHTML(w io.Writer, r *replay.Report) error {
	data, err := json.Marshal(r)
	if err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	n, err := root(data)
	if err != nil {
		return err
	}
	p, err := dossierHead(n, r)
	if err != nil {
		return err
	}
	if p.Body, p.Contents, err = dossierBody(n, r); err != nil {
		return err
	}
	return sheet.Write(w, p)
}

func dossierHead(n Node, r *replay.Report) (sheet.Page, error) {
	own, err := dossierFiles.ReadFile("dossier/dossier.css")
	if err != nil {
		return sheet.Page{}, err
	}
	shared, err := style()
	p := sheet.Page{Title: "Change of rules, " + r.Record.Proposed.ID, Class: "dossier", Kicker: "Animal advice line \u00b7 record of a proposed change of rules",
		Cautions: sheet.Usual(), Style: shared + template.CSS(own)}
	if err != nil {
		return p, err
	}
	err = fill(&p, []piece{
		{&p.Heading, "", func() (template.HTML, error) { return n.Text("record.proposed.title") }},
		{&p.Foot, "", func() (template.HTML, error) { return parsedDossier.execute("foot", n) }},
		{&p.Opening, "", func() (template.HTML, error) { return parsedDossier.execute("opening.html", n) }},
		{nil, "Calls of", func() (template.HTML, error) { return n.Text("period.label") }},
		{nil, "Data up to", func() (template.HTML, error) { return parsedDossier.execute("cut", n) }},
		{nil, "Unit", func() (template.HTML, error) { return n.Text("unit") }},
		{nil, "Proposal", func() (template.HTML, error) { return n.Text("record.proposed.id") }},
		{nil, "Compared with", func() (template.HTML, error) { return n.Text("record.current.id") }},
	})
	return p, err
}

// dossierBody writes the parts that have something to say, numbered.
func dossierBody(n Node, r *replay.Report) (template.HTML, []sheet.Group, error) {
	var out strings.Builder
	var links []sheet.Link
	for _, s := range dossierParts {
		number := strconv.Itoa(len(links) + 1)
		text, err := parsedDossier.part(s, number, n)
		if err != nil {
			return "", nil, err
		}
		if text != "" {
			links = append(links, sheet.Link{ID: s.id, Number: number, Text: s.short})
			out.WriteString(text)
		}
	}
	return template.HTML(out.String()), []sheet.Group{{Name: "The change", Links: links}}, nil
}
