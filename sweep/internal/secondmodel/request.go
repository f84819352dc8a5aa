package secondmodel

import (
	"math"
	"slices"
)

// Request holds all that a spec says of the train that is wanted, each value
// in the unit that its name gives. A field that cannot sensibly be zero takes
// the default noted beside it when it is; the others mean zero as they stand.
type Request struct {
	Layouts          []string // erector-single, erector-pair or keplerian; none: erector-single
	LensesPerGroup   int      // up to this many; 0: 2
	LensesMax        int      // in a train; 0: no limit
	DistinctPartsMax int      // in a train; 0: no limit
	LengthMaxMM      float64  // 0: no limit
	Magnification    float64  // |Θ|; 0: 1
	MagnificationTol float64  // relative, for a keplerian; 0: 0.01
	AirGapMinMM      float64  // between facing surfaces in a group
	GroupGapMinMM    float64  // between facing surfaces of two groups
	// Allowed are the parts that alone may stand in the slots front, relay and rear; one
	// that is absent allows any.
	Allowed map[string]map[string]bool

	FieldWidthDeg  float64 // full angle
	FieldHeightDeg float64 // full angle
	FieldShape     string  // "rectangle" or "ellipse"; empty: rectangle

	PupilMM        float64 // diameter; 0: 4
	BoxMM          float64 // diameter
	SharpBoxMM     float64 // diameter of the part of it over which blurs count
	ReliefMinMM    float64 // physical
	ReliefMaxMM    float64 // physical; 0: 80
	AccommodationD float64
	RefocusMaxD    float64
	EyeColour      bool    // whether the eye's own colour counts
	CombinerMM     float64 // glass path between last vertex and eye
	CombinerIndex  float64 // 0: 1.5168

	NearM float64
	FarM  float64 // 0: infinity
	Steps int     // depth samples; 0: 5; always 1 when near equals far

	MaskWidthMM      float64
	MaskHeightMM     float64
	PixelUM          float64
	MaskGlassMM      float64
	MaskGlassIndex   float64 // 0: 1.52
	ClearanceMM      float64
	Seat             string  // "front", "rear", "either" or "both"; empty: rear
	MaskTransmission float64 // 0: 1
	FillPct          float64 // of a pixel's area that is open; 0: not known

	TravelMM     float64
	ResolutionUM float64 // 0: 10
	SpeedMMS     float64 // 0: 20

	WavelengthsNM []float64 // none: 479.99, 546.07, 643.85
	Weights       []float64 // none: 1, 2, 1

	// Limits are the upper bounds on metrics by the metric's name, in its
	// unit, and the lower bound transmission_min. An absent name does not
	// limit.
	Limits        map[string]float64
	FieldFraction float64 // 0: 1

	RankBy string // "length_mm" or "length_to_eye_mm"; empty: length_mm

	// InnerSteps is how many inner gaps of a pair relay are tried before the
	// promising ones are refined; 0: 4000.
	InnerSteps int

	chord float64 // of the pupil that apertures have to pass, see chordOf; as share of its radius
}

// filled is the request with every default written out.
func (r Request) filled() Request {
	number := func(x *float64, otherwise float64) {
		if *x == 0 {
			*x = otherwise
		}
	}
	text := func(x *string, otherwise string) {
		if *x == "" {
			*x = otherwise
		}
	}
	if len(r.Layouts) == 0 {
		r.Layouts = []string{"erector-single"}
	}
	if r.LensesPerGroup == 0 {
		r.LensesPerGroup = 2
	}
	number(&r.LengthMaxMM, math.Inf(1))
	number(&r.Magnification, 1)
	number(&r.MagnificationTol, 0.01)
	text(&r.FieldShape, "rectangle")
	number(&r.PupilMM, 4)
	number(&r.ReliefMaxMM, 80)
	number(&r.CombinerIndex, 1.5168)
	number(&r.FarM, math.Inf(1))
	if r.Steps == 0 {
		r.Steps = 5
	}
	if r.NearM == r.FarM {
		r.Steps = 1
	}
	number(&r.MaskGlassIndex, 1.52)
	text(&r.Seat, "rear")
	number(&r.MaskTransmission, 1)
	number(&r.ResolutionUM, 10)
	number(&r.SpeedMMS, 20)
	if len(r.WavelengthsNM) == 0 {
		r.WavelengthsNM = []float64{479.99, 546.07, 643.85}
		r.Weights = []float64{1, 2, 1}
	}
	number(&r.FieldFraction, 1)
	text(&r.RankBy, "length_mm")
	if r.InnerSteps == 0 {
		r.InnerSteps = 4000
	}
	r.chord = chordOf(r.limit("vignetted_pct") / 100)
	return r
}

