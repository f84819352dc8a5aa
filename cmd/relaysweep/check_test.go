package main

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"relaysweep/results"
	"relaysweep/sweep"
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
		o := must(t, exitNothing, "check", spec)
		for _, want := range append(c.wants, "nothing can pass: a run would end with code 3") {
			if !strings.Contains(o.stdout, want) {
				t.Errorf("%s: check does not say %q:\n%s", c.new, want, o.stdout)
			}
		}
		// And rightly so.
		must(t, exitNothing, "run", spec)
	}
}

// TestCheckOfTwoMasks: what can serve is told of both masks together.
func TestCheckOfTwoMasks(t *testing.T) {
	o := must(t, exitDone, "check", newJob(t, "[mask]\n", "[mask]\nseat = \"both\"\n"))
	if n := strings.Count(o.stdout, "(a mask at both seats): "); n != 3 || strings.Contains(o.stdout, "both seat)") {
		t.Errorf("%d slots told of both seats:\n%s", n, o.stdout)
	}
}

// TestCheckOfNoLens leaves all lenses out, which ends as a run does.
func TestCheckOfNoLens(t *testing.T) {
	spec := newJob(t, `["lenses.csv"]`, "[\"lenses.csv\"]\nexclude_kinds = [\"*\"]")
	o := must(t, exitNothing, "check", spec)
	for _, want := range []string{"0 lenses in use, 0 with", "conflict: no lens is in use: the keys of [catalog] leave all of them out"} {
		if !strings.Contains(o.stdout, want) {
			t.Errorf("check does not say %q:\n%s", want, o.stdout)
		}
	}
	must(t, exitNothing, "run", spec)
}

// TestCheckOfOnePointOfTwo has a sweep point at which nothing can pass beside
// one with designs: neither check nor run ends with 3.
func TestCheckOfOnePointOfTwo(t *testing.T) {
	spec := newJob(t, "vignetted_pct = 20", "vignetted_pct = 20\n[sweep]\n\"mask.width_mm\" = [3, 36]")
	if o := must(t, exitDone, "check", spec); strings.Count(o.stdout, "nothing can pass") != 1 {
		t.Errorf("check says:\n%s", o.stdout)
	}
	must(t, exitDone, "run", spec)
}

