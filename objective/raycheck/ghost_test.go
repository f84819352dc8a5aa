package raycheck

import (
	"math"
	"testing"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// TestGhost follows the light of a first order by a paraxial trace that knows no images. A
// ray that turns in the mask's layer by λ/p arrives at the eye with a slope that
// differs by D·λ/p, D being of the matrix from the layer to the eye. Traced back, D is the
// height in the layer of a ray that leaves the eye along the axis at unit height. As
// pupil and field shrink, the ghost of a world at infinity is seen at this angle.
func TestGhost(t *testing.T) {
	for _, glass := range []float64{0, 1.1} {
		p := testtrain.Problem()
		p.TanMax, p.Pupil, p.Box, p.MaskGlass, p.MaskPixel = 1e-3, 1e-3, 0, glass, 0.031
		p.VergenceFar, p.WavelengthsNM, p.Weights = 0, []float64{610}, []float64{1} // so that one plane is sharp
		train := testtrain.Simple(t, p)
		report := NewChecker(p).Measure(train)
		want := 0.0
		for _, s := range report.Setpoints {
			planes := testtrain.PlanesOf(p, train, s.MaskMM)
			heights, _, _ := testlens.TraceBackThrough(planes, 1, 0)
			want = math.Max(want, math.Abs(testlens.MaskHeight(planes, heights)))
		}
		want *= p.WavelengthsNM[p.Reference()] * 1e-6 / p.MaskPixel
		testlens.Near(t, "ghost_arcmin", report.Metrics.GhostArcmin, math.Atan(want)*10800/math.Pi, 1e-4*want*3438)
		if want < 1e-3 {
			t.Errorf("a ghost at %v rad tests nothing", want)
		}
	}
}

// TestGhostLight: a square wave that is open over half of its period sends 1/π² of what
// arrives into each first order, and a quarter straight on (J. W. Goodman, Introduction to Fourier
// Optics, chapter 4, from memory). Of openings of half a pitch each way the order (1, 0)
// thus has 1/π²·1/4 of what arrives, a quarter of which gets through. Over all orders what
// gets through is all there is (Parseval), and without gaps between the pixels there is no grating.
func TestGhostLight(t *testing.T) {
	testlens.Near(t, "a quarter open", ghostLight(0.25), 4*(1/(math.Pi*math.Pi)*0.25)/0.25, 1e-12)
	testlens.Near(t, "all open", ghostLight(1), 0, 1e-12)
	if got := ghostLight(0); !math.IsNaN(got) {
		t.Errorf("an unknown fill has %v", got)
	}
	// The orders (m, 0) and (0, n) of a fill that is not symmetric in anything: those that
	// are not first have what the row of all orders leaves.
	const fill = 0.57
	side := math.Sqrt(fill)
	row := 0.0
	for m := 2; m < 200000; m++ {
		s := math.Sin(math.Pi*float64(m)*side) / (math.Pi * float64(m) * side)
		row += 2 * side * s * s
	}
	// Of a row all orders add up to 1 and the zeroth has the side; the other direction takes the side of each.
	testlens.Near(t, "by what the others leave", ghostLight(fill), 2*(1-side-row)*side, 1e-5)
}

// TestLateLimits: limits on the mismatch of blurs and on ghosts are judged after all others, and the share of light can't be
// judged where the fill is not known.
func TestLateLimits(t *testing.T) {
	p := testtrain.Problem()
	p.AccommodationD, p.RefocusMaxD, p.Travel, p.MaskFill = 8, 8, 100, 0.6
	clear(p.Limits.Max)
	p.Limits.TransmissionMin = 0
	train := testtrain.Simple(t, p)
	m := NewChecker(p).Measure(train).Metrics
	if failed := NewChecker(p).Check(train).FailedBy; failed != "" {
		t.Fatalf("fails by %q without limits", failed)
	}
	for _, c := range []struct {
		ghost, share, transmission float64
		fill                       float64
		mismatch                   float64
		want                       string
	}{
		{m.GhostArcmin * 1.001, m.GhostPct * 1.001, 0, 0.6, math.Abs(m.BlurMismatchPct) * 1.001, ""},
		{m.GhostArcmin * 0.999, m.GhostPct * 0.999, 0, 0.6, math.Abs(m.BlurMismatchPct) * 1.001, "ghost_arcmin"},
		{m.GhostArcmin * 1.001, m.GhostPct * 0.999, 0, 0.6, math.Abs(m.BlurMismatchPct) * 1.001, "ghost_pct"},
		{m.GhostArcmin * 1.001, m.GhostPct * 1.001, 0, 0, math.Abs(m.BlurMismatchPct) * 1.001, "ghost_pct"},
		{m.GhostArcmin * 0.999, m.GhostPct * 0.999, 0.9999, 0.6, math.Abs(m.BlurMismatchPct) * 1.001, "transmission_min"},
		{m.GhostArcmin * 0.999, m.GhostPct * 0.999, 0, 0.6, math.Abs(m.BlurMismatchPct) * 0.999, "blur_mismatch_pct"},
	} {
		q := *p
		q.MaskFill, q.Limits.TransmissionMin = c.fill, c.transmission
		q.Limits.Max = map[string]float64{"ghost_arcmin": c.ghost, "ghost_pct": c.share, "blur_mismatch_pct": c.mismatch}
		if got := NewChecker(&q).Check(train).FailedBy; got != c.want {
			t.Errorf("%+v: failed by %q", c, got)
		}
		if got := NewChecker(&q).Measure(train).FailedBy; got != c.want {
			t.Errorf("%+v: measured in full failed by %q", c, got)
		}
	}
}
