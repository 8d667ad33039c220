package queries

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"time"

	"hindcheck/pipeline/rules"
)

// ErrParameter is wrapped by every error of Run that blames the question's
// name or a parameter.
var ErrParameter = errors.New("wrong parameter")

// Table is the result of a question run by name.
type Table struct {
	Question Question
	Columns  []string
	Rows     [][]any
}

// query expands and runs one question.
func (d *DB) query(ctx context.Context, name string, n names, args map[string]any) (*sql.Rows, error) {
	all, err := load()
	if err != nil {
		return nil, err
	}
	q, ok := all[name]
	if !ok {
		return nil, fmt.Errorf("no question %q; report query lists them", name)
	}
	if err := d.withheld(name, n); err != nil {
		return nil, err
	}
	text, err := d.expand(q, n, args)
	if err != nil {
		return nil, err
	}
	text, bound := fill(text, args)
	text = d.ofMonths(name, text, args)
	rows, err := d.db.QueryContext(ctx, text, bound...)
	if err != nil {
		return nil, d.unpublished(name, fmt.Errorf("query %s: %w", name, err))
	}
	return rows, nil
}

// ask runs one question and scans each row into a T through the pointers that
// into gives, in the order of the file's columns.
func ask[T any](ctx context.Context, d *DB, name string, n names, args map[string]any, into func(*T) []any) ([]T, error) {
	rows, err := d.query(ctx, name, n, args)
	if d.passOver(name, err) {
		return []T{}, nil
	}
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := []T{}
	for rows.Next() {
		var row T
		if err := rows.Scan(into(&row)...); err != nil {
			return nil, fmt.Errorf("query %s: %w", name, err)
		}
		out = append(out, row)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("query %s: %w", name, err)
	}
	return out, nil
}

// with adds parameters to those of a scope.
func with(args map[string]any, name string, value any) map[string]any {
	args[name] = value
	return args
}

// Run runs a question by name with parameters as text. Parameters that are
// not given take the values of defaults. A parameter that the question does
// not have, or a value that does not read as its type, is an error.
func (d *DB) Run(ctx context.Context, name string, params, defaults map[string]string) (Table, error) {
	all, err := load()
	if err != nil {
		return Table{}, err
	}
	q, ok := all[name]
	if !ok {
		return Table{}, fmt.Errorf("%w: no question %q; report query lists them", ErrParameter, name)
	}
	args, n := map[string]any{}, names{}
	left := map[string]bool{}
	for k := range params {
		left[k] = true
	}
	for _, p := range q.Params {
		text, given := params[p.Name]
		if !given {
			text, given = defaults[p.Name]
		}
		delete(left, p.Name)
		if !given {
			return Table{}, fmt.Errorf("%w: question %s: parameter %s (%s) is missing: %s", ErrParameter, name, p.Name, p.Type, p.Text)
		}
		if err := d.bind(p, text, args, &n); err != nil {
			return Table{}, fmt.Errorf("%w: question %s: %w", ErrParameter, name, err)
		}
	}
	if len(left) > 0 {
		return Table{}, fmt.Errorf("%w: question %s has no parameter %s", ErrParameter, name, strings.Join(sortedKeys(left), ", "))
	}
	rows, err := d.query(ctx, name, n, args)
	if err != nil {
		return Table{}, err
	}
	defer rows.Close()
	return readTable(q, rows)
}

func readTable(q Question, rows *sql.Rows) (Table, error) {
	cols, err := rows.Columns()
	if err != nil {
		return Table{}, fmt.Errorf("query %s: %w", q.Name, err)
	}
	t := Table{Question: q, Columns: cols}
	for rows.Next() {
		row, to := make([]any, len(cols)), make([]any, len(cols))
		for i := range row {
			to[i] = &row[i]
		}
		if err := rows.Scan(to...); err != nil {
			return t, fmt.Errorf("query %s: %w", q.Name, err)
		}
		t.Rows = append(t.Rows, row)
	}
	return t, rows.Err()
}

// pseudonyms is a list as the parameter episodes takes it.
var pseudonyms = regexp.MustCompile(`^[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}(,[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12})*$`)

// levelNumbers are the words that a level parameter takes.
var levelNumbers = map[string]int{"home_care": 1, "soon": 2, "same_day": 3, "emergency": 4}

// bind reads a parameter's text as its type.
func (d *DB) bind(p Param, text string, args map[string]any, n *names) error {
	bad := func(expected string) error {
		return fmt.Errorf("parameter %s: expected %s, found %q", p.Name, expected, text)
	}
	switch p.Type {
	case "finding":
		n.finding = text
		args[p.Name] = text
	case "cluster":
		n.cluster = text
	case "rules":
		return d.bindRules(p.Name, text, n)
	case "month":
		m, err := ParseMonth(text)
		if err != nil {
			return bad("a month such as 2026-07")
		}
		args[p.Name] = m
	case "time":
		t, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t, err = time.Parse(time.DateOnly, text)
		}
		if err != nil {
			return bad("a day such as 2026-07-31, or a time such as 2026-07-31T06:00:00Z")
		}
		args[p.Name] = t
	case "episodes":
		if !pseudonyms.MatchString(text) {
			return bad("one or more pseudonyms such as 6f1c2d3e-1b7a-4c55-9d1e-0a2b3c4d5e6f, separated by commas")
		}
		args[p.Name] = text
	case "level":
		v, ok := levelNumbers[text]
		if !ok {
			return bad("emergency, same_day, soon or home_care")
		}
		args[p.Name] = v
	default:
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return bad("a number")
		}
		args[p.Name] = v
	}
	return nil
}

// inForce stands for the rules of the store where a rules file could be named.
const inForce = "in_force"

// bindRules reads a rules file under the dictionary of the store.
func (d *DB) bindRules(name, path string, n *names) error {
	into := map[string]**rules.Program{"current": &n.replay.Current, "proposed": &n.replay.Proposed}[name]
	if path == inForce {
		*into = nil
		return nil
	}
	set, err := rules.Load(path)
	if err != nil {
		return fmt.Errorf("parameter %s: %w", name, err)
	}
	if d.meta.Dictionary == nil {
		return fmt.Errorf("parameter %s: the store has no dictionary to read rules by", name)
	}
	*into, err = rules.Compile(set, d.meta.Dictionary)
	return err
}

func sortedKeys(m map[string]bool) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
