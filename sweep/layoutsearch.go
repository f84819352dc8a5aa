package sweep

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/big"
	"slices"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
	"relaysweep/sweep/journal"
)

// candidate is a design that meets every paraxial requirement, in the few
// numbers that tell it from others: searches hold many.
type candidate struct {
	ranked float64 // mm, rounded as ranked lengths are compared
	space  objective.Space
	groups [4]objective.StackCode // from the world to the eye
	inner  float64                // mm, the gap inside a pair relay
}

// codes are the codes of the candidate's groups.
func (c *candidate) codes() []objective.StackCode { return c.groups[:len(c.space.Layout.GroupNames())] }

// solve is the candidate's train at its paraxial gaps and smallest eye relief. It
// fails only for one that was read from a damaged journal.
func (c *candidate) solve(lib *objective.Library) (*objective.Train, error) {
	return c.solveOf(lib, lib.Group)
}

// solveOf is solve with groups made by group.
func (c *candidate) solveOf(lib *objective.Library, group func(objective.StackCode) *objective.Group) (*objective.Train, error) {
	t := &objective.Train{Layout: c.space.Layout, Seat: c.space.Seat}
	for _, code := range c.codes() {
		t.Groups = append(t.Groups, group(code))
	}
	if failed := lib.Problem.Solve(t, c.inner); failed != objective.Met {
		return nil, fmt.Errorf("%s, which met every requirement, now fails %v: the journal %w", t.DesignID(), failed, journal.ErrUnfit)
	}
	return t, nil
}

// id is the candidate's design_id.
func (c *candidate) id(lib *objective.Library) string {
	t := objective.Train{Layout: c.space.Layout, Seat: c.space.Seat}
	for _, code := range c.codes() {
		t.Groups = append(t.Groups, &objective.Group{Elements: lib.Stack(code)})
	}
	return t.DesignID()
}

// compareCandidates orders by ranked length, equal ones by design_id.
func compareCandidates(a, b *candidate, lib *objective.Library) int {
	if c := cmp.Compare(a.ranked, b.ranked); c != 0 {
		return c
	}
	return strings.Compare(a.id(lib), b.id(lib))
}

// sortCandidates sorts candidates.
func sortCandidates(all []candidate, lib *objective.Library) {
	slices.SortFunc(all, func(a, b candidate) int { return compareCandidates(&a, &b, lib) })
}

// window is what one pass over a range of lengths brought.
type window struct {
	candidates []candidate
	examined   int64
	failed     [objective.Met]int64 // by requirement
	noGap      int64                // pair relays that no inner gap suits
	blurred    int64                // turned away by the mask alone, see maskScreen
	sample     []candidate          // of these, to draw an audit from
	third      thirdTurned
	pass       *pass      // of which it is a part
	tool       *thirdTool // of the goroutine that works on it; nil for none
}

// thirdTurned are the designs that third-order sums turned away.
type thirdTurned struct {
	designs int64
	boxed   int64       // designs of units that are set aside, up to the window's end, see thirdBoxes
	least   float64     // ranked length of the shortest, mm; 0 for none
	sample  []candidate // to draw an audit from
}

func (t *thirdTurned) add(u *thirdTurned) {
	t.designs += u.designs
	t.boxed += u.boxed
	t.sample = append(t.sample, u.sample...)
	if t.least == 0 || u.least > 0 && u.least < t.least {
		t.least = u.least
	}
}

// pass counts what all the parts of a window hold. Whether it is given up
// depends on the counts of the whole, so not on the number of workers.
type pass struct {
	held, examined atomic.Int64
	most           int64
	examinedMost   int64
}

// over tells that the window holds too much.
func (p *pass) over() bool {
	return p.held.Load() > p.most || p.examined.Load() > p.examinedMost
}

// newPass bounds a window of up to so many candidates.
func newPass(most int, f layoutSearch) *pass {
	p := &pass{most: int64(most), examinedMost: math.MaxInt64}
	if p.most < p.examinedMost/examinedToo(f) {
		p.examinedMost = p.most * examinedToo(f)
	}
	return p
}

