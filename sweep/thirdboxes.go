package sweep

import (
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/objective/thirdorder"
)

// thirdBoxes is what third-order sums know of the groups that are held, for trains of single
// relay groups with the mask at one seat. The trains of fronts and rears in two boxes, with the relays
// whose focal lengths lie in one bin, are set aside at once where a bound on their slopes
// ([thirdorder.Slopes]) exceeds the limit wherever the eye may be: the screen would turn away each of
// them.
//
// The bound is that of [thirdorder.Slopes] with each part at its least: what fronts and rears
// add over bins of q and p, what relays add over bins of 1/f_k, of w and of p (a cell). p goes
// through its bins one after the other, and q with it, as they are coupled.
//
// A unit of these is a front, a rear and a bin of relays. Whether it is set aside depends on
// no window, and a box is set aside only where each of its units is: every step from a box to one that it
// holds goes the same way, also as rounded. More relays in a bin can only let more pass. So
// trains that were looked at one by one are in no unit that is set aside later, but for those from before
// boxes were looked at, and each is counted once.
type thirdBoxes struct {
	slopes              *thirdorder.Slopes
	theta               float64
	fronts, rears       *tree
	frontBox, rearBox   []*endBox // by node; nil where it has children
	frontEnds, rearEnds []slopeEnd
	relays              []thirdorder.Relay // by place in the table
	bins                []relayBin
	bin0                int // of the least focal length
	rows                [rowShards]struct {
		sync.RWMutex
		known map[rowKey]*relayRow
	}
	// overlap counts trains that were examined one by one before boxes were looked at, and are now in
	// units that are set aside; -1 where it is not known yet.
	overlap int64
}

// slopeEnd is a front or a rear.
type slopeEnd struct {
	thirdorder.End
	f     float64
	at    objective.Interval // Q or P
	known bool               // it has principal planes of use
}

// endBox is what fronts or rears add to slopes at the least, for q or p in bins of a width of binMM.
type endBox struct {
	f    objective.Interval
	at   objective.Interval // what q or p may be
	bin0 int
	bins []endBin // from bin0 on; all that is wanted of at
}

type endBin struct {
	slope, perH [thirdorder.PlacesMost]float64
}

// binMM is the width of the bins of p and q, and binsMost how many there may be on either side of
// 0: what lies beyond is set aside by no box.
const (
	binMM    = 1.0
	binsMost = 128
)

func binOf(x float64) int { return int(math.Floor(x / binMM)) }

// relayBin is a run of relays of nearly the same focal length.
type relayBin struct {
	first, last int // in the table
	f           objective.Interval
	hiatus      float64 // the least
	leastOn     float64 // the least from this bin on
	known       bool    // all of them have principal planes of use
}

// relayFineBits makes bins of a 64th of an octave at most, and fineBits those of
// 1/f_k and of 1/f_k + Θ/f_i of a 32nd.
const (
	relayFineBits = 6
	fineBits      = 5
)

func logBin(x float64, bits int) int { return int(math.Float64bits(x) >> (52 - bits)) }

// logBinFrom is the least number of a bin.
func logBinFrom(bin, bits int) float64 { return math.Float64frombits(uint64(bin) << (52 - bits)) }

// rowKey is a bin of relays, of w and of u, see [thirdorder.Slopes].
type rowKey struct{ relay, w, u int }

// relayRow is what relays of a bin add to slopes at the least, by bins of p.
type relayRow [2 * binsMost]atomic.Pointer[[thirdorder.PlacesMost]float64]

const rowShards = 32

