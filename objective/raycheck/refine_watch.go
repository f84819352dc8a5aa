package raycheck

import (
	"cmp"
	"math"

	"relaysweep/objective"
	"slices"
)

// The share of a pupil that is vignetted costs more rays to find than all else
// together, it is zero with a kink, and it is good to 0.1 % only. While a
// refinement searches, a smooth stand-in of few rays serves in its place: the
// overfill that the allowed share of the pupil exceeds, where the overfill of a
// ray is its height over the clear semi-diameter, less 1, at the surface where
// that is largest. It is negative as long as less than the allowed share is
// vignetted, and also tells how far that is. It is taken of the bundles and
// places of the pupil that lead in this respect at a place that was measured in
// full, and is corrected there by what the full measurement says.

// A watched pupil is filled by watchRings rings of equal area with watchHalfArms
// rays each on the half x > 0, and watchedMost of them are watched at once.
const (
	watchRings    = 8
	watchHalfArms = 8
	watchedMost   = 2
	// overfillScale is the overfill that counts as much as a whole limit. It moves the
	// edge of what is vignetted by some tenths of a mm.
	overfillScale = 0.04
)

// watchArms are the directions of the rays of a ring, x > 0.
var watchArms = func() (arms [watchHalfArms]place) {
	for j := range arms {
		sin, cos := math.Sincos(math.Pi * ((float64(j)+0.5)/watchHalfArms - 0.5))
		arms[j] = place{cos, sin}
	}
	return arms
}()

// watchedPupil is a bundle and a place of its pupil.
type watchedPupil struct {
	bundle int
	x, y   float64
	level  float64 // overfill when it was chosen
}

// watch chooses the pupils to watch at the train in hand, which has just been
// measured in full.
func (r *Refiner) watch() {
	c := r.c
	all := r.watched[:0]
	corners := c.corners()
	for n, i := range corners {
		if slices.Contains(corners[:n], i) {
			continue // a single depth
		}
		for k := range pupilPlaces {
			if k > 0 && c.p.Box == 0 || k > 1 && c.sampledBundles[i].field == 0 {
				break
			}
			w := watchedPupil{bundle: i}
			w.x, w.y = pupilPlace(c.p, k)
			w.level = r.exceeded(&w, r.allowedShare)
			all = append(all, w)
		}
	}
	slices.SortStableFunc(all, func(a, b watchedPupil) int { return cmp.Compare(b.level, a.level) })
	r.watched = all[:min(len(all), watchedMost)]
	// By the full measurement the overfill that the measured share exceeds is
	// zero. A share of less than some rays, or one far from the allowed one, tells nothing of use.
	r.overfillError = 0
	if share := c.report.Metrics.VignettedPct / 100; share > max(2.0/(watchRings*watchHalfArms), r.allowedShare/2) && share < 0.5 {
		r.overfillError = r.exceeded(&r.watched[0], share)
	}
}

// exceeded is the overfill that a share of a watched pupil exceeds, interpolated
// between rays; where that would be less than one ray, the largest on the rim.
// What can't be traced counts as far beyond.
func (r *Refiner) exceeded(w *watchedPupil, share float64) float64 {
	c := r.c
	b := &c.sampledBundles[w.bundle]
	c.rim.begin()
	add := func(radius float64) {
		for _, arm := range watchArms {
			c.rim.add(w.x+float64(radius*arm.x), w.y+float64(radius*arm.y))
			if w.x != 0 { // the other half is no mirror image
				c.rim.add(w.x-float64(radius*arm.x), w.y+float64(radius*arm.y))
			}
		}
	}
	rim := share < 1.0/(watchRings*watchHalfArms)
	if rim {
		add(c.p.Pupil / 2)
	} else {
		for i := range watchRings {
			add(c.p.Pupil / 2 * math.Sqrt((float64(i)+0.5)/watchRings))
		}
	}
	squares, lost := c.overfillSquares(b)
	n := len(squares)
	for i := range squares {
		if lost.Lost(i) {
			squares[i] = lostSquare
		}
	}
	overfill := func(square float64) float64 { return math.Sqrt(square) - 1 }
	if rim {
		return overfill(slices.Max(squares))
	}
	// Ray k from above stands for the share from k to k+1 of n.
	place := float64(share*float64(n)) - 0.5
	k := min(int(place), n-2)
	r.largest = largest(squares, k+2, r.largest)
	upper, lower := overfill(r.largest[k]), overfill(r.largest[k+1])
	return upper + float64(min(1, place-float64(k))*(lower-upper))
}

// lostSquare is what the squared overfill of a ray that is lost counts as: an overfill of 1.
const lostSquare = 4

// largest are the n largest of some numbers, from the largest on, in a buffer.
func largest(numbers []float64, n int, buf []float64) []float64 {
	buf = buf[:0]
	for _, x := range numbers {
		if len(buf) < n {
			buf = append(buf, x)
		} else if x <= buf[n-1] {
			continue
		}
		i := len(buf) - 1
		for ; i > 0 && buf[i-1] < x; i-- {
			buf[i] = buf[i-1]
		}
		buf[i] = x
	}
	return buf
}

// watchedLevel is how far beyond the allowed overfill a watched pupil of the train in hand
// is, which needs no other ray.
func (r *Refiner) watchedLevel(w *watchedPupil) float64 {
	return r.exceeded(w, r.allowedShare) - r.overfillError
}

// addWatched judges the vignetting of a watched pupil.
func (r *Refiner) addWatched(level float64) {
	r.add(MetricList[vignetting].Name, level, 0, overfillScale)
}

// leadShare is the share of the largest blur, in its limit, that the blur of another displaced
// pupil must have for an estimate to look at it as well.
const leadShare = 0.9

// lead chooses the displaced pupils that estimates look at: those whose blurs come nearest
// to their limits, or exceed them most, at the train in hand, which has just been measured
// in full.
func (r *Refiner) lead() {
	r.leading = r.leading[:0]
	levels := make([]float64, len(r.c.away))
	most := r.c.blurLevel(r.c)
	for k, a := range r.c.away {
		levels[k] = r.c.blurLevel(a)
		most = max(most, levels[k])
	}
	for k, a := range r.c.away {
		if levels[k] >= leadShare*most {
			r.leading = append(r.leading, a)
		}
	}
}

// blurLevel is the largest blur in use of the pupil that a has measured, in its limit.
func (c *Checker) blurLevel(a *Checker) float64 {
	level := 0.0
	for i := range c.usedBundles() {
		b := &a.sampledBundles[i]
		if a.skips(b.field) {
			continue
		}
		if c.limited(viewBlur) {
			blur, _ := a.refocused(b)
			level = max(level, blur/max(c.limits[viewBlur], objective.LimitScale))
		}
		if c.limited(maskBlur) {
			for k := range c.masks {
				level = max(level, c.maskBlurOf(k, b)/max(c.limits[maskBlur], objective.LimitScale))
			}
		}
	}
	return level
}
