package objective

import "math"

// TrainAt is a train with all its gaps given, as a result holds them: elements
// by group from the world to the eye, stackGaps the vertex gaps inside each
// group, gaps those between the groups, and the eye relief, all in mm and
// physical. Nothing is solved and no requirement is tested.
func (p *Problem) TrainAt(space Space, elements [][]*Element, stackGaps [][]float64, gaps []float64, eyeRelief float64) *Train {
	t := &Train{Layout: space.Layout, Seat: space.Seat, Gaps: gaps, EyeRelief: eyeRelief}
	for i, stack := range elements {
		t.Groups = append(t.Groups, groupAt(stack, stackGaps[i]))
	}
	t.Length = t.Groups[len(t.Groups)-1].ThicknessMM
	for i, gap := range gaps {
		t.Length += t.Groups[i].ThicknessMM + gap
	}
	t.AngularMagnification = p.AngularMagnificationOf(t)
	return t
}

// ParaxialGaps puts a train at its paraxial gaps, a pair relay at its best inner
// gap, and at the least eye relief that meets what is asked, whether or not it
// meets everything: a requirement that no gap and eye relief can meet, with those
// before it, is passed over. It returns the first of these, as [Problem.SolveBest]
// names it, or Met. ok is false for groups that have no such gaps, as one that has
// to converge does not; the requirement is then focal.
func (p *Problem) ParaxialGaps(t *Train, by RankBy) (failed Requirement, ok bool) {
	if failed = p.SolveBest(t, by); failed == Met {
		return Met, true
	}
	q := *p
	q.MagnificationTol = math.Inf(1)
	inner, ok := 0.0, true
	if t.Layout == ErectorPair {
		inner, ok = p.innerGap(t, by)
	}
	if !ok || q.Assemble(t, inner) == Focal {
		return Focal, false
	}
	t.EyeRelief = p.LeastReliefOf(t)
	return failed, true
}

// innerGap is the inner gap of a pair relay at which the longest row of
// requirements, from the first on, is met at some eye relief; where not even the
// least gaps are, the least inner gap. It is false where no gap makes the relay
// converge.
func (p *Problem) innerGap(t *Train, by RankBy) (gap float64, ok bool) {
	if !positive(t.Groups[0].FocalMM) || !positive(t.Groups[3].FocalMM) {
		return 0, false
	}
	relay, ok := p.NewPairRelay(NewPairComponentRows(t.Groups[1]), NewPairComponentRows(t.Groups[2]))
	if !ok {
		return 0, false
	}
	// Not quite at the largest focal length, beyond which rounding would lead.
	most := PairFocalMax / math.Abs(relay.product) * (1 - 1e-9)
	inner := func(v float64) float64 { return relay.inner(math.Max(-most, math.Min(v, most))) }
	for until := LastRequirement; until >= GapRoom; until-- {
		if b := p.pairBest(t, &relay, by, until); b.found {
			return inner(b.v), true
		}
	}
	return math.Min(inner(relay.domain.Lo), inner(relay.domain.Hi)), true
}

// LeastReliefOf is the least eye relief (mm, physical) at which a train at its gaps
// meets the paraxial requirements that depend on it; one that none meets, with
// those before it, is passed over.
func (p *Problem) LeastReliefOf(t *Train) float64 {
	relief, _ := p.eyeReliefs(t, true)
	return relief.Lo
}

// groupAt stacks elements at given vertex gaps.
func groupAt(elements []*Element, gaps []float64) *Group {
	g := &Group{Elements: elements, GapsMM: gaps}
	g.assemble()
	return g
}

// ElementOf is the library's element of a part in an orientation, nil for none.
// A part that equals its own reverse stands in it one way only.
func (lib *Library) ElementOf(part string, reversed bool) *Element {
	for _, e := range lib.Elements {
		if e.Lens.Part == part && e.Reversed == reversed {
			return e
		}
	}
	return nil
}

// EdgeGapMM is the distance in mm, along the axis, of the facing surfaces of
// two neighbours whose vertices stand gap mm apart, at the smaller of their
// half diameters: the height of a spacer ring there.
func EdgeGapMM(before, after *Element, gap float64) float64 {
	half := min(before.halfDiameter, after.halfDiameter)
	return gap + after.Surfaces[0].Sag(half) - before.Surfaces[len(before.Surfaces)-1].Sag(half)
}
