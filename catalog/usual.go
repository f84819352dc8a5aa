package catalog

import (
	"fmt"
	"slices"
)

const (
	// unusualRatio is by how much a diameter may be off the middle one of its
	// table: a decimal point or a unit that slipped makes ten and more.
	unusualRatio = 10
	// usualLeast is how many lenses a table must hold to have a usual size.
	usualLeast = 4
)

// checkSizes notes lenses that are thicker than wide, and those whose diameter
// is far from what is usual in their table.
func (lr *lensReader) checkSizes(lenses []*Lens) {
	if len(lenses) == 0 {
		return
	}
	diameters := make([]float64, len(lenses))
	for i, l := range lenses {
		diameters[i] = l.DiameterMM
	}
	slices.Sort(diameters)
	usual := diameters[len(diameters)/2]
	for _, l := range lenses {
		thickness := 0.0
		for _, t := range l.ThicknessMM {
			thickness += t
		}
		// A ball is as thick as wide.
		if thickness > l.DiameterMM+edgeSlackMM {
			lr.doubtful = append(lr.doubtful, noted{
				line: l.Line, column: elementColumns(1)[0], kind: "the thickness is more than the diameter",
				found: fmt.Sprintf("part %s is %.4g mm thick and %g mm wide", quoted(l.Part), thickness, l.DiameterMM),
				want:  "a lens that is thinner than wide, unless it is a rod: compare with the data sheet",
			})
		}
		if len(lenses) < usualLeast || l.DiameterMM < unusualRatio*usual && l.DiameterMM > usual/unusualRatio {
			continue
		}
		lr.doubtful = append(lr.doubtful, noted{
			line: l.Line, column: "diameter_mm", kind: fmt.Sprintf("the diameter is ten times out of the usual %g mm of this table", usual),
			found: fmt.Sprintf("part %s is %g mm wide", quoted(l.Part), l.DiameterMM),
			want:  "a diameter in mm: look for a slip of the decimal point or the unit",
		})
	}
}
