package sweep

import (
	"cmp"
	"container/heap"
	"context"
	"math"

	"relaysweep/objective"
)

// The exact search has a share of the effort for a lower bound, in counts so that
// it is the same everywhere: an evaluation costs some 18 µs and more, a check that turns a
// design away some 15, a group that is made, two or three times over, or only
// binned, some 0.13 and 0.05, and looking at a train some 0.3.
const (
	boundChecks   = 0.1 // of the evaluations
	boundEffort   = 1.0
	boundGroups   = 2.0
	boundFiltered = 20.0 // groups to search among those held only
	boundHeld     = 0.5  // of these, at the last
	boundPairs    = 0.01 // groups of pair relays for an exact search
	boundBoxed    = 1.0  // groups of pair relays to be held in boxes
	boundCounted  = 50.0
)

// bound finds a ranked length below which no design of the space passes, as far
// as the share of effort goes. Where the groups are few the exact search walks
// up from the shortest design. One that passes there is the shortest of all,
// and comes into the ranking. Three numbers of groups bound the effort. Up to boundGroups all
// are held and searched. Up to boundFiltered the search goes on until it would hold more than
// boundHeld. Up to boundCounted no design is searched: the groups are counted in bins of
// their numbers, and the bins give the bound. Beyond that nothing is proven.
func (s *optimizer) bound(ctx context.Context) error {
	defer s.clock("bound")()
	share := func(of float64) float64 { return of * float64(s.evaluated) }
	o := s.options
	o.top, o.onePerParts, o.refine, o.optimize = 1, false, refineOptions{}, optimizeOptions{}
	o.checksMax, o.effortMax = int64(math.Ceil(share(boundChecks))), int64(math.Ceil(share(boundEffort)))
	o.progress = func(status Status) {
		s.proven = status.ProvenMM
		s.report()
	}
	groups, _ := countGroups(s.lib, s.lensesPerGroup).Float64()
	want := wantedSlots(o)
	most := share(boundGroups)
	if want.pair {
		most = share(boundPairs)
	}
	if groups > most && groups <= share(boundFiltered) && !want.pair {
		most, o.heldStop = share(boundFiltered), int(share(boundHeld))
	}
	switch {
	case groups <= most:
		a, err := newExactSearch(ctx, s.lib, o)
		if err != nil {
			return err
		}
		out, err := a.run(ctx)
		if err != nil {
			return err
		}
		s.lower = out.Proof.ProvenLength
		for i := range out.Found {
			s.take(&out.Found[i].design)
		}
	case groups <= share(boundCounted) && !want.pair:
		want.held = 1 // to be counted and not held
		return s.leastUnit(ctx, func(ctx context.Context) (float64, error) {
			stream, err := newGroupStream(ctx, s.lib, want)
			if err != nil {
				return 0, err
			}
			return stream.filter.Least, nil
		})
	case groups <= share(boundBoxed):
		return s.leastUnit(ctx, func(ctx context.Context) (float64, error) {
			return s.leastOfBoxes(ctx, o, int(share(boundEffort)))
		})
	}
	return nil
}

// leastOfBoxes is a length that no design is shorter than, of spaces with pair relays
// from so many groups that not every pair of them can be looked at: of the boxes of
// all four slots the one with the least bound is halved, or its trains looked at one by
// one, with so many steps at most. Bounds are looked at up to the best that was found:
// beyond it there is nothing to prove.
func (s *optimizer) leastOfBoxes(ctx context.Context, o options, steps int) (float64, error) {
	a, err := newExactSearch(ctx, s.lib, o)
	if err != nil {
		return 0, err
	}
	if a.stream.held == nil { // the memory allowed holds partitions only: nothing is proven
		return 0, nil
	}
	least, limit := math.Inf(1), math.Min(lengthBeyond, s.p.LengthMax)
	if len(s.shortest) > 0 {
		limit = math.Min(limit, s.toLength(s.shortest[0]))
	}
	boxes := &boxHeap{}
	for _, f := range a.layouts {
		pairs, is := f.(*pairSearch)
		if !is {
			l, err := f.least(ctx, a.stream.held)
			if err != nil {
				return 0, err
			}
			least = math.Min(least, l)
			continue
		}
		err := pairs.eachClass(a.stream.held, func(c *classed) error {
			if !c.empty() {
				boxes.add(c, quad{}, limit)
			}
			return nil
		})
		if err != nil {
			return 0, err
		}
	}
	for boxes.Len() > 0 && steps > 0 && boxes.all[0].bound < least {
		if err := ctx.Err(); err != nil {
			return 0, err
		}
		steps--
		first := heap.Pop(boxes).(boundedQuad)
		slot := first.of.widest(first.quad)
		if slot < 0 {
			first.of.items(first.quad, 0, [4]int32{}, first.of.boxes(first.quad), func() float64 { return math.Min(limit, least) }, func(items [4]int32) bool {
				steps--
				if pair, ok := first.of.pair(items); ok {
					least = math.Min(least, pair.Least())
				}
				return true
			})
			continue
		}
		n := first.of.trees[slot].nodes[first.quad[slot]]
		for _, child := range [2]int32{n.left, n.right} {
			first.quad[slot] = child
			boxes.add(first.of, first.quad, limit)
		}
	}
	if boxes.Len() > 0 {
		least = math.Min(least, boxes.all[0].bound)
	}
	return math.Min(least, limit), nil
}

// boundedQuad is a quad of a product with its bound; number tells equal ones apart.
type boundedQuad struct {
	bound  float64
	number int
	of     *classed
	quad   quad
}

// boxHeap holds quads, the one of the least bound on top.
type boxHeap struct {
	all   []boundedQuad
	added int
}

// add takes in a quad, unless none of its trains is as short as limit.
func (h *boxHeap) add(of *classed, q quad, limit float64) {
	if bound := of.bound(of.boxes(q), limit); bound <= limit {
		h.added++
		heap.Push(h, boundedQuad{bound, h.added, of, q})
	}
}

func (h *boxHeap) Len() int { return len(h.all) }

func (h *boxHeap) Less(i, j int) bool {
	return cmp.Or(cmp.Compare(h.all[i].bound, h.all[j].bound), cmp.Compare(h.all[i].number, h.all[j].number)) < 0
}

func (h *boxHeap) Swap(i, j int) { h.all[i], h.all[j] = h.all[j], h.all[i] }

func (h *boxHeap) Push(x any) { h.all = append(h.all, x.(boundedQuad)) }

func (h *boxHeap) Pop() any {
	last := h.all[len(h.all)-1]
	h.all = h.all[:len(h.all)-1]
	return last
}

// leastUnit bounds the ranked lengths of all designs by a length that none is
// shorter than, as a unit.
func (s *optimizer) leastUnit(ctx context.Context, least func(context.Context) (float64, error)) error {
	_, err := s.log.unit(ctx, recordLeast, func(ctx context.Context) error {
		length, err := least(ctx)
		// Ranked lengths are rounded: one may lie below its own length.
		if length -= 2*objective.BoundSlack + objective.RankedStepMM; err == nil && length > 0 {
			s.lower = objective.RoundedLength(length)
			if s.by == objective.ByLengthToEye {
				s.lower += s.p.LeastRelief()
			}
		}
		return err
	}, func(e *encoder) { e.Float(s.lower) }, func(d *decoder) error {
		s.lower = d.Float()
		return d.End()
	})
	return err
}
