package sweep

import (
	"context"
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
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
		request, lenses := smallCase(c)
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
			values[i] = map[string]float64{"blur_mismatch_pct": math.Abs(m.BlurMismatchPct), "ghost_arcmin": m.GhostArcmin}[name]
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
