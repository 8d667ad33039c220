package intake

import (
	"fmt"

	"hindcheck/pipeline/records"
)

// across checks what no column can tell alone.
func (w *worker) across(rows int) {
	col := func(name string) *column {
		if i := w.p.table.Index(name); i >= 0 && !w.columns[i].absent {
			return &w.columns[i]
		}
		return nil
	}
	for i := range w.columns {
		if c := &w.columns[i]; c.Kind == records.Time && !c.absent && c.Name != records.ExportedAt {
			w.notFuture(c, rows)
		}
	}
	switch w.p.table.Name {
	case records.Calls.Name:
		w.ordered(col("started_at"), col("ended_at"), rows)
		w.weighed(col("species"), col("weight_kg"), rows)
	case records.Coverage.Name:
		w.ordered(col("from_date"), col("to_date"), rows)
	case records.Outcomes.Name:
		w.linked(col("call"), col("animal"), rows)
		w.positive(col("selection_p"), rows)
	}
}

// notFuture sets aside times more than a day after the export: an export may
// state only its day, and clocks differ, but not by more.
func (w *worker) notFuture(c *column, rows int) {
	exported := w.columns[w.p.table.Index(records.ExportedAt)].i64
	for i := range rows {
		j := w.base + i
		if c.valid[j] == 1 && c.i64[j] > exported[j]+dayMicros && w.faults[i].reason == noFault {
			w.faults[i] = fault{futureDate, foundTime, 0, w.placeOf(c, "a time not after the export", "check the clock and the layout of the export")}
			w.faulty = true
		}
	}
}

// placeOf names a column of the table as the export calls it.
func (w *worker) placeOf(c *column, expected, remedy string) *place {
	name := c.Name
	for _, p := range w.p.columns {
		if p.Target.Name == c.Name {
			name = label(p.Column)
		}
	}
	return &place{name, expected, remedy}
}

func (w *worker) ordered(from, to *column, rows int) {
	if from == nil || to == nil {
		return
	}
	for i := range rows {
		j := w.base + i
		if from.valid[j] == 0 || to.valid[j] == 0 || w.faults[i].reason != noFault {
			continue
		}
		if from.Kind == records.Date && to.i32[j] < from.i32[j] || from.Kind == records.Time && to.i64[j] < from.i64[j] && !w.otherHour(from, to, j) {
			w.faults[i] = fault{endBeforeStart, foundTime, 0, w.placeOf(to, "an end not before the start", "correct the row in the export")}
			w.faulty = true
		}
	}
}

// otherHour puts a call in order that began in the first run of a repeated hour
// and ended in the second: the description takes both for the same run, by which
// it ends before it began. Both readings are the local clock's; only one is
// possible. It reports whether the two are in order now.
func (w *worker) otherHour(from, to *column, j int) bool {
	if end, ok := w.zone.other(to.i64[j]); ok && w.local(to) && end >= from.i64[j] {
		to.i64[j] = end
	} else if start, ok := w.zone.other(from.i64[j]); ok && w.local(from) && start <= to.i64[j] {
		from.i64[j] = start
	} else {
		return false
	}
	w.notes[noteOtherHour]++
	return true
}

// local reports whether a column holds local times, which leave the run open.
func (w *worker) local(c *column) bool {
	for i := range w.p.columns {
		if p := &w.p.columns[i]; p.Target.Name == c.Name {
			return !p.Layout.Zoned()
		}
	}
	return false
}

// weighed sets aside calls with a weight that no animal of the species has: a
// unit or an animal was mistaken.
func (w *worker) weighed(species, weight *column, rows int) {
	if species == nil || weight == nil {
		return
	}
	for name, limit := range records.WeightLimits {
		word, ok := species.words.index[name]
		if !ok {
			continue
		}
		var at *place
		for i := range rows {
			j := w.base + i
			if weight.valid[j] == 0 || species.valid[j] == 0 || species.i32[j] != word || w.faults[i].reason != noFault ||
				weight.f64[j] >= limit[0] && weight.f64[j] <= limit[1] {
				continue
			}
			if at == nil {
				at = w.placeOf(weight, fmt.Sprintf("the weight of a %s from %s to %s kg", name, plain(limit[0]), plain(limit[1])), "look at the row in the export: the unit, the number and the animal")
			}
			w.faults[i] = fault{outOfRange, foundNumber, int32(len(plain(weight.f64[j]))), at}
			w.faulty = true
		}
	}
}

// linked sets aside outcomes that belong to neither a call nor an animal.
func (w *worker) linked(call, animal *column, rows int) {
	for i := range rows {
		j := w.base + i
		if (call == nil || call.valid[j] == 0) && (animal == nil || animal.valid[j] == 0) && w.faults[i].reason == noFault {
			w.faults[i] = fault{missingKey, foundNothing, 0, &place{"", "the key of a call or of an animal", "without either the outcome belongs to nothing; fill one in the export"}}
			w.faulty = true
		}
	}
}

// positive sets aside a probability of 0: what cannot be drawn was not drawn.
func (w *worker) positive(p *column, rows int) {
	if p == nil {
		return
	}
	for i := range rows {
		j := w.base + i
		if p.valid[j] == 1 && p.f64[j] == 0 && w.faults[i].reason == noFault {
			w.faults[i] = fault{outOfRange, foundNumber, 1, w.placeOf(p, "a probability above 0", "correct the row in the export")}
			w.faulty = true
		}
	}
}
