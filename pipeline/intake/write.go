package intake

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/pipeline/records"
	"hindcheck/pipeline/tabular"
)

// partFile is one Parquet file that is opened when the first rows come.
type partFile struct {
	table records.Table
	path  string
	file  *os.File
	w     *pqarrow.FileWriter
}

// partPath names a part: table, number of the file in the load, worker.
func (p *plan) partPath(table string, no int) string {
	return filepath.Join(p.in.Dir, fmt.Sprintf("%s-%04d-%02d.parquet", table, p.in.FileNo, no))
}

func (f *partFile) write(rec arrow.RecordBatch) error {
	if f.w == nil {
		file, err := os.OpenFile(f.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return fmt.Errorf("write staged rows: %w", err)
		}
		f.file = file
		f.w, err = pqarrow.NewFileWriter(rec.Schema(), file, f.table.WriterProperties(memory.DefaultAllocator), pqarrow.DefaultWriterProps())
		if err != nil {
			return fmt.Errorf("write staged rows: %w", err)
		}
	}
	if err := f.w.Write(rec); err != nil {
		return fmt.Errorf("write %s: %w", filepath.Base(f.path), err)
	}
	return nil
}

// close ends the file; closing it twice does nothing.
func (f *partFile) close() error {
	if f.file == nil || f.w == nil {
		return nil
	}
	// The writer closes the file below it.
	err := f.w.Close()
	f.w = nil
	if err != nil && !errors.Is(err, os.ErrClosed) {
		return fmt.Errorf("close %s: %w", filepath.Base(f.path), err)
	}
	return nil
}

func (f *partFile) paths() []string {
	if f.file == nil {
		return nil
	}
	return []string{f.path}
}

// flush writes the buffered rows as a row group.
func (w *worker) flush() error {
	if w.n == 0 {
		return nil
	}
	if err := w.parts.write(w.record(w.columns, w.p.table, w.n)); err != nil {
		return err
	}
	w.n, w.base = 0, 0
	w.forget()
	return nil
}

// record shows the first n rows of the buffers as an Arrow record.
func (w *worker) record(columns []column, t records.Table, n int) arrow.RecordBatch {
	arrays := make([]arrow.Array, len(columns))
	for i := range columns {
		arrays[i] = columns[i].array(n)
	}
	return array.NewRecordBatch(t.Schema(), arrays, int64(n))
}

// maxWords is how large the dictionary of an open column may be before it is
// begun anew with the next row group.
const maxWords = 1 << 13

// forget keeps dictionaries of open columns from growing with the file.
func (w *worker) forget() {
	for _, m := range w.mappers {
		if wm, ok := m.(*wordMapper); ok && wm.col.words != nil && len(wm.col.words.hashes) > maxWords {
			wm.col.words.reset()
			wm.forget()
		}
	}
}

// asideRows is how many rows set aside are kept before they are written.
const asideRows = 1 << 14

// asideFile collects the rows set aside.
type asideFile struct {
	partFile
	columns []column
	n       int
	kinds   map[fault]int32
}

func newAsideFile(p *plan, no int) asideFile {
	a := asideFile{partFile: partFile{table: records.SetAside, path: p.partPath(records.SetAside.Name, no)}}
	a.columns = make([]column, len(records.SetAside.Columns))
	for i, c := range records.SetAside.Columns {
		a.columns[i] = column{Column: c}
		if c.Kind == records.Text {
			a.columns[i].words = newVocab(nil)
		}
	}
	return a
}

// add appends a row set aside; an empty text is null.
func (a *asideFile) add(f Fault) {
	if len(a.columns[0].valid) <= a.n {
		for i := range a.columns {
			a.columns[i].grow(max(64, 2*a.n))
		}
	}
	for i, v := range []string{f.File, "", f.Column, f.Reason, f.Kind, f.Expected, f.Remedy} {
		c := &a.columns[i]
		c.valid[a.n] = 1
		switch {
		case c.Kind == records.Int64:
			c.i64[a.n] = f.Row
		case v == "":
			c.valid[a.n], c.i32[a.n] = 0, 0
		default:
			c.i32[a.n] = c.words.add([]byte(v))
		}
	}
	a.n++
}

func (w *worker) flushAside() error {
	if w.aside.n == 0 {
		return nil
	}
	if err := w.aside.write(w.record(w.aside.columns, records.SetAside, w.aside.n)); err != nil {
		return err
	}
	w.aside.n = 0
	return nil
}

// refuse sets a row aside.
func (w *worker) refuse(row int64, f fault) {
	w.refuseFault(f.reason, Fault{File: filepath.Base(w.p.in.Path), Row: row, Column: f.at.column, Reason: reasonNames[f.reason], Kind: f.describe(), Expected: f.at.expected, Remedy: f.at.remedy})
}

func (w *worker) refuseBroken(b tabular.Broken) {
	w.refuseFault(brokenRow, Fault{File: filepath.Base(w.p.in.Path), Row: b.Row, Reason: reasonNames[brokenRow], Kind: b.Found, Expected: b.Expected, Remedy: b.Remedy})
}

func (w *worker) refuseFault(r reason, f Fault) {
	w.setAside++
	w.reasons[r]++
	w.aside.add(f)
	if len(w.examples) < maxExamples {
		w.examples = append(w.examples, f)
	}
}
