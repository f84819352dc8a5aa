package objective

import "math"

// Seat is the image plane at which the mask stands, or both where a mask stands at each.
type Seat uint8

const (
	// SeatFront is image 1, between front and relay.
	SeatFront Seat = iota
	// SeatRear is image 2, between relay and rear; the one image of a
	// keplerian train counts as it.
	SeatRear
	// SeatBoth is a mask at each of the two images, each with a stage of its own.
	SeatBoth
	// SeatCount is how many seats there are.
	SeatCount
)

func (s Seat) String() string { return [SeatCount]string{"front", "rear", "both"}[s] }

// MasksMost is how many masks a train has at most.
const MasksMost = 2

// Masks are the images at which masks stand, [SeatFront] or [SeatRear]. Of two the one at
// image 2 comes first, as rays from the eye meet them.
func (s Seat) Masks() []Seat { return seatMasks[s] }

var seatMasks = [SeatCount][]Seat{SeatFront: {SeatFront}, SeatRear: {SeatRear}, SeatBoth: {SeatRear, SeatFront}}

// Has reports whether a mask stands at an image.
func (s Seat) Has(image Seat) bool { return s == image || s == SeatBoth }

// Layout is the order of groups in a train.
type Layout uint8

const (
	// Keplerian is front and rear: an inverted view.
	Keplerian Layout = iota
	// ErectorSingle is front, relay, rear.
	ErectorSingle
	// ErectorPair is front, a relay of two groups with a free air gap, rear.
	ErectorPair
)

func (l Layout) String() string {
	return [...]string{"keplerian", "erector-single", "erector-pair"}[l]
}

// GroupNames are the names of the layout's groups from the world to the eye.
func (l Layout) GroupNames() []string {
	return [...][]string{
		{"front", "rear"},
		{"front", "relay", "rear"},
		{"front", "relay", "relay2", "rear"},
	}[l]
}

// Problem is what a train is asked to do: the part of a job that optics knows.
// Lengths are in mm, vergences in 1/mm (not dioptres), angles as tangents.
type Problem struct {
	WavelengthsNM []float64
	Weights       []float64 // one a wavelength; they need not add up to 1

	Magnification    float64 // |Θ| wanted
	MagnificationTol float64 // relative, for a keplerian and for refined trains
	AirGapMin        float64 // between facing surfaces inside a group
	GroupGapMin      float64 // between facing surfaces of two groups
	LengthMax        float64 // first to last vertex; +Inf for no limit

	// The field: its full angles in degrees, and the tangents that follow, see [Problem.SetField].
	FieldWidthDeg, FieldHeightDeg float64
	FieldEllipse                  bool // otherwise it is a rectangle

	TanHalfWidth  float64 // tangent of half the field's width
	TanHalfHeight float64
	TanMax        float64 // tangent of the field's largest half angle

	Pupil           float64 // diameter of the eye's pupil
	Box             float64 // diameter of the region in which the pupil moves
	SharpBox        float64 // diameter of the region over which blurs count, the pupil's middle in it
	PupilCut        float64 // share of the pupil's radius that an aperture may cut off, see [PupilCut]
	ReliefMin       float64 // physical
	ReliefMax       float64 // physical
	AccommodationD  float64 // dioptres
	RefocusMaxD     float64 // dioptres
	ColouredEye     bool    // whether the eye's own colour counts, see [EyeRefractionD]
	CombinerMM      float64 // glass path between last vertex and eye; 0 for none
	CombinerIndex   float64
	VergenceFar     float64 // 1/mm, apparent, the smaller one
	VergenceNear    float64 // 1/mm, apparent
	DepthSteps      int     // depth samples
	MaskWidth       float64
	MaskHeight      float64
	MaskPixel       float64 // mm
	MaskGlass       float64 // thickness of the mask's glass, layer in its middle
	MaskGlassIndex  float64
	Clearance       float64 // from the mask's glass to the neighbouring surfaces
	MaskTransmits   float64 // 0 to 1
	MaskFill        float64 // share of a pixel's area that is open; 0 where it is not known
	Travel          float64
	StageResolution float64 // mm
	StageSpeed      float64 // mm/s
	LensesMax       int     // in a train; 0 for no limit
	PartsMax        int     // distinct parts in a train; 0 for no limit

	// SlotParts are, for each of [EachSlot], patterns of the parts that alone may stand
	// there; none for any part.
	SlotParts [3][]string

	// NearMissFactor is by how much a train may exceed limits at its paraxial gaps to
	// be refined; 0: designs are ranked at their paraxial gaps.
	NearMissFactor float64

	Limits Limits
}

// Limits are the upper bounds a user sets on metrics, by the metric's name and
// in its unit; a metric that is absent is not limited. TransmissionMin is the
// one lower bound, 0 for none.
type Limits struct {
	Max             map[string]float64
	TransmissionMin float64
	// FieldFraction ends the field samples that sharpness metrics look at.
	FieldFraction float64
}

