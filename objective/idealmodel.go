package objective

import (
	"math"

	"relaysweep/catalog"
)

// A thin train in numbers in which its requirements are products of few
// factors. With a = f_front/Θ, b = f_rear, e the air-equivalent eye relief,
//
//	p = e - b, the eye's distance behind the rear focal point of the rear group,
//	H = a - Θ·q', the chief height at the front, q' = q/Θ² as in side.go,
//
// edge and chief height at the relay group next to image 1 are -n1 and g1, at the
// one next to image 2 -n2 and -g2 (all per unit slope or height at the eye):
//
//	d1 = n1·a, d2 = n2·b     from image 1 to the relay and from it to image 2
//	g1 = a + n1·q', g2 = b - n2·p
//
// which is Newton's equation for front and rear. The Lagrange invariant of the
// two rays is 1 at the eye, hence between the relay groups too, where it gives the
// gap s and with it the powers:
//
//	s = n1·g2 + n2·g1
//	φ1 = (a + b - n2·τ)/(a·s), φ2 = (a + b - n1·τ)/(b·s), τ = p - q' = a·b/f_relay
//
// A single relay is s = 0: n1 = n2 = n, g1 = -g2, n·τ = a + b. A keplerian has its
// front in the relay's place: n = f_front/f_rear, and q' = p. Length is the sum of
// the distances,
//
//	L = f_front + d1 + s + d2 + f_rear + plate.
//
// In terms of a relay's power these are the gaps and the κ of side.go and pair.go,
// from which they were derived and against which they are tested.

// idealCase is one layout and seat of a problem, for thin groups whose clear
// diameters are at most 2·opening times their focal lengths.
type idealCase struct {
	p       *Problem
	space   Space
	opening float64
	by      RankBy
	n       int // unknowns
}

// The unknowns, by place: a, b, e in all; then 1/n of a single relay, or n1, n2
// and H of a pair. A keplerian has n in place of a.
const (
	idealA = iota
	idealB
	idealE
	idealInverseN
	idealN1 = iota - 1
	idealN2
	idealH
)

func newIdealCase(p *Problem, space Space, opening float64, by RankBy) *idealCase {
	return &idealCase{p: p, space: space, opening: opening, by: by, n: [...]int{3, 4, 6}[space.Layout]}
}

// box is a range for each unknown.
type box struct{ lo, hi [idealUnknowns]float64 }

// whole holds every thin train up to a length, but for those whose breach of a
// requirement shows at once; false when it shows for all.
func (m *idealCase) whole(longest float64) (box, bool) {
	p, theta := m.p, m.p.Magnification
	var x box
	set := func(i int, lo, hi float64) { x.lo[i], x.hi[i] = lo, hi }
	// With x the chief height at the rear (or 1/Θ of that at the front), its aperture
	// is at least x·T + r·max(0, 1 - V·x), which is least at x = 0 or 1/V.
	least := p.PupilReach()
	if p.VergenceNear > 0 {
		least = math.Min(least, p.TanMax/p.VergenceNear)
	}
	shortest := least / m.opening
	set(idealA, shortest, longest/theta)
	set(idealB, shortest, longest)
	shift := p.CombinerShift()
	set(idealE, math.Max(p.ReliefMin, p.CombinerMM)-shift, p.ReliefMax-shift)
	e := math.Max(math.Abs(x.lo[idealE]), math.Abs(x.hi[idealE]))
	switch m.space.Layout {
	case Keplerian:
		lo := theta * (1 - p.MagnificationTol)
		set(idealA, math.Max(lo, shortest/longest), theta*(1+p.MagnificationTol))
	case ErectorSingle:
		// n·(a + b) is less than the length; and with H = a - Θ·q' and
		// q' = p - (a + b)/n, |H|·T <= opening·Θ·a limits 1/n.
		set(idealInverseN, 2*shortest/longest, m.opening/p.TanMax+e/(2*shortest))
	case ErectorPair:
		// gap 1 = Θ·a + n1·a and gap 2 = b + n2·b are positive, and no longer
		// than the train.
		set(idealN1, -theta, longest/shortest)
		set(idealN2, -1, longest/shortest)
		// The mask stands on the eye's side of the group before it and on the
		// world's side of the one behind, which for the front seat is the relay,
		// and for the rear seat with an infinite depth, x = 0, likewise.
		if keep := m.keep(); keep > 0 {
			if m.space.Seat == SeatFront {
				x.lo[idealN1] = keep / (longest / theta)
			} else if p.VergenceFar == 0 {
				x.lo[idealN2] = keep / longest
			}
		}
		set(idealH, -m.opening*longest/p.TanMax, m.opening*longest/p.TanMax)
	}
	for i := range m.n {
		if !(x.lo[i] <= x.hi[i]) {
			return x, false
		}
	}
	return x, true
}

// idealRows are the requirements over a box, each scaled to order 1 and met
// where it is not positive.
type idealRows struct {
	rows []affine
	// place is which of all requirements a row is, those left out counted, so that
	// rows over two boxes can be told to be the same.
	place []int
	next  int
	scale []float64 // by which each was divided
}

