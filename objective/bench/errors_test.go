package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/raycheck"
)

// thinPair is a unit afocal pair of weak-aberration singlets of focal length f, with a
// small pupil.
func thinPair(t testing.TB, f float64) (*objective.Problem, *objective.Train) {
	p := testProblem()
	p.Pupil, p.Box, p.SharpBox = 0.5, 0, 0
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = 0.01, 0.01, 0.01
	return p, testTrain(t, p, objective.Keplerian, objective.SeatRear, 0,
		[]part{{testlens.Equiconvex(f, 20, 0.5, testlens.Crown), false}}, []part{{testlens.Equiconvex(f, 20, 0.5, testlens.Crown), false}})
}

// TestClosedForms holds a unit afocal pair of thin lenses against first-order laws: a
// gap error Δ leaves the vergence Δ/f², an error of 1 % of one focal length 0.01/f, and
// a decentre δ turns the view by δ/f (derived from Newton's equation; the numbers are
// those of a handbook's table of 25, 50, 100 and 200 mm). What lenses of 0.5 mm add is
// below 2 %.
func TestClosedForms(t *testing.T) {
	for _, c := range []struct{ f, perTenth, perCent, decentre float64 }{
		{25, 0.16, 0.40, 13.751}, {50, 0.04, 0.20, 6.8755}, {100, 0.01, 0.10, 3.43775}, {200, 0.0025, 0.05, 1.718875},
	} {
		p, train := thinPair(t, c.f)
		b := New(p, train, Compensators{}, false)
		rest := b.Measure(b.NewBuild())
		gap := b.Measure(build(b, func(x *Build) { x.GapsMM[0] = 0.1 }))
		near(t, "gap", math.Abs(gap[AxisVergence]-rest[AxisVergence]), c.perTenth, 0.02*c.perTenth)
		focal := b.Measure(build(b, func(x *Build) { x.Lenses[0].Focal, x.Lenses[0].FocalSet = 0.01, true }))
		near(t, "focal length", math.Abs(focal[AxisVergence]-rest[AxisVergence]), c.perCent, 0.02*c.perCent)
		near(t, "magnification", math.Abs(focal[MagnificationError]), 1, 0.02)
		decentred := b.Measure(build(b, func(x *Build) { x.Lenses[0].DecentreMM = [2]float64{0.06, 0.08} }))
		near(t, "decentre", decentred[Pointing], c.decentre, 0.02*c.decentre)
		near(t, "decentre, its part along y", math.Abs(decentred[PointingUp]), 0.8*c.decentre, 0.02*c.decentre)
		// A lens tilted about its rear nodal point moves no image. That stands half of the
		// separation of the principal planes, t(1 - 1/n) for a thin lens, from the middle.
		tilted := b.Measure(build(b, func(x *Build) { x.Lenses[0].TiltRad = [2]float64{0, 1e-3} }))
		nodal := 0.5 * (1 - 1/testlens.Crown.Index(p.WavelengthsNM[1])) / 2
		near(t, "tilt", tilted[Pointing], nodal*1e-3/c.f/arcminRad, 0.03*nodal*1e-3/c.f/arcminRad)
	}
}

