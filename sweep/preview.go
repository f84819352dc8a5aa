package sweep

import (
	"context"
	"math"
	"math/big"
	"slices"

	"relaysweep/objective"
	"relaysweep/sweep/spec"
)

// Preview is what a run would search at one sweep point.
type Preview struct {
	Point    spec.Point
	Problem  *objective.Problem
	Given    string // the train to measure, as the spec has it; empty for a search, of which alone all below tells
	Lenses   int    // in use, after the spec's filters
	ByKind   map[string]int
	Elements int      // lenses in each orientation that makes a difference
	Groups   *big.Int // of up to the wanted number of lenses
	Spaces   []SpacePreview
	// Serving counts the groups that can serve in each slot of each layout,
	// by the numbers of the group alone; nil where the groups are too many to
	// count them here.
	Serving   []Serving
	Conflicts []objective.Conflict
	// LeastViewpointMM is a lower bound on the shift of the viewpoint of every
	// train that the groups make; -Inf where it is not limited, or none is known.
	LeastViewpointMM float64
	// LargestClearMM is the largest clear diameter of any lens in use, to hold
	// against the problem's LastAperture.
	LargestClearMM float64
}

// SpacePreview is the number of designs of one layout and seat.
type SpacePreview struct {
	objective.Space
	Designs *big.Int
}

// Serving is how many groups can serve in one slot with one seat.
type Serving struct {
	Slot   string
	Seat   objective.Seat
	Groups int
}

// Impossible reports whether the numbers above prove that a run would find nothing
// at this point.
func (v *Preview) Impossible() bool {
	if v.Given != "" {
		return false
	}
	return v.Lenses == 0 || len(v.Conflicts) > 0 || v.ApertureMissing() || v.ViewpointMissing() ||
		!slices.ContainsFunc(v.Spaces, func(s SpacePreview) bool { return v.served(s.Space) })
}

// ApertureMissing reports whether no lens is wide enough to stand next to the eye.
func (v *Preview) ApertureMissing() bool { return v.Problem.LastAperture() > v.LargestClearMM }

// ViewpointMissing reports whether no train keeps the limit on the shift of the
// viewpoint.
func (v *Preview) ViewpointMissing() bool {
	return v.LeastViewpointMM > v.Problem.LimitOn(objective.ViewpointShiftMM)*(1+objective.RequirementSlack)+objective.RankedStepMM
}

// served reports whether each slot of a space has a group that can serve there,
// as far as that was counted.
func (v *Preview) served(space objective.Space) bool {
	for _, s := range v.Serving {
		if s.Groups == 0 && (s.Slot == "relay" && space.Layout == objective.ErectorSingle || s.Slot != "relay" && s.Seat == space.Seat) {
			return false
		}
	}
	return true
}

// previewMost is how many groups a preview makes to count those that serve.
const previewMost = 2_000_000

// Preview tells what a run would search, without searching.
func (j *Job) Preview(ctx context.Context) ([]Preview, error) {
	previews := make([]Preview, 0, len(j.Points))
	for _, point := range j.Points {
		p := point.Spec.Problem()
		if point.Spec.Train.Given != "" {
			previews = append(previews, Preview{Point: point, Problem: p, Given: point.Spec.Train.Given})
			continue
		}
		lib := j.library(point.Spec, p)
		o := j.options(point.Spec)
		v := Preview{
			Point: point, Problem: p, Lenses: len(lib.Lenses), ByKind: map[string]int{},
			Elements: len(lib.Elements), Groups: countGroups(lib, o.lensesPerGroup), Conflicts: p.Conflicts(), LeastViewpointMM: math.Inf(-1),
		}
		for _, l := range lib.Lenses {
			v.ByKind[l.Kind]++
			if p.SlotsFor(l.Part)&objective.RearSlot != 0 {
				v.LargestClearMM = max(v.LargestClearMM, l.ClearMM)
			}
		}
		for _, s := range o.spaces {
			v.Spaces = append(v.Spaces, SpacePreview{s, designsOf(lib, s.Layout, o.lensesPerGroup)})
		}
		if v.Groups.IsInt64() && v.Groups.Int64() <= previewMost {
			if err := v.serve(ctx, lib, wantedSlots(o)); err != nil {
				return nil, err
			}
		}
		previews = append(previews, v)
	}
	return previews, nil
}

// serve counts the groups that can serve in each slot, and bounds what they
// make together.
func (v *Preview) serve(ctx context.Context, lib *objective.Library, want slotsWanted) error {
	relay, front := want.single, want.single || want.pair
	want.pair, want.single = false, front
	s := newOpenStream(lib, want)
	st, err := s.collect(ctx, math.Inf(1), partition{})
	if err != nil {
		return err
	}
	for _, seat := range want.seats {
		if front {
			v.Serving = append(v.Serving, Serving{"front", seat, len(st.fronts[seat])})
		}
		v.Serving = append(v.Serving, Serving{"rear", seat, len(st.rears[seat])})
	}
	if relay {
		v.Serving = append(v.Serving, Serving{"relay", want.seats[0], len(st.relays)})
	}
	if math.IsInf(v.Problem.LimitOn(objective.ViewpointShiftMM), 1) {
		return nil
	}
	v.LeastViewpointMM = math.Inf(1)
	for _, s := range want.spaces {
		least := math.Inf(-1)
		switch s.Layout {
		case objective.ErectorSingle:
			least = v.Problem.LeastViewpointShift(lib, st.fronts[s.Seat], st.rears[s.Seat], st.relays)
		case objective.Keplerian:
			least = v.Problem.LeastKeplerianViewpointShift(lib, st.keplerianFronts, st.rears[s.Seat])
		}
		v.LeastViewpointMM = min(v.LeastViewpointMM, least)
	}
	return nil
}
