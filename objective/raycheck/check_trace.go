package raycheck

import (
	"math"
	"slices"

	"relaysweep/objective/raycheck/lanes"
)

// throughSteps takes rays of wavelength w through the surfaces from and up to but
// not including to, or to where the last of them is lost. margin is as for
// [lanes.Rays.Through].
func (c *Checker) throughSteps(r *lanes.Rays, w, from, to int) (margin float64) {
	margin = 1
	for s := from; s < to; s++ {
		here := c.steps[s].through(r, c.ratios[w][s])
		margin = min(margin, here)
		if here < 0 && r.AllLost() {
			break
		}
	}
	return margin
}

// trace takes beams from and up to but not including to on to the masks or to
// the world at all wavelengths, the reference first because others refer to it.
func (c *Checker) trace(from, to int, until leg) {
	c.traceWavelength(from, to, c.reference, until)
	for w := range c.blocks {
		if w != c.reference {
			c.traceWavelength(from, to, w, until)
		}
	}
}

// traceWavelength does so at wavelength w. Neighbours that have come as far are
// traced together.
func (c *Checker) traceWavelength(from, to, w int, until leg) {
	for i := from; i < to; {
		at, j := c.tracedBundles[i].traced[w], i+1
		if c.refers(i, w) {
			i = j
			continue
		}
		for j < to && (c.refers(j, w) || c.tracedBundles[j].traced[w] == at) {
			j++
		}
		for ; at < until; at++ {
			c.traceOn(i, j, w, at)
		}
		i = j
	}
	for i := from; i < to; i++ {
		for at := c.tracedBundles[i].traced[w]; at < until && c.refers(i, w); at++ {
			c.refer(i, w, at)
		}
	}
}

// refers reports whether beam i at wavelength w is not traced but follows from the
// reference and the ends of the depth range, which have to be traced before it.
func (c *Checker) refers(i, w int) bool {
	k := i % len(c.vergences)
	return c.ends && w != c.reference && k > 0 && k < len(c.vergences)-1
}

// refer finds beam i at wavelength w as traceOn does.
func (c *Checker) refer(i, w int, at leg) {
	n := len(c.vergences)
	far := i - i%n
	here, farEnd, nearEnd := &c.tracedBundles[i], &c.tracedBundles[far], &c.tracedBundles[far+n-1]
	if c.passes(at) {
		here.traced[w] = at + 1
		return
	}
	lines := func(b *tracedBundle, w int) *lanes.Lines {
		if at == toSecond {
			return &b.view[w]
		}
		return &b.mask[at][w]
	}
	r, v := c.reference, c.vergences
	share := 0.0
	if v[n-1] != v[0] {
		share = (v[i%n] - v[0]) / (v[n-1] - v[0])
	}
	lines(here, w).Between(share,
		lines(here, r), lines(farEnd, w), lines(farEnd, r), lines(nearEnd, w), lines(nearEnd, r))
	here.traced[w] = at + 1
}

// raysOf is where the rays of a beam are among those that are traced at a wavelength.
func (c *Checker) raysOf(b *tracedBundle, w int) (from, to int) {
	if w == c.reference {
		return b.from, b.to
	}
	return b.others, b.others + b.to - b.from
}

// passes reports whether the leg that starts at a place leads nowhere: there is no second
// mask.
func (c *Checker) passes(at leg) bool { return at == toMask && len(c.masks) == 1 }

// stepsOf are the surfaces on the leg that starts at a place: from and up to but not including
// to.
func (c *Checker) stepsOf(at leg) (from, to int) {
	n := len(c.masks)
	if at != atEye {
		from = c.masks[min(int(at), n)-1].beyond
	}
	if at == toSecond {
		return from, len(c.steps)
	}
	return from, c.masks[min(int(at), n-1)].beyond
}

// traceOn takes neighbouring beams, but for those that refer to others, from the eye to the
// first mask, from there to the second, or from the last one to the world. The first of them
// does not refer.
func (c *Checker) traceOn(from, to, w int, at leg) {
	k, last := &c.blocks[w], to-1
	for c.refers(last, w) {
		last--
	}
	first, _ := c.raysOf(&c.tracedBundles[from], w)
	_, end := c.raysOf(&c.tracedBundles[last], w)
	r := k.rays.Part(first, end)
	if at == atEye {
		launch := c.launches[w].Part(first, end)
		r.CopyFrom(&launch)
	}
	begin, beyond := c.stepsOf(at)
	c.margin = min(c.margin, c.throughSteps(&r, w, begin, beyond))
	for i := from; i <= last; {
		if c.refers(i, w) {
			i++
			continue
		}
		// Beams next to each other have their lines next to each other.
		j := i
		for ; j <= last && !c.refers(j, w); j++ {
			c.tracedBundles[j].traced[w] = at + 1
		}
		a, b := &c.tracedBundles[i], &c.tracedBundles[j-1]
		first, _ := c.raysOf(a, w)
		_, end := c.raysOf(b, w)
		r := k.rays.Part(first, end)
		switch {
		case c.passes(at):
		case at == toSecond:
			l := k.view.Part(a.from, b.to)
			l.Cross(&r, c.viewpoint)
		default:
			l := k.mask[at].Part(a.from, b.to)
			c.beforeMask(&l, &r)
		}
		i = j
	}
}

// vergenceOf is the vergence of the light of depth d at wavelength w.
func (c *Checker) vergenceOf(d, w int) float64 { return c.depths[d] - c.p.EyeColour(w) }

