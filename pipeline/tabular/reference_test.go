package tabular

import "strings"

// The plain sequential reader that the fast one must equal: one byte after the
// other, one state, no chunks, written from the rules in the comment of type
// grammar and not from its code.

type refRow struct {
	row    int64
	cells  []string
	broken bool
}

type refReader struct {
	text   string
	f      Format
	delim  byte
	quote  byte
	header []string
	rawHdr string
	rows   []refRow
}

// refCell reads one cell at i. ok is false for a quote that breaks the form.
func (r *refReader) refCell(i int) (cell string, next int, lines, ok bool) {
	if !r.f.NoQuote && i < len(r.text) && r.text[i] == r.quote {
		var b strings.Builder
		start := i
		for i++; ; i++ {
			if i >= len(r.text) || i-start > MaxCell {
				return "", i, lines, false
			}
			c := r.text[i]
			if c != r.quote {
				lines = lines || c == '\n' || c == '\r'
				b.WriteByte(c)
				continue
			}
			if i+1 < len(r.text) && r.text[i+1] == r.quote {
				b.WriteByte(c)
				i++
				continue
			}
			if i+1 == len(r.text) || r.text[i+1] == r.delim || r.text[i+1] == '\n' || r.text[i+1] == '\r' {
				return b.String(), i + 1, lines, true
			}
			return "", i, lines, false
		}
	}
	start := i
	for i < len(r.text) && r.text[i] != r.delim && r.text[i] != '\n' && r.text[i] != '\r' {
		i++
	}
	return r.text[start:i], i, false, true
}

// refRecord reads one record at i.
func (r *refReader) refRecord(i int) (cells []string, raw string, next int, broken bool) {
	start, lines := i, false
	for {
		cell, after, nl, ok := r.refCell(i)
		if !ok {
			return r.refLine(start)
		}
		lines = lines || nl
		cells = append(cells, cell)
		i = after
		if i < len(r.text) && r.text[i] == r.delim {
			i++
			continue
		}
		break
	}
	if lines && r.header != nil && !r.fits(cells) {
		return r.refLine(start)
	}
	return cells, r.text[start:i], r.refEnd(i), false
}

// refLine takes the line at start, whatever its quotes, as a broken record.
func (r *refReader) refLine(start int) ([]string, string, int, bool) {
	i := start
	for i < len(r.text) && r.text[i] != '\n' && r.text[i] != '\r' {
		i++
	}
	return nil, r.text[start:i], r.refEnd(i), true
}

func (r *refReader) refEnd(i int) int {
	if strings.HasPrefix(r.text[i:], "\r\n") {
		return i + 2
	}
	return min(i+1, len(r.text))
}

func (r *refReader) fits(cells []string) bool {
	named := 0
	for i, h := range r.header {
		if h != "" {
			named = i + 1
		}
	}
	if len(cells) < named {
		return false
	}
	for _, c := range cells[min(len(cells), len(r.header)):] {
		if !blank([]byte(c)) {
			return false
		}
	}
	return true
}

func (r *refReader) blank(raw string) bool {
	for i := range len(raw) {
		if c := raw[i]; c > ' ' && c != r.delim && !(c == r.quote && !r.f.NoQuote) {
			return false
		}
	}
	return true
}

// referenceRead reads text; ok is false when there is no header.
func referenceRead(text string, f Format) (r *refReader, ok bool) {
	r = &refReader{text: text, f: f, delim: f.Delimiter, quote: f.Quote}
	if r.delim == 0 {
		r.delim = ','
	}
	if r.quote == 0 {
		r.quote = '"'
	}
	skip, no := f.SkipRows, int64(0)
	for i := 0; i < len(text); {
		cells, raw, next, broken := r.refRecord(i)
		i = next
		no++
		switch {
		case r.header == nil && skip > 0:
			skip--
		case r.header == nil && !broken && r.blank(raw):
		case r.header == nil && broken:
			return r, false
		case r.header == nil:
			for _, c := range cells {
				r.header = append(r.header, string(Trim([]byte(c))))
			}
			r.rawHdr = raw
		case broken:
			r.rows = append(r.rows, refRow{no, nil, true})
		case strings.ContainsRune(raw, 0):
			r.rows = append(r.rows, refRow{no, nil, true})
		case r.blank(raw):
		case raw == r.rawHdr && r.fits(cells):
		case !r.fits(cells) || long(cells):
			r.rows = append(r.rows, refRow{no, nil, true})
		default:
			r.rows = append(r.rows, refRow{no, cells[:min(len(cells), len(r.header))], false})
		}
	}
	return r, r.header != nil
}

func long(cells []string) bool {
	for _, c := range cells {
		if len(c) > MaxCell {
			return true
		}
	}
	return false
}
