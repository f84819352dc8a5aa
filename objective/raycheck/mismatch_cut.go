package raycheck

import "math"

// A bundle that apertures cut but that loses no ray is filled like one that loses rays
// (check_lossy.go), with fewer rays: along a chord the squared heights are convex but for
// aberrations, so that losses begin at one place between two rays of which one passes,
// wherever the search for it sets out, and a ray between two that pass does so too.
// TestCutByApertures compares the sums with those of the general filling, bit by bit.

const (
	// colourCare is the overfill beyond which a ray passes at every wavelength as it does at
	// the reference. Of the bundles of TestCutByApertures 0.03 would do for all, and 0.02 not.
	colourCare = 0.1
	// edgeCells is the number of cells into which halvings cut the stretch between two rays of
	// the scan.
	edgeCells = 1 << lossHalvings
	// aimedRounds is how often an edge is looked for where the overfill points to, before the
	// rest is halved.
	aimedRounds = 4
)

// apertureEdge is the place at which losses begin next to a ray of the scan, in cells from
// the ray that passes.
type apertureEdge struct {
	ray    int     // as in lossFill.begins
	lo, hi int     // the largest number that is known to pass, and the smallest that is not
	at     int     // the cell that is looked at
	guess  float64 // where the edge seems to be
	slope  float64 // of the squared height over the semi-diameter, a cell
}

// apertureFill is what of the reference serves other wavelengths, by ray of the scan.
type apertureFill struct {
	over, square []float64 // overfill, and squared height over the semi-diameter
	cell, slope  []float64 // of the edge
	which        []int     // rays of the scan that are traced
	edges        []apertureEdge
	sums         []sumsOfMasks // by wavelength
}

func newApertureFill(wavelengths int) apertureFill {
	const n = lossChords * lossScan
	column := func() []float64 { return make([]float64, n) }
	return apertureFill{column(), column(), column(), column(), make([]int, 0, n), make([]apertureEdge, 0, n), make([]sumsOfMasks, wavelengths)}
}

// cutByApertures are the sums over what passes of a bundle, false where what passes is not as it
// has to be for this.
func (c *Checker) cutByApertures(b *sampledBundle) (all sumsOfMasks, ok bool) {
	sums := c.loss.cut.sums
	if sums[c.reference], ok = c.cutAt(b, c.reference); !ok {
		return all, false
	}
	for w := range sums {
		if w == c.reference {
			continue
		}
		if sums[w], ok = c.cutAt(b, w); !ok {
			return all, false
		}
	}
	for w := range sums {
		for k := range c.masks {
			all[k].add(&sums[w][k], c.weight[w])
		}
	}
	return all, true
}

// cutAt is cutByApertures for a wavelength, the reference first.
func (c *Checker) cutAt(b *sampledBundle, w int) (sums sumsOfMasks, ok bool) {
	f := c.loss
	if !f.scanApertures(c, b, w) {
		return sums, false
	}
	if !f.bracket() {
		return sums, true // nothing gets through
	}
	if !f.closeIn(c, b, w) {
		return sums, false
	}
	f.points.x, f.points.y, f.points.weight = f.points.x[:0], f.points.y[:0], f.points.weight[:0]
	f.addStretches(c, 1)
	n := len(f.points.x)
	r := f.rays.Part(0, n)
	r.Launch(f.points.x, f.points.y, b.tan, c.vergenceOf(b.depth, w))
	at := 0
	for k := range c.masks {
		c.throughSteps(&r, w, at, c.masks[k].beyond)
		mask := f.masks[k].Part(0, n)
		c.beforeMask(&mask, &r)
		sums[k], at = c.maskSums(k, &mask, f.points.weight, b), c.masks[k].beyond
	}
	return sums, true
}

