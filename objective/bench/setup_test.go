package bench

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// The glasses of the tests: nd and Vd of common crowns and flints.
var (
	crown      = catalog.NewAbbe("crown", 1.5168, 64.2, 2.51, "test")
	flint      = catalog.NewAbbe("flint", 1.7283, 28.5, 4.07, "test")
	denseCrown = catalog.NewAbbe("dense crown", 1.6204, 60.3, 3.58, "test")
)

// testLens makes an invented lens from radii (mm), thicknesses and glasses.
func testLens(part string, diameter float64, radii, thickness []float64, glasses ...*catalog.Glass) *catalog.Lens {
	l := &catalog.Lens{
		Part: part, Vendor: "invented", Kind: "test", DiameterMM: diameter, ClearMM: 0.9 * diameter,
		ThicknessMM: thickness, Glasses: glasses, LossPct: catalog.Unset, Density: catalog.Unset,
		Price: 20, EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
	}
	for _, r := range radii {
		l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: r})
	}
	return l
}

func equiconvex(f, diameter, thickness float64, glass *catalog.Glass) *catalog.Lens {
	r := 2 * (glass.Nd() - 1) * f
	return testLens(fmt.Sprintf("equi-%g", f), diameter, []float64{r, -r}, []float64{thickness}, glass)
}

// planoConvex has its convex side towards the world.
func planoConvex(f, diameter, thickness float64, glass *catalog.Glass) *catalog.Lens {
	return testLens(fmt.Sprintf("plano-%g", f), diameter, []float64{(glass.Nd() - 1) * f, math.Inf(1)}, []float64{thickness}, glass)
}

// achromat is a cemented doublet of about the given focal length, its crown towards
// the world: powers V·φ/(V1-V2) (W. J. Smith, Modern Optical Engineering, 4th ed.,
// 2008).
func achromat(f, diameter float64) *catalog.Lens {
	va, vb := crown.Vd(), flint.Vd()
	r := 2 * (crown.Nd() - 1) * f * (va - vb) / va
	last := 1 / (-1/r + vb/(va-vb)/f/(flint.Nd()-1))
	return testLens(fmt.Sprintf("achromat-%g", f), diameter, []float64{r, -r, last}, []float64{diameter * 0.35, 2.5}, crown, flint)
}

func testProblem() *objective.Problem {
	deg := math.Pi / 180
	w, h := math.Tan(7.5*deg), math.Tan(5.65*deg)
	return &objective.Problem{
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: w, TanHalfHeight: h, TanMax: math.Hypot(w, h),
		Pupil: 4, Box: 2, SharpBox: 2, ReliefMin: 20, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 1, CombinerIndex: 1.5168,
		VergenceNear: 0.004, DepthSteps: 5, MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskGlassIndex: 1.52,
		Clearance: 3, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: objective.Limits{Max: map[string]float64{}, FieldFraction: 1},
	}
}

// part is a lens in an orientation.
type part struct {
	lens     *catalog.Lens
	reversed bool
}

