package objective

import (
	"cmp"
	"math"
	"slices"
)

const (
	// rimHalfPoints is the number of points on half the pupil's rim.
	rimHalfPoints = 16
	// rimCare is how near, as a share of a clear semi-diameter, a rim ray may
	// come before the pupil is examined closely. Between two neighbouring rim
	// points a height can exceed theirs by 1 - cos(π/32) = 0.5 % of itself.
	rimCare = 0.01
	// coarseError is by how much the coarse estimate of a vignetted share may be
	// off, see TestVignettedCoarse.
	coarseError = 0.04
)

// chords tells how a vignetted area is sampled: the number of chords in half the
// pupil, and of rays along each.
type chords struct{ half, points int }

var (
	coarseChords = chords{6, 9}
	fineChords   = chords{24, 65}
)

// rimBuffers are what the vignetting of a pupil is found with.
type rimBuffers struct {
	rays     rays
	over     []float64 // per ray: height over clear semi-diameter, less 1, at the worst surface; NaN when lost
	suspects []suspect
}

// suspect is a bundle that may be vignetted with the pupil about (x, y), and its
// share by the coarse estimate.
type suspect struct {
	bundle int
	x, y   float64
	share  float64
}

func newRimBuffers(bundles int) rimBuffers {
	n := 2 * fineChords.half * fineChords.points
	return rimBuffers{newRays(n), make([]float64, n), make([]suspect, 0, 4*bundles)}
}

// judgeVignetting finds the largest share of the pupil's area that is lost or
// vignetted, over all fields and depths and four places of the pupil in its
// box. It goes from the outermost field to the axis. What the coarse estimate
// does not put within its error of the largest share is left at that.
func (c *Checker) judgeVignetting(stop bool) {
	m := &c.report.Metrics
	m.VignettedPct = 0
	c.rim.suspects = c.rim.suspects[:0]
	steps := len(c.depths)
	for f := len(c.fractions) - 1; f >= 0; f-- {
		// Heights are linear in the vergence, but for aberrations, as they are in
		// the pupil point: the ends of the depth range decide, see clears.
		reach := c.p.PupilReach()
		if c.clears(&c.bundles[f*steps], 0, 0, reach) && c.clears(&c.bundles[(f+1)*steps-1], 0, 0, reach) {
			continue
		}
		for i := f * steps; i < (f+1)*steps; i++ {
			c.suspect(i)
			for k := range c.rim.suspects {
				s := &c.rim.suspects[k]
				if stop && s.bundle == i && 100*(s.share-coarseError) > c.limits[vignetting] {
					c.vignette(s)
					if c.limit(vignetting, m.VignettedPct); c.failed() {
						return
					}
				}
			}
		}
	}
	slices.SortFunc(c.rim.suspects, func(a, b suspect) int {
		return cmp.Or(cmp.Compare(b.share, a.share), cmp.Compare(a.bundle, b.bundle), cmp.Compare(a.y, b.y))
	})
	for k := range c.rim.suspects {
		s := &c.rim.suspects[k]
		if 100*(s.share+coarseError) < m.VignettedPct {
			break
		}
		c.vignette(s)
	}
	c.limit(vignetting, m.VignettedPct)
}

// suspect estimates bundle i at the places of its pupil that are not surely free
// of vignetting.
func (c *Checker) suspect(i int) {
	b := &c.bundles[i]
	pupil, shift := c.p.Pupil/2, c.p.Box/2
	places := [...]struct{ x, y float64 }{{0, 0}, {0, shift}, {0, -shift}, {shift, 0}}
	for k, at := range places {
		if b.field == 0 && k > 1 {
			break // on the axis all directions are alike
		}
		if !c.clears(b, at.x, at.y, pupil) {
			share := c.vignetted(b, at.x, at.y, pupil, coarseChords)
			c.rim.suspects = append(c.rim.suspects, suspect{i, at.x, at.y, share})
		}
	}
}

// vignette takes a suspect into the metric.
func (c *Checker) vignette(s *suspect) {
	share := c.vignetted(&c.bundles[s.bundle], s.x, s.y, c.p.Pupil/2, fineChords)
	c.report.Metrics.VignettedPct = max(c.report.Metrics.VignettedPct, 100*share)
}

