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

// designAsphere makes a plano-convex lens of focal length focal at the e line,
// see correct. Nil when there is none.
func designAsphere(glass *catalog.Glass, diameter, focal float64) *catalog.Lens {
	lens := planoAsphere(glass, diameter, focal, leastCentre(diameter))
	for {
		correct(lens)
		least := leastThickness(lens, 0)
		if math.IsNaN(least) {
			return nil
		}
		if least <= lens.ThicknessMM[0] {
			break
		}
		lens.ThicknessMM[0] = least
	}
	round(lens)
	return lens
}

const (
	// sheetMM is how thick Fresnel lenses are moulded.
	sheetMM = 2.0
	// facetShare is the width of a facet as a share of the diameter, draftDeg the
	// angle at which the walls between facets lean.
	facetShare = 0.01
	draftDeg   = 3.0
)

// designFresnel makes such a lens with facets.
func designFresnel(glass *catalog.Glass, diameter, focal float64) *catalog.Lens {
	lens := planoAsphere(glass, diameter, focal, sheetMM)
	first := &lens.Surfaces[0]
	first.PitchMM, first.DraftDeg = roundTo(facetShare*diameter, 0.01), draftDeg
	correct(lens)
	round(lens)
	return lens
}

// planoAsphere is a lens of a focal length at the e line whose first surface is
// still a sphere. The other side is flat: its thickness does not matter to the
// power.
func planoAsphere(glass *catalog.Glass, diameter, focal, thickness float64) *catalog.Lens {
	curvature := 1 / ((glass.Index(catalog.LineE) - 1) * focal)
	lens := newLens(diameter, []float64{curvature, 0}, []float64{thickness}, glass)
	lens.Surfaces[0].Asphere = []float64{0, 0}
	return lens
}

// correct gives the first surface of a lens a conic, which brings the marginal ray
// of a beam along the axis to the paraxial focus, and a term of sixth order that
// makes the spot least.
func correct(lens *catalog.Lens) {
	margin := clearFraction * lens.DiameterMM / 2
	first := &lens.Surfaces[0]
	shape := func(term float64) {
		first.Asphere[1] = term * math.Pow(margin, -5)
		first.Conic = zeroNear(func(conic float64) float64 {
			first.Conic = conic
			return spherical(lens, margin)
		}, -0.6, -0.61)
	}
	shape(leastNear(func(term float64) float64 {
		shape(term)
		return spotRMS(lens, margin)
	}, -termMax, termMax, termTolerance))
}

// round keeps as many digits of conic and term as a table lists.
func round(lens *catalog.Lens) {
	first := &lens.Surfaces[0]
	first.Conic, first.Asphere[1] = significant(first.Conic), significant(first.Asphere[1])
}
