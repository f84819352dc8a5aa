package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// top is the top of the repository.
var top = filepath.Join("..", "..")

// repositoryFiles are the files of the repository by their path from the top,
// with slashes: all but what git ignores and keeps for itself.
func repositoryFiles(t *testing.T) []string {
	t.Helper()
	var files []string
	err := fs.WalkDir(os.DirFS(top), ".", func(path string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case slices.Contains([]string{".git", "node_modules", "out"}, entry.Name()):
			if entry.IsDir() {
				return fs.SkipDir
			}
		case !entry.IsDir():
			files = append(files, path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return files
}

// mayImport are the folders of Go files, and the packages of this module that
// those of each may import: optics never know of the search, the search never of
// files of results, and results nothing of either. Within optics the model of
// trains never knows of what measures them. Tests are held to the same.
var mayImport = map[string][]string{
	"catalog":                      {},
	"catalog/sheet":                {"catalog"},
	"objective":                    {"catalog", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/raycheck":           {"catalog", "objective", "objective/raycheck/lanes", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/raycheck/lanes":     {"catalog", "objective/internal/testlens"},
	"objective/raycheck/lanes/gen": {}, // a module of its own
	"objective/ideal":              {"catalog", "objective", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/internal/testlens":  {"catalog", "objective"},
	"objective/internal/testtrain": {"catalog", "objective", "objective/internal/testlens"},
	"objective/thirdorder":         {"catalog", "objective", "objective/internal/testtrain"},
	"objective/bench":              {"catalog", "objective", "objective/raycheck", "objective/raycheck/lanes", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/calibrate":          {"catalog", "objective", "objective/raycheck"},
	"objective/look":               {"catalog", "objective", "objective/raycheck", "objective/internal/testlens", "objective/internal/testtrain"},
	"sweep/journal":                {},
	"sweep/yield":                  {"catalog", "objective", "objective/bench", "sweep/journal"},
	"sweep/spec":                   {"catalog", "objective"},
	"sweep": {
		"catalog", "objective", "objective/raycheck", "objective/ideal", "objective/thirdorder", "objective/bench",
		"sweep/spec", "sweep/journal", "sweep/yield", "sweep/internal/secondmodel",
	},
	"sweep/internal/secondmodel": {"catalog"},
	"results":                    {},
	"cmd/relaysweep": {
		"catalog", "catalog/sheet", "objective", "objective/raycheck", "objective/ideal", "objective/thirdorder",
		"objective/bench", "objective/calibrate", "objective/look", "sweep", "sweep/spec", "sweep/journal", "sweep/yield", "results",
	},
	"cmd/demostock": {"catalog", "objective", "objective/raycheck", "sweep", "sweep/spec", "results"},
}

// forTests are the folders of packages that only tests import, and each other: the second
// model would be no second opinion otherwise.
var forTests = []string{"objective/internal/", "sweep/internal/"}

func isForTests(own string) bool {
	return slices.ContainsFunc(forTests, func(folder string) bool { return strings.HasPrefix(own, folder) })
}

func TestImportDirections(t *testing.T) {
	folders := map[string]bool{}
	for _, name := range repositoryFiles(t) {
		if path.Ext(name) != ".go" {
			continue
		}
		folders[path.Dir(name)] = true
		file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(top, name), nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		var imported []string
		for _, spec := range file.Imports {
			of, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			imported = append(imported, of)
		}
		for _, fault := range wrongImports(name, imported) {
			t.Error(fault)
		}
	}
	for folder := range mayImport {
		if !folders[folder] {
			t.Errorf("%s is listed, and has no Go file", folder)
		}
	}
}

// wrongImports says what is wrong with where a Go file stands and what it
// imports.
func wrongImports(name string, imported []string) []string {
	allowed, known := mayImport[path.Dir(name)]
	if !known {
		return []string{name + ": no package belongs in " + path.Dir(name)}
	}
	var faults []string
	for _, of := range imported {
		own, ok := strings.CutPrefix(of, "relaysweep/")
		if !ok || own == path.Dir(name) { // a test from outside its own package
			continue
		}
		if !slices.Contains(allowed, own) || isForTests(own) && !isForTests(name) && !strings.HasSuffix(name, "_test.go") {
			faults = append(faults, name+" imports "+own)
		}
	}
	return faults
}

func TestWrongImports(t *testing.T) {
	for _, c := range []struct {
		file, imports string
		right         bool
	}{
		{"objective/raycheck/x.go", "relaysweep/objective", true},
		{"objective/x.go", "relaysweep/objective/raycheck", false},
		{"objective/ideal/x.go", "relaysweep/objective/raycheck", false},
		{"objective/raycheck/x.go", "relaysweep/objective/raycheck/lanes", true},
		{"cmd/relaysweep/x.go", "relaysweep/objective/raycheck/lanes", false},
		{"sweep/journal/x.go", "relaysweep/objective", false},
		{"sweep/spec/x.go", "relaysweep/sweep", false},
		{"sweep/x.go", "relaysweep/sweep/spec", true},
		{"sweep/x.go", "relaysweep/results", false},
		{"sweep/x.go", "relaysweep/sweep/internal/secondmodel", false},
		{"sweep/x_test.go", "relaysweep/sweep/internal/secondmodel", true},
		{"results/x_test.go", "relaysweep/catalog", false},
		{"results/x.go", "math", true},
		{"results/deeper/x.go", "math", false},
		{"x.go", "math", false},
	} {
		if faults := wrongImports(c.file, []string{c.imports}); (len(faults) == 0) != c.right {
			t.Errorf("%s imports %s: %q", c.file, c.imports, faults)
		}
	}
}

func TestTopLevel(t *testing.T) {
	known := []string{
		".ci", ".git", ".gitignore", "DEVELOPERS.md", "README.md", "catalog", "cmd", "go.mod", "go.sum", "objective", "results", "sweep", "testdata",
	}
	entries, err := os.ReadDir(top)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !slices.Contains(known, e.Name()) {
			t.Errorf("%s does not belong at the top", e.Name())
		}
	}
}

// ofOneMachine matches what holds on one machine only: absolute paths into the
// folders where people and machines keep things.
var ofOneMachine = regexp.MustCompile(`(^|[^\w./-])/(home|root|Users|work|tmp|mnt)/`)

func TestNoMachinePath(t *testing.T) {
	for name, want := range map[string]bool{
		"cd /ho" + "me/x/y": true, "\"/tm" + "p/x\"": true,
		"out/tmp/x": false, "a/home/b": false, "../mnt/x": false,
	} {
		if ofOneMachine.MatchString(name) != want {
			t.Errorf("%q: not %v", name, want)
		}
	}
	for _, name := range repositoryFiles(t) {
		if path.Base(name) == "go.sum" { // digests have slashes
			continue
		}
		data := readFile(t, top, name)
		for i, line := range strings.Split(string(data), "\n") {
			if ofOneMachine.MatchString(line) {
				t.Errorf("%s:%d: %s", name, i+1, ofOneMachine.FindString(line))
			}
		}
	}
}

// TestDocComments: each package states its subject, each exported function,
// method and type starts its comment with its name, and each exported constant
// and variable has a comment of its own or of its group.
func TestDocComments(t *testing.T) {
	described := map[string]bool{}
	for _, name := range repositoryFiles(t) {
		if path.Ext(name) != ".go" || strings.HasSuffix(name, "_test.go") {
			continue
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, filepath.Join(top, name), nil, parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		folder := path.Dir(name)
		described[folder] = described[folder] || file.Doc != nil
		for _, declaration := range file.Decls {
			for _, fault := range undocumented(declaration) {
				t.Errorf("%s:%d: %s", name, set.Position(declaration.Pos()).Line, fault)
			}
		}
	}
	for folder, has := range described {
		if !has {
			t.Errorf("%s: no comment says what the package is for", folder)
		}
	}
}

// undocumented names what a declaration exports without saying what it is.
func undocumented(declaration ast.Decl) []string {
	starts := func(doc *ast.CommentGroup, name string) bool {
		return strings.HasPrefix(doc.Text(), name+" ")
	}
	var faults []string
	switch d := declaration.(type) {
	case *ast.FuncDecl:
		if d.Name.IsExported() && exportedReceiver(d) && !starts(d.Doc, d.Name.Name) {
			faults = append(faults, d.Name.Name)
		}
	case *ast.GenDecl:
		for _, spec := range d.Specs {
			switch s := spec.(type) {
			case *ast.TypeSpec:
				if s.Name.IsExported() && !starts(s.Doc, s.Name.Name) && !starts(d.Doc, s.Name.Name) {
					faults = append(faults, s.Name.Name)
				}
			case *ast.ValueSpec:
				for _, n := range s.Names {
					if n.IsExported() && s.Doc == nil && s.Comment == nil && d.Doc == nil {
						faults = append(faults, n.Name)
					}
				}
			}
		}
	}
	return faults
}

// exportedReceiver reports whether a function is none or one of an exported type.
func exportedReceiver(d *ast.FuncDecl) bool {
	if d.Recv == nil {
		return true
	}
	exported := true
	ast.Inspect(d.Recv.List[0].Type, func(n ast.Node) bool {
		if name, ok := n.(*ast.Ident); ok {
			exported = name.IsExported()
			return false
		}
		return true
	})
	// What an interface of another package asks for is described there.
	return exported && !slices.Contains([]string{"String", "Error", "MarshalJSON", "UnmarshalJSON"}, d.Name.Name)
}

// TestFileLength keeps files at a length that one subject fills.
func TestFileLength(t *testing.T) {
	const most = 600
	for _, name := range repositoryFiles(t) {
		if path.Ext(name) != ".go" {
			continue
		}
		if lines := strings.Count(string(readFile(t, top, name)), "\n"); lines > most {
			t.Errorf("%s has %d lines, more than %d", name, lines, most)
		}
	}
}
