package raycheck

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// fail records the first requirement or limit that fails.
func (c *Checker) fail(name string) {
	if c.report.FailedBy == "" {
		c.report.FailedBy = name
	}
}

// limit judges a metric's magnitude against the limit of its name.
func (c *Checker) limit(m metricIndex, value float64) {
	if c.beyond(m, value) {
		c.fail(MetricList[m].Name)
	}
}

// limitAll judges a metric of the report that belongs to a mask, for all masks.
func (c *Checker) limitAll(m metricIndex) {
	if c.beyondAny(m) {
		c.fail(MetricList[m].Name)
	}
}

// failed reports whether a requirement or limit has failed.
func (c *Checker) failed() bool { return c.report.FailedBy != "" }

// limited reports whether there is a limit on a metric.
func (c *Checker) limited(m metricIndex) bool { return !math.IsInf(c.limits[m], 1) }

// usedBundles is the number of bundles that sharpness metrics look at; they come
// first.
func (c *Checker) usedBundles() int { return c.used * len(c.depths) }

// judgeMasks places each mask for each depth by exact rays, and judges the
// requirements on masks: each on all of them before the next.
func (c *Checker) judgeMasks() {
	p := c.p
	var at [objective.MasksMost]atSetpoints
	for k := range c.masks {
		r := c.report.Mask(k)
		travel := newSpread()
		for d := range c.depths {
			s := &r.Setpoints[d]
			s.MaskMM = s.MaskParaxialMM - c.sharpest(k, d)
			travel.add(s.MaskMM)
		}
		r.TravelMM = travel.width()
		if r.TravelMM > p.Travel*c.allowance*(1+objective.RequirementSlack) {
			c.fail(objective.Travel.String())
		}
		at[k] = c.atSetpoints(k)
	}
	for _, at := range at[:len(c.masks)] {
		if !c.anyClearance && (at.first < at.lo-at.slack || at.last > at.hi+at.slack) {
			c.fail(objective.Clearance.String())
		}
	}
	for _, at := range at[:len(c.masks)] {
		if !(2*at.chief*p.TanHalfWidth <= p.MaskWidth*c.allowance*(1+objective.RequirementSlack)) ||
			!(2*at.chief*p.TanHalfHeight <= p.MaskHeight*c.allowance*(1+objective.RequirementSlack)) {
			c.fail(objective.MaskSize.String())
		}
	}
}

// atSetpoints is where a train's exact setpoints lie in a mask's gap, in mm behind the last
// vertex before it.
type atSetpoints struct {
	first, last float64
	lo, hi      float64 // what the clearance leaves
	slack       float64 // by how much these may be missed
	chief       float64 // largest height of the chief ray of unit slope in the layer
}

// atSetpoints looks at the setpoints of mask k in the report.
func (c *Checker) atSetpoints(k int) atSetpoints {
	p, t, gap := c.p, c.t, c.masks[k].gap
	mask := newSpread()
	x := atSetpoints{slack: objective.RequirementSlack * t.Gaps[gap]}
	for _, s := range c.report.Mask(k).Setpoints {
		mask.add(s.MaskMM)
		x.chief = max(x.chief, math.Abs(p.ChiefAtMask(t, gap, s.MaskMM)))
	}
	x.first, x.last = mask.lo, mask.hi
	x.lo, x.hi = p.MaskRoom(t, gap)
	return x
}

// sharpest is how far beyond the paraxial layer of mask k, towards the world, the plane
// lies that minimises the mean variance of depth d over the fields in use; 0
// when no field can tell.
func (c *Checker) sharpest(k, d int) float64 {
	var sumPS, sumSS float64
	for i := d; i < c.usedBundles(); i += len(c.depths) {
		all := &c.sampledBundles[i].masks[k].all
		if all.Weight < halfLost {
			continue
		}
		_, ps, ss := all.variance()
		sumPS += ps
		sumSS += ss
	}
	if !(sumSS > 0) {
		return 0
	}
	return -sumPS / sumSS
}

