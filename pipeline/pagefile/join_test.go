package pagefile_test

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"testing"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/pagefile"
)

// Two files that DuckDB wrote come out as one with their rows in order, read back by
// DuckDB and by the library; in the first of them a and b are the same and share
// their pages, in the second they differ in one row of 3,000 and do not.
func TestJoin(t *testing.T) {
	ctx := context.Background()
	db, err := duck.Open(ctx, duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	dir := t.TempDir()
	parts := []string{filepath.Join(dir, "0.parquet"), filepath.Join(dir, "1.parquet")}
	for i, p := range parts {
		query := fmt.Sprintf(`SELECT r.i + %[1]d AS i, md5(r.i::VARCHAR)::UUID AS a, CASE WHEN %[1]d = 0 OR r.i <> 1700 THEN md5(r.i::VARCHAR)::UUID END AS b,
			'word ' || r.i %% 7 AS w, 'word ' || r.i %% 7 AS v, NULL::INTEGER AS n, r.i / 8 AS x FROM range(3000) r(i) ORDER BY r.i`, 3000*i)
		if _, err := db.Exec("COPY (" + query + ") TO " + duck.Quote(p) + " (FORMAT parquet, COMPRESSION zstd, PARQUET_VERSION v2, ROW_GROUP_SIZE 2048)"); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "joined.parquet")
	if err := pagefile.Join(path, parts...); err != nil {
		t.Fatal(err)
	}
	digest := func(paths ...string) (sum string) {
		query := "SELECT string_agg(md5(r::VARCHAR), '' ORDER BY i) FROM read_parquet(" + duck.FileList(paths) + ") r"
		if err := db.QueryRow("SELECT md5((" + query + "))").Scan(&sum); err != nil {
			t.Fatal(err)
		}
		return sum
	}
	if got, want := digest(path), digest(parts...); got != want {
		t.Errorf("DuckDB reads other rows")
	}
	rd, err := file.OpenParquetFile(path, false)
	if err != nil {
		t.Fatal(err)
	}
	defer rd.Close()
	var shared []string
	for g := range rd.NumRowGroups() {
		places := map[int64]string{}
		for i := range 7 {
			c, err := rd.RowGroup(g).MetaData().ColumnChunk(i)
			if err != nil {
				t.Fatal(err)
			}
			name := c.PathInSchema().String()
			if twin, ok := places[c.DataPageOffset()]; ok {
				shared = append(shared, fmt.Sprintf("%d %s=%s", g, twin, name))
			}
			places[c.DataPageOffset()] = name
			if c.BloomFilterOffset() != 0 {
				t.Errorf("group %d, %s: a Bloom filter that was not copied", g, name)
			}
		}
	}
	if want := []string{"0 a=b", "0 w=v", "1 a=b", "1 w=v", "2 w=v", "3 a=b", "3 w=v"}; !slices.Equal(shared, want) {
		t.Errorf("shared %v; want %v", shared, want)
	}
	columns(t, rd)
	if err := pagefile.Join(path, parts...); err == nil {
		t.Error("a file was written over")
	}
}

// columns checks that the library reads rows 0 to 5999 of i, a like b but for one.
func columns(t *testing.T, rd *file.Reader) {
	t.Helper()
	ar, err := pqarrow.NewFileReader(rd, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	all, err := ar.ReadTable(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	defer all.Release()
	flat := func(column int) (out []string) {
		for _, c := range all.Column(column).Data().Chunks() {
			for k := range c.Len() {
				out = append(out, c.ValueStr(k))
			}
		}
		return out
	}
	i, a, b := flat(0), flat(1), flat(2)
	for k := range i {
		if i[k] != fmt.Sprint(k) {
			t.Fatalf("row %d is %s", k, i[k])
		}
		if k == 4700 {
			a[k] = array.NullValueStr
		}
	}
	if len(i) != 6000 || !slices.Equal(a, b) || all.Column(1).DataType().ID() == arrow.NULL {
		t.Errorf("%d rows, a and b differ", len(i))
	}
}
