package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective/raycheck/lanes"
)

// someRays draws rays that come from the neighbourhood of the eye.
func someRays(t *rapid.T) lanes.Rays {
	r := lanes.NewRays(5)
	for i := range 5 {
		launch(&r, i, rapid.Float64Range(-3, 3).Draw(t, "x"), rapid.Float64Range(-3, 3).Draw(t, "y"),
			rapid.Float64Range(-0.2, 0.2).Draw(t, "sx"), rapid.Float64Range(-0.2, 0.2).Draw(t, "sy"))
	}
	return r
}

func clone(r *lanes.Rays) lanes.Rays {
	c := lanes.NewRays(len(r.X))
	c.CopyFrom(r)
	return c
}

// sameRays compares rays as lines: where they cross a plane far behind the surface,
// and their directions.
func sameRays(t rapid.TB, what string, got, want *lanes.Rays, tolerance float64) {
	t.Helper()
	for i := range got.X {
		a, b := (100-got.W[i])*got.Per[i], (100-want.W[i])*want.Per[i]
		near(t, what+" x", got.X[i]+a*got.KX[i], want.X[i]+b*want.KX[i], 100*tolerance)
		near(t, what+" y", got.Y[i]+a*got.KY[i], want.Y[i]+b*want.KY[i], 100*tolerance)
		near(t, what+" kx", got.KX[i], want.KX[i], tolerance)
		near(t, what+" ky", got.KY[i], want.KY[i], tolerance)
	}
}

func placed(vertex vec, turn rotation, curvature float64) *surface {
	return &surface{vertex: vertex, axis: turn.axis(), turn: turn, curvature: curvature, clear: 20}
}

// TestTiltAboutCentre: a sphere turned about its own centre of curvature is the same
// sphere.
func TestTiltAboutCentre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := someRays(t)
		radius := rapid.SampledFrom([]float64{-60, -35, 35, 60}).Draw(t, "radius")
		ratio := rapid.SampledFrom([]float64{1 / 1.6, 1.6, 1.5 / 1.7}).Draw(t, "ratio")
		turn := lean([2]float64{rapid.Float64Range(-0.1, 0.1).Draw(t, "a"), rapid.Float64Range(-0.1, 0.1).Draw(t, "b")})
		straight := placed(vec{0, 0, 30}, upright, 1/radius)
		axis := turn.axis()
		turned := placed(vec{-radius * axis[0], -radius * axis[1], 30 + radius - radius*axis[2]}, turn, 1/radius)
		a, b := clone(&r), clone(&r)
		straight.through(&a, ratio)
		turned.through(&b, ratio)
		sameRays(t, "about the centre", &b, &a, 1e-12)
	})
}

// TestTiltIsDecentre: a sphere turned by φ about its vertex stands where it would,
// decentred by R·sin φ and moved along the axis by R(cos φ - 1).
func TestTiltIsDecentre(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := someRays(t)
		radius := rapid.SampledFrom([]float64{-60, -35, 35, 60}).Draw(t, "radius")
		phi := rapid.Float64Range(-0.1, 0.1).Draw(t, "phi")
		tilted := placed(vec{0, 0, 30}, lean([2]float64{0, phi}), 1/radius)
		half := math.Sin(phi / 2)
		decentred := placed(vec{0, radius * math.Sin(phi), 30 - 2*radius*half*half}, upright, 1/radius)
		a, b := clone(&r), clone(&r)
		tilted.through(&a, 1/1.6)
		decentred.through(&b, 1/1.6)
		sameRays(t, "decentred", &b, &a, 1e-12)
	})
}

