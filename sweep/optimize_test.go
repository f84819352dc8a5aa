package sweep

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// optimized is a population search of a small space.
func optimized(t testing.TB, s *spec.Spec, lenses []*catalog.Lens, evaluations int) *Outcome {
	t.Helper()
	s.Search.Method, s.Search.EvaluationsMax = spec.SearchOptimize, evaluations
	j := jobOf(s, lenses)
	out, err := j.Run(t.Context(), Attempt{})
	if err != nil {
		t.Fatal(err)
	}
	return &out[0].Outcome
}

// TestOptimizeSmall compares population searches of random small spaces of all kinds with
// every design of sweep/internal/secondmodel's enumeration, checked one by one: what is found passes
// and stands in its place in the order, the best of all is found, the
// lower bound holds, and every design is accounted for.
func TestOptimizeSmall(t *testing.T) {
	wanted := 8
	if testing.Short() {
		wanted = 5
	}
	done, missed, bounded := 0, 0, 0
	kinds := map[objective.Space]bool{}
	for c := 3000; (done < wanted || len(kinds) < 4) && c < 4000; c++ {
		request, _ := smallCase(c)
		request.InnerSteps = 2 // the enumeration is only used for its designs
		s, lenses, good := rayCase(c)
		if !good {
			continue
		}
		done++
		want := wholeRanking(t, s, request, lenses)
		if c%3 == 0 {
			s.Search.OnePer = "parts"
			seen := map[string]bool{}
			want = slices.DeleteFunc(want, func(w solved) bool {
				key := partsOf(w.train)
				again := seen[key]
				seen[key] = true
				return again
			})
		}
		place := map[string]int{}
		for i, w := range want {
			place[w.id] = i
		}
		s.Job.Top, s.Job.Seed = 5, int64(c)
		out := optimized(t, s, lenses, 3000)
		accounted(t, out)
		checker := raycheck.NewChecker(s.Problem())
		if out.Proof.Exact || out.Optimized == nil || len(out.Found) > 5 || out.Optimized.Evaluations != out.Proof.Examined {
			t.Errorf("case %d: %+v", c, out.Optimized)
		}
		for i, f := range out.Found {
			kinds[objective.Space{Layout: f.Train.Layout, Seat: f.Train.Seat}] = true
			at, passes := place[f.ID]
			if !passes && s.Search.OnePer == "design" || checker.Check(f.Train).FailedBy != "" || passes && want[at].ranked != f.Ranked {
				t.Errorf("case %d: %s at %.6f is not among those that pass", c, f.ID, f.Ranked)
			}
			if i > 0 && compareFound(out.Found[i-1], f) >= 0 {
				t.Errorf("case %d: rank %d before %d", c, i, i+1)
			}
		}
		bound := out.Optimized.LowerBoundMM
		if !math.IsInf(bound, 0) {
			bounded++
		}
		switch {
		case len(want) == 0:
			if len(out.Found) > 0 {
				t.Errorf("case %d: %s passes, one by one none does", c, out.Found[0].ID)
			}
		case bound > want[0].ranked:
			t.Errorf("case %d: lower bound %.6f, and yet %s has %.6f", c, bound, want[0].id, want[0].ranked)
		case len(out.Found) == 0 || out.Found[0].Ranked != want[0].ranked || out.Optimized.BestMM != want[0].ranked:
			missed++
			t.Logf("case %d: best of %v designs missed: %+v, %.6f", c, out.Proof.Space, out.Optimized, want[0].ranked)
		}
	}
	if done < wanted || missed > 0 || bounded == 0 || len(kinds) < 4 {
		t.Errorf("%d cases of %d; missed the best of %d, %d bounds, %v", done, wanted, missed, bounded, kinds)
	}
}

// TestOptimizeDemo finds what the exact search proves to be the shortest of the
// demo's 2·10^8 designs, whatever the seed.
func TestOptimizeDemo(t *testing.T) {
	if testing.Short() {
		t.Skip("searches the demo")
	}
	exact := demoJob(t, "quick")
	exact.Spec.Job.Top, exact.Spec.Refine.Method = 1, spec.RefineNone
	exact.Points = exact.Spec.Grid()
	proven, err := exact.Run(t.Context(), Attempt{})
	if err != nil {
		t.Fatal(err)
	}
	for _, seed := range []int64{1} {
		j := demoJob(t, "quick")
		j.Spec.Search.Method, j.Spec.Search.EvaluationsMax, j.Spec.Job.Seed = spec.SearchOptimize, 15_000, seed
		j.Spec.Refine.Method = spec.RefineNone
		j.Points = j.Spec.Grid()
		out, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		o := &out[0]
		if o.Found[0].ID != proven[0].Found[0].ID {
			t.Errorf("seed %d: %s at %.6f, proven is %s at %.6f", seed, o.Found[0].ID, o.Found[0].Ranked, proven[0].Found[0].ID, proven[0].Found[0].Ranked)
		}
		x := o.Optimized
		if x.LowerBoundMM <= 0 || x.LowerBoundMM > x.BestMM || x.Evaluations < 15_000 {
			t.Errorf("seed %d: %+v", seed, x)
		}
		for i, step := range x.History {
			if i > 0 && (step.BestMM >= x.History[i-1].BestMM || step.Evaluations <= x.History[i-1].Evaluations) || step.Evaluations > x.Evaluations {
				t.Errorf("seed %d: history %v", seed, x.History)
			}
		}
	}
}

