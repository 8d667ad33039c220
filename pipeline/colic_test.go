package pipeline_test

import (
	"encoding/json"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/colic"
	"hindcheck/pipeline"
	"hindcheck/pipeline/rules"
	"hindcheck/pipeline/store"
)

// colicStore loads the open colic data under one case definition and returns
// the files of its cases.
func colicStore(t *testing.T, dir, caseDefinition string) []string {
	t.Helper()
	exported, err := time.Parse(time.DateOnly, colic.ExportedDay)
	if err != nil {
		t.Fatal(err)
	}
	in := func(name string) string { return filepath.Join(dir, name) }
	opt := pipeline.LoadOptions{
		Store: in("store-" + caseDefinition), Exports: []string{in("horse_colic.csv")}, Sources: []string{in("sources")},
		Files: pipeline.DefinitionFiles{Dictionary: in("dictionary.yaml"), Rules: in("rules.yaml"), CaseDefinition: in(caseDefinition),
			Strata: in("strata.yaml")},
		Key: testKey(t, 9), ExportedAt: exported, Now: exported.AddDate(0, 0, 1), Threads: 2, Software: "test",
	}
	sum := load(t, opt)
	if len(sum.Aside) > 0 {
		t.Errorf("%s: rows set aside: %v", caseDefinition, sum.Aside)
	}
	s, err := store.Open(opt.Store)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s.Paths(store.Cases, "")
}

// From file to cases, every sign of the colic data against both definitions
// gives the counts that were computed outside the project.
func TestColicGivesTheOutsideCounts(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, colic.Files()); err != nil {
		t.Fatal(err)
	}
	set, err := rules.Load(filepath.Join(dir, "rules.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	data, err := fs.ReadFile(os.DirFS("../datasets/colic"), "testdata/expected.json")
	if err != nil {
		t.Fatal(err)
	}
	var expected struct {
		Flags []struct {
			Flag           string
			AnyOf          []string `json:"any_of"`
			CaseDefinition string   `json:"case_definition"`
			TP, FP, FN, TN int
		}
	}
	if err := json.Unmarshal(data, &expected); err != nil {
		t.Fatal(err)
	}
	compared := 0
	for file, id := range map[string]string{"death.yaml": "colic_death", "surgical_lesion.yaml": "colic_surgical_lesion"} {
		db := openDuck(t)
		view := fmt.Sprintf("CREATE TABLE cases AS SELECT * FROM read_parquet(['%s'])", strings.Join(colicStore(t, dir, file), "','"))
		if _, err := db.Exec(view); err != nil {
			t.Fatal(err)
		}
		for _, want := range expected.Flags {
			if want.CaseDefinition != id {
				continue
			}
			var mask uint64
			for _, name := range append(want.AnyOf, want.Flag) {
				if i := slices.IndexFunc(set.Flags, func(f rules.Flag) bool { return f.ID == name }); i >= 0 {
					mask |= 1 << i
				}
			}
			var got [5]int
			err := db.QueryRow(fmt.Sprintf(`SELECT count(*),
				count(*) FILTER (fired_0 & %[1]d <> 0 AND need_same_day = 1), count(*) FILTER (fired_0 & %[1]d <> 0 AND need_same_day = 0),
				count(*) FILTER ((fired_0 | unknown_0) & %[1]d = 0 AND need_same_day = 1),
				count(*) FILTER ((fired_0 | unknown_0) & %[1]d = 0 AND need_same_day = 0) FROM cases`, mask)).
				Scan(&got[0], &got[1], &got[2], &got[3], &got[4])
			if err != nil {
				t.Fatal(err)
			}
			if exp := [5]int{300, want.TP, want.FP, want.FN, want.TN}; got != exp {
				t.Errorf("%s against %s: got %v, want %v (horses, tp, fp, fn, tn)", want.Flag, id, got, exp)
			}
			compared++
		}
	}
	if compared != 28 {
		t.Errorf("%d signs compared, want 14 against two definitions", compared)
	}
}
