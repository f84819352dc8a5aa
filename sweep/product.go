package sweep

import (
	"context"
	"math"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// product is the product of the trees of the four slots of a train with a pair
// relay: front, first and second relay group, rear.
type product struct {
	trees [4]*tree
	// bound is a lower bound on the length of the trains in four boxes, as far
	// as it is up to limit.
	bound func(boxes [4]*objective.Box, limit float64) float64
}

// quad is a node of each of a product's trees.
type quad [4]int32

func (p *product) empty() bool {
	for _, t := range p.trees {
		if len(t.nodes) == 0 {
			return true
		}
	}
	return false
}

// boxes are the boxes of a quad's nodes.
func (p *product) boxes(q quad) (boxes [4]*objective.Box) {
	for i, t := range p.trees {
		boxes[i] = &t.nodes[q[i]].box
	}
	return boxes
}

// within reports whether a train in the quad's boxes may be as short as limit.
func (p *product) within(q quad, limit float64) bool {
	return p.bound(p.boxes(q), limit) <= limit
}

// widest is the slot whose node, if split, narrows the quad most: that of the
// largest spread; -1 when all are leaves.
func (p *product) widest(q quad) int {
	slot, spread := -1, 0.0
	for i, t := range p.trees {
		n := &t.nodes[q[i]]
		if n.left != 0 && (slot < 0 || n.spread > spread) {
			slot, spread = i, n.spread
		}
	}
	return slot
}

// divide returns the quads within limit into which the whole product falls, at
// least want of them where it can be divided that far, in an order that depends
// on nothing else.
func (p *product) divide(limit float64, want int) []quad {
	if p.empty() || !p.within(quad{}, limit) {
		return nil
	}
	quads := []quad{{}}
	for grown := true; grown && len(quads) < want; {
		grown = false
		var next []quad
		for _, q := range quads {
			slot := p.widest(q)
			if slot < 0 {
				next = append(next, q)
				continue
			}
			grown = true
			n := p.trees[slot].nodes[q[slot]]
			for _, child := range [2]int32{n.left, n.right} {
				if q[slot] = child; p.within(q, limit) {
					next = append(next, q)
				}
			}
		}
		quads = next
	}
	return quads
}

// walk visits the items of every four leaves of a quad that may hold a train
// within limit. It stops early when visit returns false.
func (p *product) walk(q quad, limit float64, visit func(items [4]int32) bool) bool {
	slot := p.widest(q)
	if slot < 0 {
		return p.items(q, 0, [4]int32{}, p.boxes(q), func() float64 { return limit }, visit)
	}
	n := &p.trees[slot].nodes[q[slot]]
	for _, child := range [2]int32{n.left, n.right} {
		if q[slot] = child; p.within(q, limit) && !p.walk(q, limit, visit) {
			return false
		}
	}
	return true
}

// productLeaf is the number of groups at which a tree for a product stops
// splitting; in a leaf its items are taken one by one.
const productLeaf = 4

// items visits the items of four leaves, slot by slot, as long as a train of
// those chosen may be as short as limit.
func (p *product) items(q quad, slot int, chosen [4]int32, boxes [4]*objective.Box, limit func() float64, visit func(items [4]int32) bool) bool {
	if slot == len(q) {
		return visit(chosen)
	}
	t := p.trees[slot]
	n := &t.nodes[q[slot]]
	for _, i := range t.order[n.first:n.last] {
		box := t.box(int(i))
		boxes[slot] = &box
		if l := limit(); p.bound(boxes, l) > l {
			continue
		}
		if chosen[slot] = i; !p.items(q, slot+1, chosen, boxes, limit, visit) {
			return false
		}
	}
	return true
}

// descend lowers best to the least that lengthOf gives for any items of the
// product: of two halves the one of the lower bound first, and none that can't
// be below the best so far.
func (p *product) descend(ctx context.Context, workers int, best *lowest, lengthOf func(items [4]int32) float64) error {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(workers)
	for _, q := range p.divide(best.get(), tasksWanted) {
		group.Go(func() error {
			p.descendFrom(ctx, q, best, lengthOf)
			return ctx.Err()
		})
	}
	return group.Wait()
}

func (p *product) descendFrom(ctx context.Context, q quad, best *lowest, lengthOf func(items [4]int32) float64) {
	if ctx.Err() != nil {
		return
	}
	boxes := p.boxes(q)
	if limit := best.get(); p.bound(boxes, limit) >= limit {
		return
	}
	slot := p.widest(q)
	if slot < 0 {
		p.items(q, 0, [4]int32{}, boxes, best.get, func(items [4]int32) bool {
			best.lower(lengthOf(items))
			return true
		})
		return
	}
	n := &p.trees[slot].nodes[q[slot]]
	left, right := q, q
	left[slot], right[slot] = n.left, n.right
	boxes[slot] = &p.trees[slot].nodes[n.left].box
	toLeft := p.bound(boxes, best.get())
	boxes[slot] = &p.trees[slot].nodes[n.right].box
	if p.bound(boxes, best.get()) < toLeft {
		left, right = right, left
	}
	p.descendFrom(ctx, left, best, lengthOf)
	p.descendFrom(ctx, right, best, lengthOf)
}

// lowest is the least of what several goroutines have seen.
type lowest struct{ bits atomic.Uint64 }

func newLowest(start float64) *lowest {
	l := new(lowest)
	l.bits.Store(math.Float64bits(start))
	return l
}

func (l *lowest) get() float64 { return math.Float64frombits(l.bits.Load()) }

func (l *lowest) lower(x float64) {
	for {
		old := l.bits.Load()
		if !(x < math.Float64frombits(old)) || l.bits.CompareAndSwap(old, math.Float64bits(x)) {
			return
		}
	}
}
