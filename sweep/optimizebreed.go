package sweep

import (
	"cmp"
	"context"
	"math"
	"slices"

	"relaysweep/objective"
)

// Numbers of the population, chosen by measurement, see DEVELOPERS.md.
const (
	populationSize = 160
	// stacksPerSize is how many stacks of each number of lenses a fresh population draws from.
	stacksPerSize = 1500
	// breedTries is how often a child is bred anew whose groups can't fit.
	breedTries = 12
	// staleBatches is how many batches may bring nothing better before a population is
	// given up.
	staleBatches = 12
	// crossShare is the share of children with groups of two parents.
	crossShare = 0.35
	// barrenRestarts is how many populations may find next to nothing that is not known before
	// the search ends: the space is small.
	barrenRestarts = 4
	// proposalsPerBatch bounds the designs proposed for a batch: most are known
	// when a population has come together.
	proposalsPerBatch = 8 * optimizeBatch
)

// fresh is a design of the pool whose groups can fit, as far as tries allow.
func (s *optimizer) fresh(st *pool) designKey {
	space := s.served[s.random.IntN(len(s.served))]
	key := designKey{space: space}
	for range 4 * breedTries {
		if s.drawEnds(st, &key) && s.legal(&key) && s.fits(&key) {
			return key
		}
	}
	for i, slot := range space.Layout.SlotsOf() {
		key.groups[i] = s.oneOf(st.any[slot]).code
	}
	return key
}

// drawEnds draws groups for a design, false when none were found that suit each
// other.
func (s *optimizer) drawEnds(st *pool, key *designKey) bool {
	fronts, rears := st.fronts[key.space.Seat], st.rears[key.space.Seat]
	if len(rears) == 0 {
		return false
	}
	rear := s.stratified(rears)
	if key.space.Layout == objective.Keplerian {
		fronts = magnifying(st.keplerianFronts, s.p.Magnification*rear.FocalMM, s.p.MagnificationTol)
		if len(fronts) == 0 {
			return false
		}
		key.groups[0], key.groups[1] = s.oneOf(fronts).code, rear.code
		return true
	}
	if len(fronts) == 0 {
		return false
	}
	front := s.stratified(fronts)
	key.groups[0] = front.code
	if key.space.Layout == objective.ErectorPair {
		relays := st.any[objective.RelaySlot]
		key.groups[1], key.groups[2], key.groups[3] = s.oneOf(relays).code, s.oneOf(relays).code, rear.code
		return true
	}
	key.groups[2] = rear.code
	return s.drawRelay(st, key)
}

// drawRelay draws a relay that may suit front and rear.
func (s *optimizer) drawRelay(st *pool, key *designKey) bool {
	front, rear, seat := s.group(key.groups[0]), s.group(key.groups[2]), key.space.Seat
	if front.miss > 0 || rear.miss > 0 {
		return false
	}
	i, k := s.asFront(front, seat), s.asRear(rear, seat)
	relays := within(st.relays, s.p.RelayRange(i, k))
	if len(relays) == 0 {
		return false
	}
	relay := s.oneOf(relays)
	for range breedTries {
		if s.fitsSingle(i, s.asRelay(relay), k) {
			break
		}
		relay = s.oneOf(relays)
	}
	key.groups[1] = relay.code
	return true
}

// legal reports whether the train may have so many lenses.
func (s *optimizer) legal(key *designKey) bool {
	if s.p.LensesMax == 0 {
		return true
	}
	n := 0
	for _, code := range key.groups {
		n += len(s.lib.Stack(code))
	}
	return n <= s.p.LensesMax
}

// child is bred from a parent, with groups of another's some of the time.
func (s *optimizer) child(st *pool, parents []graded) designKey {
	a := s.tournament(parents)
	key := a.key
	if s.random.Float64() < crossShare {
		if b := s.tournament(parents); b.key.space == key.space {
			n := key.groupCount()
			for i := range n {
				if s.random.IntN(2) == 0 {
					key.groups[i] = b.key.groups[i]
				}
			}
			s.repair(st, &key)
			if s.random.IntN(2) == 0 {
				return key
			}
		}
	}
	s.mutate(st, &key)
	for s.random.IntN(3) == 0 {
		s.mutate(st, &key)
	}
	s.exchangeBarred(&key)
	if s.random.IntN(3) == 0 || key.space.Layout == objective.Keplerian {
		s.repair(st, &key)
	}
	return key
}

