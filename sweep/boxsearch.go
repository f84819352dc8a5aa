package sweep

import (
	"context"
	"math"

	"relaysweep/objective"
	"relaysweep/objective/thirdorder"
)

// boxed is what find does once boxes are looked at: it passes over trains that [thirdBoxes] sets
// aside, and counts these, of any length, as far as it comes upon their units: of boxes
// within hi, and of single fronts and rears with a train within hi. What it counts grows with hi. Of
// what is set aside it solves only what the audit may draw.
func (f *singleSearch) boxed(ctx context.Context, st *stacks, lo, hi float64, most int) (window, bool, error) {
	if st.boxes[f.seat] == nil {
		st.boxes[f.seat] = newThirdBoxes(f, st, boxLeaf)
	}
	b := &boxSearch{singleSearch: f, st: st, thirdBoxes: st.boxes[f.seat]}
	if b.overlap < 0 {
		whole := newPass(lengthsAll, f)
		w, err := b.run(ctx, 0, f.boxesFrom, whole, true)
		if err != nil {
			return window{}, false, err
		}
		b.overlap = w.third.boxed
	}
	whole := newPass(most, f)
	w, err := b.run(ctx, lo, hi, whole, false)
	w.third.boxed -= b.overlap
	return w, err == nil && !whole.over(), err
}

// lengthsAll is a number of candidates that no window holds.
const lengthsAll = 1 << 62

// boxSearch goes through the leaves of two trees.
type boxSearch struct {
	*singleSearch
	*thirdBoxes
	st *stacks
}

func (b *boxSearch) bound(front, rear *objective.Box) float64 {
	length, _ := b.st.table.Bound(front, rear)
	return length
}

// run goes through what lies above lo and up to hi. With count it counts instead the trains up to hi
// in units that are set aside.
func (b *boxSearch) run(ctx context.Context, lo, hi float64, whole *pass, count bool) (window, error) {
	limit := hi + objective.BoundSlack
	pairs := divide(b.fronts, b.rears, b.bound, limit, tasksWanted)
	return b.tasks(ctx, len(pairs), whole, func(ctx context.Context, task int, w *window) {
		l := &boxLeaves{boxSearch: b, w: w, lo: lo, hi: hi, count: count}
		l.singles = w.tool.singlesOf(b.thirdBoxes)
		walkLeaves(b.fronts, b.rears, pairs[task], b.bound, limit, func(front, rear int32) bool {
			l.leaves(front, rear)
			return !whole.over() && ctx.Err() == nil
		})
	})
}

// boxLeaves is what one goroutine has in hand of a boxSearch.
type boxLeaves struct {
	*boxSearch
	w       *window
	lo, hi  float64
	count   bool
	singles *singleBoxes
	aside   []bool // by bin of relays: the leaves in hand with it are set aside
}

// leaves goes through the trains of two leaves.
func (l *boxLeaves) leaves(front, rear int32) {
	fronts, rears := l.fronts.items(front), l.rears.items(rear)
	base, kappa, relay := l.st.table.Ends(&l.fronts.nodes[front].box, &l.rears.nodes[rear].box)
	first := max(0, logBin(relay.Lo, relayFineBits)-l.bin0)
	l.aside = l.aside[:0]
	all, none := true, true
	last := first
	for ; last < len(l.bins); last++ {
		bin := &l.bins[last]
		if bin.f.Lo > relay.Hi || base+kappa*bin.f.Lo+l.bins[last].leastOn > l.hi+objective.BoundSlack {
			break
		}
		aside := false
		if base+kappa*bin.f.Lo+bin.hiatus <= l.hi+objective.BoundSlack {
			switch l.judge(l.frontBox[front], l.rearBox[rear], last, &l.singles.rows) {
			case setAside:
				aside = true
				if !l.count {
					l.w.third.boxed += int64(len(fronts)) * int64(len(rears)) * int64(bin.last-bin.first)
				}
			case allowed:
				all = false
			}
		}
		none = none && !aside
		l.aside = append(l.aside, aside)
	}
	if all && none {
		return
	}
	for _, i := range fronts {
		f := &l.st.fronts[l.seat][i]
		for _, k := range rears {
			r := &l.st.rears[l.seat][k]
			wanted := l.count || !none && l.drawingThird.wantsOf(l.kind(), f.Code, r.Code)
			if all && !wanted {
				continue
			}
			l.pair(i, k, first, last, wanted)
			if l.w.pass.over() {
				return
			}
		}
	}
}

func (l *boxLeaves) kind() objective.Space {
	return objective.Space{Layout: objective.ErectorSingle, Seat: l.seat}
}

// pair goes through the trains of a front and a rear with the relays in bins from first to last.
// wanted tells that those that are set aside in the leaves may be wanted.
func (l *boxLeaves) pair(i, k int32, first, last int, wanted bool) {
	front, rear := &l.st.fronts[l.seat][i], &l.st.rears[l.seat][k]
	frontBox, rearBox := front.Box(), rear.Box()
	least, relays := l.st.table.Bound(&frontBox, &rearBox)
	if least > l.hi+objective.BoundSlack {
		return
	}
	p := boxPair{boxLeaves: l, front: front, rear: rear, i: i, k: k, bin: -1}
	p.wanted = !l.count && l.drawingThird.wantsOf(p.kind(), front.Code, rear.Code)
	for n := first; n < last; {
		from := n
		for n < last && l.aside[n-first] == l.aside[from-first] {
			n++
		}
		if l.aside[from-first] && !wanted {
			continue
		}
		run := relays.And(objective.Interval{Lo: l.bins[from].f.Lo, Hi: math.Nextafter(l.bins[n-1].f.Hi, 0)})
		if !run.Empty() && !l.scan(&p, run, l.aside[from-first]) {
			return
		}
	}
}

