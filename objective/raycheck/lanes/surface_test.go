package lanes

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// singleRay is a ray through (x, y) of the plane w = 0 with slopes sx and sy.
func singleRay(x, y, sx, sy float64) *Rays {
	r := NewRays(1)
	k := 1 / math.Sqrt(1+sx*sx+sy*sy)
	r.X[0], r.Y[0] = x, y
	r.KX[0], r.KY[0], r.KW[0], r.Per[0] = sx*k, sy*k, k, 1/k
	return &r
}

// TestTraceRefraction checks Snell's law as a vector equation: at every kind of
// surface the tangential part of n·k is kept and k stays a unit vector.
func TestTraceRefraction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		st := drawSurface(t)
		before, after := rapid.Float64Range(1, 2).Draw(t, "n"), rapid.Float64Range(1, 2).Draw(t, "n'")
		r := drawRay(t)
		in := [3]float64{r.KX[0], r.KY[0], r.KW[0]}
		r.Through(&st, before/after)
		if r.Lost(0) {
			t.Skip("lost")
		}
		h := math.Hypot(r.X[0], r.Y[0])
		sag, slope := st.sag(h * h)
		testlens.Near(t, "on the surface", r.W[0], sag, 1e-11)
		normal := [3]float64{-slope * r.X[0], -slope * r.Y[0], 1}
		out := [3]float64{r.KX[0], r.KY[0], r.KW[0]}
		cross := func(a, b [3]float64) [3]float64 {
			return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
		}
		length := math.Sqrt(normal[0]*normal[0] + normal[1]*normal[1] + 1)
		a, b := cross(in, normal), cross(out, normal)
		for i := range a {
			testlens.Near(t, "tangential part of n·k", after*b[i]/length, before*a[i]/length, 1e-12)
		}
		testlens.Near(t, "length", math.Sqrt(out[0]*out[0]+out[1]*out[1]+out[2]*out[2]), 1, 1e-14)
	})
}

// TestTraceReversal sends a ray back through the mirrored surfaces: it must
// come out as it went in.
func TestTraceReversal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawSurface(t), drawSurface(t)
		n := rapid.Float64Range(1.3, 1.9).Draw(t, "n")
		a.DistanceMM, b.DistanceMM = 4, 6
		r := drawRay(t)
		x, y, in := r.X[0], r.Y[0], [2]float64{r.KX[0], r.KY[0]}
		r.Through(&a, 1/n)
		r.Through(&b, n)
		if r.Lost(0) {
			t.Skip("lost")
		}
		const back = 5 // from a plane behind b
		f := (back - r.W[0]) / r.KW[0]
		s := singleRay(r.X[0]+f*r.KX[0], r.Y[0]+f*r.KY[0], -r.KX[0]/r.KW[0], -r.KY[0]/r.KW[0])
		mirror := func(st Surface, distance float64) *Surface {
			m := Surface{DistanceMM: distance, Curvature: -st.Curvature, Conic: st.Conic}
			for _, c := range st.Asphere {
				m.Asphere = append(m.Asphere, -c)
			}
			return &m
		}
		s.Through(mirror(b, back), 1/n)
		s.Through(mirror(a, 6), n)
		s.Through(&Surface{DistanceMM: 4}, 1)
		testlens.Near(t, "x", s.X[0], x, 1e-10)
		testlens.Near(t, "y", s.Y[0], y, 1e-10)
		testlens.Near(t, "kx", s.KX[0], -in[0], 1e-11)
		testlens.Near(t, "ky", s.KY[0], -in[1], 1e-11)
	})
}

// TestTraceNearFlat checks that a surface goes over into a flat as its
// curvature vanishes, without loss of digits.
func TestTraceNearFlat(t *testing.T) {
	for _, conic := range []float64{0, -1, 3} {
		for _, c := range []float64{1e-8, 1e-12, 1e-300, -1e-300, -1e-12, -1e-8} {
			a, b := singleRay(3, -4, 0.2, -0.3), singleRay(3, -4, 0.2, -0.3)
			a.Through(&Surface{DistanceMM: 7, Curvature: c, Conic: conic}, 1/1.6)
			b.Through(&Surface{DistanceMM: 7}, 1/1.6)
			testlens.Near(t, "x", a.X[0], b.X[0], 40*math.Abs(c)+1e-15)
			testlens.Near(t, "y", a.Y[0], b.Y[0], 40*math.Abs(c)+1e-15)
			testlens.Near(t, "kx", a.KX[0], b.KX[0], 40*math.Abs(c)+1e-16)
			testlens.Near(t, "ky", a.KY[0], b.KY[0], 40*math.Abs(c)+1e-16)
		}
	}
}

