package objective

import (
	"math"

	"relaysweep/catalog"
)

// fieldFractions are the field samples of a ray check, as fractions of the
// tangent of the largest half angle.
var fieldFractions = [...]float64{0, 0.5, 0.7, 1}

const (
	// requirementSlack is the relative excess over a requirement that counts as
	// rounding: a paraxial solution may stand exactly at the requirement.
	requirementSlack = 1e-9
	// certainMargin is the squared cosine (of 72°) that every angle of
	// incidence and refraction must reach before a check takes for granted that
	// no ray is lost between those that it traced: none nearer to the pupil's
	// rim, and none of another wavelength beyond the mask. Dispersion changes
	// angles by some hundredths and the step to the rim by a few degrees.
	certainMargin = 0.1
	// halfLost is the least share of a bundle that must get through for its
	// metrics to mean anything: half, less the rounding of a sum of weights.
	halfLost = 0.5 - 1e-9
)

// Report is the outcome of a ray check. It belongs to the Checker and stands
// until its next check; Clone keeps one.
type Report struct {
	// FailedBy is empty when the train passes, else the first requirement or
	// limit that it fails: travel, clearance and mask_size at the exact
	// setpoints, then the limits by their names in the order of MetricList
	// (transmission_min for the one on transmission).
	FailedBy string
	Metrics  Metrics
	// TravelMM is the largest less the smallest exact setpoint.
	TravelMM  float64
	Setpoints []Setpoint // one a depth sample, from far to near
	Samples   []Sample   // by field, then by depth from far to near
}

// Clone is a copy that later checks don't change.
func (r *Report) Clone() *Report {
	c := *r
	c.Setpoints = append([]Setpoint(nil), r.Setpoints...)
	c.Samples = append([]Sample(nil), r.Samples...)
	return &c
}

// Setpoint is the mask's position for one depth. Positions are physical, in mm
// from the last vertex before the mask to the modulating layer. Blurs are the
// largest over the fields up to the limits' field fraction.
type Setpoint struct {
	VergenceD      float64 // apparent
	MaskMM         float64 // least blur by exact rays
	MaskParaxialMM float64
	MaskBlurArcmin float64
	ViewBlurArcmin float64
	PixelArcmin    float64 // angle of a mask pixel at MaskParaxialMM
}

// Sample is what was measured at one field and depth, fields beyond the limits'
// field fraction included.
type Sample struct {
	FieldFraction    float64 // of the tangent of the largest half angle
	VergenceD        float64 // apparent
	MaskBlurArcmin   float64
	ViewBlurArcmin   float64
	ViewDefocusD     float64
	ViewAstigmatismD float64
}

// Checker checks trains for one problem by exact ray tracing. It reuses its
// buffers: each goroutine needs its own.
type Checker struct {
	p         *Problem
	reference int       // wavelength
	weight    []float64 // of the wavelengths; they add up to 1
	used      int       // field samples that sharpness metrics look at
	depths    []float64 // apparent vergences, 1/mm
	bundles   []bundle  // by field, then depth
	launch    rays      // all bundles at the eye
	fill      []float64 // the pupil weights that go with launch
	dense     pupil     // replaces the quadrature where rays are lost
	denseRays rays
	// denseAtMask are the dense rays on their way, before the mask's gap.
	denseAtMask rays
	through     []float64 // weights of the dense rays that got through
	rim         rimBuffers
	indices     map[*catalog.Glass][]float64 // by wavelength

	// The train in hand.
	t          *Train
	steps      []step
	beyondMask int
	ratios     [][]float64 // by wavelength, then step
	blocks     []rays      // all bundles, by wavelength
	margin     float64     // as for [rays.through], over all that was traced
	viewpoint  float64     // distance from the first vertex towards the world
	layer      []float64   // paraxial distance from the first vertex behind the mask to the layer, by depth
	chief      []float64   // paraxial height in it for unit slope towards the world, by depth
	report     Report
}

// bundle is one field and depth sample.
type bundle struct {
	field, depth int
	tan          float64 // of the field angle
	from, to     int     // its rays in a block
	mask         []maskSums
	view         []viewSums // by wavelength, as mask
	maskAll      maskSums
	lossy        bool // some ray of it is lost
	refilled     bool // and its sums come from the dense filling
}

// NewChecker prepares checks for p, which must not change afterwards.
func NewChecker(p *Problem) *Checker { return newChecker(p, pupilRings, pupilHalfArms) }

