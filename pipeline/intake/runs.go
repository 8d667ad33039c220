package intake

import (
	"errors"

	"hindcheck/pipeline/records"
)

// runFile writes the runs of a part of checks (records.Runs): what resolving
// needs to know of it, in a sixth of its rows.
type runFile struct {
	partFile
	columns []column
	n       int // runs in the columns that have yet to be written
	no      int
}

// runGroup is about how many runs a row group holds: those of several row groups of
// checks, since each costs its readers as much as a thousand rows.
const runGroup = 1 << 15

// Columns of records.Runs by place.
const (
	runCall = iota
	runVet
	runExported
	runFileNo
	runPart
	runFirst
	runRows
)

func newRunFile(p *plan, no int) *runFile {
	r := &runFile{no: no, partFile: partFile{table: records.Runs, path: p.partPath(records.Runs.Name, no)}}
	r.columns = newColumns(records.Runs)
	return r
}

// newColumns makes empty columns of a table.
func newColumns(t records.Table) []column {
	columns := make([]column, len(t.Columns))
	for i, c := range t.Columns {
		columns[i] = column{Column: c}
		if c.Kind == records.Text {
			columns[i].words = newVocab(nil)
		}
	}
	return columns
}

// add notes the runs of the first n buffered checks, which become the rows of
// the part from at on. None reaches from one row group of checks into the next.
func (r *runFile) add(w *worker, n int, at int64) error {
	call, observer, exported := &w.columns[w.p.table.Index("call")], &w.columns[w.p.table.Index("observer")], &w.columns[w.p.table.Index(records.ExportedAt)]
	vet := vetCode(observer)
	k := r.n - 1
	var was key
	var last uint8
	for i := range n {
		v := uint8(0)
		if vet >= 0 && observer.valid[i] == 1 && observer.i32[i] == vet {
			v = 1
		}
		id := keyAt(call.uuid, i)
		if i > 0 && id == was && v == last && exported.i64[i] == exported.i64[i-1] {
			r.columns[runRows].i32[k]++
			continue
		}
		k, was, last = k+1, id, v
		r.room(k + 1)
		copy(r.columns[runCall].uuid[16*k:], call.uuid[16*i:16*i+16])
		r.columns[runVet].b8[k] = v
		r.columns[runExported].i64[k] = exported.i64[i]
		r.columns[runFileNo].i32[k] = w.p.in.FileNo
		r.columns[runPart].i32[k] = int32(r.no)
		r.columns[runFirst].i64[k] = at + int64(i)
		r.columns[runRows].i32[k] = 1
	}
	if r.n = k + 1; r.n >= runGroup {
		return r.flush()
	}
	return nil
}

// flush writes the runs that have yet to be written.
func (r *runFile) flush() error {
	n := r.n
	if r.n = 0; n == 0 {
		return nil
	}
	return r.write(r.columns, n)
}

// room makes room for n runs.
func (r *runFile) room(n int) {
	if have := len(r.columns[0].valid); have < n {
		for i := range r.columns {
			r.columns[i].grow(max(1024, 2*have))
		}
	}
}

// vetCode is the number of the word for the vet among a column's, -1 for none.
func vetCode(observer *column) int32 {
	if !observer.absent {
		if n, ok := observer.words.index["vet"]; ok {
			return n
		}
	}
	return -1
}

// close and paths are those of the part file; tables without runs have none.
func (r *runFile) close() error {
	if r == nil {
		return nil
	}
	return errors.Join(r.flush(), r.partFile.close())
}

func (r *runFile) paths() []string {
	if r == nil {
		return nil
	}
	return r.partFile.paths()
}
