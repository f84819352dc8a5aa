package raycheck

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// Metrics are what a ray check measures of a train. A metric that a bundle
// makes meaningless, because it loses more than half of its rays, is +Inf; one
// that a check did not come to is NaN, as are MassG and Price when they are
// unknown. [MetricList] has the name of each.
type Metrics struct {
	// MaskMetrics are those of the mask, of two of that at image 2; Second are those of the
	// other, NaN where there is none.
	MaskMetrics
	Second MaskMetrics
	// ViewDefocusD is the vergence error of the world, positive when it looks nearer than it
	// should: the one of largest magnitude over fields and depths.
	ViewDefocusD float64
	// ViewAstigmatismD is the cylinder of the world's vergence error, largest over fields and
	// depths.
	ViewAstigmatismD float64
	// ViewBlurArcmin is the RMS radius of the world's blur after the eye's best refocus, all
	// wavelengths, largest over fields, depths and places of the pupil.
	ViewBlurArcmin float64
	// ViewRefocusD is the largest magnitude of refocus that the eye needs for it.
	ViewRefocusD float64
	// AxisVergenceD is the vergence error of the world on the axis at the far depth.
	AxisVergenceD float64
	// DistortionPct is the distortion of the world at the far depth, the one of largest
	// magnitude over fields.
	DistortionPct float64
	// LateralColourArcmin is the spread of the chief direction over the wavelengths at the far
	// depth, largest over fields.
	LateralColourArcmin float64
	// AxialColourD is the spread of the vergence error on the axis over the wavelengths at the
	// far depth.
	AxialColourD float64
	// VignettedPct is the largest share of the pupil's area that is lost or vignetted at any
	// field, depth and place of the pupil in its box.
	VignettedPct float64
	// Transmission is the share of light that all surfaces and the mask let pass at the
	// reference wavelength.
	Transmission float64
	MassG        float64 // of the glass out to the full diameters
	Price        float64 // sum of the parts' prices
	// GrooveBlurArcmin is by how much light spreads to either side by diffraction at the zones of
	// surfaces with facets, largest over the depths, GrooveVisibleArcmin the angle of a pitch where
	// the eye can see the facets, largest over the surfaces; NaN without facets.
	GrooveBlurArcmin, GrooveVisibleArcmin float64
}

// MaskMetrics are the metrics of one mask.
type MaskMetrics struct {
	// MaskBlurArcmin is the RMS radius of the mask's blur at its best position for each depth,
	// largest over fields, depths and places of the pupil.
	MaskBlurArcmin float64
	// BlurMismatchPct is by how much the mask blurs more than an ideal point does when the eye
	// looks at another depth: the one of largest magnitude over fields and pairs of depths; NaN
	// with a single depth.
	BlurMismatchPct float64
	// GhostArcmin is by how much the first orders of the mask's pixel grid show a world at the
	// far depth beside itself, largest over the depths to which the mask is set.
	GhostArcmin float64
	// GhostPct is the share in % of the light through the mask that goes into these orders; NaN
	// where the fill of the pixels is not known.
	GhostPct float64
}

// mask are the metrics of mask k, in the order of [objective.Train.MaskGaps].
func (m *Metrics) mask(k int) *MaskMetrics {
	if k == 0 {
		return &m.MaskMetrics
	}
	return &m.Second
}

// maskBlur is where the blur of mask k is.
func (s *Sample) maskBlur(k int) *float64 {
	if k == 0 {
		return &s.MaskBlurArcmin
	}
	return &s.SecondBlurArcmin
}

// Metric describes one of Metrics.
type Metric struct {
	Name   string // the column's name, and that of the limit on it
	of     func(*Metrics) *float64
	sample func(*Sample) float64 // where a sample holds it; nil for one that is not sampled
	// ofMask is where each mask has it; nil for one that is not a mask's.
	ofMask func(*MaskMetrics) *float64
}

// values visits a metric of a train with a number of masks: that of each where it is a mask's.
func (m *Metric) values(of *Metrics, masks int) func(yield func(float64) bool) {
	return func(yield func(float64) bool) {
		if yield(*m.of(of)) && masks > 1 && m.ofMask != nil {
			yield(*m.ofMask(&of.Second))
		}
	}
}

// samples visits a metric likewise in a sample that holds it.
func (m *Metric) samples(of *Sample, masks int) func(yield func(float64) bool) {
	return func(yield func(float64) bool) {
		if yield(m.sample(of)) && masks > 1 && m.ofMask != nil {
			yield(of.SecondBlurArcmin)
		}
	}
}

// metricIndex is a metric's place in MetricList.
type metricIndex int

const (
	maskBlur metricIndex = iota
	viewDefocus
	viewAstigmatism
	viewBlur
	viewRefocus
	axisVergence
	distortion
	lateralColour
	axialColour
	vignetting
	transmission
	mass
	price
	blurMismatch
	ghost
	ghostShare
	grooveBlur
	grooveVisible
)

