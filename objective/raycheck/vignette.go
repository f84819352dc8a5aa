package raycheck

import (
	"cmp"
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
	"slices"
)

const (
	// rimHalfPoints is the number of points on half the pupil's rim.
	rimHalfPoints = 16
	// rimCare is how near, as a share of a clear semi-diameter, a rim ray may
	// come before the pupil is examined closely. Between two neighbouring rim
	// points a height can exceed theirs by 1 - cos(π/32) = 0.5 % of itself.
	rimCare = 0.01
	// gridHalfChords is the number of chords in half the disc that the estimate over
	// all places of the pupil takes, gridPoints that of rays along each, and
	// coarseError is by how much a share from it may be off, see
	// TestVignettedEstimate.
	gridPoints     = 17
	gridHalfChords = 10
	coarseError    = 0.06
	// unionCare is the excess of a share over that of the corners that is not
	// worth more rays: what the area rule is good to.
	unionCare = 1e-3
)

// chords tells how a vignetted area is sampled: the number of chords in half the
// pupil, and of rays along each, and of each chord of the pupil its sin τ and cos τ, see
// [Checker.vignetted].
type chords struct {
	half, points int
	sin, cos     []float64
}

func newChords(half, points int) chords {
	by := chords{half: half, points: points}
	for i := -half; i < half; i++ {
		sin, cos := math.Sincos(math.Pi / 2 * (float64(i) + 0.5) / float64(half))
		by.sin, by.cos = append(by.sin, sin), append(by.cos, cos)
	}
	return by
}

var (
	usualChords = newChords(20, 17)
	// manyChords serve where rays are lost, because the place at which that begins
	// is not interpolated, and where little of the pupil is left, which may lie
	// between the rays.
	manyChords = newChords(24, 65)
)

// rimBuffers are what the vignetting of a pupil is found with.
type rimBuffers struct {
	rays     lanes.Rays
	x, y     []float64 // where they leave the pupil
	over     []float64 // per ray: height over clear semi-diameter, less 1, at the worst surface; NaN when lost
	union    []float64 // largest over of several bundles
	suspects []suspect
}

// suspect is a bundle that is vignetted with the pupil about (x, y), and its
// share by the estimate.
type suspect struct {
	bundle int
	x, y   float64
	share  float64
}

func newRimBuffers(bundles int) *rimBuffers {
	n := 2 * manyChords.half * manyChords.points
	return &rimBuffers{
		rays: lanes.NewRays(n), x: make([]float64, 0, n), y: make([]float64, 0, n), over: make([]float64, n),
		union: make([]float64, gridHalfChords*gridPoints), suspects: make([]suspect, 0, pupilPlaces*bundles),
	}
}

// begin forgets the points of the pupil that rays are to leave.
func (r *rimBuffers) begin() { r.x, r.y = r.x[:0], r.y[:0] }

// add adds one.
func (r *rimBuffers) add(x, y float64) { r.x, r.y = append(r.x, x), append(r.y, y) }

// launch sets rays to leave all of them, for a field and vergence.
func (r *rimBuffers) launch(tan, vergence float64) lanes.Rays {
	rays := r.rays.Part(0, len(r.x))
	rays.Launch(r.x, r.y, tan, vergence)
	return rays
}

// pupilPlaces is the number of places in its box at which the pupil is looked at.
const pupilPlaces = 4

// pupilPlace is the centre of the pupil at place k of its box: centred, up, down
// and sideways.
func pupilPlace(p *objective.Problem, k int) (x, y float64) { return placeIn(p.Box, k) }

// placeIn is place k in a box of a diameter.
func placeIn(box float64, k int) (x, y float64) {
	shift := box / 2
	return [pupilPlaces]float64{0, 0, 0, shift}[k], [pupilPlaces]float64{0, shift, -shift, 0}[k]
}

// judgeVignetting finds the largest share of the pupil's area that is lost or
// vignetted, over all fields and depths and four places of the pupil in its
// box.
//
// For a point of the pupil a ray's height at a surface is, but for aberrations,
// a linear function of field tangent and vergence, so that its square is convex:
// a point that is vignetted at some field and depth is so in one of the corners,
// at the axis or the outermost field and the far or the near end. Where the
// corners taken together cut off no more than the worst of them, the fields and
// depths between them need no look.
func (c *Checker) judgeVignetting(stop bool) {
	m, corners := &c.report.Metrics, c.corners()
	m.VignettedPct = 0
	c.rim.suspects = c.rim.suspects[:0]
	for i := range c.rim.union {
		c.rim.union[i] = -1
	}
	rim := -1.0
	for k, i := range corners {
		if slices.Contains(corners[:k], i) {
			continue // a single depth
		}
		if rim = max(rim, c.suspect(i)); stop && c.vignettesTooMuch(i) {
			return
		}
	}
	c.cornersRim = rim
	var worst, together float64
	for _, s := range c.rim.suspects {
		worst = max(worst, s.share)
	}
	for k := range pupilPlaces {
		together = max(together, c.gridShare(c.rim.union, k))
	}
	if together > worst+unionCare {
		for i := len(c.sampledBundles) - 1; i >= 0; i-- {
			if slices.Contains(corners[:], i) {
				continue
			}
			if c.suspect(i); stop && c.vignettesTooMuch(i) {
				return
			}
		}
	}
	slices.SortFunc(c.rim.suspects, func(a, b suspect) int {
		return cmp.Or(cmp.Compare(b.share, a.share), cmp.Compare(a.bundle, b.bundle), cmp.Compare(a.y, b.y))
	})
	for i := range c.rim.suspects {
		s := &c.rim.suspects[i]
		if 100*min(1, s.share+coarseError) <= m.VignettedPct {
			break
		}
		c.vignette(s)
	}
	c.limit(vignetting, m.VignettedPct)
}

