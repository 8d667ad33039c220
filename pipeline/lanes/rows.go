package lanes

import (
	"context"
	"fmt"
	"io"
	"slices"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/schema"
)

// batchRows is how many rows of a stored file are read at a time: what all columns
// hold of them stays in the processor's cache.
const batchRows = 1 << 13

// Reader reads some columns of a stored file, a batch of rows at a time. The
// columns are named before the first batch, by Keys and the others.
//
// They are read page by page into memory that is used again. The library's record
// reader, which makes Arrow arrays, took a third of the walk.
type Reader struct {
	path  string
	file  *file.Reader
	lanes []laneReader
	// groups are the row groups that have yet to be read.
	groups []int
	left   int64 // rows of the present one that have not been read
	err    error
}

// laneReader is a lane, whatever its values.
type laneReader interface {
	begin(g *file.RowGroupReader) error
	read(n int) error
}

// Open opens a stored file.
func Open(path string) (*Reader, error) {
	f, err := file.OpenParquetFile(path, false)
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", path, err)
	}
	r := &Reader{path: path, file: f}
	for g := range f.NumRowGroups() {
		r.groups = append(r.groups, g)
	}
	return r, nil
}

// Next reads the next batch into the lanes and returns its rows, 0 at the end.
func (r *Reader) Next(ctx context.Context) (n int, err error) {
	if err := r.err; err != nil {
		return 0, err
	}
	for r.left == 0 {
		if len(r.groups) == 0 {
			return 0, nil
		}
		g := r.file.RowGroup(r.groups[0])
		for _, l := range r.lanes {
			if err := l.begin(g); err != nil {
				return 0, fmt.Errorf("read %s: %w", r.path, err)
			}
		}
		r.groups, r.left = r.groups[1:], g.NumRows()
	}
	n = int(min(r.left, batchRows))
	for _, l := range r.lanes {
		if err := l.read(n); err != nil {
			return 0, fmt.Errorf("read %s: %w", r.path, err)
		}
	}
	r.left -= int64(n)
	return n, ctx.Err()
}

// Rows is how many rows the file holds.
func (r *Reader) Rows() int64 { return r.file.NumRows() }

// Groups passes over the row groups that keep refuses; it is asked before the first batch.
func (r *Reader) Groups(keep func(f *file.Reader, group int) bool) {
	r.groups = slices.DeleteFunc(r.groups, func(g int) bool { return !keep(r.file, g) })
}

// Close ends the reading.
func (r *Reader) Close() { _ = r.file.Close() }

// Lane is one column of the present batch.
type Lane[V any] struct {
	Values []V
	// Valid is false where there is no value.
	Valid []bool
}

// pages is what the library's typed column readers have in common.
type pages[T any] interface {
	ReadBatchInPage(n int64, values []T, defLevels, repLevels []int16) (rows int64, got int, err error)
}

// laneOf reads a column whose pages hold T.
type laneOf[T, V any] struct {
	*Lane[V]
	name   string
	column int
	as     func(T) V
	source pages[T]
	stored []T
	levels []int16
}

// newLane adds a column to a reader. as makes the value of what is stored, which
// does not last.
func newLane[T, V any](r *Reader, name string, fits func(*schema.Column) bool, as func(T) V) *laneOf[T, V] {
	sc := r.file.MetaData().Schema
	rows := min(batchRows, r.file.NumRows())
	l := &laneOf[T, V]{Lane: &Lane[V]{make([]V, rows), make([]bool, rows)}, name: name, column: sc.ColumnIndexByName(name), as: as, stored: make([]T, rows)}
	switch {
	case r.err != nil:
	case l.column < 0:
		r.err = fmt.Errorf("%w: %s has no column %q", ErrUnwalkable, r.path, name)
	case !fits(sc.Column(l.column)):
		c := sc.Column(l.column)
		r.err = fmt.Errorf("%w: %s: column %q is %s %s", ErrUnwalkable, r.path, name, c.PhysicalType(), c.LogicalType())
	case sc.Column(l.column).MaxDefinitionLevel() > 0:
		l.levels = make([]int16, rows)
	}
	r.lanes = append(r.lanes, l)
	return l
}

