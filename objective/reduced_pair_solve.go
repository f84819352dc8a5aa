package objective

import "math"

// lengthTolerance and toEyeTolerance, in mm, are how close the inner gap's
// search is sure to come to the least ranked length: below the 1e-6 mm in which
// lengths are compared. The length itself is known as a function of v and its
// least value lies where some requirement ends, which halving finds to rounding.
// With the eye relief added the least value can lie inside, where the number
// of halves that can't be told from it grows as they shrink; the best of them
// is then polished.
const (
	lengthTolerance = 1e-10
	toEyeTolerance  = 2e-7
)

// RankBy is the length by which designs are ranked.
type RankBy uint8

const (
	// ByLength ranks by the length from first to last vertex.
	ByLength RankBy = iota
	// ByLengthToEye ranks by the length from first vertex to the eye.
	ByLengthToEye
)

// Ranked is the train's ranked length in mm.
func (t *Train) Ranked(by RankBy) float64 {
	if by == ByLengthToEye {
		return t.Length + t.EyeRelief
	}
	return t.Length
}

// bound is the least over an interval of what refinement can make of L(v).
func (c *pairCase) bound(v Interval) float64 {
	if v.Empty() {
		return math.Inf(1)
	}
	shortest := func(kv float64, length func(v float64) float64) float64 {
		least := min(length(v.Lo), length(v.Hi))
		if t := c.turningOf(kv); c.relay.product < 0 && t > v.Lo && t < v.Hi {
			least = min(least, length(t))
		}
		return least
	}
	least := shortest(c.kvLeast, c.leastLength)
	if c.kvLeast != c.kv || c.shorter > 0 {
		least = max(least, shortest(c.kv, c.length)-pairShorterMost)
	}
	return least
}

// leastLength is the least length to which refinement can bring the train at v.
func (c *pairCase) leastLength(v float64) float64 {
	return c.base - c.shorter + float64(c.kvLeast*v) - 1/v
}

// pairBest is the best v found so far.
type pairBest struct {
	v, rank float64
	found   bool
}

// best finds the v of least ranked length at which some eye relief meets the
// requirements. L is monotonic on either side of its turning point; there the
// interval is halved, the shorter half first, and a half is dropped when its
// superset of eye reliefs is empty or it can't beat what was found: what is
// left out is proven not to matter, and what is returned was found feasible.
func (c *pairCase) best(by RankBy) pairBest {
	b := pairBest{rank: math.Inf(1)}
	v := c.reachable()
	if v.Empty() {
		return b
	}
	pieces := []Interval{v}
	if t := c.turning(); t > v.Lo && t < v.Hi {
		pieces = []Interval{{v.Lo, t}, {t, v.Hi}}
		if c.length(v.Hi) < c.length(v.Lo) && c.relay.product > 0 {
			pieces[0], pieces[1] = pieces[1], pieces[0]
		}
	}
	for _, piece := range pieces {
		c.try(&b, by, piece.Lo)
		c.try(&b, by, piece.Hi)
	}
	for _, piece := range pieces {
		c.halve(&b, by, piece)
	}
	if by == ByLengthToEye && b.found {
		c.polish(&b, by, v)
	}
	return b
}

// polish moves the best v to the bottom of the dip that it lies in, by steps
// that halve whenever neither side is better.
func (c *pairCase) polish(b *pairBest, by RankBy, within Interval) {
	for step := 1e-3 * math.Abs(b.v); step > 1e-15*math.Abs(b.v); {
		before := b.rank
		for _, v := range [2]float64{b.v - step, b.v + step} {
			if v >= within.Lo && v <= within.Hi {
				c.try(b, by, v)
			}
		}
		if b.rank >= before {
			step /= 2
		}
	}
}

// try takes v for the best when some eye relief serves there and its rank is
// least.
func (c *pairCase) try(b *pairBest, by RankBy, v float64) {
	length := c.length(v)
	if length > b.rank || length > c.lengthMax {
		return
	}
	eye := c.eye(v, v)
	if eye.Empty() {
		return
	}
	rank := length + c.reliefOf(eye, by)
	if rank < b.rank {
		b.v, b.rank, b.found = v, rank, true
	}
}

// reliefOf is what the smallest eye relief adds to the ranked length.
func (c *pairCase) reliefOf(eye Interval, by RankBy) float64 {
	if by == ByLength {
		return 0
	}
	return eye.Lo + c.rear.Group.BFDMM + c.p.CombinerShift()
}

func (c *pairCase) halve(b *pairBest, by RankBy, v Interval) {
	l0, l1 := c.length(v.Lo), c.length(v.Hi)
	least := min(l0, l1)
	tolerance := lengthTolerance
	if by == ByLengthToEye {
		tolerance = toEyeTolerance
	}
	if least >= b.rank-tolerance || least > c.lengthMax {
		return
	}
	eye := c.eye(v.Lo, v.Hi)
	if eye.Empty() || least+c.reliefOf(eye, by) >= b.rank-tolerance {
		return
	}
	if by == ByLengthToEye && c.toEyeBound(v) >= b.rank-tolerance {
		return
	}
	mid := middle(v)
	// An interval that neither length nor v resolves any more has one end that
	// was tried; what could lie between is below the tolerance.
	narrow := math.Abs(l1-l0) <= lengthTolerance && v.Hi-v.Lo <= 1e-10*math.Abs(mid)
	if narrow || mid <= v.Lo || mid >= v.Hi {
		return
	}
	c.try(b, by, mid)
	lower, upper := Interval{v.Lo, mid}, Interval{mid, v.Hi}
	if l1 < l0 {
		lower, upper = upper, lower
	}
	c.halve(b, by, lower)
	c.halve(b, by, upper)
}