// judgeMaskBlur measures the blur of masks, that of displaced pupils too.
func (c *Checker) judgeMaskBlur(away []*Checker) {
	for k := range c.masks {
		c.report.Metrics.mask(k).MaskBlurArcmin = 0
		setpoints := c.report.Mask(k).Setpoints
		for d := range setpoints {
			setpoints[d].MaskBlurArcmin = 0
		}
	}
	for i := range c.sampledBundles[:c.usedBundles()] {
		c.measureMaskBlur(i, away)
	}
	c.limitAll(maskBlur)
}

// measureMaskBlur takes bundle i into the metric of the masks' blur, with displaced
// pupils.
func (c *Checker) measureMaskBlur(i int, away []*Checker) {
	for k := range c.masks {
		*c.report.Samples[i].maskBlur(k) = 0
	}
	c.addMaskBlur(i, c)
	for _, a := range away {
		c.addMaskBlur(i, a)
	}
}

// addMaskBlur takes bundle i of the pupil that a checks into the metric.
func (c *Checker) addMaskBlur(i int, a *Checker) {
	b := &a.sampledBundles[i]
	if a.skips(b.field) {
		return
	}
	for k := range c.masks {
		s, sample := &c.report.Mask(k).Setpoints[b.depth], c.report.Samples[i].maskBlur(k)
		m := c.report.Metrics.mask(k)
		blur := c.maskBlurOf(k, b)
		*sample = max(*sample, blur)
		if b.field < c.used {
			s.MaskBlurArcmin = max(s.MaskBlurArcmin, blur)
			m.MaskBlurArcmin = max(m.MaskBlurArcmin, blur)
		}
	}
}

// maskBlurOf is the blur of mask k in arcmin, at its setpoint, in a bundle of any pupil.
func (c *Checker) maskBlurOf(k int, b *sampledBundle) float64 {
	all := &b.masks[k].all
	if all.Weight < halfLost {
		return math.Inf(1)
	}
	s := &c.report.Mask(k).Setpoints[b.depth]
	shift := s.MaskParaxialMM - s.MaskMM
	pp, ps, ss := all.variance()
	variance := pp + float64(2*shift*ps) + float64(shift*shift*ss)
	return arcmin(math.Sqrt(max(variance, 0)) / math.Abs(c.masks[k].chief[b.depth]))
}

// judgeDefocus measures the world's vergence error at the reference wavelength.
func (c *Checker) judgeDefocus() {
	m := &c.report.Metrics
	m.ViewDefocusD, m.ViewAstigmatismD = 0, 0
	for i := range c.sampledBundles[:c.usedBundles()] {
		c.measureDefocus(i)
	}
	c.limit(viewDefocus, m.ViewDefocusD)
	c.limit(viewAstigmatism, m.ViewAstigmatismD)
}

// measureDefocus takes bundle i into the metrics of the vergence error.
func (c *Checker) measureDefocus(i int) {
	m, b, s := &c.report.Metrics, &c.sampledBundles[i], &c.report.Samples[i]
	s.ViewDefocusD, s.ViewAstigmatismD = b.view[c.reference].power()
	if b.field < c.used {
		m.ViewDefocusD = larger(m.ViewDefocusD, s.ViewDefocusD)
		m.ViewAstigmatismD = max(m.ViewAstigmatismD, s.ViewAstigmatismD)
	}
}

// judgeViewBlur measures how sharp the world is to an eye that refocuses, through
// displaced pupils too.
func (c *Checker) judgeViewBlur(away []*Checker) {
	m := &c.report.Metrics
	m.ViewBlurArcmin, m.ViewRefocusD = 0, 0
	for k := range c.masks {
		setpoints := c.report.Mask(k).Setpoints
		for d := range setpoints {
			setpoints[d].ViewBlurArcmin = 0
		}
	}
	for i := range c.sampledBundles[:c.usedBundles()] {
		c.measureViewBlur(i, away)
	}
	c.limit(viewBlur, m.ViewBlurArcmin)
	c.limit(viewRefocus, m.ViewRefocusD)
}

// measureViewBlur takes bundle i into the metrics of the view's blur, with displaced
// pupils.
func (c *Checker) measureViewBlur(i int, away []*Checker) {
	c.report.Samples[i].ViewBlurArcmin = 0
	c.addViewBlur(i, c)
	for _, a := range away {
		c.addViewBlur(i, a)
	}
}

