package main

import (
	"math"
	"strconv"

	"relaysweep/catalog"
)

// shapes tells, for singlets with spherical faces, the curvature of the second
// surface over that of the first.
var shapes = map[string]float64{
	planoConvex: 0, planoConcave: 0, biConvex: -1, biConcave: -1, meniscus: 0.35,
}

// designSinglet makes a singlet of focal length focal (mm, negative for a
// diverging lens) at the e line, with curvatures in the ratio shape. Nil when
// its surfaces do not reach half the diameter.
func designSinglet(glass *catalog.Glass, shape, diameter, focal float64) *catalog.Lens {
	n := glass.Index(catalog.LineE)
	thickness := leastCentre(diameter)
	for {
		c := singletCurvature(n, shape, thickness, 1/focal)
		lens := newLens(diameter, []float64{c, shape * c}, []float64{thickness}, glass)
		least := leastThickness(lens, 0)
		if math.IsNaN(least) {
			return nil
		}
		if least <= thickness {
			return lens
		}
		thickness = least
	}
}

// singletCurvature is the curvature c of the first surface of a lens of the
// given power, the second having shape·c. The power of a thick lens
//
//	(n-1)·(c1 - c2) + (n-1)²·t·c1·c2/n
//
// (E. Hecht, Optics, section 6.1) makes it a quadratic equation in c; this is
// its root that stays finite as t goes to 0.
func singletCurvature(n, shape, thickness, power float64) float64 {
	linear := (n - 1) * (1 - shape)
	square := (n - 1) * (n - 1) * thickness * shape / n
	return 2 * power / (linear + math.Sqrt(linear*linear+4*square*power))
}

// leastEdge is the smallest edge thickness in mm that is ground at a diameter.
func leastEdge(diameter float64) float64 {
	switch {
	case diameter > 25:
		return 2
	case diameter > 16:
		return 1.5
	}
	return 1.1
}

// leastCentre is the smallest centre thickness in mm at a diameter: a tenth of
// it, for stiffness.
func leastCentre(diameter float64) float64 { return roundUp(math.Max(1.5, diameter/10)) }

// leastThickness is the centre thickness that leaves element i of a lens its
// edge, in tenths of a millimetre, at least what stiffness asks for. NaN when
// a surface does not reach the edge.
func leastThickness(l *catalog.Lens, i int) float64 {
	half := l.DiameterMM / 2
	edge := leastEdge(l.DiameterMM) + l.Surfaces[i].Sag(half) - l.Surfaces[i+1].Sag(half)
	return math.Max(leastCentre(l.DiameterMM), roundUp(edge))
}

// newLens makes a spherical lens with its radii rounded as a shop's drawing
// has them.
func newLens(diameter float64, curvatures, thickness []float64, glasses ...*catalog.Glass) *catalog.Lens {
	l := &catalog.Lens{DiameterMM: diameter, ThicknessMM: thickness, Glasses: glasses}
	for _, c := range curvatures {
		l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: shopRadius(c)})
	}
	return l
}

// shopRadius is the radius of a curvature in four significant digits, a flat
// for 0.
func shopRadius(curvature float64) float64 {
	if curvature == 0 {
		return math.Inf(1)
	}
	return significant(1 / curvature)
}

// significant rounds to four significant digits.
func significant(x float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 3, 64), 64)
	if err != nil {
		return math.NaN() // not reached: the text is that of a number
	}
	return rounded
}