// corners are the bundles at the ends of the ranges of field and depth: the outermost
// field and the axis, each at the near end and then the far one, the same where
// there is one depth.
func (c *Checker) corners() [4]int {
	last, steps := len(c.sampledBundles)-1, len(c.depths)
	return [...]int{last, last - steps + 1, steps - 1, 0}
}

// suspect estimates the vignetting of bundle i at all places of its pupil, unless
// it surely is free of it. One grid of rays in the box serves them all. It returns the
// overfill on the rim of the box.
func (c *Checker) suspect(i int) (rim float64) {
	b := &c.sampledBundles[i]
	if rim = c.rimOverfill(b, 0, 0, c.p.PupilEdge()); rim < -rimCare {
		return rim
	}
	over := c.grid(b)
	for k, v := range over {
		c.rim.union[k] = max(c.rim.union[k], v) // NaN stays
	}
	var shares [pupilPlaces]float64
	for k := range shares { // all of them before other rays take the place of the grid's
		shares[k] = c.gridShare(over, k)
	}
	for k, share := range shares {
		if b.field == 0 && k > 1 {
			break // on the axis all directions are alike
		}
		if share > 0 || !c.clearsPlace(b, k) {
			x, y := pupilPlace(c.p, k)
			c.rim.suspects = append(c.rim.suspects, suspect{i, x, y, share})
		}
	}
	return rim
}

// clearsPlace is clears for place k of the pupil.
func (c *Checker) clearsPlace(b *sampledBundle, k int) bool {
	x, y := pupilPlace(c.p, k)
	return c.clears(b, x, y, c.p.Pupil/2)
}

// vignettesTooMuch reports whether bundle i, whose estimate is far beyond the limit,
// is beyond it in fact.
func (c *Checker) vignettesTooMuch(i int) bool {
	for k := range c.rim.suspects {
		s := &c.rim.suspects[k]
		if s.bundle == i && 100*(s.share-coarseError) > c.limits[vignetting] {
			c.vignette(s)
			if c.limit(vignetting, c.report.Metrics.VignettedPct); c.failed() {
				return true
			}
		}
	}
	return false
}

// vignette takes a suspect into the metric.
func (c *Checker) vignette(s *suspect) {
	share := c.vignetted(&c.sampledBundles[s.bundle], s.x, s.y, c.p.Pupil/2)
	c.report.Metrics.VignettedPct = max(c.report.Metrics.VignettedPct, 100*share)
}

// gridChord is the abscissa of chord i of the grid, and half its length.
func (c *Checker) gridChord(i int) (x, half float64) {
	reach := c.p.PupilEdge()
	x = reach * (float64(i) + 0.5) / gridHalfChords
	return x, math.Sqrt(float64(reach*reach) - float64(x*x))
}

// grid is the overfill on equidistant chords of the disc that the pupil covers in
// its box, those with x > 0.
func (c *Checker) grid(b *sampledBundle) []float64 {
	c.rim.begin()
	for i := range gridHalfChords {
		x, half := c.gridChord(i)
		for j := range gridPoints {
			c.rim.add(x, half*(2*float64(j)/(gridPoints-1)-1))
		}
	}
	return c.overfill(b)
}

// gridShare estimates, from the overfill on the grid, the vignetted share of the
// pupil at place k.
func (c *Checker) gridShare(over []float64, k int) float64 {
	radius := c.p.Pupil / 2
	atX, atY := pupilPlace(c.p, k)
	var blocked, whole float64
	for i := range gridHalfChords {
		x, half := c.gridChord(i)
		chord := over[i*gridPoints : (i+1)*gridPoints]
		for _, side := range [...]float64{x, -x} {
			h2 := float64(radius*radius) - float64((side-atX)*(side-atX))
			if h2 <= 0 {
				continue
			}
			h := math.Sqrt(h2)
			whole += 2 * h
			blocked += within(chord, half, atY-h, atY+h)
		}
	}
	return blocked / whole
}

// within is the vignetted length of a chord between two ordinates. The chord's
// overfill is given at equal distances from -half to half.
func within(chord []float64, half, lo, hi float64) (length float64) {
	step := 2 * half / float64(len(chord)-1)
	for j := range len(chord) - 1 {
		nan := math.NaN()
		out := stretch(nan, chord[j], chord[j+1], nan)
		if out == 0 {
			continue
		}
		from := float64(step*float64(j)) - half
		to := from + step
		if !(chord[j] <= objective.RequirementSlack) {
			to = from + float64(out*step)
		} else {
			from = to - float64(out*step)
		}
		length += max(0, min(to, hi)-max(from, lo))
	}
	return length
}

