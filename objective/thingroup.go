package objective

import (
	"math"

	"relaysweep/catalog"
)

// thinGroupLens stands for the lenses of a thin group.
var thinGroupLens = &catalog.Lens{
	Part: "thin", Stock: catalog.Unlimited, Price: catalog.Unset, Surfaces: []catalog.Surface{{RadiusMM: math.Inf(1)}},
}

// ThinGroup is a group without thickness of a focal length and a clear semi-diameter, both
// in mm: a lens that exists in the paraxial model alone.
func ThinGroup(focalMM, clearMM float64) *Group {
	e := &Element{
		Lens: thinGroupLens, Surfaces: thinGroupLens.Surfaces, matrix: Matrix{1, 0, -1 / focalMM, 1},
		toSurface: []heightRow{{1, 0}}, fromSurface: []heightRow{{1, 0}}, clear: clearMM, firstSphere: true, lastSphere: true,
	}
	return &Group{Elements: []*Element{e}, matrix: e.matrix, FocalMM: focalMM, FFDMM: focalMM, BFDMM: focalMM}
}
