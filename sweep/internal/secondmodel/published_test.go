package secondmodel

import (
	"math"
	"testing"

	"relaysweep/catalog"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

// prescription is a row of surfaces with the indices as printed in a book.
func prescription(radii, thicknesses, indices []float64) stack {
	var s stack
	n, z := 1.0, 0.0
	for i, radius := range radii {
		s.faces = append(s.faces, face{surface: catalog.Surface{RadiusMM: radius}, before: n, after: indices[i], half: 1, z: z})
		n = indices[i]
		if i < len(thicknesses) {
			z += thicknesses[i]
		}
	}
	s.finish()
	return s
}

// follow traces a paraxial ray from the first surface on: heights at the
// surfaces and reduced slopes behind them.
func follow(s stack, y, u float64) (heights, slopes []float64) {
	q := u
	for i, f := range s.faces {
		if i > 0 {
			m := translation(f.z-s.faces[i-1].z, f.before)
			y, q = m.a*y+m.b*q, m.c*y+m.d*q
		}
		m := refraction(f.surface.Curvature(), f.before, f.after)
		y, q = m.a*y+m.b*q, m.c*y+m.d*q
		heights, slopes = append(heights, y), append(slopes, q)
	}
	return heights, slopes
}

// W. J. Smith, Modern Optical Engineering, 4th ed., 2008, ch. 3, numerical
// example, pp. 42-43: a cemented doublet at finite conjugates.
func TestPublishedDoublet(t *testing.T) {
	s := prescription([]float64{50, -50, math.Inf(1)}, []float64{10, 2}, []float64{1.5, 1.6, 1})
	y, q := follow(s, 10, 10.0/300)
	for i, want := range []float64{10, 9.555556, 9.496111} {
		near(t, "height", y[i], want, 5e-7)
	}
	for i, want := range []float64{-0.0666667, -0.0475556, -0.0475556} {
		near(t, "reduced slope", q[i], want, 5e-8)
	}
	near(t, "image distance", -y[2]/q[2], 199.6846, 5e-5)
	_, q2 := follow(s, 0, -20.0/300)
	near(t, "second ray", q2[2], -0.0675556, 5e-8)
}

// Ibid., ch. 4, exercises 2 and 3, p. 69 (eqs. 4.4 to 4.8): thin components of
// f = 10 and -10 at the distance 5.
func TestPublishedSeparatedPair(t *testing.T) {
	thin := func(f float64) matrix { return matrix{1, 0, -1 / f, 1} }
	m := thin(-10).times(translation(5, 1)).times(thin(10))
	near(t, "focal length", m.f(), 20, 1e-9)
	near(t, "back focus", m.bfd(), 10, 1e-9)
	near(t, "front focus", m.ffd(), 30, 1e-9)
}

// triplet is the air-spaced triplet of ibid., ch. 6, worked example, p. 119.
func triplet() stack {
	return prescription(
		[]float64{37.4, -341.48, -42.65, 36.4, math.Inf(1), 204.52, -37.05},
		[]float64{5.9, 12.93, 2.5, 2, 9.85, 5.9},
		[]float64{1.61272, 1, 1.64769, 1, 1, 1.61272, 1})
}

// Ibid., prescription and Table 6.1.
func TestPublishedTriplet(t *testing.T) {
	s := triplet()
	near(t, "focal length", s.m.f(), 101.181, 1e-3)
	near(t, "back focus", s.m.bfd(), 77.405, 1e-3)
	near(t, "length", s.t, 39.08, 1e-9)
	y, q := follow(s, 14.6, 1.46e-7)
	for i, want := range []float64{14.6, 13.724943, 10.313791, 10.151154, 10.298026} {
		near(t, "marginal height", y[i], want, 5e-6)
	}
	for i, want := range []float64{-0.148315, -0.263817, -0.065055, 0.073436} {
		near(t, "marginal slope", q[i]/s.faces[i].after, want, 5e-6)
	}
	y, q = follow(s, -6.411174, 0.21)
	for i, want := range []float64{-6.411174, -5.25865, -1.063264, -0.595454} {
		near(t, "chief height", y[i], want, 5e-6)
	}
	for i, want := range []float64{0.195343, 0.324469, 0.187124, 0.297727} {
		near(t, "chief slope", q[i]/s.faces[i].after, want, 5e-6)
	}
}

// Ibid., Table 6.4, p. 121: the fifth- and seventh-order coefficients of that
// triplet are the coefficients of the power series of the exact rays' errors.
// The third-order ones are computed from ibid., eqs. 6.2.
func TestPublishedExactRays(t *testing.T) {
	s := triplet()
	// height in the paraxial image plane of an exact ray
	height := func(rho, h float64) float64 {
		q := ray{vector{0, 14.6*rho - 30.5294*0.21*h, 0}, vector{0, 0.21 * h, 1}.unit()}
		for _, f := range s.faces {
			var ok bool
			if q, ok = q.through(f.surface, f.z, f.before, f.after); !ok {
				t.Fatal("ray lost")
			}
		}
		return q.toPlane(s.t + s.m.bfd()).at[1]
	}
	onAxis := series(func(x float64) float64 { return height(x, 0) / (x * x * x) })
	near(t, "third order spherical", onAxis[0], -0.18657, 2e-6)
	near(t, "fifth order spherical", onAxis[1], 0.125426, 5e-6)
	near(t, "seventh order spherical", onAxis[2], 0.04867, 2e-6)
	chief := series(func(x float64) float64 { return (height(0, x) - 0.21*x*s.m.f()) / (x * x * x) })
	near(t, "third order distortion", chief[0], 0.142422, 2e-6)
	near(t, "fifth order distortion", chief[1], 0.015616, 2e-6)
}

// series are the coefficients of an even function's powers x⁰, x², x⁴ …, by
// interpolation at Chebyshev nodes in x².
func series(f func(float64) float64) []float64 {
	const n = 10
	var xs, table [n]float64
	for i := range n {
		xs[i] = 0.25 + 0.24*math.Cos(math.Pi*(float64(i)+0.5)/n)
		table[i] = f(math.Sqrt(xs[i]))
	}
	for k := 1; k < n; k++ { // divided differences
		for i := n - 1; i >= k; i-- {
			table[i] = (table[i] - table[i-1]) / (xs[i] - xs[i-k])
		}
	}
	c := make([]float64, n)
	for k := n - 1; k >= 0; k-- { // Horner, expanded
		for i := n - 1; i > 0; i-- {
			c[i] = c[i-1] - xs[k]*c[i]
		}
		c[0] = table[k] - xs[k]*c[0]
	}
	return c
}

// Ibid., ch. 7, pp. 134-135 and Fig. 7.14: the plane plate.
func TestPublishedPlate(t *testing.T) {
	near(t, "shift", plateShift(10, 1.5168), 3.407173, 1e-6)
	for i, want := range []float64{0.171053, 0.239474, 0.376316} {
		near(t, "mask glass", plateShift([]float64{0.5, 0.7, 1.1}[i], 1.52), want, 1e-6)
	}
	// The ray's axial shift against one that never met the plate.
	u := 0.1
	q, ok := ray{vector{}, vector{0, math.Sin(u), math.Cos(u)}}.plate(5, 15, 1.5168)
	if !ok {
		t.Fatal("ray lost")
	}
	axial := 15 - q.at[1]/math.Tan(u)
	near(t, "spherical aberration", axial-plateShift(10, 1.5168), 0.018681397, 2e-8)
	u = math.Pi / 6
	q, _ = ray{vector{}, vector{0, math.Sin(u), math.Cos(u)}}.plate(5, 15, 1.5168)
	near(t, "sideways shift", (15*math.Tan(u)-q.at[1])*math.Cos(u), 1.97621122, 1e-8)
}

// An ellipsoid of eccentricity 1/n focuses parallel light without spherical
// aberration (the theorem of the Cartesian ovals, M. Born and E. Wolf,
// Principles of Optics, 4.2; from memory).
func TestEllipsoidFocuses(t *testing.T) {
	const n, radius = 1.5, 20.0
	for _, h := range []float64{0.01, 3, 8, 13} {
		q, ok := ray{vector{0.6 * h, 0.8 * h, -5}, vector{0, 0, 1}}.through(catalog.Surface{RadiusMM: radius, Conic: -1 / (n * n)}, 0, 1, n)
		if !ok {
			t.Fatal("ray lost")
		}
		end := q.toPlane(n * radius / (n - 1))
		near(t, "x", end.at[0], 0, 1e-12)
		near(t, "y", end.at[1], 0, 1e-12)
	}
}

// The asphere's Newton iteration and the sphere's closed form must agree where
// the asphere is a sphere but for a term that does nothing.
func TestAsphereMeetsSphere(t *testing.T) {
	sphere := catalog.Surface{RadiusMM: -30}
	almost := catalog.Surface{RadiusMM: -30, Asphere: []float64{1e-300}}
	for _, dir := range []vector{{0.2, -0.3, -1}, {0, 0, 1}, {-0.4, 0.1, 1}} {
		q := ray{vector{3, -5, 17}, dir.unit()}
		a, n, ok := q.meet(sphere, 4)
		b, m, ok2 := q.meet(almost, 4)
		if !ok || !ok2 {
			t.Fatal("ray lost")
		}
		for i := range 3 {
			near(t, "point", b[i], a[i], 1e-12)
			near(t, "normal", m[i], n[i], 1e-12)
		}
	}
}

// thinLens is a lens without thickness of the given focal length at e.
func thinLens(part string, f, diameter float64) *catalog.Lens {
	n := inventedCrown.Index(546.07)
	return &catalog.Lens{
		Part: part, DiameterMM: diameter, ClearMM: diameter,
		Surfaces:    []catalog.Surface{{RadiusMM: 2 * (n - 1) * f}, {RadiusMM: -2 * (n - 1) * f}},
		ThicknessMM: []float64{0}, Glasses: []*catalog.Glass{inventedCrown},
		LossPct: catalog.Unset, Density: catalog.Unset, Price: catalog.Unset, Stock: catalog.Unlimited,
	}
}

func groupsOf(lenses ...*catalog.Lens) [][]Oriented {
	var groups [][]Oriented
	for _, l := range lenses {
		groups = append(groups, []Oriented{{Lens: l}})
	}
	return groups
}

// generous asks for next to nothing.
func generous() Request {
	return Request{
		FieldWidthDeg: 0.2, FieldHeightDeg: 0.2, PupilMM: 0.1, NearM: 0.25,
		MaskWidthMM: 1000, MaskHeightMM: 1000, PixelUM: 36, TravelMM: 1000, ReliefMaxMM: 1000,
	}
}

// A telescope of f = 200 and 50 mm with a relay of f = 20 mm at 1:1 is afocal
// with the magnification +4 (Univ. of Tennessee, Optics 421, assignment 3,
// problem 2).
func TestPublishedErector(t *testing.T) {
	r := generous()
	r.Magnification = 4
	d := Evaluate(r, "erector-single", "rear", groupsOf(thinLens("A", 200, 20), thinLens("B", 20, 20), thinLens("C", 50, 20)))
	if d.FailedBy != "" {
		t.Fatal(d.FailedBy)
	}
	near(t, "gap 1", d.GapsMM[0], 240, 1e-9)
	near(t, "gap 2", d.GapsMM[1], 90, 1e-9)
	near(t, "magnification", d.AngularMagnification, 4, 1e-12)
	all, _ := d.train.views(0)
	near(t, "power", all[0].m.c, 0, 1e-15)
}

// The eye at the rear focal point of a unit pair of focal length f sees from
// 4f further forward (J. E. Greivenkamp, Field Guide to Geometrical Optics,
// 2004, p. 18); the mask travels V·f² for the vergence V (Newton's equation, W.
// J. Smith, op. cit., eq. 2.3), and a pixel of 36 µm is p/f wide.
func TestUnitPair(t *testing.T) {
	for _, c := range []struct{ f, perD, per4D float64 }{
		{25, 0.625, 2.5}, {30, 0.9, 3.6}, {40, 1.6, 6.4}, {50, 2.5, 10}, {60, 3.6, 14.4}, {75, 5.625, 22.5}, {100, 10, 40},
	} {
		r := generous()
		r.ReliefMinMM = c.f
		groups := groupsOf(thinLens("A", c.f, 20), thinLens("B", c.f, 20))
		d := Evaluate(r, "keplerian", "rear", groups)
		if d.FailedBy != "" {
			t.Fatal(d.FailedBy)
		}
		near(t, "eye relief", d.EyeReliefMM, c.f, 0)
		near(t, "length", d.LengthMM, 2*c.f, 1e-9)
		near(t, "magnification", d.AngularMagnification, -1, 1e-12)
		near(t, "viewpoint shift", d.ViewpointShiftMM, 4*c.f, 1e-9)
		near(t, "travel for 4 D", d.TravelParaxialMM, c.per4D, 1e-9)
		near(t, "far", d.MaskFarMM, c.f, 1e-9)
		near(t, "near", d.MaskNearMM, c.f+c.per4D, 1e-9)
		near(t, "pixel", d.PixelArcmin, arcmin(math.Atan(0.036/c.f)), 1e-12)
		near(t, "step", d.DepthStepD, 0.01/c.perD, 1e-12)
		near(t, "scale", d.MaskScaleChangePct, 0, 1e-9)
		r.NearM = 1
		near(t, "travel for 1 D", Evaluate(r, "keplerian", "rear", groups).TravelParaxialMM, c.perD, 1e-9)
		// 36 µm at 50 mm is 2.48 arcmin.
		if c.f == 50 {
			near(t, "pixel at 50 mm", d.PixelArcmin, 2.48, 0.005)
		}
	}
}
