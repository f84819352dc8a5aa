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

// mayImport are the packages of this module that those of a folder may import:
// optics never know of the search, the search never of files of results, and
// results nothing of either.
var mayImport = map[string][]string{
	"catalog":            {},
	"objective":          {"catalog", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/raycheck": {"catalog", "objective", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/ideal":    {"catalog", "objective", "objective/internal/testlens", "objective/internal/testtrain"},
	"objective/internal": {"catalog", "objective", "objective/internal/testlens"},
	"sweep":              {"catalog", "objective", "objective/raycheck", "objective/ideal", "sweep/internal/plain"},
	"sweep/internal":     {"catalog"},
	"results":            {},
	"cmd":                {"catalog", "objective", "objective/raycheck", "sweep", "results"},
}

func TestImportDirections(t *testing.T) {
	found := map[string]bool{}
	for _, name := range repositoryFiles(t) {
		if path.Ext(name) != ".go" {
			continue
		}
		folder := path.Dir(name)
		for mayImport[folder] == nil && path.Dir(folder) != "." { // the deepest that is known
			folder = path.Dir(folder)
		}
		allowed, known := mayImport[folder]
		if !known {
			t.Errorf("%s: no package belongs in %s", name, folder)
		}
		found[folder] = true
		file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(top, name), nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, spec := range file.Imports {
			imported, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				t.Fatal(err)
			}
			own, ok := strings.CutPrefix(imported, "relaysweep/")
			// Only tests look at a plain second opinion and at the helpers of tests.
			internal := strings.Contains(own, "/internal/") && !strings.HasSuffix(name, "_test.go") && !strings.Contains(name, "/internal/")
			if ok && own != folder && (internal || !slices.Contains(allowed, own)) {
				t.Errorf("%s imports %s", name, own)
			}
		}
	}
	for folder := range mayImport {
		if !found[folder] {
			t.Errorf("%s has no Go file", folder)
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

// exportedReceiver tells whether a function is none or one of an exported type.
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
