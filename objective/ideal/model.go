package ideal

import (
	"math"

	"relaysweep/objective"
)

// A thin train in numbers in which its requirements are products of few
// factors. Rays are the chief ray of unit slope at the eye and the edge ray that
// enters the eye at height 1 parallel to the axis; all heights and slopes are
// theirs. With a = f_front/Θ, b = f_rear, α = 1/a, β = 1/b, e the air-equivalent eye
// relief and H the chief height at the front,
//
//	p  = e - b          the eye's distance behind the rear focal point of the rear group
//	q' = (a - H)/Θ      likewise the viewpoint's at the front, over Θ² (q' = q/Θ², reduced.go)
//	w1 = (1 - α·H)/Θ    chief slope behind the front, α·q'
//	w2 = 1 - β·e        chief slope before the rear, -β·p
//
// With t1 and t2 the air-equivalent gaps from front to relay and from relay to
// rear, edge and chief height are -n1 and g1 at the relay group that follows the
// front, -n2 and -g2 at the one before the rear:
//
//	t1 = Θ·a + n1·a,  n1 = α·t1 - Θ,  g1 = H + t1·w1 = a + n1·q'
//	t2 =   b + n2·b,  n2 = β·t2 - 1,  g2 = e + t2·w2 = b - n2·p
//
// The Lagrange invariant of the two rays is 1 at the eye, so it is between the
// relay groups too, where it gives the gap s; and how much a group bends chief and
// edge ray is its power times their heights:
//
//	s = n1·g2 + n2·g1
//	φ1·g1·s = s·w1 + g1 + g2,  φ1·n1·s = s·α + n1 - n2,  φ1·s = 1 + α·g2 + n2·w1
//	φ2·g2·s = s·w2 + g1 + g2,  φ2·n2·s = s·β + n2 - n1,  φ2·s = 1 + β·g1 + n1·w2
//	a·b/f_relay = p - q' = τ
//
// so that a relay group's aperture, |g|·T + r·max |n ∓ V·g| <= opening/|φ|, is one on
// how much it bends the rays. A single relay has s = 0: n1 = n2 = n, g1 = -g2,
// n·τ = a + b, f_relay = n·a·b/(a + b). A keplerian has its front in the relay's
// place: n = f_front/f_rear, g2 = b - n·p, and q' = p. Length is the sum of the
// gaps,
//
//	L = t1 + s + t2 + plate,
//
// which is that of reduced.go and reduced_pair.go of package objective in other unknowns. The mask's setpoints
// (mask.go) are x = f²·V/(f·ω) with ω = w/f, for the rear seat β + w2·V and
// for the front seat α - w1·V.

// thinCase is one layout and seat of a problem, of a pair with some of its ends, for thin groups whose clear
// diameters are at most 2·opening times their focal lengths.
type thinCase struct {
	p       *objective.Problem
	space   objective.Space
	opening float64
	by      objective.RankBy
	n       int // unknowns
	weak    weakEnds
}

// weakEnds is which ends of a pair's train have a focal length beyond that of the
// train (over Θ, for the front): such an end can stand in a short train too.
type weakEnds uint8

const (
	bothStrong weakEnds = iota
	frontWeak
	rearWeak // and the front strong
)

// The unknowns, by place. A single relay's are a, b, e and 1/n, a keplerian's n, b
// and e; a pair's are a, b, e, n1, n2 and H, where an end is weak α, β, e, t1, t2 and H.
const (
	atA = iota // a, n or α
	atB        // b or β
	atE
	atInverseN
	atN1 = iota - 1
	atN2
	atH
	atT1 = atN1
	atT2 = atN2
)

// newThinCases are the cases that make up a space.
func newThinCases(p *objective.Problem, space objective.Space, opening float64, by objective.RankBy) []*thinCase {
	var cases []*thinCase
	for weak := bothStrong; weak <= rearWeak; weak++ {
		if weak == bothStrong || space.Layout == objective.ErectorPair {
			cases = append(cases, &thinCase{p, space, opening, by, [...]int{3, 4, 6}[space.Layout], weak})
		}
	}
	return cases
}

// focalLeast, in mm, is the least focal length of a front or rear that is
// looked at: far below that of any lens for an eye.
const focalLeast = 1e-2

// box is a range for each unknown.
type box struct{ lo, hi [unknownCount]float64 }

