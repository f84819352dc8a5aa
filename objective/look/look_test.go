package look

import (
	"fmt"
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"relaysweep/objective/raycheck"
)

// scenes are trains of which metrics and pictures are compared, for an eye in the middle of its box
// that does not refocus: of either seat, with and without plates, of different magnifications, and
// one of singlets, of which much of the blur is colour, with that of the eye.
func scenes(t *testing.T, visit func(name string, p *objective.Problem, train *objective.Train)) {
	for _, c := range []struct {
		name                         string
		pupil, glass, combiner, near float64
		magnification                float64
		seat                         objective.Seat
	}{
		{"small pupil", 2, 0, 0, 0.004, 1, objective.SeatRear},
		{"plates", 3, 2, 6, 0.003, 1, objective.SeatRear},
		{"front seat, magnified", 3, 0, 0, 0.002, 1.25, objective.SeatFront},
	} {
		p := testtrain.Problem()
		p.Box, p.RefocusMaxD = 0, 0
		p.Pupil, p.MaskGlass, p.CombinerMM, p.VergenceNear, p.DepthSteps = c.pupil, c.glass, c.combiner, c.near, 2
		p.Magnification = c.magnification
		p.TanMax *= 0.5
		train := testtrain.Simple(t, p)
		train.Seat = c.seat
		visit(c.name, p, train)
	}
	p := testtrain.Problem()
	p.Box, p.RefocusMaxD, p.DepthSteps, p.Pupil, p.ColouredEye, p.Weights = 0, 0, 2, 1, true, []float64{1, 3, 0.5}
	p.TanMax *= 0.5
	single := func(f float64) *objective.Group {
		return testtrain.Group(p, []*catalog.Lens{testlens.Equiconvex(f, 30, 8, testlens.Crown)})
	}
	visit("singlets", p, testtrain.Upright(t, p, 20, single(50), single(40), single(50)))
}

// TestMaskBlur: what a picture shows of the mask's edges, along x and along y, is as wide as
// mask_blur_arcmin of the sample: its square is the mean square of the distance from the centroid,
// the sum of the variances along x and along y, in whatever direction the sample lies. The metric
// divides by the chief ray's height in the paraxial layer, the picture by that in the layer as it
// stands. 1 % is what the ray check's quadrature is good to.
func TestMaskBlur(t *testing.T) {
	scenes(t, func(name string, p *objective.Problem, train *objective.Train) {
		report := raycheck.NewChecker(p).Measure(train)
		for k, s := range report.Samples {
			depth := k % p.DepthSteps
			at := report.Setpoints[depth]
			r := reader{p, train, at.MaskMM, p.Depth(depth), 100}
			x, y := 2/math.Sqrt(13)*s.FieldFraction*p.TanMax, 3/math.Sqrt(13)*s.FieldFraction*p.TanMax
			_, chief := p.PlaceMask(train, train.MaskGap(), p.Depth(depth))
			read := math.Hypot(r.blur(t, false, x, y, 0), r.blur(t, false, x, y, 1)) / arcmin * p.ChiefAtMask(train, train.MaskGap(), at.MaskMM) / chief
			testlens.Near(t, fmt.Sprintf("%s: mask blur at %g of the field, %g D", name, s.FieldFraction, s.VergenceD), read, s.MaskBlurArcmin, 0.01*s.MaskBlurArcmin)
		}
	})
}

// TestWallBlur: lines of the wall, seen by an eye that looks at it and does not refocus, are as wide
// as view_blur_arcmin, which counts slopes in the world: at the eye they are magnified. What is read
// of a lopsided blur is off by about the blur over the distance from the axis, a hundredth here.
func TestWallBlur(t *testing.T) {
	scenes(t, func(name string, p *objective.Problem, train *objective.Train) {
		for _, far := range []float64{0, 0.001} {
			p.VergenceFar = far
			report := raycheck.NewChecker(p).Measure(train)
			for k, s := range report.Samples {
				if k%p.DepthSteps > 0 || s.FieldFraction == 0 {
					continue // a grid of one line has it off the axis
				}
				r := reader{p, train, report.Setpoints[0].MaskMM, far, 100}
				// Lines across the other axis, spaced a quarter wider than here, are not near.
				x, y := 8.0/17*s.FieldFraction*p.TanMax, 15.0/17*s.FieldFraction*p.TanMax
				read := math.Hypot(r.blur(t, true, x, y, 0), r.blur(t, true, x, y, 1)) / arcmin / train.AngularMagnification
				testlens.Near(t, fmt.Sprintf("%s: view blur at %g of the field, %g D", name, s.FieldFraction, s.VergenceD), read, s.ViewBlurArcmin, 0.01*s.ViewBlurArcmin)
			}
		}
	})
}

