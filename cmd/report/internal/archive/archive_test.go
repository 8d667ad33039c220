package archive

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"hindcheck/cmd/report/internal/review"
)

func of(month string, load int) *review.Review {
	r := &review.Review{CaseDefinition: fmt.Sprintf("%s at %d", month, load)}
	r.Period.Month, r.AsOf.Load = month, load
	return r
}

func keep(t *testing.T, dir string, r *review.Review) {
	t.Helper()
	data, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	text := func(s string) func(io.Writer) error {
		return func(w io.Writer) error {
			_, err := io.WriteString(w, s)
			return err
		}
	}
	if err := Keep(dir, r.Period.Month, r.AsOf.Load, text(string(data)), text(r.CaseDefinition)); err != nil {
		t.Fatal(err)
	}
}

func TestLast(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "reviews")
	if r, err := Last(dir, "2026-07", 3); r != nil || err != nil {
		t.Fatalf("no archive: %v, %v", r, err)
	}
	for _, x := range []struct {
		month string
		load  int
	}{{"2026-05", 1}, {"2026-06", 2}, {"2026-06", 4}, {"2026-06", 10}, {"2026-04", 10}, {"2026-08", 10}} {
		keep(t, dir, of(x.month, x.load))
	}
	// What is no archived review is left alone.
	for _, name := range []string{"actions.yaml", "review-2026-07.json", "review-2026-06-load-x.json"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte("{"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		month string
		load  int
		want  string
	}{
		{"2026-07", 10, "2026-06 at 10"}, // the latest state of the month before
		{"2026-07", 5, "2026-06 at 4"},   // as it was known at that load
		{"2026-06", 10, "2026-06 at 4"},  // restated, and never itself
		{"2026-06", 2, "2026-05 at 1"},
		{"2026-09", 11, "2026-08 at 10"}, // an old month written late does not stand between
		{"2026-05", 1, ""},
		{"2026-04", 10, ""},
	} {
		r, err := Last(dir, c.month, c.load)
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		if r != nil {
			got = r.CaseDefinition
		}
		if got != c.want {
			t.Errorf("%s at load %d follows %q, want %q", c.month, c.load, got, c.want)
		}
	}
}

// Keeping the same review again replaces it.
func TestKeepAgain(t *testing.T) {
	dir := t.TempDir()
	r := of("2026-07", 1)
	keep(t, dir, r)
	r.CaseDefinition = "again"
	keep(t, dir, r)
	list, err := os.ReadDir(dir)
	if err != nil || len(list) != 2 {
		t.Errorf("%v, %v", list, err)
	}
	if page, _ := os.ReadFile(filepath.Join(dir, "review-2026-07-load-1.html")); string(page) != "again" {
		t.Errorf("page %q", page)
	}
}