// add takes in that x <= y.
func (rs *idealRows) add(x, y affine) {
	rs.next++
	scale := math.Abs(x.c) + x.spread() + math.Abs(y.c) + y.spread()
	if scale == 0 {
		return
	}
	rs.rows = append(rs.rows, x.minus(y).times(1/scale))
	rs.place = append(rs.place, rs.next-1)
	rs.scale = append(rs.scale, scale)
}

// takes tells whether a quantity can have a sign.
func (x *affine) takes(sign float64) bool {
	return sign > 0 && (x.hi > 0 || x.lo >= 0) || sign < 0 && x.lo < 0
}

var bothSigns = [2]float64{1, -1}

// aperture takes in that (|chief|·T + r·max |edge + V·chief|)·|weight| <= room.
func (m *idealCase) aperture(rs *idealRows, chief, edge, weight, room affine) {
	for i, v := range [2]float64{m.p.VergenceFar, m.p.VergenceNear} {
		ray := edge.plus(chief.times(v))
		for _, s := range bothSigns {
			for _, t := range bothSigns {
				for _, w := range bothSigns {
					if i == 1 && v == m.p.VergenceFar || !chief.takes(s) || !ray.takes(t) || !weight.takes(w) {
						rs.next++
						continue
					}
					need := chief.times(s * m.p.TanMax).plus(ray.times(t * m.p.PupilReach()))
					rs.add(need.by(weight.times(w)), room)
				}
			}
		}
	}
}

// at forms the requirements and the ranked length over a box.
func (m *idealCase) at(x *box, rs *idealRows) (ranked affine) {
	p, theta := m.p, m.p.Magnification
	rs.rows, rs.place, rs.scale, rs.next = rs.rows[:0], rs.place[:0], rs.scale[:0], 0
	of := func(i int) affine { return unknown(i, x.lo[i], x.hi[i]) }
	b, e := of(idealB), of(idealE)
	behind := e.minus(b) // p
	zero, one := constant(0), constant(1)
	var a, q affine          // q'
	var before, after affine // from the group before the mask to the image there, and on to the next
	var length affine
	room := func(f affine) affine { return f.times(m.opening) }
	m.aperture(rs, e.times(-1), constant(1), one, room(b))
	switch m.space.Layout {
	case Keplerian:
		n := of(idealA)
		a = n.by(b)
		g := b.minus(n.by(behind))
		m.aperture(rs, g, n, one, room(a))
		length = a.plus(b)
		before, after = a, b
		if limit := p.Limits.Limit("viewpoint_shift_mm"); !math.IsInf(limit, 1) {
			// q = Θ²·p with Θ = -n
			q = n.by(n).by(behind).times(1 / (theta * theta))
		}
		a = a.times(1 / theta)
	case ErectorSingle:
		a = of(idealA)
		k := of(idealInverseN)
		n := k.inverse()
		sum := a.plus(b)
		tau := sum.by(k)
		q = behind.minus(tau)
		h := a.minus(q.times(theta))
		m.aperture(rs, h, constant(theta), one, room(a.times(theta)))
		// Heights at the relay over n; its focal length is n·a·b/(a + b).
		m.aperture(rs, b.by(k).minus(behind), constant(1), sum, room(a.by(b)))
		d1, d2 := n.by(a), n.by(b)
		length = a.times(theta).plus(b).plus(n.by(sum))
		before, after = d2, b
		gap := a.times(theta).plus(d1)
		if m.space.Seat == SeatFront {
			before, after = a.times(theta), d1
			gap = b.plus(d2)
		}
		rs.add(constant(p.GroupGapMin), gap)
	case ErectorPair:
		a = of(idealA)
		n1, n2, h := of(idealN1), of(idealN2), of(idealH)
		q = a.minus(h).times(1 / theta)
		tau := behind.minus(q)
		sum := a.plus(b)
		g1, g2 := a.plus(n1.by(q)), b.minus(n2.by(behind))
		s := n1.by(g2).plus(n2.by(g1))
		m.aperture(rs, h, constant(theta), one, room(a.times(theta)))
		power1, power2 := sum.minus(n2.by(tau)), sum.minus(n1.by(tau)) // times a·s, b·s
		m.aperture(rs, g1, n1.times(-1), power1, room(a.by(s)))
		m.aperture(rs, g2, n2, power2, room(b.by(s)))
		rs.add(zero, tau)
		rs.add(constant(p.GroupGapMin), s)
		d1, d2 := n1.by(a), n2.by(b)
		before, after = d2, b
		gap1, gap2 := a.times(theta).plus(d1), b.plus(d2)
		if m.space.Seat == SeatFront {
			before, after = a.times(theta), d1
			rs.add(constant(p.GroupGapMin), gap2)
		} else {
			rs.add(constant(p.GroupGapMin), gap1)
		}
		gap1.lo, gap2.lo, s.lo = math.Max(gap1.lo, 0), math.Max(gap2.lo, 0), math.Max(s.lo, p.GroupGapMin)
		length = gap1.plus(s).plus(gap2)
	}
	length = length.shifted(p.MaskShift())
	if !math.IsInf(p.LengthMax, 1) {
		rs.add(length, constant(p.LengthMax))
	}
	focal, place := b, behind
	if m.space.Seat == SeatFront {
		focal, place = a, q
	}
	m.mask(rs, focal, place, before, after)
	toEye := length.plus(e).shifted(p.CombinerShift())
	if limit := p.Limits.Limit("viewpoint_shift_mm"); !math.IsInf(limit, 1) {
		shift := toEye.plus(a.times(theta)).minus(q.times(theta * theta))
		rs.add(shift, constant(limit))
		rs.add(shift.times(-1), constant(limit))
	}
	if m.by == ByLengthToEye {
		return toEye
	}
	return length
}