// newThirdBoxes prepares for the groups held, with up to so many fronts or rears in a leaf.
func newThirdBoxes(f *singleSearch, st *stacks, leaf int) *thirdBoxes {
	x := &thirdBoxes{slopes: f.third.slopes, theta: f.p.Magnification, overlap: -1}
	for i := range x.rows {
		x.rows[i].known = map[rowKey]*relayRow{}
	}
	fronts, rears, relays := st.fronts[f.seat], st.rears[f.seat], st.table.Relays()
	x.frontEnds, x.rearEnds = make([]slopeEnd, len(fronts)), make([]slopeEnd, len(rears))
	x.relays = make([]thirdorder.Relay, len(relays))
	known := make([]bool, len(relays))
	f.eachGroup(len(fronts), func(m *thirdorder.Maker, i int) {
		r := &fronts[i]
		g := f.lib.Group(r.Code)
		end, ok := x.slopes.Front(g, m.Group(g), f.seat)
		x.frontEnds[i] = slopeEnd{end, r.F, r.Q, ok}
	})
	f.eachGroup(len(rears), func(m *thirdorder.Maker, i int) {
		r := &rears[i]
		g := f.lib.Group(r.Code)
		end, ok := x.slopes.Rear(g, m.Group(g), f.seat)
		x.rearEnds[i] = slopeEnd{end, r.F, r.P, ok}
	})
	f.eachGroup(len(relays), func(m *thirdorder.Maker, i int) {
		g := f.lib.Group(relays[i].Code)
		x.relays[i], known[i] = x.slopes.Relay(g, m.Group(g))
	})
	for j := range relays {
		b := logBin(relays[j].F, relayFineBits)
		if j == 0 {
			x.bin0 = b
		}
		for len(x.bins) <= b-x.bin0 {
			n := x.bin0 + len(x.bins)
			x.bins = append(x.bins, relayBin{first: j, last: j, hiatus: math.Inf(1), known: true, f: objective.Interval{
				Lo: logBinFrom(n, relayFineBits), Hi: logBinFrom(n+1, relayFineBits),
			}})
		}
		bin := &x.bins[b-x.bin0]
		bin.last, bin.hiatus, bin.known = j+1, min(bin.hiatus, relays[j].Hiatus), bin.known && known[j]
	}
	least := math.Inf(1)
	for n := len(x.bins) - 1; n >= 0; n-- {
		least = min(least, x.bins[n].hiatus)
		x.bins[n].leastOn = least
	}
	x.fronts = x.tree(f.workers, leaf, x.frontEnds, func(i int) objective.Box { return fronts[i].Box() })
	x.rears = x.tree(f.workers, leaf, x.rearEnds, func(i int) objective.Box { return rears[i].Box() })
	x.frontBox, x.rearBox = x.leaves(x.fronts, x.frontEnds), x.leaves(x.rears, x.rearEnds)
	return x
}

// eachGroup does something with each of n groups, side by side.
func (f *singleSearch) eachGroup(n int, do func(m *thirdorder.Maker, i int)) {
	var group errgroup.Group
	group.SetLimit(f.workers)
	const share = 1 << 12
	for from := 0; from < n; from += share {
		group.Go(func() error {
			m := thirdorder.NewMaker(f.p)
			for i := from; i < min(n, from+share); i++ {
				do(m, i)
			}
			return nil
		})
	}
	_ = group.Wait() // none fails
}

// tree sorts ends by lengths and by slopes: what is added over the middle of the pupil where the eye is
// near to the end of its interval at which trains are short.
func (x *thirdBoxes) tree(workers, leaf int, ends []slopeEnd, box func(i int) objective.Box) *tree {
	return buildTreeBy(workers, len(ends), leaf, box, func(i int, b *objective.Box) keys {
		k := endKeys(b)
		e := &ends[i]
		if e.known {
			at := max(-binsMost, min(binsMost, e.at.Lo)) + slopeKeyAt
			k[4] = slopeKeyWeight * 1000 * e.At(at, 0)
		}
		return k
	})
}

// A leaf of boxLeaf groups is judged about as fast as two or three pairs of them. A dioptre of
// slope makes as much of a difference as slopeKeyWeight of the other keys.
const (
	boxLeaf        = 12
	slopeKeyAt     = 4.0 // mm from the end
	slopeKeyWeight = 0.5
)

