package sandbox

import (
	"bytes"
	"context"
	"encoding/json"
	"math/big"
	"testing"

	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/ipc"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/file"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"

	"hindcheck/pipeline/duck"
)

// one has a value and a blank of every kind that a result can hold.
const one = `SELECT * FROM (VALUES
	(true, -3::TINYINT, 4::UBIGINT, 1.5::FLOAT, 0.1::DOUBLE, -12.34::DECIMAL(9,3), 'é"', DATE '2026-05-06', TIMESTAMPTZ '2026-05-06 07:08:09.123456+02',
	 TIMESTAMP '2026-05-06 07:08:09.5', TIME '23:59:59.000001', UUID '00112233-4455-6677-8899-aabbccddeeff', sum_of.s, 'b'::VARCHAR),
	(NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL))
	t(bool, tiny, big, single, dbl, dec, txt, day, inst, local, tod, id, huge, code), (SELECT 1) x`

func result(t *testing.T, format string) []byte {
	t.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	text := `WITH sum_of AS (SELECT sum(a) AS s FROM range(4) t(a)) ` + "SELECT * EXCLUDE (\"1\") FROM (" + one + ")"
	text = bytesReplace(text, "sum_of.s", "(SELECT s FROM sum_of)")
	var out bytes.Buffer
	if err := (&sealed{db: db}).run(context.Background(), text, format, &out); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func bytesReplace(s, from, to string) string {
	return string(bytes.ReplaceAll([]byte(s), []byte(from), []byte(to)))
}

func TestTextForms(t *testing.T) {
	csv := "bool,tiny,big,single,dbl,dec,txt,day,inst,local,tod,id,huge,code\n" +
		`true,-3,4,1.5,0.1,-12.340,"é""",2026-05-06,2026-05-06T05:08:09.123456Z,2026-05-06T07:08:09.5,23:59:59.000001,00112233-4455-6677-8899-aabbccddeeff,6,b` + "\n,,,,,,,,,,,,,\n"
	if got := string(result(t, "csv")); got != csv {
		t.Errorf("csv:\n%s\nwant\n%s", got, csv)
	}
	var rows []map[string]any
	if err := json.Unmarshal(result(t, "json"), &rows); err != nil || len(rows) != 2 || rows[0]["dec"] != -12.34 || rows[0]["huge"] != 6.0 || rows[1]["id"] != nil || len(rows[1]) != 14 {
		t.Errorf("json: %v, %v", rows, err)
	}
	if got := string(result(t, "text")); len(got) < 100 {
		t.Errorf("text: %q", got)
	}
}

// Parquet and Arrow hold the same values as CSV, cell by cell.
func TestBinaryForms(t *testing.T) {
	want := result(t, "csv")
	r, err := ipc.NewFileReader(bytes.NewReader(result(t, "arrow")))
	if err != nil {
		t.Fatal(err)
	}
	batch, err := r.RecordBatch(0)
	if err != nil {
		t.Fatal(err)
	}
	pf, err := file.NewParquetReader(bytes.NewReader(result(t, "parquet")))
	if err != nil {
		t.Fatal(err)
	}
	fr, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	if err != nil {
		t.Fatal(err)
	}
	table, err := fr.ReadTable(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	reader := array.NewTableReader(table, 10)
	if !reader.Next() || !array.RecordEqual(batch, reader.RecordBatch()) {
		t.Errorf("parquet and arrow differ:\n%v\n%v", batch, reader.RecordBatch())
	}
	for i, want := range []string{"true", "-3", "4", "1.5", "0.1", "-12.34", "é\"", "2026-05-06"} {
		if got := batch.Column(i).ValueStr(0); got != want || !batch.Column(i).IsNull(1) {
			t.Errorf("column %d: %q, want %q", i, got, want)
		}
	}
	if batch.NumRows() != 2 || len(want) == 0 {
		t.Errorf("%d rows", batch.NumRows())
	}
}

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		n     int64
		scale int
		want  string
	}{{0, 2, "0.00"}, {-5, 2, "-0.05"}, {1234, 2, "12.34"}, {12, 0, "12"}, {100, 2, "1.00"}} {
		if got := fixed(big.NewInt(c.n), c.scale); got != c.want {
			t.Errorf("fixed(%d, %d) = %q, want %q", c.n, c.scale, got, c.want)
		}
	}
}
