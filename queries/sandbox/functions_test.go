package sandbox

import (
	"context"
	"os"
	"slices"
	"strings"
	"testing"

	"hindcheck/pipeline/duck"
)

// Every function of the engine is on one of the two lists, and every name on a
// list is a function: a new release makes somebody look.
func TestFunctionLists(t *testing.T) {
	refused := names(readFile(t, "testdata/refused.txt"))
	db, err := duck.Open(context.Background(), duck.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT DISTINCT lower(function_name) FROM duckdb_functions() WHERE function_type IN ('scalar', 'aggregate', 'macro')")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	engine := map[string]bool{}
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		engine[name] = true
		if strings.HasPrefix(name, "icu_collate_") || strings.HasPrefix(name, "__internal_") {
			continue
		}
		if allowed()[name] == refused[name] {
			t.Errorf("function %s: allowed %t, refused %t; put it on exactly one of allowed.txt and testdata/refused.txt", name, allowed()[name], refused[name])
		}
	}
	// These are parsed as calls but are no functions of the catalogue.
	special := []string{"unnest"}
	for name := range allowed() {
		if !engine[name] && !slices.Contains(special, name) {
			t.Errorf("allowed.txt: the engine has no function %s", name)
		}
	}
	for name := range refused {
		if !engine[name] {
			t.Errorf("refused.txt: the engine has no function %s", name)
		}
	}
}

func readFile(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}
