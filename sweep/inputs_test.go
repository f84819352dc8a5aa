package sweep

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestInputs copies a job's files under the names that it gives them into
// another folder, changes the files themselves, and opens the copies: they have
// to make the same job. Tables stand in folders of their own, under one name.
func TestInputs(t *testing.T) {
	const lenses = "part,diameter_mm,r1_mm,t1_mm,glass1,r2_mm\n"
	folder := t.TempDir()
	files := map[string]string{
		"job/spec of mine.toml": `[job]
name = "copied"
[catalog]
files = ["../a/lenses.csv", "../b/lenses.csv"]
glasses = ["../glasses/mine.csv"]
[field]
width_deg = 10
height_deg = 7.5
[depth]
near_m = 0.25
[mask]
width_mm = 36
height_mm = 24
pixel_um = 20
[stage]
travel_mm = 15
[sweep]
"stage.travel_mm" = [5, 15]
`,
		"a/lenses.csv":     lenses + "first,25,30,9,MINE,-30\n",
		"b/lenses.csv":     lenses + "second,25,40,4,N-BK7,inf\nthird,25,50,4,N-BK7,inf\n",
		"glasses/mine.csv": "glass,nd,Vd\nMINE,1.6,50\n",
	}
	for name, text := range files {
		path := filepath.Join(folder, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	job, err := Open(context.Background(), filepath.Join(folder, "job", "spec of mine.toml"))
	if err != nil {
		t.Fatal(err)
	}
	copies := t.TempDir()
	for _, in := range job.Inputs() {
		data, err := os.ReadFile(in.File.Path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(copies, in.Copy), data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for name := range files {
		if err := os.WriteFile(filepath.Join(folder, name), []byte("something else"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	again, err := OpenInputs(func(name string) string { return filepath.Join(copies, name) })
	if err != nil {
		t.Fatal(err)
	}
	if again.Spec.SHA256 != job.Spec.SHA256 || len(again.Points) != 2 {
		t.Errorf("the copies make a job of spec %s with %d points", again.Spec.SHA256, len(again.Points))
	}
	if diff := cmp.Diff(job.Catalog.Tables, again.Catalog.Tables); diff != "" {
		t.Errorf("lens tables: read -, copied +\n%s", diff)
	}
	if diff := cmp.Diff(job.Catalog.GlassTables, again.Catalog.GlassTables); diff != "" {
		t.Errorf("glass tables: read -, copied +\n%s", diff)
	}
	lib := again.LibraryOf(again.Points[1].Spec.Problem(), map[string]bool{"first": true, "third": true})
	if len(lib.Lenses) != 2 {
		t.Fatalf("%d lenses of two parts", len(lib.Lenses))
	}
	// The glass of the user's own table: nd = 1.6 at the d line, 587.56 nm.
	if n := lib.Lenses[0].Glasses[0].Index(587.56); n < 1.5999 || n > 1.6001 {
		t.Errorf("the glass MINE has index %v", n)
	}
	if lib.ElementOf("first", true) != nil || lib.ElementOf("third", true) == nil || lib.ElementOf("second", false) != nil {
		t.Error("the library's elements are not those of the parts")
	}
}
