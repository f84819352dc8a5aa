package sweep

import (
	"context"
	"math"
	"math/big"

	"relaysweep/objective"
)

// Preview is what a run would search at one sweep point.
type Preview struct {
	Point    Point
	Problem  *objective.Problem
	Lenses   int // in use, after the spec's filters
	ByKind   map[string]int
	Elements int      // lenses in each orientation that makes a difference
	Groups   *big.Int // of up to the wanted number of lenses
	Spaces   []SpacePreview
	// Serving counts the groups that can serve in each place of each layout,
	// by the numbers of the group alone; nil where the groups are too many to
	// count them here.
	Serving   []Serving
	Conflicts []objective.Conflict
	// LargestClearMM is the largest clear diameter of any lens in use, to hold
	// against the problem's LastAperture.
	LargestClearMM float64
}

// SpacePreview is the number of designs of one layout and seat.
type SpacePreview struct {
	objective.Space
	Designs *big.Int
}

// Serving is how many groups can serve in one place with one seat.
type Serving struct {
	Place  string
	Seat   objective.Seat
	Groups int
}

// previewMost is how many groups a preview makes to count those that serve.
const previewMost = 2_000_000

// Preview tells what a run would search, without searching.
func (j *Job) Preview(ctx context.Context) ([]Preview, error) {
	previews := make([]Preview, 0, len(j.Points))
	for _, point := range j.Points {
		p := point.Spec.Problem()
		lib := j.library(point.Spec, p)
		o := j.options(point.Spec)
		v := Preview{
			Point: point, Problem: p, Lenses: len(lib.Lenses), ByKind: map[string]int{},
			Elements: len(lib.Elements), Groups: new(big.Int), Conflicts: p.Conflicts(),
		}
		for _, l := range lib.Lenses {
			v.ByKind[l.Kind]++
			v.LargestClearMM = max(v.LargestClearMM, l.ClearMM)
		}
		power := big.NewInt(1)
		for range o.lensesPerGroup {
			power.Mul(power, big.NewInt(int64(v.Elements)))
			v.Groups.Add(v.Groups, power)
		}
		for _, s := range o.spaces {
			groups := int64(len(s.Layout.GroupNames()))
			v.Spaces = append(v.Spaces, SpacePreview{s, new(big.Int).Exp(v.Groups, big.NewInt(groups), nil)})
		}
		if v.Groups.IsInt64() && v.Groups.Int64() <= previewMost {
			st, err := serving(ctx, lib, rolesOf(o))
			if err != nil {
				return nil, err
			}
			v.Serving = st
		}
		previews = append(previews, v)
	}
	return previews, nil
}

// serving counts the groups that can serve in each place.
func serving(ctx context.Context, lib *objective.Library, want roles) ([]Serving, error) {
	relay, front := want.single, want.single || want.pair
	want.pair, want.single = false, front
	s := newOpenSource(lib, want)
	st, err := s.collect(ctx, math.Inf(1), share{})
	if err != nil {
		return nil, err
	}
	var all []Serving
	for _, seat := range want.seats {
		if front {
			all = append(all, Serving{"front", seat, len(st.fronts[seat])})
		}
		all = append(all, Serving{"rear", seat, len(st.rears[seat])})
	}
	if relay {
		all = append(all, Serving{"relay", want.seats[0], len(st.relays)})
	}
	return all, nil
}