// layoutSearch finds the trains of one layout and seat among the stacks that are held.
type layoutSearch interface {
	// find examines the trains whose length, or the bound that stands for it,
	// lies above lo and up to hi, which the stacks must reach: each train in
	// exactly one of the windows that cover all lengths. ok is false when the
	// window holds more than most candidates.
	find(ctx context.Context, st *stacks, lo, hi float64, most int) (w window, ok bool, err error)
	// least is a length below which there is no train.
	least(ctx context.Context, st *stacks) (float64, error)
	// space counts its designs.
	space(s *groupStream) spaceCount
}

// spaceCount counts the designs of one layout and seat.
type spaceCount struct {
	designs *big.Int // all
	focal   *big.Int // those with a group that does not converge
	// group counts others with a group that can't serve in its slot, whatever
	// the rest, or whose front is another part's. Where not all groups are held,
	// those that can't serve are counted with the bound.
	group *big.Int
}

// countSpace is the spaceCount of a product: per slot the number of all groups,
// of those of positive focal length, and of those that can serve.
func countSpace(all, positive, serve []*big.Int) spaceCount {
	product := func(factors []*big.Int) *big.Int {
		p := big.NewInt(1)
		for _, f := range factors {
			p.Mul(p, f)
		}
		return p
	}
	a, b, c := product(all), product(positive), product(serve)
	return spaceCount{designs: a, focal: new(big.Int).Sub(a, b), group: new(big.Int).Sub(b, c)}
}

func bigInt(n int) *big.Int { return big.NewInt(int64(n)) }

// sharedSearch is what the layout searches of one sweep point share.
type sharedSearch struct {
	lib     *objective.Library
	p       *objective.Problem
	by      objective.RankBy
	workers int
	groups  *groupCache
	mask    *maskScreen  // nil where nothing is refined
	third   *thirdScreen // nil for none
	// Samples of what either turns away are drawn by these; nil for none.
	drawing, drawingThird *auditSample
	// boxesFrom is the length from which on boxes are looked at, see thirdBoxes, mm; 0 for not yet.
	boxesFrom float64
}

// examinedToo is how many trains a window may examine for each candidate that it
// may hold. To find those of a pair relay takes much longer than to examine them,
// so that more of these are worth it.
func examinedToo(f layoutSearch) int64 {
	if _, pair := f.(*pairSearch); pair {
		return 256
	}
	return 16
}

// tasksWanted is the number of tasks into which a window is divided: enough
// that no worker waits long for the last one.
const tasksWanted = 512

// each runs a task on every node pair that may hold a train up to hi, each
// with a window of its own, and joins the windows.
func (s *sharedSearch) each(ctx context.Context, fronts, rears *tree, bound boundFunc, hi float64, whole *pass,
	visit func(w *window, front, rear int32),
) (joined window, ok bool, err error) {
	limit := hi + objective.BoundSlack
	pairs := divide(fronts, rears, bound, limit, tasksWanted)
	joined, err = s.tasks(ctx, len(pairs), whole, func(ctx context.Context, task int, w *window) {
		walk(fronts, rears, pairs[task], bound, limit, func(front, rear int32) bool {
			visit(w, front, rear)
			return !whole.over() && ctx.Err() == nil
		})
	})
	return joined, err == nil && !whole.over(), err
}

// tasks runs n tasks, each with a window of its own, and joins the windows. The
// tasks and their order do not depend on the number of workers, so neither does
// the result.
func (s *sharedSearch) tasks(ctx context.Context, n int, whole *pass, run func(ctx context.Context, task int, w *window)) (joined window, err error) {
	windows := make([]window, n)
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(s.workers)
	for i := range windows {
		group.Go(func() error {
			windows[i].pass = whole
			if !whole.over() {
				windows[i].tool = s.third.take()
				defer s.third.giveBack(windows[i].tool)
				run(ctx, i, &windows[i])
			}
			return ctx.Err()
		})
	}
	if err := group.Wait(); err != nil {
		return window{}, err
	}
	for i := range windows {
		joined.add(&windows[i])
	}
	return joined, nil
}

