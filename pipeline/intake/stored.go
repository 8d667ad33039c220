package intake

import (
	"container/list"
	"encoding/binary"
	"math"
	"slices"

	"hindcheck/pipeline/records"
)

// Staged names one staged part of a load: its file, the number of the export
// and of the part within it.
type Staged struct {
	Path       string
	File, Part int32
}

// Writer writes stored files from staged parts: rows that the caller names, in
// the order in which they are named, with the columns that resolving adds.
//
// The rows are never turned into strings or sorted as a whole: what is known
// from the keys alone (which rows enter, in which order) is decided elsewhere,
// and the values are copied from page to page. It is not safe for use by
// several goroutines at a time.
type Writer struct {
	// Threads is how many columns of a span are read at a time; 0 is one.
	Threads int

	table  records.Table // stored
	from   records.Table // staged
	parts  map[[2]int32]*part
	byFile map[int32][]*part
	// Places of columns that resolving fills, and of the call in a staged part.
	kind, episode, key int

	reads   int // row groups read for this file, and which they are
	touched map[groupNo]bool
	recent  *list.List // groups in memory, the latest used first
	spare   []*group   // memory of those that are not needed any more
	room    int        // the rows for which recent and spare have memory
	most    int        // the most that room may be
	group   int        // rows of a row group that is written
	other   []column   // takes turns with a sheet's, while its rows are being packed
	far     bool       // reading row groups for each row as it comes reads most of them again and again
	span    *group     // where rows are taken in spans, those of one, in order
	single  *group     // the row group from which they are taken
	pieces  []piece    // of it, by its order, then by the parts
	packing chan error // gives the result of packing other, nil where nothing is being packed
	sources []int      // the staged column of each stored one, -1 for a derived one
	*sheet             // the one that rows are pushed to
	sheets  [stretches]sheet
	fixed   map[int]int32 // columns that have one number in all rows of the file
	files   [2]*partFile  // the one that is written and the one before, whose end may still be packed
	rows    int64
}

// stretches is how many kinds of rows there are that stand in row groups of their
// own: calls that are their own episode, and the others. Checks are all of one kind.
const stretches = 2

// sheet gathers the rows of one row group.
type sheet struct {
	no      int // place among the sheets
	out     []column
	n       int
	pending []segment // rows counted in n that have yet to be copied
	waiting int       // how many they are
}

// segment is n rows of a group from row at on.
type segment struct {
	*group
	at, n int
}

// derived are the columns that resolving adds to a table, in their order.
var derived = map[string][]records.Column{
	records.Calls.Name: {{Name: "contact_kind_given", Kind: records.Text}, {Name: "episode", Kind: records.UUID},
		{Name: "episode_month", Kind: records.Int32}, {Name: "load_no", Kind: records.Int32}},
	records.Checks.Name: {{Name: "episode_month", Kind: records.Int32}, {Name: "load_no", Kind: records.Int32}},
}

// NewWriter makes a writer of stored calls or checks.
func NewWriter(record string, parts []Staged) *Writer {
	w := &Writer{parts: map[[2]int32]*part{}, byFile: map[int32][]*part{}, touched: map[groupNo]bool{}, recent: list.New(), group: records.RowGroup}
	w.from, _ = records.Staged(record)
	w.table = records.Table{Name: record, Columns: slices.Clone(w.from.Columns[:len(w.from.Columns)-2])}
	for i, c := range w.table.Columns {
		w.table.Columns[i].Required = false // as DuckDB writes them
		w.sources = append(w.sources, i)
		if c.Name == "contact_kind" {
			w.sources[i] = -1
		}
	}
	for _, c := range derived[record] {
		w.table.Columns = append(w.table.Columns, c)
		w.sources = append(w.sources, -1)
	}
	if at := w.table.Index("contact_kind_given"); at >= 0 {
		w.sources[at] = w.from.Index("contact_kind")
	}
	w.kind, w.episode, w.key = w.table.Index("contact_kind"), w.table.Index("episode"), w.from.Index("call")
	w.other = newColumns(w.table)
	for i := range w.sheets {
		w.sheets[i].no, w.sheets[i].out = i, newColumns(w.table)
	}
	w.sheet, w.files = &w.sheets[0], [2]*partFile{{}, {}}
	w.most = bytesHeld / width(w.from)
	if record == records.Checks.Name {
		w.most = bytesHeldChecks / width(w.from)
	}
	bytes := new([]byte)
	for _, p := range parts {
		one := &part{Staged: p, bytes: bytes}
		w.parts[[2]int32{p.File, p.Part}] = one
		w.byFile[p.File] = append(w.byFile[p.File], one)
	}
	return w
}

