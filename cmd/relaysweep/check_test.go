package main

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"
)

func TestCheck(t *testing.T) {
	spec := newJobOf(t, smallLenses(manyFocals))
	leftNothing(t, filepath.Dir(spec), func() {
		o := must(t, exitDone, "check", spec)
		// 12 plano-convex lenses either way round and 12 equi-convex ones:
		// 36 groups of one, 36³ trains of three.
		for _, want := range []string{
			"lenses.csv: 24 lenses", "12 plano-convex", "12 bi-convex", "36 with both ways round", "36 groups", "46656",
			"groups that can serve as front", "groups that can serve as relay", "groups that can serve as rear",
		} {
			if !strings.Contains(o.stdout, want) {
				t.Errorf("check does not say %q:\n%s", want, o.stdout)
			}
		}
		if strings.Contains(o.stdout, "conflict") {
			t.Errorf("check finds a conflict in a job that has designs:\n%s", o.stdout)
		}
	})
}

// TestCheckOfASweep tells each point apart, with the exact size of its space.
func TestCheckOfASweep(t *testing.T) {
	spec := newJob(t, "vignetted_pct = 20", `vignetted_pct = 20
[sweep]
"train.lenses_per_group" = [1, 2]
"mask.seat" = ["rear", "either"]`)
	o := must(t, exitDone, "check", spec)
	for _, want := range []string{
		"4 sweep points",
		`point 0: train.lenses_per_group = 1, mask.seat = rear`, `point 1: train.lenses_per_group = 1, mask.seat = either`,
		`point 2: train.lenses_per_group = 2, mask.seat = rear`, `point 3: train.lenses_per_group = 2, mask.seat = either`,
		" 216\n", " 432\n", " 74088\n", "148176\n", // 6³ and (6 + 6²)³, twice for two seats
	} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("check does not say %q:\n%s", want, o.stdout)
		}
	}
}

// TestCheckOfConflicts asks for what no train can do, and is told before a
// search. By Newton's equation a mask at focal length f needs the travel f²·ΔV:
// for 20 µm within 0.5 arcmin f is at least 0.02 / tan(0.5') = 137.5 mm, and
// over 4 D that is 75.6 mm.
func TestCheckOfConflicts(t *testing.T) {
	for _, c := range []struct {
		old, new string
		wants    []string
	}{
		{"pixel_arcmin = 2.5", "pixel_arcmin = 0.5", []string{"conflict: pixel_arcmin and travel", "137.51 mm", "75.6", "15"}},
		{"width_mm = 36", "width_mm = 3", []string{"conflict: pixel_arcmin and mask_size"}},
		{"width_deg = 10", "width_deg = 60", []string{"conflict: field and pupil need a clear diameter of", "the largest in use is 22.50 mm", "conflict: no group can serve as rear"}},
	} {
		spec := newJob(t, c.old, c.new)
		o := must(t, exitDone, "check", spec)
		for _, want := range c.wants {
			if !strings.Contains(o.stdout, want) {
				t.Errorf("%s: check does not say %q:\n%s", c.new, want, o.stdout)
			}
		}
		// And rightly so.
		must(t, exitNothing, "run", spec)
	}
}

// TestWarnings gives a lens whose published focal length is not that of its
// prescription: the run goes on, and stderr says which.
func TestWarnings(t *testing.T) {
	var table strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(smallLenses(fewFocals)), "\n") {
		published := ""
		switch i {
		case 0:
			published = "efl_mm"
		case 1:
			published = "33"
		}
		fmt.Fprintf(&table, "%s,%s\n", line, published)
	}
	spec := newJobOf(t, table.String())
	for _, command := range []string{"check", "run"} {
		o := must(t, exitDone, command, spec)
		if !strings.Contains(o.stderr, "warning: lenses.csv:2: efl_mm") || !strings.Contains(o.stderr, "pc40") {
			t.Errorf("%s says on stderr %q", command, o.stderr)
		}
	}
}