// TestOutOfFocus: an eye that looks at another depth than the mask is set to sees its edges blurred
// to a disc of the radius R = ΔV·pupil/2; a disc has the mean square R²/2 of the distance from its
// middle, and so the standard deviation R/2 along x or y (geometry). What the train itself blurs
// takes from that or adds to it, by no more than its own standard deviation.
func TestOutOfFocus(t *testing.T) {
	p, train := calm(t)
	for _, pupil := range []float64{1, 2.5} {
		p.Pupil = pupil
		for _, accommodated := range []float64{0, 0.001, 0.003, 0.004} {
			const set = 0.002
			at := raycheck.NewCheckerAt(p, []float64{set}).Measure(train).Setpoints[0]
			r := reader{p, train, at.MaskMM, accommodated, 100}
			inFocus := reader{p, train, at.MaskMM, set, 100}
			want := pupil / 2 * math.Abs(accommodated-set) / 2
			for _, along := range []axis{0, 1} {
				read := r.blur(t, false, 0.3*p.TanMax, -0.5*p.TanMax, along)
				own := inFocus.blur(t, false, 0.3*p.TanMax, -0.5*p.TanMax, along)
				testlens.Near(t, fmt.Sprintf("pupil %g mm, looking at %g D, along %d", pupil, 1000*accommodated, along), read, want, 0.005*want+own)
			}
		}
	}
}

// calm is a train of a small field.
func calm(t *testing.T) (*objective.Problem, *objective.Train) {
	p := testtrain.Problem()
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = p.TanHalfWidth/4, p.TanHalfHeight/4, p.TanMax/4
	return p, testtrain.Simple(t, p)
}

// TestDistortion: a line of the wall that belongs at g along x or y is seen at t: it is stretched
// by t/g from the axis, and so by the same factor along both. The metric 100·(Θ·u0/t - 1) takes the
// slope u0 of a ray through the viewpoint. From the middle of the pupil comes another one, which
// crosses the viewpoint's plane at x, with the slope u0 + W·x where neighbouring rays differ in
// slope by W per x; that is what a small pupil sees, to about 2 % of W·x.
func TestDistortion(t *testing.T) {
	scenes(t, func(name string, p *objective.Problem, train *objective.Train) {
		p.Pupil, p.WavelengthsNM, p.Weights = 0.5, []float64{546.07}, []float64{1}
		for _, fraction := range []float64{0.4, 0.8} {
			r := reader{p, train, 80, 0, 200}
			g := fraction * p.TanMax
			for _, along := range []axis{0, 1} {
				at := [2]float64{0.4 * g, 0.4 * g}
				at[along] = g
				s := &Scene{WallLight: 1, GridTan: g, LineTan: 2 * arcmin}
				light, from, pixel := r.about(s, at[0], at[1], 20*arcmin, along)
				seen := spreadOf(t, light, from, pixel, false).mean
				tan := math.Hypot(seen, 0.4*g)
				x, _ := outside(p, train, 0, tan)
				x1, u1 := outside(p, train, -0.1, tan)
				x2, u2 := outside(p, train, 0.1, tan)
				u0 := 100 * train.AngularMagnification * (u2 - u1) / (x2 - x1) * x / tan
				read, want := 100*(g/seen-1), raycheck.Distortion(p, train, tan/p.TanMax)+u0
				testlens.Near(t, fmt.Sprintf("%s: distortion at %g of the field along %d", name, fraction, along), read, want, 0.02*math.Abs(u0)+0.002)
			}
		}
	})
}

// outside is where a ray from height y of the pupil, seen at the tangent tan, crosses the
// viewpoint's plane, and its slope towards the world there.
func outside(p *objective.Problem, train *objective.Train, y, tan float64) (x, u float64) {
	points, _ := raycheck.TraceRay(p, train, []float64{80}, raycheck.RayStart{WavelengthNM: p.WavelengthsNM[p.Reference()], YMM: y, SlopeY: tan})
	last := points[len(points)-1]
	u = last.M / -last.N
	return last.Y + (last.Z-p.Viewpoint(train))*u, u
}
