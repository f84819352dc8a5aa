package thirdorder

import (
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// glassOf is a glass of a constant index.
func glassOf(n float64) *catalog.Glass { return catalog.NewSellmeier("test", [3]float64{n*n - 1}, [3]float64{}, 1, "") }

// lensOf is a lens of given radii, thicknesses and indices.
func lensOf(diameter float64, radii, thickness []float64, glasses ...*catalog.Glass) *catalog.Lens {
	l := &catalog.Lens{Part: "lens", DiameterMM: diameter, ClearMM: diameter, ThicknessMM: thickness, Glasses: glasses, Stock: catalog.Unlimited, LossPct: catalog.Unset, Density: catalog.Unset, Price: catalog.Unset}
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

// given puts lenses at given gaps into a group.
func given(p *objective.Problem, lenses []*catalog.Lens, gaps []float64) *objective.Group {
	lib := objective.NewLibrary(p, lenses)
	var elements []*objective.Element
	for _, e := range lib.Elements {
		if !e.Reversed {
			elements = append(elements, e)
		}
	}
	return p.TrainAt(objective.Space{}, [][]*objective.Element{elements}, [][]float64{gaps}, nil, 0).Groups[0]
}

func TestTriplet(t *testing.T) {
	crown, flint := glassOf(1.61272), glassOf(1.64769)
	// turned round: rays go from the last vertex to the first
	g := given(problemOf(), []*catalog.Lens{
		lensOf(23, []float64{37.05, -204.52}, []float64{5.9}, crown),
		lensOf(21, []float64{-36.4, 42.65}, []float64{2.5}, flint),
		lensOf(29, []float64{341.48, -37.4}, []float64{5.9}, crown),
	}, []float64{11.85, 12.93})
	c := NewMaker(problemOf()).Group(g)
	var sys system
	sys.start(c)
	sys.cross(-6.411174/0.21, 0, 1)
	var e Estimator
	e.near, e.depths, e.mask, e.p = sys, []float64{0}, make([]wave, 1), problemOf()
	e.weights = []float64{0.25, 0.25}
	e.setMask(0)
	a := e.mask[0].a
	m, f := 14.6, 0.21
	t.Log(8*a[0]*m*m*m*m, 8*a[1]*m*m*m*f, (8*a[2]-2*c.petzval)*m*m*f*f, 6*c.petzval*m*m*f*f, 8*a[3]*m*f*f*f)
	t.Log("want 0.0538423 0.0052761 -0.0128948 0.0316558 -0.0411017")
}