// TestCheckOfTheViewpoint limits the shift of the viewpoint. The least that
// check proves is never more than that of a design, and a limit below it finds
// none. For thin lenses of equal focal lengths f in front and at the eye the
// shift is at least 8·f, for 40 mm therefore about 320 mm: by Newton's equation
// 4·f + 4·f_relay + f²/f_relay, least at f_relay = f/2.
func TestCheckOfTheViewpoint(t *testing.T) {
	for _, c := range []struct {
		name  string
		edits []string
	}{
		{"unit magnification", nil},
		{"magnified, with plates", []string{
			"lenses_per_group = 1", "lenses_per_group = 1\nmagnification = 1.25",
			"pixel_um = 20", "pixel_um = 20\nglass_mm = 2", "refocus_max_D = 2", "refocus_max_D = 2\ncombiner_mm = 5",
			"view_blur_arcmin = 24", "view_blur_arcmin = 40", "mask_blur_arcmin = 12", "mask_blur_arcmin = 40",
		}},
		{"keplerian", []string{
			"lenses_per_group = 1", "lenses_per_group = 1\nlayouts = [\"keplerian\"]\nmagnification = 1.2\nmagnification_tol = 0.1",
			"view_blur_arcmin = 24", "view_blur_arcmin = 40", "mask_blur_arcmin = 12", "mask_blur_arcmin = 40",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			with := func(mm string) string {
				return newJobOf(t, smallLenses(manyFocals), append(slices.Clone(c.edits),
					"vignetted_pct = 20", "vignetted_pct = 20\nviewpoint_shift_mm = "+mm, "top = 8", "top = 1000")...)
			}
			spec := with("100000")
			must(t, exitDone, "run", spec)
			designs, _, err := results.ReadRanked(filepath.Join(outputOf(spec), rankedFile))
			if err != nil {
				t.Fatal(err)
			}
			least := math.Inf(1)
			for i := range designs {
				least = math.Min(least, designs[i].ViewpointShiftMM)
			}
			job, err := sweep.Open(t.Context(), spec)
			if err != nil {
				t.Fatal(err)
			}
			previews, err := job.Preview(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			bound := previews[0].LeastViewpointMM
			t.Logf("the bound is %.3f mm, the least of %d designs %.3f mm", bound, len(designs), least)
			if !(bound <= least && bound > 0.5*least) {
				t.Errorf("the bound is %.3f mm, the least of %d designs %.3f mm", bound, len(designs), least)
			}
			must(t, exitDone, "check", with(fmt.Sprintf("%.3f", least+0.001)))
			below := with(fmt.Sprintf("%.3f", bound-0.01))
			o := must(t, exitNothing, "check", below)
			if want := fmt.Sprintf("conflict: viewpoint_shift_mm: whatever train these groups make, the eye is more than %.2f mm behind its viewpoint", math.Floor(bound*100)/100); !strings.Contains(o.stdout, want) {
				t.Errorf("check does not say %q:\n%s", want, o.stdout)
			}
			must(t, exitNothing, "run", below)
		})
	}
}

// TestDoubts gives what is probably not meant: check and run say so on stderr,
// with the line, and go on.
func TestDoubts(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"view_blur_arcmin = 24\n", "", "job.toml:30: limits: view_blur_arcmin is not limited"},
		{"pixel_arcmin = 2.5\nview_blur_arcmin = 24\nmask_blur_arcmin = 12\nvignetted_pct = 20\n", "",
			"mask_blur_arcmin, view_blur_arcmin, vignetted_pct and pixel_arcmin are not limited"},
		{`["lenses.csv"]`, "[\"lenses.csv\"]\nexclude_kinds = [\"Fresnel\"]", `job.toml:7: catalog.exclude_kinds: ["Fresnel"] match no lens` +
			"\n    expected kinds of the tables, upper and lower case distinct: bi-convex or plano-convex"},
		{`["lenses.csv"]`, "[\"lenses.csv\"]\nexclude_parts = [\"xy*\", \"pc*\"]", `job.toml:7: catalog.exclude_parts: ["xy*"] match no lens`},
		{"top = 8", "top = 8\nmemory_gb = 0.01", "job.toml:4: job.memory_gb: 0.01 GB is less than the program itself takes\n    expected at least 0.05"},
		// 4 D over 15 mm: a step of 1 mm is 0.27 D at the least, and 0.19 D take
		// 0.19·15/4 = 0.7125 mm.
		{"travel_mm = 15", "travel_mm = 15\nresolution_um = 1000", "job.toml:29: stage.resolution_um: steps of 1000 µm are 0.27 D in depth or more, whatever the train\n    expected at most 712 µm: an eye sees blur from 0.19 D on"},
		{"pixel_um = 20", "pixel_um = 0.018", "job.toml:25: mask.pixel_um: 0.018 µm is unusual\n    expected a pixel of some µm; if 0.018 is in mm, write 18\n"},
		{"vignetted_pct = 20", "vignetted_pct = 20\n[sweep]\n\"eye.pupil_mm\" = [4, 0.004]", "job.toml:37: sweep.\"eye.pupil_mm\": 0.004 mm is unusual\n    expected a pupil of 2 to 8 mm; if 0.004 is in m, write 4\n"},
		{"width_deg = 10", "width_deg = 0.21", "job.toml:12: field.width_deg: 0.21 degrees is unusual\n    expected a field of some degrees, full angle; if 0.21 is in radians, write 12\n"},
	} {
		o := invoke(t, "check", newJob(t, c.old, c.new))
		if !strings.Contains(o.stderr, c.want) || !strings.HasPrefix(o.stderr, "warning: ") {
			t.Errorf("%s: check says %q, not %q", c.new, o.stderr, c.want)
		}
	}
	// With all that is seen limited, also by a sweep, nothing is said.
	spec := newJob(t, "vignetted_pct = 20\n", "[sweep]\n\"limits.vignetted_pct\" = [20, 25]\n")
	if o := must(t, exitDone, "run", spec); o.stderr != "" {
		t.Errorf("run says %q", o.stderr)
	}
	// A blur of 1.02 D through 4 mm: 4 mrad·1.02 = 14.03 arcmin across, RMS over 2·sqrt 2 of it 4.96.
	if o := must(t, exitDone, "run", newJob(t, "mask_blur_arcmin = 12\n", "")); !strings.Contains(o.stderr, "mask_blur_arcmin = 5   # 1.02 D") {
		t.Errorf("run says %q", o.stderr)
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
			published = "38"
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
