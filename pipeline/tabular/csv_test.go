package tabular

import (
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// readAll reads a file with the fast reader, with several goroutines.
func readAll(t testing.TB, path string, f Format, workers int) (header []string, rows []refRow, notes map[string]int64, err error) {
	t.Helper()
	r, err := Open(path, f)
	if err != nil {
		return nil, nil, nil, err
	}
	defer func() {
		if cerr := r.Close(); cerr != nil {
			t.Error(cerr)
		}
	}()
	n := len(r.Header())
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	r.Select(all)
	var mu sync.Mutex
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			var b Batch
			for {
				e := r.Next(&b)
				if e != nil {
					if e != io.EOF {
						mu.Lock()
						err = e
						mu.Unlock()
					}
					return
				}
				got := collect(&b, n)
				mu.Lock()
				rows = append(rows, got...)
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	slices.SortFunc(rows, func(a, b refRow) int { return int(a.row - b.row) })
	return r.Header(), rows, r.Notes(), err
}

func collect(b *Batch, n int) (rows []refRow) {
	for _, br := range b.Broken {
		rows = append(rows, refRow{br.Row, nil, true})
	}
	for i, no := range b.Rows {
		row := refRow{row: no}
		for c := range n {
			row.cells = append(row.cells, string(b.Cell(b.Column(c)[i])))
		}
		rows = append(rows, row)
	}
	return rows
}

func write(t testing.TB, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.csv")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// agree reads text both ways and compares header, rows and row numbers.
func agree(t testing.TB, text string, f Format, workers int) []refRow {
	t.Helper()
	ref, ok := referenceRead(text, f)
	header, rows, _, err := readAll(t, write(t, text), f, workers)
	if !ok {
		var p *Problem
		if !errors.As(err, &p) {
			t.Fatalf("no header in %q, got %q, %v", text, header, err)
		}
		return nil
	}
	if err != nil {
		t.Fatalf("%q: %v", text, err)
	}
	opt := cmp.AllowUnexported(refRow{})
	if len(ref.rows)+len(rows) > 0 {
		// Cells of columns without a name may be missing from a row.
		named := 0
		for i, h := range ref.header {
			if h != "" {
				named = i + 1
			}
		}
		for _, list := range [][]refRow{ref.rows, rows} {
			for i := range list {
				list[i].cells = list[i].cells[:min(len(list[i].cells), named)]
			}
		}
		if d := cmp.Diff(ref.rows, rows, opt); d != "" {
			t.Fatalf("%q: plain reader and fast reader differ (-plain +fast):\n%s", clipText(text), d)
		}
	}
	if d := cmp.Diff(ref.header, header); d != "" {
		t.Fatalf("%q: header differs (-plain +fast):\n%s", clipText(text), d)
	}
	return rows
}

func clipText(s string) string {
	if len(s) > 400 {
		return s[:400] + "..."
	}
	return s
}

// nasty are files whose rows are counted by hand: good rows and broken rows.
var nasty = []struct {
	name, text   string
	f            Format
	good, broken int
}{
	{"plain", "a,b\n1,2\n3,4\n", Format{}, 2, 0},
	{"no final newline", "a,b\n1,2\n3,4", Format{}, 2, 0},
	{"cut-off last row", "a,b,c\n1,2,3\n4,5", Format{}, 1, 1},
	{"CR only", "a,b\r1,2\r3,4\r", Format{}, 2, 0},
	{"CRLF", "a,b\r\n1,2\r\n3,4\r\n", Format{}, 2, 0},
	{"mixed line ends", "a,b\r\n1,2\n3,4\r5,6\r\n7,8", Format{}, 4, 0},
	{"header only", "a,b\n", Format{}, 0, 0},
	{"header only, no newline", "a,b", Format{}, 0, 0},
	{"empty", "", Format{}, 0, 0},
	{"blank lines", "a,b\n\n1,2\n,\n  , \n3,4\n\n", Format{}, 2, 0},
	{"quotes in quotes", "a,b\n\"say \"\"ah\"\"\",2\n", Format{}, 1, 0},
	{"newline in quotes", "a,b\n\"line\nline\r\nline\",2\n3,4\n", Format{}, 2, 0},
	{"delimiter in quotes", "a,b\n\"1,2\",3\n", Format{}, 1, 0},
	{"stray quote opens, next quote is text", "a,b\n\"x,2\n3,4\n5,\"six\"\n", Format{}, 2, 1},
	{"stray quote opens, never closed", "a,b\n\"x,2\n3,4\n5,6\n", Format{}, 2, 1},
	{"inch sign", "a,b\n5\",2\n3\" long,4\n", Format{}, 2, 0},
	{"stray quote closed by an inch sign two rows on", "a,b\n\"x,2\n3,4\n5\"\n7,8\n", Format{}, 2, 2},
	{"stray quotes that happen to make a sound row: nobody can tell", "a,b\n\"x,2\n3,4\n5\",6\n7,8\n", Format{}, 2, 0},
	{"text behind closing quote", "a,b\n\"x\" y,2\n3,4\n", Format{}, 1, 1},
	{"too few cells", "a,b,c\n1,2\n3,4,5\n", Format{}, 1, 1},
	{"too many cells", "a,b\n1,2,3\n3,4\n", Format{}, 1, 1},
	{"trailing empty cells", "a,b\n1,2,,\n3,4, \n", Format{}, 2, 0},
	{"trailing empty columns", "a,b,,\n1,2,,\n3,4\n", Format{}, 2, 0},
	{"header repeated", "a,b\n1,2\na,b\n3,4\n", Format{}, 2, 0},
	{"NUL bytes", "a,b\n1,2\n3\x00,4\n5,6\n", Format{}, 2, 1},
	{"NUL padding at the end", "a,b\n1,2\n\x00\x00\x00\x00", Format{}, 1, 1},
	{"title rows", "Report\n\na,b\n1,2\n", Format{SkipRows: 2}, 1, 0},
	{"tabs", "a\tb\n1\t2\n", Format{Delimiter: '\t'}, 1, 0},
	{"semicolon and single quote", "a;b\n'1;2';3\n", Format{Delimiter: ';', Quote: '\''}, 1, 0},
	{"no quoting", "a,b\n\"1,2\n", Format{NoQuote: true}, 1, 0},
	{"quote at the end of the file", "a,b\n1,\"", Format{}, 0, 1},
	{"one column", "a\n1\n\n2\n", Format{}, 2, 0},
	{"delimiters only, short", "a,b,c\n,\n1,2,3\n", Format{}, 1, 0},
	{"quoted blanks", "a,b\n\"\",\"\"\n1,2\n", Format{}, 1, 0},
	{"huge cell", "a,b\n" + strings.Repeat("x", MaxCell+1) + ",2\n3,4\n", Format{}, 1, 1},
	{"cell of the largest size", "a,b\n" + strings.Repeat("x", MaxCell) + ",2\n3,4\n", Format{}, 2, 0},
	{"huge quoted cell", "a,b\n\"" + strings.Repeat("x", MaxCell+10) + "\",2\n3,4\n", Format{}, 1, 1},
}

func TestNastyFiles(t *testing.T) {
	for _, c := range nasty {
		t.Run(c.name, func(t *testing.T) {
			good, broken := 0, 0
			small := c.f
			small.chunk = 7
			agree(t, c.text, small, 2)
			for _, r := range agree(t, c.text, c.f, 1) {
				if r.broken {
					broken++
				} else {
					good++
				}
			}
			if good != c.good || broken != c.broken {
				t.Errorf("%d good and %d broken rows, want %d and %d", good, broken, c.good, c.broken)
			}
		})
	}
}

// Row numbers are those a spreadsheet shows: title, header and blank rows
// count, a record over several lines is one.
func TestRowNumbers(t *testing.T) {
	text := "title\na,b\n\n1,\"x\ny\"\na,b\n2,2\n\"bad,3\n4,4"
	_, rows, notes, err := readAll(t, write(t, text), Format{SkipRows: 1}, 1)
	if err != nil {
		t.Fatal(err)
	}
	want := []refRow{{4, []string{"1", "x\ny"}, false}, {6, []string{"2", "2"}, false}, {7, nil, true}, {8, []string{"4", "4"}, false}}
	if d := cmp.Diff(want, rows, cmp.AllowUnexported(refRow{})); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(map[string]int64{"blank_rows": 1, "repeated_headers": 1, "no_final_newline": 1, "title_rows": 1}, notes); d != "" {
		t.Error(d)
	}
}

// A column may be selected twice, and cells with doubled quotes are put right once.
func TestSelectTwice(t *testing.T) {
	r, err := Open(write(t, "a,b,c\n1,\"x \"\"y\"\" \"\"\"\"\",3\n"), Format{})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.Select([]int{1, 0, 1})
	var b Batch
	if err := r.Next(&b); err != nil {
		t.Fatal(err)
	}
	got := []string{}
	for i := range 3 {
		got = append(got, string(b.Cell(b.Column(i)[0])))
	}
	if d := cmp.Diff([]string{`x "y" ""`, "1", `x "y" ""`}, got); d != "" {
		t.Error(d)
	}
}

// Files larger than a chunk are cut at record ends only, whatever stands
// there, and several workers give the same rows as one.
func TestChunks(t *testing.T) {
	for seed := range uint64(4) {
		r := rand.New(rand.NewPCG(seed, 1))
		var b strings.Builder
		b.WriteString("a,b,c\n")
		ends := []string{"\n", "\r\n", "\r"}
		for i := 0; b.Len() < 3*chunkSize; i++ {
			switch n := r.IntN(1000); {
			case n < 5 && seed > 0:
				fmt.Fprintf(&b, "%d,\"stray,3%s", i, ends[r.IntN(3)])
			case n < 10 && seed > 0:
				fmt.Fprintf(&b, "%d,\"%s\",3%s", i, strings.Repeat("long\n", r.IntN(9000)), ends[r.IntN(3)])
			case n < 15 && seed > 1:
				fmt.Fprintf(&b, "%d,5\" x,\"y\"\"\"%s", i, ends[r.IntN(3)])
			case n < 20:
				fmt.Fprintf(&b, "%d%s", i, ends[r.IntN(3)])
			case n < 25 && seed == 3:
				b.WriteString("\x00\x00,\"" + ends[r.IntN(3)])
			default:
				fmt.Fprintf(&b, "%d,%s,%d%s", i, strings.Repeat("w", r.IntN(30)), r.IntN(9), ends[r.IntN(2+int(seed&1))])
			}
		}
		agree(t, b.String(), Format{}, 3)
	}
}

// What is wrong with a record does not rest on where a chunk ends: whether a quote is
// closed, and how, may stand in the next.
func TestFlawsWhateverTheChunk(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1))
	var b strings.Builder
	b.WriteString("a,b,c\n")
	for i := range 600 {
		fmt.Fprintf(&b, "%d,%s,%d\n", i, []string{"x", "\"stray", "\"sound\"", "y"}[r.IntN(4)], i)
	}
	path := write(t, b.String())
	want := flaws(t, path, 0)
	if len(want) < 100 {
		t.Fatalf("%d broken records", len(want))
	}
	for _, size := range []int{20, 100, 333, 1000} {
		if d := cmp.Diff(want, flaws(t, path, size)); d != "" {
			t.Errorf("chunks of %d bytes (-whole +chunks):\n%s", size, d)
		}
	}
}

// flaws lists the broken records of a file that is read in chunks of a size.
func flaws(t *testing.T, path string, size int) (list []Broken) {
	t.Helper()
	r, err := Open(path, Format{chunk: size})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = r.Close() }()
	r.Select([]int{0, 1, 2})
	var b Batch
	for {
		if err := r.Next(&b); err == io.EOF {
			return list
		} else if err != nil {
			t.Fatal(err)
		}
		list = append(list, b.Broken...)
	}
}

func FuzzCSV(f *testing.F) {
	for _, c := range nasty {
		if len(c.text) < 1000 {
			f.Add(c.text, byte(c.f.SkipRows))
		}
	}
	f.Fuzz(func(t *testing.T, text string, skip byte) {
		if strings.HasPrefix(text, "\xef\xbb\xbf") || strings.HasPrefix(text, "\xff\xfe") || strings.HasPrefix(text, "\xfe\xff") {
			return
		}
		if _, err := Open(write(t, text), Format{}); err != nil && !strings.Contains(err.Error(), "column names") {
			return // a file of another kind
		}
		agree(t, text, Format{SkipRows: int(skip % 4), chunk: 1 + int(skip)}, 1)
		agree(t, text, Format{Delimiter: ';', Quote: '\'', chunk: 20}, 2)
	})
}
