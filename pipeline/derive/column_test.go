package derive

import (
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"

	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/lanes"
	"hindcheck/pipeline/pagefile"
)

// fill puts n random values into a column, of spread different ones, and returns
// them as DuckDB writes them, "-" for a missing one.
func fill(c *column, n, spread int, gaps float64, r *rand.Rand, words *lanes.Vocabulary) (want []string) {
	for range n {
		v := r.IntN(spread) - spread/3
		ok := r.Float64() >= gaps
		text := "-"
		switch c.kind {
		case keyKind:
			k := lanes.Key{0: byte(v >> 8), 1: byte(v), 8: byte(v >> 3), 15: byte(v)}
			c.key(k, ok)
			text = fmt.Sprintf("%x-%x-%x-%x-%x", k[:4], k[4:6], k[6:8], k[8:10], k[10:])
		case wordKind:
			w := fmt.Sprintf("word %d", v)
			c.word(map[bool]int32{true: words.Number(w), false: lanes.None}[ok])
			text = w
		case tinyKind:
			v = int(int8(v))
			c.whole(int32(v), ok)
			text = fmt.Sprint(v)
		case smallKind, wholeKind:
			c.whole(int32(v), ok)
			text = fmt.Sprint(v)
		case bitsKind:
			c.long(int64(v))
			ok, text = true, fmt.Sprint(uint64(v))
		case timeKind:
			c.long(int64(v) * 1_000_000)
			ok, text = true, fmt.Sprint(int64(v)*1_000_000)
		case boolKind:
			c.whole(int32(v&1), ok)
			text = fmt.Sprint(v&1 == 1)
		case floatKind:
			c.float(float64(v)/4, ok)
			text = fmt.Sprint(float64(v) / 4)
		}
		if !ok {
			text = "-"
		}
		want = append(want, text)
	}
	return want
}

// Columns of every kind, with few and many different values, without, with some
// and with nothing but missing ones, are read back as they were, and their
// statistics are those of the values.
func TestColumnsAreReadBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	words := lanes.NewVocabulary()
	s := &sheet{n: 5000}
	want := map[string][]string{}
	for k := keyKind; k <= floatKind; k++ {
		for _, spread := range []int{1, 3, 40, 300, 30_000} {
			for _, gaps := range []float64{0, 0.3, 1} {
				c := &column{name: fmt.Sprintf("c_%d_%d_%d", k, spread, int(10*gaps)), kind: k}
				if k == smallKind {
					spread = min(spread, 20_000)
				}
				s.columns = append(s.columns, c)
				want[c.name] = fill(c, s.n, spread, gaps, r, words)
			}
		}
	}
	wide := &column{name: "wide", kind: wholeKind} // of a span too great for a table
	for i := range s.n {
		v := int32(r.Uint32())
		wide.whole(v, i%7 > 0)
		want["wide"] = append(want["wide"], map[bool]string{true: fmt.Sprint(v), false: "-"}[i%7 > 0])
	}
	twin := &column{name: "twin", kind: keyKind, twin: 1}
	s.columns = append(s.columns, wide, twin)
	want["twin"] = want[s.columns[0].name]
	path := filepath.Join(t.TempDir(), "columns.parquet")
	sc, err := s.schema()
	if err != nil {
		t.Fatal(err)
	}
	f, err := pagefile.Create(path, sc, s.properties())
	if err != nil {
		t.Fatal(err)
	}
	if err := s.write(f, &press{}, words); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := duck.Open(t.Context(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	from := "read_parquet(" + duck.Quote(path) + ")"
	for _, c := range s.columns {
		value := c.name
		if c.kind == timeKind {
			value = "epoch_us(" + value + ")"
		}
		var got, stats, ranges string
		if err := db.QueryRow("SELECT string_agg(coalesce((" + value + ")::VARCHAR, '-'), '|') FROM " + from).Scan(&got); err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		expected := strings.Join(want[c.name], "|")
		if c.kind == floatKind {
			got = strings.ReplaceAll(got+"|", ".0|", "|")
			got = got[:len(got)-1]
		}
		if got != expected {
			t.Errorf("%s: values differ", c.name)
		}
		if err := db.QueryRow("SELECT concat_ws(' ', stats_min_value, stats_max_value, stats_null_count) FROM parquet_metadata(" + duck.Quote(path) + ") WHERE path_in_schema = '" + c.name + "'").Scan(&stats); err != nil {
			t.Fatal(err)
		}
		if err := db.QueryRow("SELECT concat_ws(' ', min(" + c.name + ")::VARCHAR, max(" + c.name + ")::VARCHAR, count(*) - count(" + c.name + ")) FROM " + from).Scan(&ranges); err != nil {
			t.Fatal(err)
		}
		if stats != ranges {
			t.Errorf("%s: statistics %s; want %s", c.name, stats, ranges)
		}
	}
	readWithTheLibrary(t, path, len(want["twin"]))
}

// readWithTheLibrary reads the file with a second reader.
func readWithTheLibrary(t *testing.T, path string, rows int) {
	t.Helper()
	f, err := file.OpenParquetFile(path, false)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fr, err := pqarrow.NewFileReader(f, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := fr.ReadTable(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer table.Release()
	first, twin := table.Column(0).Data(), table.Column(int(table.NumCols())-1).Data()
	if same := array.ChunkedEqual(first, twin); int(table.NumRows()) != rows || !same {
		t.Errorf("%d rows, the first column and its twin equal: %v; want %d rows and equal", table.NumRows(), same, rows)
	}
}

// Text that was written without a dictionary is read like text with one.
func TestWordsWithoutDictionary(t *testing.T) {
	db, err := duck.Open(t.Context(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	path := filepath.Join(t.TempDir(), "words.parquet")
	if _, err := db.Exec("COPY (SELECT CASE WHEN i % 5 > 0 THEN 'word ' || i % 700 END AS w FROM range(1000) r(i)) TO " + duck.Quote(path) + " (FORMAT parquet, PARQUET_VERSION v2, DICTIONARY_SIZE_LIMIT 1)"); err != nil {
		t.Fatal(err)
	}
	r, err := lanes.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	words := lanes.NewVocabulary()
	list := lanes.ReadWords(r, "w", words.Number)
	n, err := r.Next(t.Context())
	if err != nil || n != 1000 {
		t.Fatalf("%d rows, %v; want 1000", n, err)
	}
	for i := range n {
		want := ""
		if i%5 > 0 {
			want = fmt.Sprintf("word %d", i%700)
		}
		if got := words.Word(list.At(i)); got != want {
			t.Fatalf("row %d: %q; want %q", i, got, want)
		}
	}
}

// The columns and their types are those of the dictionary and the case definition.
func TestSheetHasNoUnknownType(t *testing.T) {
	for _, c := range newSheet(findings.Default(), 2).columns[1:] {
		if c.kind == keyKind && !strings.Contains(" call animal owner advisor ", " "+c.name+" ") {
			t.Errorf("column %s has no known type", c.name)
		}
	}
	if sc, err := newSheet(findings.Default(), 2).schema(); err != nil || sc.Column(0).PhysicalType() != parquet.Types.FixedLenByteArray {
		t.Errorf("schema %v, %v", sc, err)
	}
}
