package tabular

import (
	"bytes"
	"encoding/binary"
	"math/bits"
)

func (r *csvReader) fillChunk(b *Batch) {
	if b.chunk.quotes || b.chunk.nul {
		r.fillQuoted(b)
	} else {
		r.fillPlain(b)
	}
}

// fillPlain takes apart records of a chunk without quotes and NUL bytes, eight
// bytes at a time.
func (r *csvReader) fillPlain(b *Batch) {
	var (
		buf     = b.Data
		delim   = r.delim
		delims  = uint64(delim) * ones
		columns = r.byCell(b)
		cr      = b.chunk.cr
		row     = 0
		cell    = 0     // number of the cell in the record
		record  = b.pos // where the record begins
		start   = b.pos // where the cell begins
		extra   = false // a cell beyond the header that is not blank
	)
	for at := b.pos; at < len(buf) && row < BatchRows; at += 8 {
		var w uint64
		if at+8 <= len(buf) {
			w = binary.LittleEndian.Uint64(buf[at:])
		} else {
			w = tailWord(buf[at:])
		}
		within, ends := zeros(w^delims), zeros(w^lfs)
		if cr {
			ends |= zeros(w ^ crs)
		}
		if ends == 0 { // most words: nothing but cells
			for ; within != 0; within &= within - 1 {
				p := at + bits.TrailingZeros64(within)>>3
				if cell < len(columns) {
					columns[cell][row%BatchRows] = span(start, p-start)
				} else if !extra {
					extra = !blank(buf[start:p])
				}
				cell++
				start = p + 1
			}
			continue
		}
		for m := within | ends; m != 0; m &= m - 1 {
			p := at + bits.TrailingZeros64(m)>>3
			if p < start { // the LF of a CRLF
				continue
			}
			if cell < len(columns) {
				columns[cell][row%BatchRows] = span(start, p-start)
			} else if !extra {
				extra = !blank(buf[start:p])
			}
			cell++
			if buf[p] == delim {
				start = p + 1
				continue
			}
			next := p + 1
			if buf[p] == '\r' && next < len(buf) && buf[next] == '\n' {
				next++
			}
			row = r.endRow(b, buf[record:p], row, cell, extra)
			record, start, cell, extra = next, next, 0, false
			if row == BatchRows {
				break
			}
		}
	}
	if row < BatchRows && record < len(buf) { // a last line without line end
		if cell < len(columns) {
			columns[cell][row] = span(start, len(buf)-start)
		} else if !extra {
			extra = !blank(buf[start:])
		}
		r.endRow(b, buf[record:], row, cell+1, extra)
		record = len(buf)
		b.notes[noteNoFinal]++
	}
	b.pos = record
}

// byCell gives the column that takes each cell of a record.
func (r *csvReader) byCell(b *Batch) []*[BatchRows]Span {
	b.byCell = b.byCell[:0]
	for _, s := range r.slots {
		b.byCell = append(b.byCell, (*[BatchRows]Span)(b.columns[s]))
	}
	return b.byCell
}

const (
	ones = 0x0101010101010101
	lows = 0x7f7f7f7f7f7f7f7f
	lfs  = '\n' * ones
	crs  = '\r' * ones
)

// zeros returns a word with the top bit set in every byte that is zero in x.
func zeros(x uint64) uint64 { return ^(((x & lows) + lows) | x | lows) }

// tailWord loads fewer than eight bytes, filled up with NUL, which is neither
// a delimiter nor a line end.
func tailWord(b []byte) (w uint64) {
	for i, c := range b {
		w |= uint64(c) << (8 * i)
	}
	return w
}

// fillQuoted takes apart records of a chunk in which quotes or NUL bytes occur.
func (r *csvReader) fillQuoted(b *Batch) {
	buf, row := b.Data, 0
	for row < BatchRows && b.pos < len(buf) {
		t := r.take(b, b.pos, row)
		record := buf[b.pos:t.end]
		if t.next == t.end {
			b.notes[noteNoFinal]++
		}
		b.pos = t.next
		switch {
		case t.flaw != sound:
			r.refuseRow(b, t.flaw, record)
		case b.chunk.nul && bytes.IndexByte(record, 0) >= 0:
			r.refuseRow(b, nulByte, record)
		default:
			next := r.endRow(b, record, row, t.cells, t.extra)
			if t.doubled && next > row {
				r.undouble(b, row)
			}
			row = next
		}
	}
}

