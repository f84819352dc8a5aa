package ideal

import (
	"container/heap"
	"context"
	"math"

	"relaysweep/objective"
)

const (
	// settledShare is the share by which the certified bound may fall short of the
	// shortest thin train found.
	settledShare = 1e-3
	// roundingShare is what a bound or a breach must exceed rounding by, as a share
	// of the terms: sums of some hundred products round below 1e-13 of these.
	roundingShare = 1e-9
	// unevenSide is how much narrower than the widest a side may be, both as shares of
	// their distance from 0, to be halved.
	unevenSide = 0.1
	// leastStep is a step that matters for every unknown: mm, 1/mm or a number of
	// order 1.
	leastStep = 1e-3
	// descendFirst is how many boxes are descended from at first, descendEach after
	// how many one is later.
	descendFirst = 100
	descendEach  = 32
	// reportMargin is by how much, of order 1, a train that is reported meets its
	// requirements, so that the model's own rounding does not turn it away.
	reportMargin = 1e-10
	// idealLongest, in mm, is the length beyond which no train is looked for.
	longestMM = 20_000.0
	// boxesMost is how many boxes are looked at before the bound is given as far as it
	// has come.
	boxesMost = 100_000
	// triesMost is how many boxes are looked at for a first train without one of the
	// requirements.
	triesMost = 1_000
)

// node is a box of thin trains of one case with a lower bound on their length.
type node struct {
	box
	bound  float64
	space  int
	serial int
}

type nodeHeap []*node

func (h nodeHeap) Len() int { return len(h) }
func (h nodeHeap) Less(i, j int) bool {
	if h[i].bound != h[j].bound {
		return h[i].bound < h[j].bound
	}
	return h[i].serial < h[j].serial
}
func (h nodeHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *nodeHeap) Push(x any)   { *h = append(*h, x.(*node)) }
func (h *nodeHeap) Pop() any {
	old := *h
	x := old[len(old)-1]
	*h = old[:len(old)-1]
	return x
}

// boxSearch is a branch and bound over boxes of all cases together, the one
// with the least bound first. Over a box every requirement and the length are
// linear but for a remainder (affine); the linear programme of these bounds the
// length from below with an error that falls with the square of the box's size,
// so that a few boxes around the shortest train do, where a bound by intervals
// would need thousands.
type boxSearch struct {
	cases []*thinCase
	heap  nodeHeap
	rows  requirementRows
	lp    lp
	best  *objective.Train
	rank  float64 // of best
	boxes int
	made  int
}

// cutoff is the length from which on a box holds nothing that is looked for.
func (s *boxSearch) cutoff() float64 { return math.Min(s.rank*(1-settledShare), longestMM) }

// run bounds until all that is left is beyond the cutoff, or most boxes have
// been looked at. It returns the certified bound, +Inf when there is no train, and whether
// all was settled. When ctx ends it returns within some milliseconds.
func (s *boxSearch) run(ctx context.Context, most int) (bound float64, settled bool) {
	s.start(ctx)
	for s.boxes < most && s.next(ctx) {
	}
	switch {
	case ctx.Err() != nil:
		return 0, false
	case s.done() && s.best == nil:
		return math.Inf(1), true
	case s.done():
		return s.cutoff(), true
	}
	return math.Min(s.cutoff(), s.heap[0].bound), false
}

// finds reports whether a train is found before most boxes have been looked at.
func (s *boxSearch) finds(ctx context.Context, most int) bool {
	s.start(ctx)
	for s.best == nil && s.boxes < most && s.next(ctx) {
	}
	return s.best != nil
}

// next looks at the box with the least bound, false when none is left or ctx has ended.
func (s *boxSearch) next(ctx context.Context) bool {
	if s.done() || ctx.Err() != nil {
		return false
	}
	n := heap.Pop(&s.heap).(*node)
	s.boxes++
	s.split(n)
	return true
}

// start descends from the seeds of every case and makes the boxes that hold all trains.
func (s *boxSearch) start(ctx context.Context) {
	s.rank = math.Inf(1)
	for i, m := range s.cases {
		for _, x := range m.seeds() {
			if ctx.Err() != nil {
				return
			}
			s.descend(i, x)
		}
	}
	for i, m := range s.cases {
		longest := s.rank
		if m.by == objective.ByLengthToEye {
			longest -= math.Min(0, m.p.ReliefMin)
		}
		if b, ok := m.whole(math.Min(longest, math.Min(m.p.LengthMax, longestMM))); ok {
			heap.Push(&s.heap, &node{box: b, space: i, bound: 0})
		}
	}
}

