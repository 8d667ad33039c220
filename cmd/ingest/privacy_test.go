package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"hindcheck/datasets/demo"
	"hindcheck/pipeline/duck"
)

// marker begins every planted name, number and sentence.
const marker = "Zq7x"

// plant adds columns of names, telephone numbers and prose to a calls export,
// and writes the like into mapped cells here and there. It returns the raw keys.
func plant(t *testing.T, path string, keys map[string]bool) {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	r := csv.NewReader(f)
	r.Comma, r.FieldsPerRecord, r.LazyQuotes = ';', -1, true
	rows, err := r.ReadAll()
	if err = firstError(err, f.Close()); err != nil {
		t.Fatal(err)
	}
	head := rows[0]
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Comma = ';'
	for i, row := range rows {
		if len(row) != len(head) {
			continue
		}
		if i == 0 {
			row = append(row, "Caller", "Telephone", "Notes")
		} else {
			for _, name := range []string{"Call no", "Animal key", "Owner key", "Advisor"} {
				if at := slices.Index(head, name); row[at] != "" {
					keys[row[at]] = true
				}
			}
			if i%17 == 0 { // in a mapped column of words, numbers, times or open text
				columns := []string{"Reason", "Weight", "Started", "Animal", "Age", "Rules version", "Why changed"}
				name := columns[len(keys)%len(columns)]
				row[slices.Index(head, name)] = fmt.Sprintf("%s said %d, ring Mrs %sson on 0170 %06d", marker, i, marker, i)
			}
			row = append(row, fmt.Sprintf("%sa Sample%d", marker, i), fmt.Sprintf("+49 170 %s%05d", marker, i), fmt.Sprintf("the dog of %s%d, \"very\" ill\nand worse", marker, i))
		}
		if err := w.Write(row); err != nil {
			t.Fatal(err)
		}
	}
	w.Flush()
	if err := os.WriteFile(path, out.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// A year of a line with names, telephone numbers and prose in its exports, in
// columns of their own and in the wrong ones: no raw key and none of them is in
// any byte or value of the store, nor in anything that a command prints.
func TestNobodyIsIdentified(t *testing.T) {
	dir := t.TempDir()
	exports, keys := filepath.Join(dir, "exports"), map[string]bool{}
	if err := os.CopyFS(dir, demo.Settings()); err != nil {
		t.Fatal(err)
	}
	if _, err := demo.Generate(t.Context(), demo.Options{Seed: 17, Calls: 600, Dir: exports, From: time.Date(2025, 7, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)}); err != nil {
		t.Fatal(err)
	}
	calls, err := filepath.Glob(filepath.Join(exports, "calls-*"))
	if err != nil || len(calls) < 12 {
		t.Fatal(calls, err)
	}
	for _, path := range calls {
		plant(t, path, keys)
	}
	if len(keys) < 1000 {
		t.Fatalf("%d keys", len(keys))
	}
	secret := strings.Repeat("5e3a", 16)
	store := filepath.Join(dir, "store")
	printed := runAll(t, dir, secret, [][]string{
		{"load", "--store", store, "--sources", filepath.Join(dir, "sources"), "--rules", filepath.Join(dir, "rules.yaml"), exports},
		{"load", "--store", store, "--sources", filepath.Join(dir, "sources"), "--format", "json", exports},
		{"set-aside", "--store", store, "--limit", "0"},
		{"set-aside", "--store", store, "--limit", "0", "--format", "json"},
		{"set-aside", "retry", "--store", store, "--sources", filepath.Join(dir, "sources"), exports},
		{"status", "--store", store, "--format", "json"},
		{"verify", "--store", store},
		{"files", "--store", store},
		{"tidy", "--store", store},
		{"inspect", calls[3]},
		{"inspect", "--format", "json", calls[4]},
		{"inspect", "--format", "csv", calls[5]},
		{"inspect", "--draft", "calls", calls[6]},
		// Refused as a whole: the messages must not show what they refuse.
		{"load", "--store", store + "2", "--sources", filepath.Join(dir, "sources"), "--source", "demo-outcomes", "--exported-at", "2026-07-03", calls[0]},
	})
	if !strings.Contains(printed, "unmapped_word") || !strings.Contains(printed, "too_long") {
		t.Error("no planted word was refused; the test would not notice")
	}
	if i := strings.Index(printed, marker); i >= 0 {
		t.Errorf("printed: ...%s...", printed[max(0, i-200):min(len(printed), i+60)])
	}
	for _, word := range regexp.MustCompile(`[A-Za-z0-9-]+`).FindAllString(printed, -1) {
		if keys[word] && len(word) > 4 {
			t.Errorf("printed the key %s", word)
		}
	}
	if strings.Contains(printed, secret) {
		t.Error("printed the secret")
	}
	scanBytes(t, store, keys, secret)
	scanValues(t, store, keys)
}

// runAll runs commands and returns all that they print.
func runAll(t *testing.T, dir, secret string, commands [][]string) string {
	t.Helper()
	var all bytes.Buffer
	for _, args := range commands {
		if code := Run(t.Context(), args, []string{"HINDCHECK_KEY=" + secret}, strings.NewReader(""), &all, &all); code != 0 && !strings.HasSuffix(args[2], "store2") {
			t.Fatalf("%v: status %d:\n%s", args, code, all.String())
		}
	}
	return all.String()
}

// scanBytes looks through the bytes of every file as they lie on the disk.
func scanBytes(t *testing.T, dir string, keys map[string]bool, secret string) {
	t.Helper()
	files := 0
	word := regexp.MustCompile(`[A-Za-z0-9-]{7,}`)
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		files++
		if bytes.Contains(data, []byte(marker)) || bytes.Contains(data, []byte(secret)) {
			t.Errorf("%s holds a planted text or the secret", path)
		}
		for _, w := range word.FindAll(data, -1) {
			if keys[string(w)] {
				t.Errorf("%s holds the key %s", path, w)
			}
		}
		return nil
	})
	if err != nil || files < 20 {
		t.Fatalf("%d files, %v", files, err)
	}
}