func (w *window) add(v *window) {
	w.candidates = append(w.candidates, v.candidates...)
	w.examined += v.examined
	w.noGap += v.noGap
	for i, n := range v.failed {
		w.failed[i] += n
	}
	w.blurred += v.blurred
	w.sample = append(w.sample, v.sample...)
	w.third.add(&v.third)
}

// take counts a judged train and keeps it when it meets everything, ranked by its
// length, or where designs are refined by least, a length that no refinement of it goes
// below. It returns false when the window holds too much to go on.
func (s *sharedSearch) take(w *window, t *objective.Train, codes [4]objective.StackCode, failed objective.Requirement, least float64) bool {
	w.examined++
	w.pass.examined.Add(1)
	if failed == objective.Focal { // no inner gap: see PairTrain.Solve
		w.noGap++
		return !w.pass.over()
	}
	if failed != objective.Met {
		w.failed[failed]++
		return !w.pass.over()
	}
	c := candidate{
		ranked: s.rankedBy(t, least), groups: codes,
		space: objective.Space{Layout: t.Layout, Seat: t.Seat},
	}
	if t.Layout == objective.ErectorPair {
		c.inner = t.Gaps[1]
	}
	if w.tool.turnsAway(t, codes) {
		turned := thirdTurned{designs: 1, least: c.ranked}
		if s.drawingThird.wants(&c) {
			turned.sample = []candidate{c}
		}
		w.third.add(&turned)
		return !w.pass.over()
	}
	if s.mask.turnsAway(t, codes[len(t.Groups)-1]) {
		w.blurred++
		if s.drawing.wants(&c) {
			w.sample = append(w.sample, c)
		}
		return !w.pass.over()
	}
	w.pass.held.Add(1)
	w.candidates = append(w.candidates, c)
	return !w.pass.over()
}

// rankedBy is what a train is ranked by in the walk.
func (s *sharedSearch) rankedBy(t *objective.Train, least float64) float64 {
	if !s.p.Refining() {
		return objective.RoundedLength(t.Ranked(s.by))
	}
	if s.by == objective.ByLengthToEye {
		least += s.p.LeastRelief()
	}
	return objective.RoundedLength(least)
}

// singleSearch finds trains of the layout erector-single.
type singleSearch struct {
	*sharedSearch
	seat objective.Seat
}

func (f *singleSearch) space(s *groupStream) spaceCount {
	serve := []*big.Int{s.own, s.positive[1], s.positive[2]}
	if s.counted {
		serve = []*big.Int{bigInt(len(s.held.fronts[f.seat])), bigInt(len(s.held.relays)), bigInt(len(s.held.rears[f.seat]))}
	}
	return countSpace(s.inSlot[:], s.positive[:], serve)
}

func (f *singleSearch) find(ctx context.Context, st *stacks, lo, hi float64, most int) (window, bool, error) {
	if st.of.second > 0 { // it has none: once is enough
		return window{}, true, nil
	}
	if f.boxesFrom > 0 {
		return f.boxed(ctx, st, lo, hi, most)
	}
	bound := func(a, b *objective.Box) float64 {
		length, _ := st.table.Bound(a, b)
		return length
	}
	return f.each(ctx, st.frontTrees[f.seat], st.rearTrees[f.seat], bound, hi, newPass(most, f), func(w *window, i, k int32) {
		front, rear := &st.fronts[f.seat][i], &st.rears[f.seat][k]
		frontBox, rearBox := front.Box(), rear.Box()
		least, relays := st.table.Bound(&frontBox, &rearBox)
		if least > hi+objective.BoundSlack {
			return
		}
		t := objective.Train{Layout: objective.ErectorSingle, Seat: f.seat}
		st.table.Scan(front, rear, relays, hi, func(j int, r *objective.Relay, length float64) bool {
			if length <= lo {
				return true
			}
			if t.Groups == nil {
				t.Groups = []*objective.Group{f.groups.group(front.Code), nil, f.groups.group(rear.Code)}
			}
			t.Groups[1] = st.relayGroup(f.lib, j, r)
			return f.take(w, &t, [4]objective.StackCode{front.Code, r.Code, rear.Code}, f.p.Solve(&t, 0), length)
		})
	})
}

