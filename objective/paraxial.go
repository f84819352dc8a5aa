package objective

import "math"

// The functions of this file describe one train at given gaps and eye relief,
// whether the gaps are the paraxial ones or refined. Distances that a user
// sees are physical; matrices take the air-equivalent ones, shorter by the
// plate shift of the mask or the combiner.

// airGap is the air-equivalent length of gap i.
func (p *Problem) airGap(t *Train, i int) float64 {
	if t.HoldsMask(i) {
		return t.Gaps[i] - p.MaskShift()
	}
	return t.Gaps[i]
}

// matrixFrom is the matrix from the first vertex of group k to the last vertex
// of the train.
func (p *Problem) matrixFrom(t *Train, k int) Matrix {
	m := t.Groups[k].matrix
	for i := k; i < len(t.Gaps); i++ {
		m = m.Then(Gap(p.airGap(t, i))).Then(t.Groups[i+1].matrix)
	}
	return m
}

// EyeMatrix is the matrix from the train's first vertex to the eye.
func (p *Problem) EyeMatrix(t *Train) Matrix {
	return p.matrixFrom(t, 0).Then(Gap(t.EyeRelief - p.CombinerShift()))
}

// AngularMagnificationOf is Θ of a train at its gaps and eye relief: the slope at
// the eye over that in the world of the ray through the middle of the eye, as an
// eye sees a distant scene. With y and u at the first vertex the ray meets
// A·y + B·u = 0, and its slope at the eye is C·y + D·u = u·(A·D - B·C)/A = u/A.
// Of an exactly afocal train, C = 0, it is also D, whatever the eye relief.
func (p *Problem) AngularMagnificationOf(t *Train) float64 { return 1 / p.EyeMatrix(t).A }

// Viewpoint is z_V, the place of the eye's image in world space, in mm from the
// first vertex: negative on the world side. A world ray of height y and slope
// u at the first vertex reaches the axis at the eye when A·y + B·u = 0, and
// crosses the axis of the world at -y/u = B/A.
func (p *Problem) Viewpoint(t *Train) float64 {
	m := p.EyeMatrix(t)
	return m.B / m.A
}

// ViewpointShift is the distance from the viewpoint to the eye in mm.
func (p *Problem) ViewpointShift(t *Train) float64 {
	return t.Length + t.EyeRelief - p.Viewpoint(t)
}

// maskToEye is the matrix from the first vertex behind a mask's gap to the
// eye.
func (p *Problem) maskToEye(t *Train, gap int) Matrix {
	return p.matrixFrom(t, gap+1).Then(Gap(t.EyeRelief - p.CombinerShift()))
}

// PlaceMask is the paraxial setpoint of the mask in a gap (see [Train.MaskGaps]) for
// an apparent vergence in 1/mm: the physical distance in mm from the last vertex before the mask to the layer,
// and the height in mm there of the chief ray with unit slope at the eye,
// signed.
//
// A ray from the axis in the layer, at air-equivalent distance x before the
// next vertex, reaches the eye with height (A·x+B)·u and slope (C·x+D)·u; it
// seems to come from vergence V when the slope is V times the height.
func (p *Problem) PlaceMask(t *Train, gap int, vergence float64) (position, chief float64) {
	m := p.maskToEye(t, gap)
	x := (float64(vergence*m.B) - m.D) / (m.C - float64(vergence*m.A))
	position = t.Gaps[gap] - p.MaskShift()/2 - x
	return position, -(float64(m.A*x) + m.B)
}

// ChiefAtMask is the height in mm, in the layer of the mask in a gap at a physical distance
// position behind the last vertex before the mask, of the chief ray with unit
// slope at the eye, signed.
func (p *Problem) ChiefAtMask(t *Train, gap int, position float64) float64 {
	m := p.maskToEye(t, gap)
	x := t.Gaps[gap] - p.MaskShift()/2 - position
	return -(float64(m.A*x) + m.B)
}

// MaskRoom is the range of mask positions in a gap that keeps the clearance between the
// mask's glass and the nearest points of the neighbouring surfaces out to
// their half diameters.
func (p *Problem) MaskRoom(t *Train, gap int) (lo, hi float64) {
	keep := p.LayerClearance()
	return keep + t.Groups[gap].lastSagMax(), t.Gaps[gap] - keep + t.Groups[gap+1].firstSagMin()
}

// FieldTan is the tangent of the largest half angle that every clear aperture
// of the train passes with the full pupil and box, zero when the pupil alone
// does not pass.
func (p *Problem) FieldTan(t *Train) float64 {
	tan := math.Inf(1)
	p.eachHeight(t, func(a heightRow, clear float64) {
		chief := a.B - float64((t.EyeRelief-p.CombinerShift())*a.A)
		edge := max(math.Abs(a.A+float64(p.VergenceFar*chief)), math.Abs(a.A+float64(p.VergenceNear*chief)))
		switch left := clear - float64(p.PupilEdge()*edge); {
		case left <= 0:
			tan = 0
		case chief != 0:
			tan = min(tan, left/math.Abs(chief))
		}
	})
	return tan
}

// EachAperture visits the train's surfaces with the height that the field and the
// pupil take there, |a|·tan θ + r·max|c|, and the clear semi-diameter.
func (p *Problem) EachAperture(t *Train, visit func(used, clear float64)) {
	r := p.PassingEdge()
	p.eachHeight(t, func(a heightRow, clear float64) {
		chief := a.B - float64((t.EyeRelief-p.CombinerShift())*a.A)
		edge := max(math.Abs(a.A+float64(p.VergenceFar*chief)), math.Abs(a.A+float64(p.VergenceNear*chief)))
		visit(float64(math.Abs(chief)*p.TanMax)+float64(r*edge), clear)
	})
}

// eachHeight visits the train's surfaces from the eye to the world with the
// row that gives a ray's height there from height and slope in air behind the
// last vertex, and the surface's clear semi-diameter.
func (p *Problem) eachHeight(t *Train, visit func(a heightRow, clear float64)) {
	// y and u give height and slope behind the last vertex of the group in hand.
	y, u := heightRow{1, 0}, heightRow{0, 1}
	for k := len(t.Groups) - 1; k >= 0; k-- {
		y, u = t.Groups[k].eachBack(y, u, visit)
		if k > 0 {
			y = retreat(y, u, p.airGap(t, k-1))
		}
	}
}

// traceBack takes height and slope rows from behind an element to in front of
// it: the inverse of a matrix of determinant 1.
func traceBack(m Matrix, y, u heightRow) (heightRow, heightRow) {
	return heightRow{float64(m.D*y.A) - float64(m.B*u.A), float64(m.D*y.B) - float64(m.B*u.B)},
		heightRow{float64(m.A*u.A) - float64(m.C*y.A), float64(m.A*u.B) - float64(m.C*y.B)}
}

// retreat takes a height row a distance d towards the world.
func retreat(y, u heightRow, d float64) heightRow {
	return heightRow{y.A - float64(d*u.A), y.B - float64(d*u.B)}
}
