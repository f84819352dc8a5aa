package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// someRays draws rays that come from the neighbourhood of the eye.
func someRays(t *rapid.T) rays {
	r := newRays(5)
	for i := range 5 {
		r.launch(i, rapid.Float64Range(-3, 3).Draw(t, "x"), rapid.Float64Range(-3, 3).Draw(t, "y"),
			rapid.Float64Range(-0.2, 0.2).Draw(t, "sx"), rapid.Float64Range(-0.2, 0.2).Draw(t, "sy"))
	}
	return r
}

func clone(r *rays) rays {
	c := newRays(len(r.x))
	c.copyFrom(r)
	return c
}

// sameRays compares rays as lines: where they cross a plane far behind the surface,
// and their directions.
func sameRays(t rapid.TB, what string, got, want *rays, tolerance float64) {
	t.Helper()
	for i := range got.x {
		a, b := (100-got.w[i])*got.per[i], (100-want.w[i])*want.per[i]
		near(t, what+" x", got.x[i]+a*got.kx[i], want.x[i]+b*want.kx[i], 100*tolerance)
		near(t, what+" y", got.y[i]+a*got.ky[i], want.y[i]+b*want.ky[i], 100*tolerance)
		near(t, what+" kx", got.kx[i], want.kx[i], tolerance)
		near(t, what+" ky", got.ky[i], want.ky[i], tolerance)
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
		a.through(straight, ratio)
		b.through(turned, ratio)
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
		a.through(tilted, 1/1.6)
		b.through(decentred, 1/1.6)
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
		a.through(s, 1/1.5)
		for i := range b.x {
			p, k := by.of(vec{b.x[i], b.y[i], b.w[i]}), by.of(vec{b.kx[i], b.ky[i], b.kw[i]})
			b.x[i], b.y[i], b.w[i] = p[0], p[1], p[2]
			b.kx[i], b.ky[i], b.kw[i], b.per[i] = k[0], k[1], k[2], 1/k[2]
		}
		turned := *s
		turned.vertex, turned.turn = by.of(s.vertex), by.then(&s.turn)
		turned.axis = turned.turn.axis()
		b.through(&turned, 1/1.5)
		for i := range b.x {
			p, k := by.into(vec{b.x[i], b.y[i], b.w[i]}), by.into(vec{b.kx[i], b.ky[i], b.kw[i]})
			b.x[i], b.y[i], b.w[i] = p[0], p[1], p[2]
			b.kx[i], b.ky[i], b.kw[i], b.per[i] = k[0], k[1], k[2], 1/k[2]
		}
		if !math.IsNaN(a.kw[0]) {
			sameRays(t, "turned together", &b, &a, 1e-10)
		}
		sphere := *s
		sphere.conic, sphere.asphere = 0, nil
		plain := sphere
		plain.asphere = []float64{0}
		a, b = clone(&r), clone(&r)
		a.through(&sphere, 1.5)
		b.through(&plain, 1.5)
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
		r := newRays(1)
		r.launch(0, 0, 0, 0, 0)
		r.through(placed(vec{0, 0, 30}, turn, 0), 1/c.n)
		r.through(placed(vec{0, c.thickness * axis[1], 30 + c.thickness*axis[2]}, turn, 0), c.n)
		near(t, "direction", r.ky[0], 0, 1e-15)
		near(t, "shift", math.Abs(r.y[0]), c.shift, 5e-9)
	}
}

// TestWedge: a wedge of angle α turns a ray that enters at right angles by
// arcsin(n·sin α) - α (Snell's law; the numbers are computed from it).
func TestWedge(t *testing.T) {
	for _, c := range []struct{ n, alpha, arcmin float64 }{
		{1.5168, 3.0 / 60, 1.550401}, {1.5168, 1, 31.0140}, {1.5, 10, 305.885},
	} {
		r := newRays(1)
		r.launch(0, 0, 0, 0, 0)
		r.through(placed(vec{0, 0, 30}, upright, 0), 1/c.n)
		r.through(placed(vec{0, 0, 33}, lean([2]float64{0, c.alpha * math.Pi / 180}), 0), c.n)
		near(t, "deviation", math.Abs(math.Asin(r.ky[0]))/arcminRad, c.arcmin, 6e-4)
	}
}
