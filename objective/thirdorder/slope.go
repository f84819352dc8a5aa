package thirdorder

import (
	"math"

	"relaysweep/objective"
)

// Slopes bounds, for many trains at once, the slope of which the view's blur consists when it is
// far beyond its limit: that of a straight line through the spot of the outermost field, at one place
// of the pupil, for an object at infinity (see [spot.slope]). The variance of the spot is no less than
// half·(slope + refocus)², so that a train is turned away by [Screen.Exceeds] at every eye relief
// at which its slope is above a limit.
//
// The slope is linear in what groups and gaps add to the form F (see form.go). With P the ray of
// unit height, parallel at the eye, and R the ray of the field from the place of the pupil,
//
//	slope = 8·Q(P,P,R,R) + 4·line·Q(P,P,P,P) + π·t² + colour,
//
// as Laplace's operator on F, and its mean over the pupil, give it: 4·a0·(2h² + line) +
// 16·a1·h·t + (8·a2 + π)·t² of [wave.at] is the same. In an afocal train of single groups of
// focal lengths f_i, f_j, f_k, in the terms of [relaysweep/objective] (m = Θ·f_k/f_i, p and q the
// places of eye and viewpoint, coupled by q = Θ²·p - Θ·f_i·f_k/f_j), paraxial rays towards the world,
// from principal plane to principal plane, are
//
//	            P: height, slope      field's ray: height, slope
//	rear        1, 0                  p + f_k, 1
//	relay       -H, -1/f_k            f_k - p·H, -p/f_k             H = f_j·(1/f_k + Θ/f_i)
//	front       Θ, Θ/f_i              (q - f_i)/Θ, q/(Θ·f_i)
//
// and the gaps between principal planes f_k·(1 + H) and f_i·(1 + H/Θ). So a front adds a
// quadratic in q and a rear one in p, each with a multiple of H for its gap that is never negative,
// and a relay what its own constants, w = H/f_j, 1/f_k, p and f_j make.
type Slopes struct {
	theta, field, line float64
	places             []float64 // of the pupil along the field, mm
	weights            []float64
	plate              float64 // what the mask's plate adds to its gap in terms of the fourth order, mm
	most               float64 // 1/mm; the limit
}

// PlacesMost is how many places of the pupil are looked at.
const PlacesMost = 3

// slopeSlack, in 1/mm, is what a slope must exceed its limit by: far above rounding.
const slopeSlack = 1e-7

// Slopes prepares bounds for a screen; nil where it does not look at the view's blur, or the
// far end of the depth range is not at infinity.
func (s *Screen) Slopes() *Slopes {
	if !s.blurs || s.p.VergenceFar != 0 {
		return nil
	}
	theta := s.p.Magnification
	refocusMost := s.p.RefocusMaxD + s.refocusSlackD
	// The eye does not relax beyond infinity: this is the least refocus.
	refocus := max(-s.refocusSlackD, -refocusMost) / 1000
	b := &Slopes{theta: theta, field: s.fields[len(s.fields)-1], line: s.pupil.line, weights: s.weights}
	b.most = theta*tangent(s.most[viewBlur])/math.Sqrt(s.pupil.half) - refocus + slopeSlack
	for _, at := range s.places {
		if at.across == 0 {
			b.places = append(b.places, at.along)
		}
	}
	n := s.p.MaskGlassIndex
	b.plate = s.p.MaskGlass * (1/(n*n*n) - 1/n)
	return b
}

// Exceeds reports whether at some place of the pupil a bound on the slope exceeds the limit.
func (b *Slopes) Exceeds(slope *[PlacesMost]float64) bool {
	for i := range b.places {
		if slope[i] > b.most {
			return true
		}
	}
	return false
}

// parabola is c[0] + c[1]·x + c[2]·x².
type parabola [3]float64

// least is its least value over an interval.
func (c *parabola) least(lo, hi float64) float64 {
	at := func(x float64) float64 { return c[0] + x*(c[1]+x*c[2]) }
	least := min(at(lo), at(hi))
	if c[2] > 0 {
		if x := -c[1] / (2 * c[2]); x > lo && x < hi {
			least = min(least, at(x))
		}
	}
	return least
}

// End is what a front or a rear adds to slopes, as a function of q or p, and what it adds for
// each unit of H.
type End struct {
	slope, perH [PlacesMost]parabola
}

// Least are the least values over an interval of q or p, of which those per H are never negative.
func (e *End) Least(lo, hi float64) (slope, perH [PlacesMost]float64) {
	for i := range e.slope {
		slope[i], perH[i] = e.slope[i].least(lo, hi), max(0, e.perH[i].least(lo, hi))
	}
	return slope, perH
}

// At is the slope that the end adds at a place of q or p.
func (e *End) At(x float64, place int) float64 { return e.slope[place].least(x, x) }

