package sweep

import (
	"sync/atomic"

	"relaysweep/objective"
)

// stacks are groups that a library's lenses make, sorted by the slots in which
// they can serve, with the trees over them: all that can be part of a train of
// up to a length, the horizon.
type stacks struct {
	of              partition
	horizon         float64                                // mm
	positive        [3]int64                               // groups that converge, also those left out, by slot
	fronts          [objective.SeatCount][]objective.Front // by seat
	rears           [objective.SeatCount][]objective.Rear  // by seat
	keplerianFronts []objective.Front                      // fronts of a keplerian
	relays          []objective.Relay                      // of an erector-single
	frontTrees      [objective.SeatCount]*tree             // by seat
	rearTrees       [objective.SeatCount]*tree             // by seat
	keplerianTree   *tree
	table           *objective.RelayTable
	relayGroups     []atomic.Pointer[objective.Group] // by place in table
	// components are the groups of pair relays for either slot; the slots share
	// them where all are held.
	components     [2][objective.ComponentClasses][]objective.PairComponent
	componentTrees [2][objective.ComponentClasses]*tree
	ready          [objective.SeatCount]*pairGroups // by seat
	boxes          [objective.SeatCount]*thirdBoxes // by seat, once they are asked for
}

// collector holds the groups of one block.
type collector struct {
	stacks
	part Part
	st   *objective.Stacker // the group in hand
	at   slotGroup          // and the slot in hand
}

// keep holds the group in hand in the slot in hand, where that is wanted.
func (c *collector) keep() {
	if c.st.TooManyParts() {
		return
	}
	switch code, seat := c.st.Code(), c.at.seat; c.at.at {
	case inFront:
		if c.of.has(code, c.of.front) && c.part.takesFront(c.st.Elements()) {
			c.fronts[seat] = append(c.fronts[seat], c.at.front)
		}
	case atEye:
		if c.of.has(code, c.of.rear) {
			c.rears[seat] = append(c.rears[seat], c.at.rear)
		}
	case asRelay:
		if c.of.has(code, c.of.relay) {
			c.relays = append(c.relays, c.at.relay)
		}
	case inKeplerian:
		if c.of.has(code, c.of.front) && c.part.takesFront(c.st.Elements()) {
			c.keplerianFronts = append(c.keplerianFronts, c.at.front)
		}
	}
}

// keepComponent holds what is stacked as a component of pair relays, in either slot. Where
// all are held the slots share one list.
func (c *collector) keepComponent() {
	h, ok := c.st.PairComponent()
	if !ok || c.st.TooManyParts() {
		return
	}
	for slot, which := range [2]int{c.of.relay, c.of.second} {
		if (slot == 0 || c.of.of > 0) && c.of.has(h.Code, which) {
			c.components[slot][h.Class()] = append(c.components[slot][h.Class()], h)
		}
	}
}

// join puts the groups of all blocks together, in the order of the blocks.
func (s *groupStream) join(blocks []collector) *stacks {
	all := &stacks{}
	for i := range blocks {
		for slot, n := range blocks[i].positive {
			all.positive[slot] += n
		}
	}
	for _, seat := range s.want.seats {
		all.fronts[seat] = joined(blocks, func(c *collector) []objective.Front { return c.fronts[seat] })
		all.rears[seat] = joined(blocks, func(c *collector) []objective.Rear { return c.rears[seat] })
	}
	all.keplerianFronts = joined(blocks, func(c *collector) []objective.Front { return c.keplerianFronts })
	all.relays = joined(blocks, func(c *collector) []objective.Relay { return c.relays })
	for slot := range all.components {
		for class := range all.components[slot] {
			all.components[slot][class] = joined(blocks, func(c *collector) []objective.PairComponent { return c.components[slot][class] })
		}
	}
	return all
}

// joined joins parts in their order and lets go of them.
func joined[T any](parts []collector, of func(*collector) []T) []T {
	n := 0
	for i := range parts {
		n += len(of(&parts[i]))
	}
	all := make([]T, 0, n)
	for i := range parts {
		all = append(all, of(&parts[i])...)
	}
	return all
}

