package objective

import "math"

// Group is a group of the limit's train that has this focal length in mm.
func (i *Ideal) Group(focalMM float64) *Group {
	return ThinGroup(focalMM, i.ApertureRatio/2*math.Abs(focalMM))
}
