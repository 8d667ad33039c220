package repository

import (
	"go/ast"
	"go/parser"
	"go/token"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const root = "../../.."

// source is one parsed file.
type source struct {
	name, folder string
	test         bool
	file         *ast.File
	imports      []string
	at           *token.FileSet
}

func sources(t *testing.T) []source {
	t.Helper()
	names, err := files(root)
	if err != nil {
		t.Fatal(err)
	}
	var out []source
	for _, name := range names {
		if !strings.HasSuffix(name, ".go") || strings.Contains(name, "/testdata/") {
			continue
		}
		at := token.NewFileSet()
		f, err := parser.ParseFile(at, filepath.Join(root, name), nil, parser.SkipObjectResolution|parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		// Packages whose name ends in "test" hold helpers that only tests import.
		s := source{name: name, folder: path.Dir(name), test: strings.HasSuffix(name, "_test.go") || strings.HasSuffix(path.Dir(name), "test"), file: f, at: at}
		for _, i := range f.Imports {
			p, err := strconv.Unquote(i.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			s.imports = append(s.imports, p)
		}
		out = append(out, s)
	}
	if len(out) < 100 {
		t.Fatalf("only %d Go files found", len(out))
	}
	return out
}

func room(folder string) string { return strings.SplitN(folder, "/", 2)[0] }

// arrows say which rooms a room may import besides itself. A stage knows only
// the one before it; the commands join them.
var arrows = map[string][]string{
	"cmd":      {"pipeline", "queries", "metrics", "datasets"},
	"queries":  {"pipeline"},
	"pipeline": {},
	"metrics":  {},
	"datasets": {},
}

// testArrows are what tests may import besides; nothing may import cmd.
var testArrows = map[string][]string{
	"queries":  {"datasets"},
	"pipeline": {"datasets"},
	"datasets": {"pipeline"},
}

func TestImportArrows(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range sources(t) {
		from := room(s.folder)
		allowed, known := arrows[from]
		if !known {
			t.Errorf("%s: Go code outside the rooms %q", s.name, slices.Sorted(maps.Keys(arrows)))
			continue
		}
		seen[from] = true
		for _, p := range s.imports {
			ours, ok := strings.CutPrefix(p, "hindcheck/")
			if !ok {
				continue
			}
			to := room(ours)
			if to != from && !slices.Contains(allowed, to) && !(s.test && slices.Contains(testArrows[from], to)) {
				t.Errorf("%s imports %s: %s may import %q of ours", s.name, p, from, allowed)
			}
			if !s.test && strings.HasSuffix(p, "test") {
				t.Errorf("%s imports %s, which is for tests", s.name, p)
			}
		}
	}
	if len(seen) != len(arrows) {
		t.Errorf("rooms with Go code %v, want all of %v", slices.Sorted(maps.Keys(seen)), slices.Sorted(maps.Keys(arrows)))
	}
}

// drivers lists the folders that import the DuckDB driver itself, and why. All
// others go through database/sql and pipeline/duck.
var drivers = map[string]string{
	"pipeline/duck":    "opens it with our settings",
	"pipeline/resolve": "appends the episode of each call while it walks the calls in order",
	"queries/sandbox":  "prepares one statement and asks for its type, which database/sql cannot",
}

// driverTests are the same for tests.
var driverTests = map[string]string{
	"pipeline/casedef": "appends outcomes to compare the compiled definition with the evaluator",
	"pipeline/rules":   "appends cases to compare the compiled rules with the evaluator",
}

func TestWhoImportsTheDriver(t *testing.T) {
	found := map[bool]map[string]bool{false: {}, true: {}}
	for _, s := range sources(t) {
		for _, p := range s.imports {
			if strings.HasPrefix(p, "github.com/duckdb/") {
				found[s.test][s.folder] = true
			}
		}
	}
	for test, allowed := range map[bool]map[string]string{false: drivers, true: driverTests} {
		for folder := range found[test] {
			if allowed[folder] == "" && drivers[folder] == "" {
				t.Errorf("%s imports the DuckDB driver (in a test: %v): use pipeline/duck, or give a reason here", folder, test)
			}
		}
		for folder := range allowed {
			if !found[test][folder] {
				t.Errorf("%s no longer imports the DuckDB driver (in a test: %v): strike it off", folder, test)
			}
		}
	}
}

// Only the main of a command ends the process, and only it knows standard
// output: everything else writes where it is told, and returns its error.
func TestOnlyMainExits(t *testing.T) {
	exits := 0
	for _, s := range sources(t) {
		if s.test {
			continue
		}
		main := s.file.Name.Name == "main" && path.Base(s.name) == "main.go"
		ast.Inspect(s.file, func(n ast.Node) bool {
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			pkg, ok := sel.X.(*ast.Ident)
			if !ok {
				return true
			}
			name := pkg.Name + "." + sel.Sel.Name
			switch name {
			case "os.Exit", "os.Stdout", "os.Stderr":
				if main {
					exits++
					return true
				}
			case "fmt.Print", "fmt.Println", "fmt.Printf", "log.Fatal", "log.Fatalf", "log.Fatalln", "log.Print", "log.Printf", "log.Println":
			default:
				return true
			}
			t.Errorf("%v: %s below a command's main", s.at.Position(sel.Pos()), name)
			return true
		})
	}
	if exits == 0 {
		t.Error("no command uses os.Exit: is the test looking at the right files?")
	}
}

func TestTopLevel(t *testing.T) {
	want := []string{"CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "README.md", "cmd", "datasets", "go.mod", "go.sum", "metrics", "notebooks", "pipeline", "queries"}
	// What a user tried here is no part of the project.
	if tracked, err := exec.Command("git", "-C", root, "ls-tree", "--name-only", "HEAD").Output(); err != nil {
		t.Logf("what git holds is not looked at: %v", err)
	} else {
		for name := range strings.FieldsSeq(string(tracked)) {
			if !strings.HasPrefix(name, ".") && !slices.Contains(want, name) {
				t.Errorf("%s at the top level: expected only %v", name, want)
			}
		}
	}
	for _, name := range []string{"README.md", "DEVELOPERS.md", "go.mod", "cmd/ingest", "cmd/report", "pipeline", "metrics", "queries", "datasets"} {
		if _, err := os.Stat(filepath.Join(root, name)); err != nil {
			t.Errorf("%s is missing: %v", name, err)
		}
	}
}
