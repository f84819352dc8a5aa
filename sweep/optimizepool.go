package sweep

import (
	"cmp"
	"math"
	"slices"

	"relaysweep/objective"
)

// sortElements sorts lenses by power, so that neighbours are alike.
func (s *optimizer) sortElements() {
	s.powers = make([]float64, len(s.lib.Elements))
	for i, e := range s.lib.Elements {
		s.powers[i] = 1 / s.p.NewGroup(e).FocalMM
	}
	s.byPower = slices.Clone(s.lib.Elements)
	slices.SortStableFunc(s.byPower, func(a, b *objective.Element) int { return cmp.Compare(s.powerOf(a), s.powerOf(b)) })
	s.place = make([]int, len(s.byPower))
	for i, e := range s.byPower {
		s.place[e.Index] = i
	}
	s.other = make([]*objective.Element, len(s.byPower))
	for i, e := range s.lib.Elements {
		if i > 0 && s.lib.Elements[i-1].Part == e.Part {
			s.other[i-1], s.other[i] = e, s.lib.Elements[i-1]
		}
	}
}

// restrict notes which lenses alone may stand in a slot, and which of the wanted spaces have
// some for each of theirs.
func (s *optimizer) restrict() {
	s.only = map[objective.Slots][]*objective.Element{}
	none := map[objective.Slots]bool{}
	for _, slot := range objective.EachSlot {
		n := elementsFor(s.lib, slot)
		if none[slot] = n == 0; n == len(s.byPower) {
			continue
		}
		only := make([]*objective.Element, 0, n)
		for _, e := range s.byPower {
			if e.Slots&slot != 0 {
				only = append(only, e)
			}
		}
		s.only[slot] = only
	}
	s.served = slices.DeleteFunc(slices.Clone(s.spaces), func(space objective.Space) bool {
		return slices.ContainsFunc(space.Layout.SlotsOf(), func(slot objective.Slots) bool { return none[slot] })
	})
}

// slotsOf are the slots in which all of some elements may stand.
func slotsOf(elements []*objective.Element) objective.Slots {
	slots := objective.AnySlot
	for _, e := range elements {
		slots &= e.Slots
	}
	return slots
}

// mayStand reports whether each group of a design may stand in its slot.
func (s *optimizer) mayStand(key *designKey) bool {
	if len(s.only) == 0 {
		return true
	}
	for i, slot := range key.space.Layout.SlotsOf() {
		if slotsOf(s.lib.Stack(key.groups[i]))&slot == 0 {
			return false
		}
	}
	return true
}

// exchangeBarred puts a lens of about its power in the place of each that may not stand in
// its slot.
func (s *optimizer) exchangeBarred(key *designKey) {
	if len(s.only) == 0 {
		return
	}
	for i, slot := range key.space.Layout.SlotsOf() {
		stack := s.lib.Stack(key.groups[i])
		for k, e := range stack {
			if e.Slots&slot == 0 {
				stack[k] = s.nearFor(slot, s.powerOf(e))
			}
		}
		key.groups[i] = s.lib.Code(stack)
	}
}

// nearFor is a lens of about a power out of those that alone may stand in a slot.
func (s *optimizer) nearFor(slot objective.Slots, power float64) *objective.Element {
	only := s.only[slot]
	at, _ := slices.BinarySearchFunc(only, power, func(e *objective.Element, power float64) int {
		return cmp.Compare(s.powerOf(e), power)
	})
	at += int(math.Round(s.random.NormFloat64() * math.Max(2, float64(len(only))/20)))
	return only[max(0, min(len(only)-1, at))]
}

// stackFor is a stack of n lenses of those that alone may stand in a slot, as
// randomStack.
func (s *optimizer) stackFor(slot objective.Slots, n int) []*objective.Element {
	only := s.only[slot]
	stack := make([]*objective.Element, n)
	one := func() *objective.Element { return only[s.random.IntN(len(only))] }
	power, alike := s.powerOf(one()), s.random.IntN(2) == 0
	for i := range stack {
		if alike {
			stack[i] = s.nearFor(slot, power*(0.5+s.random.Float64())/float64(n))
		} else {
			stack[i] = one()
		}
	}
	return stack
}

// powerOf is the power of a lens in 1/mm.
func (s *optimizer) powerOf(e *objective.Element) float64 {
	return s.powers[e.Index]
}

// pool is the groups for the slots of a train, sorted by focal length.
type pool struct {
	fronts, rears           [objective.SeatCount][]*groupNumbers // by seat
	keplerianFronts, relays []*groupNumbers
	any                     map[objective.Slots][]*groupNumbers // all of one slot, of either sign, not sorted
}