// boxPair is a front and a rear in hand.
type boxPair struct {
	*boxLeaves
	front *objective.Front
	rear  *objective.Rear
	i, k  int32
	train objective.Train
	bin   int // of relays
	aside bool
	// wanted tells that some trains of the pair may be drawn.
	wanted bool
	// couple tells trains by their relays; known where couples is set.
	couple        thirdorder.Couple
	known, useful bool
}

// exceeds reports whether the screen is sure to turn away the train with relay j, without that
// it is solved.
func (p *boxPair) exceeds(j int, r *objective.Relay) bool {
	if !p.known {
		f, k := &p.frontEnds[p.i], &p.rearEnds[p.k]
		p.known, p.useful = true, f.known && k.known
		wide := func(i objective.Interval) objective.Interval {
			return objective.Interval{Lo: i.Lo - placeSlack, Hi: i.Hi + placeSlack}
		}
		p.couple = p.slopes.Couple(&f.End, &k.End, f.f, k.f, wide(f.at), wide(k.at))
	}
	return p.useful && p.bins[p.bin].known && p.couple.Exceeds(&p.relays[j], r.F)
}

// scan goes through the trains with relays whose focal lengths are in an interval. aside
// tells that they are set aside already.
func (l *boxLeaves) scan(p *boxPair, relays objective.Interval, aside bool) bool {
	l.st.table.Scan(p.front, p.rear, relays, l.hi, func(j int, r *objective.Relay, length float64) bool {
		if bin := logBin(r.F, relayFineBits) - l.bin0; bin != p.bin {
			p.bin, p.aside = bin, aside
			if !aside && l.judge(l.singles.front(l.thirdBoxes, p.i), l.singles.rear(l.thirdBoxes, p.k), bin, &l.singles.rows) == setAside {
				p.aside = true
				if !l.count {
					l.w.third.boxed += int64(l.bins[bin].last - l.bins[bin].first)
				}
			}
		}
		switch {
		case l.count:
			if p.aside {
				l.w.third.boxed++
			}
			return true
		case length <= l.lo:
			return true
		case p.aside:
			p.draw(j, r, length)
			return true
		case p.exceeds(j, r):
			l.w.examined++
			l.w.third.designs++
			p.draw(j, r, length)
			return true
		}
		p.with(j, r)
		return l.take(l.w, &p.train, p.codes(r), l.p.Solve(&p.train, 0), length)
	})
	return !l.w.pass.over()
}

// with puts relay j into the train.
func (p *boxPair) with(j int, r *objective.Relay) {
	t := &p.train
	if t.Groups == nil {
		t.Layout, t.Seat = objective.ErectorSingle, p.seat
		t.Groups = []*objective.Group{p.groups.group(p.front.Code), nil, p.groups.group(p.rear.Code)}
	}
	t.Groups[1] = p.st.relayGroup(p.lib, j, r)
}

func (p *boxPair) codes(r *objective.Relay) [4]objective.StackCode {
	return [4]objective.StackCode{p.front.Code, r.Code, p.rear.Code}
}

// draw takes a train that is set aside into the sample, if it is drawn and meets
// every paraxial requirement.
func (p *boxPair) draw(j int, r *objective.Relay, length float64) {
	if !p.wanted {
		return
	}
	c := candidate{groups: p.codes(r), space: p.kind()}
	if !p.drawingThird.wants(&c) {
		return
	}
	if p.with(j, r); p.p.Solve(&p.train, 0) == objective.Met {
		c.ranked = p.rankedBy(&p.train, length)
		p.w.third.sample = append(p.w.third.sample, c)
	}
}

// singleBoxes are boxes of single fronts and rears, each in the one place that its number gives it.
type singleBoxes struct {
	of            *thirdBoxes
	fronts, rears [singlesKnown]singleBox
	rows          knownRows
}

type singleBox struct {
	known bool
	i     int32
	box   endBox
}

// singlesKnown are some 10 MB for each goroutine.
const singlesKnown = 1 << 11

// singlesOf are those of a tool.
func (t *thirdTool) singlesOf(x *thirdBoxes) *singleBoxes {
	if t.singles == nil {
		t.singles = new(singleBoxes)
	}
	if s := t.singles; s.of != x {
		s.of, s.rows = x, knownRows{}
		for n := range s.fronts {
			s.fronts[n].known, s.rears[n].known = false, false
		}
	}
	return t.singles
}

func (s *singleBoxes) front(x *thirdBoxes, i int32) *endBox {
	return s.fronts[i%singlesKnown].get(x, x.frontEnds, i)
}

func (s *singleBoxes) rear(x *thirdBoxes, k int32) *endBox {
	return s.rears[k%singlesKnown].get(x, x.rearEnds, k)
}

func (b *singleBox) get(x *thirdBoxes, ends []slopeEnd, i int32) *endBox {
	if !b.known || b.i != i {
		b.known, b.i = true, i
		b.box.around(ends, i)
	}
	return &b.box
}
