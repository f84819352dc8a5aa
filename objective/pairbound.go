package objective

import "math"

// Half is one group of a pair relay, by its few numbers.
type Half struct {
	Code      StackCode
	F         float64 // focal length, of either sign
	FFD, BFD  float64
	Thickness float64
}

// Half reduces what is stacked to one group of a pair relay, false when it is
// afocal, so that no gap gives it a part in one.
func (s *Stacker) Half() (Half, bool) {
	g := s.Group()
	if math.IsInf(g.FocalMM, 0) {
		return Half{}, false
	}
	return Half{s.Code(), g.FocalMM, g.FFDMM, g.BFDMM, g.ThicknessMM}, true
}

// HalfClass is a class of halves of pair relays of which boxes can be made.
type HalfClass uint8

// The classes of halves.
const (
	Converging HalfClass = iota
	Diverging
	Weak // of either sign
	HalfClasses
)

// weakFocal, in mm, is the focal length from which on a half is Weak: the focal
// points of weak groups are so far off that sums with their distances cancel.
const weakFocal = 60.0

// Class is the half's class.
func (h *Half) Class() HalfClass {
	switch {
	case math.Abs(h.F) >= weakFocal:
		return Weak
	case h.F < 0:
		return Diverging
	}
	return Converging
}

// Box is the box of one half.
func (h *Half) Box() Box {
	point := func(x float64) Interval {
		slack := 4e-16 * math.Abs(h.F) // the rounding of a difference of focal distances
		return Interval{x - slack, x + slack}
	}
	back, front := point(h.F-h.BFD), point(h.F-h.FFD)
	return Box{
		F: Interval{h.F, h.F}, U: h.Thickness + h.FFD + h.BFD, FFD: h.FFD, BFD: h.BFD,
		Half: HalfBox{
			TFFD: h.Thickness + h.FFD, TBFD: h.Thickness + h.BFD,
			X: h.Thickness - back.Hi - front.Hi, Thickness: h.Thickness,
			Power: Interval{1 / h.F, 1 / h.F}, Back: back, Front: front,
		},
	}
}

// PairBound is a lower bound on the length of every train whose front, two
// relay groups and rear lie in four boxes, as far as it may be up to limit;
// what is beyond need not be told from any other length beyond. It is the larger
// of two bounds, of which one is sharp for strong groups of one sign each, and the
// other for weak ones.
func (p *Problem) PairBound(seat Seat, boxes *[4]Box, limit float64) float64 {
	front, first, second, rear := &boxes[0], &boxes[1], &boxes[2], &boxes[3]
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
	return max(bound, p.weakBound(seat, focal, boxes, limit))
}

// weakBound is the bound of PairBound that is sharp for weak groups. With the powers φ and the
// distance d of the groups' facing principal planes, d = s + (f1 - BFD1) +
// (f2 - FFD2), the relay has the power φ1 + φ2 - d·φ1·φ2, and
//
//	L = U_front + U_rear + X1 + X2 + plate + f_c·(κ - d²·φ1·φ2),
//
// in which nothing large cancels. The inner gap s is at least what flat surfaces
// leave, and at most what limit leaves beside the other gaps and thicknesses.
func (p *Problem) weakBound(seat Seat, focal Interval, boxes *[4]Box, limit float64) float64 {
	front, first, second, rear := &boxes[0], &boxes[1], &boxes[2], &boxes[3]
	if math.IsInf(limit, 1) {
		return math.Inf(-1)
	}
	gap1, gap2 := p.flatGaps(seat)
	s := Interval{p.GroupGapMin - roundingSlack, limit - gap1 - gap2 - first.Half.Thickness - second.Half.Thickness}
	if s.Empty() {
		return math.Inf(1)
	}
	d := Interval{s.Lo + first.Half.Back.Lo + second.Half.Front.Lo, s.Hi + first.Half.Back.Hi + second.Half.Front.Hi}
	power1, power2 := first.Half.Power, second.Half.Power
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
	return front.U + rear.U + first.Half.X + second.Half.X + p.MaskShift() + at*factor
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
// least where U and Y are. What v may be follows from
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
	widest := first.BFD + second.FFD - p.GroupGapMin + roundingSlack
	base := front.U + first.U + second.U + rear.U + p.MaskShift()
	apart := front.U + first.Half.TFFD + p.GroupGapMin - roundingSlack + second.Half.TBFD + rear.U + p.MaskShift()
	f1, f2 := magnitudes(first.F), magnitudes(second.F)
	size := Interval{f1.Lo * f2.Lo, f1.Hi * f2.Hi}                                              // of P
	v := Interval{max(focal.Lo, pairFocalMin) / size.Hi, min(focal.Hi, pairFocalMax) / size.Lo} // magnitudes
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
		return leastPair(v, base, apart, max(kv, corner), leastShift(f1, f2, m, room1, room2))
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
	gap1 = p.GroupGapMin - roundingSlack
	gap2 = 2*p.Clearance + p.MaskGlass - p.MaskShift() - roundingSlack
	if seat == SeatFront {
		gap1, gap2 = gap2, gap1
	}
	return gap1, gap2
}
