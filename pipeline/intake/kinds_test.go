package intake

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/xuri/excelize/v2"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
	"hindcheck/pipeline/tabular"
)

const kindsYAML = `
source: test
record: calls
file: {FILE}
exported_at: {file_name: '(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: Europe/Berlin
blanks: ["-"]
columns:
  call: {from: Call, key: call}
  contact: {first_of: [From, Call], key: contact}
  contact_type: {value: clinical}
  started_at: {from: Started, layout: "02.01.2006 15:04:05"}
  species: {from: Animal, values: {Dog: dog, Cat: cat}}
  weight_kg: {from: Weight, unit: kg}
  age_months: {from: Age, unit: months}
  safety_net: {from: Told, values: {"true": true, "false": false, "1": true, "0": false}}
`

type kindRow struct {
	call, from string
	started    time.Time
	animal     string
	weight     *float64
	age        int
	told       bool
}

func kindRows() (rows []kindRow) {
	berlin, _ := time.LoadLocation("Europe/Berlin")
	for i := range 2500 {
		w := float64(i%400)/32 + 0.5 // up to 13 kg: a weight that a cat can have
		r := kindRow{fmt.Sprintf("00%d", i), "", time.Date(2026, 7, 1+i%30, i%24, i%60, i%7, 0, berlin), []string{"Dog", "Cat", "Fish"}[min(i%5, 2)], &w, i % 200, i%2 == 0}
		if i%3 == 0 {
			r.from = fmt.Sprintf("00%d", i-1)
		}
		if i%11 == 0 {
			r.weight = nil
		}
		rows = append(rows, r)
	}
	return rows
}

// Whatever the kind of file, the same table gives the same records.
func TestKindsOfFilesAgree(t *testing.T) {
	rows := kindRows()
	want := kindHashes(t, `kind: csv, delimiter: ";", decimal: ","`, "csv", writeKindCSV(rows))
	if len(want) < 1000 {
		t.Fatalf("%d rows", len(want))
	}
	for kind, c := range map[string]struct {
		file string
		make func([]kindRow) []byte
	}{
		"ndjson":  {"kind: ndjson", writeLines},
		"json":    {"kind: json, records: data.calls", writeList},
		"xlsx":    {"kind: xlsx, skip_rows: 2, sheet: Calls", writeBook},
		"parquet": {"kind: parquet", writeColumns},
	} {
		t.Run(kind, func(t *testing.T) {
			got := kindHashes(t, c.file, kind, c.make(rows))
			if !slices.Equal(want, got) {
				t.Errorf("%d records, want %d, or they differ", len(got), len(want))
			}
		})
	}
}

// kindHashes reads a file and returns the row hashes of its records.
func kindHashes(t *testing.T, file, ext string, data []byte) []string {
	t.Helper()
	r, err := readKind(t, file, ext, data)
	if err != nil {
		t.Fatal(err)
	}
	if r.SetAside == 0 || r.Reasons["unmapped_word"] != r.SetAside || r.ContentHash == "" {
		t.Errorf("%+v", r)
	}
	var hashes []string
	for _, row := range readParts(t, r.Parts, "src_row") {
		hashes = append(hashes, row["row_hash"])
	}
	slices.Sort(hashes)
	return hashes
}

func readKind(t *testing.T, file, ext string, data []byte) (Result, error) {
	t.Helper()
	d, err := source.Parse("test.yaml", []byte(strings.Replace(kindsYAML, "FILE", file, 1)), findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	return Read(context.Background(), Input{Path: write(t, "calls-2026-11-01."+ext, string(data)), Desc: d, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), Workers: 3})
}

func writeKindCSV(rows []kindRow) []byte {
	var b strings.Builder
	b.WriteString("Call;From;Started;Animal;Weight;Age;Told\n")
	for _, r := range rows {
		w := "-"
		if r.weight != nil {
			w = strings.Replace(fmt.Sprint(*r.weight), ".", ",", 1)
		}
		fmt.Fprintf(&b, "%s;%s;%s;%s;%s;%d;%v\n", r.call, r.from, r.started.Format("02.01.2006 15:04:05"), r.animal, w, r.age, r.told)
	}
	return []byte(b.String())
}

func kindObject(r kindRow) map[string]any {
	o := map[string]any{"Call": r.call, "Started": r.started.Format("02.01.2006 15:04:05"), "Animal": r.animal, "Weight": r.weight, "Age": r.age, "Told": r.told, "Notes": []int{1}}
	if r.from != "" {
		o["From"] = r.from
	}
	return o
}

func writeLines(rows []kindRow) []byte {
	var out []byte
	for _, r := range rows {
		line, _ := json.Marshal(kindObject(r))
		out = append(append(out, line...), '\n')
	}
	return out
}

func writeList(rows []kindRow) []byte {
	var list []any
	for _, r := range rows {
		list = append(list, kindObject(r))
	}
	out, _ := json.MarshalIndent(map[string]any{"about": map[string]any{"calls": 1}, "data": map[string]any{"calls": list}}, "", " ")
	return out
}

