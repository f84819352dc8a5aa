package objective

import "math"

// PairComponent is one group of a pair relay, by its few numbers.
type PairComponent struct {
	Code      StackCode
	F         float64 // focal length, of either sign
	FFD, BFD  float64
	Thickness float64
	Matrix    Matrix
}

// PairComponent reduces what is stacked to one group of a pair relay, false when it is
// without power or may not stand there, so that it serves in none.
func (s *Stacker) PairComponent() (PairComponent, bool) {
	g := s.Group()
	if powerless(g.FocalMM) || !s.MayServe(RelaySlot) {
		return PairComponent{}, false
	}
	return PairComponentOf(g, s.Code()), true
}

// PairComponentOf reduces a group, named by a code, to one of a pair relay.
func PairComponentOf(g *Group, code StackCode) PairComponent {
	return PairComponent{code, g.FocalMM, g.FFDMM, g.BFDMM, g.ThicknessMM, g.matrix}
}

// ComponentClass is a class of components of pair relays of which boxes can be made.
type ComponentClass uint8

// The classes of components.
const (
	Converging ComponentClass = iota
	Diverging
	Weak // of either sign
	ComponentClasses
)

// weakFocal, in mm, is the focal length from which on a component is Weak: the focal
// points of weak groups are so far off that sums with their distances cancel.
const weakFocal = 60.0

// Class is the component's class.
func (h *PairComponent) Class() ComponentClass {
	switch {
	case math.Abs(h.F) >= weakFocal:
		return Weak
	case h.F < 0:
		return Diverging
	}
	return Converging
}

// Box is the box of one component.
func (h *PairComponent) Box() Box {
	point := func(x float64) Interval {
		slack := 4e-16 * math.Abs(h.F) // the rounding of a difference of focal distances
		return Interval{x - slack, x + slack}
	}
	back, front := point(h.F-h.BFD), point(h.F-h.FFD)
	return Box{
		F: Interval{h.F, h.F}, Length: h.Thickness + h.FFD + h.BFD, FFD: h.FFD, BFD: h.BFD,
		Component: PairComponentBox{
			TFFD: h.Thickness + h.FFD, TBFD: h.Thickness + h.BFD,
			Hiatus: h.Thickness - back.Hi - front.Hi, Thickness: h.Thickness,
			Power: Interval{1 / h.F, 1 / h.F}, Back: back, Front: front,
			A: Interval{h.Matrix.A, h.Matrix.A}, B: Interval{h.Matrix.B, h.Matrix.B}, D: Interval{h.Matrix.D, h.Matrix.D},
		},
	}
}

// PairBound is a lower bound on the length of every train whose front, two
// relay groups and rear lie in four boxes. A bound beyond limit is not refined further. It is
// the largest of three bounds: one is sharp for strong groups of one sign each, one for weak
// groups, and one for a strong group with a weak one.
func (p *Problem) PairBound(seat Seat, boxes [4]*Box, limit float64) float64 {
	front, first, second, rear := boxes[0], boxes[1], boxes[2], boxes[3]
	focal, _ := coupling(p.Magnification, front, rear)
	if focal.Empty() {
		return math.Inf(1)
	}
	bound := math.Inf(-1)
	if first.F.Lo > 0 == (first.F.Hi > 0) && second.F.Lo > 0 == (second.F.Hi > 0) {
		bound = p.strongBound(seat, focal, front, first, second, rear)
	}
	if bound > limit {
		return bound
	}
	paraxial := limit // the length at paraxial gaps of a train that may be refined to limit
	if rear.Sway > 0 {
		paraxial += pairShorterMost
	}
	if bound = max(bound, p.weakBound(seat, focal, front, first, second, rear, paraxial)); bound > limit || math.IsInf(limit, 1) {
		return bound
	}
	gap1, gap2 := p.flatGaps(seat)
	m := magnifications(p.Magnification, front, rear)
	if first.F.Lo > 0 && second.holdsWeak() {
		x := strongFirst(front, first, second, rear)
		x.focal, x.m, x.gapNear, x.gapFar = focal, m, gap1, gap2
		bound = max(bound, p.mixedBound(&x, paraxial))
	}
	if second.F.Lo > 0 && first.holdsWeak() {
		x := strongSecond(front, first, second, rear)
		x.focal, x.m, x.gapNear, x.gapFar = focal, Interval{1 / m.Hi, 1 / m.Lo}, gap2, gap1
		bound = max(bound, p.mixedBound(&x, paraxial))
	}
	return bound
}

// holdsWeak reports whether a box holds weak groups.
func (b *Box) holdsWeak() bool {
	return b.Component.Power.Hi <= 1/weakFocal && b.Component.Power.Lo >= -1/weakFocal
}