// done reports whether no box is left that could hold what is looked for.
func (s *boxSearch) done() bool { return len(s.heap) == 0 || s.heap[0].bound >= s.cutoff() }

// split narrows and bounds a box and puts its halves on the heap.
func (s *boxSearch) split(n *node) {
	m := s.cases[n.space]
	ranked := m.at(&n.box, &s.rows)
	for range 3 {
		within := n.box
		alive, shrunk := s.narrow(m, n, ranked)
		if !alive {
			return
		}
		if !shrunk {
			n.box = within // of which the rows are
			break
		}
		ranked = m.at(&n.box, &s.rows)
	}
	bound, slopes := s.bound(m, ranked)
	n.bound = math.Max(n.bound, math.Max(bound, ranked.lo*(1-roundingShare)))
	if n.bound >= s.cutoff() {
		return
	}
	var x [unknownCount]float64
	for i := range m.n {
		x[i] = n.at(i, s.lp.xi[i])
	}
	weight := s.weigh(m, &x, bound)
	// What is shorter than the cutoff lies near the ends at which the bound is
	// reached.
	for i, slope := range slopes {
		if reach := (s.cutoff() - bound) / math.Abs(slope); reach < 2 {
			reach *= (n.hi[i] - n.lo[i]) / 2
			if slope > 0 {
				n.hi[i] = n.lo[i] + reach
			} else {
				n.lo[i] = n.hi[i] - reach
			}
		}
	}
	if s.boxes < descendFirst || s.boxes%descendEach == 0 {
		s.descend(n.space, x)
	}
	i, at := s.worst(m, n, weight)
	lower, upper := *n, *n
	lower.hi[i], upper.lo[i] = at, at
	for _, half := range [2]*node{&lower, &upper} {
		s.made++
		half.serial = s.made
		heap.Push(&s.heap, half)
	}
}

// narrow takes off the sides of a box what no train of it can have; alive is
// false when nothing is left.
func (s *boxSearch) narrow(m *thinCase, n *node, ranked affine) (alive, shrunk bool) {
	lo, hi := [unknownCount]float64{}, [unknownCount]float64{}
	for i := range m.n {
		lo[i], hi[i] = -1, 1
	}
	rows := s.rows.rows
	if cutoff := s.cutoff(); !math.IsInf(cutoff, 1) {
		rows = append(rows, ranked.shifted(-cutoff).times(1/cutoff))
		s.rows.rows = rows[:len(rows)-1]
	}
	for j := range rows {
		r := &rows[j]
		if r.lo > roundingShare {
			return false, false
		}
		if r.hi <= 0 {
			continue
		}
		// g·ξ <= room
		room := r.e - r.c + roundingShare
		least := 0.0
		for i := range m.n {
			least += math.Min(r.g[i]*lo[i], r.g[i]*hi[i])
		}
		if least > room {
			return false, false
		}
		for i := range m.n {
			g := r.g[i]
			others := least - math.Min(g*lo[i], g*hi[i])
			if g > 1e-14 {
				hi[i] = math.Min(hi[i], math.Max(lo[i], (room-others)/g))
			} else if g < -1e-14 {
				lo[i] = math.Max(lo[i], math.Min(hi[i], (room-others)/g))
			}
		}
	}
	for i := range m.n {
		if hi[i]-lo[i] < 1.8 && n.hi[i] > n.lo[i] {
			shrunk = true
		}
		n.lo[i], n.hi[i] = n.at(i, lo[i]), n.at(i, hi[i])
	}
	return true, shrunk
}

