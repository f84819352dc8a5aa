package sweep

import (
	"errors"
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

func TestParsePart(t *testing.T) {
	for text, want := range map[string]Part{"1/1": {0, 1}, "2/4": {1, 4}, "4/4": {3, 4}, "10000/10000": {9999, 10000}} {
		if got, err := ParsePart(text); err != nil || got != want || got.String() != text || got.Whole() {
			t.Errorf("%s: %+v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "1", "0/4", "5/4", "-1/4", "1/0", "1/10001", "1 / 4", "1/4 ", "a/b", "1-of-4", "1/99999999999999999999"} {
		if got, err := ParsePart(text); err == nil || !strings.Contains(err.Error(), "I/N") {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
	}
}

// TestPartsMerge does small jobs in parts, of points and of a point, and
// compares what the merge makes of them with one run of the whole: the same
// designs to the last bit, the same checks, and a proof that accounts for all.
func TestPartsMerge(t *testing.T) {
	wanted := 8
	if testing.Short() {
		wanted = 3
	}
	byPoints, ofAPoint, nothing := 0, 0, 0
	resumeCases(t, wanted, func(c int, j *Job) {
		for _, top := range []int{3, 40} {
			j.Spec.Job.Top = top
			j.Points = j.Spec.Grid()
			single, err := j.Run(t.Context(), Attempt{})
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range []int{2, 5} {
				folder := t.TempDir()
				for i := range n {
					if _, err := journalled(t.Context(), t, j, folder, Part{i, n}, nil); err != nil {
						t.Fatal(err)
					}
				}
				merged := mergeOf(t, j, folder)
				if n <= len(j.Points) {
					byPoints++
					if diff := cmp.Diff(tell(single), tell(merged), cmpopts.EquateNaNs()); diff != "" {
						t.Errorf("case %d, top %d, %d parts: one run -, merged +\n%s", c, top, n, diff)
					}
					continue
				}
				ofAPoint++
				for i := range merged {
					if len(merged[i].Found) == 0 {
						nothing++
					}
					compareMerged(t, fmt.Sprintf("case %d, top %d, %d parts", c, top, n), j, &single[i], &merged[i])
				}
			}
		}
	})
	if byPoints == 0 || ofAPoint == 0 || nothing == 0 {
		t.Errorf("%d jobs divided by points, %d by fronts, %d points without a design", byPoints, ofAPoint, nothing)
	}
}

func mergeOf(t *testing.T, j *Job, folder string) []PointOutcome {
	t.Helper()
	ps, err := OpenParts(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer ps.Close()
	merged, err := j.Merge(t.Context(), ps, Origin{"test", "build"}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return merged
}

// compareMerged holds a point that was divided against one run of it. Where
// windows of lengths end differs, and with it how many designs were examined
// and what a bound has set aside.
func compareMerged(t *testing.T, name string, j *Job, single, merged *PointOutcome) {
	t.Helper()
	accounted(t, &merged.Outcome)
	want, got := tell([]PointOutcome{*single})[0], tell([]PointOutcome{*merged})[0]
	want.WouldFit, got.WouldFit = nil, nil
	if diff := cmp.Diff([]any{want.Trains, want.Reports}, []any{got.Trains, got.Reports}, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("%s: designs of one run -, merged +\n%s", name, diff)
	}
	want.Trains, want.Reports, got.Trains, got.Reports = nil, nil, nil, nil
	for _, x := range []*told{&want, &got} {
		for count := range x.Counts {
			byRays := slices.ContainsFunc(raycheck.MetricList, func(m raycheck.Metric) bool { return "failed "+m.Name == count })
			if single.Refined != nil {
				byRays = false // each part refines until its own ranking is full
				if count == "checked" || count == "passed" {
					delete(x.Counts, count)
				}
			}
			if !byRays && !slices.Contains([]string{"space", "checked", "passed", "set aside group", "set aside one_per_parts"}, count) {
				delete(x.Counts, count)
			}
		}
	}
	for r := range objective.Met { // these are counted while examining as well
		delete(want.Counts, "failed "+r.String())
		delete(got.Counts, "failed "+r.String())
	}
	if !want.Exact && !got.Exact {
		// The length up to which no design was left out lies between the last
		// design looked at and the next one, which neither needs to know.
		want.Proven, got.Proven = 0, 0
	}
	if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
		t.Errorf("%s: one run -, merged +\n%s", name, diff)
	}
	a, b := single.Proof.WouldFit, merged.Proof.WouldFit
	if (a == nil) != (b == nil) {
		t.Errorf("%s: what would fit is %v in one run, %v merged", name, a, b)
	}
	if a == nil || b == nil {
		return
	}
	p := single.Problem
	for fit, value := range a.Value {
		other, known := b.Value[fit]
		if !known || (value == nil) != (other == nil) {
			t.Errorf("%s: %s would fit at %v in one run, %v merged", name, fit, value, other)
			continue
		}
		if value == nil {
			continue
		}
		start := p.Limits.Limit(fit)
		for _, l := range relaxations(single.Point.Spec, j.library(single.Point.Spec, p)) {
			if l.Name == fit {
				start = l.Start
			}
		}
		if easing, most := math.Abs(*other-start), math.Abs(*value-start); easing > most*(1+2*resolution)+1e-9 {
			t.Errorf("%s: %s would fit at %v in one run, %v merged", name, fit, *value, *other)
		}
	}
}

// TestPartsAreStable takes each front in exactly one part.
func TestPartsAreStable(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	lib := objective.NewLibrary(s.Problem(), lenses)
	for _, n := range []int{1, 2, 5, 64} {
		for _, a := range lib.Elements {
			for _, b := range lib.Elements {
				g, times := lib.Problem.NewGroup(a, b), 0
				for i := range n {
					if (Part{i, n}).takesFront(g.Elements) {
						times++
					}
				}
				if times != 1 {
					t.Errorf("%s falls to %d of %d parts", g.ID(), times, n)
				}
			}
		}
	}
}

// TestMergeRefuses has parts that are missing, unfinished, of two divisions, or
// of another job.
func TestMergeRefuses(t *testing.T) {
	s, lenses, _ := rayCase(firstGood())
	j := jobOf(s, lenses)
	folder := t.TempDir()
	refused := func(wants ...string) {
		t.Helper()
		ps, err := OpenParts(folder)
		if err == nil {
			t.Error("is not refused")
			_ = ps.Close()
			return
		}
		for _, want := range wants {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%q is not in: %v", want, err)
			}
		}
	}
	refused("holds no parts")
	if _, err := journalled(t.Context(), t, j, folder, Part{1, 3}, nil); err != nil {
		t.Fatal(err)
	}
	begun, err := func() (*Journal, error) {
		if err := os.MkdirAll((Part{2, 3}).Folder(folder), 0o777); err != nil {
			return nil, err
		}
		return j.OpenJournal(folder, Part{2, 3}, Origin{"test", "build"}, false)
	}()
	if err := errors.Join(err, begun.Close()); err != nil {
		t.Fatal(err)
	}
	refused("1/3 (not begun)", "3/3 (unfinished)", "--part")
	if err := (Part{0, 2}).OtherParts(folder); err == nil || !strings.Contains(err.Error(), "parts of 3") {
		t.Errorf("parts of two divisions: %v", err)
	}
	for _, i := range []int{0, 2} {
		if _, err := journalled(t.Context(), t, j, folder, Part{i, 3}, nil); err != nil {
			t.Fatal(err)
		}
	}
	ps, err := OpenParts(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer ps.Close()
	var changed *ChangedError
	if _, err := j.Merge(t.Context(), ps, Origin{"later", ""}, nil); !errors.As(err, &changed) {
		t.Errorf("parts of another version: %v", err)
	}
	other := *s
	other.SHA256 = "other"
	if _, err := jobOf(&other, lenses).Merge(t.Context(), ps, Origin{"test", "build"}, nil); !errors.As(err, &changed) {
		t.Errorf("parts of another spec: %v", err)
	}
	if err := os.MkdirAll((Part{0, 2}).Folder(folder), 0o777); err != nil {
		t.Fatal(err)
	}
	refused("don't go together")
}