// at is the place of unknown i at ξ, from -1 to 1 between the ends of its side.
func (b *box) at(i int, xi float64) float64 {
	switch {
	case xi <= -1:
		return b.lo[i]
	case xi >= 1:
		return b.hi[i]
	}
	return b.lo[i] + float64((b.hi[i]-b.lo[i])*(xi+1)/2)
}

// whole holds every thin train up to a length, but for those whose breach of a
// requirement shows at once; false when it shows for all.
func (m *thinCase) whole(longest float64) (box, bool) {
	p, theta := m.p, m.p.Magnification
	var x box
	set := func(i int, lo, hi float64) { x.lo[i], x.hi[i] = lo, hi }
	// With x the chief height at the rear (or 1/Θ of that at the front), its aperture
	// is at least x·T + r·max(0, 1 - V·x), which is least at x = 0 or 1/V.
	least := p.PassingEdge()
	if p.VergenceNear > 0 {
		least = math.Min(least, p.TanMax/p.VergenceNear)
	}
	// Where all of the pupil but its middle may be lost, nothing bounds focal lengths.
	shortest := math.Max(least/m.opening, focalLeast)
	set(atA, shortest, longest/theta)
	set(atB, shortest, longest)
	shift := p.CombinerShift()
	set(atE, p.LeastRelief()-shift, p.ReliefMax-shift)
	e := math.Max(math.Abs(x.lo[atE]), math.Abs(x.hi[atE]))
	tan := m.opening / p.TanMax // the most by which an aperture lets its group bend the chief ray
	switch m.space.Layout {
	case objective.Keplerian:
		// With |b - n·p|·T <= opening·n·b and |p| <= |e| + b.
		least := 1 / (tan + 1 + e/shortest)
		set(atA, math.Max(least, theta*(1-p.MagnificationTol)), theta*(1+p.MagnificationTol))
	case objective.ErectorSingle:
		// n·(a + b) is less than the length; and with H = a - Θ·q' and
		// q' = p - (a + b)/n, |H|·T <= opening·Θ·a limits 1/n.
		set(atInverseN, 2*shortest/longest, tan+e/(2*shortest))
	case objective.ErectorPair:
		weak := longest
		// From the eye, whose slope is 1, three groups on.
		set(atH, -e-longest*(1+3*tan), e+longest*(1+3*tan))
		if m.weak == bothStrong {
			set(atA, shortest, weak)
			set(atB, shortest, weak)
			// Gaps Θ·a + n1·a and b + n2·b are at least 0, and the mask keeps its
			// distance: on the eye's side of image 1, and on the world's side of image 2
			// where its farthest setpoint is there.
			lo1, lo2 := -theta, -1.0
			keep := p.LayerClearance() - p.MaskShift()/2
			if m.space.Seat.Has(objective.SeatFront) {
				lo1 = keep / weak
			}
			if m.space.Seat.Has(objective.SeatRear) && p.VergenceFar == 0 {
				lo2 = keep / weak
			}
			set(atN1, lo1, longest/shortest)
			set(atN2, lo2, longest/shortest)
			break
		}
		set(atA, 0, 1/weak)
		set(atB, 0, 1/shortest)
		if m.weak == rearWeak {
			set(atA, 1/weak, 1/shortest)
			set(atB, 0, 1/weak)
		}
		gap := func(image objective.Seat) float64 {
			if m.space.Seat.Has(image) {
				return 0
			}
			return p.GroupGapMin
		}
		set(atT1, gap(objective.SeatFront), longest)
		set(atT2, gap(objective.SeatRear), longest)
	}
	for i := range m.n {
		if !(x.lo[i] <= x.hi[i]) {
			return x, false
		}
	}
	return x, true
}

// requirementRows are the requirements over a box, each scaled to order 1 and met
// where it is not positive.
type requirementRows struct {
	rows []affine
	// place is which of all requirements a row is, those left out counted, so that
	// rows over two boxes can be told to be the same.
	place []int
	next  int
	scale []float64 // by which each was divided
}

// add takes in that x <= y.
func (rs *requirementRows) add(x, y affine) {
	rs.next++
	scale := math.Abs(x.c) + x.spread() + math.Abs(y.c) + y.spread()
	if scale == 0 {
		return
	}
	rs.rows = append(rs.rows, sum(1/scale, &x, -1/scale, &y))
	rs.place = append(rs.place, rs.next-1)
	rs.scale = append(rs.scale, scale)
}

// takes reports whether a quantity can have a sign.
func (x *affine) takes(sign float64) bool {
	return sign > 0 && (x.hi > 0 || x.lo >= 0) || sign < 0 && x.lo < 0
}