func writeBook(rows []kindRow) []byte {
	f := excelize.NewFile()
	defer f.Close()
	f.NewSheet("Calls")
	put := func(row int, cells ...any) {
		cell, _ := excelize.CoordinatesToCellName(1, row)
		if err := f.SetSheetRow("Calls", cell, &cells); err != nil {
			panic(err)
		}
	}
	put(1, "Calls of July")
	put(3, "Call", "From", "Started", "Animal", "Weight", "Age", "Told")
	for i, r := range rows {
		var w any = "-"
		if r.weight != nil {
			w = *r.weight
		}
		_, offset := r.started.Zone()
		clock := time.Unix(r.started.Unix()+int64(offset), 0).UTC() // a workbook knows no zones
		put(4+i, r.call, r.from, clock, r.animal, w, r.age, r.told)
	}
	put(len(rows)+9, "  ")
	b, err := f.WriteToBuffer()
	if err != nil {
		panic(err)
	}
	return b.Bytes()
}

func writeColumns(rows []kindRow) []byte {
	schema := arrow.NewSchema([]arrow.Field{{Name: "Call", Type: arrow.BinaryTypes.String}, {Name: "From", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "Started", Type: &arrow.TimestampType{Unit: arrow.Millisecond, TimeZone: "UTC"}}, {Name: "Animal", Type: arrow.BinaryTypes.String},
		{Name: "Weight", Type: arrow.PrimitiveTypes.Float64, Nullable: true}, {Name: "Age", Type: arrow.PrimitiveTypes.Int16}, {Name: "Told", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "Notes", Type: arrow.ListOf(arrow.PrimitiveTypes.Int32), Nullable: true}}, nil)
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	for _, r := range rows {
		b.Field(0).(*array.StringBuilder).Append(r.call)
		if r.from == "" {
			b.Field(1).AppendNull()
		} else {
			b.Field(1).(*array.StringBuilder).Append(r.from)
		}
		b.Field(2).(*array.TimestampBuilder).Append(arrow.Timestamp(r.started.UnixMilli()))
		b.Field(3).(*array.StringBuilder).Append(r.animal)
		if r.weight == nil {
			b.Field(4).AppendNull()
		} else {
			b.Field(4).(*array.Float64Builder).Append(*r.weight)
		}
		b.Field(5).(*array.Int16Builder).Append(int16(r.age))
		b.Field(6).(*array.BooleanBuilder).Append(r.told)
		b.Field(7).AppendNull()
	}
	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(schema, &out, parquet.NewWriterProperties(), pqarrow.DefaultWriterProps())
	if err == nil {
		err = w.Write(b.NewRecordBatch())
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		panic(err)
	}
	return out.Bytes()
}

// What only these kinds of files can get wrong.
func TestKindsOfFilesProblems(t *testing.T) {
	good := `{"Call":"1","Started":"01.07.2026 10:00:00","Animal":"Dog","Weight":1,"Age":2,"Told":true}`
	for _, c := range []struct{ name, file, ext, data, problem string }{
		{"mistyped key", "kind: ndjson", "json", strings.Replace(good, "Animal", "animal", 1), `no record that names "Animal"`},
		{"no list", "kind: json", "json", good, "a list of records"},
		{"no such key", "kind: json, records: a.b", "json", `{"a":{"c":[]}}`, "the key b"},
		{"broken list", "kind: json", "json", "[" + good + ",{]", "text that is none"},
		{"no workbook", "kind: xlsx", "xlsx", "a,b\n", "a file that is none"},
		{"no such sheet", "kind: xlsx, sheet: Visits", "xlsx", string(writeBook(nil)), "the sheets Sheet1, Calls"},
		{"no parquet", "kind: parquet", "parquet", "PAR1aaaaPAR1", "a parquet file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := readKind(t, c.file, c.ext, []byte(c.data))
			var p *tabular.Problem
			if !errors.As(err, &p) || !strings.Contains(p.Error(), c.problem) || p.Remedy == "" {
				t.Errorf("got %v, want a problem with %q", err, c.problem)
			}
		})
	}
}

// A broken line of JSON takes no other with it.
func TestBrokenLines(t *testing.T) {
	good := `{"Call":"%d","Started":"01.07.2026 10:00:00","Animal":"Dog","Weight":1,"Age":2,"Told":true}`
	lines := []string{fmt.Sprintf(good, 1), `{"Call":"2"`, "", `[1]`, fmt.Sprintf(good, 5), strings.Replace(fmt.Sprintf(good, 6), "1,", "[1],", 1), `{"Call":"7","Call":"8"}`, "\xff", fmt.Sprintf(good, 9)}
	r, err := readKind(t, "kind: ndjson", "json", []byte(strings.Join(lines, "\n")))
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, a := range readParts(t, r.SetAsideParts, "row") {
		got[a["row"]] = a["reason"]
	}
	if want := map[string]string{"2": "broken_row", "4": "broken_row", "6": "broken_row", "7": "broken_row", "8": "broken_row"}; !maps.Equal(want, got) || r.Staged != 3 {
		t.Errorf("staged %d, set aside %v", r.Staged, got)
	}
}
