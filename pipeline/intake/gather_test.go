package intake

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/intake/benchdata"
	"hindcheck/pipeline/source"
)

// stagedChecks reads invented checks with two workers and returns the parts, the
// runs call by call, all rows, and the order of the calls.
func stagedChecks(t *testing.T, calls int) (parts []Staged, runs []Run, rows []tuple, order map[string]int) {
	t.Helper()
	order = map[string]int{}
	_, path, err := benchdata.Write(t.TempDir(), calls)
	if err != nil {
		t.Fatal(err)
	}
	desc, err := source.Parse("bench.yaml", benchdata.ChecksYAML, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	r, err := Read(context.Background(), Input{Path: path, Desc: desc, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), FileNo: 3, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range r.Parts {
		parts = append(parts, Staged{p, 3, r.PartNos[i]})
	}
	number := func(s string) int64 {
		n, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	told := readParts(t, r.Runs, "first")
	// About the order of the parts: calls by where their first run stands.
	stands := map[string]int64{}
	for _, u := range slices.Backward(told) {
		stands[u["call"]] = number(u["first"])
	}
	slices.SortStableFunc(told, func(a, b tuple) int {
		return cmp.Or(cmp.Compare(stands[a["call"]], stands[b["call"]]), cmp.Compare(a["call"], b["call"]))
	})
	for i, u := range told {
		if i == 0 || u["call"] != told[i-1]["call"] {
			order[u["call"]] = len(order)
		}
		runs = append(runs, Run{File: 3, Part: int32(number(u["part"])), First: number(u["first"]), Rows: int32(number(u["n"])), Vet: u["vet"] == "true"})
	}
	return parts, runs, readParts(t, r.Parts, "src_row"), order
}

// handed gives runs a few at a time.
func handed(runs []Run) func() ([]Run, error) {
	return func() (batch []Run, err error) {
		n := min(len(runs), 100)
		batch, runs = slices.Clone(runs[:n]), runs[n:]
		return batch, nil
	}
}

// lastOfKeys sorts checks by their key and keeps the last row of each.
func lastOfKeys(rows []tuple, order map[string]int) []tuple {
	slices.SortStableFunc(rows, func(a, b tuple) int { // stable: they stand in order of src_row
		x, _ := strconv.Atoi(a["seq"])
		y, _ := strconv.Atoi(b["seq"])
		return cmp.Or(cmp.Compare(order[a["call"]], order[b["call"]]), cmp.Compare(x, y), cmp.Compare(a["finding"], b["finding"]))
	})
	var out []tuple
	for i, r := range rows {
		if i+1 == len(rows) || r["call"] != rows[i+1]["call"] || r["seq"] != rows[i+1]["seq"] || r["finding"] != rows[i+1]["finding"] {
			out = append(out, r)
		}
	}
	return out
}

// Rows are copied in the order asked for, over several row groups that are
// packed while more is gathered, and from more row groups than fit into memory.
func TestWriteChecksCopiesRows(t *testing.T) {
	parts, runs, rows, order := stagedChecks(t, 12_000)
	all := len(rows)
	rows = lastOfKeys(rows, order)
	for i := range rows {
		delete(rows[i], "src_file")
		delete(rows[i], "src_row")
		rows[i]["episode_month"], rows[i]["load_no"] = "202611", "4"
	}
	w := NewWriter("checks", parts)
	w.group, w.most = 7_001, 36_000
	path := filepath.Join(t.TempDir(), "x.parquet")
	booked, err := w.WriteChecks(path, Checks{Month: 202611, LoadNo: 4, Next: handed(runs)})
	if err = errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	if want := (Entered{int64(len(rows)), int64(all - len(rows))}); booked[3] != want || want.New < 3*7_001 || want.Within == 0 {
		t.Errorf("booked %+v; want %+v, several row groups and some rows of one key", booked, want)
	}
	if d := gocmp.Diff(rows, readParts(t, []string{path}, "")); d != "" {
		t.Errorf("rows (-want +got):\n%.2000s", d)
	}
}

// Of rows of one key the last enters, of two exports of a call the later one,
// and the others are booked as within the load.
func TestWriteChecksTakesTheLast(t *testing.T) {
	parts, runs, rows, order := stagedChecks(t, 10)
	n := int64(len(lastOfKeys(rows, order)))
	again := slices.Concat(runs, runs) // every run twice: each key stands in two rows
	slices.SortStableFunc(again, func(a, b Run) int { return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.First, b.First)) })
	w := NewWriter("checks", parts)
	defer w.Close()
	booked, err := w.WriteChecks(filepath.Join(t.TempDir(), "x.parquet"), Checks{Next: handed(again)})
	if err != nil || booked[3] != (Entered{n, 80 - n}) {
		t.Errorf("booked %+v, %v; want %d rows new, the rest of 80 within", booked, err, n)
	}
	both := slices.Clone(parts)
	again = slices.Clone(runs)
	for _, p := range parts {
		both = append(both, Staged{p.Path, 2, p.Part})
	}
	for _, r := range runs {
		r.File = 2
		again = append(again, r)
	}
	slices.SortStableFunc(again, func(a, b Run) int { return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.First, b.First)) })
	w = NewWriter("checks", both)
	defer w.Close()
	booked, err = w.WriteChecks(filepath.Join(t.TempDir(), "x.parquet"), Checks{Next: handed(again)})
	if err != nil || booked[3] != (Entered{n, 40 - n}) || booked[2] != (Entered{0, 40}) {
		t.Errorf("booked %+v, %v; want %d rows of the later file and none of the earlier", booked, err, n)
	}
}

