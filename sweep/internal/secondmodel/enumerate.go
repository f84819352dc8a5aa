package secondmodel

import (
	"math"
	"sort"

	"relaysweep/catalog"
)

// Result is what Enumerate found.
type Result struct {
	Space   int            // designs in the space
	Passing []Design       // ascending by ranked length rounded to 1e-6 mm, then by ID
	Failed  map[string]int // designs by the requirement under which they failed
}

// Enumerate evaluates every design of the space.
func Enumerate(r Request, lenses []*catalog.Lens) Result {
	result := Result{Failed: map[string]int{}}
	Each(r, lenses, func(d Design) {
		result.Space++
		if d.FailedBy == "" {
			result.Passing = append(result.Passing, d)
		} else {
			result.Failed[d.FailedBy]++
		}
	})
	sort.Slice(result.Passing, func(i, j int) bool {
		a, b := result.Passing[i], result.Passing[j]
		if x, y := math.Round(a.RankedMM*1e6), math.Round(b.RankedMM*1e6); x != y {
			return x < y
		}
		return a.ID < b.ID
	})
	return result
}

// Each evaluates every design of the space: each layout, each seat that the
// spec leaves open, and in each place of the layout every sequence of up to
// LensesPerGroup lenses, each lens either way round unless that is the same.
func Each(r Request, lenses []*catalog.Lens, visit func(Design)) {
	r = r.filled()
	var oriented []Oriented
	for _, l := range lenses {
		oriented = append(oriented, Oriented{Lens: l})
		if !l.IsSymmetric() {
			oriented = append(oriented, Oriented{Lens: l, Reversed: true})
		}
	}
	var stacks []stack
	var grow func(sofar []Oriented)
	grow = func(sofar []Oriented) {
		if len(sofar) > 0 {
			stacks = append(stacks, newStack(r, append([]Oriented(nil), sofar...)))
		}
		if len(sofar) == r.LensesPerGroup {
			return
		}
		for _, o := range oriented {
			grow(append(sofar, o))
		}
	}
	grow(nil)
	for _, layout := range r.Layouts {
		for _, seat := range seats(layout, r.Seat) {
			chosen := make([]stack, groupCount(layout))
			var fill func(i int)
			fill = func(i int) {
				if i == len(chosen) {
					visit(evaluate(r, layout, seat, append([]stack(nil), chosen...)))
					return
				}
				for _, s := range stacks {
					if !r.allows(i, len(chosen), s) {
						continue
					}
					chosen[i] = s
					fill(i + 1)
				}
			}
			fill(0)
		}
	}
}

// allows reports whether all lenses of a stack may stand in the i-th of n groups.
func (r Request) allows(i, n int, s stack) bool {
	slot := "relay"
	switch i {
	case 0:
		slot = "front"
	case n - 1:
		slot = "rear"
	}
	parts, limited := r.Allowed[slot]
	for _, o := range s.lenses {
		if limited && !parts[o.Lens.Part] {
			return false
		}
	}
	return true
}

func groupCount(layout string) int {
	switch layout {
	case "keplerian":
		return 2
	case "erector-single":
		return 3
	case "erector-pair":
		return 4
	}
	panic("unknown layout " + layout)
}

// seats are the mask's places that a layout offers of those that are wanted.
// The one image of a keplerian counts as the rear seat.
func seats(layout, wanted string) []string {
	switch {
	case wanted == "either" && layout != "keplerian":
		return []string{"front", "rear"}
	case wanted == "either":
		return []string{"rear"}
	case (wanted == "front" || wanted == "both") && layout == "keplerian":
		return nil
	}
	return []string{wanted}
}
