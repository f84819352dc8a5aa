package raycheck

import (
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// lossChords is the number of chords in half the pupil by which a bundle that
// loses rays is filled, and lossScan that of rays along each that look for
// losses; lossHalvings is how often the stretch in which they begin is halved,
// and lossNodes the number of Gauss nodes in what gets through.
const (
	lossChords   = 18
	lossScan     = 9
	lossHalvings = 7
	lossNodes    = 6
	// lossStretches is the largest number of stretches of a chord that get through,
	// each in two halves.
	lossStretches = lossScan + 1
)

// lossy are the chords of a bundle that loses rays.
var lossy = newChords(lossChords, lossScan)

// lossFill fills the part of a pupil that gets through. The pupil is cut into
// chords along y, at abscissas radius·sin τ with τ in equal steps. Along each, the
// ordinates at which losses begin are found by halving, and what lies between
// them is filled by Gauss-Legendre nodes. Next to a loss slopes vary with the
// root of the distance from it, which the square of a new variable makes smooth.
type lossFill struct {
	points       pupil
	rays         lanes.Rays
	masks        [objective.MasksMost]lanes.Lines
	view         lanes.Lines
	x, y         []float64 // where rays of the scan leave the pupil
	alive        []bool    // of the scan
	begins       []int     // rays of the scan next to which losses begin
	good, bad    []float64
	node, weight []float64
	// clear fills what apertures leave, not only what is not lost; over is then by how
	// much rays overfill the worst of them, as for [lanes.Rays.Overfill].
	clear bool
	over  []float64
	cut   apertureFill
}

func newLossFill(wavelengths int) *lossFill {
	most := lossChords * lossStretches * lossNodes
	scan := lossChords * lossScan
	f := &lossFill{
		rays: lanes.NewRays(max(most, scan)), view: lanes.NewLines(most),
		x: make([]float64, 2*scan), y: make([]float64, 2*scan), alive: make([]bool, scan), begins: make([]int, 0, scan), good: make([]float64, scan), bad: make([]float64, scan),
		node: make([]float64, lossNodes), weight: make([]float64, lossNodes), over: make([]float64, max(most, scan)), cut: newApertureFill(wavelengths),
	}
	f.points = pupil{make([]float64, 0, most), make([]float64, 0, most), make([]float64, 0, most)}
	for k := range f.masks {
		f.masks[k] = lanes.NewLines(most)
	}
	quad.Legendre{}.FixedLocations(f.node, f.weight, 0, 1)
	return f
}

// refill replaces the quadrature of a bundle that loses rays, because the Gauss
// rule is valid for the full pupil only. Which rays enter the sums in the masks
// shows when they have been traced to the world.
func (c *Checker) refill(b *sampledBundle) {
	for k := range c.masks {
		b.masks[k].all = maskSums{}
	}
	for w := range c.blocks {
		b.view[w] = viewSums{}
		for k := range c.masks {
			b.masks[k].sums[w] = maskSums{}
		}
		for _, side := range c.at.sides() {
			c.refillSide(b, w, side)
		}
		for k := range c.masks {
			b.masks[k].all.add(&b.masks[k].sums[w], c.weight[w])
		}
	}
}

// refillSide does so at wavelength w for the half of the pupil on a side of its
// middle, 1 or -1.
func (c *Checker) refillSide(b *sampledBundle, w int, side float64) {
	m, v := c.filledSide(b, w, side)
	share := 1 / float64(len(c.at.sides()))
	for k := range c.masks {
		b.masks[k].sums[w].add(&m[k], share)
	}
	b.view[w].add(&v, share)
}

// filledSide are the sums over what passes of a half, by mask and of the view.
func (c *Checker) filledSide(b *sampledBundle, w int, side float64) (masks sumsOfMasks, _ viewSums) {
	f := c.loss
	c.fillWhatPasses(b, w, side)
	n := len(f.points.x)
	r, view := f.rays.Part(0, n), f.view.Part(0, n)
	r.Launch(f.points.x, f.points.y, b.tan, c.vergenceOf(b.depth, w))
	at := 0
	for k := range c.masks {
		f.follow(c, &r, w, at, c.masks[k].beyond)
		mask := f.masks[k].Part(0, n)
		c.beforeMask(&mask, &r)
		at = c.masks[k].beyond
	}
	f.follow(c, &r, w, at, len(c.steps))
	view.Cross(&r, c.viewpoint)
	for i := range f.points.weight {
		if f.stopped(&r, i) {
			f.points.weight[i] = 0
		}
	}
	for k := range c.masks {
		mask := f.masks[k].Part(0, n)
		masks[k] = c.maskSums(k, &mask, f.points.weight, b)
	}
	return masks, c.viewSums(&view, f.points.weight, b)
}

// chord is chord i: its abscissa, half its length, and its share of the pupil.
func (c *Checker) chord(i int) (x, half, share float64) {
	sin, cos := lossy.sin[lossChords+i], lossy.cos[lossChords+i]
	// Both the chord's length and the step in x go with cos τ; the mean of its
	// square is a half.
	return c.p.Pupil / 2 * sin, c.p.Pupil / 2 * cos, 2 * cos * cos / lossChords
}

// fillWhatPasses fills the part of the pupil of b that gets through at wavelength
// w, the half on a side of its middle. Ordinates are counted in half chords.
func (c *Checker) fillWhatPasses(b *sampledBundle, w int, side float64) {
	f := c.loss
	f.points.x, f.points.y, f.points.weight = f.points.x[:0], f.points.y[:0], f.points.weight[:0]
	for i := range lossChords {
		for j := range lossScan {
			f.leave(c, i*lossScan+j, i, side, scanAt(j))
		}
	}
	r := f.trace(c, b, w, lossChords*lossScan)
	for k := range f.alive {
		f.alive[k] = !f.stopped(&r, k)
	}
	if !f.bracket() {
		return // nothing gets through
	}
	for range lossHalvings {
		for n, k := range f.begins {
			f.leave(c, n, k/lossScan, side, (f.good[k]+f.bad[k])/2)
		}
		r := f.trace(c, b, w, len(f.begins))
		for n, k := range f.begins {
			if middle := (f.good[k] + f.bad[k]) / 2; f.stopped(&r, n) {
				f.bad[k] = middle
			} else {
				f.good[k] = middle
			}
		}
	}
	f.addStretches(c, side)
}

// scanAt is the ordinate of ray j of the scan along a chord, in half chords.
func scanAt(j int) float64 { return 2*float64(j)/(lossScan-1) - 1 }

// leave has ray k leave chord i at an ordinate.
func (f *lossFill) leave(c *Checker, k, i int, side, t float64) {
	x, half, _ := c.chord(i)
	f.x[k], f.y[k] = c.at.x+float64(side*x), c.at.y+float64(half*t)
}

// trace takes the first n of these rays to the world.
func (f *lossFill) trace(c *Checker, b *sampledBundle, w, n int) lanes.Rays {
	r := f.rays.Part(0, n)
	r.Launch(f.x[:n], f.y[:n], b.tan, c.vergenceOf(b.depth, w))
	f.follow(c, &r, w, 0, len(c.steps))
	return r
}

// bracket finds, from what came of the scan, between which of its rays losses begin: for such
// a ray k good[k] and bad[k] close in on the place. It reports whether anything gets through.
func (f *lossFill) bracket() bool {
	f.begins = f.begins[:0]
	for k := range f.alive {
		if f.beginsAt(k) {
			f.begins = append(f.begins, k)
			f.good[k], f.bad[k] = scanAt(k%lossScan), scanAt(k%lossScan+1)
			if !f.alive[k] {
				f.good[k], f.bad[k] = f.bad[k], f.good[k]
			}
		}
	}
	return slices.Contains(f.alive, true)
}

// beginsAt reports whether losses begin between rays k and k+1 of the scan.
func (f *lossFill) beginsAt(k int) bool { return k%lossScan < lossScan-1 && f.alive[k] != f.alive[k+1] }

// addStretches fills what lies between losses.
func (f *lossFill) addStretches(c *Checker, side float64) {
	for i := range lossChords {
		from, sharp := -1.0, false // where a stretch begins, and whether after a loss
		for j := range lossScan {
			k := i*lossScan + j
			switch {
			case f.beginsAt(k) && f.alive[k]:
				f.addStretch(c, i, side, from, f.good[k], sharp, true)
			case f.beginsAt(k):
				from, sharp = f.good[k], true
			case j == lossScan-1 && f.alive[k]:
				f.addStretch(c, i, side, from, 1, sharp, false)
			}
		}
	}
}

// addStretch fills chord i from one ordinate to another; lossy tells of each end
// whether a loss is there.
func (f *lossFill) addStretch(c *Checker, i int, side, from, to float64, lossyFrom, lossyTo bool) {
	if lossyFrom && lossyTo {
		middle := (from + to) / 2
		f.addStretch(c, i, side, from, middle, true, false)
		f.addStretch(c, i, side, middle, to, false, true)
		return
	}
	x, half, share := c.chord(i)
	length := to - from
	for k, s := range f.node {
		// Of the chord's two halves each counts a half.
		t, weight := from+float64(length*s), share*f.weight[k]*length/2
		switch {
		case lossyFrom:
			t, weight = from+float64(length*s*s), weight*2*s
		case lossyTo:
			t, weight = to-float64(length*s*s), weight*2*s
		}
		f.points.add(c.at.x+float64(side*x), c.at.y+float64(half*t), weight)
	}
}
