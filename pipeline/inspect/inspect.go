// Package inspect looks at an export of which nothing is known yet: how the
// file is written, what its columns hold, and which of them a source
// description should leave alone.
//
// Everything it says about form is a proposal from the bytes; a person decides
// and writes it into a source description, of which Draft makes a first one.
// It never shows a cell that may name a person or an animal: columns that look
// like keys, names, telephone numbers, addresses, chip numbers or prose are
// described by kind and length. This is judged from looks and can err, so its
// output still deserves a look before it is passed on.
//
// Flow: File -> propose (kind, encoding, delimiter, title rows) -> one pass over
// all rows, a tally a column -> Report -> Draft. Memory does not grow with the
// file: each column keeps at most MaxDistinct values.
package inspect

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"hindcheck/pipeline/tabular"
)

// Report is what one export holds.
type Report struct {
	File string `json:"file"`
	// Bytes is the file's size as it lies on the disk.
	Bytes    int64    `json:"bytes"`
	Proposal Proposal `json:"proposal"`
	// Rows could be taken apart; Broken could not. Title rows, the header and
	// blank rows are in neither.
	Rows   int64 `json:"rows"`
	Broken int64 `json:"broken"`
	// BrokenAt quotes the first broken rows by number and fault.
	BrokenAt []string         `json:"broken_at,omitempty"`
	Notes    map[string]int64 `json:"notes,omitempty"`
	// HeaderDoubt says why the row of column names may be none; the columns
	// are then numbered and their names not shown.
	HeaderDoubt string   `json:"header_doubt,omitempty"`
	Columns     []Column `json:"columns"`
}

// maxBrokenAt is how many broken rows a report quotes.
const maxBrokenAt = 5

// File reads the export at path to its end. The error is a *tabular.Problem
// when it is no table.
func File(ctx context.Context, path string) (*Report, error) {
	st, err := os.Stat(path)
	if err != nil {
		return nil, &tabular.Problem{File: path, Expected: "a file that can be read", Found: "none", Remedy: "check the path", Err: errors.Unwrap(err)}
	}
	if st.IsDir() {
		return nil, &tabular.Problem{File: path, Expected: "a file", Found: "a folder", Remedy: "name the files in it"}
	}
	p, err := propose(path)
	if err != nil {
		return nil, err
	}
	rep, invalid, err := read(ctx, path, p)
	if err == nil && invalid && p.Encoding == "utf-8" {
		// Bytes that are no UTF-8 stand behind the part that the proposal saw.
		p.Encoding = "windows-1252"
		p.Reasons["encoding"] = "some bytes of the file are no UTF-8"
		rep, _, err = read(ctx, path, p)
	}
	if err != nil {
		return nil, err
	}
	rep.File, rep.Bytes = filepath.Base(path), st.Size()
	return rep, nil
}

// read makes one pass over the file.
func read(ctx context.Context, path string, p Proposal) (rep *Report, invalid bool, err error) {
	names, err := keys(path, p)
	if err != nil {
		return nil, false, err
	}
	r, err := tabular.Open(path, p.format(names))
	if err != nil {
		return nil, false, err
	}
	defer r.Close()
	rep = &Report{Proposal: p}
	header := r.Header()
	all := make([]int, len(header))
	tallies := make([]*tally, len(header))
	for i := range header {
		all[i], tallies[i] = i, newTally()
	}
	r.Select(all)
	var b tabular.Batch
	for {
		if err := ctx.Err(); err != nil {
			return nil, false, err
		}
		err := r.Next(&b)
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, false, err
		}
		invalid = invalid || b.InvalidText
		rep.take(&b, tallies)
	}
	rep.Notes = r.Notes()
	rep.finish(header, tallies)
	return rep, invalid, nil
}

func (rep *Report) take(b *tabular.Batch, tallies []*tally) {
	rep.Rows += int64(len(b.Rows))
	rep.Broken += int64(len(b.Broken))
	for _, x := range b.Broken {
		if len(rep.BrokenAt) < maxBrokenAt {
			rep.BrokenAt = append(rep.BrokenAt, fmt.Sprintf("row %d: expected %s, found %s", x.Row, x.Expected, x.Found))
		}
	}
	for i, t := range tallies {
		for _, s := range b.Column(i) {
			t.add(tabular.Trim(b.Cell(s)))
		}
	}
}

// finish turns the tallies into columns and the decimal sign of the whole file.
func (rep *Report) finish(header []string, tallies []*tally) {
	var comma, point int64
	for _, t := range tallies {
		comma, point = comma+t.comma, point+t.point
	}
	if rep.Proposal.text() {
		rep.Proposal.Decimal = "."
		if comma > point {
			rep.Proposal.Decimal = ","
		}
	}
	rep.HeaderDoubt = headerDoubt(header)
	for i, name := range header {
		if rep.HeaderDoubt != "" {
			name = fmt.Sprintf("column %d", i+1)
		}
		rep.Columns = append(rep.Columns, tallies[i].column(i+1, name))
	}
}

// headerDoubt says why a row of column names may be a row of data: a name that
// is a number, a date or an identifier in figures.
func headerDoubt(header []string) string {
	for i, name := range header {
		cell := []byte(name)
		number, _ := numeric(cell)
		figures := slices.Contains([]string{telephone, chip, mail}, looksLike(name))
		if number || figures || slices.ContainsFunc(newLayouts(), func(l layoutTally) bool { return l.fits(cell) }) {
			return fmt.Sprintf("column %d has a value where its name should stand, so the export may have no row of column names; have one added where the export is made", i+1)
		}
	}
	return ""
}
