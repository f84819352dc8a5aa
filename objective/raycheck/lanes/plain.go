package lanes

import "math"

// plainFlat meets a plane.
func (r *Rays) plainFlat(distance, ratio float64) (margin float64) {
	n := len(r.X)
	x, y, w := r.X[:n], r.Y[:n], r.W[:n]
	kx, ky, kw, per := r.KX[:n], r.KY[:n], r.KW[:n], r.Per[:n]
	margin = 1
	ratio2 := ratio * ratio
	for i := range x {
		l, m, k := kx[i], ky[i], kw[i]
		s := (distance - w[i]) * per[i]
		x[i] += float64(s * l)
		y[i] += float64(s * m)
		w[i] = 0
		cos2 := k * k
		after2 := 1 - float64(ratio2*(1-cos2))
		if cos2 < margin {
			margin = cos2
		}
		if after2 < margin {
			margin = after2
		}
		after := math.Sqrt(after2)
		kx[i], ky[i], kw[i], per[i] = ratio*l, ratio*m, after, 1/after
	}
	return margin
}

// plainSphere meets a sphere of curvature c. From the point where the ray
// meets the vertex plane the length of the way to the surface solves
// c·s² - 2g·s + c·r² = 0; in the form c·r²/(g + sqrt(g² - c²r²)) it stays exact
// as c goes to 0 and belongs to the crossing next to the vertex (W. T. Welford,
// Aberrations of Optical Systems, 1986, section 4.3). The root is the cosine of
// the angle of incidence there. g < 0 cannot happen with a real root, because a
// sphere lies on one side of its vertex plane.
//
// The same equation gives c·s = g - root, and with it the normal's third
// component 1 - c·w without s. So the new direction is known before the
// crossing, and one division serves both the way to the surface and the
// reciprocal with which the next surface begins.
func (r *Rays) plainSphere(distance, c, ratio float64) (margin float64) {
	n := len(r.X)
	x, y, w := r.X[:n], r.Y[:n], r.W[:n]
	kx, ky, kw, per := r.KX[:n], r.KY[:n], r.KW[:n], r.Per[:n]
	margin = 1
	ratio2 := ratio * ratio
	for i := range x {
		l, m, k := kx[i], ky[i], kw[i]
		s := (distance - w[i]) * per[i]
		px, py := x[i]+float64(s*l), y[i]+float64(s*m)
		g := k - float64(c*(float64(l*px)+float64(m*py)))
		f := c * (float64(px*px) + float64(py*py))
		cos2 := float64(g*g) - float64(c*f)
		after2 := 1 - float64(ratio2*(1-cos2))
		cos := math.Sqrt(cos2)
		bend := math.Sqrt(after2) - float64(ratio*cos)
		nw := 1 - float64((g-cos)*k)
		if nw <= 0 {
			bend, margin = math.NaN(), min(margin, -1) // the far half of the sphere
		}
		if cos2 < margin {
			margin = cos2
		}
		if after2 < margin {
			margin = after2
		}
		next := float64(ratio*k) + float64(bend*nw)
		way := g + cos
		inverse := 1 / (way * next)
		s = f * next * inverse
		px += float64(s * l)
		py += float64(s * m)
		x[i], y[i], w[i] = px, py, s*k
		bend *= c
		kx[i] = float64(ratio*l) - float64(bend*px)
		ky[i] = float64(ratio*m) - float64(bend*py)
		kw[i] = next
		per[i] = way * inverse
	}
	return margin
}