// Rows in no order of the parts, of more row groups than fit into memory, give the bytes
// that they give when all fit.
func TestWriteChecksTakesScatteredRowsInSpans(t *testing.T) {
	parts, runs, _, _ := stagedChecks(t, 30_000)
	write := func(most int) (string, map[int32]Entered, *Writer) {
		w := NewWriter("checks", parts)
		w.group, w.most, w.Threads = 7_001, most, 2
		path := filepath.Join(t.TempDir(), "x.parquet")
		booked, err := w.WriteChecks(path, Checks{Month: 202611, LoadNo: 4, Next: handed(runs)})
		if err = errors.Join(err, w.Close()); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		return string(data), booked, w
	}
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(runs), func(i, j int) { runs[i], runs[j] = runs[j], runs[i] })
	want, account, easy := write(200_000)
	got, booked, apart := write(40_000) // of 120,000 rows
	if easy.span != nil || apart.span == nil {
		t.Errorf("taken in spans: with memory for all %v, for a third %v", easy.span != nil, apart.span != nil)
	}
	if got != want || booked[3] != account[3] {
		t.Errorf("%d bytes and %+v in spans; want %d equal ones and %+v", len(got), booked, len(want), account)
	}
}

// Refused readings stay out, those beside them enter in the order that they would
// have without, and a call without any is not looked through.
func TestWriteChecksPassesOverRefusedReadings(t *testing.T) {
	parts, runs, rows, order := stagedChecks(t, 300)
	var list []Reading
	var want []tuple
	for i, r := range rows {
		row, err := strconv.ParseInt(r["src_row"], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		if i%97 != 5 {
			want = append(want, r)
			continue
		}
		seq, _ := strconv.Atoi(r["seq"])
		list = append(list, Reading{3, row, r["finding"], int16(seq)}, Reading{3, row, "another finding", int16(seq)}, Reading{9, row, r["finding"], int16(seq)})
	}
	want = lastOfKeys(want, order)
	for _, r := range want {
		delete(r, "src_file")
		delete(r, "src_row")
		r["episode_month"], r["load_no"] = "0", "0"
	}
	w := NewWriter("checks", parts)
	path := filepath.Join(t.TempDir(), "x.parquet")
	_, err := w.WriteChecks(path, Checks{Next: handed(runs), Refused: NewRefused(list)})
	if err = errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	if d := gocmp.Diff(want, readParts(t, []string{path}, "")); d != "" || len(list) < 9 {
		t.Errorf("%d refused; rows (-want +got):\n%.2000s", len(list), d)
	}
	r := NewRefused([]Reading{{1, 7, "a", 1}, {1, 3, "a", 1}, {2, 5, "a", 1}})
	for _, c := range []struct {
		file        int32
		first, last int64
		want        bool
	}{{1, 1, 2, false}, {1, 1, 3, true}, {1, 4, 6, false}, {1, 7, 9, true}, {1, 8, 9, false}, {2, 3, 4, false}, {3, 1, 9, false}} {
		if got := r.among(c.file, c.first, c.last); got != c.want {
			t.Errorf("rows %d to %d of export %d: %v; want %v", c.first, c.last, c.file, got, c.want)
		}
	}
}

// Calls that are their own episode and the others stand in row groups of their own, over
// several of each, with the words and values that were staged, and each kind in the
// order asked for: that of the parts, and one in which they stand far apart.
func TestWriteCallsOfTwoKinds(t *testing.T) {
	t.Run("in order", func(t *testing.T) { writeCallsOfTwoKinds(t, 12_000, false) })
	t.Run("scattered", func(t *testing.T) { writeCallsOfTwoKinds(t, 27_000, true) }) // of two row groups
}

func writeCallsOfTwoKinds(t *testing.T, calls int, scattered bool) {
	t.Helper()
	path, _, err := benchdata.Write(t.TempDir(), calls)
	if err != nil {
		t.Fatal(err)
	}
	desc, err := source.Parse("bench.yaml", benchdata.CallsYAML, findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	r, err := Read(context.Background(), Input{Path: path, Desc: desc, Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), FileNo: 3, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	var parts []Staged
	for i, p := range r.Parts {
		parts = append(parts, Staged{p, 3, r.PartNos[i]})
	}
	staged := readParts(t, r.Parts, "src_row")
	if scattered {
		rand.New(rand.NewPCG(1, 2)).Shuffle(len(staged), func(i, j int) { staged[i], staged[j] = staged[j], staged[i] })
	}
	in := Calls{Month: 202611, LoadNo: 4, Kinds: []string{"first", "re_contact"}}
	var rows []Call
	var kinds [2][]tuple
	for i, row := range staged {
		at, err := strconv.ParseInt(row["src_row"], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		c := Call{File: 3, Row: at, Kind: int32(i%3) - 1, Episode: OwnEpisode}
		row["contact_kind_given"], row["contact_kind"], row["episode"] = row["contact_kind"], [...]string{"", "first", "re_contact"}[i%3], row["call"]
		switch i * 7919 % 10 { // three in ten
		case 0, 1:
			c.Episode, row["episode"] = NoEpisode, ""
		case 2:
			c.Episode = int32(i % 2)
			row["episode"] = fmt.Sprintf("0%d000000000000000000000000000000", 7+i%2)
		}
		row["episode_month"], row["load_no"] = "202611", "4"
		delete(row, "src_file")
		delete(row, "src_row")
		for k, v := range row {
			if v == "" {
				delete(row, k)
			}
		}
		rows = append(rows, c)
		kinds[c.stretch()] = append(kinds[c.stretch()], row)
	}
	in.Next = func() (batch CallBatch, err error) {
		k := min(len(rows), 700)
		batch, rows = CallBatch{rows[:k:k], [][16]byte{{7}, {8}}}, rows[k:]
		return batch, nil
	}
	w := NewWriter("calls", parts)
	w.group, w.most = 501, 9_000
	to := filepath.Join(t.TempDir(), "x.parquet")
	n, err := w.WriteCalls(to, in)
	if (w.span != nil) != scattered {
		t.Errorf("taken in spans: %v", w.span != nil)
	}
	if err = errors.Join(err, w.Close()); err != nil || n != int64(len(staged)) || len(kinds[1]) < 3*w.group {
		t.Fatalf("%d rows, %v; want %d, of which %d are of the second kind", n, err, len(staged), len(kinds[1]))
	}
	var got [2][]tuple
	for i, row := range readParts(t, []string{to}, "") {
		kind := 0
		if row["episode"] != row["call"] {
			kind = 1
		}
		got[kind] = append(got[kind], row)
		if i < w.group && kind != 0 {
			t.Fatalf("row %d of the first row group has an episode of another call", i)
		}
	}
	if d := gocmp.Diff(kinds, got); d != "" {
		t.Errorf("rows (-want +got):\n%.2000s", d)
	}
}
