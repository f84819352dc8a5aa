package thirdorder

import "relaysweep/objective"

// system is what third-order theory knows of groups one behind the other.
type system struct {
	passage passage // from the plane in front of the eye that it starts from
	quartic quartic
	petzval float64
	colour  []quadratic
}

// copy makes s another system.
func (s *system) copy(r *system) {
	s.passage, s.quartic, s.petzval = r.passage, r.quartic, r.petzval
	s.colour = append(s.colour[:0], r.colour...)
}

// start makes s a group alone.
func (s *system) start(g *Group) {
	s.passage, s.quartic, s.petzval = g.passage, g.quartic, g.petzval
	s.colour = append(s.colour[:0], g.colour...)
}

// cross puts a gap between the system and the eye: a physical distance in mm of which a plate
// takes some.
func (s *system) cross(distance, plate, index float64) {
	reduced := distance - objective.PlateShift(plate, index)
	s.quartic.before(reduced)
	s.quartic[4] += fourthOf(distance-plate, plate, index)
	for i := range s.colour {
		s.colour[i].before(reduced)
	}
	s.passage.c.y += float64(reduced * s.passage.m.y)
	s.passage.c.p += float64(reduced * s.passage.m.p)
}

// fourthOf is the coefficient of p⁴ in f of a distance in air and of a plate.
func fourthOf(air, plate, index float64) float64 {
	return air/8 + plate/(8*index*index*index)
}

// behind puts a group between the system and the eye.
func (s *system) behind(g *Group) {
	s.quartic = s.quartic.pulledBack(&g.passage)
	s.quartic.add(&g.quartic)
	for i := range s.colour {
		s.colour[i] = s.colour[i].pulledBack(&g.passage)
		s.colour[i].add(&g.colour[i])
	}
	s.petzval += g.petzval
	s.passage = g.passage.then(&s.passage)
}

// add puts together the groups of a train from one on, up to the last vertex.
func (s *system) add(p *objective.Problem, t *objective.Train, groups []*Group, from int) {
	s.start(groups[from])
	for i := from + 1; i < len(groups); i++ {
		if i-1 == t.MaskGap() {
			s.cross(t.Gaps[i-1], p.MaskGlass, p.MaskGlassIndex)
		} else {
			s.cross(t.Gaps[i-1], 0, 1)
		}
		s.behind(groups[i])
	}
}

// wave is the aberration of a system for one apparent vergence, in P and t: what is linear in
// the aberration is in mm and per unit of t.
type wave struct {
	a       [4]float64 // of t⁴ there is no slope
	petzval float64
	linear  float64 // slope along P that paraxial rays miss, 1/mm
	// Of the weighted wavelengths: the mean slope of P against that of the reference one, and
	// variances and covariance of the slopes along P and of the constants per t.
	meanColour, axial, both, lateral float64
	chromatic                        []chromatic
}

// chromatic is what a wavelength adds to the slopes, against the reference one.
type chromatic struct{ axial, lateral float64 }

// set makes w the aberration of a system seen from the plane of the eye, at a vergence in
// 1/mm. Rays start with the tangent s in place of p: p = s - s|s|²/2. The end turns slopes
// into tangents again where tangents is κ = (1 - 1/Θ²)/2, with Θ the angular
// magnification; it does not where slopes play no part, and then κ is 1/2. Either way
// κ·|s|²·s adds to the slopes, which with s = t - V·P is of the form of the others.
func (w *wave) set(s *system, vergence, tangents float64, weights []float64) {
	q := s.quartic
	q.seenAt(vergence)
	v := -vergence
	k := tangents / 4
	w.a = [4]float64{
		q[0] + float64(k*v*v*v), q[1] + float64(k*v*v), q[2] + float64(k*v), q[3] + k,
	}
	w.petzval, w.linear = s.petzval, 0
	w.chromatic = w.chromatic[:0]
	w.meanColour, w.axial, w.both, w.lateral = 0, 0, 0, 0
	meanLateral := 0.0
	for i := range s.colour {
		b := s.colour[i]
		b.seenAt(vergence)
		c := chromatic{2 * b[0], 2 * b[1]}
		w.chromatic = append(w.chromatic, c)
		w.meanColour += float64(weights[i] * c.axial)
		meanLateral += float64(weights[i] * c.lateral)
		w.axial += float64(weights[i] * c.axial * c.axial)
		w.both += float64(weights[i] * c.axial * c.lateral)
		w.lateral += float64(weights[i] * c.lateral * c.lateral)
	}
	w.axial -= float64(w.meanColour * w.meanColour)
	w.both -= float64(w.meanColour * meanLateral)
	w.lateral -= float64(meanLateral * meanLateral)
}

// spot is the aberration within a pupil whose middle stands at a place, for one field. In the
// complex plane with its real axis along the field, and w from the pupil's middle, the slopes are
//
//	α·w²·w̄ + β·w² + 2·β̄·w·w̄ + μ·w + ν·w̄ + a constant.
type spot struct {
	alpha, mu         float64
	beta2, nu2        float64 // squares of magnitudes
	axial, transverse float64 // variances of colour: of the slope along w, and of the constant
}

// at is the spot for a place of the pupil's middle, along the field and across, in mm.
func (w *wave) at(along, across, t float64) spot {
	a0, a1t := 4*w.a[0], float64(4*w.a[1]*t)
	tt := float64(t * t)
	far2 := float64(along*along) + float64(across*across)
	betaX, betaY := float64(a0*along)+a1t, float64(a0*across)
	nuX := float64(a0*(float64(along*along)-float64(across*across))) + float64(2*a1t*along) + float64((4*w.a[2]-w.petzval)*tt)
	nuY := float64(2*a0*along*across) + float64(2*a1t*across)
	return spot{
		alpha: a0,
		mu: float64(2*a0*far2) + float64(4*a1t*along) + float64((8*w.a[2]+w.petzval)*tt) +
			w.linear,
		beta2:      float64(betaX*betaX) + float64(betaY*betaY),
		nu2:        float64(nuX*nuX) + float64(nuY*nuY),
		axial:      w.axial,
		transverse: float64(w.axial*far2) + float64(2*w.both*along*t) + float64(w.lateral*tt),
	}
}

// slope is that of a straight line through the spot along w, by least squares over a disc of
// the given squared radius: the reference wavelength alone.
func (s *spot) slope(r2 float64) float64 { return s.mu + float64(s.alpha*2*r2/3) }

// variance is that of the slopes about their mean over a disc of a squared radius and over
// the wavelengths, with the given slope along w left of that of the best straight line of all.
// Over a disc the means of |w|², |w|⁴ and |w|⁶ are r²/2, r⁴/3 and r⁶/4.
func (s *spot) variance(r2, left float64) float64 {
	r4 := float64(r2 * r2)
	return float64(s.alpha*s.alpha*r4*r2)/36 + float64(2*s.beta2*r4)/3 +
		float64(r2*(s.nu2+float64(left*left)+s.axial))/2 + s.transverse
}
