package objective

import (
	"fmt"
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// thinPair is a unit keplerian of two thin lenses with the eye at the rear
// focal point.
func thinPair(t testing.TB, f float64) (*Problem, *Train) {
	t.Helper()
	p := use.Problem()
	p.GroupGapMin = 0
	g := use.Group(p, []*catalog.Lens{testlens.Thin(f)})
	r := use.Group(p, []*catalog.Lens{testlens.Thin(f)}, true)
	train := &Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{g, r}}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	train.EyeRelief = r.BFDMM
	return p, train
}

// vergenceAt is the apparent vergence in 1/mm whose setpoint is a position: the secant method
// on PlaceMask.
func vergenceAt(p *Problem, t *Train, position float64) float64 {
	v0, v1 := 0.0, 1e-4
	x0, _ := p.PlaceMask(t, t.MaskGap(), v0)
	for range 20 {
		x1, _ := p.PlaceMask(t, t.MaskGap(), v1)
		if x1 == x0 {
			break
		}
		v0, x0, v1 = v1, x1, v1+(position-x1)*(v1-v0)/(x1-x0)
	}
	return v1
}

// TestUnitAfocalPair: front focus of the first and rear focus of the second
// lens of an afocal pair are conjugates, with the same magnification for all
// (J. E. Greivenkamp, Field Guide to Geometrical Optics, 2004, p. 18).
func TestUnitAfocalPair(t *testing.T) {
	p, train := thinPair(t, 50)
	testlens.CloseTo(t, "Θ", train.AngularMagnification, -1, 1)
	testlens.CloseTo(t, "length", train.Length, 100, 100)
	m := Gap(50).Then(p.EyeMatrix(train)) // F1 to F2'
	testlens.CloseTo(t, "A", m.A, -1, 1)
	testlens.CloseTo(t, "B", m.B, 0, 100)
	testlens.CloseTo(t, "C", m.C, 0, 1)
	testlens.CloseTo(t, "D", m.D, -1, 1)
	// An object 500 before F1 has its image 500 before F2'.
	testlens.CloseTo(t, "conjugates", Gap(500).Then(m).Then(Gap(-500)).B, 0, 500)
	// The viewpoint is F1, 4f before the eye.
	testlens.CloseTo(t, "viewpoint", p.Viewpoint(train), -50, 50)
	testlens.CloseTo(t, "viewpoint shift", p.Describe(train).ViewpointShift, 200, 200)
}

// TestMaskTravelLaw: with the eye at the rear focal point the mask moves f²
// a unit of vergence (Newton's equation, W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, Eq. 2.3). The figures are f² in mm a dioptre.
func TestMaskTravelLaw(t *testing.T) {
	for _, c := range []struct{ f, perDioptre, four float64 }{
		{25, 0.625, 2.5}, {30, 0.9, 3.6}, {40, 1.6, 6.4}, {50, 2.5, 10}, {60, 3.6, 14.4}, {75, 5.625, 22.5}, {100, 10, 40},
	} {
		p, train := thinPair(t, c.f)
		name := fmt.Sprint("f = ", c.f)
		d := p.Describe(train)
		testlens.CloseTo(t, name+": travel over 4 D", d.Travel, c.four, c.f)
		for i, s := range d.Setpoints {
			testlens.CloseTo(t, name+": vergence", s.VergenceD, float64(i), 4)
			testlens.CloseTo(t, name+": setpoint", s.MaskMM, c.f+float64(i)*c.perDioptre, c.f)
		}
		testlens.CloseTo(t, name+": step", d.DepthStepD, 0.01/c.perDioptre, 1)
		testlens.CloseTo(t, name+": mask scale", d.MaskScaleChangePct, 0, 100)
		// The requirement is met with just that travel and not with less.
		p.ReliefMin, p.ReliefMax = c.f, c.f
		p.Clearance, p.MaskWidth, p.MaskHeight, p.Pupil, p.TanMax = 0, 1000, 1000, 0.1, 0.001
		for _, travel := range []float64{c.four * (1 + 1e-9), c.four * (1 - 1e-9)} {
			p.Travel = travel
			want := Met
			if travel < c.four {
				want = Travel
			}
			if _, failed := p.Judge(train); failed != want {
				t.Errorf("%s: travel %.12g: %v, want %v", name, travel, failed, want)
			}
		}
	}
}

// TestMaskFigures: a pixel of 36 µm at f = 50 mm subtends p/f = 2.48 arcmin;
// 1 % in f there, 0.5 mm, is 0.2 D; a stage's 10 µm are 0.004 D (computed from
// Newton's equation).
func TestMaskFigures(t *testing.T) {
	p, train := thinPair(t, 50)
	p.MaskPixel = 0.036
	d := p.Describe(train)
	testlens.Near(t, "pixel", d.PixelArcmin, 2.48, 0.005)
	testlens.CloseTo(t, "pixel", math.Tan(d.PixelArcmin/60*math.Pi/180), 0.036/50, 1e-3)
	testlens.CloseTo(t, "stage", d.DepthStepD, 0.004, 0.01)
	mask, _ := p.PlaceMask(train, train.MaskGap(), 0)
	testlens.CloseTo(t, "half a millimetre", 1000*vergenceAt(p, train, mask+0.5), 0.2, 1)
	testlens.CloseTo(t, "10 µm", 1000*vergenceAt(p, train, mask+0.01), 0.004, 1)
}

// TestUprightUnit: three equal thin lenses with Θ = 1, so that m = 1: gaps of
// f + 2f, length 6f, and with the eye p behind the rear focus the viewpoint
// p - f behind the front one (computed from the conjugates).
func TestUprightUnit(t *testing.T) {
	p := use.Problem()
	p.GroupGapMin = 0
	train := &Train{Layout: ErectorSingle, Seat: SeatRear}
	for range 3 {
		train.Groups = append(train.Groups, use.Group(p, []*catalog.Lens{testlens.Thin(40)}))
	}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	testlens.CloseTo(t, "gap", train.Gaps[0], 120, 120)
	testlens.CloseTo(t, "gap", train.Gaps[1], 120, 120)
	testlens.CloseTo(t, "length", train.Length, 240, 240)
	train.EyeRelief = 40 + 7
	// q = p - f·f/f, and z_V = q - f.
	testlens.CloseTo(t, "viewpoint", p.Viewpoint(train), 7-40-40, 100)
}
