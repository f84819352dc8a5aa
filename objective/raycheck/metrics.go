package raycheck

import (
	"math"

	"relaysweep/objective"
)

// Metrics are what a ray check measures of a train. A metric that a bundle
// makes meaningless, because it loses more than half of its rays, is +Inf; one
// that a check did not come to is NaN, as are MassG and Price when they are
// unknown. [MetricList] has the name of each.
type Metrics struct {
	// MaskBlurArcmin is the RMS radius of the mask's blur at its best position for each depth,
	// largest over fields, depths and places of the pupil.
	MaskBlurArcmin float64
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
}

// Metric describes one of Metrics.
type Metric struct {
	Name string // the column's name
	of   func(*Metrics) *float64
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
)

// MetricList is every metric in the order in which limits apply to them.
var MetricList = []Metric{
	{"mask_blur_arcmin", func(m *Metrics) *float64 { return &m.MaskBlurArcmin }},
	{"view_defocus_D", func(m *Metrics) *float64 { return &m.ViewDefocusD }},
	{"view_astigmatism_D", func(m *Metrics) *float64 { return &m.ViewAstigmatismD }},
	{"view_blur_arcmin", func(m *Metrics) *float64 { return &m.ViewBlurArcmin }},
	{"view_refocus_D", func(m *Metrics) *float64 { return &m.ViewRefocusD }},
	{objective.AxisVergenceD, func(m *Metrics) *float64 { return &m.AxisVergenceD }},
	{"distortion_pct", func(m *Metrics) *float64 { return &m.DistortionPct }},
	{"lateral_colour_arcmin", func(m *Metrics) *float64 { return &m.LateralColourArcmin }},
	{"axial_colour_D", func(m *Metrics) *float64 { return &m.AxialColourD }},
	{"vignetted_pct", func(m *Metrics) *float64 { return &m.VignettedPct }},
	{"transmission", func(m *Metrics) *float64 { return &m.Transmission }},
	{"mass_g", func(m *Metrics) *float64 { return &m.MassG }},
	{"price", func(m *Metrics) *float64 { return &m.Price }},
}

// Value is a metric by name, false for an unknown name.
func (m *Metrics) Value(name string) (value float64, ok bool) {
	for i := range MetricList {
		if MetricList[i].Name == name {
			return *MetricList[i].of(m), true
		}
	}
	return math.NaN(), false
}

// reset makes every metric unknown.
func (m *Metrics) reset() {
	nan := math.NaN()
	*m = Metrics{nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan}
}

// maskSums are weighted sums over the rays of one bundle at one wavelength that
// give the variance of its crossings with the mask's layer anywhere: a crossing
// is (px + δ·sx, py + δ·sy) at a distance δ towards the world from the plane
// where p was taken. Odd sums in x vanish by symmetry unless the pupil is
// displaced sideways.
type maskSums struct {
	weight     float64 // of the rays that got through; 1 when all did
	px, sx     float64
	py, sy     float64
	pp, ps, ss float64 // Σ p·p, Σ p·s, Σ s·s over both coordinates
}

func (a *maskSums) add(b *maskSums, weight float64) {
	a.weight += float64(weight * b.weight)
	a.px += float64(weight * b.px)
	a.sx += float64(weight * b.sx)
	a.py += float64(weight * b.py)
	a.sy += float64(weight * b.sy)
	a.pp += float64(weight * b.pp)
	a.ps += float64(weight * b.ps)
	a.ss += float64(weight * b.ss)
}

// variance gives the coefficients of the two-dimensional variance about the
// centroid, pp + 2δ·ps + δ²·ss in mm².
func (a *maskSums) variance() (pp, ps, ss float64) {
	w := a.weight
	return (a.pp - float64(a.py*a.py/w) - float64(a.px*a.px/w)) / w,
		(a.ps - float64(a.py*a.sy/w) - float64(a.px*a.sx/w)) / w,
		(a.ss - float64(a.sy*a.sy/w) - float64(a.sx*a.sx/w)) / w
}

// viewSums are weighted sums over the rays of one bundle at one wavelength at
// the viewpoint plane: positions (x, y) and deviations (ex, ey) of slopes from
// those of rays to the right world point, e = u + (V/Θ²)·x, less the ideal
// chief slope. Odd sums in x vanish by symmetry unless the pupil is displaced
// sideways.
type viewSums struct {
	weight      float64
	x, ex       float64
	y, ey       float64
	xx, xe, exx float64 // Σ x·x, Σ x·ex, Σ ex·ex
	yy, ye, eyy float64 // likewise along y
}

func (a *viewSums) add(b *viewSums, weight float64) {
	a.weight += float64(weight * b.weight)
	a.x += float64(weight * b.x)
	a.ex += float64(weight * b.ex)
	a.y += float64(weight * b.y)
	a.ey += float64(weight * b.ey)
	a.xx += float64(weight * b.xx)
	a.xe += float64(weight * b.xe)
	a.exx += float64(weight * b.exx)
	a.yy += float64(weight * b.yy)
	a.ye += float64(weight * b.ye)
	a.eyy += float64(weight * b.eyy)
}

// fit is the least-squares fit u = u0 + W·x: the error matrix E = W + (V/Θ²)·I,
// in 1/mm, which is diagonal by symmetry with the pupil in the middle, and u0 along y less the ideal chief
// slope. A bundle that loses more than half of its rays has +Inf throughout.
func (a *viewSums) fit() (ex, ey, u0 float64) {
	if a.weight < halfLost {
		return math.Inf(1), math.Inf(1), math.Inf(1)
	}
	w := a.weight
	ex = a.xe / a.xx
	ey = (a.ye - float64(a.y*a.ey/w)) / (a.yy - float64(a.y*a.y/w))
	return ex, ey, (a.ey - float64(ey*a.y)) / w
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
	w := a.weight
	return (a.exx + a.eyy - float64(a.ey*a.ey/w) - float64(a.ex*a.ex/w)) / w,
		(a.xe + a.ye - float64(a.y*a.ey/w) - float64(a.x*a.ex/w)) / w,
		(a.xx + a.yy - float64(a.y*a.y/w) - float64(a.x*a.x/w)) / w
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
