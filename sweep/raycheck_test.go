package sweep

import (
	"context"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// TestRayCheckAgainstSecondModel compares the ray check with the ray-by-ray one of
// sweep/internal/secondmodel, which fills the pupil densely and shares no code with
// it: 60 points across the pupil are good to about 1 %. Trains of all qualities
// are compared but those that no eye could use, whose bundles lose rays and
// whose blur no filling settles.
func TestRayCheckAgainstSecondModel(t *testing.T) {
	wanted := 20
	if testing.Short() {
		wanted = 4
	}
	compared := 0
	both := 0
	for c := 1000; compared < wanted; c++ {
		number := c
		if c%2 > 0 {
			number += bothFrom
		}
		request, lenses := smallCase(number)
		if slices.Contains(request.Layouts, "erector-pair") && c%2 > 0 {
			continue
		}
		request.FillPct, request.EyeColour = 30+float64(c%70), c%4 == 1
		s := specOf(request)
		p := s.Problem()
		a, err := newExactSearch(context.Background(), objective.NewLibrary(p, lenses), (&Job{Spec: s}).options(s))
		if err != nil {
			t.Fatal(err)
		}
		batch, _, err := a.next(context.Background(), 1)
		if err != nil {
			t.Fatal(err)
		}
		if len(batch) == 0 {
			continue
		}
		train := mustSolve(a.lib, &batch[0])
		report := raycheck.NewChecker(p).Measure(train)
		if !(report.Metrics.ViewBlurArcmin < hopelessBlur && report.Metrics.ViewAstigmatismD < imageless) {
			continue
		}
		compared++
		d := secondmodel.Evaluate(request, train.Layout.String(), train.Seat.String(), orientedOf(train))
		if train.Layout == objective.ErectorPair && math.Abs(d.GapsMM[1]-train.Gaps[1]) > 1e-6 {
			continue // another inner gap of the same ranked length
		}
		if train.Seat == objective.SeatBoth {
			both++
		}
		compareRays(t, batch[0].id(a.lib), report, secondmodel.RayMetricsGrid(request, d, 60), p)
	}
	if both < 2 {
		t.Errorf("%d trains with two masks of %d", both, compared)
	}
}

const (
	// hopelessBlur, in arcmin, is a view blur of four degrees.
	hopelessBlur = 240
	// imageless, in dioptres, is an astigmatism beyond which a view is no image:
	// there the check's few rays are good to some per cent only.
	imageless = 10
)

func compareRays(t *testing.T, id string, got *raycheck.Report, want secondmodel.Metrics, p *objective.Problem) {
	t.Helper()
	close := func(name string, got, want, relative, absolute float64) {
		t.Helper()
		if math.IsInf(got, 1) && math.IsInf(want, 1) {
			return
		}
		if !(math.Abs(got-want) <= relative*math.Abs(want)+absolute) {
			t.Errorf("%s: %s is %.6g, the second model has %.6g", id, name, got, want)
		}
	}
	m := &got.Metrics
	close("view_blur_arcmin", m.ViewBlurArcmin, want.ViewBlurArcmin, 0.02, 1e-3)
	close("view_defocus_D", m.ViewDefocusD, want.ViewDefocusD, 0.02, 1e-4)
	close("view_astigmatism_D", m.ViewAstigmatismD, want.ViewAstigmatismD, 0.02, 1e-3)
	close("view_refocus_D", m.ViewRefocusD, want.ViewRefocusD, 0.02, 1e-3)
	close("axis_vergence_D", m.AxisVergenceD, want.AxisVergenceD, 0.01, 1e-4)
	close("distortion_pct", m.DistortionPct, want.DistortionPct, 0.02, 1e-3)
	close("lateral_colour_arcmin", m.LateralColourArcmin, want.LateralColourArcmin, 0.02, 1e-3)
	close("axial_colour_D", m.AxialColourD, want.AxialColourD, 0.01, 1e-4)
	close("vignetted_pct", m.VignettedPct, want.VignettedPct, 0, 1)
	if catalog.IsSet(want.GrooveBlurArcmin) || catalog.IsSet(m.GrooveBlurArcmin) {
		// 500 rays a pitch, 40 rings of the pupil.
		close("transmission", m.Transmission, want.Transmission, 4e-3, 0)
		close("groove_blur_arcmin", m.GrooveBlurArcmin, want.GrooveBlurArcmin, 1e-6, 0)
		close("groove_visible_arcmin", m.GrooveVisibleArcmin, want.GrooveVisibleArcmin, 1e-6, 0)
	} else {
		close("transmission", m.Transmission, want.Transmission, 1e-9, 0)
	}
	compareMask := func(m raycheck.MaskMetrics, setpoints []raycheck.Setpoint, want secondmodel.MaskMetrics) {
		t.Helper()
		close("mask_blur_arcmin", m.MaskBlurArcmin, want.MaskBlurArcmin, 0.02, 1e-3)
		if p.DepthSteps > 1 {
			// 1 % of the filling is a point of per cent.
			close("blur_mismatch_pct", m.BlurMismatchPct, want.BlurMismatchPct, 0.02, 1)
		}
		// The setpoints are uncertain by the filling, see below; their difference is not nearly as much.
		close("ghost_arcmin", m.GhostArcmin, want.GhostArcmin, 0.02, 1e-3)
		if catalog.IsSet(m.GhostPct) || p.MaskFill > 0 {
			close("ghost_pct", m.GhostPct, want.GhostPct, 1e-4, 0)
		}
		if len(setpoints) != len(want.Setpoints) {
			t.Errorf("%s: %d setpoints, the second model has %d", id, len(setpoints), len(want.Setpoints))
			return
		}
		for i, s := range setpoints {
			// The plane of least blur is uncertain by the filling's 1 % of the
			// distance over which the bundle's rays cross: its blur over the
			// half angle of the cone, pupil/2 over |a|.
			a := p.MaskPixel / math.Tan(s.PixelArcmin*math.Pi/10800)
			depth := s.MaskBlurArcmin * math.Pi / 10800 * a * a / (p.Pupil / 2)
			close("mask_mm", s.MaskMM, want.Setpoints[i].MaskMM, 0, 0.01*depth+1e-4)
			close("setpoint's pixel_arcmin", s.PixelArcmin, want.Setpoints[i].PixelArcmin, 1e-6, 0)
			close("setpoint's mask_blur_arcmin", s.MaskBlurArcmin, want.Setpoints[i].MaskBlurArcmin, 0.02, 1e-3)
			close("setpoint's view_blur_arcmin", s.ViewBlurArcmin, want.Setpoints[i].ViewBlurArcmin, 0.02, 1e-3)
		}
	}
	compareMask(m.MaskMetrics, got.Setpoints, want.MaskMetrics)
	if len(want.Second.Setpoints) > 0 || len(got.Second.Setpoints) > 0 {
		compareMask(m.Second, got.Second.Setpoints, want.Second)
	}
	if got.FailedBy != want.FailedBy {
		t.Errorf("%s: failed by %q, the second model says %q", id, got.FailedBy, want.FailedBy)
	}
}

func orientedOf(t *objective.Train) [][]secondmodel.Oriented {
	var groups [][]secondmodel.Oriented
	for _, group := range t.Groups {
		var lenses []secondmodel.Oriented
		for _, e := range group.Elements {
			lenses = append(lenses, secondmodel.Oriented{Lens: e.Lens, Reversed: e.Reversed})
		}
		groups = append(groups, lenses)
	}
	return groups
}

// stream is the first n designs that the search of a spec hands to the ray check,
// in its order.
func stream(b *testing.B, s *spec.Spec, lenses []*catalog.Lens, n int) (*objective.Problem, []*objective.Train) {
	b.Helper()
	p := s.Problem()
	a, err := newExactSearch(context.Background(), objective.NewLibrary(p, lenses), (&Job{Spec: s}).options(s))
	if err != nil {
		b.Fatal(err)
	}
	var trains []*objective.Train
	for len(trains) < n {
		batch, _, err := a.next(context.Background(), n-len(trains))
		if err != nil || len(batch) == 0 {
			b.Fatalf("%d designs, %v", len(trains), err)
		}
		for _, c := range batch {
			trains = append(trains, mustSolve(a.lib, &c))
		}
	}
	return p, trains
}

// BenchmarkRayCheck takes the first designs of three searches, nearly all of which
// fail: two demos, of three lenses and of six, and single lenses of any aperture
// at a field of 20°, of which nearly half lose rays. It times the check in a
// search, the measurement in full, that of what is limited for a train whose gaps
// alone change, with and without a limit on vignetting, and for comparison that of the second model, ray by ray with 1256 rays in each
// pupil.
func BenchmarkRayCheck(b *testing.B) {
	wide := benchSpec(objective.ErectorSingle, 1)
	sharp := 5.0
	wide.Limits.MaskBlurArcmin, wide.Limits.ViewBlurArcmin = &sharp, &sharp
	for _, name := range []string{"quick", "stacks", "wide"} {
		s, lenses := wide, benchLenses(400)
		if name != "wide" {
			job, err := Open(context.Background(), "../testdata/demo/"+name+".toml")
			if err != nil {
				b.Fatal(err)
			}
			s = job.Spec
			lenses = job.library(s, s.Problem()).Lenses
		}
		p, trains := stream(b, s, lenses, 1000)
		checker := raycheck.NewChecker(p)
		each := func(what string, once func(t *objective.Train)) {
			b.Run(name+"/"+what, func(b *testing.B) {
				i := 0
				for b.Loop() {
					once(trains[i%len(trains)])
					i++
				}
			})
		}
		each("check", func(t *objective.Train) { checker.Check(t) })
		each("measure", func(t *objective.Train) { checker.Measure(t) })
		again := func(checker *raycheck.Checker) func(*objective.Train) {
			return func(*objective.Train) {
				trains[0].Gaps[0] += 1e-9
				checker.MeasureLimited(trains[0])
			}
		}
		each("gaps", again(checker))
		unvignetted := *p
		unvignetted.Limits.Max = maps.Clone(p.Limits.Max)
		delete(unvignetted.Limits.Max, "vignetted_pct")
		each("gaps-unvignetted", again(raycheck.NewChecker(&unvignetted)))
	}
	r := rand.New(rand.NewPCG(5, 5))
	request := secondmodel.RandomRequest(r)
	request.Layouts, request.LensesPerGroup, request.Steps, request.Limits = []string{"erector-single"}, 2, 5, nil
	s := specOf(request)
	a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), secondmodel.RandomLenses(r, 12)), (&Job{Spec: s}).options(s))
	if err != nil {
		b.Fatal(err)
	}
	batch, _, err := a.next(context.Background(), 1)
	if err != nil || len(batch) == 0 {
		b.Fatal("no train", err)
	}
	t := mustSolve(a.lib, &batch[0])
	d := secondmodel.Evaluate(request, t.Layout.String(), t.Seat.String(), orientedOf(t))
	checker := raycheck.NewChecker(s.Problem())
	b.Run("random/measure", func(b *testing.B) {
		for b.Loop() {
			checker.Measure(t)
		}
	})
	b.Run("random/second-model", func(b *testing.B) {
		for b.Loop() {
			secondmodel.RayMetrics(request, d)
		}
	})
}
