package ideal

import (
	"math"

	"relaysweep/objective"
)

// Group is a group of the limit's train that has this focal length in mm.
func (i *Limit) Group(focalMM float64) *objective.Group {
	return objective.ThinGroup(focalMM, i.ApertureRatio/2*math.Abs(focalMM))
}