// of is the slope of a form as a function of x, for P and the rays r + x·s.
func (b *Slopes) of(q *quartic, p, r, s ray) (c parabola) {
	a := q.twice(p)
	value := func(u, v ray) float64 { return a[0]*u.y*v.y + a[1]*(u.y*v.p+u.p*v.y) + a[2]*u.p*v.p }
	return parabola{8*value(r, r) + 4*b.line*value(p, p), 16 * value(r, s), 8 * value(s, s)}
}

// twice is the form with two of its rays given.
func (q *quartic) twice(p ray) (a [3]float64) {
	for k := range a {
		a[k] = q[k]*p.y*p.y + 2*q[k+1]*p.y*p.p + q[k+2]*p.p*p.p
	}
	return a
}

// rest is what does not depend on places: Petzval's curvature and colour.
func (b *Slopes) rest(g *Group, p ray) float64 {
	sum := g.petzval * b.field * b.field
	for i := range g.colour {
		c := &g.colour[i]
		sum += 2 * b.weights[i] * (c[0]*p.y*p.y + 2*c[1]*p.y*p.p + c[2]*p.p*p.p)
	}
	return sum
}

// Front is what a group adds in front, with the mask at a seat; false where it has no principal
// planes of use.
func (b *Slopes) Front(g *objective.Group, third *Group, seat objective.Seat) (e End, ok bool) {
	if third.isUnknown() {
		return e, false // a group with facets
	}
	f, theta, t := g.FocalMM, b.theta, b.field
	q, gap := third.quartic, quartic{}
	// The gap to the relay is BFD + f·H/Θ, and something of the relay's own.
	q[4] += (g.BFDMM + b.plateAt(seat.Has(objective.SeatFront))) / 8
	gap[4] = f / theta / 8
	p := ray{theta, theta / f}
	rest := b.rest(third, p)
	for i, h := range b.places {
		r, s := ray{h*theta - t*f/theta, h * theta / f}, ray{t / theta, t / (theta * f)}
		e.slope[i], e.perH[i] = b.of(&q, p, r, s), b.of(&gap, p, r, s)
		e.slope[i][0] += rest
	}
	return e, third.principal
}

// Rear likewise is what a group adds at the eye.
func (b *Slopes) Rear(g *objective.Group, third *Group, seat objective.Seat) (e End, ok bool) {
	if third.isUnknown() {
		return e, false // a group with facets
	}
	f, t := g.FocalMM, b.field
	q, gap := third.quartic, quartic{}
	q.addFourth((g.FFDMM+b.plateAt(seat.Has(objective.SeatRear)))/8, -1/f, 1)
	gap.addFourth(f/8, -1/f, 1)
	p := ray{1, 0}
	rest := b.rest(third, p)
	for i, h := range b.places {
		r, s := ray{h + t*f, t}, ray{t, 0}
		e.slope[i], e.perH[i] = b.of(&q, p, r, s), b.of(&gap, p, r, s)
		e.slope[i][0] += rest
	}
	return e, third.principal
}

func (b *Slopes) plateAt(here bool) float64 {
	if here {
		return b.plate
	}
	return 0
}

// Relay holds a relay's constants, with heights in units of its focal length.
type Relay struct {
	q       [5]float64
	colour  [3]float64
	petzval float64 // times t²
}

// Relay is what a group adds as a relay.
func (b *Slopes) Relay(g *objective.Group, third *Group) (r Relay, ok bool) {
	if third.isUnknown() {
		return r, false // a group with facets
	}
	f := g.FocalMM
	q := third.quartic
	// Of the gaps between principal planes these parts lie inside of the relay.
	q.addFourth((g.BFDMM-f)/8, 0, 1)
	q.addFourth((g.FFDMM-f)/8, -1/f, 1)
	scale := 1.0
	for k := 4; k >= 0; k-- {
		r.q[k] = q[k] * scale
		scale *= f
	}
	for i := range third.colour {
		c, w := &third.colour[i], 2*b.weights[i]
		r.colour[0] += w * c[0] * f * f
		r.colour[1] += 2 * w * c[1] * f
		r.colour[2] += w * c[2]
	}
	r.petzval = third.petzval * b.field * b.field
	return r, third.principal
}

// Factors are intervals of what a relay's constants are multiplied by, at each place of the pupil.
type Factors struct {
	places int
	q      [PlacesMost][5]objective.Interval
	colour [3]objective.Interval
}

// Factors bounds them for w = H/f_j, u = 1/f_k, p and f_j in intervals; w, u and f_j are positive.
func (b *Slopes) Factors(w, u, p, f objective.Interval) (x Factors) {
	x.places = len(b.places)
	ww, wu, uu := times(w, w), times(w, u), times(u, u)
	x.colour = [3]objective.Interval{ww, wu, uu}
	// Of P = (w, u) twice.
	pp := [3]objective.Interval{ww, scaled(wu, 2), uu}
	t := b.field
	far := objective.Interval{Lo: t / (u.Hi * f.Hi), Hi: t / (u.Lo * f.Lo)}
	for i, h := range b.places {
		g := objective.Interval{Lo: h + t*p.Lo, Hi: h + t*p.Hi}
		y := times(w, g)
		y = objective.Interval{Lo: y.Lo - far.Hi, Hi: y.Hi - far.Lo}
		s := times(u, g)
		rr := [3]objective.Interval{square(y), scaled(times(y, s), 2), square(s)}
		for k := range x.q[i] {
			var sum objective.Interval
			for a := range pp {
				if c := k - a; c >= 0 && c < len(rr) {
					sum = plus(sum, plus(scaled(times(pp[a], rr[c]), 8), scaled(times(pp[a], pp[c]), 4*b.line)))
				}
			}
			x.q[i][k] = sum
		}
	}
	return x
}

