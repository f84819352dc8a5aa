package objective

import "relaysweep/catalog"

// Slots are places in a train, as a set.
type Slots uint8

// The slots that a group can take: in front, as the relay or either component of a
// pair relay, and at the eye.
const (
	FrontSlot Slots = 1 << iota
	RelaySlot
	RearSlot
	AnySlot = FrontSlot | RelaySlot | RearSlot
)

// EachSlot are the slots one by one, from the world to the eye.
var EachSlot = [3]Slots{FrontSlot, RelaySlot, RearSlot}

// SlotsOf are the slots of the layout's groups, from the world to the eye.
func (l Layout) SlotsOf() []Slots {
	return [...][]Slots{
		{FrontSlot, RearSlot},
		{FrontSlot, RelaySlot, RearSlot},
		{FrontSlot, RelaySlot, RelaySlot, RearSlot},
	}[l]
}

// SlotsFor are the slots in which a part may stand, by the lists of the problem.
func (p *Problem) SlotsFor(part string) Slots {
	slots := AnySlot
	for i, patterns := range p.SlotParts {
		if len(patterns) > 0 && !catalog.MatchesAny(patterns, part) {
			slots &^= EachSlot[i]
		}
	}
	return slots
}

// MayServe reports whether all of what is stacked may stand in a slot.
func (s *Stacker) MayServe(slot Slots) bool { return s.levels[len(s.levels)-1].slots&slot != 0 }
