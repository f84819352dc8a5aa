package raycheck

import (
	"math"

	"relaysweep/objective"
)

// Grade traces a train that meets the paraxial requirements for everything but
// vignetting, and for that too when all else is met. It returns the requirement
// or limit that the train fails first, as [Checker.Check] names it, and the sum
// over all of them of the logarithms of what was measured over what is allowed,
// 0 only for a train that the check lets pass.
func (c *Checker) Grade(t *objective.Train) (failedBy string, excess float64) {
	c.prepare(t)
	c.measureUsed(c.away, false, false, c.limited(blurMismatch))
	if excess = c.excess(); excess > 0 && c.failedLimit() < vignetting {
		return c.report.FailedBy, excess
	}
	// Vignetting comes before transmission and ghosts, and what passes is what Check lets
	// pass: in its steps, but for measuring what does not decide.
	c.prepare(t)
	if !c.rejected() {
		c.measureUsed(c.away, true, c.limited(vignetting), c.limited(blurMismatch))
	}
	r := &c.report
	if r.FailedBy == MetricList[vignetting].Name {
		excess += over(r.Metrics.VignettedPct, c.limits[vignetting], vignettingScale)
	}
	if r.FailedBy == "" {
		return "", 0
	}
	return r.FailedBy, math.Max(excess, excessLeast)
}

// excessLeast is the excess of a train that fails by rounding alone, excessMost
// bounds what a single limit adds: a lost bundle is no worse than this.
const (
	excessLeast = 1e-12
	excessMost  = 5.0
)

// over is log(value/limit), at least 0 and at most excessMost, for magnitudes;
// limits below scale count as that.
func over(value, limit, scale float64) float64 {
	value = math.Abs(value)
	switch {
	case value <= limit || math.IsInf(limit, 1):
		return 0
	case !(value < math.Inf(1)):
		return excessMost
	}
	if limit < scale {
		value, limit = value+scale-limit, scale
	}
	return math.Min(math.Max(math.Log(value/limit), excessLeast), excessMost)
}

// excess is the sum of what was measured, but for vignetting, exceeds.
func (c *Checker) excess() float64 {
	p, r := c.p, &c.report
	sum := 0.0
	for k := range c.masks {
		sum += over(r.Mask(k).TravelMM, p.Travel*(1+objective.RequirementSlack), objective.LimitScale)
		at := c.atSetpoints(k)
		sum += over(math.Max(0, math.Max(at.lo-at.slack-at.first, at.last-at.hi-at.slack)), 0, 1)
		sum += over(2*at.chief*math.Max(p.TanHalfWidth/p.MaskWidth, p.TanHalfHeight/p.MaskHeight), 1+objective.RequirementSlack, objective.LimitScale)
	}
	for m := range MetricList {
		if metricIndex(m).ofFacets() && !c.t.HasFacets() {
			continue
		}
		if metricIndex(m) != vignetting && metricIndex(m).variesWithGaps() || metricIndex(m) == ghostShare {
			for value := range MetricList[m].values(&r.Metrics, len(c.masks)) {
				sum += over(value, c.limits[m], objective.LimitScale)
			}
		}
	}
	if least := p.Limits.TransmissionMin; r.Metrics.Transmission < least {
		sum += over(least/math.Max(r.Metrics.Transmission, objective.LimitScale), 1, objective.LimitScale)
	}
	return sum
}
