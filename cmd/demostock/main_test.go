package main

import (
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"relaysweep/catalog"
)

var committed = filepath.Join("..", "..", "testdata", "demo", "stock.csv")

// written is what the program writes, made once for all tests.
var written = sync.OnceValues(func() (string, error) {
	var out bytes.Buffer
	err := run(nil, &out)
	return out.String(), err
})

// load reads the committed table as the program itself would.
func load(t *testing.T) []*catalog.Lens {
	t.Helper()
	c, err := catalog.Load([]catalog.File{{Path: committed, Shown: "stock.csv"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range c.Warnings {
		t.Errorf("warning: %v", w)
	}
	return c.Lenses
}

func TestCommittedTableIsWhatTheProgramWrites(t *testing.T) {
	got, err := written()
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(committed)
	if err != nil {
		t.Fatal(err)
	}
	if got == string(want) {
		return
	}
	a, b := strings.Split(got, "\n"), strings.Split(string(want), "\n")
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			t.Fatalf("line %d of stock.csv is\n%s\nbut the program writes\n%s", i+1, b[i], a[i])
		}
	}
	t.Fatalf("stock.csv has %d lines, the program writes %d", len(b), len(a))
}

func TestRunWritesTheFileThatIsNamed(t *testing.T) {
	path := filepath.Join(t.TempDir(), "stock.csv")
	var out bytes.Buffer
	if err := run([]string{path}, &out); err != nil {
		t.Fatal(err)
	}
	got, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	want, err := written()
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("the file differs from what goes to standard output")
	}
	if out.Len() > 0 {
		t.Errorf("with a file, %d bytes went to standard output too", out.Len())
	}
}

func TestRunRefusesTwoFiles(t *testing.T) {
	folder := t.TempDir()
	a, b := filepath.Join(folder, "a.csv"), filepath.Join(folder, "b.csv")
	if err := run([]string{a, b}, io.Discard); err == nil {
		t.Error("two arguments were taken")
	}
	left, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	if len(left) > 0 {
		t.Errorf("a run that failed left %s", left[0].Name())
	}
}

func TestCommentsSayThatAllIsInvented(t *testing.T) {
	text, err := written()
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(text, "\npart,")
	for _, want := range []string{"invented", "go run ./cmd/demostock"} {
		if !strings.Contains(head, want) {
			t.Errorf("the comments at the top do not say %q:\n%s", want, head)
		}
	}
}
