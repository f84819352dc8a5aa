package raycheck

import (
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// order is the order in which a ray check names what fails.
func order(name string) int {
	early := []string{objective.Travel.String(), objective.Clearance.String(), objective.MaskSize.String()}
	if i := slices.Index(early, name); i >= 0 {
		return i
	}
	for m := range MetricList {
		if MetricList[m].Name == name || name == TransmissionMin && metricIndex(m) == transmission {
			return len(early) + m
		}
	}
	return len(early) + len(MetricList)
}

// TestTwoMasksWithoutGlass: masks without glass take nothing from each other's light. A train with two
// has, to the last bit, of one what the train with that one alone has, the same view, and
// transmits as much less as a mask does. It fails by what comes first of what fails either.
func TestTwoMasksWithoutGlass(t *testing.T) {
	compared, failed, lossy := 0, map[string]int{}, 0
	for i, c := range checkCases(80) {
		if c.train.Layout == objective.Keplerian {
			continue
		}
		p := c.p
		p.MaskGlass, p.MaskTransmits, p.MaskFill = 0, 0.7, 0.6
		if p.Travel = 100; i%6 == 0 {
			p.Travel = 12
		}
		if i%4 == 0 {
			p.TanMax *= 3 // so that light is lost
		}
		rear, front, both := *c.train, *c.train, *c.train
		rear.Seat, front.Seat, both.Seat = objective.SeatRear, objective.SeatFront, objective.SeatBoth
		measure := func(train *objective.Train) *Report { return NewChecker(p).Measure(train).Clone() }
		one, two := measure(&rear), measure(&front)
		// Limits among what they have: each turns some away.
		limit := []string{"mask_blur_arcmin", "view_blur_arcmin", "blur_mismatch_pct", "ghost_arcmin", "none"}[i%5]
		if a, ok := one.Metrics.Value(limit); ok {
			b, _ := two.Metrics.Value(limit)
			p.Limits.Max[limit] = (math.Abs(a) + math.Abs(b)) / 2
		}
		one, two = measure(&rear), measure(&front)
		got := measure(&both)
		compared++
		if math.IsInf(one.Samples[len(one.Samples)-1].ViewBlurArcmin, 1) || one.Metrics.VignettedPct > 50 {
			lossy++
		}
		testlens.Near(t, "transmission", got.Metrics.Transmission, 0.7*one.Metrics.Transmission, 1e-15)
		want := one.Metrics
		want.Second, want.Transmission = two.Metrics.MaskMetrics, got.Metrics.Transmission
		same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
		for m := range MetricList {
			of := MetricList[m].of
			if !same(*of(&got.Metrics), *of(&want)) {
				t.Errorf("case %d: %s is %v, with the rear mask alone %v", i, MetricList[m].Name, *of(&got.Metrics), *of(&want))
			}
			if ofMask := MetricList[m].ofMask; ofMask != nil && !same(*ofMask(&got.Metrics.Second), *ofMask(&want.Second)) {
				t.Errorf("case %d: %s at image 1 is %v, with that mask alone %v", i, MetricList[m].Name, *ofMask(&got.Metrics.Second), *ofMask(&want.Second))
			}
		}
		for k, alone := range []*Report{one, two} {
			of := got.Mask(k)
			if of.TravelMM != alone.TravelMM || !slices.Equal(of.Setpoints, alone.Setpoints) {
				t.Errorf("case %d, mask %d: %+v, alone %+v", i, k, *of, alone.MaskReport)
			}
		}
		for n, s := range got.Samples {
			want := one.Samples[n]
			want.SecondBlurArcmin = two.Samples[n].MaskBlurArcmin
			if s != want {
				t.Errorf("case %d, sample %d: %+v, alone %+v", i, n, s, want)
			}
		}
		first := one.FailedBy
		if order(two.FailedBy) < order(first) {
			first = two.FailedBy
		}
		failed[first]++
		if got.FailedBy != first {
			t.Errorf("case %d: fails by %q, with one mask each by %q and %q", i, got.FailedBy, one.FailedBy, two.FailedBy)
		}
		if by := NewChecker(p).Check(&both).FailedBy; by != first {
			t.Errorf("case %d: the short check fails by %q, the full one by %q", i, by, first)
		}
	}
	t.Logf("%d trains, %d of which lose light; failed by %v", compared, lossy, failed)
	if compared < 40 || len(failed) < 5 || lossy < 5 {
		t.Errorf("%d trains, %d of which lose light, failed by %v", compared, lossy, failed)
	}
}

// TestTwoMasksWithGlass: with glass each mask stands where a paraxial trace through both plates
// that knows no images has the image of its depth, as pupil and field shrink to nothing, and its
// pixels and ghosts are seen as that trace has them.
func TestTwoMasksWithGlass(t *testing.T) {
	p := testtrain.Problem()
	p.TanMax, p.Pupil, p.Box, p.MaskGlass, p.MaskGlassIndex, p.MaskPixel = 1e-4, 1e-3, 0, 2.3, 1.61, 0.031
	p.VergenceFar, p.WavelengthsNM, p.Weights = 0, []float64{610}, []float64{1} // so that one plane is sharp
	train := testtrain.Simple(t, p)
	train.Seat = objective.SeatBoth
	before := train.Length
	if failed := p.Assemble(train, 0); failed == objective.Focal {
		t.Fatal(failed)
	}
	// t(1 - 1/n) a plate, by hand.
	testlens.Near(t, "length", train.Length-before, 2.3*(1-1/1.61), 1e-12)
	report := NewChecker(p).Measure(train)
	far := [2]float64{report.Setpoints[0].MaskMM, report.Second.Setpoints[0].MaskMM}
	// heights are those in the two layers of a ray that leaves the eye.
	heights := func(rear, front, y, u float64) (atRear, atFront float64) {
		planes := testtrain.PlanesOf(p, train, rear, front)
		all, _, _ := testlens.TraceBackThrough(planes, y, u)
		layers := [2]float64{}
		n := 0
		for i, s := range planes { // from the world to the eye
			if s.Mask {
				layers[n] = all[i]
				n++
			}
		}
		return layers[1], layers[0]
	}
	ghost := [2]float64{}
	for d := range p.DepthSteps {
		at := [2]Setpoint{report.Setpoints[d], report.Second.Setpoints[d]}
		v := p.Depth(d)
		// The point at this depth is seen along the axis by a ray of height 1 with slope V.
		rear, front := heights(at[0].MaskMM, at[1].MaskMM, 1, v)
		testlens.Near(t, "image at the rear layer", rear, 0, 1e-7)
		testlens.Near(t, "image at the front layer", front, 0, 1e-7)
		chief := [2]float64{}
		chief[0], chief[1] = heights(at[0].MaskMM, at[1].MaskMM, 0, 1)
		turned := [2]float64{}
		turned[0], turned[1] = heights(at[0].MaskMM, at[1].MaskMM, 1, 0)
		for k := range at {
			pixel := math.Atan(p.MaskPixel/math.Abs(chief[k])) * 10800 / math.Pi
			testlens.Near(t, "pixel_arcmin", at[k].PixelArcmin, pixel, 1e-7*pixel) // the pupil is not quite nothing
			// As in TestGhost.
			ghost[k] = math.Max(ghost[k], math.Abs(turned[k])*610e-6/p.MaskPixel)
		}
		// Where the other mask stands makes no difference.
		if again, _ := heights(at[0].MaskMM, far[1]+1, 1, v); math.Abs(again-rear) > 1e-12 {
			t.Errorf("the rear image is off by %v for the front mask elsewhere", again-rear)
		}
	}
	for k, got := range []float64{report.Metrics.GhostArcmin, report.Metrics.Second.GhostArcmin} {
		testlens.Near(t, "ghost_arcmin", got, math.Atan(ghost[k])*10800/math.Pi, 1e-4*ghost[k]*3438)
	}
}
