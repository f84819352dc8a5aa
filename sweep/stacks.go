package sweep

import (
	"context"
	"math/big"
	"slices"

	"golang.org/x/sync/errgroup"

	"relaysweep/objective"
)

// stacks are the groups that a library's lenses make, sorted by the places in
// which they can serve.
type stacks struct {
	groups   *big.Int                             // all of them
	positive *big.Int                             // those of positive focal length
	fronts   map[objective.Seat][]objective.Front // that can serve in front
	rears    map[objective.Seat][]objective.Rear  // that can serve at the eye
	relays   []objective.Relay                    // that can be a relay by themselves
	halves   []objective.PairHalf                 // that can be one half of a pair relay
	plain    []*objective.Group                   // of positive focal length, for a keplerian's front
}

// roles are the places for which stacks are wanted.
type roles struct {
	seats          []objective.Seat
	single, pair   bool
	keplerian      bool
	lensesPerGroup int
	workers        int
}

// buildStacks makes every group of up to the wanted number of lenses and
// reduces it to what its places need. The order of the result depends on the
// library only.
func buildStacks(ctx context.Context, lib *objective.Library, want roles) (*stacks, error) {
	parts := make([]*stacks, len(lib.Elements))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(want.workers)
	for first := range lib.Elements {
		group.Go(func() error {
			s := newStacks()
			b := stackBuilder{lib: lib, want: want, into: s}
			err := b.extend(ctx, []*objective.Element{lib.Elements[first]})
			parts[first] = s
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return joinStacks(parts), nil
}

func newStacks() *stacks {
	return &stacks{
		groups: new(big.Int), positive: new(big.Int),
		fronts: map[objective.Seat][]objective.Front{}, rears: map[objective.Seat][]objective.Rear{},
	}
}

// joinStacks joins parts in their order.
func joinStacks(parts []*stacks) *stacks {
	all := newStacks()
	seats := map[objective.Seat]bool{}
	for _, s := range parts {
		all.groups.Add(all.groups, s.groups)
		all.positive.Add(all.positive, s.positive)
		for seat := range s.fronts {
			seats[seat] = true
		}
		for seat := range s.rears {
			seats[seat] = true
		}
	}
	for seat := range seats {
		all.fronts[seat] = joined(parts, func(s *stacks) []objective.Front { return s.fronts[seat] })
		all.rears[seat] = joined(parts, func(s *stacks) []objective.Rear { return s.rears[seat] })
	}
	all.relays = joined(parts, func(s *stacks) []objective.Relay { return s.relays })
	all.halves = joined(parts, func(s *stacks) []objective.PairHalf { return s.halves })
	all.plain = joined(parts, func(s *stacks) []*objective.Group { return s.plain })
	return all
}

func joined[T any](parts []*stacks, of func(*stacks) []T) []T {
	lists := make([][]T, len(parts))
	for i, s := range parts {
		lists[i] = of(s)
	}
	return slices.Concat(lists...)
}

type stackBuilder struct {
	lib  *objective.Library
	want roles
	into *stacks
}

// extend takes the group of some elements and those that begin with it.
func (b *stackBuilder) extend(ctx context.Context, elements []*objective.Element) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	b.take(elements)
	if len(elements) == b.want.lensesPerGroup {
		return nil
	}
	for _, e := range b.lib.Elements {
		longer := append(elements[:len(elements):len(elements)], e)
		if err := b.extend(ctx, longer); err != nil {
			return err
		}
	}
	return nil
}

var one = big.NewInt(1)

func (b *stackBuilder) take(elements []*objective.Element) {
	p, s := b.lib.Problem, b.into
	g := p.NewGroup(elements...)
	s.groups.Add(s.groups, one)
	if b.want.pair {
		s.halves = append(s.halves, objective.NewPairHalf(g))
	}
	if !g.Positive() {
		return
	}
	s.positive.Add(s.positive, one)
	if b.want.keplerian {
		s.plain = append(s.plain, g)
	}
	if b.want.single || b.want.pair {
		for _, seat := range b.want.seats {
			if f, ok := p.NewFront(g, seat, objective.MassG); ok {
				s.fronts[seat] = append(s.fronts[seat], f)
			}
		}
	}
	for _, seat := range b.want.seats {
		if r, ok := p.NewRear(g, seat, objective.MassG); ok {
			s.rears[seat] = append(s.rears[seat], r)
		}
	}
	if b.want.single {
		if r, ok := p.NewRelay(g); ok {
			s.relays = append(s.relays, r)
		}
	}
}