func (f *singleSearch) least(_ context.Context, st *stacks) (float64, error) {
	return leastOf(st.frontTrees[f.seat], st.rearTrees[f.seat], func(a, b *objective.Box) float64 {
		length, _ := st.table.Bound(a, b)
		return length
	}), nil
}

// leastOf is the bound of two trees' roots.
func leastOf(fronts, rears *tree, bound boundFunc) float64 {
	if len(fronts.nodes) == 0 || len(rears.nodes) == 0 {
		return math.Inf(1)
	}
	return bound(&fronts.nodes[0].box, &rears.nodes[0].box)
}

// pairSearch finds trains of the layout erector-pair. A train is examined in
// the window of its bound over all inner gaps, so that each is solved once;
// its length may lie in a later window.
type pairSearch struct {
	*sharedSearch
	seat objective.Seat
}

func (f *pairSearch) find(ctx context.Context, st *stacks, lo, hi float64, most int) (joined window, ok bool, err error) {
	whole := newPass(most, f)
	err = f.eachClass(st, func(c *classed) error {
		if whole.over() {
			return nil
		}
		w, err := c.find(ctx, lo, hi, whole)
		joined.add(&w)
		return err
	})
	return joined, err == nil && !whole.over(), err
}

// classed are the trains whose relay groups are of given classes.
type classed struct {
	product
	f       *pairSearch
	st      *stacks
	classes [2]objective.ComponentClass
}

