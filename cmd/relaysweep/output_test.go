package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"relaysweep/results"
)

// sweptJob has a swept number and a swept text, points where nothing passes
// among them, lenses without a price, and all three layouts' columns in use.
var sweptJob = []string{
	"lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"erector-single\", \"erector-pair\"]",
	"top = 8", "top = 4",
	"view_blur_arcmin = 24", "view_blur_arcmin = 40",
	"mask_blur_arcmin = 12", "mask_blur_arcmin = 30",
	"vignetted_pct = 20", `vignetted_pct = 60

[sweep]
"field.width_deg" = [8, 10.5]
"mask.seat" = ["rear", "either"]`,
}

// TestSameBytes runs one job on one, two and eight cores, and once more.
func TestSameBytes(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	focals := manyFocals
	if testing.Short() {
		focals = fewFocals
	}
	spec := newJobOf(t, smallLenses(focals))
	var first [2][]byte
	var stdout string
	for i, cores := range []int{1, 2, 8, 1} {
		runtime.GOMAXPROCS(cores)
		o := must(t, exitDone, "run", "--restart", spec)
		for k, name := range []string{rankedFile, setpointsFile} {
			data := readFile(t, outputOf(spec), name)
			if i == 0 {
				first[k] = data
			} else if !bytes.Equal(data, first[k]) {
				t.Errorf("run %d on %d cores: %s differs", i, cores, name)
			}
		}
		if i == 0 {
			stdout = o.stdout
		} else if o.stdout != stdout {
			t.Errorf("run %d on %d cores printed\n%s\nand the first\n%s", i, cores, o.stdout, stdout)
		}
	}
}

// TestSameWorkers sets the number of workers in the spec: the bytes of the
// Parquet files, the rows and the proof have to be the same.
func TestSameWorkers(t *testing.T) {
	type result struct {
		Designs   []results.Design
		Setpoints []results.Setpoint
		Points    []results.ManifestPoint
	}
	var first result
	var bytesOf [2][]byte
	for _, workers := range []int{1, 2, 8} {
		output := finishedJob(t, append([]string{`name = "small"`, fmt.Sprintf("name = \"small\"\nworkers = %d", workers)}, sweptJob...)...)
		r := result{readRanked(t, output), readSetpoints(t, output), readManifest(t, output).Points}
		for i := range r.Points {
			r.Points[i].Seconds = nil
		}
		for k, name := range []string{rankedFile, setpointsFile} {
			data := readFile(t, output, name)
			if workers == 1 {
				bytesOf[k] = data
			} else if !bytes.Equal(data, bytesOf[k]) {
				t.Errorf("%s differs between 1 and %d workers", name, workers)
			}
		}
		if workers == 1 {
			first = r
		} else if diff := cmp.Diff(first, r, compareBig, compareValue); diff != "" {
			t.Errorf("1 worker -, %d workers +\n%s", workers, diff)
		}
	}
	if len(first.Designs) < 8 {
		t.Errorf("only %d designs to compare", len(first.Designs))
	}
}

// TestNoEscapes: what does not go to a terminal holds no escape sequence,
// whatever the environment says, and neither do messages.
func TestNoEscapes(t *testing.T) {
	for _, set := range []bool{false, true} {
		if set {
			t.Setenv("NO_COLOR", "1")
		} else {
			t.Setenv("NO_COLOR", "")
			t.Setenv("TERM", "xterm-256color")
		}
		spec := newJob(t)
		for _, args := range [][]string{
			{"run", spec}, {"check", spec}, {"show", outputOf(spec)}, {"show", outputOf(spec), "--rank", "1"}, {"--help"}, {"nosuch"},
		} {
			o := invoke(t, args...)
			if strings.ContainsAny(o.stdout+o.stderr, "\x1b\r") {
				t.Errorf("%s printed %q", args[0], o.stdout+o.stderr)
			}
			for line := range strings.Lines(o.stdout) {
				if strings.TrimRight(line, " \n") != strings.TrimSuffix(line, "\n") {
					t.Errorf("%s printed a line that ends in blanks: %q", args[0], line)
				}
			}
		}
	}
}

func readRanked(t testing.TB, output string) []results.Design {
	t.Helper()
	designs, _, err := results.ReadRanked(filepath.Join(output, rankedFile))
	if err != nil {
		t.Fatal(err)
	}
	return designs
}

func readSetpoints(t testing.TB, output string) []results.Setpoint {
	t.Helper()
	setpoints, err := results.ReadSetpoints(filepath.Join(output, setpointsFile))
	if err != nil {
		t.Fatal(err)
	}
	return setpoints
}

func readManifest(t testing.TB, output string) *results.Manifest {
	t.Helper()
	m, err := results.ReadManifest(filepath.Join(output, manifestFile))
	if err != nil {
		t.Fatal(err)
	}
	return m
}