// plainTilted meets a sphere, or a plane, anywhere. With the vertex as origin and
// the unit vector a along the surface's axis its points fulfil c·P² - 2 P·a = 0, so
// that no frame needs to be turned. From the point p in the plane w = 0 the
// crossing p + s·k solves c·s² - 2 g·s + f = 0 with g = a·k - c p·k and f = c·p² -
// 2 p·a; s = f/(g + sqrt(g² - c·f)) is the crossing next to the vertex and exact for
// c = 0. The unit normal there is a - c·P, and the root the cosine of the angle of
// incidence. Refraction is by the vector form of the law, n'k' = nk + (n'cos i' -
// n cos i)·N (W. T. Welford, Aberrations of Optical Systems, 1986, sections 4.3 and
// 4.4). As in plainSphere one division serves twice.
func (r *Rays) plainTilted(s *Tilted, ratio float64) {
	n := len(r.X)
	x, y, w := r.X[:n], r.Y[:n], r.W[:n]
	kx, ky, kw, per := r.KX[:n], r.KY[:n], r.KW[:n], r.Per[:n]
	vx, vy, vw := s.Vertex[0], s.Vertex[1], s.Vertex[2]
	ax, ay, aw := s.Axis[0], s.Axis[1], s.Axis[2]
	c, ratio2 := s.Curvature, ratio*ratio
	for i := range x {
		l, m, k := kx[i], ky[i], kw[i]
		t := (vw - w[i]) * per[i]
		px, py := x[i]+float64(t*l)-vx, y[i]+float64(t*m)-vy
		ka, pa := float64(ax*l)+float64(ay*m)+float64(aw*k), float64(ax*px)+float64(ay*py)
		g := ka - float64(c*(float64(l*px)+float64(m*py)))
		f := float64(c*(float64(px*px)+float64(py*py))) - 2*pa
		cos2 := float64(g*g) - float64(c*f)
		cos := math.Sqrt(cos2)
		bend := math.Sqrt(1-float64(ratio2*(1-cos2))) - float64(ratio*cos)
		along := g - cos // c·s
		// The normal's part along the axis is positive on the half next to the vertex.
		if !(float64(c*pa)+float64(along*ka) < 1) {
			bend = math.NaN()
		}
		next := float64(ratio*k) + float64(bend*(aw-float64(along*k)))
		both := g + cos
		inverse := 1 / (both * next)
		way := f * next * inverse
		px += float64(way * l)
		py += float64(way * m)
		x[i], y[i], w[i] = px+vx, py+vy, float64(way*k)+vw
		kx[i] = float64(ratio*l) + float64(bend*(ax-float64(c*px)))
		ky[i] = float64(ratio*m) + float64(bend*(ay-float64(c*py)))
		kw[i], per[i] = next, both*inverse
	}
}

// plainConic meets a conic of revolution of curvature c and conic constant
// κ, c(x² + y² + (1+κ)w²) - 2w = 0, by the same closed form.
func (r *Rays) plainConic(st *Surface, ratio float64) (margin float64) {
	margin = 1
	for i := range r.X {
		px, py := r.toPlane(i, st.DistanceMM)
		s, normal := conicCrossing(st, px, py, r.KX[i], r.KY[i], r.KW[i])
		px += float64(s * r.KX[i])
		py += float64(s * r.KY[i])
		r.X[i], r.Y[i], r.W[i] = px, py, s*r.KW[i]
		c := st.Curvature / normal
		nw := 1 - float64((1+st.Conic)*st.Curvature*r.W[i])
		margin = min(margin, r.refract(i, ratio, c*px, c*py, nw/normal))
	}
	return margin
}

// plainAsphere meets a conic with even polynomial terms.
func (r *Rays) plainAsphere(st *Surface, ratio float64) (margin float64) {
	margin = 1
	for i := range r.X {
		px, py := r.toPlane(i, st.DistanceMM)
		s, slope := asphereCrossing(st, px, py, r.KX[i], r.KY[i], r.KW[i])
		px += float64(s * r.KX[i])
		py += float64(s * r.KY[i])
		r.X[i], r.Y[i], r.W[i] = px, py, s*r.KW[i]
		nx, ny := slope*px, slope*py
		normal := math.Sqrt(1 + float64(nx*nx) + float64(ny*ny))
		margin = min(margin, r.refract(i, ratio, nx/normal, ny/normal, 1/normal))
	}
	return margin
}

// toPlane is where ray i meets the next vertex plane.
func (r *Rays) toPlane(i int, distance float64) (x, y float64) {
	s := (distance - r.W[i]) * r.Per[i]
	return r.X[i] + float64(s*r.KX[i]), r.Y[i] + float64(s*r.KY[i])
}

// refract bends ray i by the vector form of the law of refraction,
// n'k' = nk + (n'cos i' - n cos i)·N (W. T. Welford, Aberrations of Optical
// Systems, 1986, section 4.4), for the unit normal N = (-nx, -ny, nw). It
// returns the smaller squared cosine, a negative number for a ray that is lost.
func (r *Rays) refract(i int, ratio, nx, ny, nw float64) (margin float64) {
	l, m, k := r.KX[i], r.KY[i], r.KW[i]
	cos := float64(nw*k) - float64(nx*l) - float64(ny*m)
	if !(cos > 0 && nw > 0) {
		cos = math.NaN() // missed, or a crossing that is not next to the vertex
	}
	cos2 := cos * cos
	after2 := 1 - float64(ratio*ratio*(1-cos2))
	bend := math.Sqrt(after2) - float64(ratio*cos)
	r.KX[i] = float64(ratio*l) - float64(bend*nx)
	r.KY[i] = float64(ratio*m) - float64(bend*ny)
	r.KW[i] = float64(ratio*k) + float64(bend*nw)
	r.Per[i] = 1 / r.KW[i]
	if math.IsNaN(bend) {
		return -1
	}
	return min(cos2, after2)
}

