package sandbox

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/big"
	"strings"
	"text/tabwriter"
	"unicode"
)

// sink takes the rows of a result, in order. Only after close is the output
// complete.
type sink interface {
	row(values []any) error
	close() error
}

// Formats that a result can be written in.
var Formats = []string{"text", "csv", "json", "parquet", "arrow"}

// newSink makes the writer of a format.
func newSink(format string, w io.Writer, cols []column) (sink, error) {
	switch format {
	case "text":
		return newTextSink(w, cols), nil
	case "csv":
		return newCSVSink(w, cols)
	case "json":
		return &jsonSink{w: bufio.NewWriter(w), cols: cols}, nil
	case "parquet", "arrow":
		return newArrowSink(format, w, cols)
	}
	return nil, fmt.Errorf("format %q: expected one of %s", format, strings.Join(Formats, ", "))
}

// shownRows bounds a result in text form, which is for reading.
const shownRows = 500

type textSink struct {
	w    *tabwriter.Writer
	cols []column
	n    int
}

func newTextSink(w io.Writer, cols []column) sink {
	s := &textSink{w: tabwriter.NewWriter(w, 0, 0, 2, ' ', 0), cols: cols}
	names := make([]string, len(cols))
	for i, c := range cols {
		names[i] = printable(c.name)
	}
	fmt.Fprintln(s.w, strings.Join(names, "\t"))
	return s
}

func (s *textSink) row(values []any) error {
	s.n++
	if s.n > shownRows {
		return nil
	}
	cells := make([]string, len(values))
	for i, v := range values {
		cells[i] = printable(s.cols[i].text(v))
	}
	_, err := fmt.Fprintln(s.w, strings.Join(cells, "\t"))
	return err
}

// printable keeps control characters of a cell from steering a terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, s)
}

func (s *textSink) close() error {
	if err := s.w.Flush(); err != nil || s.n <= shownRows {
		return err
	}
	_, err := fmt.Fprintf(s.w, "... %d more rows; --format csv, json, parquet or arrow gives all\n", s.n-shownRows)
	if err != nil {
		return err
	}
	return s.w.Flush()
}

type csvSink struct {
	w    *csv.Writer
	cols []column
}

func newCSVSink(w io.Writer, cols []column) (sink, error) {
	s := &csvSink{csv.NewWriter(w), cols}
	names := make([]string, len(cols))
	for i, c := range cols {
		names[i] = c.name
	}
	return s, s.w.Write(names)
}

func (s *csvSink) row(values []any) error {
	cells := make([]string, len(values))
	for i, v := range values {
		cells[i] = s.cols[i].text(v)
	}
	return s.w.Write(cells)
}

func (s *csvSink) close() error {
	s.w.Flush()
	return s.w.Error()
}

// jsonSink writes an array of objects with the columns in their order.
type jsonSink struct {
	w    *bufio.Writer
	cols []column
	n    int
}

func (s *jsonSink) row(values []any) error {
	open := ",\n  {"
	if s.n == 0 {
		open = "[\n  {"
	}
	s.n++
	if _, err := s.w.WriteString(open); err != nil {
		return err
	}
	for i, v := range values {
		name, err := json.Marshal(s.cols[i].name)
		if err != nil {
			return err
		}
		cell, err := s.cols[i].json(v)
		if err != nil {
			return err
		}
		if i > 0 {
			_ = s.w.WriteByte(',')
		}
		_, _ = s.w.Write(name)
		_ = s.w.WriteByte(':')
		if _, err := s.w.Write(cell); err != nil {
			return err
		}
	}
	return s.w.WriteByte('}')
}

func (s *jsonSink) close() error {
	end := "\n]\n"
	if s.n == 0 {
		end = "[]\n"
	}
	if _, err := s.w.WriteString(end); err != nil {
		return err
	}
	return s.w.Flush()
}

// json writes a value; what JSON has no number for is text.
func (c column) json(v any) ([]byte, error) {
	switch v := v.(type) {
	case nil, bool, int64, uint64:
		return json.Marshal(v)
	case float32:
		return c.jsonFloat(float64(v), v)
	case float64:
		return c.jsonFloat(v, v)
	case *big.Int:
		return []byte(fixed(v, int(c.scale))), nil
	}
	return json.Marshal(c.text(v))
}

func (c column) jsonFloat(f float64, v any) ([]byte, error) {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return json.Marshal(c.text(v))
	}
	return json.Marshal(v)
}

// uniqueNames makes column names differ, as JSON, Parquet and data frames need.
func uniqueNames(cols []column) {
	seen := map[string]bool{}
	for i := range cols {
		name := cols[i].name
		for n := 2; seen[cols[i].name]; n++ {
			cols[i].name = fmt.Sprintf("%s_%d", name, n)
		}
		seen[cols[i].name] = true
	}
}
