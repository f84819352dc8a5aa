package raycheck

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// traceBatch traces rays of one wavelength through a train by the batched
// trace, from the eye to the first vertex.
func traceBatch(p *objective.Problem, t *objective.Train, wavelengthNM float64, r *rays) {
	steps, _, _ := trainSteps(p, t, nil, nil)
	ratios := [][]float64{nil}
	indexRatios(t, func(g *catalog.Glass) []float64 { return []float64{g.Index(wavelengthNM)} }, ratios)
	for s := range steps {
		r.through(&steps[s], ratios[0][s])
	}
}

// TestTraceRayAgainstBatch compares the batched trace with the single-ray one,
// which works in the unmirrored frame, meets surfaces from where the ray is,
// refracts by the tangential part of n·k and goes through the plates' faces.
func TestTraceRayAgainstBatch(t *testing.T) {
	lost, through := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawTraced(t)
		mask, _ := p.PlaceMask(train, p.Depth(0))
		wavelength := rapid.Float64Range(450, 680).Draw(t, "wavelength")
		wide := rapid.Float64Range(1, 6).Draw(t, "wide") // out to where rays are lost
		for range 10 {
			x, y := wide*rapid.Float64Range(-2, 2).Draw(t, "x"), wide*rapid.Float64Range(-2, 2).Draw(t, "y")
			sx, sy := wide*rapid.Float64Range(-0.1, 0.1).Draw(t, "sx"), wide*rapid.Float64Range(-0.1, 0.1).Draw(t, "sy")
			r := singleRay(x, y, sx, sy)
			traceBatch(p, train, wavelength, r)
			points, complete := TraceRay(p, train, mask, wavelength, x, y, sx, sy)
			if complete == r.lost(0) {
				t.Fatalf("the single ray is complete: %v, the batched one lost: %v", complete, r.lost(0))
			}
			if !complete {
				lost++
				continue
			}
			through++
			end := points[len(points)-1]
			// A train of five lenses magnifies rounding errors of 1e-14.
			testlens.Near(t, "x", r.x[0], end.X, 1e-9)
			testlens.Near(t, "y", r.y[0], end.Y, 1e-9)
			testlens.Near(t, "z", -r.w[0], end.Z, 1e-9)
			testlens.Near(t, "kx", r.kx[0], end.L, 1e-10)
			testlens.Near(t, "ky", r.ky[0], end.M, 1e-10)
			testlens.Near(t, "kw", r.kw[0], -end.N, 1e-10)
		}
	})
	if lost == 0 || through == 0 {
		t.Errorf("%d rays lost and %d through: both should occur", lost, through)
	}
}

// TestTraceParaxialLimit compares rays close to the axis with the paraxial
// matrix of the train, plates included.
func TestTraceParaxialLimit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawTraced(t)
		const small = 1e-5
		y, u := small*rapid.Float64Range(-2, 2).Draw(t, "y"), small*rapid.Float64Range(-0.1, 0.1).Draw(t, "u")
		r := singleRay(0, y, 0, u)
		traceBatch(p, train, p.WavelengthsNM[p.Reference()], r)
		// The matrix acts in the direction of growing z, in which slopes have
		// the other sign.
		m := p.EyeMatrix(train)
		y1, u1 := r.y[0], -r.ky[0]/r.kw[0]
		testlens.Near(t, "height at the eye", m.A*y1+m.B*u1, y, 1e-8*small)
		testlens.Near(t, "slope at the eye", m.C*y1+m.D*u1, -u, 1e-9*small)
	})
}

// TestTraceNearFlat checks that a surface goes over into a flat as its
// curvature vanishes, without loss of digits.
func TestTraceNearFlat(t *testing.T) {
	for _, conic := range []float64{0, -1, 3} {
		for _, c := range []float64{1e-8, 1e-12, 1e-300, -1e-300, -1e-12, -1e-8} {
			a, b := singleRay(3, -4, 0.2, -0.3), singleRay(3, -4, 0.2, -0.3)
			a.through(&step{distance: 7, curvature: c, conic: conic}, 1/1.6)
			b.through(&step{distance: 7}, 1/1.6)
			testlens.Near(t, "x", a.x[0], b.x[0], 40*math.Abs(c)+1e-15)
			testlens.Near(t, "y", a.y[0], b.y[0], 40*math.Abs(c)+1e-15)
			testlens.Near(t, "kx", a.kx[0], b.kx[0], 40*math.Abs(c)+1e-16)
			testlens.Near(t, "ky", a.ky[0], b.ky[0], 40*math.Abs(c)+1e-16)
		}
	}
}

