package objective

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
