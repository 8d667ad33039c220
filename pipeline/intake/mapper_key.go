package intake

import (
	"bytes"
	"strconv"
	"unicode/utf8"

	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// constant fills a column with one value.
type constant struct {
	col *column
	n   float64
	txt string
}

func newConstant(col *column, text string) *constant {
	col.absent = false
	n, _ := strconv.ParseFloat(text, 64)
	return &constant{col, n, text}
}

func (c *constant) fill(w *worker) {
	word := int32(0)
	if c.col.Kind == records.Text {
		word = c.col.words.add([]byte(c.txt))
	}
	for j := w.base; j < w.base+w.m; j++ {
		c.col.valid[j] = 1
		switch c.col.Kind {
		case records.Text:
			c.col.i32[j] = word
		case records.Boolean:
			c.col.b8[j] = 0
			if c.txt == "true" {
				c.col.b8[j] = 1
			}
		case records.Int16:
			c.col.i16[j] = int16(c.n)
		case records.Int32:
			c.col.i32[j] = int32(c.n)
		case records.Int64:
			c.col.i64[j] = int64(c.n)
		case records.Float:
			c.col.f64[j] = c.n
		}
	}
}

// label names the export's columns of a mapping in messages.
func label(c *source.Column) string {
	name := ""
	if c == nil {
		return name
	}
	for i, alt := range c.From {
		if i > 0 {
			name += " / "
		}
		for k, part := range alt {
			if k > 0 {
				name += " + "
			}
			name += part
		}
	}
	return name
}

// keyMapper replaces keys by pseudonyms.
type keyMapper struct {
	col     *column
	slots   [][]int
	hasher  *privacy.Hasher
	at      *place
	scratch []byte
	parts   [][]byte
	spans   [][]tabular.Span // of the parts of the first alternative
}

// remembered is how many recent keys a worker keeps with their pseudonyms: enough
// for the advisors on duty, and few enough for the nearest cache. Animals and calls
// hardly come again within a thousand rows.
const remembered = 128

func newKeyMapper(w *worker, c columnPlan, col *column) *keyMapper {
	return &keyMapper{col: col, slots: c.slots, hasher: w.p.in.Key.Hasher(c.Target.Space, remembered),
		at: &place{label(c.Column), "the key of the " + c.Target.Space, "fill it in the export; without it the record cannot be told apart"}}
}

func (k *keyMapper) fill(w *worker) {
	k.spans = k.spans[:0]
	for _, s := range k.slots[0] {
		k.spans = append(k.spans, w.spans(s))
	}
	first := k.spans[0]
	simple := len(k.slots[0]) == 1
	sound := false // the row before has a pseudonym of its first alternative
	for i := range w.m {
		j := w.base + i
		if sound && k.again(w.b, i) {
			k.col.valid[j] = 1
			copy(k.col.uuid[16*j:16*j+16], k.col.uuid[16*j-16:])
			continue
		}
		k.col.valid[j], sound = 0, false
		var cell []byte
		blank := true
		if simple {
			cell, blank = w.text(first[i])
		} else {
			cell, blank = k.join(w, k.slots[0], i)
		}
		own := !blank
		for alt := 1; blank && alt < len(k.slots); alt++ {
			cell, blank = k.join(w, k.slots[alt], i)
		}
		if blank {
			if k.col.Required {
				w.fail(i, missingKey, k.at, nil)
			}
			continue
		}
		if exponent(cell) {
			w.fail(i, damagedKey, k.at, cell)
			continue
		}
		if w.b.InvalidText && !utf8.Valid(cell) {
			w.fail(i, badText, k.at, cell)
			continue
		}
		k.col.valid[j], sound = 1, own
		k.hasher.Sum(k.col.uuid[16*j:16*j+16], cell)
	}
}

// again reports whether row i has the same bytes in the first alternative as the row
// before: the checks of a call follow each other.
func (k *keyMapper) again(b *tabular.Batch, i int) bool {
	for _, spans := range k.spans {
		if s, was := spans[i], spans[i-1]; s.Len() != was.Len() || string(b.Cell(s)) != string(b.Cell(was)) {
			return false
		}
	}
	return true
}

// join makes one value of the parts of a composite key. It is blank when all
// parts of it are, or when its first alternative lacks one.
func (k *keyMapper) join(w *worker, slots []int, i int) ([]byte, bool) {
	if len(slots) == 1 {
		return w.text(w.spans(slots[0])[i])
	}
	k.parts = k.parts[:0]
	for _, s := range slots {
		cell, blank := w.text(w.spans(s)[i])
		if blank {
			return nil, true
		}
		k.parts = append(k.parts, cell)
	}
	k.scratch = privacy.Join(k.scratch[:0], k.parts...)
	return k.scratch, false
}

// exponent recognises a key that a spreadsheet has turned into a number such
// as 1.23457E+12: the digits that are gone cannot be had back.
func exponent(cell []byte) bool {
	i := bytes.IndexByte(cell, '+')
	if i < 2 || i == len(cell)-1 || cell[i-1] != 'E' && cell[i-1] != 'e' {
		return false
	}
	for n, c := range cell {
		if n != i && n != i-1 && c-'0' > 9 && c != '.' && c != ',' {
			return false
		}
	}
	return true
}
