package objective

import "math"

// Description is what the paraxial model says of a solved train. Lengths in
// mm, physical.
type Description struct {
	Length, LengthToEye, EyeRelief float64
	ViewpointShift                 float64
	AngularMagnification           float64
	LensesCount, DistinctParts     int
	Price, MassG                   float64 // catalog.Unset when not known
	FocalFront, FocalRear          float64
	FocalRelay                     float64 // NaN without a relay
	FieldMaxDeg                    float64 // full angle
	// MaskDescription is that of the mask, of two of that at image 2; Second is the other.
	MaskDescription
	Second *MaskDescription
}

// MaskDescription is what the paraxial model says of one mask.
type MaskDescription struct {
	Travel             float64 // of the paraxial setpoints
	DepthStepD         float64 // largest over the depth range
	PixelArcmin        float64 // likewise
	MaskScaleChangePct float64
	// Setpoints, from far to near, one a depth sample.
	Setpoints []ParaxialSetpoint
}

// ParaxialSetpoint is the mask's paraxial place for one depth.
type ParaxialSetpoint struct {
	VergenceD   float64
	MaskMM      float64 // from the last vertex before the mask to the layer
	PixelArcmin float64
}

// Describe computes the description of a train at its gaps and eye relief.
func (p *Problem) Describe(t *Train) Description {
	d := Description{
		Length: t.Length, LengthToEye: t.Length + t.EyeRelief, EyeRelief: t.EyeRelief,
		ViewpointShift:       p.ViewpointShift(t),
		AngularMagnification: t.AngularMagnification,
		FocalFront:           t.Groups[0].FocalMM,
		FocalRear:            t.Groups[len(t.Groups)-1].FocalMM,
		FocalRelay:           math.NaN(),
		FieldMaxDeg:          2 * math.Atan(p.FieldTan(t)) * 180 / math.Pi,
	}
	d.Price, _ = t.Price()
	d.MassG, _ = t.MassG()
	if relay, ok := p.Relay(t); ok {
		d.FocalRelay = relay.FocalMM
	}
	n := countParts(t.Groups)
	d.LensesCount, d.DistinctParts = n.lenses, n.distinct
	gaps := t.MaskGaps()
	d.MaskDescription = p.describeMask(t, gaps[0])
	for _, gap := range gaps[1:] {
		second := p.describeMask(t, gap)
		d.Second = &second
	}
	return d
}

// describeMask describes the mask in a gap.
func (p *Problem) describeMask(t *Train, gap int) (d MaskDescription) {
	for i := range p.DepthSteps {
		v := p.Depth(i)
		position, chief := p.PlaceMask(t, gap, v)
		s := ParaxialSetpoint{1000 * v, position, math.Atan(p.MaskPixel/math.Abs(chief)) / ArcminRad}
		d.Setpoints = append(d.Setpoints, s)
		d.PixelArcmin = math.Max(d.PixelArcmin, s.PixelArcmin)
		d.DepthStepD = math.Max(d.DepthStepD, p.DepthStep(t, gap, v))
	}
	far, near := d.Setpoints[0], d.Setpoints[len(d.Setpoints)-1]
	d.Travel = math.Abs(near.MaskMM - far.MaskMM)
	_, chiefFar := p.PlaceMask(t, gap, p.VergenceFar)
	_, chiefNear := p.PlaceMask(t, gap, p.VergenceNear)
	d.MaskScaleChangePct = 100 * (math.Abs(chiefNear/chiefFar) - 1)
	return d
}

// DepthStep is the stage's resolution in dioptres at a vergence, for the mask in a
// gap: with N the matrix from the first vertex behind that gap to the eye, the layer
// stands x = (V·B - D)/(C - V·A) before that vertex, so that
// dx/dV = (B·C - A·D)/(C - V·A)² = -1/(C - V·A)².
func (p *Problem) DepthStep(t *Train, gap int, vergence float64) float64 {
	m := p.maskToEye(t, gap)
	w := m.C - float64(vergence*m.A)
	return 1000 * p.StageResolution * w * w
}
