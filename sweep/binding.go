package sweep

import (
	"context"
	"math/rand/v2"
	"slices"

	"relaysweep/objective"
)

const (
	// bindsJudged is how many designs of each layout and seat are judged by
	// themselves, and bindsDrawn after how many draws that ends: most stacks of
	// some catalogs do not converge, and those are counted without being judged.
	bindsJudged = 1000
	bindsDrawn  = 100 * bindsJudged
)

// binding tells what stands in the way where nothing passes and bounds have set
// aside every design whose groups converge, so that no failure was counted: it
// judges designs drawn at random, evenly from each layout and seat, and counts
// the requirement that each fails first. It is empty when the proof tells of
// failures.
func binding(ctx context.Context, lib *objective.Library, o options, proof *Proof) (map[string]int64, error) {
	counts := map[string]int64{}
	for name := range proof.Failed {
		if name != objective.Focal.String() {
			return counts, nil
		}
	}
	if len(lib.Elements) == 0 {
		return counts, nil
	}
	r := rand.New(rand.NewPCG(uint64(o.optimize.seed), 0xb14d5))
	draw := func(all []*objective.Element) *objective.Group {
		elements := make([]*objective.Element, stackSize(r, len(all), o.lensesPerGroup))
		for i := range elements {
			elements[i] = all[r.IntN(len(all))]
		}
		return lib.Problem.NewGroup(elements...)
	}
	from := map[objective.Slots][]*objective.Element{}
	for _, slot := range objective.EachSlot {
		for _, e := range lib.Elements {
			if e.Slots&slot != 0 {
				from[slot] = append(from[slot], e)
			}
		}
	}
	for _, s := range o.spaces {
		judged, slots := 0, s.Layout.SlotsOf()
		if slices.ContainsFunc(slots, func(slot objective.Slots) bool { return len(from[slot]) == 0 }) {
			continue
		}
		for drawn := 0; drawn < bindsDrawn && judged < bindsJudged; drawn++ {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			t := &objective.Train{Layout: s.Layout, Seat: s.Seat}
			for _, slot := range slots {
				t.Groups = append(t.Groups, draw(from[slot]))
			}
			if failed := lib.Problem.SolveBest(t, o.by); failed != objective.Focal {
				judged++
				counts[failed.String()]++
			}
		}
	}
	return counts, nil
}

// stackSize draws of how many lenses a group is, in proportion to how many
// groups there are of each size.
func stackSize(r *rand.Rand, elements, most int) int {
	all, power := 0.0, 1.0
	for range most {
		power *= float64(elements)
		all += power
	}
	x := r.Float64() * all
	for n := most; n > 1; n-- {
		if x < power {
			return n
		}
		x -= power
		power /= float64(elements)
	}
	return 1
}
