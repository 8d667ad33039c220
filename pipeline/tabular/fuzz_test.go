package tabular

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/apache/arrow-go/v18/arrow"
	"github.com/apache/arrow-go/v18/arrow/array"
	"github.com/apache/arrow-go/v18/arrow/memory"
	"github.com/apache/arrow-go/v18/parquet/pqarrow"
	"github.com/xuri/excelize/v2"
)

// numbered fails unless rows carry rising numbers from first on.
func numbered(t *testing.T, rows []refRow, first int64) {
	t.Helper()
	for _, r := range rows {
		if r.row < first {
			t.Fatalf("row %d behind row %d", r.row, first-1)
		}
		first = r.row + 1
	}
}

// refused fails unless err is a Problem with its remedy.
func refused(t *testing.T, err error) {
	t.Helper()
	var p *Problem
	if !errors.As(err, &p) || p.Expected == "" || p.Found == "" || p.Remedy == "" {
		t.Fatalf("%v; want a problem that says what was expected, what was found and what to do", err)
	}
}

// A list of records gives one row a record, broken or not, and the text of
// strings; a document that is no JSON is refused.
func FuzzList(f *testing.F) {
	for _, s := range []string{`[]`, `[{"a":1},{"a":"x"}]`, `[{"a":{"b":2}},null,[1],7]`, `[{"a":1,"a":2}]`, `[{"a":1}`, `{"rows":[{"a":"y"}]}`, `[{"a":"\ud800"}]`, `[{"a":"\u0000"}] x`, "[{\"a\":\"\xff\"}]"} {
		f.Add(s, strings.HasPrefix(s, "{"))
	}
	f.Fuzz(func(t *testing.T, text string, nested bool) {
		format := Format{Kind: "json", Columns: []string{"a", "a.b"}}
		if nested {
			format.Records = "rows"
		}
		_, rows, _, err := readAll(t, write(t, text), format, 2)
		numbered(t, rows, 1)
		if err != nil {
			refused(t, err)
		}
		var list []map[string]any
		if nested || json.Unmarshal([]byte(text), &list) != nil || list == nil || !utf8.ValidString(text) || strings.Contains(text, `\u`) || strings.HasPrefix(text, "\ufeff") {
			return
		}
		if len(rows) != len(list) || err != nil {
			t.Fatalf("%d rows of %d records, %v", len(rows), len(list), err)
		}
		for i, r := range rows {
			if s, ok := list[i]["a"].(string); ok && !r.broken && s != r.cells[0] {
				t.Errorf("record %d: %q, want %q", i+1, r.cells[0], s)
			}
		}
	})
}

// Text of any encoding is read to its end and hashed as it lies on the disk;
// packing changes nothing, and what the decoder gives is UTF-8.
func FuzzText(f *testing.F) {
	f.Add([]byte("a;b\n1;2\n"), byte(0))
	f.Add([]byte("gr\xf6\xdfe"), byte(2))
	f.Add([]byte(utf16Bytes("größe 🐈", true, true)), byte(1))
	f.Add([]byte("\xff\xfe\x00\xd8a"), byte(1))
	f.Add([]byte("\xef\xbb\xbfa"), byte(1))
	f.Add([]byte(gz("a,b\n")), byte(0))
	f.Add([]byte(zst("a,b\n")), byte(0))
	f.Add([]byte("\x28\xb5\x2f\xfd\x00"), byte(0))
	f.Fuzz(func(t *testing.T, data []byte, n byte) {
		encoding := Encodings[int(n)%len(Encodings)]
		plain, err := decodeAll(t, data, encoding)
		if err != nil {
			return // refused, or damaged
		}
		head := data[:min(2, len(data))]
		packed := string(head) == "\x1f\x8b" || string(head) == "\x28\xb5"
		mark := slices.Contains([]string{"\xef\xbb", "\xff\xfe", "\xfe\xff"}, string(head))
		switch {
		case packed || mark:
		case encoding == "utf-8" && plain != string(data):
			t.Errorf("%q became %q", data, plain)
		case encoding == "windows-1252" && utf8.RuneCountInString(plain) != len(data):
			t.Errorf("%d bytes became %d characters", len(data), utf8.RuneCountInString(plain))
		}
		if encoding != "utf-8" && !packed && !utf8.ValidString(plain) && !strings.HasPrefix(string(data), "\xef\xbb\xbf") {
			t.Errorf("%q is no UTF-8", plain)
		}
		if packed || len(data) == 0 {
			return
		}
		for how, again := range map[string]string{"gzip": gz(string(data)), "zstd": zst(string(data))} {
			if got, err := decodeAll(t, []byte(again), encoding); err != nil || got != plain {
				t.Errorf("%s: %q, %v; want %q", how, got, err, plain)
			}
		}
	})
}

// decodeAll reads a file's text and checks its hash.
func decodeAll(t *testing.T, data []byte, encoding string) (string, error) {
	t.Helper()
	text, err := openText(write(t, string(data)), Format{Encoding: encoding})
	if err != nil {
		refused(t, err)
		return "", err
	}
	defer text.Close()
	got, err := io.ReadAll(io.LimitReader(text, 1<<24))
	want := sha256.Sum256(data)
	if sum := text.raw.sum(); sum != hex.EncodeToString(want[:]) {
		t.Errorf("hash %s, want %x", sum, want)
	}
	return string(got), err
}

// table splits a text into rows and cells, without what a file cannot hold.
func table(text string) (rows [][]string) {
	text = strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' || r == utf8.RuneError || r > 0xfffd {
			return -1
		}
		return r
	}, text)
	for line := range strings.SplitSeq(text, "\n") {
		rows = append(rows, strings.Split(line, ";"))
	}
	return rows
}