// PairTrain is front, pair relay and rear of a train whose inner gap is still to
// be found.
type PairTrain struct {
	p     *Problem
	relay PairRelay
	c     pairCase
}

// NewPairTrain puts front, relay groups and rear together, false when no inner
// gap makes the relay positive. Front and rear must hold their groups.
func (p *Problem) NewPairTrain(seat Seat, front *Front, first, second *PairComponentRows, rear *Rear) (t PairTrain, ok bool) {
	t.p = p
	if t.relay, ok = p.NewPairRelay(*first, *second); ok {
		t.c = p.newPairCase(front, &t.relay, rear, seat, LastRequirement)
	}
	return t, ok
}

// TooManyParts reports whether the train breaks the limits on its lenses, its
// distinct parts or a part's stock.
func (t *PairTrain) TooManyParts() bool {
	groups := [4]*Group{t.c.front.Group, t.relay.First, t.relay.Second, t.c.rear.Group}
	return t.p.tooManyIn(groups[:])
}

// leastHalvings is how often Least halves the range of inner gaps.
const leastHalvings = 8

// Least is a lower bound on the train's length, refined where that is wanted, over all
// inner gaps that may leave an eye relief; +Inf when none can.
func (t *PairTrain) Least() float64 {
	t.c.relay = &t.relay
	least := math.Inf(1)
	if v := t.c.reachable(); !v.Empty() {
		t.c.lower(&least, v, leastHalvings)
	}
	return least
}

// lower lowers least to the least L over those parts of an interval that can't be
// proven to leave no eye relief, each the interval halved so often.
func (c *pairCase) lower(least *float64, v Interval, halvings int) {
	bound := c.bound(v)
	if bound >= *least || c.eye(v.Lo, v.Hi).Empty() {
		return
	}
	mid := middle(v)
	if halvings == 0 || mid <= v.Lo || mid >= v.Hi {
		*least = bound
		return
	}
	first, second := Interval{v.Lo, mid}, Interval{mid, v.Hi}
	if c.bound(second) < c.bound(first) {
		first, second = second, first
	}
	c.lower(least, first, halvings-1)
	c.lower(least, second, halvings-1)
}

// middle is where an interval of v is halved: in magnitude when its ends are far
// apart.
func middle(v Interval) float64 {
	if r := v.Hi / v.Lo; r > 4 || r < 0.25 {
		return math.Copysign(math.Sqrt(v.Lo*v.Hi), v.Lo)
	}
	return v.Lo + (v.Hi-v.Lo)/2
}

// Solve finds the inner gap of the smallest ranked length that meets all
// requirements and leaves train, of these groups, solved there. It returns Focal
// when none does, and otherwise as [Problem.Solve].
func (t *PairTrain) Solve(train *Train, by RankBy) Requirement {
	t.c.relay = &t.relay
	b := t.c.best(by)
	if !b.found {
		return Focal
	}
	return t.p.Solve(train, t.relay.inner(b.v))
}

// SolvePair finds the inner gap that gives a pair relay's train its smallest
// ranked length and leaves t solved there. When no gap meets all requirements
// it returns the first that, with those before it, no gap and eye relief meet.
func (p *Problem) SolvePair(t *Train, by RankBy) Requirement {
	front, rear := t.Groups[0], t.Groups[3]
	if !positive(front.FocalMM) || !positive(rear.FocalMM) {
		return Focal
	}
	relay, ok := p.NewPairRelay(NewPairComponentRows(t.Groups[1]), NewPairComponentRows(t.Groups[2]))
	if !ok {
		return Focal
	}
	if b := p.pairBest(t, &relay, by, LastRequirement); b.found {
		if failed := p.Solve(t, relay.inner(b.v)); !failed.ofParts() {
			return failed
		}
	}
	for until := GapRoom; until <= ViewpointShiftMM; until++ {
		// Whether some gap serves does not depend on the ranking.
		if b := p.pairBest(t, &relay, ByLength, until); !b.found {
			return until
		}
	}
	if failed := p.judgeParts(t); failed != Met {
		return failed
	}
	return LastRequirement
}

// SolveBest solves a train of any layout: a pair's by its best inner gap, see
// [Problem.Solve] and [Problem.SolvePair].
func (p *Problem) SolveBest(t *Train, by RankBy) Requirement {
	if t.Layout == ErectorPair {
		return p.SolvePair(t, by)
	}
	return p.Solve(t, 0)
}

// pairBest is the best inner gap under the requirements up to until.
func (p *Problem) pairBest(t *Train, relay *PairRelay, by RankBy, until Requirement) pairBest {
	front, okFront := p.NewFront(t.Groups[0], t.Seat, until)
	rear, okRear := p.NewRear(t.Groups[3], t.Seat, until)
	if !okFront || !okRear {
		return pairBest{}
	}
	c := p.newPairCase(&front, relay, &rear, t.Seat, until)
	return c.best(by)
}

// LeastAny is a length in mm that no refinement of a train goes below, solved at its
// paraxial gaps: over all inner gaps of a pair.
func (p *Problem) LeastAny(t *Train) float64 {
	if t.Layout != ErectorPair {
		return p.LeastRefined(t)
	}
	front, okFront := p.NewFront(t.Groups[0], t.Seat, LastRequirement)
	rear, okRear := p.NewRear(t.Groups[3], t.Seat, LastRequirement)
	first, second := NewPairComponentRows(t.Groups[1]), NewPairComponentRows(t.Groups[2])
	pair, ok := p.NewPairTrain(t.Seat, &front, &first, &second, &rear)
	if !okFront || !okRear || !ok {
		return t.Length
	}
	return pair.Least()
}