// newPool draws groups: all single lenses and random stacks.
func (s *optimizer) newPool() *pool {
	var codes []objective.StackCode
	seen := map[objective.StackCode]bool{}
	add := func(stack []*objective.Element) {
		if code := s.lib.Code(stack); !seen[code] {
			seen[code] = true
			codes = append(codes, code)
		}
	}
	for _, i := range s.random.Perm(len(s.lib.Elements))[:min(4*stacksPerSize, len(s.lib.Elements))] {
		add([]*objective.Element{s.lib.Elements[i]})
	}
	for n := 2; n <= s.lensesPerGroup; n++ {
		for range stacksPerSize {
			add(s.randomStack(n))
		}
	}
	for _, slot := range objective.EachSlot {
		if only := s.only[slot]; len(only) > 0 {
			for _, e := range only[:min(4*stacksPerSize, len(only))] {
				add([]*objective.Element{e})
			}
			for n := 2; n <= s.lensesPerGroup; n++ {
				for range stacksPerSize {
					add(s.stackFor(slot, n))
				}
			}
		}
	}
	st := &pool{any: map[objective.Slots][]*groupNumbers{}}
	single, upright := s.want.single, s.want.single || s.want.pair
	for _, code := range codes {
		g := s.group(code)
		slots := slotsOf(g.Elements)
		for _, slot := range objective.EachSlot {
			if slots&slot != 0 {
				st.any[slot] = append(st.any[slot], g)
			}
		}
		if g.miss > 0 {
			continue
		}
		if slots&objective.FrontSlot != 0 {
			st.keplerianFronts = append(st.keplerianFronts, g)
		}
		if single && slots&objective.RelaySlot != 0 && s.asRelay(g).MaxEndPower > 0 {
			st.relays = append(st.relays, g)
		}
		for _, seat := range s.want.seats {
			if upright && slots&objective.FrontSlot != 0 && !s.asFront(g, seat).Q.Empty() {
				st.fronts[seat] = append(st.fronts[seat], g)
			}
			if slots&objective.RearSlot != 0 && !s.asRear(g, seat).P.Empty() {
				st.rears[seat] = append(st.rears[seat], g)
			}
		}
	}
	for _, list := range [][]*groupNumbers{st.keplerianFronts, st.relays, st.fronts[0], st.fronts[1], st.rears[0], st.rears[1]} {
		sortByFocal(list)
	}
	return st
}

// sortByFocal sorts groups by focal length.
func sortByFocal(list []*groupNumbers) {
	slices.SortFunc(list, func(a, b *groupNumbers) int {
		return cmp.Or(cmp.Compare(a.FocalMM, b.FocalMM), cmp.Compare(a.code, b.code))
	})
}

// randomStack is a stack of n lenses: half of the time of any, else of such that
// share the power of a single lens.
func (s *optimizer) randomStack(n int) []*objective.Element {
	stack := make([]*objective.Element, n)
	if s.random.IntN(2) == 0 {
		for i := range stack {
			stack[i] = s.anyElement()
		}
		return stack
	}
	power := s.powerOf(s.anyElement())
	for i := range stack {
		stack[i] = s.nearPower(power * (0.5 + s.random.Float64()) / float64(n))
	}
	return stack
}

// anyElement is any lens in either orientation.
func (s *optimizer) anyElement() *objective.Element {
	return s.byPower[s.random.IntN(len(s.byPower))]
}

// nearPower is a lens of about a power.
func (s *optimizer) nearPower(power float64) *objective.Element {
	at, _ := slices.BinarySearchFunc(s.byPower, power, func(e *objective.Element, power float64) int {
		return cmp.Compare(s.powerOf(e), power)
	})
	return s.near(at)
}

// near is a lens near a place in the order of power.
func (s *optimizer) near(at int) *objective.Element {
	n := len(s.byPower)
	spread := 4.0
	switch r := s.random.Float64(); {
	case r < 0.15:
		return s.anyElement()
	case r < 0.5:
		spread = math.Max(4, float64(n)/20)
	}
	at += int(math.Round(s.random.NormFloat64() * spread))
	return s.byPower[max(0, min(n-1, at))]
}

// within are the groups of a list, sorted by focal length, within an interval.
func within(list []*groupNumbers, focal objective.Interval) []*groupNumbers {
	compare := func(g *groupNumbers, f float64) int { return cmp.Compare(g.FocalMM, f) }
	from, _ := slices.BinarySearchFunc(list, focal.Lo, compare)
	to, _ := slices.BinarySearchFunc(list, focal.Hi, compare)
	return list[from:max(from, to)]
}

// stratified is a group of a list drawn evenly in the logarithm of the focal
// length.
func (s *optimizer) stratified(list []*groupNumbers) *groupNumbers {
	lo, hi := math.Log(list[0].FocalMM), math.Log(list[len(list)-1].FocalMM)
	f := math.Exp(lo + float64(s.random.Float64()*(hi-lo)))
	at, _ := slices.BinarySearchFunc(list, f, func(g *groupNumbers, f float64) int { return cmp.Compare(g.FocalMM, f) })
	at += s.random.IntN(9) - 4
	return list[max(0, min(len(list)-1, at))]
}

// oneOf is any group of a list.
func (s *optimizer) oneOf(list []*groupNumbers) *groupNumbers { return list[s.random.IntN(len(list))] }
