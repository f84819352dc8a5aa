package raycheck

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"pgregory.net/rapid"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/raycheck/lanes"
)

// path is a sequence of surfaces that a test traces in the direction of
// growing w, with the index behind each.
type path struct {
	steps []step
	index []float64
}

func (p *path) add(distance, curvature, conic, indexAfter float64, asphere ...float64) {
	p.steps = append(p.steps, step{Surface: lanes.Surface{DistanceMM: distance, Curvature: curvature, Conic: conic, Asphere: asphere}, clear: math.Inf(1)})
	p.index = append(p.index, indexAfter)
}

// singleRay is a ray through (x, y) of the plane w = 0 with slopes sx and sy.
func singleRay(x, y, sx, sy float64) *lanes.Rays {
	r := lanes.NewRays(1)
	k := 1 / math.Sqrt(1+sx*sx+sy*sy)
	r.X[0], r.Y[0] = x, y
	r.KX[0], r.KY[0], r.KW[0], r.Per[0] = sx*k, sy*k, k, 1/k
	return &r
}

func (p *path) trace(r *lanes.Rays) {
	before := 1.0
	for i := range p.steps {
		p.steps[i].through(r, before/p.index[i])
		before = p.index[i]
	}
}

// heightAt is the height along y at a distance behind the last vertex.
func heightAt(r *lanes.Rays, distance float64) float64 {
	return r.Y[0] + (distance-r.W[0])*r.KY[0]/r.KW[0]
}

// crossing is the distance behind the last vertex at which a meridional ray
// meets the axis.
func crossingOf(r *lanes.Rays) float64 { return r.W[0] - r.Y[0]*r.KW[0]/r.KY[0] }

// TestTraceTriplet checks the exact trace by the published fifth- and
// seventh-order coefficients of an air-spaced triplet (W. J. Smith, Modern
// Optical Engineering, 4th ed., 2008, prescription p. 119, Table 6.4 p. 121).
// The height at which meridional rays meet the paraxial image plane is a power
// series in aperture ρ and field h; a least-squares fit finds its coefficients.
func TestTraceTriplet(t *testing.T) {
	const (
		sk4, sf2       = 1.61272, 1.64769
		aperture, tan  = 14.6, 0.21
		pupil, backFoc = 30.5294, 77.405348 // entrance pupil behind surface 1; paraxial focus
		degree         = 13
	)
	var p path
	p.add(0, 1/37.4, 0, sk4)
	p.add(5.9, -1/341.48, 0, 1)
	p.add(12.93, -1/42.65, 0, sf2)
	p.add(2.5, 1/36.4, 0, 1)
	p.add(2.0+9.85, 1/204.52, 0, sk4)
	p.add(5.9, -1/37.05, 0, 1)

	// Terms ρ^i·h^j of odd degree i+j, for ρ and h out to reach: smaller than 1
	// so that what lies beyond the highest degree does not matter, large enough
	// for the terms of the seventh.
	const reach = 0.4
	var terms [][2]int
	for d := 1; d <= degree; d += 2 {
		for i := 0; i <= d; i++ {
			terms = append(terms, [2]int{i, d - i})
		}
	}
	var rows, heights []float64
	const grid = 24
	for a := range grid {
		for b := range grid {
			// Chebyshev points.
			rho, h := math.Cos(math.Pi*(float64(a)+0.5)/grid), math.Cos(math.Pi*(float64(b)+0.5)/grid)
			r := singleRay(0, aperture*reach*rho-pupil*tan*reach*h, 0, tan*reach*h)
			p.trace(r)
			heights = append(heights, heightAt(r, backFoc))
			for _, term := range terms {
				rows = append(rows, math.Pow(rho, float64(term[0]))*math.Pow(h, float64(term[1])))
			}
		}
	}
	var fit mat.VecDense
	if err := fit.SolveVec(mat.NewDense(len(heights), len(terms), rows), mat.NewVecDense(len(heights), heights)); err != nil {
		t.Fatal(err)
	}
	coefficient := func(i, j int) float64 {
		for k, term := range terms {
			if term == [2]int{i, j} {
				return fit.AtVec(k) / math.Pow(reach, float64(i+j))
			}
		}
		panic("no such term")
	}
	testlens.Near(t, "SA5", coefficient(5, 0), 0.125426, 5e-6)
	testlens.Near(t, "SA7", coefficient(7, 0), 0.04867, 2e-6)
	testlens.Near(t, "DIS5", coefficient(0, 5), 0.015616, 2e-6)
	testlens.Near(t, "5·AST5 + PTZ5", coefficient(1, 4), -0.061167, 2e-6)
	testlens.Near(t, "Gaussian image height (p. 119)", coefficient(0, 1), 21.248, 1e-3)
}

