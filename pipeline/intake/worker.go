package intake

import (
	"slices"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

// mapper fills one column, or what one column needs, from the batch at hand.
type mapper interface {
	// fill writes rows w.base to w.base+w.m of its column.
	fill(w *worker)
}

// worker maps batches to column buffers and writes them out. Nothing in it is
// shared with other workers.
type worker struct {
	p       *plan
	b       *tabular.Batch
	m       int // rows of the batch
	n       int // rows in the buffers
	base    int // where the batch's rows begin in the buffers
	columns []column
	mappers []mapper
	checks  *checkMapper
	export  *exportMapper
	faults  []fault
	faulty  bool
	drop    []bool // wide form: cells that give no row
	hashes  []uint64
	zone    *zone
	blanks  blanks

	parts partFile
	runs  *runFile // of checks
	aside asideFile

	sourceRows, staged, setAside int64
	latestExport                 int64
	reasons                      [numReasons]int64
	notes                        [numNotes]int64
	examples                     []Fault
}

func newWorker(p *plan, no int) *worker {
	w := &worker{p: p, zone: newZone(p.desc), blanks: newBlanks(p.desc.Blanks)}
	w.columns = make([]column, len(p.table.Columns))
	for i, c := range p.table.Columns {
		w.columns[i] = column{Column: c, absent: true}
		if c.Kind == records.Text {
			w.columns[i].words = newVocab(c.Words.Words())
		}
	}
	takeMemory(p.table, w.columns)
	for _, c := range p.columns {
		if m := w.mapper(c); m != nil {
			w.columns[c.at].absent = false
			w.mappers = append(w.mappers, m)
		}
	}
	if p.table.Name == records.Calls.Name && p.desc.ZoneName != "" {
		w.mappers = append(w.mappers, newConstant(w.use("zone"), p.desc.ZoneName))
	}
	if p.table.Name == records.Checks.Name {
		w.checks = newCheckMapper(w)
	}
	w.export = &exportMapper{column: w.use(records.ExportedAt)}
	w.use(records.RowHash)
	w.use(records.SrcFile)
	w.use(records.SrcRow)
	w.parts = partFile{table: p.table, path: p.partPath(p.table.Name, no)}
	w.aside = newAsideFile(p, no)
	if w.checks != nil {
		w.runs = newRunFile(p, no)
	}
	have := len(w.columns[len(w.columns)-1].valid)
	for i := range w.columns { // a column that the file before lacked has less
		w.columns[i].grow(have)
	}
	return w
}

// use returns a column that will be filled.
func (w *worker) use(name string) *column {
	c := &w.columns[w.p.table.Index(name)]
	c.absent = false
	return c
}

// mapper makes the mapper of a mapped column, nil when an optional column is
// missing from the file.
func (w *worker) mapper(c columnPlan) mapper {
	col := &w.columns[c.at]
	if c.HasConstant {
		return newConstant(col, c.Constant)
	}
	if len(c.slots) == 0 {
		return nil
	}
	switch c.Target.Kind {
	case records.UUID:
		if c.Pseudonym {
			return &pseudonymMapper{col: col, slots: c.slots, at: &place{label(c.Column), "the pseudonym of the " + c.Target.Space, "leave the form's own columns as they were written"}}
		}
		return newKeyMapper(w, c, col)
	case records.Text, records.Boolean:
		return newWordMapper(w, c, col)
	case records.Time, records.Date:
		return newTimeMapper(w, c, col)
	}
	return newNumberMapper(w, c, col)
}

// batch maps one batch.
func (w *worker) batch(b *tabular.Batch) error {
	w.b, w.m = b, len(b.Rows)
	w.sourceRows += int64(len(b.Rows) + len(b.Broken))
	for _, br := range b.Broken {
		w.refuseBroken(br)
	}
	if w.m > 0 {
		most := w.m * w.p.perRow
		if w.n > 0 && w.n+most > records.StagedGroup {
			if err := w.flush(); err != nil {
				return err
			}
		}
		w.mapRows(most)
	}
	if w.aside.n >= asideRows {
		return w.flushAside()
	}
	return nil
}

func (w *worker) mapRows(most int) {
	w.base = w.n
	w.grow(w.base + most)
	w.faults = slices.Grow(w.faults[:0], most)[:most]
	w.faulty = false
	clear(w.faults)
	for _, m := range w.mappers {
		m.fill(w)
	}
	w.export.fill(w)
	w.source()
	rows := w.m
	if w.checks != nil {
		rows = w.checks.fill(w)
	}
	w.across(rows)
	w.n = w.base + w.keep(rows)
	w.coarsen(w.base, w.n)
	w.hash(w.base, w.n)
}

// grow makes room in all columns, by doubling until a row group fits.
func (w *worker) grow(n int) {
	if have := len(w.columns[len(w.columns)-1].valid); have < n {
		n = max(n, min(2*have, records.StagedGroup))
		for i := range w.columns {
			w.columns[i].grow(n)
		}
	}
}

// source fills src_file and src_row.
func (w *worker) source() {
	file, row := &w.columns[len(w.columns)-2], &w.columns[len(w.columns)-1]
	for i, r := range w.b.Rows {
		j := w.base + i
		file.i32[j], file.valid[j] = w.p.in.FileNo, 1
		row.i64[j], row.valid[j] = r, 1
	}
}

// fail marks row i of the batch as faulty; the first fault counts.
func (w *worker) fail(i int, r reason, at *place, cell []byte) {
	if w.faults[i].reason != noFault {
		return
	}
	kind, n := classify(cell)
	w.faults[i] = fault{r, kind, n, at}
	w.faulty = true
}

// keep moves the rows without fault together, writes the others to set-aside
// and returns how many stay.
func (w *worker) keep(rows int) int {
	w.staged += int64(rows)
	if !w.faulty && w.drop == nil {
		return rows
	}
	kept, from := 0, 0 // rows from from on are sound and have yet to be moved
	for i := range rows {
		dropped := w.drop != nil && w.drop[i] && w.faults[i].reason == noFault
		if !dropped && w.faults[i].reason == noFault {
			continue
		}
		w.staged--
		if !dropped {
			w.refuse(w.columns[len(w.columns)-1].i64[w.base+i], w.faults[i])
		}
		kept = w.closeUp(kept, from, i)
		from = i + 1
	}
	return w.closeUp(kept, from, rows)
}

// closeUp moves rows from to end of the batch to the place at and returns the
// place behind them.
func (w *worker) closeUp(at, from, end int) int {
	if at < from && from < end {
		for c := range w.columns {
			w.columns[c].move(w.base+at, w.base+from, end-from)
		}
	}
	return at + end - from
}

// column returns the spans of a slot.
func (w *worker) spans(slot int) []tabular.Span { return w.b.Column(slot) }

// text trims a cell and tells whether it is blank.
func (w *worker) text(s tabular.Span) (cell []byte, blank bool) {
	cell = w.b.Data[s.Off : int(s.Off)+s.Len()]
	if n := len(cell); n > 0 && (cell[0] <= ' ' || cell[0] >= 0x80 || cell[n-1] <= ' ' || cell[n-1] >= 0x80) {
		cell = tabular.Trim(cell)
	}
	return cell, w.blanks.has(cell)
}

// blanks knows the words that stand for nothing.
type blanks struct {
	starts [256]bool // first bytes of the words, in any case
	words  []string  // folded
	folded map[string]bool
}

func newBlanks(words []string) blanks {
	b := blanks{folded: map[string]bool{}}
	for _, w := range words {
		f := source.Fold(w)
		b.words = append(b.words, f)
		b.folded[f] = true
		b.starts[f[0]], b.starts[f[0]&^0x20] = true, true
		for c := 0x80; c < 0x100; c++ { // a letter outside ASCII may fold to any
			b.starts[c] = true
		}
	}
	return b
}

func (b *blanks) has(cell []byte) bool {
	if len(cell) == 0 {
		return true
	}
	if !b.starts[cell[0]] {
		return false
	}
	for _, w := range b.words {
		if len(w) == len(cell) && sameFold(cell, w) {
			return true
		}
	}
	for _, c := range cell {
		if c >= 0x80 {
			return b.folded[source.Fold(string(cell))]
		}
	}
	return false
}

// sameFold compares a cell with a folded word of the same length, for ASCII.
func sameFold(cell []byte, word string) bool {
	for i, c := range cell {
		if c-'A' < 26 {
			c |= 0x20
		}
		if c != word[i] {
			return false
		}
	}
	return true
}