// clears reports whether a disc of the pupil plane about (x, y) is surely free of
// vignetting.
func (c *Checker) clears(b *sampledBundle, x, y, radius float64) bool {
	return c.rimOverfill(b, x, y, radius) < -rimCare
}

// rimOverfill is the largest overfill of rays by which a disc of the pupil plane about
// (x, y) is judged, NaN when one is lost. A ray's height at a surface is, but for aberrations, a linear
// function of its pupil point, so that its square is convex and largest on the
// rim; a ring half way and the centre are looked at as well, in case
// aberrations are so strong that this fails. For x >= 0 the half of the rim on
// the side of larger x decides: heights are the same at x and -x.
func (c *Checker) rimOverfill(b *sampledBundle, x, y, radius float64) float64 {
	c.rim.begin()
	c.rim.add(x, y)
	for j, at := range rimPoints {
		c.rim.add(x+float64(radius*at.x), y+float64(radius*at.y))
		if j%4 == 2 {
			c.rim.add(x+float64(radius/2*at.x), y+float64(radius/2*at.y))
		}
	}
	worst := -1.0
	for _, over := range c.overfill(b) {
		worst = max(worst, over) // NaN stays
	}
	return worst
}

// rimPoints are points of the unit circle's half x > 0.
var rimPoints = func() (points [rimHalfPoints]place) {
	for j := range points {
		sin, cos := math.Sincos(math.Pi * (float64(j) + 0.5 - rimHalfPoints/2.0) / rimHalfPoints)
		points[j] = place{cos, sin}
	}
	return points
}()

// vignetted is the share of the area of a disc of the pupil plane about (x, y)
// that is lost or vignetted. The disc is cut into chords along y, at abscissas
// radius·sin τ with τ in equal steps, a rule that is exact for the whole disc;
// along a chord the ends of vignetted stretches are interpolated.
func (c *Checker) vignetted(b *sampledBundle, x, y, radius float64) float64 {
	share, lossy := c.blocked(b, x, y, radius, usualChords)
	if lossy || share > 0.5 {
		share, _ = c.blocked(b, x, y, radius, manyChords)
	}
	return share
}

// blocked is vignetted by the given chords. It also reports whether some rays are
// lost.
func (c *Checker) blocked(b *sampledBundle, x, y, radius float64, by chords) (share float64, lossy bool) {
	halfChords, points := by.half, by.points
	first := -halfChords
	if x == 0 {
		first = 0 // the other half is its mirror image
	}
	c.rim.begin()
	for i := first; i < halfChords; i++ {
		sin, cos := by.sin[halfChords+i], by.cos[halfChords+i]
		for j := range points {
			along := 2*float64(j)/float64(points-1) - 1
			c.rim.add(x+float64(radius*sin), y+float64(radius*cos*along))
		}
	}
	over := c.overfill(b)
	var blocked, whole float64
	for i := first; i < halfChords; i++ {
		cos := by.cos[halfChords+i]
		chord := over[(i-first)*points : (i-first+1)*points]
		var length float64
		for j := range points - 1 {
			before, after := math.NaN(), math.NaN()
			if j > 0 {
				before = chord[j-1]
			}
			if j+2 < points {
				after = chord[j+2]
			}
			length += stretch(before, chord[j], chord[j+1], after)
		}
		// Both the chord's length and the step in x go with cos τ.
		blocked += float64(cos * cos * length / float64(points-1))
		whole += float64(cos * cos)
	}
	return blocked / whole, slices.ContainsFunc(over, math.IsNaN)
}

// stretch is the share of the way between two rays, a and b, that is lost or
// vignetted, given the overfill of both and of their neighbours, NaN where it is
// not known. Where one of them is lost and the other is not vignetted, the loss
// begins somewhere between: half way.
func stretch(before, a, b, after float64) float64 {
	outA, outB := !(a <= objective.RequirementSlack), !(b <= objective.RequirementSlack)
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

// overfill launches rays from the points of the pupil that were added, for the field
// and depth of b, traces them at the reference wavelength and gives their height over the
// clear semi-diameter, less 1, at the surface where that is largest.
func (c *Checker) overfill(b *sampledBundle) []float64 {
	over, r := c.overfillSquares(b)
	for i := range over {
		over[i] = math.Sqrt(over[i]) - 1
		if r.Lost(i) {
			over[i] = math.NaN()
		}
	}
	return over
}

// overfillSquares is overfill that leaves the squares of the quotients as they are, of no
// meaning for rays that are lost.
func (c *Checker) overfillSquares(b *sampledBundle) (squares []float64, r lanes.Rays) {
	r = c.rim.launch(b.tan, c.depths[b.depth])
	squares = c.rim.over[:len(r.X)]
	clear(squares)
	for s := range c.steps {
		st := &c.steps[s]
		margin := st.through(&r, c.ratios[c.reference][s])
		if margin < 0 && r.AllLost() {
			break
		}
		r.Overfill(squares, st.clear)
	}
	return squares, r
}
