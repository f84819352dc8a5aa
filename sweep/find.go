package sweep

import (
	"cmp"
	"context"
	"math"
	"math/big"
	"slices"
	"strings"
	"sync/atomic"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// candidate is a design that meets every paraxial requirement.
type candidate struct {
	train  *objective.Train
	ranked float64 // mm, rounded as ranked lengths are compared
	id     string
}

func compareCandidates(a, b candidate) int {
	return cmp.Or(cmp.Compare(a.ranked, b.ranked), strings.Compare(a.id, b.id))
}

// window is what one pass over a range of lengths brought.
type window struct {
	candidates []candidate
	examined   int64
	failed     [objective.Met]int64 // by requirement
	pass       *pass                // of which it is a part
}

// pass counts what all the parts of a window hold. Whether it is given up
// depends on the counts of the whole, so not on the number of workers.
type pass struct {
	held, examined atomic.Int64
	most           int64
}

// over tells that the window holds too much.
func (p *pass) over() bool {
	return p.held.Load() > p.most || p.examined.Load()/examinedToo > p.most
}

// finder finds the trains of one layout and seat.
type finder interface {
	// find examines the trains whose length, or the bound that stands for it,
	// lies above lo and up to hi: each train in exactly one of the windows
	// that cover all lengths. ok is false when the window holds more than most
	// candidates.
	find(ctx context.Context, lo, hi float64, most int) (w window, ok bool, err error)
	// space counts its designs.
	space() spaceCount
}

// spaceCount counts the designs of one layout and seat.
type spaceCount struct {
	designs *big.Int // all
	focal   *big.Int // those with a group that does not converge
	group   *big.Int // others with a group that can't serve in its place, whatever the rest
}

// countSpace is the spaceCount of a product: per place the number of all groups, of
// those of positive focal length, and of those that can serve.
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

// search is what finders of one sweep point share.
type search struct {
	p       *objective.Problem
	by      objective.RankBy
	workers int
}

// examinedToo is how many trains a window may examine for each candidate that
// it may hold.
const examinedToo = 16

// tasksWanted is the number of tasks into which a window is divided: enough
// that no worker waits long for the last one.
const tasksWanted = 512

// each runs a task on every node pair that may hold a train up to hi, each
// with a window of its own, and joins the windows. The tasks and their order
// do not depend on the number of workers, so neither does the result.
func (s *search) each(ctx context.Context, fronts, rears *tree, bound boundFunc, hi float64, most int,
	visit func(w *window, front, rear int32),
) (joined window, ok bool, err error) {
	limit := hi + objective.BoundSlack
	tasks := divide(fronts, rears, bound, limit, tasksWanted)
	windows := make([]window, len(tasks))
	whole := &pass{most: int64(most)}
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(s.workers)
	for i := range tasks {
		group.Go(func() error {
			windows[i].pass = whole
			walk(fronts, rears, tasks[i], bound, limit, func(front, rear int32) bool {
				visit(&windows[i], front, rear)
				return !whole.over() && ctx.Err() == nil
			})
			return ctx.Err()
		})
	}
	if err := group.Wait(); err != nil {
		return window{}, false, err
	}
	if whole.over() {
		return window{}, false, nil
	}
	for i := range windows {
		joined.add(&windows[i])
	}
	return joined, true, nil
}

func (w *window) add(v *window) {
	w.candidates = append(w.candidates, v.candidates...)
	w.examined += v.examined
	for i, n := range v.failed {
		w.failed[i] += n
	}
}

// take counts a judged train and keeps it when it meets everything. It returns
// false when the window holds too much to go on.
func (s *search) take(w *window, t *objective.Train, failed objective.Requirement) bool {
	w.examined++
	w.pass.examined.Add(1)
	if failed != objective.Met {
		w.failed[failed]++
		return !w.pass.over()
	}
	w.pass.held.Add(1)
	kept := *t
	kept.Groups, kept.Gaps = slices.Clone(t.Groups), slices.Clone(t.Gaps)
	w.candidates = append(w.candidates, candidate{
		train: &kept, ranked: objective.RoundedLength(t.Ranked(s.by)), id: t.DesignID(),
	})
	return !w.pass.over()
}

// singleFinder finds trains of the layout erector-single.
type singleFinder struct {
	*search
	seat          objective.Seat
	stacks        *stacks
	fronts, rears *tree
	table         *objective.RelayTable
}

func newSingleFinder(s *search, st *stacks, seat objective.Seat, table *objective.RelayTable) *singleFinder {
	return &singleFinder{
		s, seat, st, buildTree(frontBoxes(st.fronts[seat])), buildTree(rearBoxes(st.rears[seat])), table,
	}
}

func (f *singleFinder) space() spaceCount {
	st := f.stacks
	return countSpace(
		[]*big.Int{st.groups, st.groups, st.groups},
		[]*big.Int{st.positive, st.positive, st.positive},
		[]*big.Int{bigInt(len(st.fronts[f.seat])), bigInt(len(st.relays)), bigInt(len(st.rears[f.seat]))},
	)
}

func frontBoxes(fronts []objective.Front) []objective.Box {
	boxes := make([]objective.Box, len(fronts))
	for i := range fronts {
		boxes[i] = fronts[i].Box()
	}
	return boxes
}

func rearBoxes(rears []objective.Rear) []objective.Box {
	boxes := make([]objective.Box, len(rears))
	for i := range rears {
		boxes[i] = rears[i].Box()
	}
	return boxes
}

func (f *singleFinder) find(ctx context.Context, lo, hi float64, most int) (window, bool, error) {
	bound := func(a, b objective.Box) float64 {
		length, _ := f.table.Bound(a, b)
		return length
	}
	return f.each(ctx, f.fronts, f.rears, bound, hi, most, func(w *window, i, k int32) {
		front, rear := &f.stacks.fronts[f.seat][i], &f.stacks.rears[f.seat][k]
		least, relays := f.table.Bound(front.Box(), rear.Box())
		if least > hi+objective.BoundSlack {
			return
		}
		t := objective.Train{
			Layout: objective.ErectorSingle, Seat: f.seat,
			Groups: []*objective.Group{front.Group, nil, rear.Group},
		}
		f.table.Scan(front, rear, relays, hi, func(r *objective.Relay, length float64) bool {
			if length <= lo {
				return true
			}
			t.Groups[1] = r.Group
			return f.take(w, &t, f.p.Solve(&t, 0))
		})
	})
}

// pairFinder finds trains of the layout erector-pair. A train is examined in
// the window of its bound over all inner gaps, so that each is solved once;
// its length may lie in a later window.
type pairFinder struct {
	*search
	seat          objective.Seat
	stacks        *stacks
	fronts, rears *tree
	table         *objective.PairTable
	pairs         int
}

func newPairFinder(s *search, st *stacks, seat objective.Seat, relays []objective.PairRelay) *pairFinder {
	fronts, rears := st.fronts[seat], st.rears[seat]
	return &pairFinder{
		s, seat, st, buildTree(frontBoxes(fronts)), buildTree(rearBoxes(rears)),
		objective.NewPairTable(s.p, seat, relays, fronts, rears), len(relays),
	}
}

func (f *pairFinder) find(ctx context.Context, lo, hi float64, most int) (window, bool, error) {
	f.table.Limit(hi + objective.BoundSlack)
	return f.each(ctx, f.fronts, f.rears, f.table.Bound, hi, most, func(w *window, i, k int32) {
		front, rear := &f.stacks.fronts[f.seat][i], &f.stacks.rears[f.seat][k]
		t := objective.Train{
			Layout: objective.ErectorPair, Seat: f.seat,
			Groups: []*objective.Group{front.Group, nil, nil, rear.Group},
		}
		f.table.Scan(front, rear, func(r *objective.PairRelay, bound float64) bool {
			if bound <= lo || bound > hi {
				return true
			}
			t.Groups[1], t.Groups[2] = r.First, r.Second
			return f.take(w, &t, f.p.SolvePair(&t, f.by))
		})
	})
}

func (f *pairFinder) space() spaceCount {
	st := f.stacks
	return countSpace(
		[]*big.Int{st.groups, st.groups, st.groups, st.groups},
		[]*big.Int{st.positive, bigInt(f.pairs), st.positive},
		[]*big.Int{bigInt(len(st.fronts[f.seat])), bigInt(f.pairs), bigInt(len(st.rears[f.seat]))},
	)
}

// keplerianFinder finds trains of the layout keplerian.
type keplerianFinder struct {
	*search
	stacks        *stacks
	boxes         []objective.Box // of the fronts
	fronts, rears *tree
}

func newKeplerianFinder(s *search, st *stacks) *keplerianFinder {
	boxes := make([]objective.Box, len(st.plain))
	for i, g := range st.plain {
		boxes[i] = objective.Box{F: objective.Interval{Lo: g.FocalMM, Hi: g.FocalMM}, U: g.ThicknessMM + g.BFDMM, I: objective.Everything}
	}
	return &keplerianFinder{s, st, boxes, buildTree(boxes), buildTree(rearBoxes(st.rears[objective.SeatRear]))}
}

func (f *keplerianFinder) find(ctx context.Context, lo, hi float64, most int) (window, bool, error) {
	rears := f.stacks.rears[objective.SeatRear]
	return f.each(ctx, f.fronts, f.rears, f.p.KeplerianBound, hi, most, func(w *window, i, k int32) {
		length := f.p.KeplerianBound(f.boxes[i], rears[k].Box())
		if length <= lo || length > hi || math.IsInf(length, 1) {
			return
		}
		t := objective.Train{
			Layout: objective.Keplerian, Seat: objective.SeatRear,
			Groups: []*objective.Group{f.stacks.plain[i], rears[k].Group},
		}
		f.take(w, &t, f.p.Solve(&t, 0))
	})
}

func (f *keplerianFinder) space() spaceCount {
	st := f.stacks
	return countSpace(
		[]*big.Int{st.groups, st.groups},
		[]*big.Int{st.positive, st.positive},
		[]*big.Int{bigInt(len(st.plain)), bigInt(len(st.rears[objective.SeatRear]))},
	)
}
