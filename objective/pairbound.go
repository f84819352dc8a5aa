package objective

import (
	"cmp"
	"math"
	"slices"
	"sync"
)

// PairTable answers how short a train with a pair relay can be.
//
// Fronts and rears are put into bins by the logarithm of their focal lengths.
// Over all fronts of one bin and rears of another, a pair's least L(v) less the
// ends' U follows from its own numbers and from the two bins': the range of
// focal lengths that they leave the relay (see [coupling]), the least κ, and
// the largest BFD of a front and FFD of a rear, which leave the gaps the most
// room. For two bins the table holds the least of these bounds, found when it
// is first asked for, and the pairs in ascending order of their bound, as far
// as the limit in force lets them matter.
type PairTable struct {
	p             *Problem
	seat          Seat
	relays        []PairRelay
	fronts, rears endBins
	limit         float64 // on the length
	horizon       float64 // length up to which lists hold pairs, the limit or beyond
	cells         []pairCell
}

type pairCell struct {
	bounded sync.Once
	least   float64 // bound of the best pair
	listed  *sync.Once
	pairs   []boundedPair // within the horizon
}

type boundedPair struct {
	bound float64
	relay int32
}

// endBinsMost is how many bins fronts and rears each have.
const endBinsMost = 24

// endBins are the bins of the groups at one end of the train.
type endBins struct {
	start, perBin float64 // log of the least focal length, bins a unit of log
	bins          [endBinsMost]endBin
}

type endBin struct {
	box     Box
	focal   float64 // largest focal distance towards the relay, BFD or FFD
	members bool
}

func (b *endBins) bin(focal float64) int {
	k := int((math.Log(focal) - b.start) * b.perBin)
	return max(0, min(endBinsMost-1, k))
}

func newEndBins(n int, of func(i int) (Box, float64)) endBins {
	var b endBins
	lo, hi := math.Inf(1), 0.0
	for i := range n {
		box, _ := of(i)
		lo, hi = math.Min(lo, box.F.Lo), math.Max(hi, box.F.Hi)
	}
	b.start = math.Log(lo)
	b.perBin = endBinsMost / math.Max(math.Log(hi/lo), 1e-9)
	for i := range n {
		box, focal := of(i)
		bin := &b.bins[b.bin(box.F.Lo)]
		if !bin.members {
			*bin = endBin{box, focal, true}
			continue
		}
		bin.box, bin.focal = bin.box.Around(box), math.Max(bin.focal, focal)
	}
	return b
}

// NewPairTable prepares a table for trains of these fronts, pairs and rears.
func NewPairTable(p *Problem, seat Seat, relays []PairRelay, fronts []Front, rears []Rear) *PairTable {
	return &PairTable{
		p: p, seat: seat, relays: relays, limit: math.Inf(-1), horizon: math.Inf(-1),
		fronts: newEndBins(len(fronts), func(i int) (Box, float64) { return fronts[i].Box(), fronts[i].Group.BFDMM }),
		rears:  newEndBins(len(rears), func(i int) (Box, float64) { return rears[i].Box(), rears[i].Group.FFDMM }),
		cells:  make([]pairCell, endBinsMost*endBinsMost),
	}
}

// horizonGrowth is how far beyond the limit lists reach, so that a search whose
// limit rises step by step makes them a few times only.
const horizonGrowth = 1.3

// Limit sets the length up to which Bound and Scan must answer. It may not be
// called while they run.
func (t *PairTable) Limit(length float64) {
	t.limit = length
	if length <= t.horizon {
		return
	}
	t.horizon = horizonGrowth * length
	for i := range t.cells {
		t.cells[i].listed, t.cells[i].pairs = new(sync.Once), nil
	}
}

// cell is the cell of a bin of fronts and one of rears, its best bound known.
func (t *PairTable) cell(i, k int) *pairCell {
	c := &t.cells[i*endBinsMost+k]
	c.bounded.Do(func() {
		c.least = math.Inf(1)
		t.eachBound(i, k, func(_ int, bound float64) { c.least = math.Min(c.least, bound) })
	})
	return c
}