// width is about how many bytes a row takes in memory.
func width(t records.Table) (bytes int) {
	for _, c := range t.Columns {
		bytes += 1 + map[records.Kind]int{records.UUID: 16, records.Text: 4, records.Int32: 4, records.Date: 4, records.Int16: 2, records.Boolean: 1}[c.Kind]
		if c.Kind == records.Time || c.Kind == records.Int64 || c.Kind == records.Float {
			bytes += 8
		}
	}
	return bytes
}

// begin starts a file, while the end of the one before may still be packed.
func (w *Writer) begin(path string, month, load int32) {
	for k := range w.sheets {
		w.sheet = &w.sheets[k]
		clear(w.pending)
		w.n, w.pending, w.waiting = 0, w.pending[:0], 0
		w.forget()
	}
	w.sheet = &w.sheets[0]
	for e := w.recent.Front(); e != nil; e = e.Next() {
		g := e.Value.(*group)
		g.tallies, g.tallied = nil, nil // another file counts anew
	}
	for _, p := range w.parts {
		p.used = false
	}
	w.reads = 0
	clear(w.touched)
	w.files[0], w.files[1] = w.files[1], w.files[0]
	was := w.files[0]
	*was = partFile{table: w.table, path: path, stored: true, page: was.page, indices: was.indices, i64: was.i64, uuids: was.uuids, slots: was.slots}
	w.rows, w.fixed = 0, map[int]int32{w.table.Index("episode_month"): month, w.table.Index("load_no"): load}
}

// leastRoom is the rows for which a sheet has memory at first.
const leastRoom = 1024

// makeRoom makes room for n rows in the sheet.
func (w *Writer) makeRoom(n int) {
	if have := len(w.out[0].valid); have < n {
		for i := range w.out {
			w.out[i].grow(min(max(leastRoom, 2*have, n), w.group))
		}
	}
}

// forget empties the dictionaries of the sheet that is written.
func (w *Writer) forget() {
	for i := range w.out {
		if w.out[i].words != nil {
			w.out[i].words.reset()
		}
	}
	for e := w.recent.Front(); e != nil; e = e.Next() {
		e.Value.(*group).forget(w.no)
	}
	if w.span != nil {
		w.span.forget(w.no)
	}
}

func (g *group) forget(sheet int) {
	for i := range g.columns {
		to := g.columns[i].to[sheet]
		for k := range to {
			to[k] = -1
		}
	}
}

// flush packs and writes the rows of the sheet, while the next ones are gathered.
func (w *Writer) flush() error {
	w.settle()
	for c, v := range w.fixed {
		for j := range w.n {
			w.out[c].i32[j], w.out[c].valid[j] = v, 1
		}
	}
	file, n := w.files[0], w.n
	columns := w.out
	if err := w.pack(func() error { return file.write(columns, n) }); err != nil {
		return err
	}
	w.out, w.other = w.other, w.out
	w.rows, w.n = w.rows+int64(n), 0
	w.forget()
	return nil
}

// pack does a piece of packing as soon as the one before it is done, and lets the
// caller go on.
func (w *Writer) pack(f func() error) error {
	if err := w.packed(); err != nil {
		return err
	}
	done := make(chan error, 1)
	w.packing = done
	go func() { done <- f() }()
	return nil
}

// packed waits for what is being packed.
func (w *Writer) packed() error {
	if w.packing == nil {
		return nil
	}
	err := <-w.packing
	w.packing = nil
	return err
}

// end packs the last rows and closes the file, while the next one is begun; it
// returns the number of rows.
func (w *Writer) end(err error) (int64, error) {
	for k := range w.sheets {
		if w.sheet = &w.sheets[k]; err == nil && w.n > 0 {
			err = w.flush()
		}
	}
	for _, p := range w.parts {
		if !p.used {
			p.source = nil
		}
	}
	if err == nil {
		err = w.pack(w.files[0].close)
	}
	return w.rows, err
}

// Close waits for the last file and ends the reading of staged parts. No file is
// whole before.
func (w *Writer) Close() error {
	err := w.packed()
	for _, f := range w.files {
		if cerr := f.close(); err == nil {
			err = cerr
		}
	}
	for _, p := range w.parts {
		if cerr := p.close(); err == nil {
			err = cerr
		}
	}
	w.recent.Init()
	return err
}