// addViewBlur takes bundle i of the pupil that a checks into the metrics.
func (c *Checker) addViewBlur(i int, a *Checker) {
	m, b := &c.report.Metrics, &a.sampledBundles[i]
	if a.skips(b.field) {
		return
	}
	blur, refocus := a.refocused(b)
	sample := &c.report.Samples[i]
	sample.ViewBlurArcmin = max(sample.ViewBlurArcmin, blur)
	if b.field < c.used {
		m.ViewBlurArcmin = max(m.ViewBlurArcmin, blur)
		m.ViewRefocusD = max(m.ViewRefocusD, math.Abs(refocus))
		for k := range c.masks {
			s := &c.report.Mask(k).Setpoints[b.depth]
			s.ViewBlurArcmin = max(s.ViewBlurArcmin, blur)
		}
	}
}

// judgeFar measures what is asked of the far depth: vergence and colour on the
// axis, distortion and colour across the field.
func (c *Checker) judgeFar() {
	m := &c.report.Metrics
	axial := newSpread()
	for w := range c.weight {
		defocus, _ := c.sampledBundles[0].view[w].power()
		axial.add(defocus)
		if w == c.reference {
			m.AxisVergenceD = defocus
		}
	}
	m.AxialColourD = axial.width()
	m.DistortionPct, m.LateralColourArcmin = 0, 0
	for i := len(c.depths); i < c.usedBundles(); i += len(c.depths) {
		b := &c.sampledBundles[i]
		colour := newSpread()
		for w := range b.view {
			colour.add(b.view[w].chiefError())
		}
		m.DistortionPct = larger(m.DistortionPct, 100*c.t.AngularMagnification*b.view[c.reference].chiefError()/b.tan)
		m.LateralColourArcmin = max(m.LateralColourArcmin, arcmin(colour.width()))
	}
	c.limit(axisVergence, m.AxisVergenceD)
	c.limit(distortion, m.DistortionPct)
	c.limit(lateralColour, m.LateralColourArcmin)
	c.limit(axialColour, m.AxialColourD)
}

// judgeTransmission measures the light that gets through.
func (c *Checker) judgeTransmission() {
	m := &c.report.Metrics
	m.Transmission = c.transmission()
	if !(m.Transmission >= c.p.Limits.TransmissionMin) {
		c.fail(TransmissionMin)
	}
}

// judgeGhosts measures what the pixel grid of each mask puts beside the world.
func (c *Checker) judgeGhosts() {
	for k := range c.masks {
		m := c.report.Metrics.mask(k)
		m.GhostArcmin = c.ghost(k)
		m.GhostPct = 100 * ghostLight(c.p.MaskFill)
	}
	c.limitAll(ghost)
	if c.limited(ghostShare) {
		c.limitAll(ghostShare)
	}
}

// refocused is the view's blur in arcmin after the eye's best refocus within
// its bounds, and that refocus in dioptres.
func (c *Checker) refocused(b *sampledBundle) (blur, refocus float64) {
	var all viewSums
	for w := range b.view {
		all.add(&b.view[w], c.weight[w])
	}
	return c.refocusedOf(b, all)
}

// refocusedOf is refocused for some of the bundle's rays.
func (c *Checker) refocusedOf(b *sampledBundle, all viewSums) (blur, refocus float64) {
	if all.Weight < halfLost {
		return math.Inf(1), math.Inf(1)
	}
	p := c.p
	world := 1000 * c.t.AngularMagnification * c.t.AngularMagnification // refocus to 1/mm in the world
	relaxed := -1000 * c.depths[b.depth]                                // refocus of the relaxed eye
	ee, xe, xx := all.variance()
	refocus = world * xe / xx
	refocus = min(max(refocus, relaxed-c.refocusSlackD), relaxed+p.AccommodationD+c.refocusSlackD)
	most := p.RefocusMaxD + c.refocusSlackD
	refocus = min(max(refocus, -most), most)
	rho := refocus / world
	variance := ee - float64(2*rho*xe) + float64(rho*rho*xx)
	return arcmin(math.Sqrt(max(variance, 0))), refocus
}

// transmission is the share of light that gets through lenses, masks and
// combiner at the reference wavelength.
func (c *Checker) transmission() float64 {
	through := c.throughFacets()
	for range c.masks {
		through *= c.p.MaskTransmits
	}
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
