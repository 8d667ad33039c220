package pipeline_test

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/store"
)

// Every call of the store is found again in the exports, and nowhere else.
func TestLookUpFindsEveryCall(t *testing.T) {
	dir := demoLine(t, twoMonths)
	opt := loadOptions(t, dir)
	load(t, opt)
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	paths := s.Paths(store.Current, "calls")
	s.Close()
	db := openDuck(t)
	rows, err := db.Query("SELECT call::VARCHAR FROM read_parquet(" + duck.FileList(paths) + ") ORDER BY call LIMIT 200")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	look := pipeline.LookupOptions{Store: opt.Store, Exports: []string{filepath.Join(opt.Exports[0], "calls-*")}, Sources: opt.Sources, Key: opt.Key}
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			t.Fatal(err)
		}
		look.Pseudonyms = append(look.Pseudonyms, id)
	}
	got, err := pipeline.LookUp(context.Background(), look)
	if err != nil || len(got) != 200 {
		t.Fatalf("%d found, %v; want 200", len(got), err)
	}
	seen := map[string]bool{}
	for i, l := range got {
		if l.Pseudonym != look.Pseudonyms[i] || !strings.HasPrefix(l.Call, "C") || l.Row < 2 || seen[l.Call] {
			t.Errorf("%+v; want the call number, once, of %s", l, look.Pseudonyms[i])
		}
		seen[l.Call] = true
	}

	look.Pseudonyms = append(look.Pseudonyms, look.Pseudonyms[0])
	if _, err := pipeline.LookUp(context.Background(), look); err == nil || !strings.Contains(err.Error(), "1 to 200") {
		t.Errorf("201 pseudonyms: %v; want a refusal", err)
	}
	look.Pseudonyms = []string{"00000000-0000-0000-0000-000000000001"}
	if got, err := pipeline.LookUp(context.Background(), look); err != nil || got[0].Call != "" {
		t.Errorf("a pseudonym of nobody: %+v, %v; want it back without a call", got, err)
	}
	look.Pseudonyms = []string{"C1000"}
	if _, err := pipeline.LookUp(context.Background(), look); err == nil {
		t.Error("a call number was taken for a pseudonym")
	}
	look.Pseudonyms, look.Key = []string{"00000000-0000-0000-0000-000000000001"}, testKey(t, 9)
	if _, err := pipeline.LookUp(context.Background(), look); !errors.Is(err, pipeline.ErrKeyMismatch) {
		t.Errorf("another key: %v; want ErrKeyMismatch", err)
	}
}