// beforeMask gives rays that have passed the surfaces before a mask's gap as
// lines in the vertex plane of the last one. The mask's glass has been allowed
// for up to its middle, where the layer lies.
func (c *Checker) beforeMask(l *lanes.Lines, r *lanes.Rays) {
	l.Cross(r, 0)
	if half := c.p.MaskGlass / 2; half > 0 {
		l.ThroughPlate(r, half, c.p.MaskGlassIndex)
	}
}

// source is where the rays of a bundle are among those of a wavelength.
type source struct {
	lines lanes.Lines // those of a beam, or a buffer
	from  lanes.Lines // of all beams of the field
	share []float64   // of each of them; nil for the lines of a beam
}

// of are the rays: those of a beam, or between the beams of the field. They stand until
// those of another bundle are taken.
func (s *source) of() *lanes.Lines {
	if s.share != nil {
		s.lines.Mix(&s.from, s.share)
	}
	return &s.lines
}

// sourceOf is the source of bundle b among lines of a wavelength.
func (c *Checker) sourceOf(lines *lanes.Lines, b *sampledBundle) source {
	n := len(c.vergences)
	beams := c.tracedBundles[b.field*n : (b.field+1)*n]
	share := c.share[b.depth]
	if i := slices.Index(share, 1); i >= 0 {
		return source{lines: lines.Part(beams[i].from, beams[i].to)}
	}
	return source{
		lines: c.between.Part(0, beams[0].to-beams[0].from), from: lines.Part(beams[0].from, beams[n-1].to), share: share,
	}
}

// sumMasks sums up the crossings of b with the layers of masks at all wavelengths.
// A lost ray makes a sum NaN.
func (c *Checker) sumMasks(b *sampledBundle) {
	weight := c.fills[b.field].weight
	for k := range c.masks {
		m := &b.masks[k]
		m.all = maskSums{}
		for w := range m.sums {
			c.sumCrossings(&m.sums[w], k, m.from[w].of(), weight, b)
			m.all.add(&m.sums[w], c.weight[w])
		}
	}
}

// lossyAtMasks reports whether such a sum is NaN: rays that are lost before the first mask
// are lost to all.
func (c *Checker) lossyAtMasks(b *sampledBundle) bool {
	return math.IsNaN(b.masks[len(c.masks)-1].all.PP)
}

// sumView does so for wavelength w in the viewpoint plane.
func (c *Checker) sumView(b *sampledBundle, w int) {
	c.sumSlopes(&b.view[w], b.viewFrom[w].of(), c.fills[b.field].weight, b)
}

// sum traces all that bundles from and up to but not including to need, whole
// fields, and sums it up, each bundle that loses rays by a filling of its own.
func (c *Checker) sum(from, to int) {
	if from == to {
		return
	}
	n := len(c.vergences)
	c.trace(c.sampledBundles[from].field*n, (c.sampledBundles[to-1].field+1)*n, toWorld)
	for i := range c.sampledBundles[from:to] {
		b := &c.sampledBundles[from+i]
		if c.skips(b.field) {
			continue
		}
		c.sumMasks(b)
		b.lossy = c.lossyAtMasks(b)
		for w := range b.view {
			c.sumView(b, w)
			b.lossy = b.lossy || math.IsNaN(b.view[w].EYY)
		}
		if b.lossy = b.lossy || !c.certain() && c.losesRim(b); b.lossy {
			c.refill(b)
		}
	}
}

// losesRim reports whether a bundle loses a ray on the pupil's rim, outside the
// quadrature's outermost ring.
func (c *Checker) losesRim(b *sampledBundle) bool {
	for w := range c.blocks {
		for _, side := range c.at.sides() {
			c.rim.begin()
			for _, at := range rimPoints {
				c.rim.add(c.at.x+float64(side*c.p.Pupil/2*at.x), c.at.y+float64(c.p.Pupil/2*at.y))
			}
			r := c.rim.launch(b.tan, c.vergenceOf(b.depth, w))
			c.throughSteps(&r, w, 0, len(c.steps))
			for j := range rimHalfPoints {
				if r.Lost(j) {
					return true
				}
			}
		}
	}
	return false
}

// maskSums sums up where rays cross the layer of mask k. They are taken at the
// paraxial setpoint and from the paraxial chief ray, next to which the sums lose
// no digits.
func (c *Checker) maskSums(k int, l *lanes.Lines, weight []float64, b *sampledBundle) (a maskSums) {
	c.sumCrossings(&a, k, l, weight, b)
	return a
}

// sumCrossings sets a to the maskSums.
func (c *Checker) sumCrossings(a *maskSums, k int, l *lanes.Lines, weight []float64, b *sampledBundle) {
	m := &c.masks[k]
	(*lanes.CrossingSums)(a).Of(l, weight, m.layer[b.depth], m.chief[b.depth]*b.tan)
	if c.at.x == 0 {
		a.PX, a.SX = 0, 0
		if b.field == 0 && c.at.y == 0 {
			a.PY, a.SY = 0, 0
		}
	}
}

// viewSums sums up how rays leave the first vertex, in the viewpoint plane.
func (c *Checker) viewSums(l *lanes.Lines, weight []float64, b *sampledBundle) (a viewSums) {
	c.sumSlopes(&a, l, weight, b)
	return a
}

// sumSlopes sets a to the viewSums.
func (c *Checker) sumSlopes(a *viewSums, l *lanes.Lines, weight []float64, b *sampledBundle) {
	theta := c.t.AngularMagnification
	(*lanes.SlopeSums)(a).Of(l, weight, c.depths[b.depth]/(theta*theta), b.tan/theta)
	if c.at.x == 0 {
		a.X, a.EX = 0, 0
		if b.field == 0 && c.at.y == 0 {
			a.Y, a.EY = 0, 0
		}
	}
}