// repair gives an erector-single whose groups don't fit another relay, and a
// keplerian another front or rear.
func (s *optimizer) repair(st *pool, key *designKey) {
	if key.space.Layout == objective.ErectorPair || s.fits(key) {
		return
	}
	if key.space.Layout == objective.ErectorSingle {
		s.drawRelay(st, key)
		return
	}
	at, list, scale := 0, st.keplerianFronts, s.p.Magnification
	if s.random.IntN(2) == 0 {
		at, list, scale = 1, st.rears[key.space.Seat], 1/s.p.Magnification
	}
	if mates := magnifying(list, scale*s.group(key.groups[1-at]).FocalMM, s.p.MagnificationTol); len(mates) > 0 {
		key.groups[at] = s.oneOf(mates).code
	}
}

// magnifying are the groups of a list, sorted by focal length, within a relative
// tolerance of one.
func magnifying(list []*groupNumbers, focal, tolerance float64) []*groupNumbers {
	return within(list, objective.Interval{Lo: focal * (1 - tolerance), Hi: focal * (1 + tolerance)})
}

// tournament is the fitter of two parents drawn at random out of a sorted population.
func (s *optimizer) tournament(parents []graded) *graded {
	return &parents[min(s.random.IntN(len(parents)), s.random.IntN(len(parents)))]
}

// mutate changes one group.
func (s *optimizer) mutate(st *pool, key *designKey) {
	n := key.groupCount()
	at := s.random.IntN(n)
	stack := s.lib.Stack(key.groups[at])
	i := s.random.IntN(len(stack))
	switch r := s.random.IntN(20); {
	case r < 6: // a lens that is alike
		stack[i] = s.near(s.place[stack[i].Index])
	case r < 8: // the same, turned
		if o := s.other[stack[i].Index]; o != nil {
			stack[i] = o
		}
	case r < 11 && len(stack) > 1: // power moves from one lens of the stack to another
		j := (i + 1 + s.random.IntN(len(stack)-1)) % len(stack)
		sum := s.powerOf(stack[i]) + s.powerOf(stack[j])
		stack[i] = s.near(s.place[stack[i].Index])
		stack[j] = s.nearPower(sum - s.powerOf(stack[i]))
	case r < 13 && len(stack) < s.lensesPerGroup: // a lens becomes two
		power := s.powerOf(stack[i])
		part := s.random.Float64()
		stack[i] = s.nearPower(power * part)
		stack = slices.Insert(stack, i, s.nearPower(power*(1-part)))
	case r < 15 && len(stack) > 1: // two become one
		j := (i + 1) % len(stack)
		stack[i] = s.nearPower(s.powerOf(stack[i]) + s.powerOf(stack[j]))
		stack = slices.Delete(stack, j, j+1)
	case r < 16 && len(stack) > 1: // the whole group, turned
		slices.Reverse(stack)
		for k, e := range stack {
			if o := s.other[e.Index]; o != nil {
				stack[k] = o
			}
		}
	case r < 17: // two lenses of the train change places
		other := s.random.IntN(n)
		second := stack
		if other != at {
			second = s.lib.Stack(key.groups[other])
		}
		j := s.random.IntN(len(second))
		stack[i], second[j] = second[j], stack[i]
		if other != at {
			key.groups[other] = s.lib.Code(second)
		}
	case r < 18: // a lens that the train has already
		other := s.lib.Stack(key.groups[s.random.IntN(n)])
		stack[i] = other[s.random.IntN(len(other))]
	default: // another group of about the same focal length
		if g := s.alike(st, key, at); g != nil {
			key.groups[at] = g.code
		}
		return
	}
	key.groups[at] = s.lib.Code(stack)
}

// alike is a group of the pool near another in focal length, nil for none.
func (s *optimizer) alike(st *pool, key *designKey, at int) *groupNumbers {
	list, seat := st.relays, key.space.Seat
	switch n := key.groupCount(); {
	case at == 0 && key.space.Layout == objective.Keplerian:
		list = st.keplerianFronts
	case at == 0:
		list = st.fronts[seat]
	case at == n-1:
		list = st.rears[seat]
	case key.space.Layout == objective.ErectorPair:
		return s.oneOf(st.any[objective.RelaySlot])
	}
	if len(list) == 0 {
		return nil
	}
	f := s.group(key.groups[at]).FocalMM
	i, _ := slices.BinarySearchFunc(list, f, func(g *groupNumbers, f float64) int { return cmp.Compare(g.FocalMM, f) })
	i += int(math.Round(s.random.NormFloat64() * math.Max(4, float64(len(list))/30)))
	return list[max(0, min(len(list)-1, i))]
}

