package metrics

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// The rules of this package, read from its source: it computes on counts and
// touches nothing else, every exported name says what it is, and nothing is
// remembered between calls.

// forbiddenImports reach a file, a log, a database or a network. Of package time
// only the type of a date that the caller gives is allowed; see
// TestRuleChanceAndTimeComeFromTheCaller.
var forbiddenImports = []string{"os", "log", "database", "net", "syscall", "embed", "io", "path", "plugin", "unsafe", "testing"}

// packageSource parses the files of this folder that are not tests.
func packageSource(t *testing.T) (*token.FileSet, map[string]*ast.File) {
	t.Helper()
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	fset := token.NewFileSet()
	files := map[string]*ast.File{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(fset, name, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		files[name] = f
	}
	if len(files) < 10 {
		t.Fatalf("only %d files found", len(files))
	}
	return fset, files
}

func TestRuleImports(t *testing.T) {
	_, files := packageSource(t)
	for name, f := range files {
		for _, spec := range f.Imports {
			path, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			if problem := importProblem(path); problem != "" {
				t.Errorf("%s imports %s: %s", name, path, problem)
			}
		}
	}
}

// importProblem says why a path may not be imported here.
func importProblem(path string) string {
	first, _, _ := strings.Cut(path, "/")
	switch {
	case slices.Contains(forbiddenImports, first):
		return "this package reads no file and writes no log"
	case path == "math/rand":
		return "use math/rand/v2 with the caller's generator"
	case !strings.Contains(first, ".") && first != "hindcheck", strings.HasPrefix(path, "gonum.org/v1/gonum/"):
		return ""
	}
	return "only the standard library and gonum are imported here"
}

// TestRuleChanceAndTimeComeFromTheCaller: nothing draws from the shared generator
// of math/rand/v2, asks the clock or prints.
func TestRuleChanceAndTimeComeFromTheCaller(t *testing.T) {
	fset, files := packageSource(t)
	for _, f := range files {
		ast.Inspect(f, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok {
				if id, ok := call.Fun.(*ast.Ident); ok && (id.Name == "println" || id.Name == "print") {
					t.Errorf("%s: %s", fset.Position(n.Pos()), id.Name)
				}
			}
			sel, ok := n.(*ast.SelectorExpr)
			if !ok {
				return true
			}
			pkg, ok := sel.X.(*ast.Ident)
			if !ok {
				return true
			}
			switch {
			case pkg.Name == "time" && sel.Sel.Name != "Time":
				t.Errorf("%s: time.%s; only dates that the caller gives are used here", fset.Position(n.Pos()), sel.Sel.Name)
			case pkg.Name == "rand" && !slices.Contains([]string{"Rand", "Source", "New", "NewPCG", "PCG"}, sel.Sel.Name):
				t.Errorf("%s: rand.%s draws from a shared generator; take a *rand.Rand", fset.Position(n.Pos()), sel.Sel.Name)
			case pkg.Name == "fmt" && strings.HasPrefix(sel.Sel.Name, "Print"):
				t.Errorf("%s: fmt.%s prints", fset.Position(n.Pos()), sel.Sel.Name)
			}
			return true
		})
	}
}

func TestRuleExportsAreDocumented(t *testing.T) {
	fset, files := packageSource(t)
	seen := 0
	for _, f := range files {
		for _, e := range exportsOf(f) {
			seen++
			switch at := fset.Position(e.pos); {
			case e.doc == "":
				t.Errorf("%s: %s has no doc comment", at, e.name)
			case e.named && !strings.HasPrefix(e.doc, e.bare+" "):
				t.Errorf("%s: the doc comment of %s begins with %q, expected its name", at, e.name, firstWords(e.doc))
			}
		}
	}
	if seen < 50 {
		t.Errorf("only %d exported names found", seen)
	}
}

// export is one exported name and the comment that explains it.
type export struct {
	name, bare, doc string
	pos             token.Pos
	named           bool // the comment is its own and should begin with the name
	function        bool
}

func exportsOf(f *ast.File) []export {
	var out []export
	for _, decl := range f.Decls {
		switch d := decl.(type) {
		case *ast.FuncDecl:
			if name, ok := exportedFunc(d); ok {
				out = append(out, export{name, d.Name.Name, d.Doc.Text(), d.Pos(), true, d.Recv == nil})
			}
		case *ast.GenDecl:
			for _, spec := range d.Specs {
				out = append(out, exportsOfSpec(d, spec)...)
			}
		}
	}
	return out
}

// exportsOfSpec covers types, constants and variables. Members of a group may
// share the group's comment, or be named in that of another member.
func exportsOfSpec(d *ast.GenDecl, spec ast.Spec) []export {
	switch s := spec.(type) {
	case *ast.TypeSpec:
		if s.Name.IsExported() {
			doc := d.Doc.Text()
			if s.Doc != nil {
				doc = s.Doc.Text()
			}
			return []export{{s.Name.Name, s.Name.Name, doc, s.Pos(), true, false}}
		}
	case *ast.ValueSpec:
		var out []export
		for _, id := range s.Names {
			if id.IsExported() {
				doc := s.Doc.Text() + s.Comment.Text() + d.Doc.Text()
				for _, other := range d.Specs {
					if o := other.(*ast.ValueSpec); slices.Contains(wordsOf(o.Doc.Text()), id.Name) {
						doc += o.Doc.Text()
					}
				}
				out = append(out, export{id.Name, id.Name, doc, id.Pos(), false, false})
			}
		}
		return out
	}
	return nil
}

