package intake

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// numberMapper maps numbers, in the stored unit.
type numberMapper struct {
	col      *column
	slots    [][]int
	conv     source.Conversion
	unit     source.Unit
	unitSlot int
	units    map[string]source.Conversion // by folded word
	at       *place
	atUnit   *place
	recall   recall
	// spellings numbers the units as the unit column spells them, and byUnit what is
	// remembered of numbers in each.
	spellings *memo
	byUnit    []*recall
}

// maxUnits is of how many spellings of units numbers are remembered.
const maxUnits = 8

func newNumberMapper(w *worker, c columnPlan, col *column) *numberMapper {
	m := &numberMapper{col: col, slots: c.slots, conv: c.Convert, unit: c.Unit, unitSlot: c.unitSlot}
	expected := "a number"
	if c.Target.High > c.Target.Low {
		expected = fmt.Sprintf("a number from %s to %s", plain(c.Target.Low), plain(c.Target.High))
	}
	if c.Target.Unit != "" {
		expected += " " + c.Target.Unit
	}
	m.at = &place{label(c.Column), expected, "look at the row in the export"}
	if c.Target.Unit != "" {
		m.at.remedy += fmt.Sprintf(", or correct the unit of %s in %s", c.Target.Name, w.p.desc.Path)
	}
	if c.Units != nil {
		m.spellings = newMemo()
		m.units = map[string]source.Conversion{}
		names := make([]string, 0, len(c.Units))
		for k, v := range c.Units {
			m.units[source.Fold(k)] = v
			names = append(names, k)
		}
		slices.Sort(names)
		m.atUnit = &place{c.UnitFrom, "one of the units " + strings.Join(names, ", "), fmt.Sprintf("add the unit under units of %s in %s", c.Target.Name, w.p.desc.Path)}
	}
	return m
}

func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func (m *numberMapper) fill(w *worker) {
	data, first := w.b.Data, w.spans(m.slots[0][0])
	plain := len(m.slots) == 1 && !m.col.Required // an empty cell is no number, and that is all
	for i := range w.m {
		if plain && first[i].Len() == 0 {
			m.set(w.base+i, 0, 0)
			continue
		}
		var slot *recalled
		var key spelling
		if r := m.recallOf(w, i); r != nil {
			var known bool
			if slot, key, known = r.find(data, first[i]); known {
				m.set(w.base+i, math.Float64frombits(slot.value), 1)
				continue
			}
		}
		notes := w.notes
		if v, ok := m.read(w, i); ok && slot != nil && notes == w.notes {
			*slot = recalled{key, math.Float64bits(v)}
		}
	}
}

// recallOf is what is remembered of numbers in the unit of row i, nil where nothing is.
func (m *numberMapper) recallOf(w *worker, i int) *recall {
	if m.units == nil || m.unitSlot < 0 {
		return &m.recall
	}
	s := w.spans(m.unitSlot)[i]
	n, ok := m.spellings.get(w.b.Data, int(s.Off), s.Len())
	if !ok {
		n = -1
		if cell, blank := w.text(s); !blank && len(m.byUnit) < maxUnits {
			if _, known := m.units[source.Fold(string(cell))]; known {
				n = int32(len(m.byUnit))
				m.byUnit = append(m.byUnit, &recall{})
			}
		}
		m.spellings.put(w.b.Data, int(s.Off), s.Len(), n)
	}
	if n < 0 {
		return nil
	}
	return m.byUnit[n]
}

// read reads row i of the batch; ok is false where it has no number.
func (m *numberMapper) read(w *worker, i int) (v float64, ok bool) {
	defer func() {
		if ok {
			m.set(w.base+i, v, 1)
		} else {
			m.set(w.base+i, 0, 0)
		}
	}()
	var s tabular.Span
	cell, blank := []byte(nil), true
	for alt := 0; blank && alt < len(m.slots); alt++ {
		s = w.spans(m.slots[alt][0])[i]
		cell, blank = w.text(s)
	}
	if blank {
		if m.col.Required {
			w.fail(i, missingValue, m.at, nil)
		}
		return 0, false
	}
	conv, ok := m.conversion(w, i)
	if !ok {
		return 0, false
	}
	v, in, why := w.number(s, cell, m.unit)
	if why == noFault {
		if in.Name != m.unit.Name {
			v = in.To(m.unit).Apply(v)
		}
		v = conv.Apply(v)
		why = m.check(&v)
	}
	if why != noFault {
		w.fail(i, why, m.at, cell)
		return 0, false
	}
	return v, true
}