// leaves are the boxes of a tree's leaves.
func (x *thirdBoxes) leaves(t *tree, ends []slopeEnd) []*endBox {
	boxes := make([]*endBox, len(t.nodes))
	for n := range t.nodes {
		if d := &t.nodes[n]; d.left == 0 {
			boxes[n] = new(endBox)
			boxes[n].around(ends, t.order[d.first:d.last]...)
		}
	}
	return boxes
}

// around makes b the box of some ends.
func (b *endBox) around(ends []slopeEnd, items ...int32) {
	first := &ends[items[0]]
	b.f, b.at, b.bins = objective.Interval{Lo: first.f, Hi: first.f}, first.at, b.bins[:0]
	for _, i := range items[1:] {
		e := &ends[i]
		b.f = objective.Interval{Lo: min(b.f.Lo, e.f), Hi: max(b.f.Hi, e.f)}
		b.at = objective.Interval{Lo: min(b.at.Lo, e.at.Lo), Hi: max(b.at.Hi, e.at.Hi)}
	}
	b.at = objective.Interval{Lo: b.at.Lo - placeSlack, Hi: b.at.Hi + placeSlack}
	lo, hi := binOf(max(b.at.Lo, -binsMost*binMM)), binOf(min(b.at.Hi, binsMost*binMM-1))
	if hi < lo {
		return
	}
	b.bin0, b.bins = lo, slices.Grow(b.bins, hi-lo+1)[:hi-lo+1]
	for n := range b.bins {
		least := &b.bins[n]
		for i := range least.slope {
			least.slope[i], least.perH[i] = math.Inf(1), math.Inf(1)
		}
		from := float64(b.bin0+n) * binMM
		for _, i := range items {
			e := &ends[i]
			if e.at.Lo-placeSlack > from+binMM || e.at.Hi+placeSlack < from {
				continue
			}
			slope, perH := e.Least(from, from+binMM)
			for i := range least.slope {
				if !e.known {
					slope[i] = math.Inf(-1)
				}
				least.slope[i], least.perH[i] = min(least.slope[i], slope[i]), min(least.perH[i], perH[i])
			}
		}
	}
}

// placeSlack, in mm, is what p and q may lie outside of their intervals by rounding, see
// objective's reliefSlack.
const placeSlack = 1e-6

// verdict is what a bound says of a unit, or of a box of units.
type verdict int

const (
	impossible verdict = iota // no eye and viewpoint go with it
	allowed                   // it may hold trains that the screen lets through
	setAside                  // it holds none
)

// rowsMost is how many rows may be looked at for one box.
const rowsMost = 16

