package objective

import "math"

// densePupil fills a disc of the given radius with the centres of the equal
// square cells that lie in it, cells of them across the diameter.
func densePupil(radius float64, cells int) pupil {
	h := 2 * radius / float64(cells)
	var f pupil
	for i := range (cells + 1) / 2 {
		x := (float64(i) + 0.5) * h
		for j := range cells {
			y := (float64(j) + 0.5 - float64(cells)/2) * h
			if math.Hypot(x, y) < radius {
				f.add(x, y, 1)
			}
		}
	}
	for i := range f.weight {
		f.weight[i] = 1 / float64(len(f.x))
	}
	return f
}

// denseRays launches a bundle's rays from all points of a filling.
func denseRays(c *Checker, b *bundle, f *pupil) *rays {
	r := newRays(len(f.x))
	for i := range f.x {
		r.launch(i, f.x[i], f.y[i], b.tan, c.depths[b.depth])
	}
	return &r
}

// summedDensely is a bundle of the checker's train with its sums from a uniform
// filling, of which any part is as good as the whole.
func summedDensely(c *Checker, k, cells int) bundle {
	b := c.bundles[k]
	b.mask, b.view = make([]maskSums, len(b.mask)), make([]viewSums, len(b.view))
	b.maskAll = maskSums{}
	f := densePupil(c.p.Pupil/2, cells)
	mask, view, weight := newLines(len(f.x)), newLines(len(f.x)), make([]float64, len(f.x))
	for w := range c.blocks {
		r := denseRays(c, &b, &f)
		c.throughSteps(r, w, 0, c.beyondMask)
		c.beforeMask(&mask, r)
		c.throughSteps(r, w, c.beyondMask, len(c.steps))
		c.atViewpoint(&view, r)
		for i := range weight {
			weight[i] = f.weight[i]
			if r.lost(i) {
				weight[i] = 0
			}
		}
		b.mask[w], b.view[w] = c.maskSums(&mask, weight, &b), c.viewSums(&view, weight, &b)
		b.maskAll.add(&b.mask[w], c.weight[w])
	}
	return b
}
