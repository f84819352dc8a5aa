package sweep

import (
	"context"
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
)

// TestLateLimitsAgainstExhaustive: limits that a screen does not know, and that are judged
// last, leave what passes as an exhaustive search by the second model has it. Of the shortest designs
// of small spaces each is traced there ray by ray. The limit lies in the widest gap between what
// they have, so that a filling of the pupil that is good to a per cent decides nothing.
func TestLateLimitsAgainstExhaustive(t *testing.T) {
	wanted := 6
	if testing.Short() {
		wanted = 2
	}
	const most, grid = 12, 20
	names := []string{"blur_mismatch_pct", "ghost_arcmin"}
	for c, compared := 5000, 0; compared < wanted && c < 5200; c++ {
		number := c
		if compared%4 > 1 { // a mask at each image
			number += bothFrom
		}
		request, lenses := smallCase(number)
		if slices.Contains(request.Layouts, "erector-pair") || request.Steps < 2 || request.NearM == request.FarM {
			continue
		}
		request.SharpBoxMM, request.Limits = 0, map[string]float64{}
		designs := secondmodel.Enumerate(request, lenses).Passing
		if len(designs) < 6 {
			continue
		}
		designs = designs[:min(most, len(designs))]
		name := names[compared%len(names)]
		values := make([]float64, len(designs))
		var known []float64
		for i, d := range designs {
			m := secondmodel.RayMetricsGrid(request, d, grid)
			values[i] = map[string]float64{
				"blur_mismatch_pct": max(math.Abs(m.BlurMismatchPct), math.Abs(m.Second.BlurMismatchPct)),
				"ghost_arcmin":      max(m.GhostArcmin, m.Second.GhostArcmin),
			}[name]
			if m.FailedBy != "" {
				values[i] = math.Inf(1)
			}
			if !math.IsInf(values[i], 1) {
				known = append(known, values[i])
			}
		}
		slices.Sort(known)
		limit, gap := 0.0, 1.1
		for i := 1; i < len(known); i++ {
			if ratio := known[i] / (known[i-1] + 1); ratio > gap {
				limit, gap = math.Sqrt(known[i]*(known[i-1]+1)), ratio
			}
		}
		if limit == 0 {
			continue
		}
		compared++
		var want []string
		turned := 0
		for i, d := range designs {
			switch {
			case values[i] <= limit:
				want = append(want, d.ID)
			case !math.IsInf(values[i], 1):
				turned++
			}
		}
		request.Limits[name] = limit
		s := specOf(request)
		s.Job.Top = len(want)
		a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
		if err != nil {
			t.Fatal(err)
		}
		out, err := a.run(context.Background())
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for i := range out.Found {
			got = append(got, out.Found[i].ID)
		}
		if !slices.Equal(got, want) {
			t.Errorf("case %d, %s up to %v: found\n%v, by exhaustion\n%v", c, name, limit, got, want)
		}
		if failed := out.Proof.Failed[name]; turned > 0 && len(want) > 0 && failed == nil && values[0] > limit {
			t.Errorf("case %d: none fails by %s", c, name)
		}
	}
}

// TestRefinedRankingWithLateLimits: where these limits bite, a walk that refines ranks what
// screening and refining every design one by one ranks, and what was refined meets them
// by the rays of the second model. A limit lies in the middle of what the designs have that
// pass without it.
func TestRefinedRankingWithLateLimits(t *testing.T) {
	const c, most = 3054, 30
	for _, name := range []string{"blur_mismatch_pct", "ghost_arcmin"} {
		s, request, lenses, good := refinedCase(c)
		if !good {
			t.Fatal("the case is of no use")
		}
		free, _, ok := refineByHand(t, s, request, lenses, most)
		if !ok || len(free) < 2 {
			t.Fatalf("%d designs pass without a limit", len(free))
		}
		p := s.Problem()
		refiner := raycheck.NewRefiner(p, (&Job{Spec: s}).options(s).by)
		var values []float64
		for _, f := range free {
			report := raycheck.NewChecker(p).Measure(f.start)
			if f.moved != nil {
				refiner.Begin(f.start)
				_, report, _ = refiner.Settle(f.moved)
			}
			value, _ := report.Metrics.Value(name)
			values = append(values, math.Abs(value))
		}
		slices.Sort(values)
		limit := values[len(values)/2]
		if name == "ghost_arcmin" {
			s.Limits.GhostArcmin = &limit
		} else {
			s.Limits.BlurMismatchPct = &limit
		}
		passing, near, ok := refineByHand(t, s, request, lenses, most)
		if !ok {
			t.Fatal("too many designs")
		}
		same := len(passing) == len(free)
		for i := range passing {
			same = same && passing[i].ranked == free[i].ranked
		}
		if same || len(passing) == 0 {
			t.Errorf("%s up to %v changes nothing, or leaves nothing: %d of %d pass", name, limit, len(passing), len(free))
		}
		s.Job.Top = len(passing) + 5
		w, out := walked(t, s, lenses, func(*refineWalk) {})
		compareByHand(t, out, passing, s.Job.Top)
		if w.counts.Candidates != len(near) || w.counts.Passed != len(passing) {
			t.Errorf("%s: %+v of %d near misses and %d that pass", name, w.counts, len(near), len(passing))
		}
		checkMoved(t, s, request, out)
	}
}
