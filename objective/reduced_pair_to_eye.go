package objective

import "math"

// toEyeBound is a lower bound on L(v) + e over an interval of v, e being the
// smallest eye relief. The eye relief is at least the lower bound of p that any
// single condition sets, and each of those is a quotient of two functions
// linear in v, to which a front's condition adds lift/Θ² = coupling/(Θ²·v). Of
// each such sum with L the parts are convex or concave; a concave part lies
// above its chord, a convex one above its tangent in the middle, and the sum of
// these lines is least at an end. The error falls with the square of the
// interval, so that even a valley in which L falls as e rises is soon left.
func (c *pairCase) toEyeBound(v Interval) float64 {
	p := c.p
	fixed := c.rear.Group.BFDMM + p.CombinerShift()
	t2 := c.theta * c.theta
	mid := v.Lo + (v.Hi-v.Lo)/2
	half := v.Hi - mid
	length := endsOf{c.length(v.Lo), c.length(v.Hi)}
	if c.relay.product < 0 {
		slope := c.kv + 1/(mid*mid)
		at := c.length(mid)
		length = endsOf{at - slope*half, at + slope*half}
	}
	lift := c.coupling / (t2 * mid)
	lifted := endsOf{length.lo + lift + lift/mid*half, length.hi + lift - lift/mid*half}
	best := math.Inf(-1)
	raise := func(e endsOf) { best = max(best, min(e.lo, e.hi)+fixed) }
	raise(endsOf{length.lo + c.rear.P.Lo, length.hi + c.rear.P.Lo})
	raise(endsOf{lifted.lo + c.front.Q.Lo/t2, lifted.hi + c.front.Q.Lo/t2})
	if c.until < Aperture {
		return best
	}
	image1, image2 := c.images(v.Lo, v.Hi)
	for _, row := range c.relay.forward {
		p.eachCondition(c.forwardEdge(row, image1), 1/t2, row.A*c.front.F/c.theta, row.clear,
			func(slope0, bound0, slope1, bound1 float64) {
				if q, ok := belowQuotient(bound0, bound1, slope0, slope1); ok {
					raise(endsOf{lifted.lo + q.lo/t2, lifted.hi + q.hi/t2})
				}
			})
	}
	for _, row := range c.relay.back {
		p.eachCondition(c.backEdge(row, image2), 1, -row.A*c.rear.F, row.clear,
			func(slope0, bound0, slope1, bound1 float64) {
				if q, ok := belowQuotient(bound0, bound1, slope0, slope1); ok {
					raise(endsOf{length.lo + q.lo, length.hi + q.hi})
				}
			})
	}
	return best
}

// endsOf are the values of a line at the two ends of an interval.
type endsOf struct{ lo, hi float64 }

// belowQuotient is a line below n/d, both linear over an interval with the
// given ends and d negative all over it: its chord where it is concave, its
// middle tangent where it is convex. It is the lower bound that a condition
// d·x <= n sets on x; ok is false when d is not negative.
func belowQuotient(n0, n1, d0, d1 float64) (line endsOf, ok bool) {
	if !(d0 < 0 && d1 < 0) {
		return endsOf{}, false
	}
	// Over t from -1 to 1, f = n/d has f' = (n' - f·d')/d and f″ = -2·d'·f'/d.
	dn, dd := (n1-n0)/2, (d1-d0)/2
	d := (d0 + d1) / 2
	f := (n0 + n1) / 2 / d
	slope := (dn - float64(f*dd)) / d
	if dd*slope > 0 { // f″ > 0, as d < 0
		return endsOf{f - slope, f + slope}, true
	}
	return endsOf{n0 / d0, n1 / d1}, true
}