// TestGrade holds the grades of a search against the ray check: the same names, and 0
// for what passes and for nothing else; and no design that passes is passed over
// for the numbers of its groups.
func TestGrade(t *testing.T) {
	graded, good := 0, 0
	for c := 3000; c < 3130; c++ {
		s, lenses, ok := rayCase(c)
		if !ok {
			continue
		}
		limits := [...]**float64{&s.Limits.VignettedPct, &s.Limits.DistortionPct, &s.Limits.AxialColourD, &s.Limits.TransmissionMin, &s.Limits.LateralColourArcmin}
		limit := [...]float64{5, 3, 0.2, 0.6, 3}
		*limits[c%5] = &limit[c%5]
		p := s.Problem()
		lib := objective.NewLibrary(p, lenses)
		o := jobOf(s, lenses).options(s)
		o.optimize = optimizeOptions{evaluations: 1}
		search, err := newOptimizer(lib, o)
		if err != nil {
			t.Fatal(err)
		}
		a, err := newExactSearch(t.Context(), lib, o)
		if err != nil {
			t.Fatal(err)
		}
		checker := raycheck.NewChecker(p)
		all, _, err := a.next(t.Context(), 400)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range all {
			key := designKey{x.space, x.groups}
			if !search.fits(&key) {
				t.Errorf("case %d: %s meets the requirements, and is said not to fit", c, x.id(lib))
			}
			e := <-search.workers
			groups := search.groupsOf(&key)
			g := e.evaluate(key.space, &groups, math.Inf(1))
			search.workers <- e
			failed := checker.Check(mustSolve(lib, &x)).FailedBy
			if (g.tier == passes) != (failed == "") || (g.amount == 0) != (failed == "") || failed != "" && gradeNames[g.failed] != failed ||
				g.ranked != x.ranked || g.inner != x.inner {
				t.Errorf("case %d: %s fails %q, graded %+v", c, x.id(lib), failed, g)
			}
			graded++
			if failed == "" {
				good++
			}
		}
	}
	if graded < 400 || good == 0 || good == graded {
		t.Errorf("%d designs graded, %d pass", graded, good)
	}
}

