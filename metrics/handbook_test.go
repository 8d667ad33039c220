package metrics

import (
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestHandbookNamesEveryFunction holds the package comment to its promise of one
// row a function: each exported function is named in it, and what looks like a
// function there exists.
func TestHandbookNamesEveryFunction(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	exported, known := map[string]bool{}, map[string]bool{}
	for _, file := range files {
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		tree, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range tree.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				known[d.Name.Name] = true
				if !d.Name.IsExported() {
					continue
				}
				if d.Doc == nil {
					t.Errorf("%s: %s has no comment", file, d.Name.Name)
				}
				if d.Recv == nil {
					exported[d.Name.Name] = true
				}
			case *ast.GenDecl:
				for _, s := range d.Specs {
					switch s := s.(type) {
					case *ast.TypeSpec:
						known[s.Name.Name] = true
					case *ast.ValueSpec:
						for _, n := range s.Names {
							known[n.Name] = true
						}
					}
				}
			}
		}
	}
	raw, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	for _, w := range regexp.MustCompile(`\w+`).FindAllString(string(raw), -1) {
		named[w] = true
	}
	for name := range exported {
		if !named[name] {
			t.Errorf("doc.go does not say what %s is for", name)
		}
	}
	// In the table, the right-hand column holds names only.
	row := regexp.MustCompile(`(?m)^//\t.*? {2,}(\S.*)$`)
	word := regexp.MustCompile(`\b[A-Z]\w+\b`)
	for _, m := range row.FindAllStringSubmatch(string(raw), -1) {
		for _, name := range word.FindAllString(m[1], -1) {
			if !known[name] {
				t.Errorf("doc.go names %s, which does not exist", name)
			}
		}
	}
}