// propose collects up to a batch of designs that are not known.
func (s *optimizer) propose(breed func() designKey) []designKey {
	var keys []designKey
	taken := map[designKey]bool{}
	for range proposalsPerBatch {
		if len(keys) == optimizeBatch {
			break
		}
		key := breed()
		if _, known := s.memo[key]; known || taken[key] || !s.mayStand(&key) {
			continue
		}
		taken[key] = true
		keys = append(keys, key)
	}
	return keys
}

// fitting breeds until a child's groups can fit, as far as tries allow.
func (s *optimizer) fitting(breed func() designKey) designKey {
	key := breed()
	for range breedTries {
		if s.legal(&key) && s.fits(&key) {
			break
		}
		key = breed()
	}
	return key
}

// run searches until one of the stops. With an error, the search stands where
// it was before the batch in hand.
func (s *optimizer) run(ctx context.Context) error {
	defer s.clock("search")()
	for barren := 0; !s.over() && barren < barrenRestarts && len(s.served) > 0; {
		before := s.evaluated
		if err := s.restart(ctx); err != nil {
			return err
		}
		if barren++; s.evaluated-before >= optimizeBatch/4 {
			barren = 0
		}
	}
	return nil
}

// restart brings up one population: in turns a fresh one, and one of the fittest of
// all that came before.
func (s *optimizer) restart(ctx context.Context) error {
	st := s.newPool()
	population := s.elite
	if s.restarts%2 == 0 {
		first, err := s.evaluate(ctx, s.propose(func() designKey { return s.fresh(st) }))
		if err != nil {
			return err
		}
		population = s.fittest(first)
	}
	s.restarts++
	if len(population) == 0 {
		return nil
	}
	best, stale := population[0], 0
	for !s.over() && stale < staleBatches {
		children, err := s.evaluate(ctx, s.propose(func() designKey {
			return s.fitting(func() designKey { return s.child(st, population) })
		}))
		if err != nil {
			return err
		}
		if len(children) < optimizeBatch/8 { // nearly all is known
			stale = staleBatches
		}
		population = s.fittest(population, children)
		stale++
		if compareGraded(&population[0], &best) < 0 {
			best, stale = population[0], 0
		}
	}
	s.elite = s.fittest(s.elite, population)
	return s.polish(ctx, best)
}

// fittest are the fittest of some designs, each once, in order.
func (s *optimizer) fittest(all ...[]graded) []graded {
	joined := slices.Concat(all...)
	slices.SortFunc(joined, func(a, b graded) int { return compareGraded(&a, &b) })
	joined = slices.CompactFunc(joined, func(a, b graded) bool { return a.key == b.key })
	return slices.Clone(joined[:min(populationSize, len(joined))])
}

// polish takes the best of all exchanges of a single lens as long as one is
// better.
func (s *optimizer) polish(ctx context.Context, from graded) error {
	for !s.over() {
		best := from
		neighbours := s.exchanges(&from.key)
		for len(neighbours) > 0 && !s.over() {
			n := min(optimizeBatch, len(neighbours))
			batch, err := s.evaluate(ctx, neighbours[:n])
			if err != nil {
				return err
			}
			neighbours = neighbours[n:]
			s.elite = s.fittest(s.elite, batch)
			for i := range batch {
				if compareGraded(&batch[i], &best) < 0 {
					best = batch[i]
				}
			}
		}
		if best.key == from.key {
			return nil
		}
		from = best
	}
	return nil
}

// exchanges are the designs that differ in one lens, as far as they are not known
// and can fit.
func (s *optimizer) exchanges(key *designKey) []designKey {
	var keys []designKey
	for at, slot := range key.space.Layout.SlotsOf() {
		stack := s.lib.Stack(key.groups[at])
		for i, own := range stack {
			for _, e := range s.lib.Elements {
				if e.Slots&slot == 0 {
					continue
				}
				stack[i] = e
				next := *key
				next.groups[at] = s.lib.Code(stack)
				if _, known := s.memo[next]; !known && s.fits(&next) {
					keys = append(keys, next)
				}
			}
			stack[i] = own
		}
		if len(s.groups) > groupsHeld {
			clear(s.groups)
		}
	}
	return keys
}
