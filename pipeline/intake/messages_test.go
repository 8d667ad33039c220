package intake

import (
	"context"
	"flag"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/source"
)

var update = flag.Bool("update", false, "rewrite golden files")

// Every message of the nasty inputs as a person reads it: file, row, column,
// what was expected, what was found by kind and length, what to do.
func TestMessages(t *testing.T) {
	paths, err := filepath.Glob("testdata/nasty/*.txt")
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(paths)
	var b strings.Builder
	for _, path := range paths {
		lines := messages(t, path)
		if len(lines) > 0 {
			b.WriteString("# " + strings.TrimSuffix(filepath.Base(path), ".txt") + "\n" + strings.Join(lines, "\n") + "\n")
		}
	}
	const golden = "testdata/messages.golden"
	if *update {
		if os.Getenv("CI") != "" {
			t.Fatal("-update is refused in CI")
		}
		if err := os.WriteFile(golden, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(strings.Split(string(want), "\n"), strings.Split(b.String(), "\n")); d != "" {
		t.Errorf("messages differ (-want +got):\n%s", d)
	}
}

// messages reads a case and returns what it says.
func messages(t *testing.T, path string) (lines []string) {
	t.Helper()
	a, err := txtar.ParseFile(path)
	if err != nil {
		t.Fatal(err)
	}
	name, how := "", ""
	for _, line := range strings.Split(string(a.Comment), "\n")[1:] {
		if v, ok := strings.CutPrefix(line, "source: "); ok {
			name = v
		} else if v, ok := strings.CutPrefix(line, "file: "); ok {
			how = v
		}
	}
	desc, err := source.Read(filepath.Join("testdata/nasty", name+".yaml"), findings.Default())
	if err != nil {
		t.Fatal(err)
	}
	desc.Path = name + ".yaml"
	r, err := Read(context.Background(), Input{Path: write(t, a.Files[1].Name+".csv", encodeFile(t, how, string(a.Files[1].Data))), Desc: desc, Dict: findings.Default(),
		Key: testKey(t), Dir: t.TempDir(), Workers: 1})
	if err != nil {
		return []string{err.Error()}
	}
	for _, f := range r.Examples {
		lines = append(lines, f.String())
	}
	return lines
}

// Whatever stands in a file, every row is accounted for, the parts can be read
// and hold what the result says.
func FuzzRead(f *testing.F) {
	descs := map[string]*source.Description{}
	for _, name := range []string{"calls", "checks", "outcomes"} {
		d, err := source.Read("testdata/nasty/"+name+".yaml", findings.Default())
		if err != nil {
			f.Fatal(err)
		}
		descs[name] = d
	}
	paths, _ := filepath.Glob("testdata/nasty/*.txt")
	for _, p := range paths {
		if a, err := txtar.ParseFile(p); err == nil && len(a.Files) == 2 {
			f.Add(unescape(string(a.Files[1].Data)))
		}
	}
	f.Fuzz(func(t *testing.T, text string) {
		name := "calls"
		if strings.HasPrefix(text, "Call;Item") {
			name = "checks"
		} else if strings.HasPrefix(text, "No;") {
			name = "outcomes"
		}
		r, err := Read(context.Background(), Input{Path: write(t, "export-2026-11-01.csv", text), Desc: descs[name], Dict: findings.Default(), Key: testKey(t), Dir: t.TempDir(), Workers: 1})
		if err != nil {
			if strings.Contains(err.Error(), "fault of this program") {
				t.Fatal(err)
			}
			return
		}
		staged, aside := readParts(t, r.Parts, "src_row"), readParts(t, r.SetAsideParts, "row")
		if r.Rows != r.Staged+r.SetAside || int64(len(staged)) != r.Staged || int64(len(aside)) != r.SetAside {
			t.Errorf("rows %d, staged %d and %d, set aside %d and %d", r.Rows, r.Staged, len(staged), r.SetAside, len(aside))
		}
		for _, s := range staged {
			for _, c := range descs[name].Table.Columns {
				if _, ok := s[c.Name]; c.Required && !ok {
					t.Errorf("row %s is staged without %s", s["src_row"], c.Name)
				}
				if w, ok := s[c.Name]; ok && c.Words.Name() != "" && !c.Words.Has(w) {
					t.Errorf("row %s: %s is not on the list of %s", s["src_row"], w, c.Name)
				}
			}
		}
	})
}
