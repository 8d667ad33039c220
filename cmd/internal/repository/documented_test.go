package repository

import (
	"go/ast"
	"go/token"
	"strings"
	"testing"
)

// Every package says what it is for, and every exported name what it means. In a
// group of constants or variables the comment of the group will do. Methods that
// an interface of the standard library defines explain themselves.
func TestExportsAreDocumented(t *testing.T) {
	selfExplaining := map[string]bool{"Error": true, "Unwrap": true, "String": true, "MarshalJSON": true, "UnmarshalJSON": true, "Len": true, "Less": true, "Swap": true,
		"Scan": true, "Close": true, "GoString": true, "Format": true, "MarshalText": true}
	packages := map[string]bool{}
	exports := 0
	for _, s := range sources(t) {
		if strings.HasSuffix(s.name, "_test.go") {
			continue
		}
		packages[s.folder] = packages[s.folder] || s.file.Doc != nil
		if s.file.Name.Name == "main" {
			continue
		}
		missing := func(at token.Pos, name string) {
			t.Errorf("%s: %s has no comment", s.at.Position(at), name)
		}
		for _, d := range s.file.Decls {
			switch d := d.(type) {
			case *ast.FuncDecl:
				if !d.Name.IsExported() || d.Recv != nil && (!ast.IsExported(receiver(d)) || selfExplaining[d.Name.Name]) {
					continue
				}
				if exports++; d.Doc == nil {
					missing(d.Pos(), d.Name.Name)
				}
			case *ast.GenDecl:
				for _, spec := range d.Specs {
					name, documented := specDoc(spec)
					if !ast.IsExported(name) {
						continue
					}
					if exports++; !documented && d.Doc == nil {
						missing(spec.Pos(), name)
					}
				}
			}
		}
	}
	for folder, documented := range packages {
		if !documented {
			t.Errorf("package in %s has no comment that says what it is for", folder)
		}
	}
	if exports < 500 {
		t.Errorf("only %d exported names seen", exports)
	}
}

// receiver is the name of a method's type.
func receiver(d *ast.FuncDecl) string {
	x := d.Recv.List[0].Type
	for {
		switch y := x.(type) {
		case *ast.StarExpr:
			x = y.X
		case *ast.IndexExpr:
			x = y.X
		case *ast.IndexListExpr:
			x = y.X
		case *ast.Ident:
			return y.Name
		default:
			return ""
		}
	}
}

// specDoc is the first exported name of a declaration and whether it has a
// comment of its own.
func specDoc(spec ast.Spec) (name string, documented bool) {
	switch s := spec.(type) {
	case *ast.TypeSpec:
		return s.Name.Name, s.Doc != nil
	case *ast.ValueSpec:
		for _, n := range s.Names {
			if n.IsExported() {
				name = n.Name
			}
		}
		return name, s.Doc != nil || s.Comment != nil
	}
	return "", true
}
