package objective

import (
	"math"
	"slices"
	"sync"
)

// PairTable answers how short a train with a pair relay can be.
//
// Over all fronts and rears of a range of m = Θ·f_rear/f_front that ask of the
// relay a focal length of at least F, a pair's least L(v) less the ends' U
// follows from its own numbers, the least κ of the range, and the largest BFD
// of any front and FFD of any rear (which leave its gaps the most room). The
// table holds, for steps of log m and log F, the pairs in ascending order of
// that bound, each list made when it is first asked for.
type PairTable struct {
	p              *Problem
	seat           Seat
	relays         []PairRelay
	bfdMax, ffdMax float64
	endsLeast      float64  // least U of a front plus least U of a rear
	m              logSteps // of m
	f              logSteps // of F
	limit          float64  // on the length, of the lists
	cells          []pairCell
}

type pairCell struct {
	once  sync.Once
	least float64 // bound of the best pair
	pairs []boundedPair
}

type boundedPair struct {
	bound float64
	relay int32
}

const (
	pairSteps  = 24 // of log m
	focalSteps = 32 // of log F
)

// logSteps divides a range into steps even in the logarithm; what lies outside
// belongs to the end steps.
type logSteps struct {
	start, perStep float64 // log of the start, steps a unit of log
	n              int
}

func newLogSteps(lo, hi float64, n int) logSteps {
	return logSteps{math.Log(lo), float64(n) / math.Max(math.Log(hi/lo), 1e-9), n}
}

func (s logSteps) step(x float64) int {
	if !(x > 0) {
		return 0
	}
	k := math.Floor((math.Log(x) - s.start) * s.perStep)
	return int(math.Max(0, math.Min(float64(s.n-1), k)))
}

// from is the lower end of a step, a hair below it so that rounding can't put
// a member of the step outside.
func (s logSteps) from(k int) float64 {
	return math.Exp(s.start+float64(k)/s.perStep) * (1 - 1e-12)
}

// NewPairTable prepares a table for trains of these fronts, pairs and rears.
func NewPairTable(p *Problem, seat Seat, relays []PairRelay, fronts []Front, rears []Rear) *PairTable {
	t := &PairTable{
		p: p, seat: seat, relays: relays, bfdMax: math.Inf(-1), ffdMax: math.Inf(-1),
		cells: make([]pairCell, pairSteps*focalSteps),
	}
	front := Interval{math.Inf(1), 0}
	rear := front
	uFront, uRear := math.Inf(1), math.Inf(1)
	for i := range fronts {
		x := &fronts[i]
		t.bfdMax = math.Max(t.bfdMax, x.Group.BFDMM)
		front = Interval{math.Min(front.Lo, x.F), math.Max(front.Hi, x.F)}
		uFront = math.Min(uFront, x.U)
	}
	for i := range rears {
		x := &rears[i]
		t.ffdMax = math.Max(t.ffdMax, x.Group.FFDMM)
		rear = Interval{math.Min(rear.Lo, x.F), math.Max(rear.Hi, x.F)}
		uRear = math.Min(uRear, x.U)
	}
	t.endsLeast = uFront + uRear + p.MaskShift()
	if len(fronts) > 0 && len(rears) > 0 {
		theta := p.Magnification
		t.m = newLogSteps(theta*rear.Lo/front.Hi, theta*rear.Hi/front.Lo, pairSteps)
		// F = Θ·f_i·f_k/(Θ²p - q) with p - q of the order of the focal
		// lengths; what falls outside belongs to the end steps.
		t.f = newLogSteps(front.Lo*rear.Lo/(8*(front.Hi+rear.Hi)), front.Hi+rear.Hi, focalSteps)
	}
	return t
}

// Limit sets the length up to which Bound and Scan must answer. It may not be
// called while they run.
func (t *PairTable) Limit(length float64) {
	if length != t.limit {
		t.limit = length
		t.cells = make([]pairCell, len(t.cells))
	}
}

