package raycheck

import (
	"math"
	"testing"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// TestMismatchIdeal: as pupil and field shrink, a mask in one colour blurs as an ideal edge
// does, whatever the depths between which the eye looks.
func TestMismatchIdeal(t *testing.T) {
	for _, glass := range []float64{0, 1.1} {
		p := testtrain.Problem()
		p.TanMax, p.Pupil, p.Box, p.MaskGlass = 1e-3, 0.01, 0, glass
		p.WavelengthsNM, p.Weights = []float64{560}, []float64{1}
		m := NewChecker(p).Measure(testtrain.Simple(t, p)).Metrics
		testlens.Near(t, "blur_mismatch_pct", m.BlurMismatchPct, 0, 0.02)
		p.VergenceFar, p.DepthSteps = p.VergenceNear, 1
		if m := NewChecker(p).Measure(testtrain.Simple(t, p)).Metrics; !math.IsNaN(m.BlurMismatchPct) {
			t.Errorf("a single depth has a mismatch of %v", m.BlurMismatchPct)
		}
	}
}

// TestMismatchStopped: on the axis a clear aperture that lets only the middle of the pupil
// through leaves a disc of the radius ρ, whose RMS radius is ρ/√2: the blur is less by ρ over
// the pupil's radius. By an independent paraxial trace ρ is the clear semi-diameter over the
// height of a ray that leaves the eye at unit height from the accommodated depth. Fillings are good
// to 1 % of a blur.
func TestMismatchStopped(t *testing.T) {
	for _, groups := range [][]int{{0}, {1}, {2}, {0, 2}} { // those that stop the light
		p := testtrain.Problem()
		p.Pupil, p.Box, p.TanMax, p.Limits.FieldFraction = 1, 0, 1e-3, 0
		p.WavelengthsNM, p.Weights = []float64{560}, []float64{1}
		train := testtrain.Simple(t, p)
		for _, k := range groups {
			for _, e := range train.Groups[k].Elements {
				lens := *e.Lens
				lens.ClearMM = 0.45 + 0.07*float64(k)
				e.Lens = &lens
			}
		}
		least := math.Inf(1)
		planes := testtrain.PlanesOf(p, train, 0)
		for d := range p.DepthSteps {
			heights, _, _ := testlens.TraceBackThrough(planes, 1, p.Depth(d))
			for i, h := range heights {
				if clear := planes[i].Clear; clear > 0 {
					least = math.Min(least, clear/math.Abs(h))
				}
			}
		}
		want := 100 * (least/(p.Pupil/2) - 1)
		testlens.Near(t, "blur_mismatch_pct", NewChecker(p).Measure(train).Metrics.BlurMismatchPct, want, 0.01*(100+want))
		if want > -20 {
			t.Errorf("stopping at %v leaves %v %%, which tests nothing", groups, want)
		}
	}
}
