package pipeline_test

import (
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline"
	"hindcheck/pipeline/duck"
	"hindcheck/pipeline/privacy"
	"hindcheck/pipeline/resolve"
	"hindcheck/pipeline/store"
)

// demoLine writes exports of the demonstration line, with its descriptions
// and definitions beside them, and returns the folder.
func demoLine(t testing.TB, o demo.Options) string {
	t.Helper()
	dir, _ := demoLineAndSummary(t, o)
	return dir
}

// demoLineAndSummary also says what the generator planted.
func demoLineAndSummary(t testing.TB, o demo.Options) (string, demo.Summary) {
	t.Helper()
	dir := t.TempDir()
	o.Dir = filepath.Join(dir, "exports")
	planted, err := demo.Generate(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	err = fs.WalkDir(demo.Settings(), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := fs.ReadFile(demo.Settings(), path)
		if err != nil {
			return err
		}
		to := filepath.Join(dir, path)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return err
		}
		return os.WriteFile(to, data, 0o644)
	})
	if err != nil {
		t.Fatal(err)
	}
	return dir, planted
}

func testKey(t testing.TB, seed byte) privacy.Key {
	t.Helper()
	secret := bytes.Repeat([]byte{seed, seed + 1}, 16)
	key, err := privacy.NewKey(secret)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// loadOptions load the line in dir into dir/store.
func loadOptions(t testing.TB, dir string) pipeline.LoadOptions {
	return pipeline.LoadOptions{
		Store: filepath.Join(dir, "store"), Exports: []string{filepath.Join(dir, "exports")}, Sources: []string{filepath.Join(dir, "sources")},
		Files: pipeline.DefinitionFiles{Rules: filepath.Join(dir, "rules.yaml"), CaseDefinition: filepath.Join(dir, "case_definition.yaml"),
			Strata: filepath.Join(dir, "strata.yaml")},
		Key: testKey(t, 7), Now: time.Date(2026, 11, 10, 8, 0, 0, 0, time.UTC), Threads: 2, Software: "test",
	}
}

func load(t testing.TB, opt pipeline.LoadOptions) *pipeline.Summary {
	t.Helper()
	sum, err := pipeline.Load(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	return sum
}

// digest is a fingerprint of the rows of a store as of a load: the number and
// an order-free hash of each record table.
func digest(t testing.TB, dir string, asOf int) string {
	t.Helper()
	s, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := openDuck(t)
	var out []string
	for _, name := range resolve.Tables {
		query, err := resolve.AsOf(s, name, asOf)
		if err != nil {
			t.Fatal(err)
		}
		var n int64
		var sum sql.NullString
		// exported_at is left out: a confirmation by a later export moves it.
		if err := db.QueryRow(fmt.Sprintf("SELECT count(*), sum(hash(r)::HUGEINT)::VARCHAR FROM (SELECT COLUMNS(* EXCLUDE (exported_at)) FROM (%s)) r", query)).Scan(&n, &sum); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		out = append(out, fmt.Sprintf("%s %d %s", name, n, sum.String))
	}
	return strings.Join(out, "; ")
}

func openDuck(t testing.TB) *sql.DB {
	t.Helper()
	db, err := duck.Open(context.Background(), duck.Options{Threads: 2, MemoryMB: 512})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// tree lists every file of a folder with its size and hash, manifest included.
func tree(t testing.TB, dir string) string {
	t.Helper()
	var out []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.HasPrefix(d.Name(), ".") {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		out = append(out, rel+" "+store.HashText(data))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(out, "\n")
}