// copyFrom copies n rows of a column of the same kind; words keep their numbers.
func (c *column) copyFrom(from *column, at, i, n int) {
	put(c.valid[at:at+n], from.valid[i:])
	switch c.Kind {
	case records.UUID:
		copy(c.uuid[16*at:16*(at+n)], from.uuid[16*i:])
	case records.Time, records.Int64:
		put(c.i64[at:at+n], from.i64[i:])
	case records.Text, records.Int32, records.Date:
		put(c.i32[at:at+n], from.i32[i:])
	case records.Int16:
		put(c.i16[at:at+n], from.i16[i:])
	case records.Float:
		put(c.f64[at:at+n], from.f64[i:])
	case records.Boolean:
		put(c.b8[at:at+n], from.b8[i:])
	}
}

// put is copy, quicker for a single value.
func put[T any](to, from []T) {
	if len(to) == 1 {
		to[0] = from[0]
		return
	}
	copy(to, from)
}

// push appends n rows of a group from row i on; the row group that is gathered has
// room for them.
func (w *Writer) push(g *group, i, n int) {
	w.makeRoom(w.n + n)
	if k := len(w.pending) - 1; k >= 0 && w.pending[k].group == g && w.pending[k].at+w.pending[k].n == i {
		w.pending[k].n += n
	} else {
		w.pending = append(w.pending, segment{g, i, n})
	}
	w.n, w.waiting = w.n+n, w.waiting+n
}

// settle copies the rows that are pending, column by column: they come from a dozen
// groups by turns, a few at a time, and a score of columns do not fit the nearest cache.
func (w *Writer) settle() {
	for c := range w.out {
		if s := w.sources[c]; s >= 0 {
			w.out[c].gather(w.pending, s, w.n-w.waiting, w.no)
		}
	}
	clear(w.pending) // a group that is dropped must not be held here
	w.pending, w.waiting = w.pending[:0], 0
}

// settleAll does so in all sheets, before memory from which they are copied is used again.
func (w *Writer) settleAll() {
	to := w.sheet
	for k := range w.sheets {
		w.sheet = &w.sheets[k]
		w.settle()
	}
	w.sheet = to
}

// gather copies column s of some segments to the rows from to on.
func (c *column) gather(list []segment, s, to, sheet int) {
	for _, g := range list {
		from := &g.columns[s]
		switch {
		case from.absent:
			clear(c.valid[to : to+g.n])
		case c.Kind == records.Text:
			put(c.valid[to:to+g.n], from.valid[g.at:])
			from.words(c, sheet, to, g.at, g.n)
		default:
			c.copyFrom(&from.column, to, g.at, g.n)
		}
		to += g.n
	}
}

// words copies words, giving each its number in the sheet being written.
func (u *unpacked) words(to *column, sheet, at, i, n int) {
	known := u.to[sheet]
	for k := range n {
		if u.valid[i+k] == 0 {
			continue
		}
		word := u.i32[i+k]
		if known[word] < 0 {
			known[word] = to.words.addString(u.dict[word])
		}
		to.i32[at+k] = known[word]
	}
}

// limits are the least and the greatest value of a column's first n rows as
// Parquet's statistics hold them, nil where none are kept (keys and hashes).
func (c *column) limits(n int) (low, high []byte) {
	switch {
	case c.Kind == records.Time:
		return edges(c.i64[:n], c.valid, func(v int64) []byte { return binary.LittleEndian.AppendUint64(nil, uint64(v)) })
	case c.Name == records.RowHash:
	case c.Kind == records.Int32, c.Kind == records.Date:
		return edges(c.i32[:n], c.valid, func(v int32) []byte { return binary.LittleEndian.AppendUint32(nil, uint32(v)) })
	case c.Kind == records.Int16:
		return edges(c.i16[:n], c.valid, func(v int16) []byte { return binary.LittleEndian.AppendUint32(nil, uint32(int32(v))) })
	case c.Kind == records.Float:
		return edges(c.f64[:n], c.valid, func(v float64) []byte { return binary.LittleEndian.AppendUint64(nil, math.Float64bits(v)) })
	case c.Kind == records.Text:
		// The dictionary holds the words of this row group and no others.
		words, _ := c.words.list()
		if len(words) == 0 {
			return nil, nil
		}
		return []byte(slices.Min(words)), []byte(slices.Max(words))
	}
	return nil, nil
}

func edges[T int16 | int32 | int64 | float64](values []T, valid []uint8, put func(T) []byte) (low, high []byte) {
	var least, most T
	found := false
	for i, v := range values {
		switch {
		case valid[i] == 0:
		case !found:
			least, most, found = v, v, true
		case v < least:
			least = v
		case v > most:
			most = v
		}
	}
	if !found {
		return nil, nil
	}
	return put(least), put(most)
}
