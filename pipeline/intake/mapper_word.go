package intake

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"hindcheck/pipeline/codes"
	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

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
	return fmt.Sprintf("a code of at most %d characters and %d words, no sentence and no telephone number", source.MaxWord, source.MaxWords)
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
		if word = strings.Join(strings.Fields(word), " "); source.Prose(word) {
			return memoFault - int32(tooLong)
		}
	}
	return c.words.add([]byte(word))
}

// forget drops what was remembered about words whose numbers are gone.
func (m *wordMapper) forget() { m.memo.reset() }