var bothSigns = [2]float64{1, -1}

// aperture takes in that (|chief|·T + r·max |edge + V·chief|)·|weight| <= room.
func (m *thinCase) aperture(rs *requirementRows, chief, edge, weight, room affine) {
	for i, v := range [2]float64{m.p.VergenceFar, m.p.VergenceNear} {
		ray := sum(1, &edge, v, &chief)
		for _, s := range bothSigns {
			for _, t := range bothSigns {
				for _, w := range bothSigns {
					if i == 1 && v == m.p.VergenceFar || !chief.takes(s) || !ray.takes(t) || !weight.takes(w) {
						rs.next++
						continue
					}
					need := sum(float64(s*m.p.TanMax), &chief, float64(t*m.p.PassingEdge()), &ray)
					if w < 0 {
						need = need.negative()
					}
					if weight.lo != 1 || weight.hi != 1 {
						need = need.by(weight)
					}
					rs.add(need, room)
				}
			}
		}
	}
}

// thinForms are what a thin train has over a box, whatever its layout. Gaps are
// air-equivalent, and h is H.
type thinForms struct {
	length, h, gap1, gap2 affine
	rear, front           imageSpace // as a mask would see them
}

// at forms the requirements and the ranked length over a box.
func (m *thinCase) at(x *box, rs *requirementRows) (ranked affine) {
	p := m.p
	rs.rows, rs.place, rs.scale, rs.next = rs.rows[:0], rs.place[:0], rs.scale[:0], 0
	e := x.unknown(atE)
	var f thinForms
	switch {
	case m.space.Layout == objective.Keplerian:
		f = m.keplerian(x, rs, &e)
	case m.space.Layout == objective.ErectorPair && m.weak != bothStrong:
		f = m.weakPair(x, rs, &e)
	case m.space.Layout == objective.ErectorPair:
		f = m.pair(x, rs, &e)
	default:
		f = m.single(x, rs, &e)
	}
	if m.space.Layout != objective.Keplerian {
		if !m.space.Seat.Has(objective.SeatRear) {
			rs.add(constant(p.GroupGapMin), f.gap2)
		}
		if !m.space.Seat.Has(objective.SeatFront) {
			rs.add(constant(p.GroupGapMin), f.gap1)
		}
	}
	masks := m.space.Seat.Masks()
	length := f.length.shifted(float64(len(masks)) * p.MaskShift())
	if !math.IsInf(p.LengthMax, 1) {
		rs.add(length, constant(p.LengthMax))
	}
	for _, seat := range masks {
		if seat == objective.SeatFront {
			m.mask(rs, &f.front)
		} else {
			m.mask(rs, &f.rear)
		}
	}
	toEye := length.plus(e).shifted(p.CombinerShift())
	if limit := p.LimitOn(objective.ViewpointShiftMM); !math.IsInf(limit, 1) {
		shift := toEye.plus(f.h.times(p.Magnification))
		rs.add(shift, constant(limit))
		rs.add(shift.negative(), constant(limit))
	}
	if m.by == objective.ByLengthToEye {
		return toEye
	}
	return length
}

// unknown is unknown i over the box.
func (b *box) unknown(i int) affine { return unknown(i, b.lo[i], b.hi[i]) }

// keplerian forms a train of that layout and takes in its apertures.
func (m *thinCase) keplerian(x *box, rs *requirementRows, e *affine) (f thinForms) {
	one := constant(1)
	n, b := x.unknown(atA), x.unknown(atB)
	p := e.minus(b)
	a := n.by(b)
	m.aperture(rs, e.negative(), one, one, b.times(m.opening))
	m.aperture(rs, b.minus(n.by(p)), n, one, a.times(m.opening))
	f.gap1 = a.plus(b)
	f.length = f.gap1
	f.h = a.minus(n.by(n).by(p)).times(1 / m.p.Magnification) // f_front - n²·p, over Θ
	f.rear = imageSpace{one, b, p.negative(), a, b}
	return f
}