// MetricList is every metric in the order in which limits apply to them.
var MetricList = []Metric{
	maskBlur: {"mask_blur_arcmin", func(m *Metrics) *float64 { return &m.MaskBlurArcmin },
		func(s *Sample) float64 { return s.MaskBlurArcmin }, func(m *MaskMetrics) *float64 { return &m.MaskBlurArcmin }},
	viewDefocus: {"view_defocus_D", func(m *Metrics) *float64 { return &m.ViewDefocusD },
		func(s *Sample) float64 { return s.ViewDefocusD }, nil},
	viewAstigmatism: {"view_astigmatism_D", func(m *Metrics) *float64 { return &m.ViewAstigmatismD },
		func(s *Sample) float64 { return s.ViewAstigmatismD }, nil},
	viewBlur: {"view_blur_arcmin", func(m *Metrics) *float64 { return &m.ViewBlurArcmin },
		func(s *Sample) float64 { return s.ViewBlurArcmin }, nil},
	viewRefocus:   {"view_refocus_D", func(m *Metrics) *float64 { return &m.ViewRefocusD }, nil, nil},
	axisVergence:  {objective.AxisVergenceD, func(m *Metrics) *float64 { return &m.AxisVergenceD }, nil, nil},
	distortion:    {"distortion_pct", func(m *Metrics) *float64 { return &m.DistortionPct }, nil, nil},
	lateralColour: {"lateral_colour_arcmin", func(m *Metrics) *float64 { return &m.LateralColourArcmin }, nil, nil},
	axialColour:   {"axial_colour_D", func(m *Metrics) *float64 { return &m.AxialColourD }, nil, nil},
	vignetting:    {objective.VignettedPct, func(m *Metrics) *float64 { return &m.VignettedPct }, nil, nil},
	transmission:  {"transmission", func(m *Metrics) *float64 { return &m.Transmission }, nil, nil},
	mass:          {objective.MassG.String(), func(m *Metrics) *float64 { return &m.MassG }, nil, nil},
	price:         {objective.Price.String(), func(m *Metrics) *float64 { return &m.Price }, nil, nil},
	blurMismatch: {"blur_mismatch_pct", func(m *Metrics) *float64 { return &m.BlurMismatchPct }, nil,
		func(m *MaskMetrics) *float64 { return &m.BlurMismatchPct }},
	ghost: {"ghost_arcmin", func(m *Metrics) *float64 { return &m.GhostArcmin }, nil,
		func(m *MaskMetrics) *float64 { return &m.GhostArcmin }},
	ghostShare: {"ghost_pct", func(m *Metrics) *float64 { return &m.GhostPct }, nil,
		func(m *MaskMetrics) *float64 { return &m.GhostPct }},
	grooveBlur:    {"groove_blur_arcmin", func(m *Metrics) *float64 { return &m.GrooveBlurArcmin }, nil, nil},
	grooveVisible: {"groove_visible_arcmin", func(m *Metrics) *float64 { return &m.GrooveVisibleArcmin }, nil, nil},
}

// variesWithGaps reports whether a metric depends on gaps and eye relief: the others are the
// parts' alone, or the mask's.
func (m metricIndex) variesWithGaps() bool {
	return m <= vignetting || m == blurMismatch || m == ghost || m.ofFacets()
}

// ofFacets reports whether a metric is one of facets: a train without them keeps any limit on it.
func (m metricIndex) ofFacets() bool { return m == grooveBlur || m == grooveVisible }

// TransmissionMin is the name of the one limit from below, on transmission.
const TransmissionMin = "transmission_min"

// Value is a metric by name, of two masks' the one of larger magnitude, false for an unknown
// name.
func (m *Metrics) Value(name string) (value float64, ok bool) {
	for i := range MetricList {
		if MetricList[i].Name == name {
			value := *MetricList[i].of(m)
			if ofMask := MetricList[i].ofMask; ofMask != nil {
				value = larger(value, *ofMask(&m.Second))
			}
			return value, true
		}
	}
	return math.NaN(), false
}

// reset makes every metric unknown.
func (m *Metrics) reset() {
	for i := range MetricList {
		*MetricList[i].of(m) = math.NaN()
		if ofMask := MetricList[i].ofMask; ofMask != nil {
			*ofMask(&m.Second) = math.NaN()
		}
	}
}

// maskSums are weighted sums over the rays of one bundle at one wavelength that
// give the variance of its crossings with the mask's layer anywhere. The weight is that of
// the rays that got through, 1 when all did. Odd sums in x vanish by symmetry unless the
// pupil is displaced sideways.
type maskSums lanes.CrossingSums

// sumsOfMasks are such sums in the layers of the masks, in the order of [objective.Train.MaskGaps].
type sumsOfMasks [objective.MasksMost]maskSums

