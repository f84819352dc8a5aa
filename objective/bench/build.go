package bench

import "relaysweep/objective"

// Build is by how much one built train differs from its design. The zero value
// of each number is no error. [Bench.NewBuild] makes one of the right size.
type Build struct {
	Lenses []LensError  // from the world to the eye, over the whole train
	Groups []GroupError // likewise
	// GapsMM are added to the gaps between groups.
	GapsMM []float64
	// MaskError is that of the mask, of two of that at image 2, and Second that of the other.
	MaskError
	Second MaskError
}

// MaskError is what is wrong with a mask and its stage.
type MaskError struct {
	// MaskRollRad turns the mask about the axis.
	MaskRollRad float64
	// StageZeroMM is by how much further towards the eye the mask stands than
	// the stage table says.
	StageZeroMM float64
}

// mask is the error of mask k, in the order of [objective.Train.MaskGaps].
func (b *Build) mask(k int) *MaskError {
	if k == 0 {
		return &b.MaskError
	}
	return &b.Second
}

// LensError is what is wrong with one lens and its seat.
type LensError struct {
	// Radius is the relative error of the radius of each surface. Conic
	// constants stay, and polynomial terms scale with the curvature.
	Radius []float64
	// Focal is the relative error of the focal length. All curvatures are scaled
	// by the factor that gives the built lens, whose thickness and glass may be
	// off as well, exactly this focal length: the error of its maker's test.
	// With FocalSet false the lens keeps the curvatures that Radius leaves.
	Focal    float64
	FocalSet bool
	// ThicknessMM is added to the thickness of each glass, Index to its index at
	// every wavelength, and Abbe is the relative error of its Abbe number.
	ThicknessMM []float64
	Index       []float64
	Abbe        []float64
	// GapMM is added to the gap behind the lens inside its group.
	GapMM float64
	Seat
}

// GroupError is what is wrong with the seat of a group.
type GroupError struct{ Seat }

// Seat is a rigid displacement of a lens in its group, or of a group on the
// bench, about the middle of its axis between first and last vertex.
type Seat struct {
	// DecentreMM are the displacements along x and y.
	DecentreMM [2]float64
	// TiltRad is by how much the end of the axis that faces the world leans
	// towards +x and +y: the axis turns by the angle hypot(TiltRad) in the plane
	// of that direction.
	TiltRad [2]float64
}

func newBuild(t *objective.Train) *Build {
	b := &Build{Groups: make([]GroupError, len(t.Groups)), GapsMM: make([]float64, len(t.Gaps))}
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			n := len(e.Surfaces)
			b.Lenses = append(b.Lenses, LensError{
				Radius: make([]float64, n), ThicknessMM: make([]float64, n-1),
				Index: make([]float64, n-1), Abbe: make([]float64, n-1),
			})
		}
	}
	return b
}

// Clear makes b a build without errors.
func (b *Build) Clear() {
	for i := range b.Lenses {
		l := &b.Lenses[i]
		clear(l.Radius)
		clear(l.ThicknessMM)
		clear(l.Index)
		clear(l.Abbe)
		*l = LensError{Radius: l.Radius, ThicknessMM: l.ThicknessMM, Index: l.Index, Abbe: l.Abbe}
	}
	clear(b.Groups)
	clear(b.GapsMM)
	b.MaskError, b.Second = MaskError{}, MaskError{}
}