// eachClass visits the pair relays of each two classes.
func (f *pairSearch) eachClass(st *stacks, visit func(c *classed) error) error {
	for first := range objective.ComponentClasses {
		for second := range objective.ComponentClasses {
			err := visit(&classed{f: f, st: st, classes: [2]objective.ComponentClass{first, second}, product: product{
				trees: [4]*tree{st.frontTrees[f.seat], st.componentTrees[0][first], st.componentTrees[1][second], st.rearTrees[f.seat]},
				bound: func(boxes [4]*objective.Box, limit float64) float64 {
					return f.p.PairBound(f.seat, boxes, limit)
				},
			}})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

// pair puts items of the trees together.
func (s *classed) pair(items [4]int32) (pair objective.PairTrain, ok bool) {
	groups := s.st.ready[s.f.seat]
	return s.f.p.NewPairTrain(
		s.f.seat, groups.front(items[0]), groups.component(0, s.classes[0], items[1]), groups.component(1, s.classes[1], items[2]), groups.rear(items[3]),
	)
}

// train is the train of items, its gaps still to be found.
func (s *classed) train(items [4]int32) (t objective.Train, codes [4]objective.StackCode) {
	groups := s.st.ready[s.f.seat]
	front, rear := groups.front(items[0]), groups.rear(items[3])
	t = objective.Train{Layout: objective.ErectorPair, Seat: s.f.seat, Groups: []*objective.Group{
		front.Group, groups.component(0, s.classes[0], items[1]).Group, groups.component(1, s.classes[1], items[2]).Group, rear.Group,
	}}
	return t, [4]objective.StackCode{
		front.Code, s.st.components[0][s.classes[0]][items[1]].Code, s.st.components[1][s.classes[1]][items[2]].Code, rear.Code,
	}
}

func (s *classed) find(ctx context.Context, lo, hi float64, whole *pass) (window, error) {
	limit := hi + objective.BoundSlack
	quads := s.divide(limit, tasksWanted)
	return s.f.tasks(ctx, len(quads), whole, func(ctx context.Context, task int, w *window) {
		s.walk(quads[task], limit, func(items [4]int32) bool {
			pair, ok := s.pair(items)
			if !ok || pair.TooManyParts() { // they stay with those that the bound sets aside
				return true
			}
			least := pair.Least()
			if least <= lo || !(least <= hi) {
				return !whole.over() && ctx.Err() == nil
			}
			t, codes := s.train(items)
			return s.f.take(w, &t, codes, pair.Solve(&t, s.f.by), least) && ctx.Err() == nil
		})
	})
}

// leastFirst, in mm, is the length below which the least is looked for first,
// and leastGrowth by how much it grows: the tighter a limit, the less there is to
// look at.
const (
	leastFirst  = 16.0
	leastGrowth = 1.06
)

func (f *pairSearch) least(ctx context.Context, st *stacks) (float64, error) {
	for limit := leastFirst; limit < lengthBeyond; limit *= leastGrowth {
		best := newLowest(limit)
		err := f.eachClass(st, func(c *classed) error {
			return c.descend(ctx, f.workers, best, func(items [4]int32) float64 {
				if pair, ok := c.pair(items); ok && !pair.TooManyParts() {
					return pair.Least()
				}
				return math.Inf(1)
			})
		})
		if err != nil {
			return 0, err
		}
		if best.get() < limit {
			return best.get(), nil
		}
	}
	return lengthBeyond, nil
}

// space counts pairs that can't converge together with what the bound leaves out:
// telling them takes as long as bounding them.
func (f *pairSearch) space(s *groupStream) spaceCount {
	relays := s.inSlot[1]
	serve := []*big.Int{s.own, relays, relays, s.positive[2]}
	if s.counted {
		serve = []*big.Int{bigInt(len(s.held.fronts[f.seat])), relays, relays, bigInt(len(s.held.rears[f.seat]))}
	}
	return countSpace(
		[]*big.Int{s.inSlot[0], relays, relays, s.inSlot[2]}, []*big.Int{s.positive[0], relays, relays, s.positive[2]}, serve,
	)
}

// keplerianSearch finds trains of the layout keplerian.
type keplerianSearch struct{ *sharedSearch }

func (f *keplerianSearch) find(ctx context.Context, st *stacks, lo, hi float64, most int) (window, bool, error) {
	if st.of.relay > 0 || st.of.second > 0 { // it has none: once is enough
		return window{}, true, nil
	}
	rears := st.rears[objective.SeatRear]
	return f.each(ctx, st.keplerianTree, st.rearTrees[objective.SeatRear], f.p.KeplerianBound, hi, newPass(most, f), func(w *window, i, k int32) {
		front, rear := &st.keplerianFronts[i], &rears[k]
		frontBox, rearBox := front.Box(), rear.Box()
		length := f.p.KeplerianBound(&frontBox, &rearBox)
		if length <= lo || length > hi || math.IsInf(length, 1) {
			return
		}
		t := objective.Train{
			Layout: objective.Keplerian, Seat: objective.SeatRear,
			Groups: []*objective.Group{f.lib.Group(front.Code), f.lib.Group(rear.Code)},
		}
		f.take(w, &t, [4]objective.StackCode{front.Code, rear.Code}, f.p.Solve(&t, 0), length)
	})
}

func (f *keplerianSearch) least(_ context.Context, st *stacks) (float64, error) {
	return leastOf(st.keplerianTree, st.rearTrees[objective.SeatRear], f.p.KeplerianBound), nil
}

func (f *keplerianSearch) space(s *groupStream) spaceCount {
	serve := []*big.Int{s.own, s.positive[2]}
	if s.counted {
		serve = []*big.Int{bigInt(len(s.held.keplerianFronts)), bigInt(len(s.held.rears[objective.SeatRear]))}
	}
	return countSpace([]*big.Int{s.inSlot[0], s.inSlot[2]}, []*big.Int{s.positive[0], s.positive[2]}, serve)
}
