package page

import (
	"bytes"
	"fmt"
	"html/template"
	"strings"
)

// templates give the parsed templates of one kind of page.
type templates func() (*template.Template, error)

// execute runs one of them.
func (all templates) execute(name string, n Node) (template.HTML, error) {
	t, err := all()
	if err != nil {
		return "", fmt.Errorf("parse page: %w", err)
	}
	var b bytes.Buffer
	if err := t.ExecuteTemplate(&b, name, n); err != nil {
		return "", fmt.Errorf("write page: %w", err)
	}
	return template.HTML(b.String()), nil
}

// part writes a numbered part with its heading and notes, nothing where its
// template has nothing to say.
func (all templates) part(s section, number string, n Node) (string, error) {
	text, err := all.execute(s.id+".html", n)
	if err != nil {
		return "", fmt.Errorf("part %s: %w", s.id, err)
	}
	notes, err := all.execute("notes", n) // whatever a part left unprinted is its own
	if err != nil || strings.TrimSpace(string(text)) == "" {
		return "", err
	}
	return fmt.Sprintf("<section id=\"%s\" aria-labelledby=\"%s-heading\">\n<h2 id=\"%s-heading\"><span class=\"no\" data-lit>%s</span>%s</h2>\n%s%s</section>\n",
		s.id, s.id, s.id, number, template.HTMLEscapeString(s.title), text, notes), nil
}