// scanApertures is the scan, false where a ray is lost.
func (f *lossFill) scanApertures(c *Checker, b *sampledBundle, w int) bool {
	cut := &f.cut
	cut.which = cut.which[:0]
	for k := range f.alive {
		if over := cut.over[k]; w != c.reference && math.Abs(over) > colourCare {
			f.alive[k] = over < 0
			continue
		}
		f.leave(c, len(cut.which), k/lossScan, 1, scanAt(k%lossScan))
		cut.which = append(cut.which, k)
	}
	r := f.trace(c, b, w, len(cut.which))
	for n, k := range cut.which {
		if r.Lost(n) {
			return false
		}
		f.alive[k] = !f.stopped(&r, n)
		if w == c.reference {
			cut.over[k], cut.square[k] = math.Sqrt(f.over[n])-1, f.over[n]
			cut.cell[k] = math.NaN()
		}
	}
	return true
}

// closeIn finds the edges, false where one is not the only one between two rays of the scan.
func (f *lossFill) closeIn(c *Checker, b *sampledBundle, w int) bool {
	cut := &f.cut
	cut.edges = cut.edges[:0]
	for _, k := range f.begins {
		e := apertureEdge{ray: k, hi: edgeCells, guess: cut.cell[k], slope: cut.slope[k]}
		if w == c.reference || math.IsNaN(e.guess) {
			e.guess, e.slope = f.aim(k)
		}
		cut.edges = append(cut.edges, e)
	}
	for round := 0; ; round++ {
		n := 0
		for i := range cut.edges {
			e := &cut.edges[i]
			if e.at = (e.lo + e.hi) / 2; round < aimedRounds && e.guess > 0 && e.guess < edgeCells {
				e.at = int(e.guess)
			}
			e.at = min(max(e.at, e.lo), e.hi-1)
			for cell := e.at; cell <= e.at+1; cell++ {
				if cell > e.lo && cell < e.hi {
					f.leave(c, n, e.ray/lossScan, 1, f.ordinate(e, cell))
					n++
				}
			}
		}
		if n == 0 {
			break
		}
		r := f.trace(c, b, w, n)
		n = 0
		for i := range cut.edges {
			e := &cut.edges[i]
			lo, hi, first := e.lo, e.hi, math.NaN()
			for cell := e.at; cell <= e.at+1; cell++ {
				if !(cell > lo && cell < hi) {
					continue
				}
				square := f.over[n]
				if f.stopped(&r, n) {
					e.hi = min(e.hi, cell)
				} else {
					e.lo = max(e.lo, cell)
				}
				if e.lo >= e.hi {
					return false
				}
				if cell > e.at && !math.IsNaN(first) {
					e.slope = square - first
				}
				first = square
				e.guess = float64(cell) + (1-square)/e.slope
				n++
			}
		}
	}
	for i := range cut.edges {
		e := &cut.edges[i]
		if w == c.reference {
			cut.cell[e.ray], cut.slope[e.ray] = float64(e.lo)+0.5, e.slope
		}
		f.good[e.ray], f.bad[e.ray] = f.ordinate(e, e.lo), f.ordinate(e, e.hi)
	}
	return true
}

// ordinate is that of the beginning of a cell. It has no rounding: the rays of the scan stand at multiples of a
// quarter.
func (f *lossFill) ordinate(e *apertureEdge, cell int) float64 {
	good, bad := f.good[e.ray], f.bad[e.ray]
	return good + float64((bad-good)*float64(cell)/edgeCells)
}

// aim is where the edge between rays k and k+1 of the scan lies, in cells, and the slope
// there, by the parabola through the squared heights of these and of the next one beyond, or
// where there is none the one before.
func (f *lossFill) aim(k int) (cell, slope float64) {
	good, bad := k, k+1
	if !f.alive[k] {
		good, bad = bad, good
	}
	a, b := f.cut.square[good], f.cut.square[bad]
	beyond, before := 2*bad-good, 2*good-bad
	linear, square := b-a, 0.0
	switch chord := k / lossScan; {
	case beyond >= 0 && beyond/lossScan == chord:
		square = (f.cut.square[beyond] - 2*b + a) / 2
	case before >= 0 && before/lossScan == chord:
		square = (f.cut.square[before]+b)/2 - a
	}
	linear -= square
	u := 2 * (1 - a) / (linear + math.Sqrt(float64(linear*linear)+float64(4*square*(1-a))))
	if !(u >= 0 && u <= 1) {
		u, linear, square = (1-a)/(b-a), b-a, 0
	}
	return u * edgeCells, (linear + float64(2*square*u)) / edgeCells
}
