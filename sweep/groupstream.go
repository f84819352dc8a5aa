package sweep

import (
	"context"
	"fmt"
	"math"
	"math/big"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// groupStream brings the groups of a library: all of them where they are few,
// otherwise those that can matter up to a horizon, from a stream in which each
// group is made and forgotten.
type groupStream struct {
	lib        *objective.Library
	want       slotsWanted
	groups     *big.Int    // all that the lenses make
	inSlot     [3]*big.Int // of these, those of lenses that may stand in a slot, by objective.EachSlot
	filter     *objective.GroupFilter
	filtered   bool // by filter; otherwise everything is held
	held       *stacks
	wanted     int     // how many groups the next horizon should leave
	owed       float64 // the horizon that an earlier attempt had come to, mm; 0 for none
	partitions int     // in how many partitions the groups of each slot are held, one after the other
	// counted tells that what each slot can be served by was counted: all is held.
	counted bool
	// positive is how many of inSlot converge, and own how many of those in front fall
	// to the part.
	positive [3]*big.Int
	own      *big.Int
}

// slotsWanted are the slots for which stacks are wanted.
type slotsWanted struct {
	spaces         []objective.Space
	seats          []objective.Seat
	single, pair   bool
	keplerian      bool
	lensesPerGroup int
	workers        int
	held           int // how many groups a first horizon should leave
	heldMost       int // how many may be held at once; 0 for no limit
	part           Part
}

// heldWanted is how many groups a first horizon should leave: they are searched
// in a moment, and a second stream costs more than they do. heldGrowth is by how
// much the number may grow each time that the search comes to the horizon.
const (
	heldWanted = 50_000
	heldGrowth = 4
)

// blocksMost is the number of tasks into which a stream is divided. Each has
// minima of its own, so that nothing depends on the number of workers.
const blocksMost = 64

// gapsMost is for how many pairs of elements the gaps between them are held at
// most: 128 MB.
const gapsMost = 1 << 24

// keepGaps lets a library hold the gaps between its elements where these are not too
// many.
func keepGaps(lib *objective.Library, workers int) {
	n := len(lib.Elements)
	if n*n > gapsMost {
		return
	}
	gaps := make([]float64, n*n)
	var rows errgroup.Group
	rows.SetLimit(workers)
	for i, e := range lib.Elements {
		rows.Go(func() error {
			lib.GapRow(e, gaps[i*n:(i+1)*n])
			return nil
		})
	}
	_ = rows.Wait() // none fails
	lib.KeepGaps(gaps)
}

// newOpenStream is a source that holds everything.
func newOpenStream(lib *objective.Library, want slotsWanted) *groupStream {
	s := &groupStream{
		lib: lib, want: want, groups: countGroups(lib, want.lensesPerGroup), wanted: want.held,
		partitions: 1, filter: objective.NewOpenFilter(lib.Problem), own: new(big.Int),
	}
	for i, slot := range objective.EachSlot {
		s.inSlot[i], s.positive[i] = groupsOf(elementsFor(lib, slot), want.lensesPerGroup), new(big.Int)
	}
	return s
}

// newGroupStream takes the binned minima of a library's groups where they are too many to be
// held.
func newGroupStream(ctx context.Context, lib *objective.Library, want slotsWanted) (*groupStream, error) {
	if !lib.Codes(want.lensesPerGroup) {
		return nil, fmt.Errorf("%v groups of up to %d of %d lenses: more than can ever be searched\n    lower train.lenses_per_group or leave lenses out",
			countGroups(lib, want.lensesPerGroup), want.lensesPerGroup, len(lib.Lenses))
	}
	s := newOpenStream(lib, want)
	s.filtered = s.groups.Cmp(big.NewInt(int64(want.held))) > 0 && !want.pair
	if want.pair && want.heldMost > 0 {
		s.partitions = s.pairPartitions()
	}
	if s.counted = !s.filtered && s.partitions == 1; s.counted {
		return s, s.reach(ctx, math.Inf(1))
	}
	keepGaps(lib, want.workers)
	blocks, own := make([]*objective.BinnedMinima, s.blocks()), make([]int64, s.blocks())
	err := s.eachGroup(ctx, s.blocks(), func(block int) func(*objective.Stacker) {
		minima := objective.NewBinnedMinima(lib.Problem, want.spaces)
		blocks[block] = minima
		return func(st *objective.Stacker) {
			minima.Take(st)
			if !want.part.Whole() && st.Positive() && st.MayServe(objective.FrontSlot) && want.part.takesFront(st.Elements()) {
				own[block]++
			}
		}
	})
	if err != nil {
		return nil, err
	}
	minima := blocks[0]
	for _, c := range blocks[1:] {
		minima.Merge(c)
	}
	for i, n := range minima.Positive {
		s.positive[i].SetInt64(n)
	}
	s.own.Set(s.positive[0])
	if !want.part.Whole() {
		s.own.SetInt64(0)
		for _, n := range own {
			s.own.Add(s.own, big.NewInt(n))
		}
	}
	if s.filtered {
		s.filter = objective.NewGroupFilter(minima, want.spaces)
	}
	return s, nil
}

// pairPartitions is in how many partitions the groups of each slot have to be held where
// pair relays are wanted, of which none are filtered: as if every group served in
// every slot.
func (s *groupStream) pairPartitions() int {
	slots := big.NewInt(int64(2 + 2*len(s.want.seats)))
	most := big.NewInt(int64(s.want.heldMost))
	all := slots.Mul(slots, s.groups)
	all.Add(all, most).Sub(all, one).Div(all, most)
	return int(min(all.Int64(), partitionsMost))
}

// partitionsMost bounds the number of partitions of a slot, each of which is streamed
// for each of every other.
const partitionsMost = 64

// elementsFor is how many of a library's elements may stand in a slot.
func elementsFor(lib *objective.Library, slot objective.Slots) (n int) {
	for _, e := range lib.Elements {
		if e.Slots&slot != 0 {
			n++
		}
	}
	return n
}

// designsOf is how many designs a library makes in a layout with one seat.
func designsOf(lib *objective.Library, layout objective.Layout, lenses int) *big.Int {
	designs := big.NewInt(1)
	for _, slot := range layout.SlotsOf() {
		designs.Mul(designs, groupsOf(elementsFor(lib, slot), lenses))
	}
	return designs
}

// countGroups is the number of groups of up to so many lenses.
func countGroups(lib *objective.Library, lenses int) *big.Int {
	return groupsOf(len(lib.Elements), lenses)
}

// groupsOf is the number of groups of up to so many lenses out of some elements.
func groupsOf(elements, lenses int) *big.Int {
	sum, power := new(big.Int), big.NewInt(1)
	for range lenses {
		power.Mul(power, big.NewInt(int64(elements)))
		sum.Add(sum, power)
	}
	return sum
}

func (s *groupStream) blocks() int { return max(1, min(blocksMost, len(s.lib.Elements))) }

// eachGroup makes every group of the first so many blocks, of which block b holds
// the groups whose first element's place is b modulo the number of blocks, and
// hands it to its block's function. Blocks run side by side.
func (s *groupStream) eachGroup(ctx context.Context, blocks int, begin func(block int) func(*objective.Stacker)) error {
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(s.want.workers)
	for block := range blocks {
		group.Go(func() error {
			take := begin(block)
			st := s.lib.NewStacker(s.want.lensesPerGroup)
			for first := block; first < len(s.lib.Elements); first += s.blocks() {
				if err := ctx.Err(); err != nil {
					return err
				}
				st.Push(s.lib.Elements[first])
				if st.MayServe(objective.AnySlot) {
					s.extend(ctx, st, take)
				}
				st.Pop()
			}
			return ctx.Err()
		})
	}
	return group.Wait()
}

// extend hands on what is stacked and all that begins with it.
func (s *groupStream) extend(ctx context.Context, st *objective.Stacker, take func(*objective.Stacker)) {
	take(st)
	n := st.Lenses()
	if n == s.want.lensesPerGroup || n == 1 && ctx.Err() != nil {
		return
	}
	for _, e := range s.lib.Elements {
		st.Push(e)
		if st.MayServe(objective.AnySlot) {
			s.extend(ctx, st, take)
		}
		st.Pop()
	}
}

// reach makes sure that the held stacks reach a length, and beyond it as far as
// the number of groups wanted allows. Where even those up to that length are more
// than may be held, they are to be had in partitions only, see eachPartition.
func (s *groupStream) reach(ctx context.Context, length float64) (err error) {
	if s.held != nil && s.held.horizon >= length {
		return nil
	}
	if owed := s.owed; owed >= length {
		s.owed = 0
		s.held, err = s.collect(ctx, owed, partition{})
		return err
	}
	if s.held != nil || s.owed > 0 {
		s.wanted *= heldGrowth
		s.held, s.owed = nil, 0
	}
	horizon := math.Inf(1)
	switch {
	case !s.filtered && s.partitions > 1:
		return nil
	case s.filtered:
		s.partitions = 1
		if s.want.heldMost > 0 {
			s.wanted = min(s.wanted, s.want.heldMost)
		}
		var groups int
		if horizon, groups, err = s.horizon(ctx, length); err != nil {
			return err
		}
		if s.want.heldMost > 0 && groups > s.want.heldMost {
			s.partitions = (groups + s.want.heldMost - 1) / s.want.heldMost
			return nil
		}
	}
	s.held, err = s.collect(ctx, horizon, partition{})
	return err
}

// state is how many groups the horizon should leave, and that horizon; 0 where groups are
// held in partitions.
func (s *groupStream) state() (wanted int, horizon float64) {
	if s.held != nil {
		return s.wanted, s.held.horizon
	}
	return s.wanted, s.owed
}

// resume brings the stream to a state at which an earlier attempt was: what is counted of
// boxes depends on which groups are held.
func (s *groupStream) resume(wanted int, horizon float64) {
	if s.wanted = wanted; horizon > 0 && (s.held == nil || s.held.horizon != horizon) {
		s.held, s.owed = nil, horizon
	}
}

// size is how many groups are held, each in every slot.
func (s *groupStream) size() int {
	if s.held == nil {
		return 0
	}
	n := len(s.held.relays) + len(s.held.keplerianFronts)
	for seat := range s.held.fronts {
		n += len(s.held.fronts[seat]) + len(s.held.rears[seat])
	}
	return n
}

// partition is a share of the groups in front, of the relays or first groups of pair
// relays, of their second groups, and of those at the eye; the zero value is all.
type partition struct{ front, relay, second, rear, of int }

// has reports whether a stack is in the which-th of so many shares.
func (s partition) has(code objective.StackCode, which int) bool {
	return s.of == 0 || int(uint64(code)*0x9e3779b97f4a7c15>>33)%s.of == which
}

// eachPartition visits stacks that together hold every train of up to a length once:
// all at once where they are held, otherwise one partition of each slot after the
// other, each made from the stream anew. It stops when visit returns false.
func (s *groupStream) eachPartition(ctx context.Context, length float64, visit func(*stacks) (bool, error)) error {
	if err := s.reach(ctx, length); err != nil {
		return err
	}
	if s.held != nil {
		_, err := visit(s.held)
		return err
	}
	n, seconds := s.partitions, 1
	if s.want.pair {
		seconds = n
	}
	for i := range n * n * n * seconds {
		st, err := s.collect(ctx, length, partition{i / n / n % n, i / n % n, i / n / n / n, i % n, n})
		if err != nil {
			return err
		}
		if ok, err := visit(st); err != nil || !ok {
			return err
		}
	}
	return nil
}

// horizonSteps is how finely a horizon is chosen between the shortest train
// that may exist, or the length wanted, and horizonRatio times that.
const (
	horizonSteps  = 512
	horizonRatio  = 1.2
	sampledBlocks = 8
)

// horizon is a length of at least length that leaves about as many groups as
// wanted, and how many it leaves, estimated from some of the blocks.
func (s *groupStream) horizon(ctx context.Context, length float64) (horizon float64, groups int, err error) {
	least := math.Max(s.filter.Least, length)
	most := horizonRatio * least
	if least > lengthBeyond {
		most = math.Inf(1)
	}
	blocks := min(sampledBlocks, s.blocks())
	counts := make([][horizonSteps + 1]int, blocks)
	err = s.eachGroup(ctx, blocks, func(block int) func(*objective.Stacker) {
		count := func(bound float64) {
			step := 0.0
			if bound > least {
				step = horizonSteps * (bound - least) / (most - least)
			}
			counts[block][int(max(0, min(horizonSteps, step)))]++
		}
		at := new(slotGroup)
		return func(st *objective.Stacker) { s.eachSlot(st, most, at, count) }
	})
	if err != nil {
		return 0, 0, err
	}
	if math.IsInf(most, 1) { // all that is left
		for b := range counts {
			groups += counts[b][0]
		}
		return most, groups * s.blocks() / blocks, nil
	}
	horizon = least
	for step := range horizonSteps {
		more := groups
		for b := range counts {
			more += counts[b][step] * s.blocks() / blocks
		}
		if step > 0 && more > s.wanted {
			break
		}
		groups = more
		horizon = least + (most-least)*float64(step+1)/horizonSteps
	}
	return horizon, groups, nil
}

// slotGroup is a group in one slot of a train.
type slotGroup struct {
	at    slot
	seat  objective.Seat
	front objective.Front // in front, of a keplerian as well
	rear  objective.Rear
	relay objective.Relay
}

// slot is a place in a train that a group can serve in.
type slot uint8

const (
	inFront slot = iota
	atEye
	asRelay
	inKeplerian // in front of one
)

// eachSlot visits the slots in which what is stacked can serve in a train of
// up to limit, each put into at, with a length that no train with it there can be
// shorter than.
func (s *groupStream) eachSlot(st *objective.Stacker, limit float64, at *slotGroup, visit func(bound float64)) {
	if !st.Positive() {
		return
	}
	for _, seat := range s.want.seats {
		at.seat = seat
		if s.want.single || s.want.pair {
			if bound, ok := s.filter.Front(st, seat, limit, &at.front); ok {
				at.at = inFront
				visit(bound)
			}
		}
		if bound, ok := s.filter.Rear(st, seat, limit, &at.rear); ok {
			at.at = atEye
			visit(bound)
		}
	}
	if s.want.single {
		if bound, ok := s.filter.Relay(st, limit, &at.relay); ok {
			at.at = asRelay
			visit(bound)
		}
	}
	if s.want.keplerian {
		if bound, ok := s.filter.KeplerianFront(st, limit, &at.front); ok {
			at.at = inKeplerian
			visit(bound)
		}
	}
}

// collect holds all groups that can be part of a train of up to horizon.
func (s *groupStream) collect(ctx context.Context, horizon float64, of partition) (*stacks, error) {
	blocks := make([]collector, s.blocks())
	err := s.eachGroup(ctx, s.blocks(), func(block int) func(*objective.Stacker) {
		c := &blocks[block]
		c.of, c.part = of, s.want.part
		keep := func(float64) { c.keep() }
		return func(st *objective.Stacker) {
			c.st = st
			if st.Positive() {
				for i, slot := range objective.EachSlot {
					if st.MayServe(slot) {
						c.positive[i]++
					}
				}
			}
			if s.want.pair {
				c.keepComponent()
			}
			s.eachSlot(st, horizon, &c.at, keep)
		}
	})
	if err != nil {
		return nil, err
	}
	all := s.join(blocks)
	all.horizon, all.of = horizon, of
	for i, n := range all.positive {
		s.positive[i].SetInt64(n)
	}
	s.plant(all)
	return all, nil
}
