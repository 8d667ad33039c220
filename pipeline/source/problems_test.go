package source

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"hindcheck/pipeline/findings"
	"hindcheck/pipeline/strict"
)

// Each file of testdata/problems holds a description with a mistake and the
// messages that it must give: place, what was expected, what was found, remedy.
func TestProblems(t *testing.T) {
	paths, err := filepath.Glob("testdata/problems/*.txt")
	if err != nil || len(paths) < 40 {
		t.Fatalf("%d cases, %v", len(paths), err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			a, err := txtar.ParseFile(path)
			if err != nil || len(a.Files) != 2 {
				t.Fatalf("%v, %d sections", err, len(a.Files))
			}
			d, err := Parse(a.Files[0].Name, a.Files[0].Data, findings.Default())
			var ps strict.Problems
			if !errors.As(err, &ps) || d != nil {
				t.Fatalf("accepted, or another kind of error: %v", err)
			}
			for _, p := range ps {
				if p.Expected == "" || p.Remedy == "" {
					t.Errorf("no expectation or remedy: %v", p)
				}
			}
			if *update {
				a.Files[1].Data = []byte(ps.Error() + "\n")
				if err := os.WriteFile(path, txtar.Format(a), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if d := cmp.Diff(string(a.Files[1].Data), ps.Error()+"\n"); d != "" {
				t.Errorf("messages differ (-want +got):\n%s", d)
			}
		})
	}
}

// A description never makes the reader panic, and what it accepts is complete.
func FuzzParse(f *testing.F) {
	for _, glob := range []string{"testdata/problems/*.txt"} {
		paths, _ := filepath.Glob(glob)
		for _, p := range paths {
			if a, err := txtar.ParseFile(p); err == nil && len(a.Files) > 0 {
				f.Add(a.Files[0].Data)
			}
		}
	}
	paths, _ := filepath.Glob("../intake/testdata/nasty/*.yaml")
	for _, p := range paths {
		if data, err := os.ReadFile(p); err == nil {
			f.Add(data)
		}
	}
	dict := findings.Default()
	f.Fuzz(func(t *testing.T, data []byte) {
		d, err := Parse("x.yaml", data, dict)
		if err != nil {
			return
		}
		if d.Source == "" || d.Table.Name == "" || d.Hash == "" || len(d.Columns) == 0 {
			t.Errorf("accepted an incomplete description: %+v", d)
		}
		for _, c := range d.Columns {
			if !c.HasConstant && len(c.From) == 0 {
				t.Errorf("column %s comes from nowhere", c.Target.Name)
			}
		}
	})
}
