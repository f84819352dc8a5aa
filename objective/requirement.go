package objective

import (
	"math"
	"slices"
)

// Requirement is one of the paraxial requirements, in the order in which they
// are tested.
type Requirement uint8

// The paraxial requirements.
const (
	Focal Requirement = iota
	Magnification
	GapRoom
	Length
	Relief
	Aperture
	Clearance
	Travel
	MaskSize
	PixelArcmin
	DepthStepD
	ViewpointShiftMM
	Parts
	Price
	MassG
	// Met is no requirement: all are met.
	Met

	// LastRequirement is the last one: what is tested up to it is tested for all.
	LastRequirement = Met - 1
)

// ofParts reports whether a requirement is on a train's parts alone, whatever their places.
func (r Requirement) ofParts() bool { return Parts <= r && r < Met }

// requirement is what is known of a paraxial requirement wherever it is tested or eased.
type requirement struct {
	name string // under which failures of it are counted
	// mask is the interval of the eye's places p that meets a requirement on the mask's
	// motion, whose setpoints have to lie within lo and hi; nil for the others.
	mask func(m maskMotion, lo, hi float64) Interval
	// relax makes the relaxations that ease it, in the unit of their keys; nil for none. One
	// without a name has that of the requirement.
	relax func(x *relaxing) []Relaxation
}

// Names of requirements that are limits as well.
const (
	pixelArcmin    = "pixel_arcmin"
	depthStepD     = "depth_step_D"
	viewpointShift = "viewpoint_shift_mm"
	price          = "price"
	massG          = "mass_g"
)

// requirements has every requirement in the order in which they are tested.
var requirements = [...]requirement{
	Focal: {name: "focal"},
	Magnification: {name: "magnification", relax: func(x *relaxing) []Relaxation {
		return []Relaxation{more(x.p.MagnificationTol, easedTolerance, func(p *Problem, v float64) { p.MagnificationTol = v })}
	}},
	GapRoom: {name: "gap", relax: func(x *relaxing) []Relaxation {
		return []Relaxation{less(x.p.GroupGapMin, 0, func(p *Problem, v float64) { p.GroupGapMin = v })}
	}},
	Length: {name: "length", relax: func(x *relaxing) []Relaxation {
		return []Relaxation{more(x.p.LengthMax, math.Inf(1), func(p *Problem, v float64) { p.LengthMax = v })}
	}},
	Relief:   {name: "relief", relax: relaxRelief},
	Aperture: {name: "aperture", relax: relaxAperture},
	Clearance: {
		name: "clearance",
		mask: func(m maskMotion, lo, hi float64) Interval { return m.room(lo, hi) },
		relax: func(x *relaxing) []Relaxation {
			return []Relaxation{less(x.p.Clearance, 0, func(p *Problem, v float64) { p.Clearance = v })}
		},
	},
	Travel: {
		name: "travel",
		mask: func(m maskMotion, _, _ float64) Interval { return m.travel(m.p.Travel) },
		relax: func(x *relaxing) []Relaxation {
			return []Relaxation{more(x.p.Travel, easedLength, func(p *Problem, v float64) { p.Travel = v })}
		},
	},
	MaskSize: {
		name:  "mask_size",
		mask:  func(m maskMotion, _, _ float64) Interval { return m.size() },
		relax: relaxMaskSize,
	},
	PixelArcmin: {
		name:  pixelArcmin,
		mask:  func(m maskMotion, _, _ float64) Interval { return m.pixel(m.p.Limits.Limit(pixelArcmin)) },
		relax: relaxLimit(pixelArcmin, easedArcmin),
	},
	DepthStepD: {
		name:  depthStepD,
		mask:  func(m maskMotion, _, _ float64) Interval { return m.step(m.p.Limits.Limit(depthStepD)) },
		relax: relaxLimit(depthStepD, easedDioptres),
	},
	ViewpointShiftMM: {name: viewpointShift, relax: relaxLimit(viewpointShift, easedShift)},
	Parts:            {name: "parts", relax: relaxParts},
	Price:            {name: price, relax: relaxLimit(price, easedSum)},
	MassG:            {name: massG, relax: relaxLimit(massG, easedSum)},
	Met:              {},
}

// The requirements on the mask's motion, from the first to the last.
const (
	firstOfMask = Clearance
	lastOfMask  = DepthStepD
)

// String is the name under which failures of the requirement are counted, empty for Met.
func (r Requirement) String() string { return requirements[r].name }

// LimitOn is the user's limit on a requirement that is a limit as well, in the unit of its
// name; +Inf where there is none.
func (p *Problem) LimitOn(r Requirement) float64 { return p.Limits.Limit(r.String()) }

// IsRequirement reports whether failures that are counted under a name are those of a paraxial
// requirement.
func IsRequirement(name string) bool {
	return name != "" && slices.ContainsFunc(requirements[:], func(r requirement) bool { return r.name == name })
}
