package intake

import (
	"fmt"
	"math"
	"unicode/utf8"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// checkMapper reads the answers of checks: a row a check (long form) or a
// column a check (wide form). It runs after the other mappers.
type checkMapper struct {
	finding, valueCode, unitGiven, state *column
	number, given, count, window         *column
	seq                                  *column
	countMapped, windowMapped            bool
	stateMapped                          bool
	done, notAsked                       int32 // words of state
	items                                *memo // the check's word -> place in readings
	words                                map[string]int32
	readings                             []answer // long form, then wide form
	atItem, atState                      *place
}

// answer is how one check's answers are read, with what was seen so far.
type answer struct {
	readingPlan
	finding   int32 // number of the finding's word
	unit      int32 // number of the unit's word, -1 for none
	unitAlso  int32
	memo      *memo // the answer -> number of the code's word
	words     map[string]int32
	low, high float64
	window    float64 // of a unit such as /15s, else 0
	at        *place
	atWindow  *place
}

func newCheckMapper(w *worker) *checkMapper {
	c := &checkMapper{finding: w.use("finding"), valueCode: w.use("value_code"), unitGiven: w.use("unit_given"), number: w.use("value_number"),
		given: w.use("number_given"), items: newMemo(), words: map[string]int32{}}
	mapped := func(name string) bool { return !w.columns[w.p.table.Index(name)].absent }
	c.stateMapped, c.countMapped, c.windowMapped = mapped("state"), mapped("count"), mapped("window_s")
	if !mapped("seq") {
		w.mappers = append(w.mappers, newConstant(w.use("seq"), "1"))
	}
	c.state, c.count, c.window, c.seq = w.use("state"), w.use("count"), w.use("window_s"), w.use("seq")
	c.done, c.notAsked = c.state.words.add([]byte("done")), c.state.words.add([]byte("not_asked"))
	p := w.p
	if p.item >= 0 {
		c.atItem = &place{label(p.desc.Item), "a check that the description names", "add the word under items in " + p.desc.Path}
		for i, r := range p.readings {
			c.words[source.Fold(r.word)] = int32(i)
			c.readings = append(c.readings, c.answer(w, r, label(p.desc.Reading)))
		}
	}
	for _, r := range p.wide {
		c.readings = append(c.readings, c.answer(w, r.readingPlan, r.column))
	}
	c.atState = &place{label(p.desc.Reading), "no reading, as the check is marked as not done", "correct the state or the reading in the export"}
	return c
}

// answer prepares the reading of one check. Words are numbered here once for
// the whole file, so the dictionaries of these columns are never reset.
func (c *checkMapper) answer(w *worker, r readingPlan, col string) answer {
	f := r.Finding
	a := answer{readingPlan: r, finding: c.finding.words.add([]byte(f.ID)), unit: -1, unitAlso: -1}
	if f.Kind == findings.Code {
		a.memo, a.words = newMemo(), map[string]int32{}
		for _, o := range f.Codes {
			n := c.valueCode.words.add([]byte(o.ID))
			if r.Words == nil {
				a.words[o.ID] = n
			}
		}
		for k, v := range r.Words {
			a.words[source.Fold(k)] = c.valueCode.words.add([]byte(v))
		}
		a.at = &place{col, fmt.Sprintf("an answer of %s", f.ID), fmt.Sprintf("add the word under words of %q in %s, or look at the row in the export", r.word, w.p.desc.Path)}
		return a
	}
	a.low, a.high = source.Limits(f)
	a.at = &place{col, fmt.Sprintf("%s from %s to %s %s", f.ID, plain(a.low), plain(a.high), f.Unit), "look at the row in the export, or correct the unit in " + w.p.desc.Path}
	name := r.Unit.Name
	if r.Counted {
		name = source.Count
		a.atWindow = &place{r.WindowFrom, "the seconds of counting, 1 to 3600", "look at the row in the export"}
		if r.CountFrom != "" {
			a.at.column = r.CountFrom
		}
	}
	a.unit = c.unitGiven.words.add([]byte(name))
	if r.Also != nil {
		a.unitAlso = c.unitGiven.words.add([]byte(r.Also.Name))
	}
	switch name {
	case "/15s":
		a.window = 15
	case "/30s":
		a.window = 30
	}
	return a
}

// fill reads the answers and returns the number of rows.
func (c *checkMapper) fill(w *worker) int {
	if w.p.item < 0 {
		return c.fillWide(w)
	}
	data, items, cells := w.b.Data, w.spans(w.p.item), w.spans(w.p.reading)
	c.clear(w.base, w.base+w.m)
	for i, s := range items {
		n, ok := c.items.get(data, int(s.Off), s.Len())
		if !ok {
			n = c.lookItem(w, s)
		}
		if n < 0 {
			w.fail(i, reason(memoFault-n), c.atItem, w.b.Cell(s))
			continue
		}
		c.read(w, i, i, &c.readings[n], cells[i])
	}
	return w.m
}

// lookItem finds the check that a word stands for and remembers it.
func (c *checkMapper) lookItem(w *worker, s tabular.Span) int32 {
	cell, blank := w.text(s)
	n := int32(memoFault - int32(unmappedCheck))
	if blank {
		n = memoFault - int32(missingValue)
	} else if i, ok := c.words[source.Fold(string(cell))]; ok {
		n = i
	}
	c.items.put(w.b.Data, int(s.Off), s.Len(), n)
	return n
}

// fillWide makes a row of each check's column. The other columns were filled
// for the rows of the export, at the front; they are spread from the back.
func (c *checkMapper) fillWide(w *worker) int {
	k := len(w.p.wide)
	rows := w.m * k
	w.drop = extend(w.drop, max(rows, 1))
	clear(w.drop)
	if k == 0 {
		return 0
	}
	for i := w.m - 1; i >= 0; i-- {
		f := w.faults[i]
		for n := k - 1; n >= 0; n-- {
			to := i*k + n
			if to != i {
				for col := range w.columns {
					w.columns[col].move(w.base+to, w.base+i, 1)
				}
			}
			w.faults[to] = fault{}
			if f.reason != noFault {
				// The row at fault is set aside once, not once a check.
				if n == 0 {
					w.faults[to] = f
				} else {
					w.drop[to] = true
				}
			}
		}
	}
	for n := range w.p.wide {
		spans := w.spans(w.p.wide[n].slot)
		for i, s := range spans {
			to := i*k + n
			if w.drop[to] || w.faults[to].reason != noFault {
				continue
			}
			c.clear(w.base+to, w.base+to+1)
			if w.p.wide[n].skipBlank {
				if _, blank := w.text(s); blank {
					w.drop[to] = true
					continue
				}
			}
			c.read(w, i, to, &c.readings[n], s)
		}
	}
	return rows
}

// clear empties what readings may fill, in rows from up to to.
func (c *checkMapper) clear(from, to int) {
	for _, col := range []*column{c.valueCode, c.unitGiven} {
		clear(col.valid[from:to])
		clear(col.i32[from:to])
	}
	for _, col := range []*column{c.number, c.given} {
		clear(col.valid[from:to])
		clear(col.f64[from:to])
	}
	if !c.countMapped {
		clear(c.count.valid[from:to])
		clear(c.count.i16[from:to])
	}
	if !c.windowMapped {
		clear(c.window.valid[from:to])
		clear(c.window.i16[from:to])
	}
}

// read reads the answer of row i of the batch into row to of the batch.
func (c *checkMapper) read(w *worker, i, to int, a *answer, s tabular.Span) {
	j := w.base + to
	c.finding.i32[j], c.finding.valid[j] = a.finding, 1
	var has bool
	if a.memo != nil {
		has = c.code(w, to, a, s)
	} else {
		has = c.value(w, i, to, a, s)
	}
	if w.faults[to].reason != noFault {
		return
	}
	switch {
	case !c.stateMapped || c.state.valid[j] == 0:
		c.state.valid[j] = 1
		c.state.i32[j] = c.notAsked
		if has {
			c.state.i32[j] = c.done
		}
	case !has && c.state.i32[j] == c.done:
		w.fail(to, blankReading, a.at, nil)
	case has && c.state.i32[j] != c.done:
		w.fail(to, stateConflict, c.atState, w.b.Cell(s))
	}
}

// code reads a coded answer.
func (c *checkMapper) code(w *worker, to int, a *answer, s tabular.Span) (has bool) {
	v, ok := a.memo.get(w.b.Data, int(s.Off), s.Len())
	if !ok {
		cell, blank := w.text(s)
		v = memoBlank
		if !blank {
			if v, ok = a.words[source.Fold(string(cell))]; !ok {
				v = memoFault - int32(unmappedWord)
				if !utf8.Valid(cell) {
					v = memoFault - int32(badText)
				}
			}
		}
		a.memo.put(w.b.Data, int(s.Off), s.Len(), v)
	}
	switch {
	case v == memoBlank:
		return false
	case v < 0:
		w.fail(to, reason(memoFault-v), a.at, w.b.Cell(s))
		return false
	}
	c.valueCode.i32[w.base+to], c.valueCode.valid[w.base+to] = v, 1
	return true
}

// value reads a number, in its unit or counted over a window.
func (c *checkMapper) value(w *worker, i, to int, a *answer, s tabular.Span) (has bool) {
	if a.countSlot >= 0 {
		s = w.spans(a.countSlot)[i]
	}
	cell, blank := w.text(s)
	if blank {
		return false
	}
	given, in, why := w.number(s, cell, a.Unit)
	if why != noFault {
		w.fail(to, why, a.at, cell)
		return false
	}
	j, unit := w.base+to, a.unit
	v := given
	switch {
	case a.Counted:
		window, ok := c.seconds(w, i, to, a)
		if !ok {
			return false
		}
		v = given * 60 / window
		c.counted(j, given, window)
	case in.Name != a.Unit.Name: // the cell itself says the unit
		v = a.Convert.Apply(in.To(a.Unit).Apply(given))
		unit = c.unitGiven.words.addString(in.Name)
	default:
		v = a.Convert.Apply(given)
		if (v < a.low || v > a.high) && a.Also != nil && given >= a.AlsoLow && given <= a.AlsoHigh {
			v, unit = a.AlsoConvert.Apply(given), a.unitAlso
			w.notes[noteUnitRepaired]++
		}
		if a.window > 0 {
			c.counted(j, given, a.window)
		}
	}
	if !(v >= a.low && v <= a.high) {
		w.fail(to, outOfRange, a.at, cell)
		return false
	}
	c.number.f64[j], c.number.valid[j] = v, 1
	c.given.f64[j], c.given.valid[j] = given, 1
	if unit >= 0 {
		c.unitGiven.i32[j], c.unitGiven.valid[j] = unit, 1
	}
	return true
}

// seconds reads the window of counting.
func (c *checkMapper) seconds(w *worker, i, to int, a *answer) (float64, bool) {
	s := w.spans(a.windowSlot)[i]
	cell, blank := w.text(s)
	if blank {
		w.fail(to, missingValue, a.atWindow, nil)
		return 0, false
	}
	v, in, why := w.number(s, cell, secondUnit)
	v = in.To(secondUnit).Apply(v)
	if why == noFault && !(v >= 1 && v <= 3600) {
		why = outOfRange
	}
	if why != noFault {
		w.fail(to, why, a.atWindow, cell)
		return 0, false
	}
	return v, true
}

var secondUnit, _ = source.ParseUnit("s")

// counted keeps what was counted and over how long, beside the rate.
func (c *checkMapper) counted(j int, count, window float64) {
	if !c.countMapped && count == math.Trunc(count) && count <= math.MaxInt16 {
		c.count.i16[j], c.count.valid[j] = int16(count), 1
	}
	if !c.windowMapped && window == math.Trunc(window) {
		c.window.i16[j], c.window.valid[j] = int16(window), 1
	}
}
