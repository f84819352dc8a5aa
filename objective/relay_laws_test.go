package objective

import (
	"fmt"
	"math"
	"testing"

	"relaysweep/catalog"
)

// thinPair is a unit keplerian of two thin lenses with the eye at the rear
// focal point.
func thinPair(t testing.TB, f float64) (*Problem, *Train) {
	t.Helper()
	p := rayProblem()
	p.GroupGapMin = 0
	g := rayGroup(p, []*catalog.Lens{thinLens(f)})
	r := rayGroup(p, []*catalog.Lens{thinLens(f)}, true)
	train := &Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{g, r}}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	train.EyeRelief = r.BFDMM
	return p, train
}

// TestUnitAfocalPair: front focus of the first and rear focus of the second
// lens of an afocal pair are conjugates, with the same magnification for all
// (J. E. Greivenkamp, Field Guide to Geometrical Optics, 2004, p. 18).
func TestUnitAfocalPair(t *testing.T) {
	p, train := thinPair(t, 50)
	closeTo(t, "Θ", train.AngularMagnification, -1, 1)
	closeTo(t, "length", train.Length, 100, 100)
	m := Gap(50).Then(p.EyeMatrix(train)) // F1 to F2'
	closeTo(t, "A", m.A, -1, 1)
	closeTo(t, "B", m.B, 0, 100)
	closeTo(t, "C", m.C, 0, 1)
	closeTo(t, "D", m.D, -1, 1)
	// An object 500 before F1 has its image 500 before F2'.
	closeTo(t, "conjugates", Gap(500).Then(m).Then(Gap(-500)).B, 0, 500)
	// The viewpoint is F1, 4f before the eye.
	closeTo(t, "viewpoint", p.Viewpoint(train), -50, 50)
	closeTo(t, "viewpoint shift", p.Describe(train).ViewpointShift, 200, 200)
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
		closeTo(t, name+": travel over 4 D", d.Travel, c.four, c.f)
		for i, s := range d.Setpoints {
			closeTo(t, name+": vergence", s.VergenceD, float64(i), 4)
			closeTo(t, name+": setpoint", s.MaskMM, c.f+float64(i)*c.perDioptre, c.f)
		}
		closeTo(t, name+": step", d.DepthStepD, 0.01/c.perDioptre, 1)
		closeTo(t, name+": mask scale", d.MaskScaleChangePct, 0, 100)
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
	rayNear(t, "pixel", d.PixelArcmin, 2.48, 0.005)
	closeTo(t, "pixel", math.Tan(d.PixelArcmin/60*math.Pi/180), 0.036/50, 1e-3)
	closeTo(t, "stage", d.DepthStepD, 0.004, 0.01)
	mask, _ := p.PlaceMask(train, 0)
	closeTo(t, "half a millimetre", 1000*p.MaskVergence(train, mask+0.5), 0.2, 1)
	closeTo(t, "10 µm", 1000*p.MaskVergence(train, mask+0.01), 0.004, 1)
}

// TestUprightUnit: three equal thin lenses with Θ = 1, so that m = 1: gaps of
// f + 2f, length 6f, and with the eye p behind the rear focus the viewpoint
// p - f behind the front one (computed from the conjugates).
func TestUprightUnit(t *testing.T) {
	p := rayProblem()
	p.GroupGapMin = 0
	train := &Train{Layout: ErectorSingle, Seat: SeatRear}
	for range 3 {
		train.Groups = append(train.Groups, rayGroup(p, []*catalog.Lens{thinLens(40)}))
	}
	if failed := p.Assemble(train, 0); failed != Met {
		t.Fatal(failed)
	}
	closeTo(t, "gap", train.Gaps[0], 120, 120)
	closeTo(t, "gap", train.Gaps[1], 120, 120)
	closeTo(t, "length", train.Length, 240, 240)
	train.EyeRelief = 40 + 7
	// q = p - f·f/f, and z_V = q - f.
	closeTo(t, "viewpoint", p.Viewpoint(train), 7-40-40, 100)
}
