package sheet

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"strings"
	"sync"

	"hindcheck/cmd/report/internal/caution"
)

//go:embed sheet.html style/*.css script/*.js
var files embed.FS

// Page is one page before it is put into the frame. Texts are escaped, values
// of type template.HTML are written as they are.
type Page struct {
	// Title names the file in a window's head and, on paper, in the running
	// head of every sheet but the first.
	Title string
	// Class of the body, for style of its own; may be empty.
	Class string
	// Kicker is the small line above the heading: what kind of page it is.
	Kicker  string
	Heading template.HTML
	// Facts stand below the heading: period, data cut, versions.
	Facts []Fact
	// Opening is what a reader must see first; it may be empty.
	Opening template.HTML
	// Contents lists the parts of Body; nil leaves the list out.
	Contents []Group
	Body     template.HTML
	// Cautions stand in a box at the end; Usual gives those of every output.
	Cautions []template.HTML
	// Foot is about the page as a file, and is left out on paper.
	Foot template.HTML
	// Style is added to the shared one.
	Style template.CSS
}

// Fact is a name and its value, such as "Data up to" and a day.
type Fact struct {
	Name  string
	Value template.HTML
}

// Group is a heading of the contents list and the parts below it.
type Group struct {
	Name  string
	Links []Link
}

// Link leads to the element with ID; Number may be empty.
type Link struct{ ID, Number, Text string }

// Usual are the cautions that every output carries.
func Usual() []template.HTML {
	var out []template.HTML
	for _, s := range caution.Lines {
		out = append(out, template.HTML(template.HTMLEscapeString(s)))
	}
	return out
}

// Running is the running head as a CSS string.
func (p Page) Running() template.CSS {
	return template.CSS(`"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "\n", " ", "<", `\3c `).Replace(p.Title) + `"`)
}

var parsed = sync.OnceValues(func() (*template.Template, error) {
	style, err := joined("style")
	if err != nil {
		return nil, err
	}
	script, err := joined("script")
	if err != nil {
		return nil, err
	}
	return template.New("sheet.html").Funcs(template.FuncMap{
		"style":  func() template.CSS { return template.CSS(style) },
		"script": func() template.JS { return template.JS(script) },
	}).ParseFS(files, "sheet.html")
})

// joined is the text of a folder's files in the order of their names.
func joined(folder string) (string, error) {
	var b strings.Builder
	err := fs.WalkDir(files, folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := files.ReadFile(path)
		b.Write(text)
		return err
	})
	return b.String(), err
}

// Write puts a page into the frame.
func Write(w io.Writer, p Page) error {
	t, err := parsed()
	if err != nil {
		return fmt.Errorf("parse the frame of a page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, p); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	_, err = w.Write(squeeze(b.Bytes()))
	return err
}

// squeeze drops the blank lines that template actions leave, but for those
// within pre, where they are text.
func squeeze(b []byte) []byte {
	var out bytes.Buffer
	verbatim := false
	for line := range strings.Lines(string(b)) {
		trimmed := strings.TrimRight(line, " \t\r\n")
		if trimmed != "" || verbatim {
			out.WriteString(trimmed)
			out.WriteByte('\n')
		}
		open, end := strings.LastIndex(line, "<pre"), strings.LastIndex(line, "</pre>")
		verbatim = open > end || verbatim && end < 0
	}
	return out.Bytes()
}