// TestErrorsAreLenses holds errors of radius, thickness, index, Abbe number and gap
// against the ray check of a train that has them in its catalog.
func TestErrorsAreLenses(t *testing.T) {
	p := testProblem()
	train := simpleTrain(t, p)
	b := New(p, train, Compensators{}, true)
	x := b.NewBuild()
	x.Lenses[0].Radius = []float64{0.01, -0.02, 0.005}
	x.Lenses[1].ThicknessMM = []float64{0.2, -0.1}
	x.Lenses[1].GapMM = 0.15
	x.Lenses[3].Index = []float64{1e-3, -2e-3}
	x.Lenses[3].Abbe = []float64{0.01, -0.02}
	x.GapsMM = []float64{0.3, -0.4}
	got := b.Measure(x)

	lenses := []*catalog.Lens{testlens.Achromat(40, 26), testlens.Achromat(80, 30), testlens.Achromat(81, 30), testlens.Achromat(41, 26)}
	for s, e := range x.Lenses[0].Radius {
		lenses[0].Surfaces[s].RadiusMM *= 1 + e
	}
	// The relay's first lens is reversed, as the last is: the catalog has them turned.
	lenses[1].ThicknessMM = []float64{lenses[1].ThicknessMM[0] - 0.1, lenses[1].ThicknessMM[1] + 0.2}
	bent := func(g *catalog.Glass, index, v float64) *catalog.Glass {
		return catalog.NewAbbe("bent "+g.Name, g.Nd()+index, g.Vd()*(1+v), 3, "test")
	}
	lenses[3].Glasses = []*catalog.Glass{bent(testlens.Crown, -2e-3, -0.02), bent(testlens.Flint, 1e-3, 0.01)}
	var elements [][]*objective.Element
	for i, l := range lenses {
		e := objective.NewLibrary(p, []*catalog.Lens{l}).ElementOf(l.Part, i == 1 || i == 3)
		if i == 2 {
			elements[1] = append(elements[1], e)
			continue
		}
		elements = append(elements, []*objective.Element{e})
	}
	changed := p.TrainAt(objective.Space{Layout: train.Layout, Seat: train.Seat}, elements,
		[][]float64{nil, {train.Groups[1].GapsMM[0] + 0.15}, nil}, []float64{train.Gaps[0] + 0.3, train.Gaps[1] - 0.4}, train.EyeRelief)
	want := raycheck.NewChecker(p).Measure(changed).Metrics
	for _, c := range []struct {
		figure int
		want   float64
	}{
		{ViewDefocus, want.ViewDefocusD}, {ViewAstigmatism, want.ViewAstigmatismD}, {ViewBlur, want.ViewBlurArcmin},
		{ViewRefocus, want.ViewRefocusD}, {AxisVergence, want.AxisVergenceD}, {Distortion, want.DistortionPct},
		{LateralColour, want.LateralColourArcmin}, {AxialColour, want.AxialColourD}, {ViewpointShift, p.ViewpointShift(changed)},
	} {
		near(t, Measures[c.figure].Name, got[c.figure], c.want, 1e-9*(1+math.Abs(c.want)))
	}
	near(t, "magnification", got[MagnificationError], 100*(changed.AngularMagnification/train.AngularMagnification-1), 1e-9)
	if math.Abs(want.AxisVergenceD) < 0.1 {
		t.Errorf("the errors do nothing: %v D", want.AxisVergenceD)
	}
}

// TestFocalSet: a lens whose glass and thickness are off as well has the focal length
// that its maker promises.
func TestFocalSet(t *testing.T) {
	p := testProblem()
	b := New(p, simpleTrain(t, p), Compensators{}, false)
	for _, e := range []float64{-0.03, 0, 0.01} {
		x := b.NewBuild()
		l := &x.Lenses[1]
		l.Focal, l.FocalSet = e, true
		l.ThicknessMM, l.Index = []float64{0.3, -0.2}, []float64{2e-3, -1e-3}
		l.Radius = []float64{0.01, 0.01, -0.01}
		b.prepare(x)
		made := &b.lenses[1]
		f := -1 / made.matrix(made.bent, made.dense, l.ThicknessMM, b.reference).C
		near(t, "focal length", f, (1+e)/made.power, 1e-9)
	}
}

