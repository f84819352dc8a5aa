package raycheck

// rejected looks for the requirement or limit that the train fails first, with
// as few rays as settle it. When it finds one it is the one that a full
// measurement finds. It finds none when the train passes, and it leaves the
// decision to the full measurement when rays are lost or nearly so: those have
// to be known before anything is summed up. The pupil in the middle comes first,
// and turns away most trains.
func (c *Checker) rejected() bool {
	n := len(c.vergences)
	used := c.used * n
	outermost := (c.used - 1) * n
	c.trace(0, used, toMasks)
	// Angles of incidence grow with the field: the outermost one in use, at
	// either end of the depth range, reports whether rays come near to being lost
	// on their way from the masks to the world.
	c.traceWavelength(outermost, outermost+1, c.reference, toWorld)
	c.traceWavelength(outermost+n-1, outermost+n, c.reference, toWorld)
	if !c.certain() {
		return false
	}
	bundles := c.usedBundles()
	for i := range c.sampledBundles[:bundles] {
		c.sumMasks(&c.sampledBundles[i])
	}
	if c.judgeMasks(); c.failed() {
		return true
	}
	if c.judgeMaskBlur(nil); c.failed() {
		return true
	}
	if c.rejectByView(); !c.failed() {
		c.rejectLate()
	}
	return c.certain() && c.rejectAway()
}

// certain reports whether no ray of those that were traced was lost, nor is one
// between them.
func (c *Checker) certain() bool { return c.margin >= certainMargin }

// rejectByView goes through the limits on the view's sharpness in their order,
// in each from the bundle that is likely to be worst to the best one.
func (c *Checker) rejectByView() {
	m := &c.report.Metrics
	if c.limited(viewDefocus) || c.limited(viewAstigmatism) {
		m.ViewDefocusD, m.ViewAstigmatismD = 0, 0
		for _, i := range c.worstFirst {
			c.toView(i, c.reference)
			c.measureDefocus(i)
			if c.limit(viewDefocus, m.ViewDefocusD); c.failed() {
				return
			}
		}
		if c.limit(viewAstigmatism, m.ViewAstigmatismD); c.failed() {
			return
		}
	}
	if c.limited(viewBlur) || c.limited(viewRefocus) {
		m.ViewBlurArcmin, m.ViewRefocusD = 0, 0
		for _, i := range c.worstFirst {
			for w := range c.weight {
				c.toView(i, w)
			}
			c.measureViewBlur(i, nil)
			if c.limit(viewBlur, m.ViewBlurArcmin); c.failed() {
				return
			}
		}
		if c.limit(viewRefocus, m.ViewRefocusD); c.failed() {
			return
		}
	}
}

// rejectLate goes through the limits that come after sharpness.
func (c *Checker) rejectLate() {
	if c.limited(axisVergence) || c.limited(distortion) || c.limited(lateralColour) || c.limited(axialColour) {
		for i := 0; i < c.usedBundles(); i += len(c.depths) {
			for w := range c.weight {
				c.toView(i, w)
			}
		}
		if c.judgeFar(); c.failed() {
			return
		}
	}
	if c.limited(vignetting) {
		if c.judgeVignetting(true); c.failed() {
			return
		}
	}
	if c.judgeTransmission(); c.failed() || c.limited(blurMismatch) {
		return // the blurs' mismatch comes before ghosts, and takes a full measurement
	}
	if c.judgeGhosts(); !c.failed() {
		c.judgeGrooves()
	}
}

// toView traces what bundle i needs to the world at wavelength w and sums it up.
func (c *Checker) toView(i, w int) {
	c.traceFor(i, w, toWorld)
	c.sumView(&c.sampledBundles[i], w)
}

// traceFor traces the beams that bundle i needs at wavelength w.
func (c *Checker) traceFor(i, w int, until leg) {
	b := &c.sampledBundles[i]
	n := len(c.vergences)
	first := b.field * n
	from, to := first, first+n
	for k, q := range c.share[b.depth] {
		if q == 1 && !c.refers(first+k, w) {
			from, to = first+k, first+k+1
		}
	}
	if to-from == n {
		c.traceWavelength(from, to, c.reference, until)
	}
	c.traceWavelength(from, to, w, until)
}
