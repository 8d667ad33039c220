package tabular

import "bytes"

// grammar is the form of a delimited text file.
//
//   - A record ends at LF, CRLF or a lone CR outside quotes.
//   - A cell that begins with the quote runs to the closing quote, which must
//     be followed by the delimiter, a record end or the end of the file; two
//     quotes in it stand for one. A quote elsewhere is an ordinary character.
//   - A quoted cell that breaks this, or is longer than MaxCell, is taken for
//     a stray quote: the record is broken and reading goes on at the next
//     line, so that a stray quote never takes more than its own line.
//   - So is a record over several lines that has too few or too many cells.
//
// Every decision depends only on the bytes from the record's start on: that is
// why chunks can be cut at record ends and worked on apart.
type grammar struct {
	delim  byte
	quote  byte
	quotes bool // false: quotes are ordinary characters
	width  int  // cells of the header; 0 while it is not known
	named  int  // cells that must be there: the last header cell with a name
}

// flaw is how a record breaks the form.
type flaw uint8

const (
	sound flaw = iota
	openQuote
	afterQuote
	longCell
	fewCells
	manyCells
	nulByte
)

// extent is one record: its content [pos, end) and where the next one begins.
type extent struct {
	end, next int
	flaw      flaw
}

// record finds the record that begins at pos. ok is false when buf ends too
// early to tell; last says that nothing follows buf.
func (g *grammar) record(buf []byte, pos int, last bool) (x extent, ok bool) {
	i, cellStart, lines := pos, true, false
	for i < len(buf) {
		c := buf[i]
		switch {
		case c == g.delim:
			cellStart = true
			i++
			continue
		case c == '\n' || c == '\r':
			next, ok := lineEnd(buf, i, last)
			if !ok {
				return x, false
			}
			if lines && g.width > 0 && g.misfit(buf[pos:i]) != sound {
				return g.line(buf, pos, last, openQuote)
			}
			return extent{i, next, sound}, true
		case cellStart && c == g.quote && g.quotes:
			q, ok := g.closing(buf, i, last)
			if !ok {
				return x, false
			}
			if q.flaw != sound {
				return g.line(buf, pos, last, q.flaw)
			}
			lines = lines || q.lines
			i = q.close
		}
		cellStart = false
		i++
	}
	if !last {
		return x, false
	}
	if lines && g.width > 0 && g.misfit(buf[pos:]) != sound {
		return g.line(buf, pos, last, openQuote)
	}
	return extent{len(buf), len(buf), sound}, true
}

// quoted is a cell between quotes, from the first to the one at close.
type quoted struct {
	close   int
	lines   bool // it holds line ends
	doubled bool // it holds doubled quotes
	flaw    flaw
}

// closing reads the quoted cell that begins at open. ok is false when buf ends
// too early to tell. Cells are short, so bytes are looked at one by one.
func (g *grammar) closing(buf []byte, open int, last bool) (q quoted, ok bool) {
	limit := min(len(buf), open+MaxCell+2)
	for j := open + 1; j < limit; j++ {
		c := buf[j]
		if c != g.quote {
			if c == '\n' || c == '\r' {
				q.lines = true
			}
			continue
		}
		if j+1 == len(buf) {
			q.close = j
			return q, last
		}
		switch buf[j+1] {
		case g.quote:
			q.doubled = true
			j++
		case g.delim, '\n', '\r':
			q.close = j
			return q, true
		default:
			q.flaw = afterQuote
			return q, true
		}
	}
	q.flaw = openQuote
	return q, last || limit < len(buf) || limit == open+MaxCell+2
}

// line makes a broken record of the line at pos, whatever its quotes.
func (g *grammar) line(buf []byte, pos int, last bool, f flaw) (extent, bool) {
	for i := pos; i < len(buf); i++ {
		if buf[i] == '\n' || buf[i] == '\r' {
			next, ok := lineEnd(buf, i, last)
			return extent{i, next, f}, ok
		}
	}
	return extent{len(buf), len(buf), f}, last
}

// lineEnd returns where the line after the line end at i begins.
func lineEnd(buf []byte, i int, last bool) (next int, ok bool) {
	if buf[i] == '\r' {
		if i+1 == len(buf) {
			return i + 1, last
		}
		if buf[i+1] == '\n' {
			return i + 2, true
		}
	}
	return i + 1, true
}

// misfit compares the cells of a sound record with the header.
func (g *grammar) misfit(record []byte) flaw {
	n, f := 0, sound
	g.cells(record, func(cell []byte, quoted bool) {
		n++
		if n > g.width && !blank(cell) {
			f = manyCells
		}
	})
	if n < g.named {
		return fewCells
	}
	return f
}

// cells calls do for each cell of a sound record. A quoted cell comes without
// its outer quotes, inner ones still doubled.
func (g *grammar) cells(record []byte, do func(cell []byte, quoted bool)) {
	for i := 0; ; {
		if i < len(record) && record[i] == g.quote && g.quotes {
			if q, _ := g.closing(record, i, true); q.flaw == sound {
				do(record[i+1:q.close], true)
				if i = q.close + 1; i >= len(record) {
					return
				}
				i++ // the delimiter
				continue
			}
		}
		k := bytes.IndexByte(record[i:], g.delim)
		if k < 0 {
			do(record[i:], false)
			return
		}
		do(record[i:i+k], false)
		i += k + 1
	}
}

// blank reports whether a cell holds nothing but space.
func blank(cell []byte) bool { return len(Trim(cell)) == 0 }

// Trim cuts white space off both ends: ASCII space and control characters,
// no-break spaces and other spaces of Unicode, byte order marks.
func Trim(b []byte) []byte {
	for len(b) > 0 {
		if b[0] <= ' ' {
			b = b[1:]
		} else if n := wideSpace(b, false); n > 0 {
			b = b[n:]
		} else {
			break
		}
	}
	for len(b) > 0 {
		if c := b[len(b)-1]; c <= ' ' {
			b = b[:len(b)-1]
		} else if n := wideSpace(b, true); n > 0 {
			b = b[:len(b)-n]
		} else {
			break
		}
	}
	return b
}

// wideSpace returns the length of the space of more than one byte at the
// start or end of b, 0 if there is none.
func wideSpace(b []byte, end bool) int {
	if end && b[len(b)-1] < 0x80 || !end && b[0] < 0x80 {
		return 0
	}
	for _, s := range wideSpaces {
		if end && bytes.HasSuffix(b, s) || !end && bytes.HasPrefix(b, s) {
			return len(s)
		}
	}
	return 0
}

var wideSpaces = [][]byte{[]byte("\u00a0"), []byte("\u202f"), []byte("\u2007"), []byte("\u2009"), []byte("\u200b"), []byte("\u3000"), []byte("\ufeff")}
