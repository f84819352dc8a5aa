package objective

import "math"

// toMask traces rays of wavelength w from the eye to the last surface before
// the mask's gap. margin is as for [rays.through].
func (c *Checker) toMask(r *rays, w int) (margin float64) {
	return c.between(r, w, 0, c.beyondMask)
}

// onward traces the rays of toMask to the world.
func (c *Checker) onward(r *rays, w int) (margin float64) {
	return c.between(r, w, c.beyondMask, len(c.steps))
}

func (c *Checker) between(r *rays, w, from, to int) (margin float64) {
	margin = 1
	for s := from; s < to; s++ {
		margin = min(margin, r.through(&c.steps[s], c.ratios[w][s]))
	}
	return margin
}

// traceToMask traces all bundles of wavelength w to the mask.
func (c *Checker) traceToMask(w int) {
	c.blocks[w].copyFrom(&c.launch)
	c.margin = min(c.margin, c.toMask(&c.blocks[w], w))
	c.sumMask(w)
}

// traceToWorld takes them from the mask to the world.
func (c *Checker) traceToWorld(w int) {
	c.margin = min(c.margin, c.onward(&c.blocks[w], w))
	c.sumView(w)
}

// traceFirst traces what the first requirements and limits need: the reference
// wavelength to the world, the others to the mask. It tells whether all rays
// stay so far from being lost that the others can be taken to reach the world.
func (c *Checker) traceFirst() (certain bool) {
	c.margin = 1
	for w := range c.blocks {
		c.traceToMask(w)
		if w == c.reference {
			c.traceToWorld(w)
		}
	}
	return c.margin >= certainMargin
}

// traceRest takes the other wavelengths to the world, and finds the bundles
// that lose rays. It tells whether there are any that were not known.
func (c *Checker) traceRest() (lossy bool) {
	for w := range c.blocks {
		if w != c.reference {
			c.traceToWorld(w)
		}
	}
	for i := range c.bundles {
		b := &c.bundles[i]
		if c.margin < certainMargin && !b.lossy {
			b.lossy = c.losesRim(b)
		}
		lossy = lossy || b.lossy && !b.refilled
	}
	return lossy
}

// losesRim tells whether a bundle loses a ray on the pupil's rim, outside the
// quadrature's outermost ring.
func (c *Checker) losesRim(b *bundle) bool {
	r := c.rim.rays.part(0, rimHalfPoints)
	for w := range c.blocks {
		for j := range rimHalfPoints {
			x, y := rimPoint(j)
			r.launch(j, c.p.Pupil/2*x, c.p.Pupil/2*y, b.tan, c.depths[b.depth])
		}
		c.between(&r, w, 0, len(c.steps))
		for j := range rimHalfPoints {
			if r.lost(j) {
				return true
			}
		}
	}
	return false
}

// sumMask sums up the crossings of all bundles of wavelength w with the mask's
// layer. A lost ray makes a sum NaN.
func (c *Checker) sumMask(w int) {
	for i := range c.bundles {
		b := &c.bundles[i]
		if b.refilled {
			continue
		}
		r := c.blocks[w].part(b.from, b.to)
		b.mask[w] = c.maskSums(&r, c.fill[b.from:b.to], b)
		b.lossy = b.lossy || math.IsNaN(b.mask[w].pp)
	}
}

// sumView does the same in the viewpoint plane.
func (c *Checker) sumView(w int) {
	for i := range c.bundles {
		b := &c.bundles[i]
		if b.refilled {
			continue
		}
		r := c.blocks[w].part(b.from, b.to)
		b.view[w] = c.viewSums(&r, c.fill[b.from:b.to], b)
		b.lossy = b.lossy || math.IsNaN(b.view[w].eyy)
	}
}

// refill replaces the quadrature of each bundle that loses rays by a dense
// uniform filling, of which any part is as good as the whole: the Gauss rule is
// valid for the full pupil only. Then it adds up the wavelengths in the mask.
func (c *Checker) refill() {
	for i := range c.bundles {
		b := &c.bundles[i]
		if b.lossy && !b.refilled {
			for w := range c.blocks {
				c.refillBundle(b, w)
			}
			b.refilled = true
		}
		b.maskAll = maskSums{}
		for w := range b.mask {
			b.maskAll.add(&b.mask[w], c.weight[w])
		}
	}
}

// refillBundle traces b densely at wavelength w. Which rays enter the sums in
// the mask shows only when they have been traced to the world.
func (c *Checker) refillBundle(b *bundle, w int) {
	for i := range c.dense.x {
		c.denseRays.launch(i, c.dense.x[i], c.dense.y[i], b.tan, c.depths[b.depth])
	}
	c.toMask(&c.denseRays, w)
	c.denseAtMask.copyFrom(&c.denseRays)
	c.onward(&c.denseRays, w)
	for i := range c.through {
		c.through[i] = c.dense.weight[i]
		if c.denseRays.lost(i) {
			c.through[i] = 0
		}
	}
	b.mask[w] = c.maskSums(&c.denseAtMask, c.through, b)
	b.view[w] = c.viewSums(&c.denseRays, c.through, b)
}

// maskSums sums up where rays behind the surfaces before the mask cross its
// layer. They are taken at the paraxial setpoint and from the paraxial chief
// ray, next to which the sums lose no digits.
func (c *Checker) maskSums(r *rays, weight []float64, b *bundle) maskSums {
	var a maskSums
	distance, chief := c.layer[b.depth], c.chief[b.depth]*b.tan
	half := c.p.MaskGlass / 2 // the layer lies in the middle of the glass
	for i, q := range weight {
		if q == 0 {
			continue
		}
		kx, ky, kw := r.kx[i], r.ky[i], r.kw[i]
		f := (distance - r.w[i]) / kw
		if half > 0 {
			f += float64(half * plateSlope(c.p.MaskGlassIndex, kw))
		}
		px, py := r.x[i]+float64(f*kx), r.y[i]+float64(f*ky)-chief
		sx, sy := kx/kw, ky/kw
		a.weight += q
		a.py += float64(q * py)
		a.sy += float64(q * sy)
		a.pp += float64(q * (float64(px*px) + float64(py*py)))
		a.ps += float64(q * (float64(px*sx) + float64(py*sy)))
		a.ss += float64(q * (float64(sx*sx) + float64(sy*sy)))
	}
	return a
}

// viewSums sums up how rays leave the first vertex, in the viewpoint plane.
func (c *Checker) viewSums(r *rays, weight []float64, b *bundle) viewSums {
	var a viewSums
	theta := c.t.AngularMagnification
	v, chief := c.depths[b.depth]/(theta*theta), b.tan/theta
	for i, q := range weight {
		if q == 0 {
			continue
		}
		ux, uy := r.kx[i]/r.kw[i], r.ky[i]/r.kw[i]
		f := c.viewpoint - r.w[i]
		x, y := r.x[i]+float64(f*ux), r.y[i]+float64(f*uy)
		ex, ey := ux+float64(v*x), uy+float64(v*y)-chief
		a.weight += q
		a.y += float64(q * y)
		a.ey += float64(q * ey)
		a.xx += float64(q * x * x)
		a.xe += float64(q * x * ex)
		a.exx += float64(q * ex * ex)
		a.yy += float64(q * y * y)
		a.ye += float64(q * y * ey)
		a.eyy += float64(q * ey * ey)
	}
	return a
}