// keep is the air-equivalent distance that an image at the mask's layer keeps from
// the groups on either side.
func (m *idealCase) keep() float64 {
	return m.p.Clearance + m.p.MaskGlass/2 - m.p.MaskShift()/2
}

// mask takes in the requirements on the mask's motion (mask.go) with w = 1 -
// p·V, multiplied out.
func (m *idealCase) mask(rs *idealRows, f, place, before, after affine) {
	p := m.p
	keep := m.keep()
	w := func(v float64) affine { return place.times(-v).shifted(1) }
	far, near := w(p.VergenceFar), w(p.VergenceNear)
	square := f.by(f)
	rs.add(constant(0), near)
	rs.add(before.times(-1).shifted(keep).by(far), square.times(p.VergenceFar))
	rs.add(constant(keep), after) // as x >= 0: implied, but sharper over wide boxes
	rs.add(square.times(p.VergenceNear), after.shifted(-keep).by(near))
	if p.VergenceNear > p.VergenceFar {
		rs.add(square.times(p.VergenceNear-p.VergenceFar), far.by(near).times(p.Travel))
	}
	size := math.Max(2*p.TanHalfWidth/p.MaskWidth, 2*p.TanHalfHeight/p.MaskHeight)
	pixel := math.Tan(p.Limits.Limit("pixel_arcmin")*arcminRad) / p.MaskPixel
	step := math.Sqrt(p.Limits.Limit("depth_step_D") / (1000 * p.StageResolution))
	for _, w := range [2]affine{far, near} {
		rs.add(f.times(size), w)
		if !math.IsInf(p.Limits.Limit("pixel_arcmin"), 1) {
			rs.add(w, f.times(pixel))
		}
		if !math.IsInf(step, 1) {
			rs.add(w, f.times(step))
		}
	}
}

// train is the thin train at a point of the unknowns, judged by the model of
// the package: with its smallest eye relief, or the requirement that it breaks.
func (m *idealCase) train(x *[idealUnknowns]float64) (*Train, Requirement) {
	p := *m.p
	p.LensesMax, p.PartsMax = 0, 0
	p.MagnificationTol += 1e-12 // so that rounding does not break a tolerance of 0
	p.Limits.Max = map[string]float64{}
	for name, limit := range m.p.Limits.Max {
		if name != "price" && name != "mass_g" {
			p.Limits.Max[name] = limit
		}
	}
	b := x[idealB]
	t := &Train{Layout: m.space.Layout, Seat: m.space.Seat}
	add := func(focal float64) { t.Groups = append(t.Groups, thinGroup(focal, m.opening*math.Abs(focal))) }
	inner := 0.0
	switch m.space.Layout {
	case Keplerian:
		add(x[idealA] * b)
	case ErectorSingle:
		a := x[idealA]
		add(p.Magnification * a)
		add(a * b / (float64((a + b) * x[idealInverseN])))
	case ErectorPair:
		a, n1, n2 := x[idealA], x[idealN1], x[idealN2]
		q, behind := (a-x[idealH])/p.Magnification, x[idealE]-b
		g1, g2 := a+float64(n1*q), b-float64(n2*behind)
		inner = float64(n1*g2) + float64(n2*g1)
		tau := behind - q
		add(p.Magnification * a)
		add(a * inner / (a + b - float64(n2*tau)))
		add(b * inner / (a + b - float64(n1*tau)))
	}
	add(b)
	return t, p.Solve(t, inner)
}

// idealLens stands for the lenses of a thin group.
var idealLens = &catalog.Lens{
	Part: "thin", Stock: catalog.Unlimited, Price: catalog.Unset, Surfaces: []catalog.Surface{{RadiusMM: math.Inf(1)}},
}

// thinGroup is a group without thickness.
func thinGroup(focal, clear float64) *Group {
	e := &Element{
		Lens: idealLens, Surfaces: idealLens.Surfaces, matrix: Matrix{1, 0, -1 / focal, 1},
		toSurface: []heightRow{{1, 0}}, fromSurface: []heightRow{{1, 0}}, clear: clear, firstSphere: true, lastSphere: true,
	}
	return &Group{Elements: []*Element{e}, matrix: e.matrix, FocalMM: focal, FFDMM: focal, BFDMM: focal}
}