// mixed is a converging group and a weak one in boxes, named as if the converging
// one came first; otherwise the train is looked at from the other end, which turns
// BFD into FFD, A into D and m into 1/m.
type mixed struct {
	strong, weak *Box
	focal        Interval // of the relay
	m            Interval
	near, far    *Box    // the ends of the train, by the strong group and by the weak one
	nearFocal    float64 // largest, from the near end to its focal point in the train
	gapNear      float64
	gapFar       float64
	bfd, ffd     float64  // largest, of the strong group
	back         Interval // its f - BFD
	a, d         Interval // of the weak group's matrix
}

func strongFirst(front, first, second, rear *Box) mixed {
	return mixed{
		strong: first, weak: second, near: front, far: rear, nearFocal: front.BFD,
		bfd: first.BFD, ffd: first.FFD, back: first.Component.Back,
		a: second.Component.A, d: second.Component.D,
	}
}

func strongSecond(front, first, second, rear *Box) mixed {
	return mixed{
		strong: second, weak: first, near: rear, far: front, nearFocal: rear.FFD,
		bfd: second.FFD, ffd: second.BFD, back: second.Component.Front,
		a: first.Component.D, d: first.Component.A,
	}
}

// mixedBound is a lower bound for trains of a converging group f1 and a weak one
// [[A, B], [C, D]] behind it. With r = BFD1 - s, where the first focal point lies
// behind the second group's first vertex, and y = D - C·r, the relay's focal length is f1/y, and
//
//	L(r) = ToFocus_front + FromFocus_rear + (t1 + FFD1 + BFD1) + t2 + plate - r + (κ'·f1 + C·f1² + A·r - B)/y,
//	L'(r) = -1 + (c + m)·(c + 1/m)/y²,  κ' = m + 1/m, c = C·f1,
//
// in which nothing is large for a group of any strength or none. Of a weak group
// L' is nearly 1/D² - 1, small, and what r may be hardly matters: the bound is L at some r0
// less what the range of L' allows between there and any r. Where C·(c + m)·(c + 1/m) is
// not positive L is concave and least at one end.
func (p *Problem) mixedBound(x *mixed, limit float64) float64 {
	c := Interval{-x.weak.Component.Power.Hi, -x.weak.Component.Power.Lo}
	f := x.strong.F
	t2 := x.weak.Component.Thickness
	sLo := p.GroupGapMin - RoundingSlack
	sHi := limit - x.gapNear - x.gapFar - x.strong.Component.Thickness - t2
	if sHi < sLo {
		return math.Inf(1)
	}
	r := Interval{f.Lo - x.back.Hi - sHi, x.bfd - sLo}
	y := Interval{x.d.Lo - product(c, r).Hi, x.d.Hi - product(c, r).Lo}.And(Interval{f.Lo / x.focal.Hi, f.Hi / x.focal.Lo})
	y.Lo = max(y.Lo, f.Lo/PairFocalMax)
	f = f.And(Interval{x.focal.Lo * y.Lo, x.focal.Hi * y.Hi})
	if y.Empty() || f.Empty() {
		return math.Inf(1)
	}
	cf := product(c, f)
	if room := x.nearFocal + x.ffd - x.gapNear; room < 0 {
		y.Hi = min(y.Hi, f.Hi*(cf.Hi+1/x.m.Lo)/-room)
		if y.Empty() {
			return math.Inf(1)
		}
	}
	slopes := product(Interval{cf.Lo + x.m.Lo, cf.Hi + x.m.Hi}, Interval{cf.Lo + 1/x.m.Hi, cf.Hi + 1/x.m.Lo})
	kappa := leastKappa(x.m) - 2
	q := min(f.Lo*(kappa+float64(c.Lo*f.Lo)), f.Hi*(kappa+float64(c.Lo*f.Hi))) - x.weak.Component.B.Hi
	base := x.near.Length + x.far.Length + x.strong.Length + t2 + p.MaskShift()
	// at is L at r, and yAt what y is there.
	at := func(r float64) (length float64, yAt Interval) {
		cr := product(c, Interval{r, r})
		yAt = Interval{x.d.Lo - cr.Hi, x.d.Hi - cr.Lo}
		if yAt.Lo <= 0 {
			return math.Inf(-1), yAt
		}
		top := q + min(float64(x.a.Lo*r), float64(x.a.Hi*r))
		if top > 0 {
			return base - r + top/yAt.Hi, yAt
		}
		return base - r + top/yAt.Lo, yAt
	}
	bound := math.Inf(-1)
	var ends [2]float64
	for i, r0 := range [3]float64{r.Lo, r.Hi, r.Lo + (r.Hi-r.Lo)/2} {
		length, yAt := at(r0)
		if i < 2 {
			ends[i] = length
		}
		if math.IsInf(length, -1) {
			continue
		}
		yAt = hull(yAt, y)
		slope := product(slopes, Interval{1 / (yAt.Hi * yAt.Hi), 1 / (yAt.Lo * yAt.Lo)})
		bound = max(bound, length+min(0, (slope.Lo-1)*(r.Hi-r0), (1-slope.Hi)*(r0-r.Lo)))
	}
	if slopes.Lo >= 0 && c.Hi <= 0 {
		bound = max(bound, min(ends[0], ends[1]))
	}
	return bound
}

