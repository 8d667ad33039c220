package page

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"hindcheck/queries"
)

// cellText writes one value of a query's result; a list is joined by "; ",
// a null is empty.
func cellText(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case string:
		return v
	case time.Time:
		return v.UTC().Format(time.RFC3339)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case []any:
		parts := make([]string, len(v))
		for i, x := range v {
			parts[i] = cellText(x)
		}
		return strings.Join(parts, "; ")
	}
	return fmt.Sprint(v)
}

// TableText writes a query's result aligned for a terminal.
func TableText(w io.Writer, t queries.Table) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, strings.Join(t.Columns, "\t"))
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, v := range row {
			cells[i] = cellText(v)
		}
		fmt.Fprintln(tw, strings.Join(cells, "\t"))
	}
	return tw.Flush()
}

// TableCSV writes a query's result as CSV with a header.
func TableCSV(w io.Writer, t queries.Table) error {
	cw := csv.NewWriter(w)
	if err := cw.Write(t.Columns); err != nil {
		return err
	}
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, v := range row {
			cells[i] = cellText(v)
		}
		if err := cw.Write(cells); err != nil {
			return err
		}
	}
	cw.Flush()
	return cw.Error()
}

// TableJSON writes a query's result as an array of objects with the columns in
// their order.
func TableJSON(w io.Writer, t queries.Table) error {
	var b strings.Builder
	b.WriteString("[")
	for i, row := range t.Rows {
		if i > 0 {
			b.WriteString(",")
		}
		b.WriteString("\n  {")
		for j, v := range row {
			if j > 0 {
				b.WriteString(", ")
			}
			value, err := json.Marshal(v)
			if err != nil {
				return fmt.Errorf("column %s: %w", t.Columns[j], err)
			}
			fmt.Fprintf(&b, "%q: %s", t.Columns[j], value)
		}
		b.WriteString("}")
	}
	b.WriteString("\n]\n")
	_, err := io.WriteString(w, b.String())
	return err
}

// QuestionsCSV lists questions with one row a column of their results.
func QuestionsCSV(w io.Writer, all []queries.Question) error {
	cw := csv.NewWriter(w)
	if err := cw.Write([]string{"question", "answers", "row", "kind", "name", "type", "meaning"}); err != nil {
		return err
	}
	for _, q := range all {
		for _, p := range q.Params {
			if err := cw.Write([]string{q.Name, q.Answers, q.Row, "parameter", p.Name, p.Type, p.Text}); err != nil {
				return err
			}
		}
		for _, c := range q.Columns {
			if err := cw.Write([]string{q.Name, q.Answers, q.Row, "column", c.Name, "", c.Text}); err != nil {
				return err
			}
		}
	}
	cw.Flush()
	return cw.Error()
}