// scanValues looks through every value of every Parquet file, unpacked.
func scanValues(t *testing.T, dir string, keys map[string]bool) {
	t.Helper()
	db, err := duck.Open(t.Context(), duck.Options{Threads: 2})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TABLE keys (raw VARCHAR)"); err != nil {
		t.Fatal(err)
	}
	var list []string
	for k := range keys {
		list = append(list, "('"+strings.ReplaceAll(k, "'", "''")+"')")
	}
	if _, err := db.Exec("INSERT INTO keys VALUES " + strings.Join(list, ", ")); err != nil {
		t.Fatal(err)
	}
	values := int64(0)
	for _, part := range []string{"current/calls", "current/checks", "current/outcomes", "current/coverage", "cases", "set_aside", "history"} {
		files, err := filepath.Glob(filepath.Join(dir, part, "*.parquet"))
		if err != nil {
			t.Fatal(err)
		}
		deep, err := filepath.Glob(filepath.Join(dir, part, "year=*", "month=*", "*.parquet"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range append(files, deep...) {
			var n, planted, raw int64
			err := db.QueryRow(`WITH v AS (UNPIVOT (SELECT COLUMNS(*)::VARCHAR FROM read_parquet('`+path+`', hive_partitioning = false)) ON COLUMNS(*) INTO NAME col VALUE value)
				SELECT count(*), count(*) FILTER (contains(value, ?)), (SELECT count(*) FROM v SEMI JOIN keys ON raw = value WHERE length(value) > 4) FROM v`, marker).Scan(&n, &planted, &raw)
			if err != nil {
				t.Fatalf("%s: %v", path, err)
			}
			if planted+raw > 0 {
				t.Errorf("%s: %d planted texts, %d raw keys among its values", path, planted, raw)
			}
			values += n
		}
	}
	if values < 50_000 {
		t.Errorf("looked at %d values only", values)
	}
}