// taken is a record whose cells were put into a row.
type taken struct {
	extent
	cells   int
	extra   bool // a cell beyond the header that is not blank
	doubled bool // some cell holds doubled quotes still
}

// take puts the cells of the record at pos into row. It decides as
// grammar.record does, in one pass.
func (r *csvReader) take(b *Batch, pos, row int) (t taken) {
	buf, lines := b.chunk.ahead, false
	for i := pos; ; i++ {
		start, stop := i, i
		if r.quotes && i < len(buf) && buf[i] == r.quote {
			q, _ := r.closing(buf, i, true)
			if q.flaw != sound {
				t.extent, _ = r.line(buf, pos, true, q.flaw)
				return t
			}
			lines, t.doubled = lines || q.lines, t.doubled || q.doubled
			start, stop = i+1, q.close
			i = q.close + 1
		} else {
			for i < len(buf) && buf[i] != r.delim && buf[i] != '\n' && buf[i] != '\r' {
				i++
			}
			stop = i
		}
		if t.cells < len(r.slots) {
			b.columns[r.slots[t.cells]][row] = span(start, stop-start)
		} else if !t.extra {
			t.extra = !blank(buf[start:stop])
		}
		t.cells++
		if i < len(buf) && buf[i] == r.delim {
			continue
		}
		t.end, t.next = i, i
		if i < len(buf) {
			t.next, _ = lineEnd(buf, i, true)
		}
		if lines && (t.cells < r.named || t.extra) {
			t.extent, _ = r.line(buf, pos, true, openQuote)
		}
		return t
	}
}

// undouble makes one quote of two in the quoted cells of an accepted row, in
// place: nobody reads the record again.
func (r *csvReader) undouble(b *Batch, row int) {
	for i := range r.ncols {
		s := &b.columns[i][row]
		if s.Off == 0 || b.Data[s.Off-1] != r.quote {
			continue
		}
		cell, n := b.Cell(*s), 0
		for j := 0; j < len(cell); j++ {
			cell[n] = cell[j]
			n++
			if cell[j] == r.quote {
				j++
			}
		}
		*s = span(int(s.Off), n)
	}
}

// endRow decides what becomes of a record that is taken apart and returns the
// place of the next row in the batch.
func (r *csvReader) endRow(b *Batch, record []byte, row, cells int, extra bool) int {
	switch {
	case r.blankRecord(record):
		b.notes[noteBlank]++
		b.rowNo++
		return row
	case cells < r.named:
		r.refuseRow(b, fewCells, record)
		return row
	case extra:
		r.refuseRow(b, manyCells, record)
		return row
	case len(record) == len(r.raw) && bytes.Equal(record, r.raw):
		b.notes[noteHeader]++
		b.rowNo++
		return row
	case len(record) > MaxCell && r.hasLongCell(record):
		r.refuseRow(b, longCell, record)
		return row
	}
	for i := cells; i < len(r.slots); i++ { // trailing columns without a name
		b.columns[r.slots[i]][row] = Span{}
	}
	b.Rows = append(b.Rows, b.rowNo)
	b.rowNo++
	return row + 1
}

func (r *csvReader) refuseRow(b *Batch, f flaw, record []byte) {
	b.Broken = append(b.Broken, r.broken(b.rowNo, f, record))
	b.rowNo++
}

// blankRecord reports whether a record holds only delimiters, quotes and space.
func (r *csvReader) blankRecord(record []byte) bool {
	for _, c := range record {
		if c > ' ' && c != r.delim && !(c == r.quote && r.quotes) {
			return false
		}
	}
	return true
}

func (r *csvReader) hasLongCell(record []byte) bool {
	long := false
	r.cells(record, func(cell []byte, _ bool) { long = long || len(cell) > MaxCell })
	return long
}
