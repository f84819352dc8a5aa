package thirdorder

import (
	"math"

	"relaysweep/objective"
)

// Screen tells trains whose estimates from below exceed limits by more than a factor. Of two
// masks it looks at that at image 1. It reuses its buffers: each goroutine needs its own.
type Screen struct {
	*Estimator
	most      [limits]float64
	factor    float64 // in most
	blurs     bool    // the view's blur is limited
	rest      bool    // any other of the view's metrics is
	blursMask bool    // the mask's blur is
	relief    float64
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

// screened are the metrics as the user limits them, and by how much estimates may stand above
// exact values in trains that rays let through: higher orders have the other sign in some. Divided
// by that they are estimates from below. DEVELOPERS.md tells what it was chosen from.
var screened = [limits]struct {
	name  string
	doubt float64
}{
	maskBlur:        {"mask_blur_arcmin", 1.2},
	viewDefocus:     {"view_defocus_D", 2.5},
	viewAstigmatism: {"view_astigmatism_D", 6},
	viewBlur:        {"view_blur_arcmin", 1.4},
	distortion:      {"distortion_pct", 10},
	lateralColour:   {"lateral_colour_arcmin", 10},
	axialColour:     {"axial_colour_D", 1.2},
}

// NewScreen prepares a screen that lets pass what is within the limits of p times a factor, at
// fields and with a slack as for [NewEstimator].
func NewScreen(p *objective.Problem, fractions []float64, refocusSlackD, factor float64) *Screen {
	s := &Screen{Estimator: NewEstimator(p, fractions, refocusSlackD), factor: factor}
	for i := range screened {
		s.most[i] = factor * screened[i].doubt * p.Limits.Limit(screened[i].name)
		switch limited := !math.IsInf(s.most[i], 1); limit(i) {
		case maskBlur:
			s.blursMask = limited
		case viewBlur:
			s.blurs = limited
		default:
			s.rest = s.rest || limited
		}
	}
	return s
}

// Take takes up a train, whose groups these are and whose eye relief plays no part.
func (s *Screen) Take(t *objective.Train, groups []*Group) {
	if s.blurs || s.rest {
		s.all.add(s.p, t, groups, 0)
		s.all.toEye(s.p, s.p.CombinerMM)
	}
	if s.blursMask {
		gaps := t.MaskGaps()
		s.near.add(s.p, t, groups, gaps[len(gaps)-1]+1)
		s.near.toEye(s.p, s.p.CombinerMM)
	}
	s.relief = s.p.CombinerMM
}

// Exceeds reports whether some estimate of the train that was taken up exceeds its limit by more
// than the factor at an eye relief, mm.
func (s *Screen) Exceeds(relief float64) bool {
	on := relief - s.relief
	s.relief = relief
	if s.blurs || s.rest {
		s.all.recede(on)
	}
	if s.blursMask {
		s.near.recede(on)
	}
	return (s.blurs || s.rest) && s.viewExceeds() || s.blursMask && s.maskExceeds()
}

// ends are the places in depths of the ends of the depth range, between which aberrations are
// hardly larger.
func (s *Screen) ends() [2]int { return [2]int{0, len(s.depths) - 1} }

func (s *Screen) viewExceeds() bool {
	size, way := s.viewed()
	blur := math.Abs(size) * tangent(s.most[viewBlur])
	blur *= blur
	for _, d := range s.ends() {
		v := s.depths[d]
		s.setView(v, size, way)
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

func (s *Screen) maskExceeds() bool {
	most := tangent(s.most[maskBlur])
	for _, d := range s.ends() {
		s.setMask(s.depths[d])
		if s.maskVariance(&s.wave) > float64(most*most) {
			return true
		}
	}
	return false
}

// tangent is that of an angle in arcmin, +Inf for one that no ray has.
func tangent(arcmin float64) float64 {
	if arcmin >= 90*60 {
		return math.Inf(1)
	}
	return math.Tan(arcmin * (math.Pi / (180 * 60)))
}
