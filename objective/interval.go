package objective

import "math"

// Interval is a closed range; it is empty when Lo > Hi.
type Interval struct{ Lo, Hi float64 }

// Everything is the interval of all numbers.
var Everything = Interval{math.Inf(-1), math.Inf(1)}

var nothing = Interval{math.Inf(1), math.Inf(-1)}

// Empty reports whether no number is in the interval.
func (i Interval) Empty() bool { return !(i.Lo <= i.Hi) }

// And is the intersection.
func (i Interval) And(j Interval) Interval {
	return Interval{max(i.Lo, j.Lo), min(i.Hi, j.Hi)}
}

// clip intersects the interval with all x for which slope·x <= bound.
func (i *Interval) clip(slope, bound float64) {
	switch {
	case slope > 0:
		i.Hi = min(i.Hi, bound/slope)
	case slope < 0:
		i.Lo = max(i.Lo, bound/slope)
	case bound < 0:
		*i = nothing
	}
}

// affine is the interval of scale·x + shift over all x of i, scale > 0.
func (i Interval) affine(scale, shift float64) Interval {
	return Interval{float64(scale*i.Lo) + shift, float64(scale*i.Hi) + shift}
}