// conicCrossing is the way s along a ray from the vertex plane to the conic,
// NaN for a miss, and the length of the gradient there.
func conicCrossing(st *Surface, x, y, kx, ky, kw float64) (s, normal float64) {
	c, k1 := st.Curvature, 1+st.Conic
	r2 := float64(x*x) + float64(y*y)
	g := kw - float64(c*(float64(kx*x)+float64(ky*y)))
	a := c * (1 + float64(st.Conic*kw*kw))
	root := math.Sqrt(float64(g*g) - float64(a*c*r2))
	s = c * r2 / (g + root)
	hx, hy := x+float64(s*kx), y+float64(s*ky)
	nw := 1 - float64(k1*c*s*kw)
	return s, math.Sqrt(float64(c*c*(float64(hx*hx)+float64(hy*hy))) + float64(nw*nw))
}

const (
	// asphereTolerance, in mm, is where Newton's iteration ends: a few units
	// in the last place of a sag of 10 mm.
	asphereTolerance = 1e-14
	// asphereAccepted, in mm, is the error with which a crossing is accepted
	// when rounding keeps the iteration from ending.
	asphereAccepted   = 1e-11
	asphereIterations = 60
	// quickIterations is how many steps Newton's iteration may take that at least
	// halve the distance from the surface each. From the crossing with the conic
	// a usual asphere takes three.
	quickIterations = 6
)

// asphereCrossing is the way s along a ray from the vertex plane to the
// asphere, NaN for a miss, and dw/dh divided by h there. Newton's iteration
// starts at the crossing with the conic. If it does not end soon it starts
// again, with care.
func asphereCrossing(st *Surface, x, y, kx, ky, kw float64) (s, slope float64) {
	start, _ := conicCrossing(st, x, y, kx, ky, kw)
	if math.IsNaN(start) {
		start = 0
	}
	s = start
	last := math.Inf(1)
	for range quickIterations {
		miss, slope, rate := st.miss(s, x, y, kx, ky, kw)
		off := math.Abs(miss)
		if off <= asphereTolerance || off <= asphereAccepted && last <= asphereAccepted {
			return s, slope
		}
		if !(rate > 0 && off < last/2) {
			break // the ray runs along the surface, or past a crossing
		}
		s -= miss / rate
		last = off
	}
	return carefulCrossing(st, start, x, y, kx, ky, kw)
}

// carefulCrossing is asphereCrossing from a given start. It halves each step that
// does not bring the ray nearer to the surface.
func carefulCrossing(st *Surface, s, x, y, kx, ky, kw float64) (crossing, slope float64) {
	miss, slope, rate := st.miss(s, x, y, kx, ky, kw)
	for range asphereIterations {
		if math.Abs(miss) <= asphereTolerance || !(rate > 0) {
			break
		}
		change := -miss / rate
		next, nextSlope, nextRate := st.miss(s+change, x, y, kx, ky, kw)
		for !(math.Abs(next) < math.Abs(miss)) && math.Abs(change) > asphereTolerance {
			change /= 2
			next, nextSlope, nextRate = st.miss(s+change, x, y, kx, ky, kw)
		}
		if !(math.Abs(next) < math.Abs(miss)) {
			break
		}
		s, miss, slope, rate = s+change, next, nextSlope, nextRate
	}
	if !(math.Abs(miss) <= asphereAccepted) {
		return math.NaN(), math.NaN()
	}
	return s, slope
}

// miss is by how much a ray is beyond the surface at the way s from (x, y) of
// the vertex plane, with dw/dh divided by h of the surface there, and how fast
// that changes along the ray.
func (st *Surface) miss(s, x, y, kx, ky, kw float64) (miss, slope, rate float64) {
	hx, hy := x+float64(s*kx), y+float64(s*ky)
	sag, slope := st.sag(float64(hx*hx) + float64(hy*hy))
	return float64(s*kw) - sag, slope, kw - float64(slope*(float64(hx*kx)+float64(hy*ky)))
}

