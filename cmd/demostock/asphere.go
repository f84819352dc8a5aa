package main

import (
	"math"

	"relaysweep/catalog"
)

// The range in which the term of sixth order is looked for, and how closely,
// as its sag at the margin over the margin's height.
const (
	termMax       = 0.03
	termTolerance = 1e-6
)

// designAsphere makes a plano-convex lens of focal length focal at the e line.
// The conic of its first surface brings the marginal ray of a beam along the
// axis to the paraxial focus, and a term of sixth order makes the spot least.
// Nil when there is none.
func designAsphere(glass *catalog.Glass, diameter, focal float64) *catalog.Lens {
	margin := clearFraction * diameter / 2
	// The other side is flat: its thickness does not matter to the power.
	curvature := 1 / ((glass.Index(catalog.LineE) - 1) * focal)
	lens := newLens(diameter, []float64{curvature, 0}, []float64{leastCentre(diameter)}, glass)
	first := &lens.Surfaces[0]
	first.Asphere = []float64{0, 0}
	shape := func(term float64) {
		first.Asphere[1] = term * math.Pow(margin, -5)
		first.Conic = zeroNear(func(conic float64) float64 {
			first.Conic = conic
			return spherical(lens, margin)
		}, -0.6, -0.61)
	}
	for {
		shape(leastNear(func(term float64) float64 {
			shape(term)
			return spotRMS(lens, margin)
		}, -termMax, termMax, termTolerance))
		least := leastThickness(lens, 0)
		if math.IsNaN(least) {
			return nil
		}
		if least <= lens.ThicknessMM[0] {
			break
		}
		lens.ThicknessMM[0] = least
	}
	first.Conic, first.Asphere[1] = significant(first.Conic), significant(first.Asphere[1])
	return lens
}
