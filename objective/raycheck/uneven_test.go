package raycheck

import (
	"math"
	"testing"

	"relaysweep/objective/internal/testtrain"
)

// TestUnevenDepths: a depth is measured alike alone and among others, wherever these
// stand. Alone every wavelength is traced; among others colour between the ends comes
// from the ends, by vergence.
func TestUnevenDepths(t *testing.T) {
	p := testtrain.Problem()
	p.DepthSteps = 3 // so that the depths themselves are traced
	p.WavelengthsNM, p.Weights = []float64{479.99, 546.07, 643.85}, []float64{1, 2, 1}
	train := testtrain.Simple(t, p)
	far, near := p.VergenceFar, p.VergenceNear
	for _, share := range []float64{0.05, 0.1, 0.9} {
		v := far + share*(near-far)
		among := NewCheckerAt(p, []float64{far, v, near}).Measure(train).Setpoints[1].MaskMM
		alone := NewCheckerAt(p, []float64{v}).Measure(train).Setpoints[0].MaskMM
		// What colour adds changes in proportion but for what is quadratic in it: that is
		// below the last digit of a stage table.
		if !(math.Abs(among-alone) < 1e-6) {
			t.Errorf("at %g of the range the mask stands at %.6f mm, alone at %.6f mm", share, among, alone)
		}
	}
}
