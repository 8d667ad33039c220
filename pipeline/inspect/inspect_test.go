package inspect_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"hindcheck/pipeline/inspect"
	"hindcheck/pipeline/tabular"
)

func file(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func look(t *testing.T, name, text string) *inspect.Report {
	t.Helper()
	rep, err := inspect.File(context.Background(), file(t, name, []byte(text)))
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

func column(t *testing.T, rep *inspect.Report, name string) inspect.Column {
	t.Helper()
	i := slices.IndexFunc(rep.Columns, func(c inspect.Column) bool { return c.Name == name })
	if i < 0 {
		t.Fatalf("no column %q in %+v", name, rep.Columns)
	}
	return rep.Columns[i]
}

func layouts(c inspect.Column) (out []string) {
	for _, l := range c.Layouts {
		out = append(out, l.Layout)
	}
	return out
}

// The order of day and month is never decided where both orders fit.
func TestLayoutsThatFitAreAllShown(t *testing.T) {
	for _, c := range []struct {
		name  string
		cells []string
		want  []string
	}{
		{"both orders", []string{"03/04/2026", "05/06/2026"}, []string{"02/01/2006", "01/02/2006"}},
		{"day first alone", []string{"03/04/2026", "25/06/2026"}, []string{"02/01/2006"}},
		{"month first alone", []string{"03/04/2026", "06/25/2026"}, []string{"01/02/2006"}},
		{"without leading zeros", []string{"3/4/2026 9:05", "12/11/2026 10:15"}, []string{"2/1/2006 15:04", "1/2/2006 15:04"}},
		{"three orders of short years", []string{"03/04/06", "05/06/07"}, []string{"02/01/06", "01/02/06", "06/01/02"}},
		{"with seconds", []string{"2026-03-04 10:15:30", "2026-03-05 11:15:30"}, []string{"2006-01-02 15:04:05"}},
		{"half days", []string{"03/25/2026 3:04 PM", "03/26/2026 11:04 AM"}, []string{"01/02/2006 3:04 PM"}},
		{"offset", []string{"2026-03-04T10:15:30Z", "2026-03-05T11:15:30+01:00"}, []string{"2006-01-02T15:04:05Z07:00"}},
		{"names of months", []string{"4 Mar 2026", "15 Apr 2026"}, []string{"2 Jan 2006"}},
		{"day that does not exist", []string{"30.02.2026", "31.02.2026"}, nil},
		{"figures alone", []string{"20260304", "20260415"}, []string{"20060102"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rep := look(t, "x.csv", "when;b\n"+strings.Join(c.cells, ";1\n")+";2\n")
			got := column(t, rep, "when")
			if !slices.Equal(layouts(got), c.want) {
				t.Errorf("layouts %q, want %q", layouts(got), c.want)
			}
		})
	}
}

// One broken cell in a hundred does not hide the layout, and is counted.
func TestLayoutWithAFewMisfits(t *testing.T) {
	text := "when;n\n"
	for i := range 99 {
		text += fmt.Sprintf("%02d.03.2026;%d\n", i%31+1, i)
	}
	got := column(t, look(t, "x.csv", text+"31.02.2026;7\n"), "when")
	if got.Kind != inspect.Date || len(got.Layouts) != 1 || got.Layouts[0].Misfits != 1 || got.Other != 1 || got.Layouts[0].First != "2026-03-01" {
		t.Errorf("column %+v; want a date with one misfit", got)
	}
}

func TestKindsOfColumns(t *testing.T) {
	text := "whole,decimal,unit,clock,word,key,prose,empty,gone\n"
	for i := range 40 {
		text += fmt.Sprintf("%d,%d.5,%d kg,1%d:30,%s,C-%05d,the owner says that it began %d days ago after a walk,,-\n",
			i, i, i+1, i%10, []string{"dog", "cat"}[i%2], i, i)
	}
	rep := look(t, "x.csv", text)
	for name, want := range map[string]inspect.Kind{"whole": inspect.Whole, "decimal": inspect.Decimal, "unit": inspect.Unit, "clock": inspect.Clock,
		"word": inspect.Word, "key": inspect.Key, "prose": inspect.Prose, "empty": inspect.Empty, "gone": inspect.Empty} {
		if got := column(t, rep, name); got.Kind != want {
			t.Errorf("%s: kind %q, want %q", name, got.Kind, want)
		}
	}
	words := column(t, rep, "word")
	if want := []inspect.Value{{Word: "cat", Count: 20}, {Word: "dog", Count: 20}}; !slices.Equal(words.Values, want) {
		t.Errorf("words %v, want %v", words.Values, want)
	}
	if c := column(t, rep, "whole"); c.Low == nil || *c.Low != 0 || *c.High != 39 || c.Distinct != 40 {
		t.Errorf("whole: %+v; want 0 to 39", c)
	}
	if c := column(t, rep, "unit"); !slices.Equal(c.Units, []string{"kg"}) {
		t.Errorf("units %q, want kg", c.Units)
	}
	if c := column(t, rep, "gone"); c.BlankWords["-"] != 40 {
		t.Errorf("blank words %v, want 40 dashes", c.BlankWords)
	}
}

// secrets are invented; none may ever be printed.
var secrets = []string{"Orla Winterbeck", "Winterbeck, T.", "Mrs Quillfeather", "0170 5550199", "+44 7700 900123", "(030) 901820-11", "276098106012345",
	"orla@example.org", "Mossgasse 12", "14 Fernbank Lane", "Hollerbusch"}

func TestIdentifiersAreNeverShown(t *testing.T) {
	text := "ref;owner name;contact;tag;where;remark;coded;nurse;mail\n"
	for i := range 60 {
		name, phone, remark, coded := secrets[i%2], secrets[3+i%3], "a quiet cat that has not eaten since the day before", "vomiting"
		switch {
		case i%20 == 3:
			remark = "please ring " + secrets[2] + " under " + secrets[3]
		case i == 7:
			coded = "ring " + secrets[3]
		case i == 8:
			coded = secrets[0]
		case i%3 == 0:
			coded = "off food"
		}
		text += fmt.Sprintf("%d;%s;%s;%s;%s;%s;%s;%s;%s\n", i, name, phone, secrets[6], secrets[8+i%2], remark, coded, secrets[10], secrets[7])
	}
	rep := look(t, "x.csv", text)
	for name, want := range map[string]string{"owner name": "name", "contact": "telephone number", "tag": "chip number", "where": "address",
		"remark": "prose that names people", "nurse": "key or name of a person", "mail": "mail address"} {
		if got := column(t, rep, name); got.Personal != want || got.Warning() == "" {
			t.Errorf("%s: taken for %q, want %q with a warning", name, got.Personal, want)
		}
	}
	if c := column(t, rep, "coded"); c.Withheld != 2 || len(c.Values) != 2 || c.Warning() == "" {
		t.Errorf("coded: %+v; want two words shown and two withheld with a warning", c)
	}
	out, err := json.Marshal(rep)
	if err != nil {
		t.Fatal(err)
	}
	for _, record := range []string{"calls", "checks", "outcomes", "coverage"} {
		draft, err := inspect.Draft(rep, record)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, draft...)
	}
	for _, c := range rep.Columns {
		out = append(out, c.Summary()+c.Warning()...)
	}
	for _, s := range secrets {
		if bytes.Contains(out, []byte(s)) {
			t.Errorf("%q is shown", s)
		}
	}
}

// Without a row of column names the first row is data, and is not shown.
func TestRowOfDataIsNoHeader(t *testing.T) {
	rep := look(t, "x.csv", "C1,Orla Winterbeck,0170 5550199,03.04.2026\nC2,Tom Winterbeck,0170 5550198,04.04.2026\n")
	out, err := json.Marshal(rep)
	if err != nil {
		t.Fatal(err)
	}
	if rep.HeaderDoubt == "" || bytes.Contains(out, []byte("Winterbeck")) || bytes.Contains(out, []byte("5550199")) {
		t.Errorf("report %s; want a doubt and no cell", out)
	}
	if _, err := inspect.Draft(rep, "calls"); !errors.Is(err, inspect.ErrNoDraft) {
		t.Errorf("draft: %v; want ErrNoDraft", err)
	}
}

const table = "Call no;Größe;Started\nA-00001;1,5;03.04.2026\nA-00002;2,5;14.04.2026\n"

func encode(t *testing.T, f func([]byte) ([]byte, error), text string) []byte {
	t.Helper()
	out, err := f([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func packed(t *testing.T, zst bool, text string) []byte {
	t.Helper()
	var b bytes.Buffer
	if zst {
		w, err := zstd.NewWriter(&b)
		if err != nil {
			t.Fatal(err)
		}
		w.Write([]byte(text))
		w.Close()
		return b.Bytes()
	}
	w := gzip.NewWriter(&b)
	w.Write([]byte(text))
	w.Close()
	return b.Bytes()
}

func workbook(t *testing.T) []byte {
	t.Helper()
	book := excelize.NewFile()
	defer book.Close()
	for i, row := range [][]any{{"Call no", "Größe", "Started"}, {"A-00001", 1.5, "03.04.2026"}, {"A-00002", 2.5, "14.04.2026"}} {
		if err := book.SetSheetRow("Sheet1", fmt.Sprintf("A%d", i+1), &row); err != nil {
			t.Fatal(err)
		}
	}
	var b bytes.Buffer
	if err := book.Write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The same small table in every form gives the same columns.
func TestFormIsProposedFromTheBytes(t *testing.T) {
	records := `{"Call no":"A-00001","Größe":1.5,"Started":"03.04.2026"}` + "\n" + `{"Call no":"A-00002","Größe":2.5,"Started":"14.04.2026"}`
	list := strings.ReplaceAll(records, "\n", ",\n")
	for _, c := range []struct {
		name string
		data []byte
		want inspect.Proposal
	}{
		{"semicolons", []byte(table), inspect.Proposal{Kind: "csv", Delimiter: ";", Encoding: "utf-8", Decimal: ","}},
		{"tabs", []byte(strings.ReplaceAll(table, ";", "\t")), inspect.Proposal{Kind: "tsv", Encoding: "utf-8", Decimal: ","}},
		{"bars", []byte(strings.ReplaceAll(table, ";", "|")), inspect.Proposal{Kind: "csv", Delimiter: "|", Encoding: "utf-8", Decimal: ","}},
		{"commas", []byte(strings.NewReplacer(",", ".", ";", ",").Replace(table)), inspect.Proposal{Kind: "csv", Delimiter: ",", Encoding: "utf-8", Decimal: "."}},
		{"title rows", []byte("Export of April\n\n" + table), inspect.Proposal{Kind: "csv", Delimiter: ";", Encoding: "utf-8", Decimal: ",", SkipRows: 1}},
		{"one byte a character", encode(t, charmap.Windows1252.NewEncoder().Bytes, table), inspect.Proposal{Kind: "csv", Delimiter: ";", Encoding: "windows-1252", Decimal: ","}},
		{"two bytes a character", encode(t, unicode.UTF16(unicode.LittleEndian, unicode.IgnoreBOM).NewEncoder().Bytes, table), inspect.Proposal{Kind: "csv", Delimiter: ";", Encoding: "utf-16", Decimal: ","}},
		{"gzip", packed(t, false, table), inspect.Proposal{Kind: "csv", Packed: "gzip", Delimiter: ";", Encoding: "utf-8", Decimal: ","}},
		{"zstd", packed(t, true, table), inspect.Proposal{Kind: "csv", Packed: "zstd", Delimiter: ";", Encoding: "utf-8", Decimal: ","}},
		{"lines of JSON", []byte(records), inspect.Proposal{Kind: "ndjson", Encoding: "utf-8"}},
		{"list in JSON", []byte("[" + list + "]"), inspect.Proposal{Kind: "json", Encoding: "utf-8"}},
		{"list within JSON", []byte(`{"made":"2026-05-01","data":{"rows":[` + list + `]}}`), inspect.Proposal{Kind: "json", Encoding: "utf-8", Records: "data.rows"}},
		{"workbook", workbook(t), inspect.Proposal{Kind: "xlsx"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rep, err := inspect.File(context.Background(), file(t, "x", c.data))
			if err != nil {
				t.Fatal(err)
			}
			got := rep.Proposal
			got.Reasons = nil
			if fmt.Sprint(got) != fmt.Sprint(c.want) {
				t.Errorf("proposal %+v, want %+v", got, c.want)
			}
			if rep.Rows != 2 || len(rep.Columns) != 3 {
				t.Fatalf("%d rows, %d columns; want 2 and 3", rep.Rows, len(rep.Columns))
			}
			if c := column(t, rep, "Größe"); c.Kind != inspect.Decimal || *c.Low != 1.5 || *c.High != 2.5 {
				t.Errorf("Größe: %+v; want decimals from 1.5 to 2.5", c)
			}
			if c := column(t, rep, "Started"); !slices.Equal(layouts(c), []string{"02.01.2006"}) {
				t.Errorf("Started: layouts %q, want 02.01.2006", layouts(c))
			}
		})
	}
}

// Bytes behind the sample can still show that the text is no UTF-8.
func TestEncodingIsCorrectedBehindTheSample(t *testing.T) {
	text := "a;b\n" + strings.Repeat("plain words;1\n", 120_000)
	data := append([]byte(text), encode(t, charmap.Windows1252.NewEncoder().Bytes, "Größe;2\n")...)
	rep, err := inspect.File(context.Background(), file(t, "x.csv", data))
	if err != nil {
		t.Fatal(err)
	}
	if rep.Proposal.Encoding != "windows-1252" || column(t, rep, "a").Values[1].Word != "Größe" {
		t.Errorf("encoding %s; want windows-1252", rep.Proposal.Encoding)
	}
}

func TestFilesThatAreNoTable(t *testing.T) {
	for name, data := range map[string]string{"empty": "", "blank": "\n \n", "web page": "<!doctype html><p>sign in</p>", "broken workbook": "PK\x03\x04nothing"} {
		_, err := inspect.File(context.Background(), file(t, "x.csv", []byte(data)))
		var p *tabular.Problem
		if !errors.As(err, &p) {
			t.Errorf("%s: %v; want a *tabular.Problem", name, err)
		}
	}
	if _, err := inspect.File(context.Background(), filepath.Join(t.TempDir(), "none.csv")); err == nil {
		t.Error("missing file: no error")
	}
	if _, err := inspect.File(context.Background(), t.TempDir()); err == nil {
		t.Error("folder: no error")
	}
}

// Values are counted exactly up to the cap and estimated above it; what is
// kept does not grow.
func TestManyValues(t *testing.T) {
	for _, n := range []int{inspect.MaxDistinct, inspect.MaxDistinct + 1, 50_000} {
		var b strings.Builder
		b.WriteString("k;n\n")
		for i := range 2 * n {
			fmt.Fprintf(&b, "w%dx;1\n", i%n)
		}
		c := column(t, look(t, "x.csv", b.String()), "k")
		if c.Estimated != (n > inspect.MaxDistinct) || float64(c.Distinct) < 0.9*float64(n) || float64(c.Distinct) > 1.1*float64(n) || !c.Estimated && c.Distinct != int64(n) {
			t.Errorf("%d values: counted %d, estimated %v", n, c.Distinct, c.Estimated)
		}
	}
}

func TestBrokenRowsAreCounted(t *testing.T) {
	rep := look(t, "x.csv", "a;b;c\n1;2;3\n1;2\n4;5;6;7;8\n7;8;9\n")
	if rep.Rows != 2 || rep.Broken != 2 || len(rep.BrokenAt) != 2 || !strings.HasPrefix(rep.BrokenAt[0], "row 3:") {
		t.Errorf("%d rows, %d broken: %q; want 2 and 2, the first in row 3", rep.Rows, rep.Broken, rep.BrokenAt)
	}
}
