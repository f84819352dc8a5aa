package main

import (
	"math"

	"relaysweep/catalog"
)

// F' and C' of ISO 7944:1998 in nm, the ends of the visible range.
const (
	lineF = 479.9914
	lineC = 643.8469
)

const (
	// bendings is how many shapes of an achromat are looked at before the
	// best is refined.
	bendings = 40
	// bendingMax, in units of the power, is the steepest first curvature.
	bendingMax = 2.5
	// bendingTolerance, likewise, is below what the rounding of radii does.
	bendingTolerance = 1e-4
)

// designAchromat makes a cemented doublet, crown towards a distant object, of
// focal length focal at the e line with one back focal point for F' and C',
// bent for the least spot. Nil when there is none.
func designAchromat(crown, flint *catalog.Glass, diameter, focal float64) *catalog.Lens {
	spot := func(bending float64) float64 {
		lens := bentAchromat(crown, flint, diameter, focal, bending/focal)
		if lens == nil {
			return math.Inf(1)
		}
		return spotRMS(lens, clearFraction*diameter/2)
	}
	best, least := math.NaN(), math.Inf(1)
	step := bendingMax / bendings
	for i := 1; i <= bendings; i++ {
		bending := float64(i) * step
		if s := spot(bending); s < least {
			best, least = bending, s
		}
	}
	if math.IsNaN(best) {
		return nil
	}
	best = leastNear(spot, best-step, best+step, bendingTolerance)
	lens := bentAchromat(crown, flint, diameter, focal, best/focal)
	if lens == nil {
		return nil
	}
	radii := make([]float64, len(lens.Surfaces))
	for i, s := range lens.Surfaces {
		radii[i] = s.Curvature()
	}
	return newLens(diameter, radii, lens.ThicknessMM, crown, flint)
}

// bentAchromat solves the doublet whose first curvature is c1, with exact
// radii. Its thicknesses grow until both elements have their edge.
func bentAchromat(crown, flint *catalog.Glass, diameter, focal, c1 float64) *catalog.Lens {
	thickness := []float64{leastCentre(diameter), leastCentre(diameter)}
	for {
		lens := achromatOf(crown, flint, diameter, focal, c1, thickness)
		if lens == nil {
			return nil
		}
		enough := true
		for i := range thickness {
			least := leastThickness(lens, i)
			if math.IsNaN(least) || least > diameter {
				return nil
			}
			if least > thickness[i] {
				thickness[i] = least
				enough = false
			}
		}
		if enough {
			return lens
		}
	}
}

// achromatOf finds the two other curvatures for a first curvature and
// thicknesses: the last one follows from the power, and the cemented one is
// where the back focal lengths at F' and C' agree. The thin achromat, in which
// the powers of crown and flint are in proportion to their Abbe numbers
// (E. Hecht, Optics, section 6.3.2), is the start.
func achromatOf(crown, flint *catalog.Glass, diameter, focal, c1 float64, thickness []float64) *catalog.Lens {
	abbe := func(g *catalog.Glass) float64 {
		return (g.Index(catalog.LineE) - 1) / (g.Index(lineF) - g.Index(lineC))
	}
	v1, v2 := abbe(crown), abbe(flint)
	start := c1 - v1/(v1-v2)/focal/(crown.Index(catalog.LineE)-1)

	of := func(c2 float64) *catalog.Lens {
		lens := &catalog.Lens{
			DiameterMM: diameter,
			Surfaces: []catalog.Surface{
				{RadiusMM: 1 / c1}, {RadiusMM: 1 / c2}, {RadiusMM: math.Inf(1)},
			},
			ThicknessMM: []float64{thickness[0], thickness[1]},
			Glasses:     []*catalog.Glass{crown, flint},
		}
		// With a flat last surface a ray that came in at height 1 meets it at
		// height bfl/efl and leaves with slope -1/efl; the power still wanted
		// is that height times the surface's own.
		efl, bfl, _ := lens.Cardinal(catalog.LineE)
		wanted := (1/focal - 1/efl) / (bfl / efl)
		lens.Surfaces[2].RadiusMM = (1 - flint.Index(catalog.LineE)) / wanted
		return lens
	}
	colour := func(c2 float64) float64 {
		lens := of(c2)
		_, blue, _ := lens.Cardinal(lineF)
		_, red, _ := lens.Cardinal(lineC)
		return blue - red
	}
	c2 := zeroNear(colour, start, 1.01*start)
	if math.IsNaN(c2) {
		return nil
	}
	return of(c2)
}