func (l *laneOf[T, V]) begin(g *file.RowGroupReader) error {
	c, err := g.Column(l.column)
	if err != nil {
		return fmt.Errorf("column %q: %w", l.name, err)
	}
	source, ok := c.(pages[T])
	if !ok {
		return fmt.Errorf("column %q: no reader of such pages", l.name)
	}
	l.source = source
	return nil
}

func (l *laneOf[T, V]) read(n int) error {
	for at := 0; at < n; {
		var levels []int16
		if l.levels != nil {
			levels = l.levels[:n-at]
		}
		rows, got, err := l.source.ReadBatchInPage(int64(n-at), l.stored[:n-at], levels, nil)
		if err == nil && rows == 0 {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return fmt.Errorf("column %q: %w", l.name, err)
		}
		l.spread(at, int(rows), l.stored[:got], levels)
		at += int(rows)
	}
	return nil
}

// spread puts stored values to their rows.
func (l *laneOf[T, V]) spread(at, rows int, stored []T, levels []int16) {
	values, valid := l.Values[at:at+rows], l.Valid[at:at+rows]
	if len(stored) == rows {
		for i, v := range stored {
			values[i], valid[i] = l.as(v), true
		}
		return
	}
	var zero V
	k := 0
	for i, level := range levels[:rows] {
		if level == 0 {
			values[i], valid[i] = zero, false
			continue
		}
		values[i], valid[i] = l.as(stored[k]), true
		k++
	}
}

// Key is a pseudonym.
type Key [16]byte

func physical(t parquet.Type) func(*schema.Column) bool {
	return func(c *schema.Column) bool { return c.PhysicalType() == t }
}

// Keys reads pseudonyms.
func Keys(r *Reader, name string) *Lane[Key] {
	sixteen := func(c *schema.Column) bool {
		return c.PhysicalType() == parquet.Types.FixedLenByteArray && c.TypeLength() == len(Key{})
	}
	return newLane(r, name, sixteen, func(v parquet.FixedLenByteArray) Key { return Key(v) }).Lane
}

// Whole reads whole numbers of up to 32 bits.
func Whole(r *Reader, name string) *Lane[int32] {
	return byDictionary(r, newLane(r, name, physical(parquet.Types.Int32), func(v int32) int32 { return v }), unpackWhole)
}

// Longs reads whole numbers of up to 64 bits.
func Longs(r *Reader, name string) *Lane[int64] {
	return newLane(r, name, physical(parquet.Types.Int64), func(v int64) int64 { return v }).Lane
}

// Times reads times as microseconds since 1970.
func Times(r *Reader, name string) *Lane[int64] {
	micros := func(c *schema.Column) bool {
		t, ok := c.LogicalType().(schema.TimestampLogicalType)
		return ok && t.TimeUnit() == schema.TimeUnitMicros && c.PhysicalType() == parquet.Types.Int64
	}
	return newLane(r, name, micros, func(v int64) int64 { return v }).Lane
}

// Floats reads numbers.
func Floats(r *Reader, name string) *Lane[float64] {
	return newLane(r, name, physical(parquet.Types.Double), func(v float64) float64 { return v }).Lane
}

// Bits reads words of 64 bits.
func Bits(r *Reader, name string) *Lane[uint64] {
	return newLane(r, name, physical(parquet.Types.Int64), func(v int64) uint64 { return uint64(v) }).Lane
}

// Tris reads yes or no as 1 or 0.
func Tris(r *Reader, name string) *Lane[int8] {
	return newLane(r, name, physical(parquet.Types.Boolean), func(v bool) int8 {
		if v {
			return 1
		}
		return 0
	}).Lane
}

// Tri returns the yes or no of row i as 1 or 0, -1 where there is none.
func Tri(l *Lane[int8], i int) int8 {
	if !l.Valid[i] {
		return -1
	}
	return l.Values[i]
}
