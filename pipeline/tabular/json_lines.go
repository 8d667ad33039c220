package tabular

import (
	"bytes"
	"io"
	"sync"

	"github.com/go-json-experiment/json/jsontext"
)

// linesReader reads newline-delimited JSON: one object a line. A line that is
// no object is broken and takes no other with it.
type linesReader struct {
	chunker
	jsonRows
	decoders sync.Pool
}

func openLines(path string, f Format) (*linesReader, error) {
	r := &linesReader{}
	r.header = f.Columns
	r.delim, r.fill = ',', r.fillLines
	r.decoders.New = func() any { return jsontext.NewDecoder(bytes.NewReader(nil)) }
	if err := r.start(path, f); err != nil {
		return nil, err
	}
	return r, nil
}

// Header implements Reader.
func (r *linesReader) Header() []string { return r.header }

// Select implements Reader.
func (r *linesReader) Select(columns []int) {
	r.choose(columns)
	r.chunker.ncols, r.chunker.place = r.jsonRows.ncols, r.jsonRows.place
}

func (r *linesReader) fillLines(b *Batch) {
	d := r.decoders.Get().(*jsontext.Decoder)
	defer r.decoders.Put(d)
	buf := b.chunk.buf
	b.arena = b.arena[:0]
	b.Data = b.arena
	for len(b.Rows) < BatchRows && b.pos < len(buf) {
		line := buf[b.pos:]
		x, _ := r.line(line, 0, true, sound)
		line = line[:x.end]
		if x.end == x.next {
			b.notes[noteNoFinal]++
		}
		b.pos += x.next
		r.oneLine(d, b, line)
		b.rowNo++
	}
	b.arena = b.Data
	r.note(b)
}

func (r *linesReader) oneLine(d *jsontext.Decoder, b *Batch, line []byte) {
	if blank(line) {
		b.notes[noteBlank]++
		return
	}
	d.Reset(bytes.NewReader(line), jsontext.AllowDuplicateNames(true))
	start := len(b.Data)
	all := append([]bool(nil), b.seen...)
	err := r.record(d, b, len(b.Rows))
	if err == nil {
		if _, e := d.ReadToken(); e != io.EOF {
			err = errShape
		}
	}
	if err != nil {
		b.Data = b.Data[:start]
		b.Broken = append(b.Broken, brokenRecord(b.rowNo, err))
		b.seen = all
		return
	}
	for i, s := range all {
		b.seen[i] = b.seen[i] || s
	}
	b.Rows = append(b.Rows, b.rowNo)
}