// Least lowers what relays add at the least to what r adds.
func (x *Factors) Least(r *Relay, least *[PlacesMost]float64) {
	rest := r.petzval
	for k := range r.colour {
		rest += lower(r.colour[k], x.colour[k])
	}
	for i := range x.places {
		sum := rest
		for k := range r.q {
			sum += lower(r.q[k], x.q[i][k])
		}
		least[i] = min(least[i], sum)
	}
}

// lower is the least of c·x for x in an interval.
func lower(c float64, x objective.Interval) float64 { return min(c*x.Lo, c*x.Hi) }

func times(a, b objective.Interval) objective.Interval {
	x, y, z, v := a.Lo*b.Lo, a.Lo*b.Hi, a.Hi*b.Lo, a.Hi*b.Hi
	return objective.Interval{Lo: min(min(x, y), min(z, v)), Hi: max(max(x, y), max(z, v))}
}

func square(a objective.Interval) objective.Interval {
	x, y := a.Lo*a.Lo, a.Hi*a.Hi
	if a.Lo <= 0 && a.Hi >= 0 {
		return objective.Interval{Hi: max(x, y)}
	}
	return objective.Interval{Lo: min(x, y), Hi: max(x, y)}
}

func scaled(a objective.Interval, by float64) objective.Interval {
	return objective.Interval{Lo: a.Lo * by, Hi: a.Hi * by}
}

func plus(a, b objective.Interval) objective.Interval {
	return objective.Interval{Lo: a.Lo + b.Lo, Hi: a.Hi + b.Hi}
}

// Couple is a front and a rear, to tell trains by their relays.
type Couple struct {
	b                 *Slopes
	front, rear       *End
	product, w, u, wu float64 // Θ·f_i·f_k, H/f_j, 1/f_k and w·u
	q, p              objective.Interval
}

// Couple couples a front and a rear of given focal lengths, for q and p in intervals.
func (b *Slopes) Couple(front, rear *End, frontF, rearF float64, q, p objective.Interval) Couple {
	u := 1 / rearF
	w := u + b.theta/frontF
	return Couple{b, front, rear, b.theta * frontF * rearF, w, u, w * u, q, p}
}

// pieces is into how many pieces the range of p is cut where the slope is looked at: at each of them
// another place of the pupil may be the one that exceeds the limit.
const pieces = 4

// Exceeds reports whether the slope with a relay of focal length f exceeds the limit wherever the
// eye may be. It is a parabola in p at each place of the pupil.
func (c *Couple) Exceeds(r *Relay, f float64) bool {
	b, d := c.b, c.product/f
	t2 := b.theta * b.theta
	lo, hi := max(c.p.Lo, (c.q.Lo+d)/t2), min(c.p.Hi, (c.q.Hi+d)/t2)
	if !(lo <= hi) {
		return false
	}
	w, u, h, k, t := c.w, c.u, c.w*f, b.field/(c.u*f), b.field
	a := (*quartic)(&r.q).twice(ray{w, u})
	// With g = h + t·p the field's ray stands at w·g - k in units of f, and has the slope u·g.
	pp, pk := a[0]*w*w+2*a[1]*c.wu+a[2]*u*u, a[0]*w+a[1]*u
	rest := r.petzval + r.colour[0]*w*w + r.colour[1]*c.wu + r.colour[2]*u*u + 4*b.line*pp + 8*a[0]*k*k
	var slope [PlacesMost]parabola
	for i, at := range b.places {
		x, z, y, v := &c.front.slope[i], &c.front.perH[i], &c.rear.slope[i], &c.rear.perH[i]
		f0, f1, f2 := x[0]+h*z[0], x[1]+h*z[1], x[2]+h*z[2]
		slope[i] = parabola{
			f0 - d*(f1-d*f2) + y[0] + h*v[0] + rest + 8*pp*at*at - 16*k*pk*at,
			t2*(f1-2*d*f2) + y[1] + h*v[1] + 16*pp*at*t - 16*k*pk*t,
			t2*t2*f2 + y[2] + h*v[2] + 8*pp*t*t,
		}
	}
	width := (hi - lo) / pieces
	for n := pieces - 1; n >= 0; n-- { // aberrations tend to be least where the eye is farthest
		from := lo + float64(n)*width
		exceeds := false
		for i := range b.places {
			exceeds = exceeds || slope[i].least(from, from+width) > b.most
		}
		if !exceeds {
			return false
		}
	}
	return true
}
