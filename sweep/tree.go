package sweep

import (
	"math"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// leafSize is the number of groups at which a tree for pairs of nodes stops
// splitting. Smaller leaves bound better and cost more nodes; between 8 and 32
// it makes little difference.
const leafSize = 12

// tree is a hierarchy of boxes over fronts or rears.
type tree struct {
	box   func(i int) objective.Box // of an item
	order []int32                   // items, leaf by leaf
	nodes []node                    // nodes[0] is the root; empty without items
}

type node struct {
	box         objective.Box
	first, last int32   // in order
	left, right int32   // 0 for a leaf
	spread      float64 // of the widest key
}

// keys are what a tree sorts its items by, all in units that make about the same
// difference to the length of a train.
type keys [5]float64

// endKeys are the keys of fronts and rears: log focal length, U and the ends of
// the interval.
func endKeys(b *objective.Box) keys {
	return keys{100 * math.Log(b.F.Lo), b.Length, bounded(b.I.Lo), bounded(b.I.Hi), 0}
}

// strongKeys are those of strong components of pair relays.
func strongKeys(b *objective.Box) keys {
	return keys{100 * math.Log(math.Abs(b.F.Lo)), b.Length, b.Component.TFFD, b.Component.TBFD, 0}
}

// weakKeys are those of weak components: the bound is loose until their power is
// narrow, so that it is split first.
func weakKeys(b *objective.Box) keys {
	return keys{200000 / b.F.Lo, b.Component.Hiatus, b.Component.Back.Lo, b.Component.Front.Lo, 0}
}

// buildTree splits items by their boxes, always across the widest of their keys,
// so that near items share a leaf. A leaf holds up to leaf items. Halves of large
// trees are split side by side, on up to so many cores.
func buildTree(workers, n, leaf int, box func(i int) objective.Box, keysOf func(*objective.Box) keys) *tree {
	return buildTreeBy(workers, n, leaf, box, func(_ int, b *objective.Box) keys { return keysOf(b) })
}

// buildTreeBy is buildTree with keys that depend on more than the box.
func buildTreeBy(workers, n, leaf int, box func(i int) objective.Box, keysOf func(i int, b *objective.Box) keys) *tree {
	t := &tree{order: make([]int32, n), box: box}
	for i := range t.order {
		t.order[i] = int32(i)
	}
	if n == 0 {
		return t
	}
	all := make([]keys, n)
	for i := range all {
		b := box(i)
		all[i] = keysOf(i, &b)
	}
	t.nodes = make([]node, nodesOf(n, leaf))
	var apart errgroup.Group
	apart.SetLimit(workers)
	split := &splitting{tree: t, all: all, leaf: leaf}
	split.split(&apart, 0, n, 0)
	_ = apart.Wait()                            // none fails
	for at := len(t.nodes) - 1; at >= 0; at-- { // children come behind their parents
		d := &t.nodes[at]
		if d.left != 0 {
			d.box = t.nodes[d.left].box.Around(&t.nodes[d.right].box)
		}
	}
	return t
}

// nodesOf is the number of nodes of a tree of n items.
func nodesOf(n, leaf int) int {
	if n <= leaf {
		return 1
	}
	left := nodesOf(n/2, leaf)
	if n%2 == 0 {
		return 1 + 2*left
	}
	return 1 + left + nodesOf(n-n/2, leaf)
}

// bounded keeps an unlimited end of an interval from dominating a split.
func bounded(x float64) float64 { return math.Max(-1e4, math.Min(1e4, x)) }

// splitting is a tree that is being built.
type splitting struct {
	*tree
	all  []keys
	leaf int
}

// splitApart is the number of items from which on a half is split by another worker,
// if one is free.
const splitApart = 1 << 14

// split makes the node at of the items from first to last, and those below it.
func (t *splitting) split(apart *errgroup.Group, first, last int, at int32) {
	items, all := t.order[first:last], t.all
	lo, hi := all[items[0]], all[items[0]]
	for _, i := range items[1:] {
		for d, k := range &all[i] {
			lo[d], hi[d] = min(lo[d], k), max(hi[d], k)
		}
	}
	wide := 0
	for d := range lo {
		if hi[d]-lo[d] > hi[wide]-lo[wide] {
			wide = d
		}
	}
	n := &t.nodes[at]
	*n = node{first: int32(first), last: int32(last), spread: hi[wide] - lo[wide]}
	if len(items) <= t.leaf {
		n.box = t.box(int(items[0]))
		for _, i := range items[1:] {
			b := t.box(int(i))
			n.box = n.box.Around(&b)
		}
		return
	}
	halveItems(items, func(a, b int32) bool {
		ka, kb := all[a][wide], all[b][wide]
		return ka < kb || ka == kb && a < b
	})
	middle := first + len(items)/2
	n.left = at + 1
	n.right = n.left + int32(nodesOf(middle-first, t.leaf))
	left := func() error {
		t.split(apart, first, middle, n.left)
		return nil
	}
	if len(items) < splitApart || !apart.TryGo(left) {
		_ = left() // never fails
	}
	t.split(apart, middle, last, n.right)
}

// halveItems moves the lesser half of items before the others, by Hoare's
// selection (Algorithm 65, Comm. ACM 4, 321, 1961; from memory). less is a total
// order, so that which half an item falls into depends on nothing else.
func halveItems(items []int32, less func(a, b int32) bool) {
	middle := len(items) / 2
	for lo, hi := 0, len(items)-1; lo < hi; {
		pivot := items[lo+(hi-lo)/2]
		i, j := lo, hi
		for i <= j {
			for less(items[i], pivot) {
				i++
			}
			for less(pivot, items[j]) {
				j--
			}
			if i <= j {
				items[i], items[j] = items[j], items[i]
				i++
				j--
			}
		}
		switch {
		case middle <= j:
			hi = j
		case middle >= i:
			lo = i
		default:
			return
		}
	}
}

// nodePair is a node of the fronts' tree with one of the rears'.
type nodePair struct{ front, rear int32 }

// boundFunc is a lower bound on the length of all trains between two boxes.
type boundFunc func(front, rear *objective.Box) float64

// divide returns the node pairs within limit into which the whole product
// falls, at least want of them where it can be divided that far, in an order
// that depends on nothing else.
func divide(fronts, rears *tree, bound boundFunc, limit float64, want int) []nodePair {
	if len(fronts.nodes) == 0 || len(rears.nodes) == 0 {
		return nil
	}
	pairs := []nodePair{{}}
	for grown := true; grown && len(pairs) < want; {
		grown = false
		var next []nodePair
		for _, p := range pairs {
			for _, c := range p.children(fronts, rears) {
				grown = grown || c != p
				if bound(&fronts.nodes[c.front].box, &rears.nodes[c.rear].box) <= limit {
					next = append(next, c)
				}
			}
		}
		pairs = next
	}
	return pairs
}

// children are the two halves of a pair, its node of more items split; a pair
// of leaves is its own child.
func (p nodePair) children(fronts, rears *tree) []nodePair {
	f, r := &fronts.nodes[p.front], &rears.nodes[p.rear]
	switch {
	case f.left == 0 && r.left == 0:
		return []nodePair{p}
	case r.left == 0 || f.left != 0 && f.last-f.first >= r.last-r.first:
		return []nodePair{{f.left, p.rear}, {f.right, p.rear}}
	}
	return []nodePair{{p.front, r.left}, {p.front, r.right}}
}

// walk visits every front and rear of a node pair whose bound is within limit.
// It stops early when visit returns false.
func walk(fronts, rears *tree, p nodePair, bound boundFunc, limit float64, visit func(front, rear int32) bool) bool {
	return walkLeaves(fronts, rears, p, bound, limit, func(front, rear int32) bool {
		for _, i := range fronts.items(front) {
			for _, k := range rears.items(rear) {
				if !visit(i, k) {
					return false
				}
			}
		}
		return true
	})
}

// items are the items of a node.
func (t *tree) items(node int32) []int32 {
	n := &t.nodes[node]
	return t.order[n.first:n.last]
}

// walkLeaves likewise visits leaves, by their nodes.
func walkLeaves(fronts, rears *tree, p nodePair, bound boundFunc, limit float64, visit func(front, rear int32) bool) bool {
	f, r := &fronts.nodes[p.front], &rears.nodes[p.rear]
	if bound(&f.box, &r.box) > limit {
		return true
	}
	if f.left == 0 && r.left == 0 {
		return visit(p.front, p.rear)
	}
	for _, c := range p.children(fronts, rears) {
		if !walkLeaves(fronts, rears, c, bound, limit, visit) {
			return false
		}
	}
	return true
}
