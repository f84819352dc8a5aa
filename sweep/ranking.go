package sweep

import (
	"math"
	"slices"

	"relaysweep/objective"
)

// ranking keeps the shortest designs of those that have passed, at most top, of several
// with the same parts only the shortest where that is asked.
type ranking struct {
	lib         *objective.Library
	top         int
	onePerParts bool
	found       []Found // in order
}

// add takes in a design that passed.
func (r *ranking) add(f Found) {
	if r.onePerParts {
		key := f.design.partsKey(r.lib)
		same := slices.IndexFunc(r.found, func(g Found) bool { return g.design.partsKey(r.lib) == key })
		if same >= 0 {
			if compareFound(r.found[same], f) <= 0 {
				return
			}
			r.found = slices.Delete(r.found, same, same+1)
		}
	}
	at, again := slices.BinarySearchFunc(r.found, f, compareFound)
	if again {
		return
	}
	r.found = slices.Insert(r.found, at, f)
	r.found = r.found[:min(len(r.found), r.top)]
}

// longest is the ranked length beyond which no design comes into the ranking.
func (r *ranking) longest() float64 {
	if len(r.found) < r.top {
		return math.Inf(1)
	}
	return r.found[r.top-1].Ranked
}
