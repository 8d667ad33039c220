package intake

import (
	"fmt"
	"maps"
	"strings"
	"testing"
)

// A cell is known again only by all of its bytes, wherever it stands, and cells that
// are blank or long are never remembered.
func TestRecall(t *testing.T) {
	var cells []string
	for n := 1; n <= maxSpelling; n++ {
		base := strings.Repeat("1", n)
		cells = append(cells, base)
		for at := range n { // one byte differs, at each place in turn
			cells = append(cells, base[:at]+"2"+base[at+1:])
		}
	}
	for _, cell := range cells {
		var r recall // nothing known but this one
		slot, key, known := r.look([]byte("ab"+cell), 2, len(cell))
		if known || slot == nil {
			t.Fatalf("%q is known from nowhere", cell)
		}
		*slot = recalled{key, 7}
		for _, other := range cells {
			got, _, known := r.look([]byte(other+"1234567890"), 0, len(other))
			if known != (other == cell) || known && got.value != 7 {
				t.Fatalf("%q taken for %q: %v", other, cell, known)
			}
		}
	}
	for _, n := range []int{0, maxSpelling + 1} {
		var r recall
		if slot, _, known := r.look([]byte(strings.Repeat("1", 40)), 0, n); slot != nil || known {
			t.Errorf("a cell of %d bytes is remembered", n)
		}
	}
}

// A cell that is at fault or worth a note is counted each time that it comes, and
// one that is neither gives the same each time.
func TestRepeatedCells(t *testing.T) {
	row := "C%;01.06.2026 24:00;7;300\nD%;02.06.2026 05:01;7;300\nE%;31.02.2026 05:01;7;300\nF%;02.06.2026 05:01;7;-4\nG%;;;\n"
	r, staged, aside := read(t, head+`
record: calls
columns:
  call: {from: Call, key: call}
  contact: {from: Call, key: contact}
  contact_type: {value: clinical}
  species: {value: dog}
  started_at: {from: Started, layout: "02.01.2006 15:04"}
  age_months: {from: Age, unit: months}
  call_seconds: {from: Talk, unit: s}
`, "Call;Started;Age;Talk\n"+strings.ReplaceAll(row, "%", "1")+strings.ReplaceAll(row, "%", "2")+strings.ReplaceAll(row, "%", "3"), 1)
	want := map[string]int64{"bad_date": 3, "missing_value": 3, "out_of_range": 3}
	if len(staged) != 6 || len(aside) != 9 || !maps.Equal(r.Reasons, want) || r.Notes["midnight_24"] != 3 {
		t.Fatalf("%d staged, %d set aside, %v, %v", len(staged), len(aside), r.Reasons, r.Notes)
	}
	for _, s := range staged {
		started := "2026-06-01T22:00:00Z" // 24:00 of the clock in Berlin
		if row := s["src_row"]; row == "3" || row == "8" || row == "13" {
			started = "2026-06-02T03:01:00Z"
		}
		if got := []any{s["started_at"], s["age_months"], s["call_seconds"]}; fmt.Sprint(got) != "["+started+" 7 300]" {
			t.Errorf("row %v: %v", s["src_row"], got)
		}
	}
}
