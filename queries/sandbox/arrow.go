package sandbox

import (
	"fmt"
	"io"
	"math/big"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/decimal128"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
)

// batchRows is how many rows go into one Arrow batch or Parquet row group.
const batchRows = 65_536

// arrowSink builds batches and hands them to a Parquet or Arrow IPC writer.
type arrowSink struct {
	b     *array.RecordBuilder
	write func(arrow.RecordBatch) error
	end   func() error
	n     int
}

func newArrowSink(format string, w io.Writer, cols []column) (sink, error) {
	fields := make([]arrow.Field, len(cols))
	for i, c := range cols {
		fields[i] = arrow.Field{Name: c.name, Type: c.arrow(), Nullable: true}
	}
	schema := arrow.NewSchema(fields, nil)
	s := &arrowSink{b: array.NewRecordBuilder(memory.DefaultAllocator, schema)}
	// Both writers close what they write to if they can; the caller keeps it.
	w = struct{ io.Writer }{w}
	if format == "arrow" {
		fw, err := ipc.NewFileWriter(w, ipc.WithSchema(schema))
		if err != nil {
			return nil, fmt.Errorf("arrow: %w", err)
		}
		s.write, s.end = fw.Write, fw.Close
		return s, nil
	}
	fw, err := pqarrow.NewFileWriter(schema, w, parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Zstd)), pqarrow.DefaultWriterProps())
	if err != nil {
		return nil, fmt.Errorf("parquet: %w", err)
	}
	s.write, s.end = fw.Write, fw.Close
	return s, nil
}

func (c column) arrow() arrow.DataType {
	switch c.kind {
	case boolean:
		return arrow.FixedWidthTypes.Boolean
	case integer:
		return arrow.PrimitiveTypes.Int64
	case unsigned:
		return arrow.PrimitiveTypes.Uint64
	case single:
		return arrow.PrimitiveTypes.Float32
	case double:
		return arrow.PrimitiveTypes.Float64
	case decimal:
		return &arrow.Decimal128Type{Precision: c.precision, Scale: c.scale}
	case date:
		return arrow.FixedWidthTypes.Date32
	case instant:
		return &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}
	case localTime:
		return &arrow.TimestampType{Unit: arrow.Microsecond}
	case timeOfDay:
		return arrow.FixedWidthTypes.Time64us
	}
	return arrow.BinaryTypes.String
}

func (s *arrowSink) row(values []any) error {
	for i, v := range values {
		if err := appendTo(s.b.Field(i), v); err != nil {
			return err
		}
	}
	s.n++
	if s.n%batchRows == 0 {
		return s.flush()
	}
	return nil
}

// appendTo adds a value; column.arrow and column.value keep the kinds in step.
func appendTo(b array.Builder, v any) error {
	if v == nil {
		b.AppendNull()
		return nil
	}
	switch b := b.(type) {
	case *array.BooleanBuilder:
		b.Append(v.(bool))
	case *array.Int64Builder:
		b.Append(v.(int64))
	case *array.Uint64Builder:
		b.Append(v.(uint64))
	case *array.Float32Builder:
		b.Append(v.(float32))
	case *array.Float64Builder:
		b.Append(v.(float64))
	case *array.Decimal128Builder:
		b.Append(decimal128.FromBigInt(v.(*big.Int)))
	case *array.StringBuilder:
		b.Append(v.(string))
	case *array.Date32Builder:
		b.Append(arrow.Date32FromTime(v.(time.Time)))
	case *array.TimestampBuilder:
		b.Append(arrow.Timestamp(v.(time.Time).UnixMicro()))
	case *array.Time64Builder:
		b.Append(arrow.Time64(v.(time.Duration).Microseconds()))
	default:
		return fmt.Errorf("no way to write %T", b)
	}
	return nil
}

func (s *arrowSink) flush() error {
	batch := s.b.NewRecordBatch()
	defer batch.Release()
	return s.write(batch)
}

func (s *arrowSink) close() error {
	defer s.b.Release()
	if s.n%batchRows != 0 || s.n == 0 {
		if err := s.flush(); err != nil {
			return err
		}
	}
	return s.end()
}