// TestTurnedTogether: rays and an asphere that are turned together stay as they are to
// each other. A sphere taken as an asphere without terms is met where the closed form
// meets it.
func TestTurnedTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := someRays(t)
		s := placed(vec{0.3, -0.2, 30}, lean([2]float64{0.02, 0.05}), rapid.Float64Range(-0.03, 0.03).Draw(t, "curvature"))
		s.conic = rapid.Float64Range(-2, 0.5).Draw(t, "conic")
		s.asphere = []float64{rapid.Float64Range(-1e-5, 1e-5).Draw(t, "a4"), rapid.Float64Range(-1e-8, 1e-8).Draw(t, "a6")}
		by := lean([2]float64{rapid.Float64Range(-0.1, 0.1).Draw(t, "a"), rapid.Float64Range(-0.1, 0.1).Draw(t, "b")})
		a, b := clone(&r), clone(&r)
		s.through(&a, 1/1.5)
		for i := range b.X {
			p, k := by.of(vec{b.X[i], b.Y[i], b.W[i]}), by.of(vec{b.KX[i], b.KY[i], b.KW[i]})
			b.X[i], b.Y[i], b.W[i] = p[0], p[1], p[2]
			b.KX[i], b.KY[i], b.KW[i], b.Per[i] = k[0], k[1], k[2], 1/k[2]
		}
		turned := *s
		turned.vertex, turned.turn = by.of(s.vertex), by.then(&s.turn)
		turned.axis = turned.turn.axis()
		turned.through(&b, 1/1.5)
		for i := range b.X {
			p, k := by.into(vec{b.X[i], b.Y[i], b.W[i]}), by.into(vec{b.KX[i], b.KY[i], b.KW[i]})
			b.X[i], b.Y[i], b.W[i] = p[0], p[1], p[2]
			b.KX[i], b.KY[i], b.KW[i], b.Per[i] = k[0], k[1], k[2], 1/k[2]
		}
		if !math.IsNaN(a.KW[0]) {
			sameRays(t, "turned together", &b, &a, 1e-10)
		}
		sphere := *s
		sphere.conic, sphere.asphere = 0, nil
		plain := sphere
		plain.asphere = []float64{0}
		a, b = clone(&r), clone(&r)
		sphere.through(&a, 1.5)
		plain.through(&b, 1.5)
		sameRays(t, "as an asphere", &b, &a, 1e-10)
	})
}

// TestTiltedPlate: the sideways shift of a tilted plane plate is d = t·sin θ·(1 -
// cos θ/sqrt(n² - sin²θ)) (W. J. Smith, Modern Optical Engineering, from memory; the
// numbers are computed from it).
func TestTiltedPlate(t *testing.T) {
	for _, c := range []struct{ thickness, n, degrees, shift float64 }{
		{10, 1.5, 45, 3.29142308},
		{10, 1.5, 30, 1.93813782},
		{10, 1.5168, 45, 3.34499391},
		{1, 1.5, 1, 0.005818453},
	} {
		turn := lean([2]float64{0, c.degrees * math.Pi / 180})
		axis := turn.axis()
		r := lanes.NewRays(1)
		launch(&r, 0, 0, 0, 0, 0)
		placed(vec{0, 0, 30}, turn, 0).through(&r, 1/c.n)
		placed(vec{0, c.thickness * axis[1], 30 + c.thickness*axis[2]}, turn, 0).through(&r, c.n)
		near(t, "direction", r.KY[0], 0, 1e-15)
		near(t, "shift", math.Abs(r.Y[0]), c.shift, 5e-9)
	}
}

// TestWedge: a wedge of angle α turns a ray that enters at right angles by
// arcsin(n·sin α) - α (Snell's law; the numbers are computed from it).
func TestWedge(t *testing.T) {
	for _, c := range []struct{ n, alpha, arcmin float64 }{
		{1.5168, 3.0 / 60, 1.550401}, {1.5168, 1, 31.0140}, {1.5, 10, 305.885},
	} {
		r := lanes.NewRays(1)
		launch(&r, 0, 0, 0, 0, 0)
		placed(vec{0, 0, 30}, upright, 0).through(&r, 1/c.n)
		placed(vec{0, 0, 33}, lean([2]float64{0, c.alpha * math.Pi / 180}), 0).through(&r, c.n)
		near(t, "deviation", math.Abs(math.Asin(r.KY[0]))/arcminRad, c.arcmin, 6e-4)
	}
}