// newChecker fills the pupil with that many rings and half arms.
func newChecker(p *Problem, rings, halfArms int) *Checker {
	c := &Checker{p: p, reference: p.Reference(), indices: map[*catalog.Glass][]float64{}}
	var total float64
	for _, w := range p.Weights {
		total += w
	}
	for _, w := range p.Weights {
		c.weight = append(c.weight, w/total)
	}
	for i := range max(p.DepthSteps, 1) {
		c.depths = append(c.depths, p.Depth(i))
	}
	radius := p.Pupil / 2
	axial, oblique := gaussPupil(radius, rings, axialHalfArms), gaussPupil(radius, rings, halfArms)
	var n int
	for f, fraction := range fieldFractions {
		fill := &oblique
		if fraction == 0 {
			fill = &axial
		}
		if fraction <= p.Limits.FieldFraction {
			c.used = f + 1
		}
		for d := range c.depths {
			c.bundles = append(c.bundles, bundle{
				field: f, depth: d, tan: fraction * p.TanMax, from: n, to: n + len(fill.x),
				mask: make([]maskSums, len(c.weight)), view: make([]viewSums, len(c.weight)),
			})
			c.fill = append(c.fill, fill.weight...)
			n += len(fill.x)
		}
	}
	c.launch = newRays(n)
	for _, b := range c.bundles {
		fill := &oblique
		if b.field == 0 {
			fill = &axial
		}
		for i := range fill.x {
			c.launch.launch(b.from+i, fill.x[i], fill.y[i], b.tan, c.depths[b.depth])
		}
	}
	for range c.weight {
		c.blocks = append(c.blocks, newRays(n))
	}
	c.ratios = make([][]float64, len(c.weight))
	c.dense = densePupil(radius, densePupilCells)
	c.denseRays, c.denseAtMask = newRays(len(c.dense.x)), newRays(len(c.dense.x))
	c.through = make([]float64, len(c.dense.x))
	c.layer = make([]float64, len(c.depths))
	c.chief = make([]float64, len(c.depths))
	c.report.Setpoints = make([]Setpoint, len(c.depths))
	c.report.Samples = make([]Sample, len(c.bundles))
	c.rim = newRimBuffers()
	return c
}

// Check traces t until the first requirement or limit that it fails. What it
// did not come to is NaN in the report.
func (c *Checker) Check(t *Train) *Report { return c.run(t, true) }

// Measure traces t for everything, whatever fails. FailedBy is the same as
// from Check.
func (c *Checker) Measure(t *Train) *Report { return c.run(t, false) }

// run goes through requirements and limits in their order, and traces only
// what the next of them needs. A stage tells whether to go on.
func (c *Checker) run(t *Train, stop bool) *Report {
	c.prepare(t)
	traced := !c.traceFirst() || !stop
	if traced {
		c.traceRest()
	}
	for {
		c.report.FailedBy = ""
		c.refill()
		if c.judgeMask(stop) || c.judgeDefocus(stop) {
			return &c.report
		}
		if traced || !c.traceRest() {
			break
		}
		traced = true // rays were lost against expectation: judge again
	}
	if c.judgeView(stop) || c.judgeVignetting(stop) {
		return &c.report
	}
	m := &c.report.Metrics
	m.Transmission = c.transmission()
	if !(m.Transmission >= c.p.Limits.TransmissionMin) {
		c.fail("transmission_min")
	}
	return &c.report
}

// prepare lays out t and clears the report.
func (c *Checker) prepare(t *Train) {
	p := c.p
	c.t = t
	c.steps, c.beyondMask = p.steps(t, c.steps)
	for w := range c.ratios {
		c.ratios[w] = indexRatios(t, func(g *catalog.Glass) float64 { return c.indicesOf(g)[w] }, c.ratios[w])
	}
	c.viewpoint = -p.Viewpoint(t)
	r := &c.report
	r.FailedBy, r.TravelMM = "", math.NaN()
	r.Metrics.reset()
	if g, known := t.MassG(); known {
		r.Metrics.MassG = g
	}
	if price, known := t.Price(); known {
		r.Metrics.Price = price
	}
	nan := math.NaN()
	for d, v := range c.depths {
		position, chief := p.PlaceMask(t, v)
		c.layer[d] = t.Gaps[t.MaskGap()] - position
		c.chief[d] = -chief
		r.Setpoints[d] = Setpoint{
			VergenceD: 1000 * v, MaskMM: nan, MaskParaxialMM: position,
			MaskBlurArcmin: nan, ViewBlurArcmin: nan, PixelArcmin: arcmin(p.MaskPixel / math.Abs(chief)),
		}
	}
	for i := range c.bundles {
		b := &c.bundles[i]
		b.lossy, b.refilled = false, false
		r.Samples[i] = Sample{
			FieldFraction: fieldFractions[b.field], VergenceD: 1000 * c.depths[b.depth],
			MaskBlurArcmin: nan, ViewBlurArcmin: nan, ViewDefocusD: nan, ViewAstigmatismD: nan,
		}
	}
}

