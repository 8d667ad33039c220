package intake

import (
	"context"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/extensions"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/records"
)

// tuple is one row read back, as text; a null is missing.
type tuple map[string]string

// readParts reads parts with the library's own reader, sorted by row number.
func readParts(t testing.TB, paths []string, sortBy string) (rows []tuple) {
	t.Helper()
	for _, path := range paths {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		table, err := pqarrow.ReadTable(context.Background(), f, parquet.NewReaderProperties(memory.DefaultAllocator), pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
		rd := array.NewTableReader(table, 0)
		for rd.Next() {
			rows = append(rows, tuples(t, rd.RecordBatch())...)
		}
		if rd.Err() != nil {
			t.Fatal(rd.Err())
		}
	}
	slices.SortStableFunc(rows, func(a, b tuple) int {
		x, _ := strconv.Atoi(a[sortBy])
		y, _ := strconv.Atoi(b[sortBy])
		return x - y
	})
	return rows
}

func tuples(t testing.TB, rec arrow.RecordBatch) []tuple {
	t.Helper()
	out := make([]tuple, rec.NumRows())
	for i := range out {
		out[i] = tuple{}
		for c, col := range rec.Columns() {
			if col.IsNull(i) {
				continue
			}
			name := rec.ColumnName(c)
			switch a := col.(type) {
			case *extensions.UUIDArray:
				v := a.Value(i)
				out[i][name] = hex.EncodeToString(v[:])
			case *array.FixedSizeBinary:
				out[i][name] = hex.EncodeToString(a.Value(i))
			case *array.Timestamp:
				out[i][name] = a.Value(i).ToTime(arrow.Microsecond).UTC().Format("2006-01-02T15:04:05.999999Z")
			default:
				out[i][name] = col.ValueStr(i)
			}
		}
	}
	return out
}

// TestPagesReadBack writes columns of every kind, with nulls from none to all
// and with few or many different values, as staged and as stored files, and
// reads them with the library; staged ones also with our own reader.
func TestPagesReadBack(t *testing.T) {
	table := records.Table{Name: "t"}
	for _, k := range []records.Kind{records.UUID, records.Text, records.Time, records.Date, records.Int16, records.Int32, records.Int64, records.Float, records.Boolean} {
		table.Columns = append(table.Columns, records.Column{Name: fmt.Sprintf("need%d", k), Kind: k, Required: true}, records.Column{Name: fmt.Sprintf("may%d", k), Kind: k})
	}
	table.Columns = append(table.Columns, records.Column{Name: records.RowHash, Kind: records.Int64, Required: true})
	for seed := range uint64(12) {
		r := rand.New(rand.NewPCG(seed, 7))
		n := []int{1, 2, 7, 8, 9, 127, 128, 129, 1000, 2049, 5000, 9000}[seed]
		kinds := []int{1, 2, 3, 200, 5000, 1 << 40}[seed%6]
		nulls := []float64{0, 0.01, 0.5, 1}[seed%4]
		columns, want := make([]column, len(table.Columns)), make([]tuple, n)
		for i := range want {
			want[i] = tuple{}
		}
		for c := range columns {
			columns[c] = randomColumn(r, table.Columns[c], n, kinds, nulls, want)
		}
		for _, stored := range []bool{false, true} {
			f := partFile{table: table, path: filepath.Join(t.TempDir(), "x.parquet"), stored: stored}
			for range 2 { // two row groups: scratch memory is used again
				if err := f.write(columns, n); err != nil {
					t.Fatal(err)
				}
			}
			if err := f.close(); err != nil {
				t.Fatal(err)
			}
			got := readParts(t, f.paths(), "")
			if d := cmp.Diff(append(slices.Clone(want), want...), got); d != "" {
				t.Fatalf("seed %d, %d rows, %d different, %v null, stored %v (-want +got):\n%s", seed, n, kinds, nulls, stored, d[:min(len(d), 2000)])
			}
			if !stored {
				unpackedEqual(t, f.path, columns, n)
			}
		}
	}
}

// unpackedEqual reads both row groups of a staged part into the same memory and
// compares them with what was written.
func unpackedEqual(t *testing.T, path string, columns []column, n int) {
	t.Helper()
	rd, err := openStaged(path, new([]byte))
	if err != nil {
		t.Fatal(err)
	}
	defer rd.close()
	got := make([]unpacked, len(columns))
	for i := range got {
		got[i].Column = columns[i].Column
	}
	for g := range 2 {
		if m, err := rd.group(g, got); m != n || err != nil {
			t.Fatalf("row group %d: %d rows, %v; want %d", g, m, err, n)
		}
		for i := range got {
			var words []string
			if columns[i].Kind == records.Text {
				words, _ = columns[i].words.list()
			}
			for j := range n {
				if w, have := cellOf(&columns[i], j, words), cellOf(&got[i].column, j, got[i].dict); w != have {
					t.Fatalf("%s, row %d of row group %d: %q, want %q", columns[i].Name, j, g, have, w)
				}
			}
		}
	}
}

// cellOf shows a value; dict are the words of a text column.
func cellOf(c *column, j int, dict []string) string {
	if c.absent || c.valid[j] == 0 {
		return "null"
	}
	switch c.Kind {
	case records.UUID:
		return hex.EncodeToString(c.uuid[16*j : 16*j+16])
	case records.Text:
		return dict[c.i32[j]]
	case records.Time, records.Int64:
		return fmt.Sprint(c.i64[j])
	case records.Date, records.Int32:
		return fmt.Sprint(c.i32[j])
	case records.Int16:
		return fmt.Sprint(c.i16[j])
	case records.Float:
		return fmt.Sprint(c.f64[j])
	}
	return fmt.Sprint(c.b8[j])
}

func randomColumn(r *rand.Rand, rc records.Column, n, kinds int, nulls float64, want []tuple) column {
	c := column{Column: rc, words: newVocab(nil), absent: !rc.Required && nulls == 1 && r.IntN(2) == 0}
	if c.absent {
		return c
	}
	c.grow(n)
	for i := range n {
		v := r.IntN(kinds)
		if rc.Kind != records.Text && r.IntN(3) > 0 {
			v = -v
		}
		c.valid[i] = 1
		if !rc.Required && r.Float64() < nulls {
			c.valid[i] = 0
		}
		text := ""
		switch rc.Kind {
		case records.UUID:
			for b := range 16 {
				c.uuid[16*i+b] = byte((v + i/4) >> (8 * (b % 6)))
			}
			if n%2 == 1 && r.IntN(9) == 0 { // keys that agree in their first half
				c.uuid[16*i+15]++
			}
			text = hex.EncodeToString(c.uuid[16*i : 16*i+16])
		case records.Text:
			text = "w" + strconv.Itoa(v%70000)
			c.i32[i] = c.words.addString(text)
		case records.Time:
			c.i64[i] = int64(v) * 60e6
			text = arrow.Timestamp(c.i64[i]).ToTime(arrow.Microsecond).UTC().Format("2006-01-02T15:04:05.999999Z")
		case records.Int64:
			c.i64[i] = int64(v) * int64(v) * 3
			if r.IntN(50) == 0 {
				c.i64[i] = []int64{math.MaxInt64, math.MinInt64}[r.IntN(2)]
			}
			text = strconv.FormatInt(c.i64[i], 10)
		case records.Date:
			c.i32[i] = int32(v % 50000)
			text = arrow.Date32(c.i32[i]).FormattedString()
		case records.Int32:
			c.i32[i] = int32(v)
			text = strconv.Itoa(int(c.i32[i]))
		case records.Int16:
			c.i16[i] = int16(v)
			text = strconv.Itoa(int(c.i16[i]))
		case records.Float:
			c.f64[i] = float64(v) / 8
			text = strconv.FormatFloat(c.f64[i], 'g', -1, 64)
		case records.Boolean:
			c.b8[i] = uint8(v & 1)
			text = strconv.FormatBool(v&1 == 1)
		}
		if c.valid[i] == 1 {
			want[i][rc.Name] = text
		}
	}
	return c
}

// The parts say what they hold: UUIDs as such, times in UTC, and no column
// statistics, which nobody reads.
func TestPartSchema(t *testing.T) {
	for _, table := range []records.Table{records.Calls, records.Checks, records.Outcomes, records.Coverage, records.SetAside} {
		columns := make([]column, len(table.Columns))
		for i, c := range table.Columns {
			columns[i] = column{Column: c, absent: true, words: newVocab(nil)}
			if c.Required {
				columns[i].absent = false
				columns[i].grow(1)
				columns[i].valid[0] = 1
				columns[i].words.addString("x")
			}
		}
		f := partFile{table: table, path: filepath.Join(t.TempDir(), "x.parquet")}
		if err := f.write(columns, 1); err != nil {
			t.Fatal(err)
		}
		if err := f.close(); err != nil {
			t.Fatal(err)
		}
		rd, err := file.OpenParquetFile(f.path, false)
		if err != nil {
			t.Fatal(err)
		}
		s := rd.MetaData().Schema
		for i, c := range table.Columns {
			col := s.Column(i)
			if col.Name() != c.Name || (col.MaxDefinitionLevel() == 0) != c.Required {
				t.Errorf("%s.%s: stored as %s, levels %d", table.Name, c.Name, col.Name(), col.MaxDefinitionLevel())
			}
			if lt := col.LogicalType().String(); c.Kind == records.UUID && lt != "UUID" || c.Kind == records.Text && lt != "String" {
				t.Errorf("%s.%s: stored as %s", table.Name, c.Name, lt)
			}
		}
		if err := rd.Close(); err != nil {
			t.Error(err)
		}
	}
}
