package raycheck

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// mismatch tells, in %, how mask k blurs for an eye that looks at another depth than the
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
func (c *Checker) mismatch(k int) float64 {
	n, s := len(c.depths), c.report.Mask(k).Setpoints
	if n < 2 {
		return math.NaN()
	}
	worst := 0.0
	for i := range c.sampledBundles[:c.usedBundles()] {
		b := &c.sampledBundles[i]
		passing := c.passing(b)[k]
		if b.masks[k].all.Weight < halfLost || !(passing.Weight > 0) {
			return math.Inf(1)
		}
		pp, ps, ss := passing.variance()
		for set := range n {
			if set == b.depth {
				continue
			}
			shift := s[b.depth].MaskParaxialMM - s[set].MaskMM
			variance := pp + float64(2*shift*ps) + float64(shift*shift*ss)
			blur := math.Sqrt(max(variance, 0)) / math.Abs(c.masks[k].chief[set])
			ideal := c.p.Pupil / (2 * math.Sqrt2) * c.outOfFocus(b.depth, set)
			worst = larger(worst, 100*(blur/ideal-1))
		}
	}
	return worst
}

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
	for k := range c.masks {
		c.report.Metrics.mask(k).BlurMismatchPct = c.mismatch(k)
	}
	if c.limited(blurMismatch) {
		c.limitAll(blurMismatch)
	}
}

// passing are the sums of a bundle, by mask and at all wavelengths, over what passes all clear
// apertures.
func (c *Checker) passing(b *sampledBundle) (all [objective.MasksMost]maskSums) {
	if !b.lossy && c.clears(b, c.at.x, c.at.y, c.p.Pupil/2) {
		for k := range c.masks {
			all[k] = b.masks[k].all
		}
		return all
	}
	f := c.loss
	f.clear = true
	for w := range c.blocks {
		for _, side := range c.at.sides() {
			masks, _ := c.filledSide(b, w, side)
			for k := range c.masks {
				all[k].add(&masks[k], c.weight[w]/float64(len(c.at.sides())))
			}
		}
	}
	f.clear = false
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