// clears tells whether a disc of the pupil plane about (x, y) is surely free of
// vignetting. A ray's height at a surface is, but for aberrations, a linear
// function of its pupil point, so that its square is convex and largest on the
// rim; a ring half way and the centre are looked at as well, in case
// aberrations are so strong that this fails. For x >= 0 the half of the rim on
// the side of larger x decides: heights are the same at x and -x.
func (c *Checker) clears(b *bundle, x, y, radius float64) bool {
	n := 0
	add := func(px, py float64) {
		c.rim.rays.launch(n, px, py, b.tan, c.depths[b.depth])
		n++
	}
	add(x, y)
	for j := range rimHalfPoints {
		rx, ry := rimPoint(j)
		add(x+float64(radius*rx), y+float64(radius*ry))
		if j%4 == 2 {
			add(x+float64(radius/2*rx), y+float64(radius/2*ry))
		}
	}
	for _, over := range c.overfill(n) {
		if !(over < -rimCare) {
			return false
		}
	}
	return true
}

// rimPoint is point j of the unit circle's half x > 0.
func rimPoint(j int) (x, y float64) {
	sin, cos := math.Sincos(math.Pi * (float64(j) + 0.5 - rimHalfPoints/2.0) / rimHalfPoints)
	return cos, sin
}

// vignetted is the share of the area of a disc of the pupil plane about (x, y)
// that is lost or vignetted. The disc is cut into chords along y, at abscissas
// radius·sin τ with τ in equal steps, a rule that is exact for the whole disc;
// along a chord the ends of vignetted stretches are interpolated.
func (c *Checker) vignetted(b *bundle, x, y, radius float64, by chords) float64 {
	halfChords, chordPoints := by.half, by.points
	first := -halfChords
	if x == 0 {
		first = 0 // the other half is its mirror image
	}
	n := 0
	for i := first; i < halfChords; i++ {
		sin, cos := math.Sincos(math.Pi / 2 * (float64(i) + 0.5) / float64(halfChords))
		for j := range chordPoints {
			along := 2*float64(j)/float64(chordPoints-1) - 1
			c.rim.rays.launch(n, x+float64(radius*sin), y+float64(radius*cos*along), b.tan, c.depths[b.depth])
			n++
		}
	}
	over := c.overfill(n)
	var blocked, whole float64
	for i := first; i < halfChords; i++ {
		cos := math.Cos(math.Pi / 2 * (float64(i) + 0.5) / float64(halfChords))
		chord := over[(i-first)*chordPoints : (i-first+1)*chordPoints]
		var share float64
		for j := range chordPoints - 1 {
			before, after := math.NaN(), math.NaN()
			if j > 0 {
				before = chord[j-1]
			}
			if j+2 < chordPoints {
				after = chord[j+2]
			}
			share += stretch(before, chord[j], chord[j+1], after)
		}
		// Both the chord's length and the step in x go with cos τ.
		blocked += float64(cos * cos * share / float64(chordPoints-1))
		whole += float64(cos * cos)
	}
	return blocked / whole
}

// stretch is the share of the way between two rays, a and b, that is lost or
// vignetted, given the overfill of both and of their neighbours, NaN where it is
// not known. Where one of them is lost and the other is not vignetted, the loss
// begins somewhere between: half way.
func stretch(before, a, b, after float64) float64 {
	outA, outB := !(a <= requirementSlack), !(b <= requirementSlack)
	switch {
	case outA && outB:
		return 1
	case !outA && !outB:
		return 0
	case math.IsNaN(a) || math.IsNaN(b):
		return 0.5
	case outA:
		return crossing(after, b, a)
	}
	return crossing(before, a, b)
}

// crossing is the share of the way from a <= 0 to b > 0 that is above zero. With
// the value one step before a, where that is known, it takes the parabola through
// the three.
func crossing(before, a, b float64) float64 {
	linear, square := b-a, 0.0
	if !math.IsNaN(before) {
		linear, square = (b-before)/2, (b+before)/2-a
	}
	// The root in [0, 1] of square·t² + linear·t + a, which has -a >= 0 and a sum
	// of b there.
	root := math.Sqrt(float64(linear*linear) - float64(4*square*a))
	t := -2 * a / (linear + root)
	if !(t >= 0 && t <= 1) {
		t = a / (a - b)
	}
	return 1 - t
}

// overfill traces the first n rays at the reference wavelength and gives their
// height over the clear semi-diameter, less 1, at the surface where that is
// largest.
func (c *Checker) overfill(n int) []float64 {
	r, over := c.rim.rays.part(0, n), c.rim.over[:n]
	clear(over)
	for s := range c.steps {
		st := &c.steps[s]
		r.through(st, c.ratios[c.reference][s])
		scale := 1 / (st.clear * st.clear)
		for i := range over {
			if h := (float64(r.x[i]*r.x[i]) + float64(r.y[i]*r.y[i])) * scale; h > over[i] {
				over[i] = h
			}
		}
	}
	for i := range over {
		over[i] = math.Sqrt(over[i]) - 1
		if r.lost(i) {
			over[i] = math.NaN()
		}
	}
	return over
}
