package thirdorder

import (
	"math"

	"relaysweep/objective"
)

// Screen tells trains whose estimates exceed limits by more than a factor. It reuses its buffers:
// each goroutine needs its own.
type Screen struct {
	*Estimator
	fromVertex system // the train up to its last vertex
	most       [limits]float64
	blurs      bool // the view's blur is limited
	rest       bool // any other of the view's metrics is
}

// limit is a metric that is screened.
type limit int

const (
	maskBlur limit = iota
	viewDefocus
	viewAstigmatism
	viewBlur
	distortion
	lateralColour
	axialColour
	limits
)

// limitNames are the metrics as the user limits them.
var limitNames = [limits]string{
	"mask_blur_arcmin", "view_defocus_D", "view_astigmatism_D", "view_blur_arcmin",
	"distortion_pct", "lateral_colour_arcmin", "axial_colour_D",
}

// NewScreen prepares a screen that lets pass what is within the limits of p times a factor, at
// fields and with a slack as for [NewEstimator].
func NewScreen(p *objective.Problem, fractions []float64, refocusSlackD, factor float64) *Screen {
	s := &Screen{Estimator: NewEstimator(p, fractions, refocusSlackD)}
	for i, name := range limitNames {
		s.most[i] = factor * p.Limits.Limit(name)
		if limited := !math.IsInf(s.most[i], 1); limited && limit(i) == viewBlur {
			s.blurs = true
		} else if limited && limit(i) != maskBlur {
			s.rest = true
		}
	}
	return s
}

// Exceeds reports whether some estimate of a train exceeds its limit by more than the factor at every
// eye relief at which it would be screened by rays.
func (s *Screen) Exceeds(t *objective.Train, groups []*Group) bool {
	if s.blurs || s.rest {
		s.fromVertex.add(s.p, t, groups, 0)
	}
	return t.AtEveryScreen(func(relief float64) bool {
		return (s.blurs || s.rest) && s.viewExceeds(relief) || s.maskExceeds(t, groups, relief)
	})
}

func (s *Screen) viewExceeds(relief float64) bool {
	s.all.copy(&s.fromVertex)
	s.all.cross(relief, s.p.CombinerMM, s.p.CombinerIndex)
	size := s.toViewpoint()
	blur := math.Abs(size) * tangent(s.most[viewBlur])
	blur *= blur
	for d, v := range s.depths {
		s.setView(v, size)
		if s.blurs {
			for f := len(s.fields) - 1; f >= 0; f-- {
				for i := len(s.places) - 1; i >= 0; i-- {
					if s.viewVariance(&s.wave, v, s.fields[f], s.places[i]) > blur {
						return true
					}
				}
			}
		}
		if s.rest && s.restExceeds(d, size) {
			return true
		}
	}
	return false
}

// restExceeds reports whether another of the view's metrics exceeds its limit at depth d.
func (s *Screen) restExceeds(d int, size float64) bool {
	m := s.viewEstimate(d, size)
	return math.Abs(m.ViewDefocusD) > s.most[viewDefocus] || m.ViewAstigmatismD > s.most[viewAstigmatism] ||
		math.Abs(m.DistortionPct) > s.most[distortion] || m.LateralColourArcmin > s.most[lateralColour] ||
		m.AxialColourD > s.most[axialColour]
}

func (s *Screen) maskExceeds(t *objective.Train, groups []*Group, relief float64) bool {
	if math.IsInf(s.most[maskBlur], 1) {
		return false
	}
	s.near.add(s.p, t, groups, t.MaskGap()+1)
	s.near.cross(relief, s.p.CombinerMM, s.p.CombinerIndex)
	most := tangent(s.most[maskBlur])
	for d := range s.depths {
		s.setMask(d)
		if s.maskVariance(&s.mask[d]) > float64(most*most) {
			return true
		}
	}
	return false
}

// tangent is that of an angle in arcmin, which may be infinite.
func tangent(arcmin float64) float64 {
	if math.IsInf(arcmin, 1) {
		return arcmin
	}
	return math.Tan(arcmin * (math.Pi / (180 * 60)))
}
