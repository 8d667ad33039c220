package publish

import (
	"bufio"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/compress"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/queries/release"
)

// TableFile is one written table.
type TableFile struct {
	Name         string
	Rows         int64
	CSV, Parquet FileSum
}

// FileSum is a file with its size and checksum.
type FileSum struct {
	Path   string
	Bytes  int64
	SHA256 string
}

// chunk is how many rows are gathered before they are written.
const chunk = 8192

// tableWriter writes rows of one table in both forms.
type tableWriter struct {
	table   release.Table
	csv     *csv.Writer
	cells   []string
	builder *array.RecordBuilder
	parquet *pqarrow.FileWriter
	rows    int64
	words   map[string]map[string]bool
}

// writeTable writes one table and remembers the words that occur in its open
// columns.
func (w *work) writeTable(ctx context.Context, t release.Table) (f TableFile, err error) {
	csvPath, parquetPath := filepath.Join("data", t.Name+".csv"), filepath.Join("data", t.Name+".parquet")
	text, err := os.Create(filepath.Join(w.dir, csvPath))
	if err != nil {
		return f, err
	}
	defer func() { err = errors.Join(err, closed(text)) }()
	binary, err := os.Create(filepath.Join(w.dir, parquetPath))
	if err != nil {
		return f, err
	}
	// The Parquet writer closes its file itself.
	buffered := bufio.NewWriterSize(text, 1<<20)
	tw, err := newTableWriter(t, buffered, binary)
	if err != nil {
		return f, errors.Join(err, closed(binary))
	}
	defer tw.builder.Release()
	err = w.rel.Read(ctx, t, tw.row)
	if err = errors.Join(err, tw.finish(), buffered.Flush()); err != nil {
		return f, fmt.Errorf("write table %s: %w", t.Name, err)
	}
	for name, seen := range tw.words {
		for word := range seen {
			w.words[t.Name+"."+name] = append(w.words[t.Name+"."+name], word)
		}
		slices.Sort(w.words[t.Name+"."+name])
	}
	f = TableFile{Name: t.Name, Rows: tw.rows}
	if f.CSV, err = w.sum(csvPath); err != nil {
		return f, err
	}
	f.Parquet, err = w.sum(parquetPath)
	return f, err
}

func closed(f *os.File) error {
	if err := f.Close(); err != nil && !errors.Is(err, os.ErrClosed) {
		return err
	}
	return nil
}

func newTableWriter(t release.Table, text io.Writer, binary io.Writer) (*tableWriter, error) {
	tw := &tableWriter{table: t, csv: csv.NewWriter(text), cells: make([]string, len(t.Columns)), words: map[string]map[string]bool{}}
	var fields []arrow.Field
	for i, c := range t.Columns {
		fields = append(fields, arrow.Field{Name: c.Name, Type: arrowType(c.Type), Nullable: !c.Required})
		tw.cells[i] = c.Name
		if c.Open {
			tw.words[c.Name] = map[string]bool{}
		}
	}
	schema := arrow.NewSchema(fields, nil)
	tw.builder = array.NewRecordBuilder(memory.DefaultAllocator, schema)
	// No writer's name, no stored schema, no time: the file tells only its rows.
	props := parquet.NewWriterProperties(parquet.WithVersion(parquet.V2_LATEST), parquet.WithCompression(compress.Codecs.Snappy),
		parquet.WithDictionaryDefault(true), parquet.WithMaxRowGroupLength(122_880), parquet.WithDataPageVersion(parquet.DataPageV1), parquet.WithCreatedBy("hindcheck"))
	var err error
	if tw.parquet, err = pqarrow.NewFileWriter(schema, binary, props, pqarrow.NewArrowWriterProperties()); err != nil {
		return nil, err
	}
	return tw, tw.csv.Write(tw.cells)
}

func arrowType(kind string) arrow.DataType {
	switch kind {
	case "boolean":
		return arrow.FixedWidthTypes.Boolean
	case "integer":
		return arrow.PrimitiveTypes.Int32
	case "number":
		return arrow.PrimitiveTypes.Float64
	}
	return arrow.BinaryTypes.String
}

// row writes one row.
func (tw *tableWriter) row(cells []any) error {
	for i, v := range cells {
		var err error
		if tw.cells[i], err = tw.cell(i, v); err != nil {
			return fmt.Errorf("column %s: %w", tw.table.Columns[i].Name, err)
		}
	}
	if err := tw.csv.Write(tw.cells); err != nil {
		return err
	}
	if tw.rows++; tw.rows%chunk == 0 {
		return tw.flush()
	}
	return nil
}

// cell appends a value to its column and returns it as CSV has it.
func (tw *tableWriter) cell(i int, v any) (string, error) {
	b := tw.builder.Field(i)
	if v == nil {
		if tw.table.Columns[i].Required {
			return "", errors.New("expected a value in every row, found none")
		}
		b.AppendNull()
		return "", nil
	}
	switch v := v.(type) {
	case string:
		if s, ok := b.(*array.StringBuilder); ok {
			s.Append(v)
			if seen := tw.words[tw.table.Columns[i].Name]; seen != nil {
				seen[v] = true
			}
			return v, nil
		}
	case bool:
		if s, ok := b.(*array.BooleanBuilder); ok {
			s.Append(v)
			return strconv.FormatBool(v), nil
		}
	case int32:
		if s, ok := b.(*array.Int32Builder); ok {
			s.Append(v)
			return strconv.Itoa(int(v)), nil
		}
	case float64:
		if s, ok := b.(*array.Float64Builder); ok {
			s.Append(v)
			return strconv.FormatFloat(v, 'f', -1, 64), nil
		}
	}
	return "", fmt.Errorf("expected a %s, found %T", tw.table.Columns[i].Type, v)
}

func (tw *tableWriter) flush() error {
	rec := tw.builder.NewRecordBatch()
	defer rec.Release()
	if rec.NumRows() == 0 {
		return nil
	}
	return tw.parquet.WriteBuffered(rec)
}

func (tw *tableWriter) finish() error {
	err := tw.flush()
	tw.csv.Flush()
	return errors.Join(err, tw.csv.Error(), tw.parquet.Close())
}

// sum measures a written file; path is relative to the release.
func (w *work) sum(path string) (FileSum, error) {
	f, err := os.Open(filepath.Join(w.dir, path))
	if err != nil {
		return FileSum{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return FileSum{Path: filepath.ToSlash(path), Bytes: n, SHA256: hex.EncodeToString(h.Sum(nil))}, err
}

func writeJSON(path string, v any) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	enc := json.NewEncoder(f)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return errors.Join(enc.Encode(v), f.Close())
}
