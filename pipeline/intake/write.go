package intake

import (
	"fmt"
	"path/filepath"

	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/pipeline/pagefile"
	"hindcheck/pipeline/records"
)

// partFile is one Parquet file that is opened when the first rows come. The
// content of its pages is encoded in pages.go.
type partFile struct {
	table  records.Table
	path   string
	stored bool // it stays: packed closer, with statistics
	file   *pagefile.File
	rows   int64

	page     []byte
	indices  []int32
	i64      []int64
	uuids    []byte
	slots    []int32
	distinct *pagefile.Distinct
}

// partPath names a part: table, number of the file in the load, worker.
func (p *plan) partPath(table string, no int) string {
	return filepath.Join(p.in.Dir, fmt.Sprintf("%s-%04d-%02d.parquet", table, p.in.FileNo, no))
}

func (f *partFile) open() error {
	props := f.table.WriterProperties(memory.DefaultAllocator)
	if f.stored {
		props = f.table.StoredProperties(memory.DefaultAllocator)
	}
	sc, err := pqarrow.ToParquet(f.table.Schema(), props, pqarrow.DefaultWriterProps())
	if err != nil {
		return fmt.Errorf("write staged rows: %w", err)
	}
	if f.file, err = pagefile.Create(f.path, sc, props); err != nil {
		return fmt.Errorf("write staged rows: %w", err)
	}
	f.distinct = &pagefile.Distinct{}
	return nil
}

// write appends the first n rows of the columns as one row group.
func (f *partFile) write(columns []column, n int) error {
	if f.file == nil {
		if err := f.open(); err != nil {
			return err
		}
	}
	f.rows += int64(n)
	return f.file.RowGroup(n, len(columns), func(i int) pagefile.Page { return f.pageOf(columns, i, n) })
}

// close ends the file; closing it twice does nothing.
func (f *partFile) close() error {
	if f.file == nil {
		return nil
	}
	return f.file.Close()
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
	if w.runs != nil {
		if err := w.runs.add(w, w.n, w.parts.rows); err != nil {
			return err
		}
	}
	if err := w.parts.write(w.columns, w.n); err != nil {
		return err
	}
	w.n, w.base = 0, 0
	w.forget()
	return nil
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
