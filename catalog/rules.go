package catalog

import "math"

// Sizes outside these are slips of the unit or the decimal point, and would
// strain the arithmetic.
const (
	minSizeMM   = 0.001
	maxSizeMM   = 10_000
	maxRadiusMM = 1e9 // beyond it the surface is flat to any measurement
	maxDensity  = 30  // g/cm³; osmium, the densest element, has 22.6
)

// What a number in a column may be.
var (
	sizeRule = rule{"a length in mm, from 0.001 to 10000", func(x float64) bool {
		return x >= minSizeMM && x <= maxSizeMM
	}}
	radiusRule = rule{"a radius in mm, positive when its centre lies on the eye side, or inf for a flat", func(x float64) bool {
		r := math.Abs(x)
		return r >= minSizeMM && r <= maxRadiusMM || math.IsInf(x, 0)
	}}
	conicRule   = rule{"a conic constant: 0 for a sphere, -1 for a paraboloid", isFinite}
	asphereRule = rule{"an aspheric term in powers of mm, empty or 0 for none", isFinite}
	lossRule    = rule{"the loss of one air-glass surface in per cent, from 0 to less than 100", func(x float64) bool {
		return x >= 0 && x < 100
	}}
	densityRule = rule{"a density in g/cm³, greater than 0 and at most 30", func(x float64) bool {
		return x > 0 && x <= maxDensity
	}}
	priceRule = rule{"a price of 0 or more", func(x float64) bool { return x >= 0 && isFinite(x) }}
	focalRule = rule{"a focal length in mm, negative for a diverging lens, or inf for an afocal one", func(x float64) bool {
		return x != 0
	}}
	backFocalRule = rule{"the distance in mm from the last vertex to the rear focal point, or inf for an afocal lens", func(x float64) bool {
		return true
	}}
	stockRule = rule{"a whole number of parts, 0 or more; empty for no limit", func(x float64) bool {
		return x >= 0 && x <= 1e9 && x == math.Trunc(x)
	}}
	pitchRule = rule{"the width of a facet in mm, greater than 0; empty for a smooth lens", func(x float64) bool {
		return x > 0 && isFinite(x)
	}}
	draftRule = rule{"the angle of the draft facets from the axis in degrees, from 0 to less than 45", func(x float64) bool {
		return x >= 0 && x < 45
	}}
	coefficientRule = rule{"a Sellmeier coefficient, 0 for a term that is not used", isFinite}
	ndRule          = rule{"the index at the d line, greater than 1 and at most 3", func(x float64) bool {
		return x > 1 && x <= 3
	}}
	vdRule = rule{"the Abbe number Vd, from 5 to 200", func(x float64) bool {
		return x >= 5 && x <= 200
	}}
)

func isFinite(x float64) bool { return !math.IsInf(x, 0) && !math.IsNaN(x) }