// indicesOf is the index of g at every wavelength.
func (c *Checker) indicesOf(g *catalog.Glass) []float64 {
	n, ok := c.indices[g]
	if !ok {
		for _, w := range c.p.WavelengthsNM {
			n = append(n, g.Index(w))
		}
		c.indices[g] = n
	}
	return n
}

// fail records the first requirement or limit that fails.
func (c *Checker) fail(name string) {
	if c.report.FailedBy == "" {
		c.report.FailedBy = name
	}
}

// limit judges a metric's magnitude against the limit of its name.
func (c *Checker) limit(name string, value float64) {
	if !(math.Abs(value) <= c.p.Limits.Limit(name)) {
		c.fail(name)
	}
}

// over tells whether a stage that stops at the first failure is done.
func (c *Checker) over(stop bool) bool { return stop && c.report.FailedBy != "" }

// judgeMask places the mask for each depth by exact rays, and judges the
// requirements on it and its blur.
func (c *Checker) judgeMask(stop bool) (done bool) {
	p, r := c.p, &c.report
	travel := newSpread()
	for d := range c.depths {
		s := &r.Setpoints[d]
		s.MaskMM = s.MaskParaxialMM - c.sharpest(d)
		travel.add(s.MaskMM)
	}
	r.TravelMM = travel.width()
	if r.TravelMM > p.Travel*(1+requirementSlack) {
		c.fail("travel")
		if stop {
			return true
		}
	}
	lo, hi := p.MaskRoom(c.t)
	slack := requirementSlack * c.t.Gaps[c.t.MaskGap()]
	if travel.lo < lo-slack || travel.hi > hi+slack {
		c.fail("clearance")
		if stop {
			return true
		}
	}
	r.Metrics.MaskBlurArcmin = 0
	for d := range c.depths {
		s := &r.Setpoints[d]
		chief := math.Abs(p.ChiefAtMask(c.t, s.MaskMM))
		if 2*chief*p.TanHalfWidth > p.MaskWidth*(1+requirementSlack) ||
			2*chief*p.TanHalfHeight > p.MaskHeight*(1+requirementSlack) {
			c.fail("mask_size")
		}
		c.blurMask(d, s, math.Abs(c.chief[d]))
		r.Metrics.MaskBlurArcmin = max(r.Metrics.MaskBlurArcmin, s.MaskBlurArcmin)
	}
	c.limit("mask_blur_arcmin", r.Metrics.MaskBlurArcmin)
	return c.over(stop)
}

// sharpest is how far beyond the paraxial layer, towards the world, the plane
// lies that minimises the mean variance of depth d over the fields in use; 0
// when no field can tell.
func (c *Checker) sharpest(d int) float64 {
	var sumPS, sumSS float64
	for i := range c.bundles[:c.used*len(c.depths)] {
		b := &c.bundles[i]
		if b.depth != d || b.maskAll.weight < halfLost {
			continue
		}
		_, ps, ss := b.maskAll.variance()
		sumPS += ps
		sumSS += ss
	}
	if !(sumSS > 0) {
		return 0
	}
	return -sumPS / sumSS
}

// blurMask measures the mask's blur at setpoint s of depth d, where the chief
// ray of unit slope has the given height.
func (c *Checker) blurMask(d int, s *Setpoint, chief float64) {
	shift := s.MaskParaxialMM - s.MaskMM
	s.MaskBlurArcmin = 0
	for i := range c.bundles {
		b := &c.bundles[i]
		if b.depth != d {
			continue
		}
		blur := math.Inf(1)
		if b.maskAll.weight >= halfLost {
			pp, ps, ss := b.maskAll.variance()
			variance := pp + float64(2*shift*ps) + float64(shift*shift*ss)
			blur = arcmin(math.Sqrt(max(variance, 0)) / chief)
		}
		c.report.Samples[i].MaskBlurArcmin = blur
		if b.field < c.used {
			s.MaskBlurArcmin = max(s.MaskBlurArcmin, blur)
		}
	}
}