// exportedFunc reports a function, or a method of an exported type.
func exportedFunc(d *ast.FuncDecl) (string, bool) {
	if !d.Name.IsExported() {
		return "", false
	}
	if d.Recv == nil {
		return d.Name.Name, true
	}
	typ := d.Recv.List[0].Type
	if star, ok := typ.(*ast.StarExpr); ok {
		typ = star.X
	}
	id, ok := typ.(*ast.Ident)
	if !ok || !id.IsExported() {
		return "", false
	}
	return id.Name + "." + d.Name.Name, true
}

// wordsOf splits a text into names and numbers.
func wordsOf(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool {
		return !(r >= '0' && r <= '9' || r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z')
	})
}

func firstWords(doc string) string {
	words := strings.Fields(doc)
	return strings.Join(words[:min(3, len(words))], " ")
}

// TestRuleNoGlobalState: a package variable is a sentinel error or a table that
// no function assigns to.
func TestRuleNoGlobalState(t *testing.T) {
	fset, files := packageSource(t)
	tables := map[string]bool{}
	for _, f := range files {
		for _, decl := range f.Decls {
			d, ok := decl.(*ast.GenDecl)
			if !ok || d.Tok != token.VAR {
				continue
			}
			for _, spec := range d.Specs {
				s := spec.(*ast.ValueSpec)
				for i, id := range s.Names {
					if id.Name == "_" {
						continue
					}
					if i >= len(s.Values) || !constantLike(s.Values[i]) {
						t.Errorf("%s: %s is neither a sentinel error nor a table", fset.Position(id.Pos()), id.Name)
					}
					tables[id.Name] = true
				}
			}
		}
	}
	for _, f := range files {
		for _, at := range assignmentsTo(f, tables) {
			t.Errorf("%s: a package variable is written to", fset.Position(at))
		}
	}
}

// constantLike accepts errors.New(...) and composite literals.
func constantLike(e ast.Expr) bool {
	switch v := e.(type) {
	case *ast.CompositeLit:
		return true
	case *ast.CallExpr:
		sel, ok := v.Fun.(*ast.SelectorExpr)
		if !ok {
			return false
		}
		pkg, ok := sel.X.(*ast.Ident)
		return ok && pkg.Name == "errors" && sel.Sel.Name == "New"
	}
	return false
}

// assignmentsTo finds writes to any of the names, through indices and fields
// too.
func assignmentsTo(f *ast.File, names map[string]bool) []token.Pos {
	var out []token.Pos
	written := func(e ast.Expr) {
		for {
			switch v := e.(type) {
			case *ast.IndexExpr:
				e = v.X
				continue
			case *ast.SelectorExpr:
				e = v.X
				continue
			case *ast.Ident:
				if names[v.Name] {
					out = append(out, v.Pos())
				}
			}
			return
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch s := n.(type) {
		case *ast.AssignStmt:
			if s.Tok != token.DEFINE {
				for _, lhs := range s.Lhs {
					written(lhs)
				}
			}
		case *ast.IncDecStmt:
			written(s.X)
		}
		return true
	})
	return out
}

// TestRulesCatch shows that each rule can fail.
func TestRulesCatch(t *testing.T) {
	for path, bad := range map[string]bool{
		"math": false, "math/rand/v2": false, "gonum.org/v1/gonum/mat": false, "slices": false,
		"os": true, "time": false, "log/slog": true, "database/sql": true, "net/http": true, "math/rand": true,
		"hindcheck/pipeline": true, "github.com/google/go-cmp/cmp": true, "gonum.org/v1/plot": true,
	} {
		if got := importProblem(path); (got != "") != bad {
			t.Errorf("import %s: %q", path, got)
		}
	}
	const source = `package p
var Counter int
var cache = map[string]int{}
// Documented is.
func Documented() { cache["a"]++ }
func Bare() {}
type hidden struct{}
func (hidden) Method() {}
type Shown struct{}
func (*Shown) Method() { Counter = 1 }
const ( A = 1 // a trailing word is enough
)`
	f, err := parser.ParseFile(token.NewFileSet(), "p.go", source, parser.ParseComments|parser.SkipObjectResolution)
	if err != nil {
		t.Fatal(err)
	}
	var bare []string
	for _, e := range exportsOf(f) {
		if e.doc == "" {
			bare = append(bare, e.name)
		}
	}
	if want := []string{"Counter", "Bare", "Shown", "Shown.Method"}; !slices.Equal(bare, want) {
		t.Errorf("without comment: %v, want %v", bare, want)
	}
	if n := len(assignmentsTo(f, map[string]bool{"Counter": true, "cache": true})); n != 2 {
		t.Errorf("%d writes found, want 2", n)
	}
	if constantLike(nil) || !constantLike(&ast.CompositeLit{}) {
		t.Error("constantLike")
	}
}
