package objective

import (
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// printed fails the test when a number differs from a published one by more
// than half a unit of its last printed digit.
func printed(t *testing.T, what string, got, want float64, decimals int) {
	t.Helper()
	if half := 0.5000001 * math.Pow10(-decimals); !(math.Abs(got-want) <= half) {
		t.Errorf("%s: got %.9g, published %.*f", what, got, decimals, want)
	}
}

// TestSmithDoubletTrace is the paraxial trace of a cemented doublet in W. J.
// Smith, Modern Optical Engineering, 4th ed., 2008, chapter 3, pp. 42-43.
func TestSmithDoubletTrace(t *testing.T) {
	p := use.Problem()
	g := use.Group(p, []*catalog.Lens{testlens.Lens("doublet", 20, []float64{50, -50, math.Inf(1)}, []float64{10, 2}, testlens.ConstantGlass(1.5), testlens.ConstantGlass(1.6))})
	// The axial ray from 300 mm before the lens.
	y1, u1 := 10.0, 10.0/300
	heights := groupHeights(g, y1, u1)
	for i, want := range []float64{10, 9.555556, 9.496111} {
		printed(t, "height", heights[i], want, 6)
	}
	printed(t, "n·u after surface 1", 1.5*(heights[1]-heights[0])/10, -0.0666667, 7)
	printed(t, "n·u after surface 2", 1.6*(heights[2]-heights[1])/2, -0.0475556, 7)
	m := g.matrix
	y, u := m.A*y1+m.B*u1, m.C*y1+m.D*u1
	printed(t, "slope", u, -0.0475556, 7)
	printed(t, "image distance", -y/u, 199.6846, 4)
	// The ray through the first vertex from an object 20 mm high.
	y, u = -m.B/15, -m.D/15
	printed(t, "height", y, -0.528889, 6)
	printed(t, "slope", u, -0.0675556, 7)
	printed(t, "image height", y+199.6846*u, -14.0187, 4)
}

// groupHeights are the heights of a ray at a group's surfaces, given in front of
// its first vertex.
func groupHeights(g *Group, y, u float64) (heights []float64) {
	g.eachForward(func(row heightRow, _ float64) { heights = append(heights, row.A*y+row.B*u) })
	return heights
}

// smithTriplet is the air-spaced triplet of W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, chapter 6, p. 119, with its printed spaces. The
// book gives glasses by six-digit codes; the indices are nd of the makers'
// SK4 and SF2.
func smithTriplet(p *Problem) *Group {
	crown, flint := testlens.ConstantGlass(1.61272), testlens.ConstantGlass(1.64769)
	g := use.Group(p, []*catalog.Lens{
		testlens.Lens("a", 29.4, []float64{37.4, -341.48}, []float64{5.9}, crown),
		testlens.Lens("b", 21.6, []float64{-42.65, 36.4}, []float64{2.5}, flint),
		testlens.Lens("c", 23.2, []float64{204.52, -37.05}, []float64{5.9}, crown),
	})
	// The stack that the project would make stands closer; the book's spaces
	// are set and the matrix formed again.
	printedGroup := &Group{Elements: g.Elements, GapsMM: []float64{12.93, 2.0 + 9.85}}
	m := g.Elements[0].matrix.Then(Gap(12.93)).Then(g.Elements[1].matrix).Then(Gap(11.85)).Then(g.Elements[2].matrix)
	printedGroup.matrix = m
	printedGroup.FocalMM, printedGroup.FFDMM, printedGroup.BFDMM = -1/m.C, -m.D/m.C, -m.A/m.C
	printedGroup.ThicknessMM = 5.9 + 12.93 + 2.5 + 11.85 + 5.9
	return printedGroup
}

// TestSmithTriplet holds the printed first-order data and ray table of the
// triplet (Smith, p. 119 and Table 6.1) against matrix and height rows.
func TestSmithTriplet(t *testing.T) {
	g := smithTriplet(use.Problem())
	printed(t, "focal length", g.FocalMM, 101.181, 3)
	printed(t, "back focal length", g.BFDMM, 77.405, 3)
	printed(t, "vertex length", g.ThicknessMM, 39.08, 2)
	printed(t, "image height at a field of 0.21", 0.21*g.FocalMM, 21.248, 3)
	printed(t, "numerical aperture", 14.6/g.FocalMM, 0.1443, 4)
	printed(t, "aperture ratio", g.FocalMM/29.2, 3.47, 2)

	for _, ray := range []struct {
		name    string
		y, u    float64
		heights []float64 // at surfaces 1 to 4 and the stop
		slopes  []float64 // after surfaces 1 to 4
	}{
		{
			"marginal", 14.6, 1.46e-7, []float64{14.6, 13.724943, 10.313791, 10.151154, 10.298026},
			[]float64{-0.148315, -0.263817, -0.065055, 0.073436},
		},
		{
			"chief", -6.411174, 0.21, []float64{-6.411174, -5.25865, -1.063264, -0.595454, 0},
			[]float64{0.195343, 0.324469, 0.187124, 0.297727},
		},
	} {
		h := groupHeights(g, ray.y, ray.u)
		slopes := []float64{(h[1] - h[0]) / 5.9, (h[2] - h[1]) / 12.93, (h[3] - h[2]) / 2.5, (h[4] - h[3]) / 11.85}
		got := append(h[:4:4], h[3]+2*slopes[3])
		for i, want := range ray.heights {
			// The indices are to the fifth decimal, the starting heights to the
			// last one printed.
			testlens.Near(t, ray.name+" height", got[i], want, 5e-6)
		}
		for i, want := range ray.slopes {
			testlens.Near(t, ray.name+" slope", slopes[i], want, 1e-6)
		}
	}
	// The Lagrange invariant at the pupil and in the image (same page):
	// 14.6·0.21 = 21.248·0.144295 = 3.066.
	m := g.matrix
	printed(t, "invariant in the image", 0.21*g.FocalMM*-(m.C*14.6), 3.066, 3)
	// From behind, the rows give the same heights.
	i := len(g.Elements[0].Surfaces) * 3
	want := groupHeights(g, 14.6, 0.01)
	y, u := m.A*14.6+m.B*0.01, m.C*14.6+m.D*0.01
	g.eachBack(heightRow{1, 0}, heightRow{0, 1}, func(row heightRow, _ float64) {
		i--
		testlens.CloseTo(t, "height from behind", row.A*y+row.B*u, want[i], 14.6)
	})
}

// TestSmithNewton is exercises 1 and 2 of W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, chapter 2, p. 32 (Eqs. 2.3 and 2.5): a lens of
// focal length 10 and an object 600 high 2400 before it, image 0.041841
// behind the focal point and 2.51046 high. Here the eye, at the rear focal
// point of the rear lens, sees such an object 2390 away, and the setpoint is
// its image, by the reversal of light.
func TestSmithNewton(t *testing.T) {
	p, train := thinPair(t, 10)
	mask, chief := p.PlaceMask(train, train.MaskGap(), 1./2390)
	printed(t, "x'", mask-10, 0.041841, 6)
	printed(t, "s'", 20-mask, 10-0.041841, 6)
	printed(t, "image height", math.Abs(chief)*600/2390, 2.51046, 5)
	printed(t, "magnification", math.Abs(chief)/2390, 0.004184, 6)
}

// TestSmithNegativeLens is exercise 3 of the same page (Eqs. 2.5 and 2.9):
// f = -5, object 20 before the lens, image at -4, magnification 0.2, 0.04
// along the axis.
func TestSmithNegativeLens(t *testing.T) {
	p := use.Problem()
	g := use.Group(p, []*catalog.Lens{testlens.Thin(-5)})
	testlens.CloseTo(t, "focal length", g.FocalMM, -5, 5)
	image := func(object float64) float64 {
		m := Gap(object).Then(g.matrix)
		return -m.B / m.D
	}
	testlens.CloseTo(t, "image", image(20), -4, 4)
	m := Gap(20).Then(g.matrix).Then(Gap(-4))
	testlens.CloseTo(t, "conjugates", m.B, 0, 20)
	testlens.CloseTo(t, "magnification", m.A, 0.2, 1)
	// Both distances are counted along the light: an object farther away by
	// 1 moves the image by -0.04.
	testlens.Near(t, "magnification along the axis", (image(20-1e-4)-image(20+1e-4))/2e-4, 0.04, 1e-8)
	if g.Positive() {
		t.Error("a negative lens counts as positive")
	}
}

// TestTwoThinLenses are two-component systems, as a stack and as a pair relay.
func TestTwoThinLenses(t *testing.T) {
	for _, c := range []struct {
		name               string // the source
		fa, fb, d          float64
		f, back, frontSide float64 // the front focus lies frontSide before the first lens
	}{
		// Printed: f 20, back focus 10, front focus 30 in magnitude (inches).
		{"W. J. Smith, Modern Optical Engineering, 4th ed., 2008, chapter 4, exercises 2-3, p. 69", 10, -10, 5, 20, 10, 30},
		// Printed: f 0.8, principal planes 0.6 inside, focal points 0.2 outside.
		{"University of Tennessee, Optics 421, assignment 3, problem 3", 1, 1, 0.75, 0.8, 0.2, 0.2},
	} {
		p := use.Problem()
		p.AirGapMin, p.GroupGapMin = c.d, 0
		a, b := testlens.Thin(c.fa), testlens.Thin(c.fb)
		g := use.Group(p, []*catalog.Lens{a, b}, false, true)
		check := func(what string, f, ffd, bfd, length float64) {
			testlens.CloseTo(t, c.name+": f of a "+what, f, c.f, c.f)
			testlens.CloseTo(t, c.name+": back focus of a "+what, bfd, c.back, c.f)
			testlens.CloseTo(t, c.name+": front focus of a "+what, ffd, c.frontSide, c.f)
			testlens.CloseTo(t, c.name+": length of a "+what, length, c.d, c.d)
		}
		check("stack", g.FocalMM, g.FFDMM, g.BFDMM, g.ThicknessMM)
		first, second := use.Group(p, []*catalog.Lens{a}), use.Group(p, []*catalog.Lens{b}, true)
		train := &Train{Layout: ErectorPair, Groups: []*Group{first, first, second, first}}
		relay := p.relayOf(train, c.d)
		check("pair", relay.FocalMM, relay.FFDMM, relay.BFDMM, relay.ThicknessMM)
		reduced, ok := p.NewPairRelay(NewPairComponentRows(first), NewPairComponentRows(second))
		if !ok {
			t.Fatalf("%s: no pair relay", c.name)
		}
		v := 1 / (reduced.fold - c.d)
		check("reduced pair", reduced.product*v, reduced.ffd-reduced.f1*reduced.f1*v, reduced.bfd-reduced.f2*reduced.f2*v, reduced.inner(v))
	}
}

// TestTennesseeTelescope is a Keplerian telescope of 20 and 5 cm with a 2f-2f
// erecting relay of 2 cm: afocal, +4× (University of Tennessee, Optics 421,
// assignment 3, problem 2).
func TestTennesseeTelescope(t *testing.T) {
	p := use.Problem()
	p.Magnification = 4
	p.GroupGapMin = 0
	train := &Train{Layout: ErectorSingle, Seat: SeatRear}
	for _, f := range []float64{20, 2, 5} {
		train.Groups = append(train.Groups, use.Group(p, []*catalog.Lens{testlens.Thin(f)}))
	}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	testlens.CloseTo(t, "objective to relay", train.Gaps[0], 24, 24)
	testlens.CloseTo(t, "relay to eyepiece", train.Gaps[1], 9, 9)
	testlens.CloseTo(t, "length", train.Length, 33, 33)
	m := p.matrixFrom(train, 0)
	testlens.CloseTo(t, "power", m.C, 0, 1)
	testlens.CloseTo(t, "angular magnification", m.D, 4, 4)
	testlens.CloseTo(t, "height", m.A, 0.25, 1)
}

// TestHechtThickLens is the thick lens of E. Hecht, Optics, problem 6.12: R1 4,
// R2 -15, 4 thick, n 1.5; the values follow from the thick-lens equation.
func TestHechtThickLens(t *testing.T) {
	p := use.Problem()
	g := use.Group(p, []*catalog.Lens{testlens.Lens("hecht", 4, []float64{4, -15}, []float64{4}, testlens.ConstantGlass(1.5))})
	printed(t, "f", g.FocalMM, 6.792453, 6)
	printed(t, "back focus", g.BFDMM, 4.528302, 6)
	printed(t, "first principal point", g.FocalMM-g.FFDMM, 0.603774, 6)
	printed(t, "second principal point", g.BFDMM-g.FocalMM, -2.264151, 6)
	m := Gap(100).Then(g.matrix)
	printed(t, "image from the last vertex", -m.B/m.D, 5.020113, 6)
	// Turned round, front and back change places.
	r := use.Group(p, []*catalog.Lens{g.Elements[0].Lens}, true)
	printed(t, "front focus reversed", r.FFDMM, 4.528302, 6)
}

// TestPeriscopeUnit is the unit of a periscope (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, section 13.2, Fig. 13.3): behind an objective
// of 100 a relay of 50 at 2f-2f, and a field lens at the objective's focus
// that images objective on relay, for which it takes 50.
func TestPeriscopeUnit(t *testing.T) {
	p := use.Problem()
	p.GroupGapMin = 0
	objective, relay := use.Group(p, []*catalog.Lens{testlens.Thin(100)}), use.Group(p, []*catalog.Lens{testlens.Thin(50)})
	train := &Train{Layout: ErectorSingle, Seat: SeatRear, Groups: []*Group{objective, relay, objective}}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	testlens.CloseTo(t, "objective to relay", train.Gaps[0], 200, 200)
	testlens.CloseTo(t, "relay to its image", train.Gaps[1]-100, 100, 200)
	between := Gap(100).Then(relay.matrix).Then(Gap(100))
	testlens.CloseTo(t, "relay's conjugates", between.B, 0, 100)
	testlens.CloseTo(t, "relay's magnification", between.A, -1, 1)
	field := Gap(100).Then(use.Group(p, []*catalog.Lens{testlens.Thin(50)}).matrix).Then(Gap(100))
	testlens.CloseTo(t, "objective on relay", field.B, 0, 100)
}

// TestPlateShift holds t(1 - 1/n) against computed values of W. J. Smith,
// Modern Optical Engineering, 4th ed., 2008, p. 134.
func TestPlateShift(t *testing.T) {
	for _, c := range []struct{ t, n, want float64 }{
		{10, 1.5168, 3.407173}, {0.5, 1.52, 0.171053}, {0.7, 1.52, 0.239474}, {1.1, 1.52, 0.376316}, {0, 1.52, 0}, {3, 1, 0},
	} {
		printed(t, "shift", PlateShift(c.t, c.n), c.want, 6)
	}
	// A glass of 0.7 mm at f = 50 mm lengthens the gap by its shift, and when
	// forgotten costs 0.096 D.
	p, train := thinPair(t, 50)
	bare := train.Gaps[0]
	p.MaskGlass = 0.7
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	printed(t, "gap", train.Gaps[0]-bare, 0.239474, 6)
	printed(t, "length", train.Length-bare, 0.239474, 6)
	mask, _ := p.PlaceMask(train, train.MaskGap(), 0)
	// The layer in the middle of its glass: half the shift farther.
	printed(t, "setpoint", mask, 50+0.239474/2, 6)
	printed(t, "vergence lost", 1000*vergenceAt(p, train, mask+0.239474), 0.096, 3)
}
