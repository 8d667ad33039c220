package queriestest_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/privacy"
	"hindcheck/queries"
	"hindcheck/queries/queriestest"
)

// smallStore loads a small demonstration line.
func smallStore(t *testing.T) string {
	t.Helper()
	ctx, dir := context.Background(), t.TempDir()
	exports := filepath.Join(dir, "exports")
	if _, err := demo.Generate(ctx, demo.Options{Seed: 5, Calls: 600, Dir: exports}); err != nil {
		t.Fatal(err)
	}
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		t.Fatal(err)
	}
	key, err := privacy.NewKey(bytes.Repeat([]byte{7, 8, 9, 10}, 8))
	if err != nil {
		t.Fatal(err)
	}
	at := func(name string) string { return filepath.Join(dir, name) }
	_, err = pipeline.Load(ctx, pipeline.LoadOptions{
		Store: at("store"), Exports: []string{exports}, Sources: []string{at("sources")}, Key: key,
		Files: pipeline.DefinitionFiles{Rules: at("rules.yaml"), CaseDefinition: at("case_definition.yaml"), Strata: at("strata.yaml")},
		Now:   time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "test",
	})
	if err != nil {
		t.Fatal(err)
	}
	return at("store")
}

// Everything that can be counted is there three times, and what belonged
// together still does.
func TestMultiply(t *testing.T) {
	ctx, from := context.Background(), smallStore(t)
	to := filepath.Join(t.TempDir(), "store")
	if err := queriestest.Multiply(ctx, from, to, 3); err != nil {
		t.Fatal(err)
	}
	count := func(store, query string) (n int64) {
		v, err := queries.OpenViews(ctx, store, queries.OpenOptions{Threads: 2})
		if err != nil {
			t.Fatal(err)
		}
		defer v.Close()
		if err := v.DB.QueryRow(query).Scan(&n); err != nil {
			t.Fatal(err)
		}
		return n
	}
	once := []string{"SELECT count(*) FROM coverage", "SELECT count(*) FROM set_aside", "SELECT count(DISTINCT site) FROM cases", "SELECT count(DISTINCT exported_at) FROM calls"}
	for _, query := range append([]string{
		"SELECT count(*) FROM calls", "SELECT count(*) FROM checks", "SELECT count(*) FROM outcomes", "SELECT count(*) FROM cases",
		"SELECT count(DISTINCT call) FROM calls", "SELECT count(DISTINCT episode) FROM cases", "SELECT count(DISTINCT animal) FROM cases", "SELECT count(DISTINCT advisor) FROM cases",
		"SELECT count(*) FROM checks JOIN calls USING (call)", "SELECT count(*) FROM cases c JOIN calls a ON a.call = c.call AND a.animal = c.animal AND a.episode = c.episode AND epoch_us(a.started_at) = epoch_us(c.started_at)",
		"SELECT count(*) FROM outcomes o JOIN cases c USING (episode)", "SELECT count(*) FROM calls WHERE episode IS NULL",
		"SELECT sum(bit_count(fired_0)) FROM cases", "SELECT sum(month) FROM cases", "SELECT count(*) FROM cases WHERE month = 202606 AND species = 'cat'",
		"SELECT sum(epoch_us(k.asked_at) - epoch_us(c.started_at)) FROM checks k JOIN calls c USING (call)", "SELECT count(DISTINCT (call, finding, row_hash)) FROM checks",
	}, once...) {
		want := 3 * count(from, query)
		if len(once) > 0 && query == once[0] {
			want, once = want/3, once[1:]
		}
		if got := count(to, query); got != want || got == 0 {
			t.Errorf("%s: %d, want %d", query, got, want)
		}
	}
	// Files are as the manifest says, and cases are those that a load would derive.
	v, err := pipeline.Verify(ctx, to, 2)
	if err != nil || len(v.Faults) != 0 || v.CasesDiffer {
		t.Errorf("verify: %+v, %v", v, err)
	}
}