// judge tells what is certain of the fronts and rears of two boxes with the relays of a bin.
func (x *thirdBoxes) judge(front, rear *endBox, bin int, known *knownRows) verdict {
	b := &x.bins[bin]
	if !b.known {
		return allowed
	}
	theta := x.theta
	// q = Θ²·p - d
	d := objective.Interval{Lo: theta * front.f.Lo * rear.f.Lo / b.f.Hi, Hi: theta * front.f.Hi * rear.f.Hi / b.f.Lo}
	t2 := theta * theta
	p := rear.at.And(objective.Interval{Lo: (front.at.Lo+d.Lo)/t2 - placeSlack, Hi: (front.at.Hi+d.Hi)/t2 + placeSlack})
	if p.Empty() {
		return impossible
	}
	u := objective.Interval{Lo: 1 / rear.f.Hi, Hi: 1 / rear.f.Lo}
	w := objective.Interval{Lo: u.Lo + theta/front.f.Hi, Hi: u.Hi + theta/front.f.Lo}
	u0, u1, w0, w1 := logBin(u.Lo, fineBits), logBin(u.Hi, fineBits), logBin(w.Lo, fineBits), logBin(w.Hi, fineBits)
	if p.Lo < -binsMost*binMM || p.Hi >= binsMost*binMM || (u1-u0+1)*(w1-w0+1) > rowsMost {
		return allowed
	}
	var rows [rowsMost]*relayRow
	n := 0
	for iu := u0; iu <= u1; iu++ {
		for iw := w0; iw <= w1; iw++ {
			rows[n] = known.row(x, rowKey{bin, iw, iu})
			n++
		}
	}
	h := w.Lo * b.f.Lo
	found := impossible
	// Aberrations tend to be least where the eye is farthest: what lets pass is found there first.
	for at := binOf(p.Hi); at >= binOf(p.Lo); at-- {
		eye := float64(at) * binMM
		q := front.at.And(objective.Interval{Lo: t2*eye - d.Hi - placeSlack, Hi: t2*(eye+binMM) - d.Lo + placeSlack})
		if q.Empty() {
			continue
		}
		if q.Lo < -binsMost*binMM || q.Hi >= binsMost*binMM {
			return allowed
		}
		far := &rear.bins[at-rear.bin0]
		slope, perH := far.slope, far.perH
		if math.IsInf(slope[0], 1) { // no rear is as near or far
			continue
		}
		least := [thirdorder.PlacesMost]float64{}
		for i := range least {
			least[i] = math.Inf(1)
		}
		frontH := least
		for m := binOf(q.Lo); m <= binOf(q.Hi); m++ {
			f := &front.bins[m-front.bin0]
			for i := range least {
				least[i], frontH[i] = min(least[i], f.slope[i]), min(frontH[i], f.perH[i])
			}
		}
		if math.IsInf(least[0], 1) {
			continue
		}
		found = setAside
		relay := *x.cell(rows[0], rowKey{bin, w0, u0}, at)
		for i := 1; i < n; i++ {
			c := x.cell(rows[i], rowKey{bin, w0 + i%(w1-w0+1), u0 + i/(w1-w0+1)}, at)
			for k := range relay {
				relay[k] = min(relay[k], c[k])
			}
		}
		for i := range least {
			least[i] += slope[i] + h*(perH[i]+frontH[i]) + relay[i]
		}
		if !x.slopes.Exceeds(&least) {
			return allowed
		}
	}
	return found
}

// knownRows are rows that one goroutine has asked for lately, each in the one place that its key
// gives it.
type knownRows [1 << 8]struct {
	key rowKey
	row *relayRow
}

func (k *knownRows) row(x *thirdBoxes, key rowKey) *relayRow {
	at := &k[(key.relay^key.w<<4^key.u<<6)%len(k)]
	if at.row == nil || at.key != key {
		at.key, at.row = key, x.row(key)
	}
	return at.row
}

// row is the row of a key.
func (x *thirdBoxes) row(key rowKey) *relayRow {
	shard := &x.rows[mix(uint64(key.relay)<<40^uint64(key.w)<<20^uint64(key.u))%rowShards]
	shard.RLock()
	r := shard.known[key]
	shard.RUnlock()
	if r != nil {
		return r
	}
	shard.Lock()
	defer shard.Unlock()
	if r = shard.known[key]; r == nil {
		r = new(relayRow)
		shard.known[key] = r
	}
	return r
}

// cell is what the relays of a row add at the least for p in a bin, found when it is first asked for.
func (x *thirdBoxes) cell(r *relayRow, key rowKey, at int) *[thirdorder.PlacesMost]float64 {
	return made(&r[at+binsMost], func() (least [thirdorder.PlacesMost]float64) {
		for i := range least {
			least[i] = math.Inf(1)
		}
		bin := &x.bins[key.relay]
		eye := float64(at) * binMM
		factors := x.slopes.Factors(
			objective.Interval{Lo: logBinFrom(key.w, fineBits), Hi: logBinFrom(key.w+1, fineBits)},
			objective.Interval{Lo: logBinFrom(key.u, fineBits), Hi: logBinFrom(key.u+1, fineBits)},
			objective.Interval{Lo: eye, Hi: eye + binMM}, bin.f)
		for j := bin.first; j < bin.last; j++ {
			factors.Least(&x.relays[j], &least)
		}
		return least
	})
}