// testTrain assembles a train of stacks at its paraxial gaps, with the eye some way
// behind the rear focal point.
func testTrain(t rapid.TB, p *objective.Problem, layout objective.Layout, seat objective.Seat, behind float64, stacks ...[]part) *objective.Train {
	t.Helper()
	train := &objective.Train{Layout: layout, Seat: seat}
	for _, stack := range stacks {
		var elements []*objective.Element
		for _, one := range stack {
			lib := objective.NewLibrary(p, []*catalog.Lens{one.lens})
			e := lib.ElementOf(one.lens.Part, one.reversed)
			if e == nil {
				e = lib.Elements[0]
			}
			elements = append(elements, e)
		}
		train.Groups = append(train.Groups, p.NewGroup(elements...))
	}
	last := train.Groups[len(train.Groups)-1]
	if layout == objective.Keplerian {
		p.Magnification = train.Groups[0].FocalMM / last.FocalMM
	}
	switch failed := p.Assemble(train, 0); failed {
	case objective.Focal, objective.Magnification:
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = last.BFDMM + p.CombinerShift() + behind
	return train
}

// simpleTrain is a relay of achromats, the relay a stack of two.
func simpleTrain(t rapid.TB, p *objective.Problem) *objective.Train {
	return testTrain(t, p, objective.ErectorSingle, objective.SeatRear, 5,
		[]part{{achromat(40, 26), false}},
		[]part{{achromat(80, 30), true}, {achromat(81, 30), false}},
		[]part{{achromat(41, 26), true}},
	)
}

// drawTrain draws a problem and a train that rays pass or nearly pass: singlets,
// doublets, conics and aspheres, with and without plates, either seat.
func drawTrain(t *rapid.T) (*objective.Problem, *objective.Train) {
	p := testProblem()
	scale := rapid.Float64Range(0.2, 1).Draw(t, "field scale")
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = scale*p.TanHalfWidth, scale*p.TanHalfHeight, scale*p.TanMax
	p.Pupil = rapid.Float64Range(1, 5).Draw(t, "pupil")
	p.SharpBox = rapid.SampledFrom([]float64{0, 1, 2}).Draw(t, "sharp box")
	p.DepthSteps = rapid.IntRange(2, 6).Draw(t, "depth steps")
	if rapid.Bool().Draw(t, "plates") {
		p.MaskGlass = rapid.Float64Range(0.5, 3).Draw(t, "mask glass")
		p.CombinerMM = rapid.Float64Range(1, 8).Draw(t, "combiner")
	}
	one := func(f float64) []part {
		turn := rapid.Bool().Draw(t, "turn")
		switch rapid.IntRange(0, 3).Draw(t, "lens") {
		case 0:
			return []part{{achromat(f, 30), turn}}
		case 1:
			return []part{{planoConvex(2*f, 36, 7, denseCrown), true}, {planoConvex(2*f, 36, 7, denseCrown), false}}
		case 2:
			l := planoConvex(f, 30, 8, denseCrown)
			l.Surfaces[0].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
			return []part{{l, turn}}
		}
		l := equiconvex(f, 30, 9, denseCrown)
		l.Surfaces[1].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
		l.Surfaces[1].Asphere = []float64{rapid.Float64Range(-2e-6, 2e-6).Draw(t, "a4"), rapid.Float64Range(-3e-9, 3e-9).Draw(t, "a6")}
		return []part{{l, turn}}
	}
	layout, seat := objective.ErectorSingle, objective.SeatRear
	names := []string{"front", "relay", "rear"}
	if rapid.IntRange(0, 4).Draw(t, "layout") == 0 {
		layout, names = objective.Keplerian, []string{"front", "rear"}
	} else if rapid.Bool().Draw(t, "front seat") {
		seat = objective.SeatFront
	}
	var stacks [][]part
	for _, name := range names {
		stacks = append(stacks, one(rapid.Float64Range(40, 70).Draw(t, name)))
	}
	p.Magnification = rapid.SampledFrom([]float64{1, 0.8, 1.3}).Draw(t, "magnification")
	return p, testTrain(t, p, layout, seat, rapid.Float64Range(-5, 5).Draw(t, "eye"), stacks...)
}

// near fails the test when two numbers differ by more than a tolerance.
func near(t rapid.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if got != want && !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %.3g", what, got, want, tolerance)
	}
}

func build(b *Bench, errors func(*Build)) *Build {
	x := b.NewBuild()
	errors(x)
	return x
}

var all = Compensators{LastGap: true, FrontGap: true, StageZero: true, PictureShift: true}

func BenchmarkBuild(b *testing.B) {
	p := testProblem()
	train := testTrain(b, p, objective.ErectorSingle, objective.SeatRear, 5,
		[]part{{planoConvex(80, 30, 5, denseCrown), false}, {equiconvex(80, 30, 5, denseCrown), false}},
		[]part{{planoConvex(160, 36, 5, denseCrown), true}, {planoConvex(160, 36, 5, denseCrown), false}},
		[]part{{planoConvex(81, 30, 5, denseCrown), false}, {planoConvex(82, 30, 5, denseCrown), true}},
	)
	for _, c := range []struct {
		name       string
		vignetting bool
	}{{"plain", false}, {"vignetting", true}} {
		b.Run(c.name, func(b *testing.B) {
			bench := New(p, train, all, c.vignetting)
			one := bench.NewBuild()
			one.Lenses[2].DecentreMM[0] = 0.1
			one.Lenses[1].Focal, one.Lenses[1].FocalSet = 0.01, true
			b.ReportAllocs()
			for b.Loop() {
				bench.Measure(one)
			}
		})
	}
}