// weakPair forms a train with a pair relay of which an end is weak, and takes in its apertures,
// inner gap and relay.
func (m *thinCase) weakPair(x *box, rs *requirementRows, e *affine) (f thinForms) {
	theta, one := m.p.Magnification, constant(1)
	alpha, beta, t1, t2 := x.unknown(atA), x.unknown(atB), x.unknown(atT1), x.unknown(atT2)
	f.h = x.unknown(atH)
	w1, w2 := one.minus(alpha.by(f.h)).times(1/theta), one.minus(beta.by(*e))
	m.aperture(rs, e.negative(), one, beta, constant(m.opening))
	m.aperture(rs, f.h, constant(theta), alpha, constant(m.opening*theta))
	n1, n2 := alpha.by(t1).shifted(-theta), beta.by(t2).shifted(-1)
	g1, g2 := f.h.plus(t1.by(w1)), e.plus(t2.by(w2))
	s := n1.by(g2).plus(n2.by(g1))
	rs.add(constant(m.p.GroupGapMin), s)
	rs.add(alpha.by(w2).plus(beta.by(w1)), constant(-1/objective.PairFocalMax)) // -a·b/f_relay
	turn, drop := g1.plus(g2), n1.minus(n2)
	m.aperture(rs, turn.plus(s.by(w1)), drop.plus(s.by(alpha)).negative(), one, s.times(m.opening))
	m.aperture(rs, turn.plus(s.by(w2)), s.by(beta).minus(drop), one, s.times(m.opening))
	s.lo = math.Max(s.lo, m.p.GroupGapMin)
	f.gap1, f.gap2 = t1, t2
	f.length = t1.plus(s).plus(t2)
	f.rear = imageSpace{beta, one, w2, n2, one}
	f.front = imageSpace{alpha, one, w1.negative(), constant(theta), n1}
	return f
}

// single forms a train with a single relay, and takes in its apertures.
func (m *thinCase) single(x *box, rs *requirementRows, e *affine) (f thinForms) {
	theta := m.p.Magnification
	a, b, k := x.unknown(atA), x.unknown(atB), x.unknown(atInverseN)
	p := e.minus(b)
	ends := a.plus(b)
	n := k.inverse()
	q := p.minus(ends.by(k)) // q'
	f.h = a.minus(q.times(theta))
	// Heights at the relay over n.
	m.aperture(rs, b.by(k).minus(p), constant(1), ends, a.by(b).times(m.opening))
	m.ends(rs, &f, e, a, b, n, n, p, q)
	f.length = a.times(theta).plus(b).plus(n.by(ends))
	return f
}

// pair forms a train with a pair relay and strong ends, and takes in its apertures, inner gap
// and relay.
func (m *thinCase) pair(x *box, rs *requirementRows, e *affine) (f thinForms) {
	a, b := x.unknown(atA), x.unknown(atB)
	p := e.minus(b)
	n1, n2 := x.unknown(atN1), x.unknown(atN2)
	f.h = x.unknown(atH)
	q := a.minus(f.h).times(1 / m.p.Magnification) // q'
	m.ends(rs, &f, e, a, b, n1, n2, p, q)
	g1, g2 := a.plus(n1.by(q)), b.minus(n2.by(p))
	s := n1.by(g2).plus(n2.by(g1))
	rs.add(constant(m.p.GroupGapMin), s)
	rs.add(a.by(b).times(1/objective.PairFocalMax), p.minus(q)) // of a·b/f_relay = τ
	turn, drop := g1.plus(g2), n1.minus(n2)
	m.aperture(rs, s.by(q).plus(a.by(turn)), s.plus(a.by(drop)).negative(), constant(1), a.by(s).times(m.opening))
	m.aperture(rs, b.by(turn).minus(s.by(p)), s.minus(b.by(drop)), constant(1), b.by(s).times(m.opening))
	f.gap1.lo, f.gap2.lo, s.lo = math.Max(f.gap1.lo, 0), math.Max(f.gap2.lo, 0), math.Max(s.lo, m.p.GroupGapMin)
	f.length = f.gap1.plus(s).plus(f.gap2)
	return f
}

// ends takes in the apertures of a strong front and rear, of focal lengths Θ·a and b, and forms
// the gaps and image spaces next to them: n1·a and n2·b from the images to the relay.
func (m *thinCase) ends(rs *requirementRows, f *thinForms, e *affine, a, b, n1, n2, p, q affine) {
	theta, one := m.p.Magnification, constant(1)
	m.aperture(rs, e.negative(), one, one, b.times(m.opening))
	m.aperture(rs, f.h, constant(theta), one, a.times(m.opening*theta))
	d1, d2 := n1.by(a), n2.by(b)
	f.gap1, f.gap2 = d1.plus(a.times(theta)), d2.plus(b)
	f.rear = imageSpace{one, b, p.negative(), d2, b}
	f.front = imageSpace{one, a, q.negative(), a.times(theta), d1}
}