// cell makes or returns the list of a step of m and of F.
func (t *PairTable) cell(m, f int) *pairCell {
	c := &t.cells[m*focalSteps+f]
	c.once.Do(func() {
		c.least = math.Inf(1)
		mRange := Interval{t.m.from(m), t.m.from(m+1) * (1 + 2e-12)}
		focal := t.f.from(f)
		if f == 0 {
			focal = 0
		}
		most := t.limit - t.endsLeast
		for i := range t.relays {
			b := t.cellBound(&t.relays[i], mRange, focal)
			c.least = math.Min(c.least, b)
			if b <= most && !math.IsInf(t.limit, 1) {
				c.pairs = append(c.pairs, boundedPair{b, int32(i)})
			}
		}
		slices.SortFunc(c.pairs, func(a, b boundedPair) int {
			switch {
			case a.bound < b.bound:
				return -1
			case a.bound > b.bound:
				return 1
			}
			return int(a.relay - b.relay)
		})
	})
	return c
}

// cellBound is the least L(v) less the ends' U and plate of a pair in trains of
// a range of m whose relay is at least focal long.
func (t *PairTable) cellBound(r *PairRelay, m Interval, focal float64) float64 {
	v := r.domain
	if r.product > 0 {
		v.Lo = math.Max(v.Lo, focal/r.product)
	} else {
		v.Hi = math.Min(v.Hi, focal/r.product)
	}
	mask := 2*t.p.Clearance + t.p.MaskGlass - t.p.MaskShift()
	gap1, gap2 := t.p.GroupGapMin, mask
	if t.seat == SeatFront {
		gap1, gap2 = mask, t.p.GroupGapMin
	}
	clipGap := func(at0, least, slope0, slope1 float64) {
		v.clipUnion(-slope0, at0-least+roundingSlack, -slope1, at0-least+roundingSlack)
	}
	f1, f2 := float64(r.f1*r.f1), float64(r.f2*r.f2)
	clipGap(t.bfdMax+r.ffd, gap1, r.product/m.Lo-f1, r.product/m.Hi-f1)
	clipGap(t.ffdMax+r.bfd, gap2, float64(r.product*m.Lo)-f2, float64(r.product*m.Hi)-f2)
	c := pairCase{relay: r, base: r.x, kv: float64(leastKappa(m)*r.product) - float64(r.sum*r.sum)}
	return c.bound(v)
}

// Bound is a lower bound on the length of every train with its front in one
// box and its rear in the other.
func (t *PairTable) Bound(front, rear Box) float64 {
	relay, _ := coupling(t.p.Magnification, front, rear)
	if relay.Empty() {
		return math.Inf(1)
	}
	m := magnifications(t.p.Magnification, front, rear)
	f := t.f.step(relay.Lo)
	least := math.Inf(1)
	for k := t.m.step(m.Lo * (1 - 1e-12)); k <= t.m.step(m.Hi*(1+1e-12)); k++ {
		least = math.Min(least, t.cell(k, f).least)
	}
	return front.U + rear.U + t.p.MaskShift() + least
}

// Scan visits, for one front and one rear, the pairs with which the train may
// be at most the table's limit long, each with its bound.
func (t *PairTable) Scan(front *Front, rear *Rear, visit func(r *PairRelay, bound float64)) {
	try := func(r *PairRelay) {
		if b := t.p.PairBound(front, r, rear, t.seat); b <= t.limit && !math.IsInf(b, 1) {
			visit(r, b)
		}
	}
	if math.IsInf(t.limit, 1) {
		for i := range t.relays {
			try(&t.relays[i])
		}
		return
	}
	relay, _ := coupling(t.p.Magnification, front.Box(), rear.Box())
	if relay.Empty() {
		return
	}
	m := t.p.Magnification * rear.F / front.F
	cell := t.cell(t.m.step(m), t.f.step(relay.Lo))
	for _, b := range cell.pairs {
		if front.U+rear.U+t.p.MaskShift()+b.bound > t.limit {
			return
		}
		try(&t.relays[b.relay])
	}
}