// TestTracePlate checks the plate's shift against W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, pp. 134-135: the shift along the axis is
// t(1 - cos U/sqrt(n² - sin² U)); numbers computed from it.
func TestTracePlate(t *testing.T) {
	const thickness, n = 10, 1.5168
	shift := func(u float64) float64 {
		r := singleRay(0, 0, 0, math.Tan(u))
		r.ThroughPlate(thickness, n)
		return -r.Y[0] / math.Tan(u)
	}
	testlens.Near(t, "paraxial shift", shift(1e-6), 3.407173, 5e-7)
	testlens.Near(t, "spherical aberration at 0.1 rad", shift(0.1)-shift(1e-6), 0.018681397, 2e-8)
	testlens.Near(t, "sideways displacement at 30°", shift(math.Pi/6)*math.Sin(math.Pi/6), 1.97621122, 1e-8)
	// Two flats in glass do the same as the shift.
	rapid.Check(t, func(t *rapid.T) {
		sx, sy := rapid.Float64Range(-1, 1).Draw(t, "sx"), rapid.Float64Range(-1, 1).Draw(t, "sy")
		a, b := singleRay(1, 2, sx, sy), singleRay(1, 2, sx, sy)
		var p path
		p.add(3, 0, 0, n)
		p.add(thickness, 0, 0, 1)
		p.trace(a)
		b.ThroughPlate(thickness, n)
		(&step{Surface: lanes.Surface{DistanceMM: 3 + thickness}}).through(b, 1)
		testlens.Near(t, "x", b.X[0], a.X[0], 1e-13)
		testlens.Near(t, "y", b.Y[0], a.Y[0], 1e-13)
	})
}

// TestTraceThinLensAberration checks the longitudinal spherical aberration of
// a thin lens, object at infinity, against the third-order formula (F. A.
// Jenkins and H. E. White, Fundamentals of Optics, chap. 9, from memory):
// h²/(8fn(n-1))·[(n+2)/(n-1)q² - 4(n+1)q + (3n+2)(n-1) + n³/(n-1)], evaluated
// for f = 10, n = 1.5, per h². The limit h → 0 of the exact trace is found by
// Richardson's extrapolation.
func TestTraceThinLensAberration(t *testing.T) {
	for q, want := range map[float64]float64{-2: 0.96667, -1: 0.45, -0.5: 0.27917, 0: 0.16667, 0.5: 0.1125, 1: 0.11667, 2: 0.3} {
		const f, n = 10, 1.5
		// 1/R1 - 1/R2 = 1/(f(n-1)) and q = (R2+R1)/(R2-R1).
		k := 1 / (f * (n - 1))
		c1, c2 := k*(q+1)/2, k*(q-1)/2
		var p path
		p.add(0, c1, 0, n)
		p.add(0, c2, 0, 1)
		per := func(h float64) float64 {
			r := singleRay(0, h, 0, 0)
			p.trace(r)
			return (f - crossingOf(r)) / (h * h)
		}
		testlens.Near(t, "LSA/h²", (4*per(0.05)-per(0.1))/3, want, 1e-5)
	}
}

// TestTracePlanoConvex compares thick plano-convex lenses with the law of
// sines worked out by hand.
func TestTracePlanoConvex(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		radius := rapid.Float64Range(20, 200).Draw(t, "R")
		thickness := rapid.Float64Range(2, 12).Draw(t, "t")
		n := rapid.Float64Range(1.4, 1.9).Draw(t, "n")
		h := rapid.Float64Range(0.02, 0.45).Draw(t, "h/R") * radius
		sag := radius - math.Sqrt(radius*radius-h*h)
		i := math.Asin(h / radius)

		var flatFirst path
		flatFirst.add(0, 0, 0, n)
		flatFirst.add(thickness, -1/radius, 0, 1)
		r := singleRay(0, h, 0, 0)
		flatFirst.trace(r)
		after := math.Asin(n * h / radius)
		want := h/math.Tan(after-i) - sag
		testlens.Near(t, "flat first", crossingOf(r), want, 1e-12*want+1e-12)

		var convexFirst path
		convexFirst.add(0, 1/radius, 0, n)
		convexFirst.add(thickness, 0, 0, 1)
		r = singleRay(0, h, 0, 0)
		convexFirst.trace(r)
		u := i - math.Asin(h/radius/n)
		h2 := h - (thickness-sag)*math.Tan(u)
		want = h2 / math.Tan(math.Asin(n*math.Sin(u)))
		testlens.Near(t, "convex first", crossingOf(r), want, 1e-12*math.Abs(want)+1e-12*radius)
	})
}

