package raycheck

import "math"

// place is where the middle of a pupil is displaced to, in mm.
type place struct{ x, y float64 }

// fill fills a pupil there. What a pupil that is displaced sideways sees is not
// mirror symmetric, so that both halves are filled. onAxis reports whether the field is a
// point on the axis: then up, down and sideways are alike, and up stands for all.
func (at place) fill(radius float64, halfArms []int, onAxis bool) pupil {
	if onAxis && at == (place{}) {
		return axialPupil(radius, len(halfArms))
	}
	if onAxis && !at.up() {
		return pupil{}
	}
	half := gaussPupil(radius, halfArms)
	var f pupil
	for _, side := range at.sides() {
		for i, weight := range half.weight {
			f.add(at.x+float64(side*half.x[i]), at.y+half.y[i], weight/float64(len(at.sides())))
		}
	}
	return f
}

// sides are the halves of the pupil that have to be looked at, x > 0 and x < 0
// from its middle.
func (at place) sides() []float64 {
	if at.x != 0 {
		return bothSides
	}
	return bothSides[:1]
}

var bothSides = []float64{1, -1}

func (at place) up() bool { return at.x == 0 && at.y > 0 }

// skips reports whether a field looks from here as from another place.
func (c *Checker) skips(field int) bool { return len(c.fills[field].x) == 0 }

// follow takes over the train that c has prepared.
func (a *Checker) follow(c *Checker) {
	a.t, a.steps, a.masks, a.ratios = c.t, c.steps, c.masks, c.ratios
	a.viewpoint = c.viewpoint
	a.margin, a.summed = 1, false
	for i := range a.tracedBundles {
		clear(a.tracedBundles[i].traced)
	}
}

// rejectAway looks for a limit that displaced pupils fail before what has failed, if
// anything has, with the pupil in the middle. It reports whether the train fails, and
// leaves the decision to the full measurement as [Checker.rejected] does.
func (c *Checker) rejectAway() bool {
	first := c.failedLimit()
	if len(c.away) == 0 || first <= maskBlur {
		return c.failed()
	}
	if c.limited(maskBlur) {
		for _, a := range c.away {
			if c.rejectAwayMask(a) {
				return true
			}
		}
	}
	if first > viewBlur && (c.limited(viewBlur) || c.limited(viewRefocus)) {
		m := &c.report.Metrics
		for _, i := range c.worstFirst {
			for _, a := range c.away {
				if a.skips(a.sampledBundles[i].field) {
					continue
				}
				for w := range a.weight {
					if !a.summed {
						a.toView(i, w)
					}
				}
				c.addViewBlur(i, a)
				if c.beyond(viewBlur, m.ViewBlurArcmin) {
					c.report.FailedBy = MetricList[viewBlur].Name
					return c.allCertain()
				}
			}
		}
		if first > viewRefocus && c.beyond(viewRefocus, m.ViewRefocusD) {
			c.report.FailedBy = MetricList[viewRefocus].Name
		}
	}
	return c.failed() && c.allCertain()
}

// allCertain reports whether no ray was lost, but where everything has been summed up in
// full.
func (c *Checker) allCertain() bool {
	for _, a := range c.away {
		if !a.summed && !a.certain() {
			return false
		}
	}
	return c.certain()
}

// rejectAwayMask goes through the mask's blur with the pupil of a, from the outermost
// field to the axis. A field is summed up in full as soon as rays come near to being
// lost.
func (c *Checker) rejectAwayMask(a *Checker) bool {
	n := len(a.vergences)
	for f := a.used - 1; f >= 0; f-- {
		if a.skips(f) {
			continue
		}
		a.trace(f*n, (f+1)*n, toMasks)
		if f == a.used-1 { // as in rejected
			a.traceWavelength(f*n, f*n+1, a.reference, toWorld)
			a.traceWavelength(f*n+n-1, f*n+n, a.reference, toWorld)
		}
		from, to := f*len(a.depths), (f+1)*len(a.depths)
		if !a.certain() {
			if !a.summed {
				to = a.usedBundles() // those before it too
			}
			a.summed = true
			a.sum(from, to)
		} else {
			for i := range a.sampledBundles[from:to] {
				a.sumMasks(&a.sampledBundles[from+i])
			}
		}
		for i := from; i < to; i++ {
			c.addMaskBlur(i, a)
		}
		if c.beyondAny(maskBlur) {
			c.report.FailedBy = MetricList[maskBlur].Name
			return true
		}
	}
	return false
}

// failedLimit is the limit that has failed: before all for a requirement, beyond all
// for none.
func (c *Checker) failedLimit() metricIndex {
	switch c.report.FailedBy {
	case "":
		return metricIndex(len(MetricList))
	case TransmissionMin:
		return transmission
	}
	for m := range MetricList {
		if MetricList[m].Name == c.report.FailedBy {
			return metricIndex(m)
		}
	}
	return -1
}

// beyondAny reports whether a metric of the report is, of both masks where it is one of a mask.
func (c *Checker) beyondAny(m metricIndex) bool {
	for value := range MetricList[m].values(&c.report.Metrics, len(c.masks)) {
		if c.beyond(m, value) {
			return true
		}
	}
	return false
}

// beyond reports whether a metric's magnitude is beyond its limit.
func (c *Checker) beyond(m metricIndex, value float64) bool {
	return !(math.Abs(value) <= c.limits[m])
}
