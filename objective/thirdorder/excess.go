package thirdorder

import "math"

// excessMost bounds what a single limit adds to an excess.
const excessMost = 5.0

// Excess is the sum over all limits of the logarithms of the estimates from below over what is
// allowed, of those that exceed it, for the train that was taken up, at the eye relief that
// [Screen.Exceeds] was last asked about. Where a train exceeds a limit by more than the factor it
// is more than the factor's logarithm.
func (s *Screen) Excess() float64 {
	var largest [limits]float64
	raise := func(of limit, value float64) {
		if value = math.Abs(value); !(value <= largest[of]) {
			largest[of] = value
		}
	}
	if s.blurs || s.rest {
		size, way := s.viewed()
		for _, d := range s.ends() {
			v := s.depths[d]
			s.setView(v, size, way)
			for _, field := range s.fields {
				for _, at := range s.places {
					raise(viewBlur, arcmin(math.Sqrt(s.viewVariance(&s.wave, v, field, at))/math.Abs(size)))
				}
			}
			m := s.viewEstimate(d, size)
			raise(viewDefocus, m.ViewDefocusD)
			raise(viewAstigmatism, m.ViewAstigmatismD)
			raise(distortion, m.DistortionPct)
			raise(lateralColour, m.LateralColourArcmin)
			raise(axialColour, m.AxialColourD)
		}
	}
	if s.blursMask {
		for _, d := range s.ends() {
			s.setMask(s.depths[d])
			raise(maskBlur, arcmin(math.Sqrt(s.maskVariance(&s.wave))))
		}
	}
	sum := 0.0
	for i, value := range largest {
		allowed := s.most[i] / s.factor
		switch {
		case value <= allowed:
		case value < math.Inf(1):
			sum += min(math.Log(value/allowed), excessMost)
		default:
			sum += excessMost
		}
	}
	return sum
}
