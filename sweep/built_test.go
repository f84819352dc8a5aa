package sweep

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// toleranceOfCases are tolerances with which some designs of small cases can be built and
// some not, in few builds.
var toleranceOfCases = spec.ToleranceSection{
	Builds: 16, Distribution: spec.DistributionUniform, FocalPct: 1, ThicknessMM: 0.1, GapMM: 0.1, LensDecentreMM: 0.1, LensTiltArcmin: 6,
	StageZeroMM: 0.1, Compensators: spec.Compensators,
}

// TestYieldLimit: with a least yield the ranking at paraxial gaps is that of all designs
// that pass, one by one without those of which too few builds do, and every design is
// accounted for.
func TestYieldLimit(t *testing.T) {
	least := 60.0
	done, turnedAway := 0, 0
	for c := 0; done < 3 && c < 200; c++ {
		s, lenses, good := rayCase(c)
		if !good {
			continue
		}
		request, _ := smallCase(c)
		all := wholeRanking(t, s, request, lenses)
		if len(all) < 5 || len(all) > 40 {
			continue
		}
		s.Limits.YieldMinPct, s.Tolerance = &least, toleranceOfCases
		built := buildOptionsOf(s)
		var want []solved
		for _, d := range all {
			enough, err := built.canBeBuilt(context.Background(), s.Problem(), d.train)
			if err != nil {
				t.Fatal(err)
			}
			if enough {
				want = append(want, d)
			}
		}
		if len(want) == 0 || len(want) == len(all) {
			continue
		}
		done++
		for _, top := range []int{1, len(want), len(all)} {
			s.Job.Top, s.Job.Workers = top, 1+done%3
			out := searchOf(t, s, lenses)
			compareRanking(t, out, want, top)
			if out.Proof.Failed[yieldLimit] != nil {
				turnedAway++
			}
		}
	}
	if done < 3 || turnedAway < 3 {
		t.Errorf("%d cases, in %d walks some designs turned away", done, turnedAway)
	}
}

// TestYieldLimitOfRefined: of a walk that refines, each design that passes by its builds
// stays as it was, and each that is listed passes by them.
func TestYieldLimitOfRefined(t *testing.T) {
	least := 60.0
	kept, fell := 0, 0
	for c := 0; (kept < 4 || fell < 2) && c < 60; c++ {
		s, _, lenses, good := refinedCase(c)
		if !good {
			continue
		}
		s.Job.Top, s.Job.Workers = 12, 2
		_, before := walked(t, s, lenses, func(*refineWalk) {})
		if len(before.Found) == 0 || len(before.Found) == s.Job.Top {
			continue // the ranking is to hold all that passes
		}
		s.Limits.YieldMinPct, s.Tolerance = &least, toleranceOfCases
		_, after := walked(t, s, lenses, func(*refineWalk) {})
		built := buildOptionsOf(s)
		enough := func(train *objective.Train) bool {
			ok, err := built.canBeBuilt(context.Background(), s.Problem(), train)
			if err != nil {
				t.Fatal(err)
			}
			return ok
		}
		listed := map[string]float64{}
		for _, f := range after.Found {
			listed[f.ID] = f.Ranked
			if !enough(f.Train) {
				t.Errorf("%s is listed, and too few of its builds pass", f.ID)
			}
		}
		for _, f := range before.Found {
			if !enough(f.Train) {
				fell++
				continue
			}
			kept++
			if listed[f.ID] != f.Ranked {
				t.Errorf("%s at %.6f can be built, and is listed at %.6f", f.ID, f.Ranked, listed[f.ID])
			}
		}
	}
	if kept < 4 || fell < 2 {
		t.Errorf("%d designs kept, %d fell", kept, fell)
	}
}

// TestYieldLimitInParts: parts of a point, merged, and a job that goes on from its journal
// list what one run of the whole does.
func TestYieldLimitInParts(t *testing.T) {
	least := 60.0
	done := 0
	for c := 0; done < 2 && c < 200; c++ {
		s, lenses, good := rayCase(c)
		if !good {
			continue
		}
		s.Limits.YieldMinPct, s.Tolerance = &least, toleranceOfCases
		s.Tolerance.Builds = 8
		s.Job.Top = 2
		if done == 1 {
			s.Refine = spec.RefineSection{Method: spec.RefineSimplex, NearMissFactor: 1.2}
		}
		j := jobOf(s, lenses)
		single, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		if len(single[0].Found) == 0 || single[0].Proof.Failed[yieldLimit] == nil {
			continue
		}
		done++
		folder := t.TempDir()
		for i := range 2 {
			if _, err := journalled(t.Context(), t, j, folder, Part{i, 2}, nil); err != nil {
				t.Fatal(err)
			}
		}
		whole := t.TempDir()
		if _, err := journalled(t.Context(), t, j, whole, Part{}, nil); err != nil {
			t.Fatal(err)
		}
		again, err := journalled(t.Context(), t, j, whole, Part{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		want := tell(single)[0]
		for name, got := range map[string]told{"merged": tell(mergeOf(t, j, folder))[0], "from its journal": tell(again)[0]} {
			if diff := cmp.Diff([]any{want.Found, want.Lengths, want.Trains}, []any{got.Found, got.Lengths, got.Trains}); diff != "" {
				t.Errorf("case %d, %s (-one run +it):\n%s", c, name, diff)
			}
		}
	}
	if done < 2 {
		t.Errorf("%d cases", done)
	}
}
