package queries

import (
	"embed"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"sync"
)

//go:embed *.sql
var files embed.FS

// Param is a parameter of a question.
type Param struct {
	Name string
	// Type is month, time, level, number, finding, cluster, episodes or rules.
	Type string
	// Text says what it means.
	Text string
}

// Column is a column of a question's result.
type Column struct{ Name, Text string }

// Question is the header of one .sql file.
type Question struct {
	Name string
	// Answers says in a sentence or two what is answered.
	Answers string
	Params  []Param
	Columns []Column
	// Row says what one row stands for: "one row per ...".
	Row string
	// SQL is the file's text below the header, not yet expanded.
	SQL string
}

var headerLine = regexp.MustCompile(`^-- (name|answers|param|column|row|): ?(.*)$`)

// parse reads the header of a .sql file. A line that begins with two dashes
// and three blanks continues the one before.
func parse(name, text string) (Question, error) {
	q := Question{}
	var last *string
	lines := strings.Split(text, "\n")
	i := 0
	for ; i < len(lines) && strings.HasPrefix(lines[i], "--"); i++ {
		line := lines[i]
		if rest, ok := strings.CutPrefix(line, "--   "); ok && last != nil {
			*last += " " + strings.TrimSpace(rest)
			continue
		}
		m := headerLine.FindStringSubmatch(line)
		if m == nil {
			return q, fmt.Errorf("%s.sql: row %d: expected one of name:, answers:, param:, column:, row: and a text", name, i+1)
		}
		first, rest, _ := strings.Cut(m[2], ", ")
		switch m[1] {
		case "name":
			q.Name, last = m[2], &q.Name
		case "answers":
			q.Answers, last = m[2], &q.Answers
		case "row":
			q.Row, last = m[2], &q.Row
		case "param":
			id, typ, _ := strings.Cut(first, " ")
			q.Params = append(q.Params, Param{id, typ, rest})
			last = &q.Params[len(q.Params)-1].Text
		case "column":
			q.Columns = append(q.Columns, Column{first, rest})
			last = &q.Columns[len(q.Columns)-1].Text
		}
	}
	q.SQL = strings.TrimSpace(strings.Join(lines[i:], "\n"))
	if q.Name != name || q.Answers == "" || !strings.HasPrefix(q.Row, "one row per ") || len(q.Columns) == 0 || q.SQL == "" {
		return q, fmt.Errorf("%s.sql: expected a header (name: %s; answers; column; row: one row per something) and SQL below it", name, name)
	}
	return q, nil
}

// load parses every file once.
var load = sync.OnceValues(func() (map[string]Question, error) {
	names, err := fs.Glob(files, "*.sql")
	if err != nil {
		return nil, err
	}
	out := map[string]Question{}
	for _, file := range names {
		text, err := files.ReadFile(file)
		if err != nil {
			return nil, err
		}
		name := strings.TrimSuffix(file, ".sql")
		q, err := parse(name, string(text))
		if err != nil {
			return nil, err
		}
		out[name] = q
	}
	return out, nil
})

// Questions lists every question by name.
func Questions() ([]Question, error) {
	all, err := load()
	if err != nil {
		return nil, err
	}
	out := make([]Question, 0, len(all))
	for _, q := range all {
		out = append(out, q)
	}
	slices.SortFunc(out, func(a, b Question) int { return strings.Compare(a.Name, b.Name) })
	return out, nil
}
