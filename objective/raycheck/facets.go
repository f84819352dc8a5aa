package raycheck

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// Surfaces with facets cost light and sharpness that rays do not tell, as these meet facets of no
// width.

// facetShare is the share of a beam along a plane across the facets that goes on by the facets as
// it should. What is lost falls on the draft facets, the walls between neighbours: from outside, or
// from inside by light that leans towards the wall of its own facet.
//
// Over a pitch of 1 a facet falls by tilt, the tangent of its angle, over the width w = 1/(1 +
// tilt·draft), and the wall rises by the same depth over the rest, draft being the tangent of its
// angle from the axis. air and glass tell how the light goes: by how much a ray moves uphill, to
// where the facet ends at the top of the wall, on a way of 1 along the axis away from the facet
// into the air, and into the glass. Counted from there, a place x of the facet sends light past the
// bottom of its own wall where x·(1 + glass·tilt) exceeds depth·(glass - draft), and past the top
// of the next one, for light that goes downhill in the air, where x·(1 - air·tilt) is less than 1.
// A stretch of the facet takes in the beam 1 - air·tilt of its width on the side of the air, 1 +
// glass·tilt on that of the glass (by geometry). fromAir tells on which side the light comes.
func facetShare(tilt, draft, air, glass float64, fromAir bool) float64 {
	width := 1 / (1 + float64(tilt*draft))
	least := float64(width*tilt) * max(0, glass-draft) / (1 + float64(glass*tilt))
	most := 1 / (1 + float64(tilt*max(draft, -air)))
	taken := 1 + float64(glass*tilt)
	if fromAir {
		taken = 1 - float64(air*tilt)
	}
	return min(max(0, float64((most-least)*taken)), 1)
}

// throughFacets is the share of the light from an axial point at the far depth that goes on by
// the facets of all surfaces as it should: the mean over the pupil, the light of each ray taken as
// spread over some pitches. 1 without facets, 0 where no ray gets through.
func (c *Checker) throughFacets() float64 {
	if !c.t.HasFacets() {
		return 1
	}
	beam := &c.tracedBundles[0] // the axis at the far depth
	n := beam.to - beam.from
	r := lanes.NewRays(n)
	launch := c.launches[c.reference].Part(beam.from, beam.to)
	r.CopyFrom(&launch)
	here, share := lanes.NewRays(n), make([]float64, n)
	for i := range share {
		share[i] = 1
	}
	done := 0
	c.p.EachFacets(c.t, func(f *objective.Facets) {
		c.throughSteps(&r, c.reference, done, f.Place)
		done = f.Place + 1
		here.CopyFrom(&r)
		c.steps[f.Place].through(&r, c.ratios[c.reference][f.Place])
		for i := range share {
			x, y := r.X[i], r.Y[i]
			share[i] *= shareAt(f, math.Hypot(x, y), outward(&here, i, x, y), outward(&r, i, x, y))
		}
	})
	c.throughSteps(&r, c.reference, done, len(c.steps))
	var sum, weight float64
	for i, q := range c.fills[0].weight {
		if !r.Lost(i) {
			sum += float64(q * share[i])
			weight += q
		}
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// outward is the slope of ray i away from the axis, per way towards the world, at a point (x, y).
func outward(r *lanes.Rays, i int, x, y float64) float64 {
	h := math.Hypot(x, y)
	if h == 0 {
		return 0
	}
	return (float64(r.KX[i]*x) + float64(r.KY[i]*y)) / h * r.Per[i]
}

// shareAt is facetShare for a ray that meets a surface at a height, with slopes away from the
// axis before it and behind it, on the way from the eye.
func shareAt(f *objective.Facets, height, before, behind float64) float64 {
	slope := f.Surface.SagSlope(height) // towards the eye
	if slope == 0 {
		return 1
	}
	// Away from the facet into the air is towards the world or the eye; uphill is where the
	// surface goes into the air.
	air, glass := -before, behind
	uphill := slope
	if f.ToWorld {
		air, glass = behind, -before
		uphill = -slope
	}
	if uphill < 0 {
		air, glass = -air, -glass
	}
	draft := math.Tan(f.Surface.DraftDeg * math.Pi / 180)
	return facetShare(math.Abs(slope), draft, air, glass, f.ToWorld)
}

// nearImageD is how far, in dioptres, the facets may stand from a depth that the eye looks at for
// it to see them, however fine they are.
const nearImageD = 0.5

// grooves tells how a train's facets blur the view, and under what angle the eye sees them, both
// in arcmin; NaN without facets.
//
// A zone of the width of a pitch p spreads light of the wavelength λ by λ/p to either side, the
// half width to the first zero (Fraunhofer's diffraction at a slit: E. Hecht, Optics, section
// 10.2, from memory). Zones add up without regard to phase, as their depths are not controlled to a
// wavelength. Where a ray turns by δ in air, and the ray from the axial point to the pupil's edge,
// 1 mm high there, has the height c, the eye sees it c·δ beside: of these two paraxial rays n(u·ȳ
// - ū·y) is the same everywhere (the optical invariant: W. T. Welford, Aberrations of Optical
// Systems, 1986, chapter 2, from memory), c·δ at the surface, in glass as in air, and at the eye
// the direction in which the light seems to come. It counts where the beam, |c| times the pupil
// wide, is wider than a pitch: a narrower one passes a zone or two, and the eye's own pupil spreads
// it by more. Surfaces add up as the root of the sum of squares, as blurs do that know nothing of
// each other; the blur is the largest over the depths.
//
// A pitch stands under the angle at which the chief ray is that high. The facets are seen where
// their image, through what stands between them and the eye, lies within 0.5 D of the range of
// depths, or where the beam from some depth of it is no wider than a pitch. In an eye that looks at
// the vergence v a point of facets at V is a disc of the angle pupil·|v - V|, by geometry, and the
// beam is that times the chief ray's height wide: it is no wider than a pitch where the disc is no
// wider than a pitch's angle, and so the facets are resolved. As such a beam is not spread, no
// surface keeps out of both numbers. The largest over the surfaces, 0 where none is seen.
func (c *Checker) grooves() (blur, visible float64) {
	if !c.t.HasFacets() {
		return math.NaN(), math.NaN()
	}
	p := c.p
	wavelength := p.WavelengthsNM[c.reference] * mmPerNM
	squares := make([]float64, len(c.depths))
	p.EachFacets(c.t, func(f *objective.Facets) {
		pitch := f.Surface.PitchMM
		for d, v := range c.depths {
			if edge := math.Abs(f.EdgeAt(v)); edge*p.Pupil > pitch {
				spread := edge * wavelength / pitch
				squares[d] += float64(spread * spread)
			}
		}
		seen := f.Vergence()
		nearest := min(max(seen, p.VergenceFar), p.VergenceNear)
		if math.Abs(seen-nearest) <= nearImageD/1000 || math.Abs(f.EdgeAt(nearest))*p.Pupil <= pitch {
			visible = max(visible, arcmin(pitch/math.Abs(f.ChiefMM)))
		}
	})
	for _, s := range squares {
		blur = max(blur, arcmin(math.Sqrt(s)))
	}
	return blur, visible
}

// judgeGrooves measures what facets do to the view. A train without facets keeps every limit.
func (c *Checker) judgeGrooves() {
	m := &c.report.Metrics
	m.GrooveBlurArcmin, m.GrooveVisibleArcmin = c.grooves()
	for _, i := range []metricIndex{grooveBlur, grooveVisible} {
		if value := *MetricList[i].of(m); catalog.IsSet(value) {
			c.limit(i, value)
		}
	}
}