// weakBound is the bound of PairBound that is sharp for weak groups. With the powers φ and the
// distance d of the groups' facing principal planes, d = s + (f1 - BFD1) +
// (f2 - FFD2), the relay has the power φ1 + φ2 - d·φ1·φ2, and
//
//	L = ToFocus_front + FromFocus_rear + hiatus1 + hiatus2 + plate + f_c·(κ - d²·φ1·φ2),
//
// in which nothing large cancels. The inner gap s is at least what flat surfaces
// leave, and at most what limit leaves beside the other gaps and thicknesses.
func (p *Problem) weakBound(seat Seat, focal Interval, front, first, second, rear *Box, limit float64) float64 {
	if math.IsInf(limit, 1) {
		return math.Inf(-1)
	}
	gap1, gap2 := p.flatGaps(seat)
	s := Interval{p.GroupGapMin - RoundingSlack, limit - gap1 - gap2 - first.Component.Thickness - second.Component.Thickness}
	if s.Empty() {
		return math.Inf(1)
	}
	d := Interval{s.Lo + first.Component.Back.Lo + second.Component.Front.Lo, s.Hi + first.Component.Back.Hi + second.Component.Front.Hi}
	power1, power2 := first.Component.Power, second.Component.Power
	both := product(power1, power2)
	bend := product(d, both)
	power := Interval{power1.Lo + power2.Lo - bend.Hi, power1.Hi + power2.Hi - bend.Lo}
	if !(power.Hi > 0) {
		return math.Inf(1)
	}
	fc := focal.And(Interval{1 / power.Hi, math.Inf(1)})
	if power.Lo > 0 {
		fc.Hi = min(fc.Hi, 1/power.Lo)
	}
	if fc.Empty() {
		return math.Inf(1)
	}
	square := Interval{0, max(d.Lo*d.Lo, d.Hi*d.Hi)}
	if d.Lo > 0 || d.Hi < 0 {
		square.Lo = min(d.Lo*d.Lo, d.Hi*d.Hi)
	}
	factor := leastKappa(magnifications(p.Magnification, front, rear)) - product(square, both).Hi
	at := fc.Lo
	if factor < 0 {
		at = fc.Hi
	}
	return front.Length + rear.Length + first.Component.Hiatus + second.Component.Hiatus + p.MaskShift() + at*factor
}

// product is the range of x·y over two intervals.
func product(x, y Interval) Interval {
	a, b, c, d := x.Lo*y.Lo, x.Lo*y.Hi, x.Hi*y.Lo, x.Hi*y.Hi
	return Interval{min(min(a, b), min(c, d)), max(max(a, b), max(c, d))}
}

