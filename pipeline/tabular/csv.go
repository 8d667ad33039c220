package tabular

import (
	"fmt"
	"strings"
)

// csvReader reads delimited text.
type csvReader struct {
	chunker
	header []string
	raw    []byte // the header record as it stands, to know it again
	slots  []int  // place of each file column in the selection, or the spare one
}

func openCSV(path string, f Format) (*csvReader, error) {
	r := &csvReader{}
	r.fill = r.fillChunk
	r.delim, r.quote, r.quotes = f.Delimiter, f.Quote, !f.NoQuote
	if r.delim == 0 {
		r.delim = ','
		if f.Kind == "tsv" {
			r.delim = '\t'
		}
	}
	if r.quote == 0 {
		r.quote = '"'
	}
	if err := r.start(path, f); err != nil {
		return nil, err
	}
	if err := r.readHeader(f.SkipRows); err != nil {
		r.text.Close()
		return nil, err
	}
	return r, nil
}

// readHeader passes over title rows and blank lines and reads the header.
func (r *csvReader) readHeader(skip int) error {
	_, buf := r.buffer(nil)
	buf, err := r.more(buf)
	if err != nil {
		return err
	}
	for pos := 0; ; {
		if pos == len(buf) && r.last {
			return &Problem{File: r.path, Row: r.row, Expected: "a row of column names", Found: "the end of the file", Remedy: "check skip_rows, or leave the empty file out"}
		}
		x, ok := r.record(buf, pos, r.last)
		if !ok {
			if pos == 0 && len(buf) >= maxRecord {
				return r.tooLong()
			}
			grown := make([]byte, len(buf)-pos, 2*cap(buf))
			copy(grown, buf[pos:])
			if buf, err = r.more(grown); err != nil {
				return err
			}
			pos = 0
			continue
		}
		content := buf[pos:x.end]
		pos = x.next
		if x.flaw != sound && skip == 0 {
			b := r.broken(r.row, x.flaw, content)
			return &Problem{File: r.path, Row: r.row, Expected: b.Expected + " in the row of column names", Found: b.Found, Remedy: "check skip_rows, delimiter and quote"}
		}
		r.row++
		if skip > 0 {
			skip--
			r.notes[noteTitle]++
			continue
		}
		if r.blankRecord(content) {
			continue
		}
		r.setHeader(content)
		r.tail = buf[pos:] // the header ends in the first buffer, which becomes the first chunk
		return nil
	}
}

func (r *csvReader) setHeader(record []byte) {
	r.raw = append([]byte(nil), record...)
	double := string([]byte{r.quote, r.quote})
	r.cells(r.raw, func(cell []byte, quoted bool) {
		name := string(Trim(cell))
		if quoted {
			name = strings.ReplaceAll(name, double, double[:1])
		}
		r.header = append(r.header, name)
		if name != "" {
			r.named = len(r.header)
		}
	})
	r.width = len(r.header)
}

// Header implements Reader.
func (r *csvReader) Header() []string { return r.header }

// Select implements Reader.
func (r *csvReader) Select(columns []int) {
	columns, r.place = once(columns)
	r.ncols = len(columns)
	r.slots = make([]int, r.width)
	for i := range r.slots {
		r.slots[i] = r.ncols // the spare column takes what nobody wants
	}
	for i, c := range columns {
		r.slots[c] = i
	}
}

// broken describes a flaw as a message does.
func (r *csvReader) broken(row int64, f flaw, record []byte) Broken {
	b := Broken{Row: row, Expected: cellCount(r.width), Remedy: "correct the row in the export, or leave it aside"}
	switch f {
	case openQuote:
		b.Expected, b.Found = "a closing quote", "a quote that is never closed, or whose row has the wrong number of cells"
	case afterQuote:
		b.Expected, b.Found = "a delimiter after the closing quote", "other text"
		b.Remedy = "double the quotes within quoted cells, or set file: quote: \"\" if the export does not quote"
	case longCell:
		b.Expected, b.Found = fmt.Sprintf("cells of at most %d bytes", MaxCell), fmt.Sprintf("a row of %d bytes", len(record))
	case nulByte:
		b.Expected, b.Found = "text", "a NUL byte in the row"
		b.Remedy = "export again: the file was damaged or not written to its end"
	default:
		n := 0
		r.cells(record, func([]byte, bool) { n++ })
		b.Found = cellCount(n)
		b.Remedy = "check the row: it may be cut off, or a cell may hold the delimiter without quotes"
	}
	return b
}

// cellCount is a number of cells in words.
func cellCount(n int) string {
	if n == 1 {
		return "1 cell"
	}
	return fmt.Sprintf("%d cells", n)
}