// conversion returns the row's conversion, by the unit column if there is one.
func (m *numberMapper) conversion(w *worker, i int) (source.Conversion, bool) {
	if m.units == nil || m.unitSlot < 0 {
		return m.conv, true
	}
	cell, blank := w.text(w.spans(m.unitSlot)[i])
	if blank {
		w.fail(i, unknownUnit, m.atUnit, nil)
		return m.conv, false
	}
	conv, ok := m.units[string(cell)]
	if !ok {
		if conv, ok = m.units[source.Fold(string(cell))]; !ok {
			w.fail(i, unknownUnit, m.atUnit, cell)
		}
	}
	return conv, ok
}

// check rounds to what the column holds and tells whether the number can be true.
func (m *numberMapper) check(v *float64) reason {
	c := m.col
	if c.Kind != records.Float {
		// Ages count completed months; the small amount keeps 24 months from
		// becoming 23 by rounding of the conversion.
		switch {
		case c.Unit == "months":
			*v = math.Floor(*v + 1e-6)
		case c.Unit != "":
			*v = math.Round(*v)
		case *v != math.Trunc(*v):
			return badNumber
		}
	}
	if c.High > c.Low && !(*v >= c.Low && *v <= c.High) {
		return outOfRange
	}
	return noFault
}

func (m *numberMapper) set(j int, v float64, valid uint8) {
	m.col.valid[j] = valid
	switch m.col.Kind {
	case records.Float:
		m.col.f64[j] = v
	case records.Int16:
		m.col.i16[j] = int16(v)
	case records.Int32:
		m.col.i32[j] = int32(v)
	case records.Int64:
		m.col.i64[j] = int64(v)
	}
}

// number reads a cell as a number. in is the unit that stands behind it, which
// measures the same as unit, or unit itself.
func (w *worker) number(s tabular.Span, cell []byte, unit source.Unit) (v float64, in source.Unit, why reason) {
	if s.Form() == tabular.NumberCell {
		v, err := strconv.ParseFloat(string(cell), 64)
		if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
			return 0, unit, badNumber
		}
		return v, unit, noFault
	}
	if v, ok := source.Decimal(cell, w.p.desc.Decimal); ok {
		return v, unit, noFault
	}
	return w.looseNumber(cell, unit)
}

// looseNumber reads what people and spreadsheets add to a number: space and
// thousands signs between digits, a typographic minus, a unit behind.
func (w *worker) looseNumber(cell []byte, unit source.Unit) (v float64, in source.Unit, why reason) {
	text := strings.ReplaceAll(string(cell), "\u2212", "-")
	if inexact(text) {
		return 0, unit, inexactNumber
	}
	end := strings.LastIndexFunc(text, func(r rune) bool { return r >= '0' && r <= '9' }) + 1
	if i := strings.LastIndexByte(text, '/'); i > 0 && strings.IndexFunc(text[:i], digit) >= 0 && strings.IndexFunc(text[i:], digit) >= 0 {
		end = strings.LastIndexFunc(text[:i], digit) + 1 // the 15 of /15s is no part of the number
	}
	number, behind := text[:end], strings.TrimSpace(text[end:])
	digits, ok := ungroup(number, w.p.desc.Thousands)
	if !ok {
		return 0, unit, badNumber
	}
	if v, ok = source.Decimal(digits, w.p.desc.Decimal); !ok {
		return 0, unit, badNumber
	}
	if behind == "" {
		return v, unit, noFault
	}
	in, known := source.UnitInCell(behind)
	if unit.Name == "" || !known || !in.Same(unit) {
		return 0, unit, badNumber
	}
	w.notes[noteUnitInCell]++
	return v, in, noFault
}

func digit(r rune) bool { return r >= '0' && r <= '9' }

// inexact recognises comparisons and ranges.
func inexact(text string) bool {
	if strings.ContainsAny(text, "<>~≤≥≈±") || strings.HasPrefix(text, "ca") {
		return true
	}
	for _, sep := range []string{"-", "\u2013", "\u2014", " to ", " bis ", ".."} {
		if i := strings.Index(text, sep); i > 0 && strings.IndexFunc(text[:i], digit) >= 0 && strings.IndexFunc(text[i:], digit) >= 0 {
			return true
		}
	}
	return false
}

// ungroup removes the thousands sign where it stands between groups of three
// digits, and white space there.
func ungroup(text string, sign byte) ([]byte, bool) {
	text = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ").Replace(strings.TrimSpace(text))
	out := make([]byte, 0, len(text))
	for i := 0; i < len(text); i++ {
		c := text[i]
		if c != ' ' && (sign == 0 || c != sign) {
			out = append(out, c)
			continue
		}
		if i == 0 || !digit(rune(text[i-1])) || i+4 > len(text) || bytes.IndexFunc([]byte(text[i+1:i+4]), func(r rune) bool { return !digit(r) }) >= 0 ||
			i+4 < len(text) && digit(rune(text[i+4])) {
			return nil, false
		}
	}
	return out, true
}
