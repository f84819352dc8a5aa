package objective

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
)

// requirement is what is known of a paraxial requirement wherever it is tested.
type requirement struct {
	name string // under which failures of it are counted
	// mask is the interval of the eye's places p that meets a requirement on the mask's
	// motion, whose setpoints have to lie within lo and hi; nil for the others.
	mask func(m maskMotion, lo, hi float64) Interval
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
	Focal:         {name: "focal"},
	Magnification: {name: "magnification"},
	GapRoom:       {name: "gap"},
	Length:        {name: "length"},
	Relief:        {name: "relief"},
	Aperture:      {name: "aperture"},
	Clearance: {name: "clearance", mask: func(m maskMotion, lo, hi float64) Interval {
		return m.room(lo, hi)
	}},
	Travel: {name: "travel", mask: func(m maskMotion, _, _ float64) Interval {
		return m.travel(m.p.Travel)
	}},
	MaskSize: {name: "mask_size", mask: func(m maskMotion, _, _ float64) Interval {
		return m.size()
	}},
	PixelArcmin: {name: pixelArcmin, mask: func(m maskMotion, _, _ float64) Interval {
		return m.pixel(m.p.Limits.Limit(pixelArcmin))
	}},
	DepthStepD: {name: depthStepD, mask: func(m maskMotion, _, _ float64) Interval {
		return m.step(m.p.Limits.Limit(depthStepD))
	}},
	ViewpointShiftMM: {name: viewpointShift},
	Parts:            {name: "parts"},
	Price:            {name: price},
	MassG:            {name: massG},
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
