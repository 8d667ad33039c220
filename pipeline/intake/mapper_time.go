package intake

import (
	"fmt"
	"strconv"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// timeMapper maps dates and times.
type timeMapper struct {
	col    *column
	slots  [][]int
	layout source.Layout
	at     *place
	recall recall
}

func newTimeMapper(w *worker, c columnPlan, col *column) *timeMapper {
	return &timeMapper{col: col, slots: c.slots, layout: c.Layout,
		at: &place{label(c.Column), "a date or time written as " + c.Layout.String(), fmt.Sprintf("correct the layout of %s in %s, or look at the row in the export", c.Target.Name, w.p.desc.Path)}}
}

func (t *timeMapper) fill(w *worker) {
	data, first := w.b.Data, w.spans(t.slots[0][0])
	plain := len(t.slots) == 1 && !t.col.Required // an empty cell is no time, and that is all
	for i := range w.m {
		if plain && first[i].Len() == 0 {
			t.set(w.base+i, 0, 0)
			continue
		}
		slot, key, known := t.recall.find(data, first[i])
		if known {
			t.set(w.base+i, int64(slot.value), 1)
			continue
		}
		notes := w.notes
		if at, ok := t.read(w, i); ok && slot != nil && notes == w.notes {
			*slot = recalled{key, uint64(at)}
		}
	}
}

// read reads row i of the batch; ok is false where it has no time.
func (t *timeMapper) read(w *worker, i int) (at int64, ok bool) {
	var s tabular.Span
	cell, blank := []byte(nil), true
	for alt := 0; blank && alt < len(t.slots); alt++ {
		s = w.spans(t.slots[alt][0])[i]
		cell, blank = w.text(s)
	}
	if blank && t.col.Required {
		w.fail(i, missingValue, t.at, nil)
	}
	if !blank {
		at, ok = w.time(i, s, cell, &t.layout, t.at, t.col.Kind == records.Date)
	}
	if ok {
		t.set(w.base+i, at, 1)
	} else {
		t.set(w.base+i, 0, 0)
	}
	return at, ok
}

func (t *timeMapper) set(j int, at int64, valid uint8) {
	t.col.valid[j] = valid
	if t.col.Kind == records.Date {
		t.col.i32[j] = int32(at / dayMicros)
	} else {
		t.col.i64[j] = at
	}
}

// earliest is 1990-01-01; older dates are the zero of some spreadsheet or
// database, not times of calls.
const earliest = 7305 * dayMicros

// time reads a cell as a time, in microseconds UTC, or as a local day when day
// is set. It marks the row when it cannot.
func (w *worker) time(i int, s tabular.Span, cell []byte, l *source.Layout, at *place, day bool) (int64, bool) {
	m, zoned, ok := w.parseTime(s, cell, l)
	if !ok {
		w.fail(i, badDate, at, cell)
		return 0, false
	}
	if m.Midnight24 {
		w.notes[noteMidnight]++
	}
	if m.Seconds {
		w.notes[noteSeconds]++
	}
	if m.Micros < earliest {
		w.fail(i, implausibleDate, at, cell)
		return 0, false
	}
	if day {
		return m.Micros, true
	}
	utc, what, ok := w.zone.utc(m.Micros, zoned)
	switch {
	case what == twice && !ok:
		w.fail(i, ambiguousTime, at, cell)
	case what == never && !ok:
		w.fail(i, skippedTime, at, cell)
	case what == twice:
		w.notes[noteAmbiguous]++
	case what == never:
		w.notes[noteSkipped]++
	}
	return utc, ok
}

// parseTime reads text by the layout, and what the file itself holds as a time
// by its own form.
func (w *worker) parseTime(s tabular.Span, cell []byte, l *source.Layout) (m source.Moment, zoned, ok bool) {
	switch s.Form() {
	case tabular.NumberCell:
		if !w.p.serial || l.Counts() {
			break
		}
		v, err := strconv.ParseFloat(string(cell), 64)
		if err != nil {
			return m, false, false
		}
		m.Micros, ok = source.SerialMicros(v, w.p.from1904)
		return m, false, ok
	case tabular.LocalCell:
		m, ok = localForm.Parse(cell)
		return m, false, ok
	case tabular.InstantCell:
		m, ok = instantForm.Parse(cell)
		return m, true, ok
	}
	m, ok = l.Parse(cell)
	return m, l.Zoned(), ok
}

var (
	localForm   = mustLayout("2006-01-02T15:04:05")
	instantForm = mustLayout("2006-01-02T15:04:05Z07:00")
)

func mustLayout(s string) source.Layout {
	l, err := source.ParseLayout(s)
	if err != nil {
		panic(err)
	}
	return l
}

// exportMapper fills exported_at.
type exportMapper struct{ column *column }

func (e *exportMapper) fill(w *worker) {
	c := e.column
	if w.p.exportedSlot < 0 {
		for j := w.base; j < w.base+w.m; j++ {
			c.i64[j], c.valid[j] = w.p.exportedAt, 1
		}
		return
	}
	at := &place{w.p.desc.Exported.Column, "the time of the export written as " + w.p.desc.Exported.Layout.String(), "correct exported_at in " + w.p.desc.Path}
	for i, s := range w.spans(w.p.exportedSlot) {
		j := w.base + i
		c.i64[j], c.valid[j] = 0, 1
		cell, blank := w.text(s)
		if blank {
			w.fail(i, missingValue, at, nil)
			continue
		}
		if t, ok := w.time(i, s, cell, &w.p.desc.Exported.Layout, at, false); ok {
			c.i64[j] = t
			w.latestExport = max(w.latestExport, t)
		}
	}
}
