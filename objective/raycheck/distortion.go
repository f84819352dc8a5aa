package raycheck

import (
	"math"

	"relaysweep/objective"
)

// nearlyAxial is the tangent, over the largest one of a field, that stands for
// the axis in [Distortion].
const nearlyAxial = 1e-2

// Distortion is distortion_pct of a train, in %, at one half angle: 100·(Θ·u0/tan θ - 1)
// at the far depth and the reference wavelength, positive where the view is
// stretched. It is +Inf where more than half of the bundle is lost. fraction is the
// tangent of the angle over the largest one, above 0 and up to 1; 0 stands for a
// hundredth. On the axis itself nothing is distorted, and yet the limit need not be
// zero: coma moves the mean of a wide bundle.
func Distortion(p *objective.Problem, t *objective.Train, fraction float64) float64 {
	// A check judges samples up to a share of the field. With that share at the
	// first sample off the axis only this one is left, and it is put to the angle.
	at := *p
	at.TanMax = p.TanMax * math.Max(fraction, nearlyAxial) / FieldFractions[1]
	at.Limits.FieldFraction = FieldFractions[1]
	at.VergenceNear, at.DepthSteps = at.VergenceFar, 1
	return NewChecker(&at).Measure(t).Metrics.DistortionPct
}
