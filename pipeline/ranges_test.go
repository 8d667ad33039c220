package pipeline_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/pipeline"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// handLine is a line with two hand-written descriptions: calls (no, at, animal)
// and heart rates (call, beats), the latter in a wide export.
type handLine struct {
	t   *testing.T
	dir string
	opt pipeline.LoadOptions
}

func newHandLine(t *testing.T) *handLine {
	dir := t.TempDir()
	h := &handLine{t: t, dir: dir, opt: pipeline.LoadOptions{Store: filepath.Join(dir, "store"), Key: testKey(t, 7), Sources: []string{filepath.Join(dir, "sources")}, Threads: 2, Software: "test"}}
	h.write("sources/calls.yaml", `source: hand-calls
record: calls
file: {kind: csv, match: "calls*.csv"}
exported_at: {file_name: '_(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: UTC
columns:
  call: {from: no, key: call}
  contact: {from: no, key: contact}
  contact_type: {value: clinical}
  started_at: {from: at, layout: "2006-01-02 15:04"}
  species: {from: animal, values: {dog: dog, cat: cat, rabbit: rabbit, ferret: ferret}}
`)
	h.write("sources/checks.yaml", `source: hand-checks
record: checks
file: {kind: csv, match: "checks*.csv"}
exported_at: {file_name: '_(\d{4}-\d{2}-\d{2})', layout: "2006-01-02"}
zone: UTC
columns:
  call: {from: call, key: call}
wide:
  beats: {finding: heart_rate, unit: /min, blank: skip}
  gums: {finding: gum_colour, blank: skip}
`)
	return h
}

func (h *handLine) write(name, text string) string {
	h.t.Helper()
	path := filepath.Join(h.dir, name)
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		h.t.Fatal(err)
	}
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		h.t.Fatal(err)
	}
	return path
}

// load writes exports (name, text) and loads them.
func (h *handLine) load(exports ...string) *pipeline.Summary {
	h.t.Helper()
	h.opt.Exports = nil
	for i := 0; i < len(exports); i += 2 {
		h.opt.Exports = append(h.opt.Exports, h.write(filepath.Join("exports", exports[i]), exports[i+1]))
	}
	return load(h.t, h.opt)
}

// A heart rate of 330 is possible in a cat and not in a dog: a reading is held
// to the limits of the animal that the call names, and those outside the usual
// range are counted and kept.
func TestReadingsAreHeldToTheSpecies(t *testing.T) {
	h := newHandLine(t)
	calls := "no,at,animal\n1,2026-05-01 10:00,dog\n2,2026-05-01 10:10,cat\n3,2026-05-01 10:20,ferret\n4,2026-05-01 10:30,rabbit\n5,2026-05-01 10:40,dog\n6,2026-05-01 10:50,dog\n"
	sum := h.load("calls_2026-05-02.csv", calls, "checks_2026-05-02.csv", `call,beats,gums
1,330,pink
2,330,pink
3,480,
4,50,pink
5,45,white
6,100,
`)
	want := []store.Unusual{{Finding: "heart_rate", Species: "cat", Readings: 1, Above: 1}, {Finding: "heart_rate", Species: "dog", Readings: 2, Below: 1}}
	if d := cmp.Diff(want, sum.Unusual); d != "" {
		t.Errorf("outside the usual range (-want +got):\n%s", d)
	}
	if sum.Aside["out_of_range"] != 2 || byRecord(sum, "checks") != (store.Sums{Rows: 10, New: 8, SetAside: 2}) {
		t.Errorf("account %+v, %v; want the dog of 330 and the rabbit of 50 set aside, and their gums kept", byRecord(sum, "checks"), sum.Aside)
	}
	rows, _, err := pipeline.ReadSetAside(t.Context(), h.opt.Store, resolve.AsideFilter{}, 0)
	if err != nil || len(rows) != 2 {
		t.Fatal(rows, err)
	}
	got := rows[0]
	if got.Row != 2 || got.Column != "beats" || got.Found != "a number" || got.Expected != "heart_rate of a dog from 20.0 to 300.0 /min" {
		t.Errorf("set aside: %+v", got)
	}

	// A later export holds a reading of a call that the store has.
	sum = h.load("checks_2026-05-03.csv", "call,beats,gums\n2,400,blue\n")
	if byRecord(sum, "checks") != (store.Sums{Rows: 2, Superseding: 1, SetAside: 1}) || len(sum.Unusual) > 0 {
		t.Errorf("a later reading: %+v, %v", byRecord(sum, "checks"), sum.Unusual)
	}
	// The animal was mistaken: once the call says cat, the reading may enter.
	h.load("calls_2026-05-04.csv", "no,at,animal\n1,2026-05-01 10:00,cat\n")
	h.opt.Exports = []string{filepath.Join(h.dir, "exports")}
	sum = retry(t, h.opt, resolve.AsideFilter{})
	if sum.Sums != (store.Sums{Rows: 3, New: 1, SetAside: 2}) || sum.Retry.Mended != 1 ||
		cmp.Diff([]store.Unusual{{Finding: "heart_rate", Species: "cat", Readings: 1, Above: 1}}, sum.Unusual) != "" {
		t.Errorf("a retry: %+v, %+v, %v", sum.Sums, sum.Retry, sum.Unusual)
	}
	if st, err := pipeline.ReadStatus(t.Context(), h.opt.Store); err != nil || cmp.Diff([]store.Unusual{{Finding: "heart_rate", Species: "cat", Readings: 2, Above: 2},
		{Finding: "heart_rate", Species: "dog", Readings: 2, Below: 1}}, st.Unusual) != "" {
		t.Errorf("status: %+v, %v", st.Unusual, err)
	}
}

// The same call in two separate exports of one load is one call: the later
// export wins, of two of one time the later file, and every row is accounted for.
func TestACallInTwoFilesOfOneLoad(t *testing.T) {
	h := newHandLine(t)
	sum := h.load(
		"calls-a_2026-05-03.csv", "no,at,animal\n1,2026-05-01 10:00,cat\n2,2026-05-01 11:00,cat\n",
		"calls-b_2026-05-02.csv", "no,at,animal\n1,2026-05-01 10:00,dog\n3,2026-05-01 12:00,rabbit\n",
		"calls-c_2026-05-03.csv", "no,at,animal\n2,2026-05-01 11:00,dog\n",
		"checks-a_2026-05-03.csv", "call,beats,gums\n1,150,pink\n2,150,pink\n",
		"checks-b_2026-05-02.csv", "call,beats,gums\n1,90,white\n3,200,\n")
	if want := (store.Sums{Rows: 5, New: 3, Within: 2}); byRecord(sum, "calls") != want {
		t.Errorf("calls %+v; want %+v", byRecord(sum, "calls"), want)
	}
	if want := (store.Sums{Rows: 7, New: 5, Within: 2}); byRecord(sum, "checks") != want {
		t.Errorf("checks %+v; want %+v: a later export of a call brings all its checks", byRecord(sum, "checks"), want)
	}
	for query, want := range map[string]int64{
		"SELECT count(*) FROM calls WHERE species = 'cat' AND hour(started_at) = 10": 1,
		"SELECT count(*) FROM calls WHERE species = 'dog' AND hour(started_at) = 11": 1,
		"SELECT count(*) FROM calls": 3,
		"SELECT count(*) FROM checks WHERE value_number = 90 OR value_code = 'white'": 0,
		"SELECT sum(value_number)::BIGINT FROM checks":                                500,
	} {
		if n := countIn(t, h.opt.Store, query); n != want {
			t.Errorf("%s: %d, want %d", query, n, want)
		}
	}
}
