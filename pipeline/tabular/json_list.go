package tabular

import (
	"io"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// listReader reads a JSON document that holds a list of records, one after the
// other. Rows are counted from 1. Behind broken syntax nothing can be read.
type listReader struct {
	jsonRows
	path string
	text *textFile
	d    *jsontext.Decoder
	row  int64
	end  error
	hash string
}

func openList(path string, f Format) (*listReader, error) {
	text, err := openText(path, f)
	if err != nil {
		return nil, err
	}
	r := &listReader{path: path, text: text, d: jsontext.NewDecoder(text, jsontext.AllowDuplicateNames(true)), row: 1}
	r.header = f.Columns
	if err := r.descend(f.Records); err != nil {
		text.Close()
		return nil, err
	}
	return r, nil
}

// descend goes to the list of records, by the keys of a dotted path.
func (r *listReader) descend(records string) error {
	if records != "" {
		for _, key := range strings.Split(records, ".") {
			if err := r.enter(key); err != nil {
				return err
			}
		}
	}
	if r.d.PeekKind() != '[' {
		return &Problem{File: r.path, Expected: "a list of records", Found: "something else", Remedy: "say under file: records: by which keys the list is reached, or set kind: ndjson if each line is a record"}
	}
	_, err := r.d.ReadToken()
	return err
}

// enter opens an object and goes to the value of a key.
func (r *listReader) enter(key string) error {
	missing := &Problem{File: r.path, Expected: "the key " + key + " on the way to the records", Found: "none", Remedy: "correct file: records: in the source description"}
	if r.d.PeekKind() != '{' {
		return missing
	}
	if _, err := r.d.ReadToken(); err != nil {
		return missing
	}
	for r.d.PeekKind() == '"' {
		name, err := r.d.ReadToken()
		if err != nil {
			return missing
		}
		if name.String() == key {
			return nil
		}
		if err := r.d.SkipValue(); err != nil {
			return missing
		}
	}
	return missing
}

// Select implements Reader.
func (r *listReader) Select(columns []int) { r.choose(columns) }

// Next implements Reader.
func (r *listReader) Next(b *Batch) error {
	r.mu.Lock()
	if r.end != nil {
		r.mu.Unlock()
		return r.end
	}
	b.shape(r.ncols+1, r.place)
	b.Rows, b.Broken, b.Data = b.Rows[:0], b.Broken[:0], b.Data[:0]
	all := make([]bool, r.ncols)
	for len(b.Rows)+len(b.Broken) < BatchRows {
		if r.d.PeekKind() == ']' {
			r.finish()
			break
		}
		start := len(b.Data)
		err := r.record(r.d, b, len(b.Rows))
		if isSyntax(err) {
			r.end = &Problem{File: r.path, Row: r.row, Expected: "JSON", Found: "text that is none in or behind this record", Remedy: "fetch the file again, or correct it there"}
			break
		}
		if err != nil {
			b.Data = b.Data[:start]
			b.Broken = append(b.Broken, brokenRecord(r.row, err))
		} else {
			b.Rows = append(b.Rows, r.row)
			for i, s := range b.seen {
				all[i] = all[i] || s
			}
		}
		r.row++
	}
	b.seen = all
	end := r.end
	r.mu.Unlock()
	r.note(b)
	if len(b.Rows)+len(b.Broken) > 0 {
		return nil
	}
	return end
}

func (r *listReader) finish() {
	r.hash = r.text.raw.sum()
	r.end = io.EOF
}

// Notes implements Reader.
func (r *listReader) Notes() map[string]int64 {
	m := map[string]int64{}
	if r.text.marked {
		m[noteNames[noteMark]] = 1
	}
	return m
}

// ContentHash implements Reader.
func (r *listReader) ContentHash() string { return r.hash }

// Close implements Reader.
func (r *listReader) Close() error { return r.text.Close() }
