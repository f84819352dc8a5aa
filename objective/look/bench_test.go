package look

import (
	"testing"

	"relaysweep/objective/internal/testtrain"
)

// BenchmarkRender makes the three pictures of a report.
func BenchmarkRender(b *testing.B) {
	p := testtrain.Problem()
	train := testtrain.Simple(b, p)
	maskMM, _ := p.PlaceMask(train, train.MaskGap(), 0.002)
	c := &scene{p: p, train: train}
	s, _, _ := ForField(p, 0.9)
	for b.Loop() {
		for _, v := range []float64{0, 0.002, 0.004} {
			eye := c.eye(320, 241, 32)
			eye.Accommodation = v
			Render(p, train, maskMM, s, eye)
		}
	}
}