// imageSpace is where the mask stands: between a group and the next, of the focal
// length f of what stands behind (over Θ, for the front seat). Everything is
// either in lengths, unit = 1 and scale = f, or over f, unit = 1/f and scale = 1.
type imageSpace struct {
	unit, scale affine
	w           affine // -p, of ω = unit + w·V
	// before and behind are from the group before the mask to its image of the
	// distant world, and from there to the next group.
	before, behind affine
}

// mask takes in the requirements on the mask's motion (mask.go), multiplied out: x
// = scale²·V/ω, and w there is ω/unit.
func (m *thinCase) mask(rs *requirementRows, at *imageSpace) {
	p := m.p
	keep := at.unit.times(p.LayerClearance() - p.MaskShift()/2)
	far, near := sum(1, &at.unit, p.VergenceFar, &at.w), sum(1, &at.unit, p.VergenceNear, &at.w)
	square := at.scale.by(at.scale)
	rs.add(constant(0), near)
	rs.add(far.by(keep.minus(at.before)), square.times(p.VergenceFar))
	rs.add(keep, at.behind) // as x >= 0: implied by the next, but sharper over wide boxes
	rs.add(square.times(p.VergenceNear), near.by(at.behind.minus(keep)))
	if p.VergenceNear > p.VergenceFar {
		rs.add(square.times(p.VergenceNear-p.VergenceFar), far.by(near).times(p.Travel))
	}
	size := math.Max(2*p.TanHalfWidth/p.MaskWidth, 2*p.TanHalfHeight/p.MaskHeight)
	most := math.Tan(p.LimitOn(objective.PixelArcmin)*objective.ArcminRad) / p.MaskPixel
	if math.IsInf(p.LimitOn(objective.PixelArcmin), 1) {
		most = math.Inf(1)
	}
	most = math.Min(most, math.Sqrt(p.LimitOn(objective.DepthStepD)/(1000*p.StageResolution)))
	for _, omega := range [2]affine{far, near} {
		rs.add(at.scale.times(size), omega)
		if !math.IsInf(most, 1) {
			rs.add(omega, at.scale.times(most))
		}
	}
}

// train is the thin train at a point of the unknowns, judged by the model of
// the package: with its smallest eye relief, or the requirement that it breaks.
func (m *thinCase) train(x *[unknownCount]float64) (*objective.Train, objective.Requirement) {
	p := *m.p
	p.LensesMax, p.PartsMax = 0, 0
	p.MagnificationTol += 1e-12 // so that rounding does not break a tolerance of 0
	p.Limits.Max = map[string]float64{}
	for name, limit := range m.p.Limits.Max {
		if name != objective.Price.String() && name != objective.MassG.String() {
			p.Limits.Max[name] = limit
		}
	}
	a, b := x[atA], x[atB]
	t := &objective.Train{Layout: m.space.Layout, Seat: m.space.Seat}
	add := func(focal float64) {
		t.Groups = append(t.Groups, objective.ThinGroup(focal, m.opening*math.Abs(focal)))
	}
	inner := 0.0
	switch m.space.Layout {
	case objective.Keplerian:
		add(a * b)
	case objective.ErectorSingle:
		add(p.Magnification * a)
		add(a * b / (float64((a + b) * x[atInverseN])))
	case objective.ErectorPair:
		theta, e, h := p.Magnification, x[atE], x[atH]
		var n1, n2, g1, g2, w1, w2 float64
		if m.weak == bothStrong {
			n1, n2 = x[atN1], x[atN2]
			w1, w2 = (1-h/a)/theta, 1-e/b
			g1, g2 = a+float64(n1*w1*a), b+float64(n2*w2*b)
			a, b = 1/a, 1/b
		} else {
			t1, t2 := x[atT1], x[atT2]
			a, b = math.Max(a, weakest), math.Max(b, weakest)
			w1, w2 = (1-float64(a*h))/theta, 1-float64(b*e)
			n1, n2 = float64(a*t1)-theta, float64(b*t2)-1
			g1, g2 = h+float64(t1*w1), e+float64(t2*w2)
		}
		inner = float64(n1*g2) + float64(n2*g1)
		add(theta / a)
		add(inner / (1 + float64(a*g2) + float64(n2*w1)))
		add(inner / (1 + float64(b*g1) + float64(n1*w2)))
		b = 1 / b
	}
	add(b)
	return t, p.Solve(t, inner)
}

// weakest, in 1/mm, is the least power of a front or a rear in a train that is
// reported: a focal length of 1000 km stands for an infinite one.
const weakest = 1e-9
