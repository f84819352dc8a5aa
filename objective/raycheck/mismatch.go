package raycheck

import (
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// mismatch tells, in %, by mask how it blurs for an eye that looks at another depth than the
// mask is set to: by how much the RMS of its blur is more than that of a point at the
// same difference of vergence before an eye with the same pupil, signed, the one of largest
// magnitude over the fields in use and all pairs of a set and an accommodated depth. It is NaN
// with a single depth.
//
// A point that is out of focus by ΔV blurs to a disc of the radius R = r·ΔV, as an angle,
// in a pupil of radius r, and the RMS radius of a disc is R/√2 (both by geometry). The mask's blur
// is that of rays which leave the eye for the accommodated depth, where they cross the layer at
// the exact setpoint of the set one, over the chief ray's height there as for
// mask_blur_arcmin. Only rays inside all clear apertures count: what is vignetted takes
// from the pupil, and makes the blur smaller. A bundle that nothing of passes, or that
// loses more than half of its rays, has +Inf.
func (c *Checker) mismatch() (pct [objective.MasksMost]float64) {
	if len(c.depths) < 2 {
		return [...]float64{math.NaN(), math.NaN()}
	}
	if !c.findPassing() {
		return [...]float64{math.Inf(1), math.Inf(1)}
	}
	for k := range c.masks {
		pct[k] = c.mismatchOf(k)
	}
	return pct
}

// findPassing finds what passes all clear apertures of each bundle in use, false where of one
// nothing does or more than half of its rays is lost.
func (c *Checker) findPassing() bool {
	used := c.usedBundles()
	for i := range used {
		if c.sampledBundles[i].masks[0].all.Weight < halfLost {
			return false
		}
	}
	// Outer fields lose more: from there on it soon shows where nothing passes.
	c.passed = slices.Grow(c.passed[:0], used)[:used]
	clear := c.clearFields()
	for i := used - 1; i >= 0; i-- {
		b := &c.sampledBundles[i]
		if b.lossy || b.field >= clear {
			c.passed[i] = c.passing(b)
		} else {
			c.passed[i] = c.allOf(b)
		}
		if !(c.passed[i][0].Weight > 0) {
			return false
		}
	}
	return true
}

// allOf are the sums of a bundle, by mask and at all wavelengths.
func (c *Checker) allOf(b *sampledBundle) (all sumsOfMasks) {
	for k := range c.masks {
		all[k] = b.masks[k].all
	}
	return all
}

// mismatchOf is the mismatch of mask k.
func (c *Checker) mismatchOf(k int) float64 {
	n, s, chief := len(c.depths), c.report.Mask(k).Setpoints, c.masks[k].chief
	worst := 0.0
	for i := range c.usedBundles() {
		b := &c.sampledBundles[i]
		pp, ps, ss := c.passed[i][k].variance()
		for set := range n {
			if set == b.depth {
				continue
			}
			shift := s[b.depth].MaskParaxialMM - s[set].MaskMM
			variance := pp + float64(2*shift*ps) + float64(shift*shift*ss)
			blur := math.Sqrt(max(variance, 0)) / math.Abs(chief[set])
			ideal := c.p.Pupil / (2 * math.Sqrt2) * c.outOfFocus(b.depth, set)
			worst = larger(worst, 100*(blur/ideal-1))
		}
	}
	return worst
}

// clearFields is the number of fields in use, from the axis on, in which the pupil in the middle is
// surely free of vignetting at every depth. As in [Checker.judgeVignetting] the squared
// height of a ray is convex but for aberrations, so that what is clear on the axis and at an outer
// field, for the far and the near end, is so between them; clearCare leaves room for
// aberrations.
func (c *Checker) clearFields() int {
	if c.cornersRim < -clearCare {
		return c.used
	}
	clear := func(field int) bool {
		far, near := field*len(c.depths), (field+1)*len(c.depths)-1
		for _, k := range [...]int{near, far} {
			if !(c.rimOverfill(&c.sampledBundles[k], 0, 0, c.p.Pupil/2) < -clearCare) {
				return false
			}
		}
		return true
	}
	if !clear(0) {
		return 0
	}
	for f := c.used - 1; f > 0; f-- {
		if clear(f) {
			return f + 1
		}
	}
	return 1
}

// clearCare is how near, as a share of a clear semi-diameter, a rim ray at the ends of the ranges of field
// and depth may come before those between them are looked at.
const clearCare = 2 * rimCare

// outOfFocus is by how much an ideal point at the set depth is out of focus for an eye that
// accommodates to another, in 1/mm: the difference of the depths. Where the eye's own colour counts
// that and the spread of its refraction over the wavelengths add as squares, as both an
// ideal point and the mask at its setpoint are sharpest for the mean.
func (c *Checker) outOfFocus(accommodated, set int) float64 {
	var mean, square float64
	for w, q := range c.weight {
		colour := c.p.EyeColour(w)
		mean += float64(q * colour)
		square += float64(q * colour * colour)
	}
	off := c.depths[set] - c.depths[accommodated]
	return math.Sqrt(float64(off*off) + max(0, square-float64(mean*mean)))
}

// judgeMismatch judges it.
func (c *Checker) judgeMismatch() {
	pct := c.mismatch()
	for k := range c.masks {
		c.report.Metrics.mask(k).BlurMismatchPct = pct[k]
	}
	if c.limited(blurMismatch) {
		c.limitAll(blurMismatch)
	}
}

// passing are the sums of a bundle, by mask and at all wavelengths, over what passes all clear
// apertures.
func (c *Checker) passing(b *sampledBundle) sumsOfMasks {
	if !b.lossy && c.clears(b, c.at.x, c.at.y, c.p.Pupil/2) {
		return c.allOf(b)
	}
	c.loss.clear = true
	all, ok := sumsOfMasks{}, false
	if !b.lossy {
		all, ok = c.cutByApertures(b)
	}
	if !ok {
		all = c.throughApertures(b)
	}
	c.loss.clear = false
	return all
}

// throughApertures are these sums by the filling of a bundle that loses rays.
func (c *Checker) throughApertures(b *sampledBundle) (all sumsOfMasks) {
	for w := range c.blocks {
		for _, side := range c.at.sides() {
			masks, _ := c.filledSide(b, w, side)
			for k := range c.masks {
				all[k].add(&masks[k], c.weight[w]/float64(len(c.at.sides())))
			}
		}
	}
	return all
}

// follow takes rays through the surfaces from and up to but not including to, and where f
// fills what apertures leave keeps by how much they overfill them.
func (f *lossFill) follow(c *Checker, r *lanes.Rays, w, from, to int) {
	if !f.clear {
		c.throughSteps(r, w, from, to)
		return
	}
	over := f.over[:len(r.X)]
	if from == 0 {
		clear(over)
	}
	for s := from; s < to; s++ {
		c.steps[s].through(r, c.ratios[w][s])
		r.Overfill(over, c.steps[s].clear)
	}
}

// stopped reports whether ray i of those followed does not come through.
func (f *lossFill) stopped(r *lanes.Rays, i int) bool {
	return r.Lost(i) || f.clear && math.Sqrt(f.over[i])-1 > objective.RequirementSlack
}
