package sweep

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
)

// facetCase is a smallCase in which lenses with a flat surface are Fresnel lenses; false where
// there are none.
func facetCase(c int) (secondmodel.Request, []*catalog.Lens, bool) {
	request, lenses := smallCase(c)
	cut := secondmodel.CutFacets(rand.New(rand.NewPCG(30, uint64(c))), lenses)
	return request, lenses, cut > 0
}

// TestFacetsSearchAgainstSecondModel: the walk over Fresnel lenses finds what the enumeration of
// the second model finds.
func TestFacetsSearchAgainstSecondModel(t *testing.T) {
	wanted := 24
	if testing.Short() {
		wanted = 6
	}
	busy := 0
	for c, compared := 7000, 0; compared < wanted; c++ {
		request, lenses, ok := facetCase(c)
		if !ok {
			continue
		}
		compared++
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			if compareSecondModel(t, c, request, lenses) > 0 {
				busy++
			}
		})
	}
	if busy < wanted/4 {
		t.Errorf("only %d of %d cases have a design", busy, wanted)
	}
}

// TestFacetsRaysAgainstSecondModel compares all metrics of trains with Fresnel lenses with those of
// the second model, which follows light over each pitch.
func TestFacetsRaysAgainstSecondModel(t *testing.T) {
	wanted := 12
	if testing.Short() {
		wanted = 3
	}
	seen := 0
	for c, compared := 7000, 0; compared < wanted && c < 7400; c++ {
		request, lenses, ok := facetCase(c)
		if !ok || slices.Contains(request.Layouts, "erector-pair") {
			continue
		}
		request.FillPct = 50
		s := specOf(request)
		p := s.Problem()
		a, err := newExactSearch(context.Background(), objective.NewLibrary(p, lenses), (&Job{Spec: s}).options(s))
		if err != nil {
			t.Fatal(err)
		}
		batch, _, err := a.next(context.Background(), 20)
		if err != nil {
			t.Fatal(err)
		}
		for i := range batch {
			train := mustSolve(a.lib, &batch[i])
			report := raycheck.NewChecker(p).Measure(train)
			m := &report.Metrics
			if !train.HasFacets() || !(m.ViewBlurArcmin < hopelessBlur && m.ViewAstigmatismD < imageless && m.VignettedPct < 60) {
				continue
			}
			compared++
			if m.GrooveVisibleArcmin > 0 {
				seen++
			}
			d := secondmodel.Evaluate(request, train.Layout.String(), train.Seat.String(), orientedOf(train))
			compareRays(t, batch[i].id(a.lib), report, secondmodel.RayMetricsGrid(request, d, 60), p)
			break
		}
	}
	t.Logf("the eye sees the grooves of %d trains", seen)
}

// TestFacetLimitsAgainstExhaustive: a limit on the grooves leaves of small spaces what an
// exhaustive search by the second model leaves, in its order.
func TestFacetLimitsAgainstExhaustive(t *testing.T) {
	wanted := 4
	if testing.Short() {
		wanted = 2
	}
	names := []string{"groove_blur_arcmin", "transmission_min"}
	bites := map[string]int{}
	for c, compared := 7000, 0; compared < wanted && c < 7600; c++ {
		request, lenses, ok := facetCase(c)
		if !ok || slices.Contains(request.Layouts, "erector-pair") {
			continue
		}
		request.SharpBoxMM, request.Limits = 0, map[string]float64{}
		designs := secondmodel.Enumerate(request, lenses).Passing
		if len(designs) < 5 || request.Steps > 4 {
			continue
		}
		designs = designs[:min(8, len(designs))]
		name := names[compared%len(names)]
		values := make([]float64, len(designs))
		failed := make([]bool, len(designs))
		var known []float64
		for i, d := range designs {
			m := secondmodel.RayMetricsGrid(request, d, 12)
			values[i] = map[string]float64{"groove_blur_arcmin": m.GrooveBlurArcmin, "transmission_min": -m.Transmission}[name]
			if failed[i] = m.FailedBy != ""; !failed[i] && catalog.IsSet(values[i]) {
				known = append(known, values[i])
			}
		}
		slices.Sort(known)
		limit, gap := math.NaN(), 0.01
		for i := 1; i < len(known); i++ {
			if d := known[i] - known[i-1]; d > gap {
				limit, gap = (known[i]+known[i-1])/2, d
			}
		}
		if math.IsNaN(limit) {
			continue
		}
		compared++
		var want []string
		for i, d := range designs {
			switch {
			case failed[i]:
			case values[i] > limit:
				bites[name]++
			default:
				want = append(want, d.ID) // those without facets too
			}
		}
		request.Limits[name] = math.Abs(limit)
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
			t.Errorf("case %d, %s of %v: found\n%v, by exhaustion\n%v", c, name, limit, got, want)
		}
	}
	if bites["groove_blur_arcmin"] == 0 || bites["transmission_min"] == 0 {
		t.Errorf("limits bite %v times", bites)
	}
}

// TestFacetsRefinedByHand: a walk that refines ranks of Fresnel lenses what screening and refining
// every design one by one ranks, also with a limit in the middle of what their grooves do, and what
// was refined meets it by the rays of the second model.
func TestFacetsRefinedByHand(t *testing.T) {
	const most = 30
	wanted := 3
	if testing.Short() {
		wanted = 1
	}
	for c, compared := 3000, 0; compared < wanted && c < 3400; c++ {
		s, request, lenses, good := refinedCase(c)
		if !good || slices.Contains(request.Layouts, "erector-pair") || secondmodel.CutFacets(rand.New(rand.NewPCG(31, uint64(c))), lenses) == 0 {
			continue
		}
		free, _, ok := refineByHand(t, s, request, lenses, most)
		if !ok {
			continue
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
			if value := report.Metrics.GrooveBlurArcmin; catalog.IsSet(value) {
				values = append(values, value)
			}
		}
		if len(values) < 2 {
			continue
		}
		compared++
		slices.Sort(values)
		for _, limit := range []float64{math.Inf(1), values[len(values)/2] * (1 - 1e-9)} {
			if !math.IsInf(limit, 1) {
				s.Limits.GrooveBlurArcmin = &limit
			}
			passing, near, ok := refineByHand(t, s, request, lenses, most)
			if !ok {
				t.Fatal("too many designs")
			}
			s.Job.Top = len(passing) + 5
			w, out := walked(t, s, lenses, func(*refineWalk) {})
			compareByHand(t, out, passing, s.Job.Top)
			if w.counts.Candidates != len(near) || w.counts.Passed != len(passing) {
				t.Errorf("case %d up to %v: %+v of %d near misses and %d that pass", c, limit, w.counts, len(near), len(passing))
			}
			checkMoved(t, s, request, out)
		}
		t.Logf("case %d: %d of %d have facets", c, len(values), len(free))
	}
}
