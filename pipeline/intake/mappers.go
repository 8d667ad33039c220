package intake

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"hindcheck/pipeline/codes"
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
}

// remembered is how many recent keys a worker keeps with their pseudonyms.
const remembered = 1024

func newKeyMapper(w *worker, c columnPlan, col *column) *keyMapper {
	return &keyMapper{col: col, slots: c.slots, hasher: w.p.in.Key.Hasher(c.Target.Space, remembered),
		at: &place{label(c.Column), "the key of the " + c.Target.Space, "fill it in the export; without it the record cannot be told apart"}}
}

func (k *keyMapper) fill(w *worker) {
	first := w.spans(k.slots[0][0])
	simple := len(k.slots[0]) == 1
	for i := range w.m {
		j := w.base + i
		k.col.valid[j] = 0
		var cell []byte
		blank := true
		if simple {
			cell, blank = w.text(first[i])
		} else {
			cell, blank = k.join(w, k.slots[0], i)
		}
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
		k.col.valid[j] = 1
		k.hasher.Sum(k.col.uuid[16*j:16*j+16], cell)
	}
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

// wordMapper maps words to stored words, or to true and false.
type wordMapper struct {
	col    *column
	slots  [][]int
	memo   *memo
	values map[string]string // by folded word; nil: the word itself
	must   bool              // a blank is a fault
	at     *place
}

func newWordMapper(w *worker, c columnPlan, col *column) *wordMapper {
	m := &wordMapper{col: col, slots: c.slots, memo: newMemo(), must: c.Target.Required}
	if w.p.table.Name == records.Checks.Name && c.Target.Name == "state" {
		m.must = false // the reading tells
	}
	m.at = &place{column: label(c.Column), remedy: fmt.Sprintf("add the word under values of %s in %s, or look at the row in the export", c.Target.Name, w.p.desc.Path)}
	if c.Values != nil {
		m.values = map[string]string{}
		for k, v := range c.Values {
			m.values[source.Fold(k)] = v
		}
		m.at.expected = fmt.Sprintf("one of the %d words of its table", len(c.Values))
	} else {
		m.at.expected = expectedWords(c.Target)
	}
	return m
}

func expectedWords(c records.Column) string {
	switch {
	case c.Kind == records.Boolean:
		return "true or false"
	case c.Words.Name() != "":
		return "one of " + c.Words.String()
	case c.Identifier:
		return "an identifier of a-z, 0-9 and _"
	}
	return fmt.Sprintf("a word of at most %d characters", source.MaxWord)
}

// What a remembered cell means, below the numbers of words.
const (
	memoBlank = -1
	memoFault = -2 // minus the reason
)

func (m *wordMapper) fill(w *worker) {
	data, spans := w.b.Data, w.spans(m.slots[0][0])
	bools := m.col.Kind == records.Boolean
	for i, s := range spans {
		j := w.base + i
		v, ok := m.memo.get(data, int(s.Off), s.Len())
		if !ok {
			v = m.look(w, s)
		}
		for alt := 1; v == memoBlank && alt < len(m.slots); alt++ {
			s = w.spans(m.slots[alt][0])[i]
			if v, ok = m.memo.get(data, int(s.Off), s.Len()); !ok {
				v = m.look(w, s)
			}
		}
		if v < 0 {
			m.col.valid[j] = 0
			if bools {
				m.col.b8[j] = 0
			} else {
				m.col.i32[j] = 0
			}
			if v <= memoFault {
				w.fail(i, reason(memoFault-v), m.at, w.b.Cell(s))
			} else if m.must {
				w.fail(i, missingValue, m.at, nil)
			}
			continue
		}
		m.col.valid[j] = 1
		if bools {
			m.col.b8[j] = uint8(v)
		} else {
			m.col.i32[j] = v
		}
	}
}

// look finds out what a cell means and remembers it.
func (m *wordMapper) look(w *worker, s tabular.Span) int32 {
	cell, blank := w.text(s)
	v := int32(memoBlank)
	if !blank {
		v = m.meaning(cell)
	}
	m.memo.put(w.b.Data, int(s.Off), s.Len(), v)
	return v
}

func (m *wordMapper) meaning(cell []byte) int32 {
	if !utf8.Valid(cell) {
		return memoFault - int32(badText)
	}
	word := string(cell)
	if m.values != nil {
		to, ok := m.values[source.Fold(word)]
		if !ok {
			return memoFault - int32(unmappedWord)
		}
		word = to
	}
	c := m.col
	switch {
	case c.Kind == records.Boolean:
		switch source.Fold(word) {
		case "true":
			return 1
		case "false":
			return 0
		}
		return memoFault - int32(unmappedWord)
	case c.Words.Name() != "":
		if !c.Words.Has(word) {
			return memoFault - int32(unmappedWord)
		}
	case c.Identifier:
		if !codes.ValidID(word) {
			return memoFault - int32(unmappedWord)
		}
	default:
		if word = strings.Join(strings.Fields(word), " "); len(word) > source.MaxWord {
			return memoFault - int32(tooLong)
		}
	}
	return c.words.add([]byte(word))
}

// forget drops what was remembered about words whose numbers are gone.
func (m *wordMapper) forget() { m.memo.reset() }
