package bench

import "math"

// surface is one refracting surface where it really stands.
type surface struct {
	vertex    vec      // on the bench; w from the eye
	axis      vec      // the direction of its own axis, away from the eye
	turn      rotation // of its frame; used by aspheres only
	curvature float64  // as seen from the eye: the opposite of 1/R
	conic     float64
	asphere   []float64 // a4, a6, … as seen from the eye; empty for none
	faceted   bool      // the plane at the vertex, with facets of these slopes
	clear     float64   // clear semi-diameter
}

// rays are many rays as a structure of arrays: a point in mm, w from the eye,
// direction cosines, and 1/kw. A ray that is lost has NaN for its direction.
type rays struct{ x, y, w, kx, ky, kw, per []float64 }

func newRays(n int) rays {
	all := make([]float64, 7*n)
	cut := func(i int) []float64 { return all[i*n : (i+1)*n : (i+1)*n] }
	return rays{cut(0), cut(1), cut(2), cut(3), cut(4), cut(5), cut(6)}
}

func (r *rays) part(from, to int) rays {
	return rays{r.x[from:to], r.y[from:to], r.w[from:to], r.kx[from:to], r.ky[from:to], r.kw[from:to], r.per[from:to]}
}

func (r *rays) copyFrom(s *rays) {
	copy(r.x, s.x)
	copy(r.y, s.y)
	copy(r.w, s.w)
	copy(r.kx, s.kx)
	copy(r.ky, s.ky)
	copy(r.kw, s.kw)
	copy(r.per, s.per)
}

// launch sets ray i to leave the pupil at (px, py) with slopes sx and sy.
func (r *rays) launch(i int, px, py, sx, sy float64) {
	per := math.Sqrt(1 + float64(sx*sx) + float64(sy*sy))
	k := 1 / per
	r.x[i], r.y[i], r.w[i] = px, py, 0
	r.kx[i], r.ky[i], r.kw[i], r.per[i] = sx*k, sy*k, k, per
}

// shiftByPlate moves the rays sideways as a plane plate across the axis does, by
// its thickness times the difference between the slopes in glass and in air
// (W. J. Smith, Modern Optical Engineering, 4th ed., 2008, pp. 134-135, before the
// small-angle approximation).
func (r *rays) shiftByPlate(thickness, n float64) {
	if thickness == 0 {
		return
	}
	for i := range r.x {
		k := r.kw[i]
		f := thickness * (1/math.Sqrt(float64(n*n)-1+float64(k*k)) - r.per[i])
		r.x[i] += float64(f * r.kx[i])
		r.y[i] += float64(f * r.ky[i])
	}
}

// through takes the rays to surface s and refracts them there. ratio is the index
// before the surface over that after it.
func (r *rays) through(s *surface, ratio float64) {
	if s.conic == 0 && len(s.asphere) == 0 && !s.faceted {
		r.throughSphere(s, ratio)
		return
	}
	for i := range r.x {
		r.throughAsphere(i, s, ratio)
	}
}