// TestTraceLost checks rays that miss a surface, meet only its far half, or are
// totally reflected, and that such a ray stays lost.
func TestTraceLost(t *testing.T) {
	cases := []struct {
		what  string
		ray   *Rays
		st    Surface
		ratio float64
		lost  bool
	}{
		{"inside a sphere's edge", singleRay(0, 9.99, 0, 0), Surface{Curvature: 0.1}, 1, false},
		{"beyond a sphere's edge", singleRay(0, 10.01, 0, 0), Surface{Curvature: 0.1}, 1, true},
		{"beyond a concave sphere's edge", singleRay(7.1, 7.1, 0, 0), Surface{Curvature: -0.1}, 1, true},
		{"past the near half, onto the far half", singleRay(0, -31, 0, 2), Surface{Curvature: 0.1}, 1, true},
		{"beyond an ellipsoid's edge", singleRay(0, 10.01/math.Sqrt(2), 0, 0), Surface{Curvature: 0.1, Conic: 1}, 1, true},
		{"a paraboloid has no edge", singleRay(0, 30, 0, 0), Surface{Curvature: 0.1, Conic: -1}, 1, false},
		{"the other sheet of a hyperboloid", singleRay(0, 60, 0, 3), Surface{Curvature: 0.1, Conic: -5}, 1, true},
		{"below the critical angle", singleRay(0, 0, 0, math.Tan(math.Asin(1/1.5)-1e-6)), Surface{}, 1.5, false},
		{"above the critical angle", singleRay(0, 0, 0, math.Tan(math.Asin(1/1.5)+1e-6)), Surface{}, 1.5, true},
		{"total reflection at a conic", singleRay(0, 8, 0, 0), Surface{Curvature: -0.1, Conic: -0.5}, 1.6, true},
		{"an asphere beyond its conic's edge", singleRay(0, 10.01, 0, 0), Surface{Curvature: 0.1, Asphere: []float64{1e-6}}, 1, true},
		{"an asphere on a flat has no edge", singleRay(0, 10.01, 0, 0), Surface{Asphere: []float64{1e-6}}, 1, false},
	}
	for _, c := range cases {
		c.ray.Through(&c.st, c.ratio)
		if c.ray.Lost(0) != c.lost {
			t.Errorf("%s: lost is %v", c.what, !c.lost)
		}
		for _, next := range []Surface{{}, {Curvature: 0.01}, {Curvature: 0.01, Conic: -1}, {Asphere: []float64{1e-6}}} {
			c.ray.Through(&next, 1)
			if c.ray.Lost(0) != c.lost {
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
		st := Surface{DistanceMM: 12, Curvature: surface.Curvature(), Conic: surface.Conic, Asphere: surface.Asphere}
		r := drawRay(t)
		k := [3]float64{r.KX[0], r.KY[0], r.KW[0]}
		x0, y0 := r.X[0], r.Y[0]
		r.Through(&st, 1)
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
		testlens.Near(t, "w", r.W[0], lo, 1e-11)
	})
}

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
		st := Surface{DistanceMM: distance, Curvature: -1 / radius}
		r.Through(&st, n)
		if r.Lost(0) {
			t.Fatal("lost")
		}
		// Seen back from the surface the ray comes from the image point.
		f := (-radius - n*radius - r.W[0]) / r.KW[0]
		testlens.Near(t, "distance from the image point", math.Hypot(r.X[0]+f*r.KX[0], r.Y[0]+f*r.KY[0]), 0, 1e-11*radius)
		testlens.Near(t, "sin U'", math.Hypot(r.KX[0], r.KY[0]), math.Abs(math.Sin(u))/n, 1e-13)
	})
}

// TestTraceManyCrossings draws aspheres so strong that a ray may cross them more
// than once, and rays that graze them. Whatever the iteration meets on its way, a
// ray that is not lost is at a crossing, with the slope of the surface there, and
// has crossed it from the side from which it came.
func TestTraceManyCrossings(t *testing.T) {
	several := 0
	rapid.Check(t, func(t *rapid.T) {
		st := Surface{
			DistanceMM: 3, Curvature: rapid.Float64Range(-0.08, 0.08).Draw(t, "curvature"),
			Conic: rapid.Float64Range(-3, 1).Draw(t, "conic"),
			Asphere: []float64{rapid.Float64Range(-3e-4, 3e-4).Draw(t, "a4"), rapid.Float64Range(-3e-6, 3e-6).Draw(t, "a6"),
				rapid.Float64Range(-3e-8, 3e-8).Draw(t, "a8")},
		}
		r := singleRay(rapid.Float64Range(-9, 9).Draw(t, "x"), rapid.Float64Range(-9, 9).Draw(t, "y"),
			rapid.Float64Range(-1.5, 1.5).Draw(t, "sx"), rapid.Float64Range(-1.5, 1.5).Draw(t, "sy"))
		kx, ky, kw := r.KX[0], r.KY[0], r.KW[0]
		x, y := r.toPlane(0, st.DistanceMM)
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
		r.Through(&st, 1)
		if r.Lost(0) {
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

// drawSurface draws a sphere, a flat, a conic or an asphere.
func drawSurface(t *rapid.T) Surface {
	st := Surface{DistanceMM: rapid.Float64Range(0, 30).Draw(t, "distance")}
	kind := rapid.IntRange(0, 3).Draw(t, "kind")
	if kind > 0 {
		st.Curvature = rapid.Float64Range(-0.05, 0.05).Draw(t, "curvature")
	}
	if kind > 1 {
		st.Conic = rapid.Float64Range(-4, 2).Draw(t, "conic")
	}
	if kind > 2 {
		st.Asphere = []float64{rapid.Float64Range(-1e-5, 1e-5).Draw(t, "a4"), rapid.Float64Range(-1e-8, 1e-8).Draw(t, "a6")}
	}
	return st
}

func drawRay(t *rapid.T) *Rays {
	return singleRay(rapid.Float64Range(-10, 10).Draw(t, "x"), rapid.Float64Range(-10, 10).Draw(t, "y"),
		rapid.Float64Range(-0.4, 0.4).Draw(t, "sx"), rapid.Float64Range(-0.4, 0.4).Draw(t, "sy"))
}