// limit is the upper bound on a metric, +Inf where there is none.
func (r Request) limit(name string) float64 {
	if x, ok := r.Limits[name]; ok {
		return x
	}
	return math.Inf(1)
}

// reference is the place of the reference wavelength: the largest weight, the
// first on ties.
func (r Request) reference() int {
	return slices.Index(r.Weights, slices.Max(r.Weights))
}

// tanMax is the tangent of the field's largest half angle.
func (r Request) tanMax() float64 {
	if r.FieldShape == "ellipse" {
		return math.Tan(radians(math.Max(r.FieldWidthDeg, r.FieldHeightDeg) / 2))
	}
	return math.Hypot(math.Tan(radians(r.FieldWidthDeg/2)), math.Tan(radians(r.FieldHeightDeg/2)))
}

// far and near are the ends of the depth range as apparent vergences, 1/mm.
func (r Request) far() float64  { return 1 / (1000 * r.FarM) }
func (r Request) near() float64 { return 1 / (1000 * r.NearM) }

// vergences are the depth samples, even in vergence from far to near, 1/mm.
func (r Request) vergences() []float64 {
	v := make([]float64, r.Steps)
	for i := range v {
		v[i] = r.far()
		if r.Steps > 1 {
			v[i] += (r.near() - r.far()) * float64(i) / float64(r.Steps-1)
		}
	}
	return v
}

// plateShift is by how much a plane plate of thickness t mm and index n
// lengthens the gap that it stands in (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, p. 134).
func plateShift(t, n float64) float64 { return t - t/n }

func (r Request) maskShift() float64     { return plateShift(r.MaskGlassMM, r.MaskGlassIndex) }
func (r Request) combinerShift() float64 { return plateShift(r.CombinerMM, r.CombinerIndex) }

// reach is the largest distance of a pupil point from the axis.
func (r Request) reach() float64 { return (r.PupilMM + r.BoxMM) / 2 }

// apertureReach is the distance from the axis that apertures have to pass: where
// a share of the pupil may be lost, that of the chord that cuts the share off.
func (r Request) apertureReach() float64 {
	return (r.chord*r.PupilMM + r.BoxMM) / 2
}

// chordOf is the distance from the middle of a disc of radius 1 of the chord that
// cuts off a share of its area: by Newton's method on the height of the segment
// over its central half angle a, a - sin a · cos a = π · share. An unlimited
// share, +Inf, is none: all has to pass.
func chordOf(share float64) float64 {
	if math.IsInf(share, 1) || share <= 0 {
		return 1
	}
	if share >= 0.5 {
		return 0
	}
	a := math.Cbrt(1.5 * math.Pi * share) // as the segment shrinks
	for range 60 {
		a -= (a - math.Sin(a)*math.Cos(a) - math.Pi*share) / (2 * math.Sin(a) * math.Sin(a))
	}
	return math.Cos(a)
}

func radians(deg float64) float64 { return deg * math.Pi / 180 }
func degrees(rad float64) float64 { return rad * 180 / math.Pi }
func arcmin(rad float64) float64  { return degrees(rad) * 60 }