// throughSphere meets a sphere, or a plane, anywhere. With the vertex as origin and
// the unit vector a along the surface's axis its points fulfil c·P² - 2 P·a = 0, so
// that no frame needs to be turned. From the point p in the plane w = 0 the
// crossing p + s·k solves c·s² - 2 g·s + f = 0 with g = a·k - c p·k and f = c·p² -
// 2 p·a; s = f/(g + sqrt(g² - c·f)) is the crossing next to the vertex and exact for
// c = 0. The unit normal there is a - c·P, and the root the cosine of the angle of
// incidence. Refraction is by the vector form of the law, n'k' = nk + (n'cos i' -
// n cos i)·N (W. T. Welford, Aberrations of Optical Systems, 1986, sections 4.3 and
// 4.4).
//
// As c·s is g less the root, the new direction is known before the crossing, and one
// division serves both the way to the surface and the reciprocal with which the next
// begins.
func (r *rays) throughSphere(s *surface, ratio float64) {
	n := len(r.x)
	x, y, w := r.x[:n], r.y[:n], r.w[:n]
	kx, ky, kw, per := r.kx[:n], r.ky[:n], r.kw[:n], r.per[:n]
	vx, vy, vw := s.vertex[0], s.vertex[1], s.vertex[2]
	ax, ay, aw := s.axis[0], s.axis[1], s.axis[2]
	c, ratio2 := s.curvature, ratio*ratio
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

const (
	// asphereTolerance, in mm, is where Newton's iteration at an asphere ends: a few
	// units in the last place of a sag of 10 mm.
	asphereTolerance  = 1e-14
	asphereAccepted   = 1e-11
	asphereIterations = 60
)

// throughAsphere meets a conic with even polynomial terms, in the surface's own
// frame.
func (r *rays) throughAsphere(i int, s *surface, ratio float64) {
	p := s.turn.into(vec{r.x[i] - s.vertex[0], r.y[i] - s.vertex[1], r.w[i] - s.vertex[2]})
	k := s.turn.into(vec{r.kx[i], r.ky[i], r.kw[i]})
	t := -p[2] / k[2]
	p = vec{p[0] + float64(t*k[0]), p[1] + float64(t*k[1]), 0}
	var way, slope float64
	if s.faceted {
		_, slope, _ = s.miss(0, p[0], p[1], k)
	} else {
		way, slope = s.crossing(p[0], p[1], k)
	}
	p = vec{p[0] + float64(way*k[0]), p[1] + float64(way*k[1]), way * k[2]}
	nx, ny := -slope*p[0], -slope*p[1]
	length := math.Sqrt(1 + float64(nx*nx) + float64(ny*ny))
	nx, ny, nw := nx/length, ny/length, 1/length
	cos := float64(nx*k[0]) + float64(ny*k[1]) + float64(nw*k[2])
	if !(cos > 0) {
		cos = math.NaN()
	}
	bend := math.Sqrt(1-float64(ratio*ratio*(1-float64(cos*cos)))) - float64(ratio*cos)
	along := float64(ratio*k[2]) + float64(bend*nw)
	if s.faceted && !(along > 0) {
		along = math.NaN() // backwards
	}
	k = s.turn.of(vec{float64(ratio*k[0]) + float64(bend*nx), float64(ratio*k[1]) + float64(bend*ny), along})
	p = s.turn.of(p).add(s.vertex)
	r.x[i], r.y[i], r.w[i] = p[0], p[1], p[2]
	r.kx[i], r.ky[i], r.kw[i], r.per[i] = k[0], k[1], k[2], 1/k[2]
}

// crossing is the way along a ray from the point (x, y) of the vertex plane to the
// surface, NaN for a miss, and dw/dh divided by h there. The conic c(x² + y² +
// (1+κ)w²) - 2w = 0 is met in closed form; polynomial terms follow by Newton's
// iteration from there, whose steps are halved where they do not come nearer.
func (s *surface) crossing(x, y float64, k vec) (way, slope float64) {
	c := s.curvature
	g := k[2] - float64(c*(float64(k[0]*x)+float64(k[1]*y)))
	a := c * (1 + float64(s.conic*k[2]*k[2]))
	h2 := float64(x*x) + float64(y*y)
	way = c * h2 / (g + math.Sqrt(float64(g*g)-float64(a*c*h2)))
	if len(s.asphere) > 0 && math.IsNaN(way) {
		way = 0
	}
	miss, slope, rate := s.miss(way, x, y, k)
	if len(s.asphere) == 0 {
		if !(float64((1+s.conic)*c*way*k[2]) < 1) {
			return math.NaN(), math.NaN()
		}
		return way, slope
	}
	for range asphereIterations {
		if math.Abs(miss) <= asphereTolerance || !(rate > 0) {
			break
		}
		change := -miss / rate
		next, nextSlope, nextRate := s.miss(way+change, x, y, k)
		for !(math.Abs(next) < math.Abs(miss)) && math.Abs(change) > asphereTolerance {
			change /= 2
			next, nextSlope, nextRate = s.miss(way+change, x, y, k)
		}
		if !(math.Abs(next) < math.Abs(miss)) {
			break
		}
		way, miss, slope, rate = way+change, next, nextSlope, nextRate
	}
	if !(math.Abs(miss) <= asphereAccepted) {
		return math.NaN(), math.NaN()
	}
	return way, slope
}

// miss is by how much a ray is beyond the surface, with dw/dh divided by h there,
// and how fast that changes along the ray.
func (s *surface) miss(way, x, y float64, k vec) (miss, slope, rate float64) {
	hx, hy := x+float64(way*k[0]), y+float64(way*k[1])
	h2 := float64(hx*hx) + float64(hy*hy)
	c := s.curvature
	root := math.Sqrt(1 - float64((1+s.conic)*c*c*h2))
	sag := c * h2 / (1 + root)
	slope = c / root
	power := 1.0
	for i, a := range s.asphere {
		power *= h2
		slope += float64(float64(2*(i+2)) * a * power)
		sag += float64(a * power * h2)
	}
	return float64(way*k[2]) - sag, slope, k[2] - float64(slope*(float64(hx*k[0])+float64(hy*k[1])))
}

// height2 is the squared height of ray i above the surface's own axis.
func (r *rays) height2(i int, s *surface) float64 {
	x, y, w := r.x[i]-s.vertex[0], r.y[i]-s.vertex[1], r.w[i]-s.vertex[2]
	along := float64(x*s.axis[0]) + float64(y*s.axis[1]) + float64(w*s.axis[2])
	return float64(x*x) + float64(y*y) + float64(w*w) - float64(along*along)
}