func (a *maskSums) add(b *maskSums, weight float64) {
	a.Weight += float64(weight * b.Weight)
	a.PX += float64(weight * b.PX)
	a.SX += float64(weight * b.SX)
	a.PY += float64(weight * b.PY)
	a.SY += float64(weight * b.SY)
	a.PP += float64(weight * b.PP)
	a.PS += float64(weight * b.PS)
	a.SS += float64(weight * b.SS)
}

// variance gives the coefficients of the two-dimensional variance about the
// centroid, pp + 2δ·ps + δ²·ss in mm².
func (a *maskSums) variance() (pp, ps, ss float64) {
	w := a.Weight
	return (a.PP - float64(a.PY*a.PY/w) - float64(a.PX*a.PX/w)) / w,
		(a.PS - float64(a.PY*a.SY/w) - float64(a.PX*a.SX/w)) / w,
		(a.SS - float64(a.SY*a.SY/w) - float64(a.SX*a.SX/w)) / w
}

// viewSums are weighted sums over the rays of one bundle at one wavelength at
// the viewpoint plane: positions (x, y) and deviations (ex, ey) of slopes from
// those of rays to the right world point, e = u + (V/Θ²)·x, less the ideal
// chief slope. Odd sums in x vanish by symmetry unless the pupil is displaced
// sideways.
type viewSums lanes.SlopeSums

func (a *viewSums) add(b *viewSums, weight float64) {
	a.Weight += float64(weight * b.Weight)
	a.X += float64(weight * b.X)
	a.EX += float64(weight * b.EX)
	a.Y += float64(weight * b.Y)
	a.EY += float64(weight * b.EY)
	a.XX += float64(weight * b.XX)
	a.XE += float64(weight * b.XE)
	a.EXX += float64(weight * b.EXX)
	a.YY += float64(weight * b.YY)
	a.YE += float64(weight * b.YE)
	a.EYY += float64(weight * b.EYY)
}

// fit is the least-squares fit u = u0 + W·x: the error matrix E = W + (V/Θ²)·I,
// in 1/mm, which is diagonal by symmetry with the pupil in the middle, and u0 along y less the ideal chief
// slope. A bundle that loses more than half of its rays has +Inf throughout.
func (a *viewSums) fit() (ex, ey, u0 float64) {
	if a.Weight < halfLost {
		return math.Inf(1), math.Inf(1), math.Inf(1)
	}
	w := a.Weight
	ex = a.XE / a.XX
	ey = (a.YE - float64(a.Y*a.EY/w)) / (a.YY - float64(a.Y*a.Y/w))
	return ex, ey, (a.EY - float64(ey*a.Y)) / w
}

// power is the vergence error in dioptres: half the trace of E, and its cylinder
// 2·sqrt(J0² + J45²) (L. N. Thibos, W. Wheeler, D. Horner, Optom. Vis. Sci. 74,
// 367, 1997), J45 being zero by symmetry.
func (a *viewSums) power() (defocus, cylinder float64) {
	ex, ey, _ := a.fit()
	if math.IsInf(ex, 1) {
		return ex, ex
	}
	return 1000 * (ex + ey) / 2, 1000 * math.Abs(ex-ey)
}

// chiefError is u0 less the ideal chief slope.
func (a *viewSums) chiefError() float64 {
	_, _, u0 := a.fit()
	return u0
}

// variance gives the coefficients of the two-dimensional variance of e - ρ·x
// about the centroid, ee - 2ρ·xe + ρ²·xx.
func (a *viewSums) variance() (ee, xe, xx float64) {
	w := a.Weight
	return (a.EXX + a.EYY - float64(a.EY*a.EY/w) - float64(a.EX*a.EX/w)) / w,
		(a.XE + a.YE - float64(a.Y*a.EY/w) - float64(a.X*a.EX/w)) / w,
		(a.XX + a.YY - float64(a.Y*a.Y/w) - float64(a.X*a.X/w)) / w
}

// arcmin is an angle of the given tangent, +Inf for an infinite one.
func arcmin(tangent float64) float64 {
	if math.IsInf(tangent, 0) {
		return tangent
	}
	return math.Atan(tangent) / objective.ArcminRad
}

// larger is whichever of two signed metrics has the larger magnitude, the
// first on ties.
func larger(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// spread is a running largest less smallest value; +Inf once any value is.
type spread struct{ lo, hi float64 }

func newSpread() spread { return spread{math.Inf(1), math.Inf(-1)} }

func (s *spread) add(x float64) {
	s.lo, s.hi = min(s.lo, x), max(s.hi, x)
}

func (s *spread) width() float64 {
	if math.IsInf(s.hi, 1) {
		return math.Inf(1)
	}
	return s.hi - s.lo
}

// Fresnel is the share of light that a bare surface between air and index n
// reflects at normal incidence: ((n-1)/(n+1))² (E. Hecht, Optics, section 4.6).
func Fresnel(n float64) float64 {
	r := (n - 1) / (n + 1)
	return r * r
}