// Limit is the upper bound on a metric, +Inf where the user set none.
func (l *Limits) Limit(metric string) float64 {
	if v, ok := l.Max[metric]; ok {
		return v
	}
	return math.Inf(1)
}

// SetField sets the field to full angles in degrees, in the shape that it has.
func (p *Problem) SetField(widthDeg, heightDeg float64) {
	halfAngle := func(deg float64) float64 { return deg / 2 * (math.Pi / 180) }
	p.FieldWidthDeg, p.FieldHeightDeg = widthDeg, heightDeg
	p.TanHalfWidth, p.TanHalfHeight = math.Tan(halfAngle(widthDeg)), math.Tan(halfAngle(heightDeg))
	if p.FieldEllipse {
		p.TanMax = max(p.TanHalfWidth, p.TanHalfHeight)
	} else {
		// The corner of a flat rectangle at unit distance.
		p.TanMax = math.Sqrt(float64(p.TanHalfWidth*p.TanHalfWidth) + float64(p.TanHalfHeight*p.TanHalfHeight))
	}
}

// Reference is the index of the reference wavelength: the one with the
// largest weight, the first on ties.
func (p *Problem) Reference() int {
	best := 0
	for i, w := range p.Weights {
		if w > p.Weights[best] {
			best = i
		}
	}
	return best
}

// PlateShift is by how much a plane plate of thickness t and index n lengthens
// the gap that it stands in: t(1 - 1/n) (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, p. 134).
func PlateShift(t, n float64) float64 { return t * (1 - 1/n) }

// MaskShift is the plate shift of a mask's glass in mm.
func (p *Problem) MaskShift() float64 { return PlateShift(p.MaskGlass, p.MaskGlassIndex) }

// secondShift is the plate shift in mm of the second mask's glass: 0 where there is one mask.
func (p *Problem) secondShift(s Seat) float64 {
	if len(s.Masks()) == 1 {
		return 0
	}
	return p.MaskShift()
}

// CombinerShift is the plate shift of the combiner in mm.
func (p *Problem) CombinerShift() float64 { return PlateShift(p.CombinerMM, p.CombinerIndex) }

// LeastRelief is the least eye relief in mm, physical: what the user allows, and no less than
// the combiner's glass path.
func (p *Problem) LeastRelief() float64 { return max(p.ReliefMin, p.CombinerMM) }

// LayerClearance is the least distance in mm from the mask's layer to a neighbouring surface:
// the clearance and half of the mask's glass.
func (p *Problem) LayerClearance() float64 { return p.Clearance + p.MaskGlass/2 }

// PupilEdge is the largest distance of a pupil point from the axis.
func (p *Problem) PupilEdge() float64 { return (p.Pupil + p.Box) / 2 }

// PassingEdge is r, the largest distance from the axis of a pupil point that has
// to pass the apertures. Where some of the pupil may be lost it is shorter than
// [Problem.PupilEdge] by what an edge may cut off.
func (p *Problem) PassingEdge() float64 {
	return (float64((1-p.PupilCut)*p.Pupil) + p.Box) / 2
}

// PupilCut is by how much of the pupil's radius a straight edge may come nearer to
// the pupil's middle than the rim, when a share of the pupil's area may be lost: 1 -
// k, where the chord at k radii from the middle cuts off the share,
//
//	arccos k - k·sqrt(1 - k²) = π·share
//
// (area of a circular segment: I. N. Bronshtein, K. A. Semendyayev, Handbook of
// Mathematics, 5th ed., 2007, section 3.1.8.3). From a half on it is 1. An edge that curves
// around the light cuts off more than its chord, so that no train that loses at
// most the share is asked for more than it has.
func PupilCut(share float64) float64 {
	switch {
	case share <= 0:
		return 0
	case share >= 0.5:
		return 1
	}
	// The segment of half angle a = arccos k has the area a - sin a·cos a.
	lo, hi := 0.0, math.Pi/2
	for {
		a := lo + (hi-lo)/2
		sin, cos := math.Sincos(a)
		switch {
		case a == lo || a == hi:
			half := math.Sin(hi / 2)
			return 2 * half * half
		case a-float64(sin*cos) < math.Pi*share:
			lo = a
		default:
			hi = a
		}
	}
}

// Depth is the apparent vergence in 1/mm of depth sample i of DepthSteps, even
// in vergence from far (0) to near.
func (p *Problem) Depth(i int) float64 {
	if p.DepthSteps == 1 {
		return p.VergenceFar
	}
	if i == p.DepthSteps-1 {
		return p.VergenceNear
	}
	return p.VergenceFar + float64((p.VergenceNear-p.VergenceFar)*float64(i)/float64(p.DepthSteps-1))
}
