package objective

import "math"

// place is where the middle of a pupil is displaced to, in mm.
type place struct{ x, y float64 }

// fill fills a pupil there. What a pupil that is displaced sideways sees is not
// mirror symmetric, so that both halves are filled. onAxis tells that the field is a
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

// skips tells that a field looks from here as from another place.
func (c *Checker) skips(field int) bool { return len(c.fills[field].x) == 0 }

// follow takes over the train that c has prepared.
func (a *Checker) follow(c *Checker) {
	a.t, a.steps, a.beyondMask, a.ratios = c.t, c.steps, c.beyondMask, c.ratios
	a.viewpoint, a.layer, a.chief = c.viewpoint, c.layer, c.chief
	a.margin = 1
	for i := range a.beams {
		clear(a.beams[i].traced)
	}
}

// rejectAway looks for a limit that displaced pupils fail before what has failed, if
// anything has, with the pupil in the middle. It tells whether the train fails, and
// leaves the decision to the full measurement as [Checker.rejected] does.
func (c *Checker) rejectAway() bool {
	first := c.failedLimit()
	if len(c.away) == 0 || first <= maskBlur {
		return c.failed()
	}
	if c.limited(maskBlur) {
		for _, a := range c.away {
			a.traceAway(c.margin < c.awayMargin())
			for _, i := range c.worstFirst {
				if a.skips(a.bundles[i].field) {
					continue
				}
				a.sumMask(&a.bundles[i])
				c.addMaskBlur(i, a)
				if c.beyond(maskBlur, c.report.Metrics.MaskBlurArcmin) {
					c.report.FailedBy = MetricList[maskBlur].Name
					return a.certain()
				}
			}
		}
	}
	if first > viewBlur && (c.limited(viewBlur) || c.limited(viewRefocus)) {
		m := &c.report.Metrics
		for _, i := range c.worstFirst {
			for _, a := range c.away {
				if a.skips(a.bundles[i].field) {
					continue
				}
				for w := range a.weight {
					a.toView(i, w)
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

// traceAway traces what the mask's blur needs. With further it also finds out by the
// outermost field whether rays come near to being lost further on.
func (a *Checker) traceAway(further bool) {
	n := len(a.vergences)
	a.trace(0, a.used*n, toMask)
	if further {
		outermost := (a.used - 1) * n
		a.traceWavelength(outermost, outermost+1, a.reference, toWorld)
		a.traceWavelength(outermost+n-1, outermost+n, a.reference, toWorld)
	}
}

// awayMargin is the margin (see certainMargin) of the pupil in the middle from which on
// displaced ones are taken to have enough: sines of angles of incidence grow
// at most with the distance from the axis.
func (c *Checker) awayMargin() float64 {
	reach := (c.p.Pupil + c.p.SharpBox) / (outermostRing * c.p.Pupil)
	return 1 - (1-certainMargin)/(reach*reach)
}

// outermostRing is the least radius of the outermost ring of a filling, over that of the
// pupil.
const outermostRing = 0.9

// allCertain is certain for all places of the pupil.
func (c *Checker) allCertain() bool {
	for _, a := range c.away {
		if !a.certain() {
			return false
		}
	}
	return c.certain()
}

// failedLimit is the limit that has failed: before all for a requirement, beyond all
// for the one on transmission or for none.
func (c *Checker) failedLimit() metricIndex {
	switch c.report.FailedBy {
	case "", "transmission_min":
		return metricIndex(len(MetricList))
	}
	for m := range MetricList {
		if MetricList[m].Name == c.report.FailedBy {
			return metricIndex(m)
		}
	}
	return -1
}

// beyond tells whether a metric's magnitude is beyond its limit.
func (c *Checker) beyond(m metricIndex, value float64) bool {
	return !(math.Abs(value) <= c.limits[m])
}
