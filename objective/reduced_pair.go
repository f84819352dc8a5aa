package objective

import "math"

// A pair relay of groups 1 and 2 with inner gap s acts as one group. With
// w = BFD1 + FFD2 - s, S = f1 + f2, P = f1·f2 and v = 1/w (two-component
// systems: W. J. Smith, Modern Optical Engineering, 4th ed., 2008, Eqs. 4.4 to
// 4.8),
//
//	f_c   = P·v
//	FFD_c = FFD1 - f1²·v
//	BFD_c = BFD2 - f2²·v
//	t_c   = t1 + t2 + BFD1 + FFD2 - 1/v
//
// so the gaps and focal length of the train are linear in v, and its length is
//
//	L(v) = ToFocus_front + FromFocus_rear + hiatus1 + hiatus2 + 2S + (κP - S²)·v - 1/v + plate.
//
// L'' = -2/v³: for P > 0 (v > 0) L is concave, its least value at an end of
// any interval; for P < 0 (v < 0) it is convex, with one minimum.

// PairRelay is two relay groups, reduced.
type PairRelay struct {
	First, Second *Group
	f1, f2        float64
	sum, product  float64 // S, P
	span          float64 // hiatus1 + hiatus2 + 2S
	ffd, bfd      float64 // FFD1, BFD2
	fold          float64 // BFD1 + FFD2: s = fold - 1/v
	domain        Interval
	forward       []surfaceRow // of the first group
	back          []surfaceRow // of the second group
}

// PairComponentRows is one group of a pair relay, with its height rows from its first
// vertex and from behind its last.
type PairComponentRows struct {
	Group         *Group
	forward, back []surfaceRow
}

// NewPairComponentRows prepares a group for either slot of a pair relay.
func NewPairComponentRows(g *Group) PairComponentRows {
	n := g.surfaces()
	h := PairComponentRows{Group: g, forward: make([]surfaceRow, 0, n), back: make([]surfaceRow, 0, n)}
	g.eachForward(func(row heightRow, clear float64) {
		h.forward = append(h.forward, surfaceRow{row, clear})
	})
	g.eachBack(heightRow{1, 0}, heightRow{0, 1}, func(row heightRow, clear float64) {
		h.back = append(h.back, surfaceRow{row, clear})
	})
	return h
}

// NewPairRelay reduces two groups, false when no inner gap makes them positive
// together.
func (p *Problem) NewPairRelay(first, second PairComponentRows) (PairRelay, bool) {
	a, b := first.Group, second.Group
	r := PairRelay{
		First: a, Second: b, forward: first.forward, back: second.back, f1: a.FocalMM, f2: b.FocalMM,
		sum: a.FocalMM + b.FocalMM, product: a.FocalMM * b.FocalMM,
		ffd: a.FFDMM, bfd: b.BFDMM, fold: a.BFDMM + b.FFDMM,
	}
	if powerless(r.f1) || powerless(r.f2) {
		return r, false
	}
	r.span = a.ThicknessMM + b.ThicknessMM + a.FFDMM + b.BFDMM + r.fold
	size := math.Abs(r.product)
	v := Interval{pairFocalMin / size, PairFocalMax / size}
	if r.product < 0 {
		v.Lo, v.Hi = -v.Hi, -v.Lo
	}
	switch widest := r.fold - p.LeastGap(a, b); { // w <= widest
	case r.product > 0 && widest <= 0:
		return r, false
	case r.product > 0 || widest < 0:
		v.Lo = max(v.Lo, 1/widest)
	}
	r.domain = v
	return r, !v.Empty()
}

// pairFocalMin and PairFocalMax, in mm, bound the focal lengths of a pair
// relay that are looked at. The least is far outside anything that can be a relay
// and only keeps v finite.
const (
	pairFocalMin = 1e-6
	PairFocalMax = FocalMost
)

// inner is the inner gap s at v.
func (r *PairRelay) inner(v float64) float64 { return r.fold - 1/v }

// pairCase is a train of front, pair relay and rear as a function of v.
type pairCase struct {
	p              *Problem
	front          *Front
	rear           *Rear
	relay          *PairRelay
	seat           Seat
	until          Requirement
	theta          float64
	coupling       float64 // Θ²·p - q = coupling/v
	slope1, slope2 float64 // of image 1 to relay and relay to image 2, a v
	base, kv       float64 // L = base + kv·v - 1/v
	// shorter and kvLeast are what refinement can take off base, and its kv where
	// it makes κ least.
	shorter, kvLeast float64
	viewpointMax     float64
	lengthMax        float64
}