// judgeDefocus measures the world's vergence error at the reference wavelength.
func (c *Checker) judgeDefocus(stop bool) (done bool) {
	m := &c.report.Metrics
	m.ViewDefocusD, m.ViewAstigmatismD = 0, 0
	for i := range c.bundles {
		b, s := &c.bundles[i], &c.report.Samples[i]
		v := &b.view[c.reference]
		s.ViewDefocusD, s.ViewAstigmatismD = v.defocus(), v.cylinder()
		if b.field < c.used {
			m.ViewDefocusD = larger(m.ViewDefocusD, s.ViewDefocusD)
			m.ViewAstigmatismD = max(m.ViewAstigmatismD, s.ViewAstigmatismD)
		}
	}
	c.limit("view_defocus_D", m.ViewDefocusD)
	c.limit("view_astigmatism_D", m.ViewAstigmatismD)
	return c.over(stop)
}

// judgeView measures what is left of the world's sharpness and colour.
func (c *Checker) judgeView(stop bool) (done bool) {
	m := &c.report.Metrics
	m.ViewBlurArcmin, m.ViewRefocusD = 0, 0
	for d := range c.depths {
		c.report.Setpoints[d].ViewBlurArcmin = 0
	}
	for i := range c.bundles {
		b := &c.bundles[i]
		blur, refocus := c.refocused(b)
		c.report.Samples[i].ViewBlurArcmin = blur
		if b.field < c.used {
			m.ViewBlurArcmin = max(m.ViewBlurArcmin, blur)
			m.ViewRefocusD = max(m.ViewRefocusD, math.Abs(refocus))
			s := &c.report.Setpoints[b.depth]
			s.ViewBlurArcmin = max(s.ViewBlurArcmin, blur)
		}
	}
	c.limit("view_blur_arcmin", m.ViewBlurArcmin)
	c.limit("view_refocus_D", m.ViewRefocusD)

	m.AxisVergenceD = c.report.Samples[0].ViewDefocusD
	c.limit("axis_vergence_D", m.AxisVergenceD)
	m.DistortionPct, m.LateralColourArcmin = 0, 0
	for i := range c.bundles[:c.used*len(c.depths)] {
		b := &c.bundles[i]
		if b.depth != 0 || b.field == 0 {
			continue
		}
		m.DistortionPct = larger(m.DistortionPct, 100*c.t.AngularMagnification*b.view[c.reference].chiefError()/b.tan)
		colour := newSpread()
		for w := range b.view {
			colour.add(b.view[w].chiefError())
		}
		m.LateralColourArcmin = max(m.LateralColourArcmin, arcmin(colour.width()))
	}
	c.limit("distortion_pct", m.DistortionPct)
	c.limit("lateral_colour_arcmin", m.LateralColourArcmin)

	axial := newSpread()
	for w := range c.bundles[0].view {
		axial.add(c.bundles[0].view[w].defocus())
	}
	m.AxialColourD = axial.width()
	c.limit("axial_colour_D", m.AxialColourD)
	return c.over(stop)
}

// refocused is the view's blur in arcmin after the eye's best refocus within
// its bounds, and that refocus in dioptres.
func (c *Checker) refocused(b *bundle) (blur, refocus float64) {
	var all viewSums
	for w := range b.view {
		all.add(&b.view[w], c.weight[w])
	}
	if all.weight < halfLost {
		return math.Inf(1), math.Inf(1)
	}
	p := c.p
	world := 1000 * c.t.AngularMagnification * c.t.AngularMagnification // refocus to 1/mm in the world
	relaxed := -1000 * c.depths[b.depth]                                // refocus of the relaxed eye
	ee, xe, xx := all.variance()
	refocus = world * xe / xx
	refocus = min(max(refocus, relaxed), relaxed+p.AccommodationD)
	refocus = min(max(refocus, -p.RefocusMaxD), p.RefocusMaxD)
	rho := refocus / world
	variance := ee - float64(2*rho*xe) + float64(rho*rho*xx)
	return arcmin(math.Sqrt(max(variance, 0))), refocus
}

// transmission is the share of light that gets through lenses, mask and
// combiner at the reference wavelength.
func (c *Checker) transmission() float64 {
	through := c.p.MaskTransmits
	for _, g := range c.t.Groups {
		for _, e := range g.Elements {
			if loss := e.Lens.LossPct; catalog.IsSet(loss) {
				through *= (1 - loss/100) * (1 - loss/100)
				continue
			}
			first, last := e.Glasses[0], e.Glasses[len(e.Glasses)-1]
			through *= (1 - Fresnel(c.indicesOf(first)[c.reference])) * (1 - Fresnel(c.indicesOf(last)[c.reference]))
		}
	}
	if c.p.CombinerMM > 0 {
		face := 1 - Fresnel(c.p.CombinerIndex)
		through *= face * face
	}
	return through
}
