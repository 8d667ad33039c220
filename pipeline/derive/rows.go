package derive

import (
	"context"
	"fmt"
	"io"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
)

// batchRows is how many rows of a stored file are read at a time.
const batchRows = 1 << 14

// reader reads some columns of a stored file, a batch of rows at a time.
type reader struct {
	path    string
	names   []string
	file    *file.Reader
	records pqarrow.RecordReader
	// order has for each name its place in a batch.
	order []int
}

// openRows opens a stored file for reading the named columns.
func openRows(ctx context.Context, path string, names []string) (*reader, error) {
	f, err := file.OpenParquetFile(path, false)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	r := &reader{path: path, names: names, file: f}
	if err := r.begin(ctx); err != nil {
		_ = f.Close()
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	return r, nil
}

func (r *reader) begin(ctx context.Context) error {
	sc := r.file.MetaData().Schema
	props := pqarrow.ArrowReadProperties{BatchSize: batchRows}
	places := make([]int, len(r.names))
	for i, n := range r.names {
		if places[i] = sc.ColumnIndexByName(n); places[i] < 0 {
			return fmt.Errorf("expected a column %q, found none", n)
		}
		props.SetReadDict(places[i], sc.Column(places[i]).PhysicalType() == parquet.Types.ByteArray)
	}
	fr, err := pqarrow.NewFileReader(r.file, props, memory.DefaultAllocator)
	if err != nil {
		return err
	}
	if r.records, err = fr.GetRecordReader(ctx, places, nil); err != nil {
		return err
	}
	r.order = make([]int, len(r.names))
	for i, n := range r.names {
		at := r.records.Schema().FieldIndices(n)
		if len(at) != 1 {
			return fmt.Errorf("expected one column %q", n)
		}
		r.order[i] = at[0]
	}
	return nil
}

// next returns the columns of the next rows in the order of the names, or none
// at the end. They hold until the next call.
func (r *reader) next() ([]arrow.Array, int, error) {
	rec, err := r.records.Read()
	if err == io.EOF {
		return nil, 0, nil
	}
	if err != nil {
		return nil, 0, fmt.Errorf("read %s: %w", r.path, err)
	}
	out := make([]arrow.Array, len(r.order))
	for i, at := range r.order {
		out[i] = rec.Column(at)
	}
	return out, int(rec.NumRows()), nil
}

func (r *reader) close() {
	r.records.Release()
	_ = r.file.Close()
}

// key is a pseudonym.
type key [16]byte

// keys are the pseudonyms of a batch.
type keys struct {
	arr  arrow.Array
	data *array.FixedSizeBinary
}

func keysOf(a arrow.Array) (keys, error) {
	stored := a
	if ext, ok := a.(array.ExtensionArray); ok {
		stored = ext.Storage()
	}
	data, ok := stored.(*array.FixedSizeBinary)
	if !ok {
		return keys{}, fmt.Errorf("expected pseudonyms, found %s", a.DataType())
	}
	return keys{stored, data}, nil
}

// at returns the pseudonym of row i; ok is false where there is none.
func (k keys) at(i int) (v key, ok bool) {
	if k.arr.IsNull(i) {
		return v, false
	}
	return key(k.data.Value(i)), true
}

// ints are whole numbers of a batch, whatever their width.
type ints struct {
	arr arrow.Array
	i16 []int16
	i32 []int32
	i64 []int64
}

func intsOf(a arrow.Array) (ints, error) {
	v := ints{arr: a}
	switch a := a.(type) {
	case *array.Int16:
		v.i16 = a.Int16Values()
	case *array.Int32:
		v.i32 = a.Int32Values()
	case *array.Int64:
		v.i64 = a.Int64Values()
	case *array.Timestamp:
		unit := a.DataType().(*arrow.TimestampType).Unit
		if unit != arrow.Microsecond {
			return v, fmt.Errorf("expected microseconds, found %s", unit)
		}
		v.i64 = make([]int64, a.Len())
		for i, t := range a.TimestampValues() {
			v.i64[i] = int64(t)
		}
	default:
		return v, fmt.Errorf("expected whole numbers, found %s", a.DataType())
	}
	return v, nil
}

// at returns the number of row i; ok is false where there is none.
func (v ints) at(i int) (n int64, ok bool) {
	if v.arr.IsNull(i) {
		return 0, false
	}
	switch {
	case v.i16 != nil:
		return int64(v.i16[i]), true
	case v.i32 != nil:
		return int64(v.i32[i]), true
	}
	return v.i64[i], true
}

// tri returns a yes-or-no of row i as 1, 0, or -1 where there is none.
func tri(a *array.Boolean, i int) int8 {
	switch {
	case a.IsNull(i):
		return -1
	case a.Value(i):
		return 1
	}
	return 0
}

// take casts the next array of a batch; the first failure stays in err.
func take[T any](arrays *[]arrow.Array, as func(arrow.Array) (T, error), err *error) (v T) {
	a := (*arrays)[0]
	*arrays = (*arrays)[1:]
	if *err != nil {
		return v
	}
	v, *err = as(a)
	return v
}

// plain casts an array to what it must be.
func plain[T arrow.Array](a arrow.Array) (T, error) {
	v, ok := a.(T)
	if !ok {
		return v, fmt.Errorf("expected %T, found %s", v, a.DataType())
	}
	return v, nil
}
