package tabular

import (
	"context"
	"errors"
	"io"
	"os"
	"strconv"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
)

// columnsReader reads a Parquet file: columns of single values, by name. Rows
// are counted from 1; lists and groups of columns are passed over.
type columnsReader struct {
	sequence
	file *file.Reader
	fr   *pqarrow.FileReader
	leaf []int // column of the file for each name
	cols []int // selected names
	rec  pqarrow.RecordReader
	at   arrow.RecordBatch
	from int
	row  int64
}

func openParquet(path string) (_ *columnsReader, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = noParquet(path, nil)
		}
	}()
	pf, err := file.OpenParquetFile(path, false)
	if err != nil {
		return nil, noParquet(path, err)
	}
	if err := insideFile(pf, path); err != nil {
		pf.Close()
		return nil, noParquet(path, err)
	}
	r := &columnsReader{file: pf, row: 1}
	r.path, r.pull = path, r.pullRows
	if r.fr, err = pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{BatchSize: BatchRows}, memory.DefaultAllocator); err != nil {
		pf.Close()
		return nil, &Problem{File: path, Expected: "columns of single values", Found: "a schema that cannot be read", Remedy: "write the file anew with plain columns", Err: err}
	}
	schema := pf.MetaData().Schema
	for i := range schema.NumColumns() {
		if c := schema.Column(i); c.MaxRepetitionLevel() == 0 && c.Path() == c.Name() {
			r.header = append(r.header, c.Name())
			r.leaf = append(r.leaf, i)
		}
	}
	return r, nil
}

// insideFile checks that every column's pages lie where the file has bytes. The
// library believes its own footer, and panics in goroutines of its own where
// nothing of ours could catch it.
func insideFile(pf *file.Reader, path string) error {
	st, err := os.Stat(path)
	if err != nil {
		return err
	}
	for g := range pf.NumRowGroups() {
		group := pf.MetaData().RowGroup(g)
		if group.NumRows() < 0 {
			return errOutside
		}
		for c := range group.NumColumns() {
			chunk, err := group.ColumnChunk(c)
			if err != nil {
				return err
			}
			from := chunk.DataPageOffset()
			if chunk.HasDictionaryPage() && chunk.DictionaryPageOffset() > 0 {
				from = min(from, chunk.DictionaryPageOffset())
			}
			if n := chunk.TotalCompressedSize(); from < 0 || n < 0 || from > st.Size() || n > st.Size()-from || chunk.NumValues() < 0 {
				return errOutside
			}
		}
	}
	return nil
}

var errOutside = errors.New("a column that lies outside the file")

func noParquet(path string, err error) error {
	return &Problem{File: path, Expected: "a parquet file", Found: "a file that is none, or a damaged one", Remedy: "fetch the file again, or correct file: kind:", Err: err}
}

// Select implements Reader.
func (r *columnsReader) Select(columns []int) {
	r.cols, r.place = once(columns)
	r.ncols = len(r.cols)
}

func (r *columnsReader) pullRows(b *Batch) (err error) {
	defer func() { // the library panics on some damaged files
		if p := recover(); p != nil {
			err = r.damaged(nil)
		}
	}()
	if r.rec == nil {
		leaves := make([]int, len(r.cols))
		for i, c := range r.cols {
			leaves[i] = r.leaf[c]
		}
		if r.rec, err = r.fr.GetRecordReader(context.Background(), leaves, nil); err != nil {
			return r.damaged(err)
		}
	}
	if r.at == nil || r.from >= int(r.at.NumRows()) {
		if !r.rec.Next() {
			if err := r.rec.Err(); err != nil && err != io.EOF {
				return r.damaged(err)
			}
			return io.EOF
		}
		r.at, r.from = r.rec.RecordBatch(), 0
	}
	n := min(BatchRows, int(r.at.NumRows())-r.from)
	for i, c := range r.cols {
		col := r.at.Column(r.at.Schema().FieldIndices(r.header[c])[0])
		for k := range n {
			text, form := parquetCell(col, r.from+k)
			b.put(k, i, text, form)
		}
	}
	for range n {
		b.Rows = append(b.Rows, r.row)
		r.row++
	}
	r.from += n
	return nil
}

func (r *columnsReader) damaged(err error) error {
	return &Problem{File: r.path, Row: r.row, Expected: "a whole parquet file", Found: "damaged data at or behind this row", Remedy: "fetch the file again", Err: err}
}

const localLayout = "2006-01-02T15:04:05.999999"

// parquetCell shows one value as text with its form.
func parquetCell(col arrow.Array, i int) (string, Form) {
	if col.IsNull(i) {
		return "", TextCell
	}
	switch a := col.(type) {
	case *array.Dictionary:
		return parquetCell(a.Dictionary(), a.GetValueIndex(i))
	case *array.String:
		return a.Value(i), TextCell
	case *array.LargeString:
		return a.Value(i), TextCell
	case *array.Binary:
		return string(a.Value(i)), TextCell
	case *array.Boolean:
		return strconv.FormatBool(a.Value(i)), BoolCell
	case *array.Float64:
		return strconv.FormatFloat(a.Value(i), 'g', -1, 64), NumberCell
	case *array.Float32:
		return strconv.FormatFloat(float64(a.Value(i)), 'g', -1, 32), NumberCell
	case *array.Timestamp:
		t := a.DataType().(*arrow.TimestampType)
		at := a.Value(i).ToTime(t.Unit)
		if t.TimeZone != "" {
			return at.UTC().Format(localLayout) + "Z", InstantCell
		}
		return at.UTC().Format(localLayout), LocalCell
	case *array.Date32:
		return a.Value(i).ToTime().UTC().Format(time.DateOnly) + "T00:00:00", LocalCell
	case *array.Date64:
		return a.Value(i).ToTime().UTC().Format(time.DateOnly) + "T00:00:00", LocalCell
	}
	switch col.DataType().ID() {
	case arrow.INT8, arrow.INT16, arrow.INT32, arrow.INT64, arrow.UINT8, arrow.UINT16, arrow.UINT32, arrow.UINT64, arrow.DECIMAL128, arrow.DECIMAL256:
		return col.ValueStr(i), NumberCell
	}
	return col.ValueStr(i), TextCell
}

// Close implements Reader.
func (r *columnsReader) Close() error {
	r.release()
	return r.file.Close()
}

// release frees what the library holds. It panics on what a damaged file has
// left half made; that is garbage then, and Next has told of the damage.
func (r *columnsReader) release() {
	defer func() { _ = recover() }()
	if r.rec != nil {
		r.rec.Release()
		r.rec = nil
	}
}