// strongBound is the bound of PairBound for groups of one sign each.
//
// For given ends and groups the length is L(v) = base + kv·v - 1/v (see
// [PairRelay]), with kv = κP - S² = (f1 - m·f2)·(f2/m - f1). Over boxes base is
// least where the lengths of the four boxes are. What v may be follows from
//
//   - the inner gap, 1/v <= BFD1 + FFD2 - least gap,
//   - the coupling of the ends, which leaves P·v = f_c an interval,
//   - gap 1, (f1² - P/m)·v <= BFD_front + FFD1 - least gap, and
//   - gap 2, (f2² - P·m)·v <= FFD_rear + BFD2 - least gap,
//
// each taken where it is loosest. Of gaps only what flat surfaces need is taken.
func (p *Problem) strongBound(seat Seat, focal Interval, front, first, second, rear *Box) float64 {
	theta := p.Magnification
	m := magnifications(theta, front, rear)
	kappa := leastKappa(m)
	gap1, gap2 := p.flatGaps(seat)
	room1 := front.BFD + first.FFD - gap1
	room2 := rear.FFD + second.BFD - gap2
	widest := first.BFD + second.FFD - p.GroupGapMin + RoundingSlack
	base := front.Length + first.Length + second.Length + rear.Length + p.MaskShift()
	apart := front.Length + first.Component.TFFD + p.GroupGapMin - RoundingSlack + second.Component.TBFD + rear.Length + p.MaskShift()
	f1, f2 := magnitudes(first.F), magnitudes(second.F)
	size := Interval{f1.Lo * f2.Lo, f1.Hi * f2.Hi}                                              // of P
	v := Interval{max(focal.Lo, pairFocalMin) / size.Hi, min(focal.Hi, PairFocalMax) / size.Lo} // magnitudes
	if first.F.Lo > 0 == (second.F.Lo > 0) {
		if widest <= 0 {
			return math.Inf(1)
		}
		v.Lo = max(v.Lo, 1/widest)
		v.clip(leastBend(f1, f2.Hi/m.Lo), room1)
		v.clip(leastBend(f2, f1.Hi*m.Hi), room2)
		if v.Empty() {
			return math.Inf(1)
		}
		corner := math.Inf(1)
		kv := product(
			Interval{f1.Lo - float64(m.Hi*f2.Hi), f1.Hi - float64(m.Lo*f2.Lo)},
			Interval{f2.Lo/m.Hi - f1.Hi, f2.Hi/m.Lo - f1.Lo},
		).Lo
		for i, a := range [4]float64{f1.Lo, f1.Lo, f1.Hi, f1.Hi} {
			b := [4]float64{f2.Lo, f2.Hi, f2.Lo, f2.Hi}[i]
			corner = min(corner, float64((kappa-2)*a*b)-float64(a*a)-float64(b*b))
		}
		shift := leastShift(f1, f2, m, room1, room2)
		if rear.Sway > 0 { // at the paraxial gaps, of which refinement takes off no more than this
			shift -= pairShorterMost
		}
		return leastPair(v, base, apart, max(kv, corner), shift)
	}
	if widest < 0 {
		v.Hi = min(v.Hi, -1/widest)
	}
	v.clip(-float64(f1.Hi*f1.Hi)-size.Hi/m.Lo, room1)
	v.clip(-float64(f2.Hi*f2.Hi)-float64(size.Hi*m.Hi), room2)
	if v.Empty() {
		return math.Inf(1)
	}
	kv := float64((kappa-2)*size.Lo) + float64(f1.Lo*f1.Lo) + float64(f2.Lo*f2.Lo)
	at := max(v.Lo, min(v.Hi, 1/math.Sqrt(kv))) // kv·|v| + 1/|v| is convex
	return max(base+float64(kv*at)+1/at, apart+float64(kv*v.Lo))
}

// leastPair is the least over v of max(base - 1/v, apart) + max(kv·v, shift), a
// lower bound on L(v): base - 1/v and apart are the same length in terms of what
// is known of it, and so are kv·v and shift.
func leastPair(v Interval, base, apart, kv, shift float64) float64 {
	longest := func(v float64) float64 { return max(base-1/v, apart) + max(float64(kv*v), shift) }
	if kv >= 0 {
		return longest(v.Lo)
	}
	// Up to bend kv·v is the larger, beyond it shift; up to level apart is,
	// beyond it base - 1/v. Where apart is, the sum falls or stays up to bend;
	// where base - 1/v and kv·v are, it is concave; beyond, it rises.
	bend := max(v.Lo, min(v.Hi, shift/kv))
	level := bend
	if base > apart {
		level = max(v.Lo, min(bend, 1/(base-apart)))
	}
	return min(longest(level), min(longest(bend), longest(v.Lo)))
}

// leastShift bounds kv·v from below for two groups of one sign. With
// δ = f2/m - f1, y = δ·v and ρ = f1/(m·f2), the gaps exceed their least by
//
//	room 1 + f1·y >= 0 and room 2 - m·f2·y >= 0,
//
// which keep y within bounds however large v is, and kv·v = (f1 - m·f2)·y is
// least at one of them: room 2·(ρ - 1) or room 1·(1/ρ - 1).
func leastShift(f1, f2, m Interval, room1, room2 float64) float64 {
	ratio := Interval{f1.Lo / (m.Hi * f2.Hi), f1.Hi / (m.Lo * f2.Lo)}
	at2, at1 := ratio.Lo, 1/ratio.Hi
	if room2 < 0 {
		at2 = ratio.Hi
	}
	if room1 < 0 {
		at1 = 1 / ratio.Lo
	}
	return min(room2*(at2-1), room1*(at1-1))
}

// magnitudes is the range of |f| over an interval of one sign.
func magnitudes(f Interval) Interval {
	if f.Lo < 0 {
		return Interval{-f.Hi, -f.Lo}
	}
	return f
}

// leastBend is the least f² - f·g over a range of f.
func leastBend(f Interval, g float64) float64 {
	at := max(f.Lo, min(f.Hi, g/2))
	return at * (at - g)
}

// flatGaps are the least air-equivalent gaps before and behind any relay, those
// between flat surfaces: others need more.
func (p *Problem) flatGaps(seat Seat) (gap1, gap2 float64) {
	least := func(image Seat) float64 {
		if seat.Has(image) {
			return 2*p.Clearance + p.MaskGlass - p.MaskShift() - RoundingSlack
		}
		return p.GroupGapMin - RoundingSlack
	}
	return least(SeatFront), least(SeatRear)
}
