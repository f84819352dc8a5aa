package thirdorder

import (
	"math"

	"relaysweep/objective"
)

// Estimate is what third-order theory says of the metrics of a ray check, by the same names
// and with the same signs.
type Estimate struct {
	MaskBlurArcmin      float64
	ViewDefocusD        float64
	ViewAstigmatismD    float64
	ViewBlurArcmin      float64
	AxisVergenceD       float64
	DistortionPct       float64
	LateralColourArcmin float64
	AxialColourD        float64
}

// Estimator estimates the metrics of trains of one problem. It reuses its buffers: each goroutine
// needs its own.
type Estimator struct {
	p         *objective.Problem
	fields    []float64 // tangents, the axis first
	depths    []float64 // vergences, 1/mm
	weights   []float64 // of the wavelengths but the reference one
	places    []place   // of the pupil, the middle first
	pupil     disc
	all, near system // of the train, and of what stands between mask and eye
	wave      wave
	// refocusSlackD is by how much the bounds of the eye's refocus are widened.
	refocusSlackD float64
}

// place is where the middle of a pupil is, in mm along the field and across.
type place struct{ along, across float64 }

// NewEstimator prepares for p, which must not change afterwards, at fields given as fractions of
// the tangent of its largest half angle, of which the first is 0. The bounds of the eye's refocus
// are widened by refocusSlackD.
func NewEstimator(p *objective.Problem, fractions []float64, refocusSlackD float64) *Estimator {
	e := &Estimator{p: p, pupil: discOf(p.Pupil / 2), refocusSlackD: refocusSlackD}
	for _, f := range fractions {
		e.fields = append(e.fields, f*p.TanMax)
	}
	for i := range max(p.DepthSteps, 1) {
		e.depths = append(e.depths, p.Depth(i))
	}
	total := 0.0
	for _, w := range p.Weights {
		total += w
	}
	for i, w := range p.Weights {
		if i != p.Reference() {
			e.weights = append(e.weights, w/total)
		}
	}
	e.places = []place{{}}
	if h := p.SharpBox / 2; h > 0 {
		// To the side is like to the other side.
		e.places = append(e.places, place{h, 0}, place{-h, 0}, place{0, h})
	}
	return e
}

// Estimate estimates the metrics of a train, whose groups these are.
func (e *Estimator) Estimate(t *objective.Train, groups []*Group) Estimate {
	var m Estimate
	e.near.add(e.p, t, groups, t.MaskGap()+1)
	e.near.toEye(e.p, t.EyeRelief)
	for _, v := range e.depths {
		e.setMask(v)
		m.MaskBlurArcmin = max(m.MaskBlurArcmin, arcmin(math.Sqrt(e.maskVariance(&e.wave))))
	}
	e.all.add(e.p, t, groups, 0)
	e.all.toEye(e.p, t.EyeRelief)
	size, way := e.viewed()
	for d, v := range e.depths {
		e.setView(v, size, way)
		view := e.viewEstimate(d, size)
		m.ViewDefocusD = larger(m.ViewDefocusD, view.ViewDefocusD)
		m.ViewAstigmatismD = max(m.ViewAstigmatismD, view.ViewAstigmatismD)
		if d == 0 {
			view.MaskBlurArcmin, view.ViewDefocusD, view.ViewAstigmatismD = m.MaskBlurArcmin, m.ViewDefocusD, m.ViewAstigmatismD
			m = view
		}
		for _, field := range e.fields {
			for _, at := range e.places {
				variance := e.viewVariance(&e.wave, v, field, at)
				m.ViewBlurArcmin = max(m.ViewBlurArcmin, arcmin(math.Sqrt(variance)/math.Abs(size)))
			}
		}
	}
	return m
}