// TestOptimizeBounds takes every way of bounding what was missed, by giving
// it more or less of an effort, and holds each against the proven best.
func TestOptimizeBounds(t *testing.T) {
	for layout, by := range map[objective.Layout]objective.RankBy{
		objective.ErectorSingle: objective.ByLength, objective.ErectorPair: objective.ByLengthToEye, objective.Keplerian: objective.ByLengthToEye,
	} {
		s := benchSpec(layout, 2)
		lenses := benchLenses(12)
		lib := objective.NewLibrary(s.Problem(), lenses)
		o := jobOf(s, lenses).options(s)
		o.by, o.top = by, 1
		a, err := newExactSearch(t.Context(), lib, o)
		if err != nil {
			t.Fatal(err)
		}
		out, err := a.run(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		best := math.Inf(1)
		if len(out.Found) > 0 {
			best = out.Found[0].Ranked
		}
		groups, _ := countGroups(lib, 2).Float64()
		var bounds []float64
		for _, evaluated := range []float64{1, groups/boundCounted + 1, groups/boundPairs - 1, groups/boundPairs + 1} {
			search, err := newOptimizer(lib, o)
			if err != nil {
				t.Fatal(err)
			}
			search.evaluated, search.held = int64(evaluated), 4 // so that all are filtered
			search.shortest = []float64{best}
			if err := search.bound(t.Context()); err != nil {
				t.Fatal(err)
			}
			if !(search.lower <= best) {
				t.Errorf("%v by %v, %v evaluations: lower bound %.6f, the best has %.6f", layout, by, evaluated, search.lower, best)
			}
			bounds = append(bounds, search.lower)
		}
		if !math.IsInf(bounds[0], -1) || !(bounds[3] > 0) || !slices.IsSorted(bounds) || layout != objective.ErectorPair && !(bounds[1] > 0) || !(bounds[2] > 0) {
			t.Errorf("%v by %v: bounds %v for growing efforts, best %.6f", layout, by, bounds, best)
		}
	}
}

// TestHeldStopResumes ends a search that stops once it holds so many groups, after
// some of its units: it goes on to the same bound by the same units.
func TestHeldStopResumes(t *testing.T) {
	s := benchSpec(objective.ErectorSingle, 2)
	sharp := 0.01 // nothing is
	s.Limits.MaskBlurArcmin = &sharp
	j := jobOf(s, benchLenses(30))
	lib := j.library(s, s.Problem())
	folder := t.TempDir()
	path := filepath.Join(folder, JournalFile)
	proven := func() float64 {
		journal, err := j.OpenJournal(folder, Part{}, Origin{}, false)
		if err != nil {
			t.Fatal(err)
		}
		defer journal.Close()
		o := j.options(s)
		o.held, o.heldStop = 4, 300 // so that all are filtered
		o.log = &unitLog{
			journal: journal, stop: t.Context(), work: t.Context(), replay: journal.Units(0), events: slog.New(slog.DiscardHandler),
		}
		a, err := newExactSearch(t.Context(), lib, o)
		if err != nil {
			t.Fatal(err)
		}
		out, err := a.run(t.Context())
		if err != nil || !a.stopped {
			t.Fatalf("stopped %v, %v", a.stopped, err)
		}
		return out.Proof.ProvenLength
	}
	want := proven()
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	units := kinds(t, whole)
	records := 1 + strings.Count(units, " ")
	for _, n := range []int{records, records - 1, records / 2, 3} {
		kept := firstRecords(t, whole, n)
		if err := os.WriteFile(path, kept, 0o666); err != nil {
			t.Fatal(err)
		}
		got := proven()
		again, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != want || kinds(t, again) != units {
			t.Errorf("after %d units: proven to %v, not %v, by units\n%s, not\n%s", n-1, got, want, kinds(t, again), units)
		}
	}
}

// TestOptimizeResumes runs population searches, refined afterwards or not, on
// other numbers of workers, from journals cut at any byte, after interrupts, and
// by points: always the same outcome to the last bit.
func TestOptimizeResumes(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	stopped, found, far := 0, 0, int64(0)
	resumeCases(t, 4, func(c int, j *Job) {
		s := j.Spec
		s.Search.Method, s.Search.EvaluationsMax, s.Search.StallEvaluations = spec.SearchOptimize, 1500, 1000
		s.Search.ThirdOrder = 0.7 // so that some are graded by it
		if c%2 == 0 {
			s.Refine = spec.RefineSection{Method: spec.RefineSimplex, Candidates: 6, NearMissFactor: 3}
		}
		j.Points = s.Grid()
		s.Job.Workers = 1
		out, err := j.Run(t.Context(), Attempt{})
		if err != nil {
			t.Fatal(err)
		}
		for i := range out {
			if n := out[i].Proof.SetAside[byThirdOrder]; n != nil {
				far += n.Int64()
			}
		}
		want := tellAll(out)
		folder := t.TempDir()
		same := func(what string) {
			t.Helper()
			out, err := journalled(t.Context(), t, j, folder, Part{}, nil)
			if diff := cmp.Diff(want, tellAll(out), cmpopts.EquateNaNs()); diff != "" || err != nil {
				t.Errorf("case %d, %s: %v\n%s", c, what, err, diff)
			}
		}
		s.Job.Workers = 2
		same("with a journal")
		path := filepath.Join(folder, JournalFile)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		header := len(firstRecords(t, whole, 1))
		for _, workers := range []int{1, 8} {
			at := header + r.IntN(len(whole)-header)
			if err := os.WriteFile(path, whole[:at], 0o666); err != nil {
				t.Fatal(err)
			}
			s.Job.Workers = workers
			same("cut")
		}
		if err := os.WriteFile(path, whole[:header], 0o666); err != nil {
			t.Fatal(err)
		}
		for try := 0; try < 1000; try++ {
			ctx, cancel := context.WithCancel(t.Context())
			left := 1 + r.IntN(4)
			out, err := journalled(ctx, t, j, folder, Part{}, func(s Status) {
				if s.Replayed {
					return
				}
				if left--; left == 0 {
					cancel()
				}
			})
			cancel()
			if err == nil {
				break
			}
			stopped++
			if !Interrupted(err) {
				t.Fatal(err)
			}
			for i := range out {
				accounted(t, &out[i].Outcome)
				found += len(out[i].Found)
			}
		}
		same("interrupted")

		n := len(j.Points)
		for i := range n {
			if err := j.Divides(Part{i, n}); err != nil {
				t.Error(err)
			}
			if _, err := journalled(t.Context(), t, j, folder, Part{i, n}, nil); err != nil {
				t.Fatal(err)
			}
		}
		if diff := cmp.Diff(want, tellAll(mergeOf(t, j, folder)), cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("case %d: one run -, merged +\n%s", c, diff)
		}
		var refused *OptimizePartError
		if err := j.Divides(Part{0, n + 1}); !errors.As(err, &refused) {
			t.Errorf("case %d: part of a point: %v", c, err)
		}
	})
	if stopped < 10 || found == 0 || far == 0 {
		t.Errorf("%d interrupts, %d designs found by then, %d graded by third order", stopped, found, far)
	}
}

// toldAll is told with what a population search tells beside its ranking.
type toldAll struct {
	Told      told
	Optimized *Optimized
	Refined   *Refined
}

func tellAll(outcomes []PointOutcome) []toldAll {
	var all []toldAll
	for i, x := range tell(outcomes) {
		all = append(all, toldAll{x, outcomes[i].Optimized, outcomes[i].Refined})
	}
	return all
}

// TestOptimizeLimits keeps to the limits on evaluations, checks and parts, ends without
// progress, and ends where there is next to nothing to search or nothing fits.
func TestOptimizeLimits(t *testing.T) {
	run := func(change func(s *spec.Spec), lenses []*catalog.Lens) *Outcome {
		s := benchSpec(objective.ErectorSingle, 2)
		s.Job.Top, s.Search.EvaluationsMax = 10, 20_000
		change(s)
		return optimized(t, s, lenses, s.Search.EvaluationsMax)
	}
	lenses := benchLenses(30)
	out := run(func(s *spec.Spec) { s.Search.EvaluationsMax = 777 }, lenses)
	if n := out.Optimized.Evaluations; n < 777 || n > 778 { // and what the bound may have found
		t.Errorf("%d evaluations, 777 allowed", n)
	}
	out = run(func(s *spec.Spec) { s.Search.ChecksMax = 500 }, lenses)
	if n := out.Proof.Checked; n < 400 || n > 501 {
		t.Errorf("%d checks, 500 allowed", n)
	}
	out = run(func(s *spec.Spec) { s.Search.StallEvaluations = 1000 }, lenses)
	last := out.Optimized.History[len(out.Optimized.History)-1].Evaluations
	if n := out.Optimized.Evaluations; n >= 20_000 || n < last+1000 || n > last+1000+2*optimizeBatch {
		t.Errorf("%d evaluations, without progress since %d", n, last)
	}
	three := slices.Clone(lenses)
	for i := range three {
		l := *three[i]
		l.Stock = 1
		three[i] = &l
	}
	out = run(func(s *spec.Spec) {
		s.Train.LensesMax, s.Train.DistinctPartsMax = 4, 4
		s.Search.EvaluationsMax = 5000
	}, three)
	for _, f := range out.Found {
		seen := map[string]bool{}
		for _, g := range f.Train.Groups {
			for _, e := range g.Elements {
				if seen[e.Lens.Part] {
					t.Errorf("%s: %s twice, stock is 1", f.ID, e.Lens.Part)
				}
				seen[e.Lens.Part] = true
			}
		}
		if len(seen) > 4 {
			t.Errorf("%s: %d lenses", f.ID, len(seen))
		}
	}
	if len(out.Found) == 0 {
		t.Error("nothing found of up to four lenses")
	}
	out = run(func(s *spec.Spec) { s.Stage.TravelMM = 0.01 }, lenses[:2])
	if len(out.Found) > 0 || !math.IsInf(out.Optimized.BestMM, 1) || out.Optimized.Evaluations >= 20_000 || !math.IsInf(out.Optimized.LowerBoundMM, 1) {
		t.Errorf("nothing can pass: %+v", out.Optimized)
	}
	accounted(t, out)
	if n := out.Optimized.Nearest; n == nil || n.Failed == "" || n.RankedMM != 0 || len(n.Exceeds) > 0 {
		t.Errorf("nothing can pass, the nearest is %+v", n)
	}
	sharp := 0.01
	out = run(func(s *spec.Spec) { s.Search.EvaluationsMax, s.Limits.ViewBlurArcmin = 1000, &sharp }, lenses)
	if n := out.Optimized.Nearest; n == nil || n.Failed != "view_blur_arcmin" || !(n.Exceeds["view_blur_arcmin"] > sharp) || !(n.RankedMM > 0) {
		t.Errorf("no view is so sharp, the nearest is %+v", n)
	}
	out = run(func(*spec.Spec) {}, nil)
	if len(out.Found) > 0 || out.Proof.Space.Sign() != 0 || out.Optimized.Evaluations != 0 {
		t.Errorf("without lenses: %+v", out.Optimized)
	}
}