// plant builds the trees and tables over the groups that are held.
func (s *groupStream) plant(all *stacks) {
	leaf := leafSize
	if s.want.pair {
		leaf = productLeaf
	}
	workers := s.want.workers
	for _, seat := range s.want.seats {
		all.frontTrees[seat] = buildTree(workers, len(all.fronts[seat]), leaf, func(i int) objective.Box { return all.fronts[seat][i].Box() }, endKeys)
		all.rearTrees[seat] = buildTree(workers, len(all.rears[seat]), leaf, func(i int) objective.Box { return all.rears[seat][i].Box() }, endKeys)
	}
	all.keplerianTree = buildTree(workers, len(all.keplerianFronts), leafSize, func(i int) objective.Box { return all.keplerianFronts[i].Box() }, endKeys)
	if s.want.pair {
		all.plantComponents(workers)
		for _, seat := range s.want.seats {
			all.ready[seat] = newPairGroups(s.lib, all, seat)
		}
	}
	if s.want.single {
		all.table = objective.NewRelayTable(s.lib.Problem, all.relays)
		all.relayGroups = make([]atomic.Pointer[objective.Group], len(all.relays))
	}
}

// plantComponents builds the trees over the components of pair relays.
func (st *stacks) plantComponents(workers int) {
	for slot := range st.components {
		if slot > 0 && st.of.of == 0 {
			st.components[slot], st.componentTrees[slot] = st.components[0], st.componentTrees[0]
			continue
		}
		for class, list := range st.components[slot] {
			keysOf, leaf := strongKeys, productLeaf
			if objective.ComponentClass(class) == objective.Weak {
				keysOf, leaf = weakKeys, 1
			}
			st.componentTrees[slot][class] = buildTree(workers, len(list), leaf, func(i int) objective.Box { return list[i].Box() }, keysOf)
		}
	}
}

// pairGroups are the groups of trains with a pair relay, made when they are first
// asked for.
type pairGroups struct {
	lib        *objective.Library
	st         *stacks
	seat       objective.Seat
	fronts     []atomic.Pointer[objective.Front]
	rears      []atomic.Pointer[objective.Rear]
	components [2][objective.ComponentClasses][]atomic.Pointer[objective.PairComponentRows]
}

func newPairGroups(lib *objective.Library, st *stacks, seat objective.Seat) *pairGroups {
	g := &pairGroups{
		lib: lib, st: st, seat: seat,
		fronts: make([]atomic.Pointer[objective.Front], len(st.fronts[seat])),
		rears:  make([]atomic.Pointer[objective.Rear], len(st.rears[seat])),
	}
	for slot := range g.components {
		if slot > 0 && st.of.of == 0 {
			g.components[slot] = g.components[0]
			continue
		}
		for class := range g.components[slot] {
			g.components[slot][class] = make([]atomic.Pointer[objective.PairComponentRows], len(st.components[slot][class]))
		}
	}
	return g
}

func (g *pairGroups) front(i int32) *objective.Front {
	return made(&g.fronts[i], func() objective.Front {
		f := g.st.fronts[g.seat][i]
		f.Group = g.lib.Group(f.Code)
		return f
	})
}

func (g *pairGroups) rear(i int32) *objective.Rear {
	return made(&g.rears[i], func() objective.Rear {
		r := g.st.rears[g.seat][i]
		r.Group = g.lib.Group(r.Code)
		return r
	})
}

func (g *pairGroups) component(slot int, class objective.ComponentClass, i int32) *objective.PairComponentRows {
	return made(&g.components[slot][class][i], func() objective.PairComponentRows {
		return objective.NewPairComponentRows(g.lib.Group(g.st.components[slot][class][i].Code))
	})
}

// made is what a pointer holds, filled by a function that always makes the same
// when it holds nothing yet.
func made[T any](at *atomic.Pointer[T], fill func() T) *T {
	x := at.Load()
	if x == nil {
		x = new(T)
		*x = fill()
		at.Store(x)
	}
	return x
}

// relayGroup is the group of relay j of the table, made when it is first asked for.
func (st *stacks) relayGroup(lib *objective.Library, j int, r *objective.Relay) *objective.Group {
	g := st.relayGroups[j].Load()
	if g == nil {
		g = lib.Group(r.Code)
		st.relayGroups[j].Store(g)
	}
	return g
}