// TestCompensators: what each adjusts comes back to the design when it alone is wrong.
func TestCompensators(t *testing.T) {
	for _, seat := range []objective.Seat{objective.SeatFront, objective.SeatRear} {
		p := testProblem()
		train := simpleTrain(t, p)
		train.Seat = seat
		b := New(p, train, all, true)
		rest := b.Measure(b.NewBuild())
		same := func(what string, got Outcome) {
			t.Helper()
			for i := range LastGap {
				near(t, seat.String()+": "+what+": "+Measures[i].Name, got[i], rest[i], 1e-5*(1+math.Abs(rest[i])))
			}
		}
		last := b.Measure(build(b, func(x *Build) { x.GapsMM[1] = 0.3 }))
		front := b.Measure(build(b, func(x *Build) { x.GapsMM[0] = -0.2 }))
		zero := New(p, train, Compensators{StageZero: true}, true).Measure(build(b, func(x *Build) { x.StageZeroMM = 0.25 }))
		near(t, "zero", zero[StageZero], -0.25, 1e-9)
		same("zero", zero)
		if seat == objective.SeatRear {
			near(t, "last gap", last[LastGap], -0.3, 1e-5)
			same("last gap", last)
			near(t, "front gap", front[FrontGap], 0.2, 1e-5)
			same("front gap", front)
		}
	}
	// The mask rolled by ρ turns its picture: at the rim of the field by tan θ·ρ.
	p, train := thinPair(t, 50)
	b := New(p, train, Compensators{}, false)
	rolled := b.Measure(build(b, func(x *Build) { x.MaskRollRad = 0.01 }))
	near(t, "roll", rolled[Registration], 0.01*p.TanMax/arcminRad, 0.002*rolled[Registration])
	// With the eye in the focal point of the rear lens, decentred by δ, the ray from the
	// eye's middle leaves the lens from the axis for the point at δ in the focal plane.
	// The mask crosses it at δ·(1 - f·V): shifted by the mean over the depths, it is off
	// by half of the change.
	x := b.NewBuild()
	x.Lenses[1].DecentreMM[0] = 0.1
	off := b.Measure(x)
	on := New(p, train, Compensators{PictureShift: true}, false).Measure(x)
	near(t, "picture", off[Registration], 0.1/50/arcminRad, 0.01*off[Registration])
	near(t, "picture shift", on[PictureShift], 0.1*(1-50*0.002), 0.001)
	near(t, "shifted picture", on[Registration], 0.1*50*0.002/50/arcminRad, 0.02)
}

// TestCompensatedFocal: with 1 % of f = 50 mm the last gap takes 0.5 mm to restore the
// far vergence.
func TestCompensatedFocal(t *testing.T) {
	p, train := thinPair(t, 50)
	b := New(p, train, Compensators{LastGap: true}, false)
	o := b.Measure(build(b, func(x *Build) { x.Lenses[0].Focal, x.Lenses[0].FocalSet = 0.01, true }))
	near(t, "last gap", o[LastGap], 0.5, 0.01)
	near(t, "vergence", o[AxisVergence], b.nominal.vergence, 1e-6)
	// The front gap alone brings the mark to the mask, and leaves the view.
	b = New(p, train, Compensators{FrontGap: true}, false)
	o = b.Measure(build(b, func(x *Build) { x.Lenses[0].Focal, x.Lenses[0].FocalSet = 0.01, true }))
	near(t, "front gap", o[FrontGap], 0.5, 0.01)
}

// TestDirections: a train is a figure of revolution, so that a quarter turn of all
// errors changes nothing, nor their mirror image.
func TestDirections(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := testProblem()
		p.DepthSteps = 2
		b := New(p, simpleTrain(t, p), all, true)
		x, turned, mirrored := b.NewBuild(), b.NewBuild(), b.NewBuild()
		set := func(a, u, v *[2]float64, most float64) {
			d := [2]float64{rapid.Float64Range(-most, most).Draw(t, "x"), rapid.Float64Range(-most, most).Draw(t, "y")}
			*a, *u, *v = d, [2]float64{-d[1], d[0]}, [2]float64{-d[0], d[1]}
		}
		for i := range x.Lenses {
			set(&x.Lenses[i].DecentreMM, &turned.Lenses[i].DecentreMM, &mirrored.Lenses[i].DecentreMM, 0.2)
			set(&x.Lenses[i].TiltRad, &turned.Lenses[i].TiltRad, &mirrored.Lenses[i].TiltRad, 0.005)
		}
		for i := range x.Groups {
			set(&x.Groups[i].DecentreMM, &turned.Groups[i].DecentreMM, &mirrored.Groups[i].DecentreMM, 0.2)
			set(&x.Groups[i].TiltRad, &turned.Groups[i].TiltRad, &mirrored.Groups[i].TiltRad, 0.005)
		}
		a, u, v := b.Measure(x), b.Measure(turned), b.Measure(mirrored)
		for i := range a {
			if i == PointingUp { // turns with the errors
				near(t, "mirrored: "+Measures[i].Name, v[i], a[i], 1e-6*(1+math.Abs(a[i])))
				continue
			}
			near(t, "turned: "+Measures[i].Name, u[i], a[i], 1e-6*(1+math.Abs(a[i])))
			near(t, "mirrored: "+Measures[i].Name, v[i], a[i], 1e-6*(1+math.Abs(a[i])))
		}
	})
}