// bound is a lower bound on the length over the box of which the rows are.
func (s *boxSearch) bound(m *thinCase, ranked affine) (length float64, slopes [unknownCount]float64) {
	l := &s.lp
	l.n = m.n
	l.rows = l.rows[:0]
	copy(l.c[:], ranked.g[:])
	for i := range s.rows.rows {
		r := &s.rows.rows[i]
		row := lpRow{b: r.e - r.c}
		copy(row.a[:], r.g[:])
		l.rows = append(l.rows, row)
	}
	l.solve()
	value, scale := 0.0, 0.0
	total := affine{}
	if !l.none {
		total, scale = ranked, math.Abs(ranked.c)
	}
	for i := range s.rows.rows {
		if k := l.multiply[i]; k > 0 {
			r := &s.rows.rows[i]
			total.c += float64(k * r.c)
			total.e += float64(k * r.e)
			for j := range total.g {
				total.g[j] += float64(k * r.g[j])
			}
			scale += k
		}
	}
	// Weak duality: with multipliers >= 0 the length, where the requirements are
	// met, is at least length + Σ multiplier·row, whose least value over the box
	// follows at once.
	value = total.c - total.spread() - float64(roundingShare*scale)
	if l.none {
		if value > 0 {
			return math.Inf(1), slopes
		}
		return math.Inf(-1), slopes
	}
	return value, total.g
}

// weigh tells how much the remainders of the length and of each row matter: by
// how much the point at which the bound is reached is longer, or breaks a
// requirement.
func (s *boxSearch) weigh(m *thinCase, x *[unknownCount]float64, bound float64) []float64 {
	scales := make([]float64, s.rows.next)
	weight := make([]float64, 1+s.rows.next)
	for j, k := range s.lp.multiply {
		scales[s.rows.place[j]] = s.rows.scale[j]
		if !s.lp.none {
			weight[1+s.rows.place[j]] = 1e-3 * k / s.rows.scale[j] / math.Max(1, math.Abs(bound))
		}
	}
	at := box{*x, *x}
	length := m.at(&at, &s.rows).c
	weight[0] = (1e-3 + math.Max(0, (length-bound)/length)) / length
	for j := range s.rows.rows {
		i := s.rows.place[j]
		if over := s.rows.rows[j].c * s.rows.scale[j]; over > 0 && scales[i] > 0 {
			weight[1+i] += over / (scales[i] * scales[i])
		}
	}
	return weight
}

// worst is the unknown whose halving takes most off the remainders that the
// bound suffers from, and where to halve it.
func (s *boxSearch) worst(m *thinCase, n *node, weight []float64) (i int, at float64) {
	best, least := 0, math.Inf(1)
	var relative [unknownCount]float64
	widest := 0.0
	for i := range m.n {
		if n.hi[i] > n.lo[i] {
			relative[i] = (n.hi[i] - n.lo[i]) / math.Max(math.Abs(n.lo[i]), math.Abs(n.hi[i]))
			widest = math.Max(widest, relative[i])
		}
	}
	for i := range m.n {
		if relative[i] < unevenSide*widest {
			continue
		}
		half := n.box
		w := (n.hi[i] - n.lo[i]) / 4
		half.lo[i] += w
		half.hi[i] -= w
		ranked := m.at(&half, &s.rows)
		sum := float64(weight[0] * ranked.e)
		for j := range s.rows.rows {
			sum += float64(weight[1+s.rows.place[j]] * s.rows.scale[j] * s.rows.rows[j].e)
		}
		if sum < least {
			best, least = i, sum
		}
	}
	at = n.lo[best] + (n.hi[best]-n.lo[best])/2
	if n.lo[best] > 0 && n.hi[best] > 2*n.lo[best] {
		at = math.Sqrt(n.lo[best] * n.hi[best])
	}
	return best, at
}

// seeds are trains of usual proportions, from which to look for a first short one.
func (m *thinCase) seeds() [][unknownCount]float64 {
	var all [][unknownCount]float64
	whole, ok := m.whole(longestMM)
	if !ok || m.weak != bothStrong {
		return nil
	}
	for f := 8.0; f < 600; f *= 2 {
		for _, n := range [3]float64{0.5, 1, 2} {
			x := [unknownCount]float64{f / m.p.Magnification, f, whole.lo[atE]}
			a, b, p := x[atA], f, x[atE]-f
			tau := (a + b) / n
			switch m.space.Layout {
			case objective.Keplerian:
				x[atA] = m.p.Magnification
			case objective.ErectorSingle:
				x[atInverseN] = 1 / n
			case objective.ErectorPair:
				x[atN1], x[atN2], x[atH] = n, n, a-float64(m.p.Magnification*(p-tau))
			}
			all = append(all, x)
		}
	}
	return all
}
