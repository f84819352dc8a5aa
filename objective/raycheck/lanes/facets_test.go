package lanes

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective/internal/testlens"
)

// TestFacetsRefraction: a ray meets facets on the vertex plane, where the straight line has it, and
// keeps the tangential part of n·k along the smooth surface of the same terms.
func TestFacetsRefraction(t *testing.T) {
	through := 0
	rapid.Check(t, func(t *rapid.T) {
		st := drawSurface(t)
		st.Faceted = true
		before, after := rapid.Float64Range(1, 2).Draw(t, "n"), rapid.Float64Range(1, 2).Draw(t, "n'")
		r := drawRay(t)
		x, y := r.X[0]+st.DistanceMM*r.KX[0]/r.KW[0], r.Y[0]+st.DistanceMM*r.KY[0]/r.KW[0]
		in := [3]float64{r.KX[0], r.KY[0], r.KW[0]}
		margin := r.Through(&st, before/after)
		if r.Lost(0) {
			if margin >= 0 {
				t.Errorf("a lost ray has a margin of %g", margin)
			}
			t.Skip("lost")
		}
		through++
		testlens.Near(t, "x", r.X[0], x, 1e-12)
		testlens.Near(t, "y", r.Y[0], y, 1e-12)
		testlens.Near(t, "w", r.W[0], 0, 0)
		_, slope := st.sag(x*x + y*y)
		normal := [3]float64{-slope * x, -slope * y, 1}
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
		testlens.Near(t, "1/kw", r.Per[0]*r.KW[0], 1, 1e-14)
		if !(margin > 0 && margin <= r.KW[0]*r.KW[0]*(1+1e-15)) {
			t.Errorf("a margin of %g with a third cosine of %g", margin, r.KW[0])
		}
	})
	if through == 0 {
		t.Error("no ray got through")
	}
}

// TestFacetsFlat: facets without slopes are a plane.
func TestFacetsFlat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := drawRay(t)
		b := singleRay(a.X[0], a.Y[0], a.KX[0]/a.KW[0], a.KY[0]/a.KW[0])
		a.Through(&Surface{DistanceMM: 5, Faceted: true}, 1/1.5)
		b.Through(&Surface{DistanceMM: 5}, 1/1.5)
		for i, got := range []float64{a.X[0], a.Y[0], a.W[0], a.KX[0], a.KY[0], a.KW[0], a.Per[0]} {
			testlens.Near(t, "a ray", got, []float64{b.X[0], b.Y[0], b.W[0], b.KX[0], b.KY[0], b.KW[0], b.Per[0]}[i], 1e-14)
		}
	})
}

// TestFacetsLost: rays are lost that a facet reflects, that meet it from behind, that it would send
// backwards, and where the smooth surface does not reach.
func TestFacetsLost(t *testing.T) {
	for _, c := range []struct {
		what  string
		ray   *Rays
		st    Surface
		ratio float64
		lost  bool
	}{
		{"a usual facet", singleRay(0, 5, 0, 0), Surface{Curvature: 0.05, Faceted: true}, 1 / 1.5, false},
		{"total reflection, 53°", singleRay(0, 8, 0, 0), Surface{Curvature: 0.1, Faceted: true}, 1.5, true},
		{"from behind", singleRay(0, 8, 0, 2), Surface{Curvature: 0.1, Faceted: true}, 1 / 1.5, true},
		{"beyond the sphere's edge", singleRay(0, 10.01, 0, 0), Surface{Curvature: 0.1, Faceted: true}, 1 / 1.5, true},
	} {
		margin := c.ray.Through(&c.st, c.ratio)
		if c.ray.Lost(0) != c.lost || c.lost != (margin < 0) {
			t.Errorf("%s: lost is %v, with a margin of %g", c.what, !c.lost, margin)
		}
	}
	// A facet of 70° bends a ray by so much that it would leave on the side from which it came.
	back := 0
	for _, sy := range []float64{-1, -0.5, -0.3, -0.1, 0.1, 0.3} {
		r := singleRay(0, 1, 0, sy)
		r.Through(&Surface{Asphere: []float64{math.Tan(70*math.Pi/180) / 4}, Faceted: true}, 2)
		if r.Lost(0) {
			back++
		} else if !(r.KW[0] > 0) {
			t.Errorf("a ray goes on backwards: %g", r.KW[0])
		}
	}
	if back == 0 {
		t.Error("no ray was lost")
	}
}
