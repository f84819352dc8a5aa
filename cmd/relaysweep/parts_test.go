package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"relaysweep/sweep"
)

// TestPartsBytes does jobs in parts of points and of a point, and merges
// them: the bytes of one run, and the same table on stdout.
func TestPartsBytes(t *testing.T) {
	for _, c := range []struct {
		name  string
		spec  func() string
		parts int
	}{
		{"points", func() string { return longJob(t) }, 2},
		{"fronts", func() string {
			return newJobOf(t, smallLenses(manyFocals))
		}, 4},
		{"stacks", func() string { return newJob(t, "lenses_per_group = 1", "lenses_per_group = 2") }, 3},
		{"limited", func() string {
			return newJobOf(t, smallLenses(manyFocals), "top = 8", "top = 50", "pixel_um = 20", "pixel_um = 20\n[search]\nchecks_max = 2500\none_per = \"parts\"")
		}, 3},
		{"pairs", func() string {
			return newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"erector-pair\", \"erector-single\"]", "view_blur_arcmin = 24", "view_blur_arcmin = 60")
		}, 3},
	} {
		spec := c.spec()
		must(t, exitDone, "run", spec)
		want := parquetOf(t, spec)
		single := must(t, exitDone, "show", outputOf(spec))
		if err := os.RemoveAll(outputOf(spec)); err != nil {
			t.Fatal(err)
		}
		for i := c.parts; i > 0; i-- { // in any order
			part := fmt.Sprintf("%d/%d", i, c.parts)
			if o := must(t, exitDone, "run", "--part", part, spec); !strings.Contains(o.stdout, "relaysweep merge "+outputOf(spec)) {
				t.Errorf("%s: part %s printed %q", c.name, part, o.stdout)
			}
			// A part that is done is not done again.
			must(t, exitDone, "run", "--part", part, spec)
			if i > 1 {
				o := must(t, exitFailed, "merge", outputOf(spec))
				if !strings.Contains(o.stderr, fmt.Sprintf("1/%d (not begun)", c.parts)) {
					t.Errorf("%s: %s", c.name, o.stderr)
				}
			}
		}
		merged := must(t, exitDone, "merge", outputOf(spec))
		if strings.Contains(merged.stdout, cautions) || strings.Count(merged.stdout, cautionLine) != 1 {
			t.Errorf("%s: the merge does not tell the cautions on one line:\n%s", c.name, merged.stdout)
		}
		sameParquet(t, c.name, want, parquetOf(t, spec))
		onlyResults(t, spec)
		for _, part := range []string{"part=1/", fmt.Sprintf("part=%d/", c.parts), "msg=merged"} {
			if !strings.Contains(string(readFile(t, outputOf(spec), logFile)), part) {
				t.Errorf("%s: the log does not tell of %s", c.name, part)
			}
		}
		// What a design is and how many were found is the same; how many were
		// examined is not.
		table := func(s string) string { s, _, _ = strings.Cut(s, "\n\n"); return s }
		if again := must(t, exitDone, "show", outputOf(spec)); table(again.stdout) != table(single.stdout) {
			t.Errorf("%s: one run shows\n%s\nand the merge\n%s", c.name, single.stdout, again.stdout)
		}
		if o := must(t, exitDone, "merge", outputOf(spec)); o.stdout != merged.stdout || !strings.Contains(o.stderr, "merged already") {
			t.Errorf("%s: a second merge printed\n%s%s", c.name, o.stdout, o.stderr)
		}
		// A task that is started again after the merge has nothing to do.
		must(t, exitDone, "run", "--part", fmt.Sprintf("1/%d", c.parts), spec)
		if _, err := os.Stat(filepath.Join(sweep.PartsFolder(outputOf(spec)), fmt.Sprintf("1-of-%d", c.parts), sweep.JournalFile)); err == nil {
			t.Errorf("%s: a part was done again after the merge", c.name)
		}
	}
}

// TestNothingPassesInParts: parts without a design are no failure, but a merge
// without one has the exit code of a run without one.
func TestNothingPassesInParts(t *testing.T) {
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60")
	must(t, exitNothing, "run", spec)
	want := readManifest(t, outputOf(spec)).Points[0].WouldFit
	if err := os.RemoveAll(outputOf(spec)); err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"1/2", "2/2"} {
		must(t, exitDone, "run", "--part", part, spec)
	}
	o := must(t, exitNothing, "merge", outputOf(spec))
	if !strings.Contains(o.stdout, "train.length_max_mm") {
		t.Errorf("the merge does not say what would help:\n%s", o.stdout)
	}
	got := readManifest(t, outputOf(spec)).Points[0].WouldFit
	if want["length"] == nil || got["length"] == nil || *want["length"] != *got["length"] {
		t.Errorf("would fit: one run %v, merged %v", want, got)
	}
	must(t, exitNothing, "merge", outputOf(spec))
}

func TestWrongParts(t *testing.T) {
	spec := newJob(t)
	for _, part := range []string{"0/4", "5/4", "", "x"} {
		leftNothing(t, filepath.Dir(spec), func() {
			if o := must(t, exitWrong, "run", "--part", part, spec); !strings.Contains(o.stderr, "--part") || !strings.Contains(o.stderr, "I/N") {
				t.Errorf("%q: %s", part, o.stderr)
			}
		})
	}
	must(t, exitDone, "run", "--part", "1/2", spec)
	leftNothing(t, filepath.Dir(spec), func() {
		if o := must(t, exitFailed, "run", "--part", "1/3", spec); !strings.Contains(o.stderr, "parts of 2") {
			t.Errorf("stderr is %q", o.stderr)
		}
	})
	if o := must(t, exitFailed, "merge", t.TempDir()); !strings.Contains(o.stderr, "no parts") {
		t.Errorf("stderr is %q", o.stderr)
	}
	if o := must(t, exitFailed, "merge", filepath.Join(t.TempDir(), "none")); !strings.Contains(o.stderr, "none") {
		t.Errorf("stderr is %q", o.stderr)
	}
}

// TestMergedHalfCleared has complete results and what a kill may leave of their
// parts: the merge has been done, and what is left of them goes. Parts of another
// spec are still to be done.
func TestMergedHalfCleared(t *testing.T) {
	spec := newJob(t)
	output := outputOf(spec)
	parts := func() {
		for _, part := range []string{"1/3", "2/3", "3/3"} {
			must(t, exitDone, "run", "--quiet", "--part", part, spec)
		}
	}
	parts()
	left := contents(t, output)
	merged := must(t, exitDone, "merge", output)
	for _, part := range []string{"1-of-3", "2-of-3"} {
		delete(left, filepath.Join(sweep.PartsFolder(output), part, sweep.JournalFile))
		for path, text := range left {
			if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
				t.Fatal(err)
			}
		}
		o := must(t, exitDone, "merge", output)
		if o.stdout != merged.stdout || !strings.Contains(o.stderr, "merged already") {
			t.Errorf("without the journal of %s: %s%s", part, o.stdout, o.stderr)
		}
		onlyResults(t, spec)
	}
	editSpec(t, spec, "width_deg = 10", "width_deg = 9.5")
	parts()
	if err := os.RemoveAll(filepath.Join(sweep.PartsFolder(output), "1-of-3")); err != nil {
		t.Fatal(err)
	}
	if o := must(t, exitFailed, "merge", output); !strings.Contains(o.stderr, "1/3 (not begun)") {
		t.Errorf("says %s", o.stderr)
	}
}
