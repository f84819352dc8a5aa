package thirdorder

import "math"

// excessMost bounds what a single limit adds to an excess.
const excessMost = 5.0

// Excess tells how far the train that was taken up is beyond its limits, at the eye relief that
// [Screen.Exceeds] was last asked about: the sum over all limits of the logarithms of the estimates
// from below over what is allowed, of those that exceed it, and the largest of these
// logarithms.
func (s *Screen) Excess() (sum, largest float64) {
	values := s.largest()
	for i, value := range values {
		allowed := s.most[i] / s.factor
		if value <= allowed {
			continue
		}
		over := excessMost
		if value < math.Inf(1) {
			over = min(math.Log(value/allowed), excessMost)
		}
		sum, largest = sum+over, max(largest, over)
	}
	return sum, largest
}

// largest are the largest magnitudes of the estimates of what is limited.
func (s *Screen) largest() (of [limits]float64) {
	raise := func(i limit, value float64) {
		if value = math.Abs(value); value > of[i] { // what is not known exceeds nothing
			of[i] = value
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
	return of
}