// TestTraceCartesianOvals checks conics that are free of spherical aberration
// for an object at infinity (M. Born and E. Wolf, Principles of Optics, section
// 4.2, from memory): an ellipsoid of eccentricity 1/n from air into glass, with
// its focus at nR/(n-1), and a hyperboloid of eccentricity n from glass into
// air, with its focus at R/(n-1).
func TestTraceCartesianOvals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(1.3, 2.2).Draw(t, "n")
		radius := rapid.Float64Range(5, 50).Draw(t, "R")
		h := rapid.Float64Range(0.01, 0.8).Draw(t, "height")
		phi := rapid.Float64Range(0, 6.3).Draw(t, "azimuth")
		check := func(what string, p *path, focus, h float64) {
			r := singleRay(h*math.Cos(phi), h*math.Sin(phi), 0, 0)
			p.trace(r)
			f := (focus - r.W[0]) / r.KW[0]
			testlens.Near(t, what, math.Hypot(r.X[0]+f*r.KX[0], r.Y[0]+f*r.KY[0]), 0, 1e-12*focus)
		}
		var ellipsoid path
		ellipsoid.add(1, 1/radius, -1/(n*n), n)
		// Its semi-diameter is R/sqrt(1 - e²).
		check("ellipsoid", &ellipsoid, n*radius/(n-1), h*radius/math.Sqrt(1-1/(n*n)))
		var hyperboloid path
		hyperboloid.add(1, 0, 0, n)
		hyperboloid.add(1, -1/radius, -n*n, 1)
		check("hyperboloid", &hyperboloid, radius/(n-1), h*radius)
	})
}

// TestTraceCoddington checks that two close rays of an oblique bundle from
// infinity meet at the tangential focus of Coddington's equation,
// n'cos²I'/t' = (n'cos I' - n cos I)/R (W. T. Welford, Aberrations of Optical
// Systems, 1986, chap. 9, from memory), and skew ones at the sagittal focus
// n'/s' = (n'cos I' - n cos I)/R.
func TestTraceCoddington(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		radius := rapid.Float64Range(20, 80).Draw(t, "R")
		n := rapid.Float64Range(1.4, 1.9).Draw(t, "n")
		u := rapid.Float64Range(-0.5, 0.5).Draw(t, "u")
		y := rapid.Float64Range(-0.3, 0.3).Draw(t, "y/R") * radius
		var p path
		p.add(5, 1/radius, 0, n)
		chief := singleRay(0, y, 0, math.Tan(u))
		p.trace(chief)
		if chief.Lost(0) {
			t.Skip("misses")
		}
		// The angle of incidence from the normal (0, -y/R, 1 - w/R).
		cos := -math.Sin(u)*chief.Y[0]/radius + math.Cos(u)*(1-chief.W[0]/radius)
		sin2 := (1 - cos*cos) / (n * n)
		bend := (n*math.Sqrt(1-sin2) - cos) / radius
		tangential, sagittal := n*(1-sin2)/bend, n/bend

		// Direction changes per unit of ray separation, by central difference.
		const step = 1e-3
		side := func(dx, dy float64) *lanes.Rays {
			r := singleRay(dx, y+dy, 0, math.Tan(u))
			p.trace(r)
			return r
		}
		a, b := side(0, -step), side(0, step)
		turn := math.Atan2(b.KY[0], b.KW[0]) - math.Atan2(a.KY[0], a.KW[0])
		dy, dw := b.Y[0]-a.Y[0], b.W[0]-a.W[0]
		across := dy*chief.KW[0] - dw*chief.KY[0]
		testlens.Near(t, "tangential focus", -across/turn, tangential, 1e-6*tangential)
		a, b = side(-step, 0), side(step, 0)
		testlens.Near(t, "sagittal focus", -(b.X[0]-a.X[0])/(b.KX[0]-a.KX[0]), sagittal, 1e-6*sagittal)
	})
}
