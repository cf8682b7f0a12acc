package main

import (
	"cmp"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// A shape is what was counted.
type shape struct {
	files, lines, functions int
	types                   map[string]*typeSize
	long                    []counted
	bare                    []bareNumber
}

type typeSize struct {
	name            string
	fields, methods int
}

// A counted is something with a name and a number of lines, or of other things.
type counted struct {
	name  string
	lines int
}

type bareNumber struct {
	at   token.Position
	text string
}

// addTree counts the Go files in dir and below it, tests left out.
func (s *shape) addTree(dir string, long int) error {
	return filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		source, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return s.addFile(path, source, long)
	})
}

// addFile counts one file.
func (s *shape) addFile(path string, source []byte, long int) error {
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, path, source, parser.SkipObjectResolution)
	if err != nil {
		return err
	}
	s.files++
	s.lines += strings.Count(string(source), "\n")
	dir := filepath.Dir(path)
	for _, d := range file.Decls {
		switch d := d.(type) {
		case *ast.GenDecl:
			s.addTypes(dir, d)
		case *ast.FuncDecl:
			s.functions++
			name := d.Name.Name
			if receiver := receiverOf(d); receiver != "" {
				s.typeOf(dir+"."+receiver).methods++
				name = receiver + "." + name
			}
			if n := files.Position(d.End()).Line - files.Position(d.Pos()).Line + 1; n > long {
				s.long = append(s.long, counted{dir + "." + name, n})
			}
			if d.Body != nil {
				s.addNumbers(files, d.Body)
			}
		}
	}
	slices.SortStableFunc(s.long, func(a, b counted) int { return cmp.Compare(b.lines, a.lines) })
	return nil
}

// addTypes counts the fields of the structs that d declares: an embedded type is one.
func (s *shape) addTypes(dir string, d *ast.GenDecl) {
	for _, spec := range d.Specs {
		t, ok := spec.(*ast.TypeSpec)
		if !ok {
			continue
		}
		if st, ok := t.Type.(*ast.StructType); ok {
			s.typeOf(dir + "." + t.Name.Name).fields = st.Fields.NumFields()
		}
	}
}

func (s *shape) typeOf(name string) *typeSize {
	if s.types == nil {
		s.types = map[string]*typeSize{}
	}
	if s.types[name] == nil {
		s.types[name] = &typeSize{name: name}
	}
	return s.types[name]
}

// receiverOf returns the name of the type that d is a method of; "" for a function.
func receiverOf(d *ast.FuncDecl) string {
	if d.Recv == nil {
		return ""
	}
	t := d.Recv.List[0].Type
	if star, ok := t.(*ast.StarExpr); ok {
		t = star.X
	}
	if generic, ok := t.(*ast.IndexExpr); ok {
		t = generic.X
	}
	if name, ok := t.(*ast.Ident); ok {
		return name.Name
	}
	return ""
}

// addNumbers finds the bare numbers in a body: all literal numbers but 0, 1, 2 and 0.5, those in the declaration
// of a constant, which name them, and those that count places: an index, the bounds of a slice, the length of an
// array, a shift.
func (s *shape) addNumbers(files *token.FileSet, body ast.Node) {
	ast.Inspect(body, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GenDecl:
			return n.Tok != token.CONST
		case *ast.IndexExpr:
			s.addNumbers(files, n.X)
			s.addNumbersUnlessLiteral(files, n.Index)
			return false
		case *ast.SliceExpr:
			s.addNumbers(files, n.X)
			for _, bound := range []ast.Expr{n.Low, n.High, n.Max} {
				s.addNumbersUnlessLiteral(files, bound)
			}
			return false
		case *ast.ArrayType:
			return false
		case *ast.BinaryExpr:
			if n.Op == token.SHL || n.Op == token.SHR {
				s.addNumbers(files, n.X)
				return false
			}
		case *ast.BasicLit:
			if (n.Kind == token.INT || n.Kind == token.FLOAT) && !plain(n.Value) {
				s.bare = append(s.bare, bareNumber{files.Position(n.Pos()), n.Value})
			}
		}
		return true
	})
}

// addNumbersUnlessLiteral counts in e, unless it is a number itself, or there is none.
func (s *shape) addNumbersUnlessLiteral(files *token.FileSet, e ast.Expr) {
	if _, literal := e.(*ast.BasicLit); e != nil && !literal {
		s.addNumbers(files, e)
	}
}

// plain reports whether a number needs no name.
func plain(text string) bool {
	v, err := strconv.ParseFloat(text, 64)
	return err == nil && (v == 0 || v == 1 || v == 2 || v == 0.5)
}

// largest returns the types with the most fields and methods.
func (s *shape) largest(n int) []typeSize {
	var all []typeSize
	for _, t := range s.types {
		all = append(all, *t)
	}
	slices.SortFunc(all, func(a, b typeSize) int {
		return cmp.Or(cmp.Compare(b.fields+b.methods, a.fields+a.methods), cmp.Compare(a.name, b.name))
	})
	return all[:min(n, len(all))]
}

// perFile returns how many bare numbers stand in each file, the fullest first.
func (s *shape) perFile() []counted {
	count := map[string]int{}
	for _, b := range s.bare {
		count[b.at.Filename]++
	}
	var all []counted
	for name, n := range count {
		all = append(all, counted{name, n})
	}
	slices.SortFunc(all, func(a, b counted) int {
		return cmp.Or(cmp.Compare(b.lines, a.lines), cmp.Compare(a.name, b.name))
	})
	return all
}
