package tabular

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func readJSON(t testing.TB, text string, f Format) ([]refRow, error) {
	t.Helper()
	_, rows, _, err := readAll(t, write(t, text), f, 1)
	return rows, err
}

// Keys within keys are reached with dots; a key that holds dots is found as well.
func TestPaths(t *testing.T) {
	f := Format{Kind: "ndjson", Columns: []string{"id", "animal.kind", "animal.owner.no", "a.b", "none"}}
	rows, err := readJSON(t, `{"id":1.50,"animal":{"kind":"d\u00f6g\n","owner":{"no":"7","name":"x"},"list":[{"id":9}]},"a.b":true}
{"animal":null,"id":null,"other":{"id":3}}

{"id":"x"}`, f)
	if err != nil {
		t.Fatal(err)
	}
	want := []refRow{{1, []string{"1.50", "dög\n", "7", "true", ""}, false}, {2, []string{"", "", "", "", ""}, false}, {4, []string{"x", "", "", "", ""}, false}}
	if d := cmp.Diff(want, rows, cmp.AllowUnexported(refRow{})); d != "" {
		t.Error(d)
	}
	r, err := Open(write(t, `{"id":1}`+"\n"), f)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	r.Select([]int{0, 1, 4})
	var b Batch
	for err == nil {
		err = r.Next(&b)
	}
	if d := cmp.Diff([]string{"animal.kind", "none"}, r.(Sparse).NeverSeen()); d != "" || err != io.EOF {
		t.Errorf("%v %s", err, d)
	}
}

// A line is good exactly when it is one JSON object whose wanted keys stand
// once and hold single values; every line is accounted for.
func FuzzLines(f *testing.F) {
	for _, s := range []string{`{"a":1}`, `{"a":"x","a":"y"}`, `{"a":[1]}`, `[1]`, `{"a":{"b":2}}` + "\n" + `{`, "\xff", "null", `{"a":1} {"a":2}`, `{"a":"\ud800"}`, `{"\u0061":1}`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if bytes.HasPrefix([]byte(text), []byte("\xef\xbb\xbf")) || strings.HasPrefix(text, "\xfe\xff") || strings.HasPrefix(text, "\xff\xfe") || strings.ContainsAny(text, "\r") {
			return
		}
		if _, err := Open(write(t, text), Format{Kind: "ndjson", Columns: []string{"a"}}); err != nil {
			return // a file of another kind
		}
		rows, err := readJSON(t, text, Format{Kind: "ndjson", Columns: []string{"a", "a.b"}, chunk: 9})
		if err != nil {
			t.Fatal(err)
		}
		want := 0
		for line := range strings.Lines(text) {
			if !blank([]byte(line)) {
				want++
			}
		}
		if len(rows) != want {
			t.Fatalf("%d rows of %d lines", len(rows), want)
		}
		for _, r := range rows {
			if r.broken {
				continue
			}
			line := strings.Split(text, "\n")[r.row-1]
			var o map[string]any
			if json.Unmarshal([]byte(line), &o) != nil {
				t.Errorf("line %d is no object for encoding/json", r.row)
			}
			if s, ok := o["a"].(string); ok && s != r.cells[0] {
				t.Errorf("line %d: %q, want %q", r.row, r.cells[0], s)
			}
		}
	})
}