// TestTraceLost checks rays that miss a surface, meet only its far half, or are
// totally reflected, and that such a ray stays lost.
func TestTraceLost(t *testing.T) {
	cases := []struct {
		what  string
		ray   *rays
		st    step
		ratio float64
		lost  bool
	}{
		{"inside a sphere's edge", singleRay(0, 9.99, 0, 0), step{curvature: 0.1}, 1, false},
		{"beyond a sphere's edge", singleRay(0, 10.01, 0, 0), step{curvature: 0.1}, 1, true},
		{"beyond a concave sphere's edge", singleRay(7.1, 7.1, 0, 0), step{curvature: -0.1}, 1, true},
		{"past the near half, onto the far half", singleRay(0, -31, 0, 2), step{curvature: 0.1}, 1, true},
		{"beyond an ellipsoid's edge", singleRay(0, 10.01/math.Sqrt(2), 0, 0), step{curvature: 0.1, conic: 1}, 1, true},
		{"a paraboloid has no edge", singleRay(0, 30, 0, 0), step{curvature: 0.1, conic: -1}, 1, false},
		{"the other sheet of a hyperboloid", singleRay(0, 60, 0, 3), step{curvature: 0.1, conic: -5}, 1, true},
		{"below the critical angle", singleRay(0, 0, 0, math.Tan(math.Asin(1/1.5)-1e-6)), step{}, 1.5, false},
		{"above the critical angle", singleRay(0, 0, 0, math.Tan(math.Asin(1/1.5)+1e-6)), step{}, 1.5, true},
		{"total reflection at a conic", singleRay(0, 8, 0, 0), step{curvature: -0.1, conic: -0.5}, 1.6, true},
		{"an asphere beyond its conic's edge", singleRay(0, 10.01, 0, 0), step{curvature: 0.1, asphere: []float64{1e-6}}, 1, true},
		{"an asphere on a flat has no edge", singleRay(0, 10.01, 0, 0), step{asphere: []float64{1e-6}}, 1, false},
	}
	for _, c := range cases {
		c.ray.through(&c.st, c.ratio)
		if c.ray.lost(0) != c.lost {
			t.Errorf("%s: lost is %v", c.what, !c.lost)
		}
		for _, next := range []step{{}, {curvature: 0.01}, {curvature: 0.01, conic: -1}, {asphere: []float64{1e-6}}, {plate: 1, plateIndex: 1.5}} {
			c.ray.through(&next, 1)
			if c.ray.lost(0) != c.lost {
				t.Errorf("%s: lost is %v after another surface", c.what, !c.lost)
			}
		}
	}
}

// TestTraceAsphere compares the crossing with aspheres with bisection of the
// distance from the surface, whose sag comes from the catalog.
func TestTraceAsphere(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		surface := catalog.Surface{
			RadiusMM: 1 / rapid.Float64Range(-0.03, 0.03).Filter(func(c float64) bool { return c != 0 }).Draw(t, "curvature"),
			Conic:    rapid.Float64Range(-3, 1).Draw(t, "conic"),
			Asphere: []float64{rapid.Float64Range(-2e-5, 2e-5).Draw(t, "a4"), rapid.Float64Range(-2e-8, 2e-8).Draw(t, "a6"),
				rapid.Float64Range(-2e-11, 2e-11).Draw(t, "a8")},
		}
		st := step{distance: 12, curvature: surface.Curvature(), conic: surface.Conic, asphere: surface.Asphere}
		r := drawRay(t)
		k := [3]float64{r.kx[0], r.ky[0], r.kw[0]}
		x0, y0 := r.x[0], r.y[0]
		r.through(&st, 1)
		beyond := func(w float64) float64 {
			f := (12 + w) / k[2]
			return w - surface.Sag(math.Hypot(x0+f*k[0], y0+f*k[1]))
		}
		// The ray's only crossing within 10 mm of the vertex plane.
		lo, hi, crossings := 0.0, 0.0, 0
		const cells = 2000
		for i := range cells {
			a, b := -10+20*float64(i)/cells, -10+20*float64(i+1)/cells
			if (beyond(a) < 0) != (beyond(b) < 0) {
				lo, hi = a, b
				crossings++
			}
		}
		if crossings != 1 || math.IsNaN(beyond(-10)) || math.IsNaN(beyond(10)) {
			t.Skip("not a single crossing")
		}
		for range 80 {
			if mid := (lo + hi) / 2; beyond(mid) < 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		testlens.Near(t, "w", r.w[0], lo, 1e-11)
	})
}