// TestGroupMovesItsLenses: a group that is decentred takes its lenses with it, and a
// group of one lens is that lens.
func TestGroupMovesItsLenses(t *testing.T) {
	p := testProblem()
	b := New(p, simpleTrain(t, p), all, true)
	group := b.Measure(build(b, func(x *Build) { x.Groups[1].DecentreMM = [2]float64{0.1, -0.2} }))
	lenses := b.Measure(build(b, func(x *Build) {
		x.Lenses[1].DecentreMM, x.Lenses[2].DecentreMM = [2]float64{0.1, -0.2}, [2]float64{0.1, -0.2}
	}))
	one := b.Measure(build(b, func(x *Build) { x.Groups[0].TiltRad = [2]float64{0.003, 0.001} }))
	lens := b.Measure(build(b, func(x *Build) { x.Lenses[0].TiltRad = [2]float64{0.003, 0.001} }))
	for i := range group {
		near(t, Measures[i].Name, group[i], lenses[i], 1e-9*(1+math.Abs(group[i])))
		near(t, Measures[i].Name, one[i], lens[i], 1e-9*(1+math.Abs(one[i])))
	}
}

// TestCompensatorsFind: of trains of any layout and seat with errors of all kinds the gaps
// that are on find a position, in which a far point looks as far as in the design and, with
// the front gap, the mark is as sharp on the mask.
func TestCompensatorsFind(t *testing.T) {
	found, moved := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := drawTrain(t)
		on := rapid.SampledFrom([]Compensators{{LastGap: true}, {FrontGap: true}, {LastGap: true, FrontGap: true}}).Draw(t, "on")
		b := New(p, train, on, false)
		if math.IsNaN(b.nominal.vergence) || math.IsInf(b.nominal.vergence, 0) {
			return
		}
		x := b.NewBuild()
		for i := range x.Lenses {
			x.Lenses[i].Focal, x.Lenses[i].FocalSet = rapid.Float64Range(-0.02, 0.02).Draw(t, "focal"), true
			x.Lenses[i].DecentreMM[1] = rapid.Float64Range(-0.1, 0.1).Draw(t, "decentre")
			x.Lenses[i].TiltRad[0] = rapid.Float64Range(-0.002, 0.002).Draw(t, "tilt")
		}
		for i := range x.GapsMM {
			x.GapsMM[i] = rapid.Float64Range(-0.2, 0.2).Draw(t, "gap")
		}
		x.StageZeroMM = rapid.Float64Range(-0.2, 0.2).Draw(t, "zero")
		b.prepare(x)
		if !b.compensate() {
			return
		}
		found++
		moved += map[bool]int{true: 1}[math.Abs(b.adjusted[0])+math.Abs(b.adjusted[1]) > 0.01]
		if on.LastGap {
			vergence, sharp := b.alongAxis(0)
			near(t, "vergence", vergence, b.nominal.vergence, 1e-6)
			if on.FrontGap {
				near(t, "mark on the mask", sharp, b.nominal.sharpness, 1e-6)
			}
		}
	})
	if found < 90 || moved < 60 {
		t.Errorf("a position found in %d cases, another one in %d", found, moved)
	}
}

// TestFailedBy: the first limit that is exceeded is named, by its magnitude; what is not
// known of a limited figure fails, and what has no limit never does.
func TestFailedBy(t *testing.T) {
	p := testProblem()
	p.Limits.Max = map[string]float64{"view_blur_arcmin": 2, "axis_vergence_D": 0.25}
	b := New(p, simpleTrain(t, p), Compensators{}, false)
	for _, c := range []struct {
		blur, vergence, defocus float64
		want                    string
	}{
		{1, -0.2, math.Inf(1), ""}, {2, 0.25, 0, ""}, {1, -0.26, 0, "axis_vergence_D"}, {3, 1, 0, "view_blur_arcmin"},
		{math.NaN(), 0, 0, "view_blur_arcmin"}, {0, math.Inf(1), 0, "axis_vergence_D"},
	} {
		var o Outcome
		o[ViewBlur], o[AxisVergence], o[ViewDefocus], o[Vignetted] = c.blur, c.vergence, c.defocus, math.NaN()
		if got := b.FailedBy(&o); got != c.want {
			t.Errorf("%+v: fails %q", c, got)
		}
	}
}
