package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// smallSpec is a job that a second is enough for, at paraxial gaps.
const smallSpec = `[job]
name = "small"
top = 8

[catalog]
files = ["lenses.csv"]

[train]
lenses_per_group = 1

[field]
width_deg = 10
height_deg = 7.5

[eye]
refocus_max_D = 2
sharp_box_mm = 0

[depth]
near_m = 0.25

[mask]
width_mm = 36
height_mm = 24
pixel_um = 20

[stage]
travel_mm = 15

[limits]
field_fraction = 0.7
pixel_arcmin = 2.5
view_blur_arcmin = 16
mask_blur_arcmin = 12
vignetted_pct = 20

[refine]
method = "none"
`

// Nominal focal lengths in mm of the lenses of small jobs: a few for tests of
// the command, more for tests of what it finds.
var (
	fewFocals  = []float64{40, 45}
	manyFocals = []float64{20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100}
)

// smallLenses is a table with a plano-convex and an equi-convex lens of each
// focal length, of N-BK7 with n = 1.5187 at the e line: by the lensmaker's
// equation for thin lenses, 1/f = (n - 1)(1/r1 - 1/r2), the radii are 0.5187·f
// and ±1.0374·f.
func smallLenses(focals []float64) string {
	var b strings.Builder
	fmt.Fprintln(&b, "part,vendor,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,price")
	for i, f := range focals {
		diameter := 25.0
		if f < 30 {
			diameter = 18
		}
		const edge = 1.5
		thickness := func(faces, r float64) float64 {
			return edge + faces*(r-math.Sqrt(r*r-diameter*diameter/4))
		}
		r := 0.5187 * f
		fmt.Fprintf(&b, "pc%g,Invented,plano-convex,%g,%.3f,%.1f,N-BK7,inf,%d\n", f, diameter, r, thickness(1, r), 10+i)
		r *= 2
		fmt.Fprintf(&b, "bc%g,Invented,bi-convex,%g,%.3f,%.1f,N-BK7,%.3f,%d\n", f, diameter, r, thickness(2, r), -r, 20+i)
	}
	return b.String()
}

// newJob makes a folder with the spec of the small job and a table of a few
// lenses and returns the spec's path. The edits are pairs of a text of the spec
// and what replaces it.
func newJob(t testing.TB, edits ...string) string {
	t.Helper()
	return newJobOf(t, smallLenses(fewFocals), edits...)
}

// newJobOf is newJob with a lens table.
func newJobOf(t testing.TB, lenses string, edits ...string) string {
	t.Helper()
	folder := t.TempDir()
	spec := smallSpec
	for i := 0; i+1 < len(edits); i += 2 {
		if strings.Count(spec, edits[i]) != 1 {
			t.Fatalf("the spec has %q %d times, not once", edits[i], strings.Count(spec, edits[i]))
		}
		spec = strings.Replace(spec, edits[i], edits[i+1], 1)
	}
	path := filepath.Join(folder, "job.toml")
	for name, text := range map[string]string{path: spec, filepath.Join(folder, "lenses.csv"): lenses} {
		if err := os.WriteFile(name, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// outcome is what a command left at its three outputs.
type outcome struct {
	code           int
	stdout, stderr string
}

// invoke runs a command line as main does.
func invoke(t testing.TB, args ...string) outcome {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code := run(t.Context(), args, &stdout, &stderr)
	return outcome{code, stdout.String(), stderr.String()}
}

// must runs a command line that has to end with the code.
func must(t testing.TB, code int, args ...string) outcome {
	t.Helper()
	o := invoke(t, args...)
	if o.code != code {
		t.Fatalf("relaysweep %s ended with %d, not %d\n%s%s", strings.Join(args, " "), o.code, code, o.stdout, o.stderr)
	}
	return o
}

// outputOf is the output folder of a small job.
func outputOf(spec string) string {
	return filepath.Join(filepath.Dir(spec), "out", "small")
}

// finishedJob runs a small job and returns its output folder.
func finishedJob(t testing.TB, edits ...string) string {
	t.Helper()
	spec := newJob(t, edits...)
	must(t, exitDone, "run", spec)
	return outputOf(spec)
}

// listing is every file and folder below a folder.
func listing(t testing.TB, folder string) []string {
	t.Helper()
	var names []string
	err := filepath.WalkDir(folder, func(path string, _ fs.DirEntry, err error) error {
		names = append(names, path)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return names
}

// readFile is the content of a file.
func readFile(t testing.TB, parts ...string) []byte {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(parts...))
	if err != nil {
		t.Fatal(err)
	}
	return data
}
