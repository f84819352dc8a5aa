package raycheck

import (
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/raycheck/lanes"
)

// TestTraceThinLensAstigmatism checks the curved images of a thin lens with the
// stop at the lens, object at infinity: whatever its bending, the sagittal image
// lies h²/(2f)·(1 + 1/n) inside the focal plane at the image height h and the
// tangential one h²/(2f)·(3 + 1/n), to the third order (W. T. Welford,
// Aberrations of Optical Systems, 1986, chap. 12, central aberrations of a thin
// lens S_III = H²φ, S_IV = H²φ/n, from memory). Close rays on either side of the
// chief ray find them; the limit of small angles is found by Richardson's
// extrapolation.
func TestTraceThinLensAstigmatism(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(20, 100).Draw(t, "f")
		n := rapid.Float64Range(1.4, 1.9).Draw(t, "n")
		q := rapid.Float64Range(-2, 2).Draw(t, "shape factor")
		k := 1 / (f * (n - 1))
		var p path
		p.add(0, k*(q+1)/2, 0, n)
		p.add(0, k*(q-1)/2, 0, 1)
		inside := func(tan float64) (sagittal, tangential float64) {
			side := f * 1e-4
			at := func(dx, dy float64) *lanes.Rays {
				r := singleRay(dx, dy, 0, tan)
				p.trace(r)
				return r
			}
			s := at(side, 0)
			sagittal = s.W[0] - s.X[0]*s.KW[0]/s.KX[0]
			a, b := at(0, -side), at(0, side)
			slopeA, slopeB := a.KY[0]/a.KW[0], b.KY[0]/b.KW[0]
			tangential = ((a.Y[0] - slopeA*a.W[0]) - (b.Y[0] - slopeB*b.W[0])) / (slopeB - slopeA)
			h2 := f * f * tan * tan
			return (f - sagittal) / (h2 / (2 * f)), (f - tangential) / (h2 / (2 * f))
		}
		s1, t1 := inside(0.04)
		s2, t2 := inside(0.02)
		testlens.Near(t, "sagittal", (4*s2-s1)/3, 1+1/n, 2e-3)
		testlens.Near(t, "tangential", (4*t2-t1)/3, 3+1/n, 2e-3)
	})
}
