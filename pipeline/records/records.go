// Package records holds the columns of the staged tables as data: what a
// reader of exports writes and what the store takes over.
//
// It knows names, kinds, units and which columns must be filled. How an export
// is mapped to them is package source's business; where the stored files lie
// is the store's. Start at the tables in columns.go, then Schema.
package records

import (
	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/extensions"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"

	"hindcheck/pipeline/codes"
)

// Kind is how a column is stored.
type Kind uint8

// The kinds. Comments give the Arrow type.
const (
	UUID    Kind = iota + 1 // fixed_size_binary[16], Arrow's UUID extension
	Text                    // dictionary<int32, utf8>
	Time                    // timestamp[us, UTC]
	Date                    // date32
	Int16                   // int16
	Int32                   // int32
	Int64                   // int64
	Float                   // float64
	Boolean                 // bool
)

// String returns the kind as a message names it.
func (k Kind) String() string {
	return [...]string{"", "key", "text", "time", "date", "whole number", "whole number", "whole number", "number", "yes or no"}[k]
}

// Column is one column of a table.
type Column struct {
	Name string
	Kind Kind
	// Required columns are filled in every row; a row that cannot fill one is
	// set aside.
	Required bool
	// Space is the pseudonym space of a UUID column: the same raw key in the
	// same space gives the same pseudonym in every table.
	Space string
	// Words is the closed list of a coded Text column; its Name is empty for
	// an open one.
	Words codes.List
	// Identifier marks an open Text column whose values must be identifiers
	// (species).
	Identifier bool
	// Unit is the stored unit of a number, "" for a plain number.
	Unit string
	// Low and High bound a number in the stored unit, both included; a value
	// outside is set aside. Both 0 means unbounded.
	Low, High float64
	// Written columns are filled by the reader itself and cannot be mapped.
	Written bool
}

// Table is one kind of staged record.
type Table struct {
	Name    string
	Columns []Column
}

// Index returns the place of the named column, or -1.
func (t Table) Index(name string) int {
	for i := range t.Columns {
		if t.Columns[i].Name == name {
			return i
		}
	}
	return -1
}

// Schema returns the table's Arrow schema. A UUID column carries the UUID
// extension type, so that other programs read it as one.
func (t Table) Schema() *arrow.Schema {
	fields := make([]arrow.Field, len(t.Columns))
	for i, c := range t.Columns {
		fields[i] = arrow.Field{Name: c.Name, Type: c.Kind.Arrow(), Nullable: !c.Required}
	}
	return arrow.NewSchema(fields, nil)
}

var arrowTypes = [...]arrow.DataType{
	UUID:    extensions.NewUUIDType(),
	Text:    &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String},
	Time:    &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"},
	Date:    arrow.FixedWidthTypes.Date32,
	Int16:   arrow.PrimitiveTypes.Int16,
	Int32:   arrow.PrimitiveTypes.Int32,
	Int64:   arrow.PrimitiveTypes.Int64,
	Float:   arrow.PrimitiveTypes.Float64,
	Boolean: arrow.FixedWidthTypes.Boolean,
}

// Arrow returns the Arrow type of a kind.
func (k Kind) Arrow() arrow.DataType { return arrowTypes[k] }

// RowGroup is the number of rows of one row group of a stored file. It is the
// size that DuckDB reads in parallel units of.
const RowGroup = 122_880

// StagedGroup is about the number of rows of one row group of a staged part. A
// month's rows stand in a dozen parts and are taken from all of them by turns, so
// that a dozen row groups are in memory at a time (intake.Writer).
const StagedGroup = 16_384

// WriterProperties returns how the staged table is written as Parquet: a
// dictionary for text and for numbers that repeat, and no compression, which
// would take a quarter off files that are read once and then deleted, for a
// twelfth of the time of reading an export.
//
// Staged files carry no statistics: they are read once, from end to end.
func (t Table) WriterProperties(mem memory.Allocator) *parquet.WriterProperties {
	return t.properties(mem, func(Column) bool { return false })
}

// StoredProperties returns how a table that stays is written: as a staged one,
// with zstd for all but what looks random (pseudonyms, row hashes), on which it
// only costs time. The names of calls repeat in checks.
func (t Table) StoredProperties(mem memory.Allocator) *parquet.WriterProperties {
	return t.properties(mem, func(c Column) bool {
		return c.Kind != UUID && c.Name != RowHash || c.Name == "call" && t.Name == Checks.Name
	})
}

func (t Table) properties(mem memory.Allocator, pack func(Column) bool) *parquet.WriterProperties {
	props := []parquet.WriterProperty{
		parquet.WithAllocator(mem),
		parquet.WithVersion(parquet.V2_LATEST),
		parquet.WithCompression(compress.Codecs.Uncompressed),
		parquet.WithDictionaryDefault(false),
		parquet.WithStats(false),
		parquet.WithMaxRowGroupLength(RowGroup),
		parquet.WithBatchSize(RowGroup),
		parquet.WithDataPageSize(1 << 20),
		parquet.WithCreatedBy("hindcheck"),
	}
	for _, c := range t.Columns {
		if pack(c) {
			props = append(props, parquet.WithCompressionFor(c.Name, compress.Codecs.Zstd), parquet.WithCompressionLevelFor(c.Name, 3))
		}
		switch {
		case c.Kind == Text:
			props = append(props, parquet.WithDictionaryFor(c.Name, true))
		case c.Kind == Time, c.Kind == Int64:
			props = append(props, parquet.WithEncodingFor(c.Name, parquet.Encodings.DeltaBinaryPacked))
		}
	}
	return parquet.NewWriterProperties(props...)
}
