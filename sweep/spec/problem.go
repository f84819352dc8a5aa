package spec

import (
	"math"

	"relaysweep/objective"
)

// Problem is what the spec asks of a train, in the units of the optics: mm,
// 1/mm and tangents.
func (s *Spec) Problem() *objective.Problem {
	p := &objective.Problem{
		WavelengthsNM: s.Light.WavelengthsNM,
		Weights:       s.Light.Weights,

		Magnification:    s.Train.Magnification,
		MagnificationTol: s.Train.MagnificationTol,
		AirGapMin:        s.Train.AirGapMinMM,
		GroupGapMin:      s.Train.GroupGapMinMM,
		LengthMax:        math.Inf(1),
		NearMissFactor:   s.nearMissFactor(),

		FieldEllipse: s.Field.Shape == "ellipse",

		Pupil:           s.Eye.PupilMM,
		Box:             s.Eye.BoxMM,
		SharpBox:        s.sharpBox(),
		PupilCut:        s.pupilCut(),
		ReliefMin:       s.Eye.ReliefMinMM,
		ReliefMax:       s.Eye.ReliefMaxMM,
		AccommodationD:  s.Eye.AccommodationD,
		RefocusMaxD:     s.Eye.RefocusMaxD,
		ColouredEye:     s.Eye.Colour == ColourPublished,
		CombinerMM:      s.Eye.CombinerMM,
		CombinerIndex:   s.Eye.CombinerIndex,
		VergenceFar:     vergence(s.Depth.FarM),
		VergenceNear:    vergence(s.Depth.NearM),
		DepthSteps:      s.Depth.Steps,
		MaskWidth:       s.Mask.WidthMM,
		MaskHeight:      s.Mask.HeightMM,
		MaskPixel:       micrometres(s.Mask.PixelUM),
		MaskGlass:       s.Mask.GlassMM,
		MaskGlassIndex:  s.Mask.GlassIndex,
		Clearance:       s.Mask.ClearanceMM,
		MaskTransmits:   s.Mask.Transmission,
		MaskFill:        s.maskFill(),
		Travel:          s.Stage.TravelMM,
		StageResolution: micrometres(s.Stage.ResolutionUM),
		StageSpeed:      s.Stage.SpeedMMS,
		LensesMax:       s.Train.LensesMax,
		PartsMax:        s.Train.DistinctPartsMax,
		SlotParts:       [3][]string{s.Train.Front, s.Train.Relay, s.Train.Rear},

		Limits: s.limits(),
	}
	if s.Train.LengthMaxMM > 0 {
		p.LengthMax = s.Train.LengthMaxMM
	}
	p.SetField(s.Field.WidthDeg, s.Field.HeightDeg)
	return p
}

// sharpBox is the diameter of the region over which blurs count.
func (s *Spec) sharpBox() float64 {
	if s.Eye.SharpBoxMM == nil {
		return s.Eye.BoxMM
	}
	return *s.Eye.SharpBoxMM
}

// maskFill is the share of a pixel's area that is open, 0 where it is not known.
func (s *Spec) maskFill() float64 {
	if s.Mask.FillPct == nil {
		return 0
	}
	return *s.Mask.FillPct / 100
}

// pupilCut is what apertures may cut off the pupil, by the limit on vignetting.
func (s *Spec) pupilCut() float64 {
	if s.Limits.VignettedPct == nil {
		return 0
	}
	return objective.PupilCut(*s.Limits.VignettedPct / 100)
}

// limits are the limits that the spec sets, by the names of their metrics.
func (s *Spec) limits() objective.Limits {
	l := objective.Limits{Max: map[string]float64{}, FieldFraction: s.Limits.FieldFraction}
	for i := range allKeys {
		k := &allKeys[i]
		limit, optional := k.at(s).(**float64)
		switch {
		case !optional || k.section != "limits" || *limit == nil:
		case k.name == "yield_min_pct": // no rays of the design tell it
		case k.name == "transmission_min":
			l.TransmissionMin = **limit
		default:
			l.Max[k.name] = **limit
		}
	}
	return l
}

// vergence of a distance in m, in 1/mm: 0 for infinity.
func vergence(m float64) float64 { return 1 / (1000 * m) }

// micrometres in mm.
func micrometres(um float64) float64 { return um / 1000 }

// SeatBoth is the value of mask.seat that puts a mask at each image.
const SeatBoth = "both"

// Seats are the seats of the mask that the spec allows in a layout, in the
// order in which they lie in the train. The one image of a keplerian counts as
// the rear seat.
func (s *Spec) Seats(l objective.Layout) []objective.Seat {
	switch {
	case l == objective.Keplerian || s.Mask.Seat == "rear":
		return []objective.Seat{objective.SeatRear}
	case s.Mask.Seat == "front":
		return []objective.Seat{objective.SeatFront}
	case s.Mask.Seat == SeatBoth:
		return []objective.Seat{objective.SeatBoth}
	}
	return []objective.Seat{objective.SeatFront, objective.SeatRear}
}

// Spaces are the layouts and seats that the spec asks for: those of the train that it
// gives, where it does.
func (s *Spec) Spaces() []objective.Space {
	if name, ok := s.Given(); ok {
		return []objective.Space{name.Space}
	}
	var spaces []objective.Space
	for _, layout := range s.Train.Layouts {
		for _, seat := range s.Seats(layout) {
			spaces = append(spaces, objective.Space{Layout: layout, Seat: seat})
		}
	}
	return spaces
}

// nearMissFactor is that of the problem: 0 where nothing is to be refined.
func (s *Spec) nearMissFactor() float64 {
	if s.Refine.Method == RefineNone {
		return 0
	}
	return s.Refine.NearMissFactor
}