// damage flips bits of one byte; at of 0 changes nothing.
func damage(data []byte, at uint16, bits byte) []byte {
	if at > 0 && len(data) > 0 {
		data[int(at)%len(data)] ^= bits
	}
	return data
}

// A sound workbook gives back every row, as a row of cells, blank, broken or as
// a repeated header; a damaged one, or a sheet of other content, is refused or
// read in part, without a panic.
func FuzzWorkbook(f *testing.F) {
	f.Add("a;b\n1;2\n;\n3;4;5", false, uint16(0), byte(0))
	f.Add("a;b\n1;2\na;b\n-1.5E+3;x", false, uint16(0), byte(0))
	f.Add("a;b\n1;2\n3;4", false, uint16(700), byte(0x41))
	f.Add(`<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData><row r="1"><c r="A1" t="inlineStr"><is><t>a</t></is></c></row><row r="900000"><c r="ZZ1"><v>1</v></c></row></sheetData></worksheet>`, true, uint16(0), byte(0))
	f.Add(`<worksheet><sheetData><row r="2"><c r="B9" t="s"><v>99</v></c></row><row r="1"><c t="b"><v>1</v></c></row>`, true, uint16(0), byte(0))
	f.Fuzz(func(t *testing.T, text string, raw bool, at uint16, bits byte) {
		rows := table(text)
		if len(rows) > 200 || slices.ContainsFunc(rows, func(r []string) bool { return len(r) > 50 }) {
			return
		}
		data := book(t, rows)
		if raw {
			data = withSheet(t, data, text)
		}
		path := t.TempDir() + "/x.xlsx"
		if err := os.WriteFile(path, damage(data, at, bits), 0o600); err != nil {
			t.Fatal(err)
		}
		_, got, notes, err := readAll(t, path, Format{Kind: "xlsx"}, 2)
		numbered(t, got, 1)
		if err != nil {
			refused(t, err)
		}
		if raw || at > 0 && bits > 0 {
			return
		}
		header := slices.IndexFunc(rows, func(r []string) bool { return !blankCells(r) })
		if header < 0 {
			if err == nil {
				t.Error("a sheet without a header was read")
			}
			return
		}
		last := len(rows) // blank rows at the end are not stored
		for last > header+1 && strings.Join(rows[last-1], "") == "" {
			last--
		}
		seen := len(got) + int(notes["blank_rows"]+notes["repeated_headers"])
		if err != nil || seen < last-header-1 || seen > len(rows)-header-1 {
			t.Errorf("%d rows accounted for, want %d to %d; %v", seen, last-header-1, len(rows)-header-1, err)
		}
	})
}

// book writes a workbook of text cells.
func book(t *testing.T, rows [][]string) []byte {
	t.Helper()
	b := excelize.NewFile()
	defer b.Close()
	for i, r := range rows {
		for j, cell := range r {
			if cell == "" {
				continue
			}
			name, err := excelize.CoordinatesToCellName(j+1, i+1)
			if err == nil {
				err = b.SetCellStr("Sheet1", name, cell)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
	}
	data, err := b.WriteToBuffer()
	if err != nil {
		t.Fatal(err)
	}
	return data.Bytes()
}

// withSheet puts other content into a workbook's sheet.
func withSheet(t *testing.T, data []byte, sheet string) []byte {
	t.Helper()
	from, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	to := zip.NewWriter(&out)
	for _, part := range from.File {
		w, err := to.Create(part.Name)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(part.Name, "sheet1.xml") {
			io.WriteString(w, sheet)
			continue
		}
		r, err := part.Open()
		if err == nil {
			_, err = io.Copy(w, r)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := to.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// A sound Parquet file gives back every row and cell; a damaged one is refused
// or read in part, without a panic.
func FuzzParquet(f *testing.F) {
	f.Add("x\ny;1\n\nz", uint16(0), byte(0))
	f.Add("dog;7\ncat;8", uint16(40), byte(0xff))
	f.Add("dog;7\ncat;8", uint16(400), byte(0x10))
	f.Fuzz(func(t *testing.T, text string, at uint16, bits byte) {
		rows := table(text)
		if len(rows) > 3000 {
			return
		}
		path := t.TempDir() + "/x.parquet"
		if err := os.WriteFile(path, damage(columnsFile(t, rows), at, bits), 0o600); err != nil {
			t.Fatal(err)
		}
		_, got, _, err := readAll(t, path, Format{Kind: "parquet"}, 2)
		numbered(t, got, 1)
		if err != nil {
			refused(t, err)
		}
		if at > 0 && bits > 0 {
			return
		}
		if err != nil || len(got) != len(rows) {
			t.Fatalf("%d rows of %d, %v", len(got), len(rows), err)
		}
		for i, r := range got {
			if r.cells[0] != rows[i][0] {
				t.Errorf("row %d: %q, want %q", i+1, r.cells[0], rows[i][0])
			}
		}
	})
}

// columnsFile writes the first cell of each row as text and the number of
// cells beside it, as Parquet.
func columnsFile(t *testing.T, rows [][]string) []byte {
	t.Helper()
	schema := arrow.NewSchema([]arrow.Field{{Name: "word", Type: arrow.BinaryTypes.String, Nullable: true}, {Name: "cells", Type: arrow.PrimitiveTypes.Int32}}, nil)
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer b.Release()
	for _, r := range rows {
		b.Field(0).(*array.StringBuilder).Append(r[0])
		b.Field(1).(*array.Int32Builder).Append(int32(len(r)))
	}
	rec := b.NewRecordBatch()
	defer rec.Release()
	var out bytes.Buffer
	w, err := pqarrow.NewFileWriter(schema, &out, nil, pqarrow.DefaultWriterProps())
	if err == nil {
		err = errors.Join(w.Write(rec), w.Close())
	}
	if err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}