func (p *Problem) newPairCase(i *Front, r *PairRelay, k *Rear, seat Seat, until Requirement) pairCase {
	theta := p.Magnification
	m := theta * k.F / i.F
	rearU := k.Group.ThicknessMM + k.FFD
	c := pairCase{
		p: p, front: i, rear: k, relay: r, seat: seat, until: until, theta: theta,
		coupling:     theta * i.F * k.F / r.product,
		slope1:       r.product/m - float64(r.f1*r.f1),
		slope2:       float64(r.product*m) - float64(r.f2*r.f2),
		base:         i.ToFocus + rearU + r.span + p.MaskShift(),
		kv:           float64(kappa(m)*r.product) - float64(r.sum*r.sum),
		shorter:      rearU - k.FromFocus,
		viewpointMax: math.Inf(1),
		lengthMax:    math.Inf(1),
	}
	c.kvLeast = c.kv
	if k.Sway > 0 { // a relay is positive: f_c = P·v > 0, and f_c·κ least where κ is
		c.kvLeast = float64(leastKappa(swayed(m, k.Sway))*r.product) - float64(r.sum*r.sum)
	}
	if until >= Length {
		c.lengthMax = p.LengthMax
	}
	if until >= ViewpointShiftMM {
		c.viewpointMax = p.LimitOn(ViewpointShiftMM)
	}
	return c
}

// length is L(v).
func (c *pairCase) length(v float64) float64 { return c.base + float64(c.kv*v) - 1/v }

// turning is where L'(v) = 0 in the domain, 0 when nowhere.
func (c *pairCase) turning() float64 { return c.turningOf(c.kv) }

// turningOf is turning for another kv.
func (c *pairCase) turningOf(kv float64) float64 {
	if kv >= 0 {
		return 0
	}
	return math.Copysign(1/math.Sqrt(-kv), c.relay.product)
}

// leastGaps are the smallest air-equivalent distances from front to relay and
// from relay to rear: those between the groups, and for the mask's gap the
// room that the clearance takes.
func (c *pairCase) leastGaps() (gap1, gap2 float64) {
	p, r := c.p, c.relay
	mask := func(before, after *Group) float64 {
		if c.until < Clearance {
			return math.Inf(-1)
		}
		return 2*p.Clearance + p.MaskGlass - p.MaskShift() + before.lastSagMax() - after.firstSagMin()
	}
	least := func(image Seat, before, after *Group) float64 {
		if c.seat.Has(image) {
			return mask(before, after)
		}
		return p.LeastGap(before, after)
	}
	return least(SeatFront, c.front.Group, r.First), least(SeatRear, r.Second, c.rear.Group)
}

// reachable is the interval of v that the gaps and the coupling of the front's
// and the rear's intervals leave; empty when none.
func (c *pairCase) reachable() Interval { return c.within(c.leastGaps()) }

// within is reachable for given least gaps.
func (c *pairCase) within(gap1, gap2 float64) Interval {
	v := c.relay.domain
	clipGap := func(at0, slope, least float64) {
		if !math.IsInf(least, -1) {
			v.clip(-slope, at0-least)
		}
	}
	clipGap(c.front.Group.BFDMM+c.relay.ffd, c.slope1, gap1)
	clipGap(c.rear.Group.FFDMM+c.relay.bfd, c.slope2, gap2)
	// coupling/v = Θ²p - q > 0 lies between these; as v has the sign of
	// coupling, v·bound against coupling keeps the sense of each.
	t2 := c.theta * c.theta
	most := float64(t2*c.rear.P.Hi) - c.front.Q.Lo
	least := float64(t2*c.rear.P.Lo) - c.front.Q.Hi
	if !(most > -reliefSlack) {
		return nothing
	}
	sign := math.Copysign(1, c.relay.product)
	clipCoupling := func(s, bound float64) { // s·(coupling - bound·v)·sign <= 0
		if !math.IsInf(bound, 0) && !math.IsNaN(bound) {
			v.clip(-s*sign*bound, -s*sign*c.coupling)
		}
	}
	clipCoupling(1, most+reliefSlack)
	clipCoupling(-1, least-reliefSlack)
	return v
}

// eye is the interval of p that meets the requirements at some v in [v0, v1]:
// exact when v0 = v1, otherwise a superset. Every height is linear in v, so
// each condition at a given p is loosest at v0 or v1.
func (c *pairCase) eye(v0, v1 float64) Interval {
	p, r, t2 := c.p, c.relay, c.theta*c.theta
	lift := Interval{c.coupling / v1, c.coupling / v0} // q = Θ²p - lift
	if lift.Lo > lift.Hi {
		lift.Lo, lift.Hi = lift.Hi, lift.Lo
	}
	toP := func(q Interval) Interval {
		return Interval{(q.Lo + lift.Lo) / t2, (q.Hi + lift.Hi) / t2}
	}
	image1, image2 := c.images(v0, v1)
	eye, q := c.rear.P, c.front.Q
	if c.until >= Clearance {
		keep := p.LayerClearance()
		if c.seat.Has(SeatRear) {
			lo := keep + r.Second.lastSagMax() - max(image2.Lo, image2.Hi) - p.MaskShift()/2
			eye = eye.And(maskMotion{p, c.rear.F}.room(lo, math.Inf(1)))
		}
		if c.seat.Has(SeatFront) {
			hi := max(image1.Lo, image1.Hi) + p.MaskShift()/2 - keep + r.First.firstSagMin()
			q = q.And(maskMotion{p, c.front.F / c.theta}.room(math.Inf(-1), hi).affine(t2, 0))
		}
	}
	if c.until >= Aperture {
		for _, row := range r.forward {
			p.clipEither(&q, c.forwardEdge(row, image1), 1/t2, row.A*c.front.F/c.theta, row.clear)
		}
		for _, row := range r.back {
			p.clipEither(&eye, c.backEdge(row, image2), 1, -row.A*c.rear.F, row.clear)
		}
	}
	eye = eye.And(toP(q))
	if !math.IsInf(c.viewpointMax, 1) && !eye.Empty() {
		eye = eye.And(c.viewpoint(v0, v1, lift))
	}
	return eye
}

