package thirdorder

import (
	"fmt"
	"math"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// The problems, lenses and trains of the tests.

// glassOf is a glass of a constant index.
func glassOf(n float64) *catalog.Glass {
	return catalog.NewSellmeier(fmt.Sprint("n", n), [3]float64{n*n - 1}, [3]float64{}, 1, "")
}

// lensOf is a lens of given radii, thicknesses and glasses.
func lensOf(radii, thickness []float64, glasses ...*catalog.Glass) *catalog.Lens {
	l := &catalog.Lens{
		Part: fmt.Sprint(radii), DiameterMM: 20, ClearMM: 20, ThicknessMM: thickness, Glasses: glasses,
		Stock: catalog.Unlimited, LossPct: catalog.Unset, Density: catalog.Unset, Price: catalog.Unset,
	}
	for _, r := range radii {
		l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: r})
	}
	return l
}

func problemOf() *objective.Problem {
	return &objective.Problem{
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: 0.13, TanHalfHeight: 0.1, TanMax: math.Hypot(0.13, 0.1),
		Pupil: 4, Box: 2, SharpBox: 2, ReliefMin: 20, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 2,
		CombinerIndex: 1.5, MaskGlassIndex: 1.5, VergenceNear: 0.004, DepthSteps: 5,
		MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: objective.Limits{FieldFraction: 1},
	}
}

// groupOf stacks lenses at given gaps, world to eye.
func groupOf(p *objective.Problem, lenses []*catalog.Lens, gaps ...float64) *objective.Group {
	var elements []*objective.Element
	for _, e := range objective.NewLibrary(p, lenses).Elements {
		if !e.Reversed {
			elements = append(elements, e)
		}
	}
	return p.TrainAt(objective.Space{}, [][]*objective.Element{elements}, [][]float64{gaps}, nil, 0).Groups[0]
}

// between draws a number from a range.
func between(t *rapid.T, label string, lo, hi float64) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, label)
}

// drawLens draws a singlet or a cemented doublet, of a power in 1/mm if it were a thin
// singlet, of any bending, with flats, conics and aspheres.
func drawLens(t *rapid.T, label string, power float64) *catalog.Lens {
	shape := between(t, label+" shape", -2, 2)
	n := between(t, label+" n", 1.45, 1.85)
	dispersive := func(name string) *catalog.Glass {
		n := between(t, label+name, 1.45, 1.85)
		return catalog.NewAbbe(label+name, n, between(t, label+name+" V", 25, 65), 1, "")
	}
	c1, c2 := power*(shape+1)/(2*(n-1)), power*(shape-1)/(2*(n-1))
	if rapid.IntRange(1, 5).Draw(t, label+" flat") == 1 {
		c1 = 0
	}
	radii := []float64{1 / c1, 1 / c2}
	thickness := []float64{between(t, label+" t1", 0, 8)}
	glasses := []*catalog.Glass{dispersive(" glass")}
	if rapid.Bool().Draw(t, label+" doublet") {
		radii = []float64{1 / c1, 1 / between(t, label+" cement", -0.02, 0.02), 1 / c2}
		thickness = append(thickness, between(t, label+" t2", 1, 4))
		glasses = append(glasses, dispersive(" second glass"))
	}
	for i, r := range radii {
		if !(math.Abs(r) < 1e5) {
			radii[i] = math.Inf(1)
		}
	}
	l := lensOf(radii, thickness, glasses...)
	for i := range l.Surfaces {
		if rapid.IntRange(1, 3).Draw(t, fmt.Sprint(label, " asphere ", i)) == 1 {
			l.Surfaces[i].Conic = between(t, label+" conic", -3, 1)
			l.Surfaces[i].Asphere = []float64{between(t, label+" a4", -3e-6, 3e-6), between(t, label+" a6", -1e-9, 1e-9)}
		}
	}
	return l
}

// drawTrain draws a train of real groups at its paraxial gaps, with or without plates, far and
// finite depths, Θ at and away from 1, at some eye relief.
func drawTrain(t *rapid.T) (*objective.Problem, *objective.Train, []*Group) {
	p := problemOf()
	if rapid.Bool().Draw(t, "plates") {
		p.MaskGlass, p.CombinerMM = between(t, "mask", 0.5, 3), between(t, "combiner", 1, 10)
	}
	if rapid.Bool().Draw(t, "finite") {
		p.VergenceFar = between(t, "far", 0.0001, 0.002)
	}
	if rapid.Bool().Draw(t, "magnifies") {
		p.Magnification = between(t, "magnification", 0.5, 2)
	}
	train := &objective.Train{Layout: objective.ErectorSingle, Seat: rapid.SampledFrom([]objective.Seat{objective.SeatFront, objective.SeatRear}).Draw(t, "seat")}
	maker := NewMaker(p)
	var groups []*Group
	for i := range 3 {
		power := 1 / between(t, fmt.Sprint("focal ", i), 40, 120)
		lenses := []*catalog.Lens{drawLens(t, fmt.Sprint(i, "a"), power/2), drawLens(t, fmt.Sprint(i, "b"), power/2)}
		g := groupOf(p, lenses, between(t, fmt.Sprint("gap ", i), 0.2, 4))
		train.Groups = append(train.Groups, g)
		groups = append(groups, maker.Group(g))
	}
	if p.Assemble(train, 0) != objective.Met || train.Length > 500 {
		t.Skip("no train")
	}
	train.EyeRelief = between(t, "relief", 12, 40)
	return p, train, groups
}

// near fails the test when a number differs by more than a tolerance.
func near(t interface{ Errorf(string, ...any) }, what string, got, want, tolerance float64) {
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.10g, want %.10g within %.2g", what, got, want, tolerance)
	}
}
