package raycheck

import (
	"math"

	"relaysweep/objective/internal/testlens"
	"testing"

	"pgregory.net/rapid"
)

// TestTraceAplanaticPoints checks Abbe's sine condition at the aplanatic points
// of a sphere of radius R and index n: a point in the glass at R/n from the
// centre is imaged, without spherical aberration at any aperture, at nR from the
// centre on the same side, and sin U' = sin U/n for all rays (M. Born and E. Wolf,
// Principles of Optics, section 4.2.3, from memory; it follows from the law of
// sines in the triangles of centre, crossing and either point).
func TestTraceAplanaticPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(1.3, 2.2).Draw(t, "n")
		radius := rapid.Float64Range(2, 60).Draw(t, "R")
		u := rapid.Float64Range(-1.2, 1.2).Draw(t, "U")
		phi := rapid.Float64Range(0, 6.3).Draw(t, "azimuth")
		if math.Abs(u)+math.Asin(math.Sin(math.Abs(u))/n) > 1.5 {
			t.Skip("meets the far half of the sphere")
		}
		r := singleRay(0, 0, math.Tan(u)*math.Cos(phi), math.Tan(u)*math.Sin(phi))
		// The object stands at R + R/n before the vertex, beyond the centre.
		distance := radius + radius/n
		st := step{distance: distance, curvature: -1 / radius}
		r.through(&st, n)
		if r.lost(0) {
			t.Fatal("lost")
		}
		// Seen back from the surface the ray comes from the image point.
		f := (-radius - n*radius - r.w[0]) / r.kw[0]
		testlens.Near(t, "distance from the image point", math.Hypot(r.x[0]+f*r.kx[0], r.y[0]+f*r.ky[0]), 0, 1e-11*radius)
		testlens.Near(t, "sin U'", math.Hypot(r.kx[0], r.ky[0]), math.Abs(math.Sin(u))/n, 1e-13)
	})
}

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
			at := func(dx, dy float64) *rays {
				r := singleRay(dx, dy, 0, tan)
				p.trace(r)
				return r
			}
			s := at(side, 0)
			sagittal = s.w[0] - s.x[0]*s.kw[0]/s.kx[0]
			a, b := at(0, -side), at(0, side)
			slopeA, slopeB := a.ky[0]/a.kw[0], b.ky[0]/b.kw[0]
			tangential = ((a.y[0] - slopeA*a.w[0]) - (b.y[0] - slopeB*b.w[0])) / (slopeB - slopeA)
			h2 := f * f * tan * tan
			return (f - sagittal) / (h2 / (2 * f)), (f - tangential) / (h2 / (2 * f))
		}
		s1, t1 := inside(0.04)
		s2, t2 := inside(0.02)
		testlens.Near(t, "sagittal", (4*s2-s1)/3, 1+1/n, 2e-3)
		testlens.Near(t, "tangential", (4*t2-t1)/3, 3+1/n, 2e-3)
	})
}

// TestTraceManyCrossings draws aspheres so strong that a ray may cross them more
// than once, and rays that graze them. Whatever the iteration meets on its way, a
// ray that is not lost is at a crossing, with the slope of the surface there, and
// has crossed it from the side from which it came.
func TestTraceManyCrossings(t *testing.T) {
	several := 0
	rapid.Check(t, func(t *rapid.T) {
		st := step{
			distance: 3, curvature: rapid.Float64Range(-0.08, 0.08).Draw(t, "curvature"),
			conic: rapid.Float64Range(-3, 1).Draw(t, "conic"),
			asphere: []float64{rapid.Float64Range(-3e-4, 3e-4).Draw(t, "a4"), rapid.Float64Range(-3e-6, 3e-6).Draw(t, "a6"),
				rapid.Float64Range(-3e-8, 3e-8).Draw(t, "a8")},
		}
		r := singleRay(rapid.Float64Range(-9, 9).Draw(t, "x"), rapid.Float64Range(-9, 9).Draw(t, "y"),
			rapid.Float64Range(-1.5, 1.5).Draw(t, "sx"), rapid.Float64Range(-1.5, 1.5).Draw(t, "sy"))
		kx, ky, kw := r.kx[0], r.ky[0], r.kw[0]
		x, y := r.toPlane(0, st.distance)
		s, slope := asphereCrossing(&st, x, y, kx, ky, kw)
		if math.IsNaN(s) {
			return
		}
		miss, _, rate := st.miss(s, x, y, kx, ky, kw)
		testlens.Near(t, "off the surface", miss, 0, asphereAccepted)
		hx, hy := x+s*kx, y+s*ky
		if _, want := st.sag(hx*hx + hy*hy); !(math.Abs(slope-want) <= 1e-9*(1+math.Abs(want))) {
			t.Errorf("slope %g, want %g", slope, want)
		}
		r.through(&st, 1)
		if r.lost(0) {
			return
		}
		if !(rate > 0) {
			t.Errorf("a ray crosses from behind: %g", rate)
		}
		crossings := 0
		for i := range 400 {
			a, _, _ := st.miss(float64(i-200)*0.1, x, y, kx, ky, kw)
			b, _, _ := st.miss(float64(i-199)*0.1, x, y, kx, ky, kw)
			if (a < 0) != (b < 0) {
				crossings++
			}
		}
		if crossings > 1 {
			several++
		}
	})
	if several == 0 {
		t.Error("no ray had more than one crossing")
	}
}