// images are the distances from image 1 to the relay's first vertex and from
// its last vertex to image 2, at v0 and at v1.
func (c *pairCase) images(v0, v1 float64) (image1, image2 Interval) {
	r := c.relay
	return Interval{r.ffd + float64(c.slope1*v0), r.ffd + float64(c.slope1*v1)},
		Interval{r.bfd + float64(c.slope2*v0), r.bfd + float64(c.slope2*v1)}
}

// forwardEdge is the pupil-edge height at a surface of the first relay group,
// backEdge at one of the second, at the two ends of the images' distances.
func (c *pairCase) forwardEdge(row surfaceRow, image1 Interval) Interval {
	slope := -c.theta / c.front.F
	return Interval{slope * (float64(row.A*image1.Lo) + row.B), slope * (float64(row.A*image1.Hi) + row.B)}
}

func (c *pairCase) backEdge(row surfaceRow, image2 Interval) Interval {
	return Interval{
		(row.B - float64(row.A*image2.Lo)) / c.rear.F,
		(row.B - float64(row.A*image2.Hi)) / c.rear.F,
	}
}

// clipEither clips an interval of x by the aperture of a surface at which the
// edge height is one of two values or between, and the chief height is
// at0 - scale·x·edge.
func (p *Problem) clipEither(x *Interval, edge Interval, scale, at0, clear float64) {
	if edge.Lo == edge.Hi {
		p.clipAperture(x, -scale*edge.Lo, at0, edge.Lo, clear)
		return
	}
	p.eachCondition(edge, scale, at0, clear, x.clipUnion)
}

// eachCondition visits the eight conditions slope·x <= bound of an aperture at
// which the chief height is at0 - scale·x·edge, each for both ends of the edge
// height; slope and bound are linear between them.
func (p *Problem) eachCondition(edge Interval, scale, at0, clear float64, visit func(slope0, bound0, slope1, bound1 float64)) {
	r := p.PassingEdge()
	for _, v := range [2]float64{p.VergenceFar, p.VergenceNear} {
		for _, s := range [2]float64{1, -1} {
			k := float64(s*p.TanMax) + float64(r*v)
			for _, side := range [2]float64{1, -1} {
				// side·(k·(at0 - scale·x·edge) + r·edge) <= clear
				a := side * k * scale
				visit(-a*edge.Lo, clear-side*(float64(k*at0)+float64(r*edge.Lo)),
					-a*edge.Hi, clear-side*(float64(k*at0)+float64(r*edge.Hi)))
			}
		}
	}
}

// clipUnion intersects the interval with the hull of the x that meet
// slope0·x <= bound0 or slope1·x <= bound1.
func (i *Interval) clipUnion(slope0, bound0, slope1, bound1 float64) {
	a, b := Everything, Everything
	a.clip(slope0, bound0)
	b.clip(slope1, bound1)
	switch {
	case a.Empty():
		*i = i.And(b)
	case b.Empty():
		*i = i.And(a)
	default:
		*i = i.And(Interval{min(a.Lo, b.Lo), max(a.Hi, b.Hi)})
	}
}

// viewpoint is the interval of p for which the viewpoint's shift
// L + e + FFD_front - q, with e = p + BFD_rear + combiner shift, keeps its
// limit at some v in [v0, v1].
func (c *pairCase) viewpoint(v0, v1 float64, lift Interval) Interval {
	l0, l1 := c.length(v0), c.length(v1)
	lengths := Interval{min(l0, l1), max(l0, l1)}
	if t := c.turning(); t > v0 && t < v1 {
		l := c.length(t)
		lengths = Interval{min(lengths.Lo, l), max(lengths.Hi, l)}
	}
	fixed := c.rear.Group.BFDMM + c.p.CombinerShift() + c.front.Group.FFDMM
	slope := 1 - c.theta*c.theta
	i := Everything
	i.clip(slope, c.viewpointMax-(lengths.Lo+lift.Lo+fixed))
	i.clip(-slope, c.viewpointMax+(lengths.Hi+lift.Hi+fixed))
	return i
}
