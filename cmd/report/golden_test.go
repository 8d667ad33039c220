package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"hindcheck/cmd/report/internal/page"
	"hindcheck/cmd/report/internal/review"
)

// goldenParts are the parts of the JSON that the golden file holds: what a
// meeting reads first. The others would be too long to read in a diff, and are
// tied to their sources by tests of their own.
var goldenParts = []string{"unit", "case_definition", "ruleset", "period", "maturity", "standard", "conclusion", "since", "awaited", "actions", "next", "month"}

// goldenText are the lines of the text form up to the table of flags.
func goldenText(t *testing.T, data []byte) []byte {
	t.Helper()
	var r review.Review
	if err := json.Unmarshal(data, &r); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := page.Text(&b, &r); err != nil {
		t.Fatal(err)
	}
	text, _, _ := strings.Cut(b.String(), "Red flags at the cut")
	return []byte(text)
}

// goldenJSON is the JSON of the parts, numbers rounded to four digits: the
// last ones differ between processors.
func goldenJSON(t *testing.T, data []byte) []byte {
	t.Helper()
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	var all map[string]any
	if err := dec.Decode(&all); err != nil {
		t.Fatal(err)
	}
	out := map[string]any{}
	for _, part := range goldenParts {
		x, ok := all[part]
		if !ok {
			t.Errorf("the review has no %q", part)
		}
		out[part] = rounded(x)
	}
	text, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return append(text, '\n')
}

func rounded(x any) any {
	switch v := x.(type) {
	case json.Number:
		f, err := v.Float64()
		if err != nil {
			return x
		}
		return json.Number(strconv.FormatFloat(f, 'g', 4, 64))
	case []any:
		for i := range v {
			v[i] = rounded(v[i])
		}
	case map[string]any:
		for k := range v {
			v[k] = rounded(v[k])
		}
	}
	return x
}

// checkGolden compares the review of the demonstration line with the files of
// testdata. They are renewed with: go test ./cmd/report -run TestDemoWrites -update
func checkGolden(t *testing.T, data []byte) {
	t.Helper()
	for name, got := range map[string][]byte{"demo-review.txt": goldenText(t, data), "demo-review.json": goldenJSON(t, data)} {
		path := filepath.Join(sourceDir, "testdata", name)
		if *update {
			if os.Getenv("CI") == "true" {
				t.Fatal("-update is refused in CI")
			}
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
			continue
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatalf("%v; write it with: go test ./cmd/report -run TestDemoWrites -update", err)
		}
		if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(string(got), "\n")); d != "" {
			t.Errorf("%s, golden first:\n%s\nif the change is meant: go test ./cmd/report -run TestDemoWrites -update", name, d)
		}
	}
}

// sourceDir is this package's folder, whatever folder a test works in.
var sourceDir = func() string {
	dir, err := os.Getwd()
	if err != nil {
		panic(err)
	}
	return dir
}()