// viewEstimate is what e.wave says of the view at depth d but for its blur; what is asked of the
// far depth alone is 0 at others.
func (e *Estimator) viewEstimate(d int, size float64) (m Estimate) {
	w, squared := &e.wave, float64(size*size)
	nu2 := 0.0
	for _, field := range e.fields {
		s := w.at(0, 0, field)
		m.ViewDefocusD = larger(m.ViewDefocusD, -1000*s.slope(&e.pupil)/squared)
		nu2 = max(nu2, s.nu2)
	}
	m.ViewAstigmatismD = 2000 * math.Sqrt(nu2) / squared
	if d > 0 {
		return m
	}
	axis := w.at(0, 0, 0)
	m.AxisVergenceD = -1000 * axis.slope(&e.pupil) / squared
	var axial, lateral spread
	for _, c := range w.chromatic {
		axial.add(c.axial)
		lateral.add(c.lateral)
	}
	outermost := e.fields[len(e.fields)-1]
	m.AxialColourD = 1000 * axial.width() / squared
	m.LateralColourArcmin = arcmin(lateral.width() * outermost / math.Abs(size))
	for _, field := range e.fields[1:] {
		m.DistortionPct = larger(m.DistortionPct, -400*(float64(w.a[3]*field*field)+float64(w.a[1]*2*e.pupil.half)))
	}
	return m
}

// viewed is how the world looks through e.all: Θ, and the coefficient of p⁴ of the way on to the
// viewpoint.
func (e *Estimator) viewed() (size, way float64) {
	w := &e.all.passage
	size = 1 / w.c.p
	// The viewpoint is where the rays from the middle of the eye meet. The way in air is that from
	// the first vertex.
	return size, (-float64(w.c.y*size) - e.all.world) / 8
}

// setView makes e.wave the view's aberration at a vergence, in slopes at the eye: those in the
// world are -1/Θ of them.
func (e *Estimator) setView(vergence, size, way float64) {
	e.wave.set(&e.all, vergence, (1-1/(size*size))/2, way, e.weights)
	// What is left of the vergence of an afocal train.
	e.wave.linear = -size * e.all.passage.m.p
}

// setMask makes e.wave the mask's aberration at a vergence, in slopes at the eye: crossings are
// off by -a times these, with a the chief height of unit slope.
func (e *Estimator) setMask(vergence float64) {
	w := &e.near.passage
	y, p := w.m.y-float64(vergence*w.c.y), w.m.p-float64(vergence*w.c.p)
	glass, n := e.p.MaskGlass/2, e.p.MaskGlassIndex
	reduced := -y/p - e.near.world
	e.wave.set(&e.near, vergence, 0.5, fourthOf(reduced-glass/n, glass, n), e.weights)
}

// maskVariance is the largest variance over fields and places of the pupil, with the mask
// where the variance is least in the mean of the fields.
func (e *Estimator) maskVariance(w *wave) (most float64) {
	mean := 0.0
	for _, field := range e.fields {
		s := w.at(0, 0, field)
		mean += s.slope(&e.pupil) + w.meanColour
	}
	mean /= float64(len(e.fields))
	for _, field := range e.fields {
		for _, at := range e.places {
			s := w.at(at.along, at.across, field)
			most = max(most, s.variance(&e.pupil, s.slope(&e.pupil)+w.meanColour-mean))
		}
	}
	return most
}

// viewVariance is the variance of the slopes at a field and a place of the pupil after the eye's
// best refocus within its bounds.
func (e *Estimator) viewVariance(w *wave, vergence, field float64, at place) float64 {
	s := w.at(at.along, at.across, field)
	slope := 1000 * (s.slope(&e.pupil) + w.meanColour)
	relaxed := -1000 * vergence
	refocus := min(max(-slope, relaxed-e.refocusSlackD), relaxed+e.p.AccommodationD+e.refocusSlackD)
	most := e.p.RefocusMaxD + e.refocusSlackD
	refocus = min(max(refocus, -most), most)
	return s.variance(&e.pupil, (slope+refocus)/1000)
}

// spread is the largest less the smallest value, of which one is 0.
type spread struct{ lo, hi float64 }

func (s *spread) add(x float64) { s.lo, s.hi = min(s.lo, x), max(s.hi, x) }

func (s *spread) width() float64 { return s.hi - s.lo }

// larger is whichever of two signed metrics has the larger magnitude, the first on ties.
func larger(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// arcmin is an angle of the given tangent.
func arcmin(tangent float64) float64 { return math.Atan(tangent) * (180 * 60 / math.Pi) }