// sag is w at the squared height h2, and dw/dh divided by h.
func (st *Surface) sag(h2 float64) (w, slope float64) {
	c := st.Curvature
	root := math.Sqrt(1 - float64((1+st.Conic)*c*c*h2))
	w = c * h2 / (1 + root)
	slope = c / root
	power := 1.0
	for i, a := range st.Asphere {
		power *= h2
		slope += float64(float64(2*(i+2)) * a * power)
		w += float64(a * power * h2)
	}
	return w, slope
}

func (r *Rays) plainLaunch(px, py []float64, tan, v float64) {
	for i := range px {
		sx, sy := -float64(px[i]*v), tan-float64(py[i]*v)
		per := math.Sqrt(1 + float64(sx*sx) + float64(sy*sy))
		k := 1 / per
		r.X[i], r.Y[i], r.W[i] = px[i], py[i], 0
		r.KX[i], r.KY[i], r.KW[i], r.Per[i] = sx*k, sy*k, k, per
	}
}

// plainPlate moves points (x, y) of rays sideways.
func plainPlate(x, y []float64, r *Rays, thickness, n float64) {
	for i := range x {
		f := thickness * PlateSlope(n, r.KW[i])
		x[i] += float64(f * r.KX[i])
		y[i] += float64(f * r.KY[i])
	}
}

func (r *Rays) plainOverfill(over []float64, scale float64) {
	for i := range over {
		if h := (float64(r.X[i]*r.X[i]) + float64(r.Y[i]*r.Y[i])) * scale; h > over[i] {
			over[i] = h
		}
	}
}

func (l *Lines) plainCross(r *Rays, distance float64) {
	for i := range l.X {
		per := r.Per[i]
		sx, sy := r.KX[i]*per, r.KY[i]*per
		f := distance - r.W[i]
		l.X[i], l.Y[i], l.SX[i], l.SY[i] = r.X[i]+float64(f*sx), r.Y[i]+float64(f*sy), sx, sy
	}
}

func plainBetween(to, reference, far, referenceFar, near, referenceNear []float64, share float64) {
	for i := range to {
		a, b := far[i]-referenceFar[i], near[i]-referenceNear[i]
		to[i] = reference[i] + a + float64(share*(b-a))
	}
}

func plainMix(to, from, share []float64) {
	n := len(to)
	q, a := share[0], from[:n]
	for i := range to {
		to[i] = q * a[i]
	}
	for k := 1; k < len(share); k++ {
		q, a := share[k], from[k*n:][:n]
		for i := range to {
			to[i] += float64(q * a[i])
		}
	}
}

func (l *Lines) plainCrossingSums(weight []float64, distance, chief float64) (a CrossingSums) {
	n := len(weight)
	x, y, lx, ly := l.X[:n], l.Y[:n], l.SX[:n], l.SY[:n]
	for i, q := range weight {
		if q == 0 {
			continue
		}
		sx, sy := lx[i], ly[i]
		px, py := x[i]+float64(distance*sx), y[i]+float64(distance*sy)-chief
		a.Weight += q
		a.PX += float64(q * px)
		a.SX += float64(q * sx)
		a.PY += float64(q * py)
		a.SY += float64(q * sy)
		a.PP += float64(q * (float64(px*px) + float64(py*py)))
		a.PS += float64(q * (float64(px*sx) + float64(py*sy)))
		a.SS += float64(q * (float64(sx*sx) + float64(sy*sy)))
	}
	return a
}

func (l *Lines) plainSlopeSums(weight []float64, vergence, chief float64) (a SlopeSums) {
	n := len(weight)
	lx, ly, sx, sy := l.X[:n], l.Y[:n], l.SX[:n], l.SY[:n]
	for i, q := range weight {
		if q == 0 {
			continue
		}
		x, y := lx[i], ly[i]
		ex, ey := sx[i]+float64(vergence*x), sy[i]+float64(vergence*y)-chief
		qx, qy, qex, qey := q*x, q*y, q*ex, q*ey
		a.Weight += q
		a.X += qx
		a.EX += qex
		a.Y += qy
		a.EY += qey
		a.XX += float64(qx * x)
		a.XE += float64(qx * ex)
		a.EXX += float64(qex * ex)
		a.YY += float64(qy * y)
		a.YE += float64(qy * ey)
		a.EYY += float64(qey * ey)
	}
	return a
}