// list is the pairs of a cell that the horizon leaves, the best first; nil when
// the limit leaves none.
func (t *PairTable) list(i, k int) []boundedPair {
	c := t.cell(i, k)
	ends := t.fronts.bins[i].box.U + t.rears.bins[k].box.U + t.p.MaskShift()
	if c.least > t.limit-ends {
		return nil
	}
	most := t.horizon - ends
	c.listed.Do(func() {
		t.eachBound(i, k, func(relay int, bound float64) {
			if bound <= most {
				c.pairs = append(c.pairs, boundedPair{bound, int32(relay)})
			}
		})
		slices.SortFunc(c.pairs, func(a, b boundedPair) int {
			return cmp.Or(cmp.Compare(a.bound, b.bound), cmp.Compare(a.relay, b.relay))
		})
	})
	return c.pairs
}

// eachBound visits every pair that can serve between two bins with the least
// L(v) less the ends' U and the plate.
func (t *PairTable) eachBound(i, k int, visit func(relay int, bound float64)) {
	front, rear := &t.fronts.bins[i], &t.rears.bins[k]
	if !front.members || !rear.members {
		return
	}
	theta := t.p.Magnification
	focal, _ := coupling(theta, front.box, rear.box)
	if focal.Empty() {
		return
	}
	m := magnifications(theta, front.box, rear.box)
	kappa := leastKappa(m)
	gap1, gap2 := t.flatGaps()
	for n := range t.relays {
		r := &t.relays[n]
		v := r.domain
		if r.product > 0 {
			v = v.And(Interval{focal.Lo / r.product, focal.Hi / r.product})
		} else {
			v = v.And(Interval{focal.Hi / r.product, focal.Lo / r.product})
		}
		// Gap 1 is BFD_front + FFD1 + (P/m - f1²)·v, gap 2 is
		// BFD2 + FFD_rear + (P·m - f2²)·v; either end of m may serve.
		f1, f2 := float64(r.f1*r.f1), float64(r.f2*r.f2)
		room := front.focal + r.ffd - gap1
		v.clipUnion(f1-r.product/m.Lo, room, f1-r.product/m.Hi, room)
		room = rear.focal + r.bfd - gap2
		v.clipUnion(f2-float64(r.product*m.Lo), room, f2-float64(r.product*m.Hi), room)
		c := pairCase{relay: r, base: r.x, kv: float64(kappa*r.product) - float64(r.sum*r.sum)}
		if b := c.bound(v); !math.IsInf(b, 1) {
			visit(n, b)
		}
	}
}

// flatGaps are the least air-equivalent gaps before and behind any relay, those
// between flat surfaces: others need more.
func (t *PairTable) flatGaps() (gap1, gap2 float64) {
	gap1 = t.p.GroupGapMin - roundingSlack
	gap2 = 2*t.p.Clearance + t.p.MaskGlass - t.p.MaskShift() - roundingSlack
	if t.seat == SeatFront {
		gap1, gap2 = gap2, gap1
	}
	return gap1, gap2
}

// Bound is a lower bound on the length of every train with its front in one
// box and its rear in the other.
func (t *PairTable) Bound(front, rear Box) float64 {
	if relay, _ := coupling(t.p.Magnification, front, rear); relay.Empty() {
		return math.Inf(1)
	}
	least := math.Inf(1)
	for i := t.fronts.bin(front.F.Lo); i <= t.fronts.bin(front.F.Hi); i++ {
		for k := t.rears.bin(rear.F.Lo); k <= t.rears.bin(rear.F.Hi); k++ {
			least = math.Min(least, t.cell(i, k).least)
		}
	}
	return front.U + rear.U + t.p.MaskShift() + least
}

// Scan visits, for one front and one rear, the pairs with which the train may
// be at most the table's limit long, each with its bound, until visit returns
// false.
func (t *PairTable) Scan(front *Front, rear *Rear, visit func(r *PairRelay, bound float64) bool) {
	ends := front.U + rear.U + t.p.MaskShift()
	gap1, gap2 := t.flatGaps()
	for _, b := range t.list(t.fronts.bin(front.F), t.rears.bin(rear.F)) {
		if ends+b.bound > t.limit {
			return
		}
		// Most are beyond the limit already between flat surfaces.
		r := &t.relays[b.relay]
		c := t.p.newPairCase(front, r, rear, t.seat, MassG)
		if loose := c.bound(c.within(gap1, gap2)); loose > t.limit || math.IsInf(loose, 1) {
			continue
		}
		if bound := c.bound(c.reachable()); bound <= t.limit && !math.IsInf(bound, 1) {
			if !visit(r, bound) {
				return
			}
		}
	}
}
