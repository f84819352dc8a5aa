package bench

import (
	"math"

	"relaysweep/objective/raycheck/lanes"
)

// surface is one refracting surface where it really stands.
type surface struct {
	vertex    vec      // on the bench; w from the eye
	axis      vec      // the direction of its own axis, away from the eye
	turn      rotation // of its frame; used by aspheres and facets only
	curvature float64  // as seen from the eye: the opposite of 1/R
	conic     float64
	asphere   []float64 // a4, a6, … as seen from the eye; empty for none
	faceted   bool      // the plane at the vertex, with facets of these slopes
	clear     float64   // clear semi-diameter
}

// launch sets ray i to leave the pupil at (px, py) with slopes sx and sy.
func launch(r *lanes.Rays, i int, px, py, sx, sy float64) {
	per := math.Sqrt(1 + float64(sx*sx) + float64(sy*sy))
	k := 1 / per
	r.X[i], r.Y[i], r.W[i] = px, py, 0
	r.KX[i], r.KY[i], r.KW[i], r.Per[i] = sx*k, sy*k, k, per
}

// shiftByPlate moves the rays sideways as a plane plate across the axis does, by
// its thickness times the difference between the slopes in glass and in air
// (W. J. Smith, Modern Optical Engineering, 4th ed., 2008, pp. 134-135, before the
// small-angle approximation).
func shiftByPlate(r *lanes.Rays, thickness, n float64) {
	if thickness == 0 {
		return
	}
	for i := range r.X {
		k := r.KW[i]
		f := thickness * (1/math.Sqrt(float64(n*n)-1+float64(k*k)) - r.Per[i])
		r.X[i] += float64(f * r.KX[i])
		r.Y[i] += float64(f * r.KY[i])
	}
}

// through takes the rays to surface s and refracts them there. ratio is the index
// before the surface over that after it.
func (s *surface) through(r *lanes.Rays, ratio float64) {
	if s.conic == 0 && len(s.asphere) == 0 && !s.faceted {
		r.ThroughTilted(&lanes.Tilted{Vertex: s.vertex, Axis: s.axis, Curvature: s.curvature}, ratio)
		return
	}
	for i := range r.X {
		s.throughAsphere(r, i, ratio)
	}
}

const (
	// asphereTolerance, in mm, is where Newton's iteration at an asphere ends: a few
	// units in the last place of a sag of 10 mm.
	asphereTolerance  = 1e-14
	asphereAccepted   = 1e-11
	asphereIterations = 60
)

// throughAsphere meets a conic with even polynomial terms, or a plane with facets, in the surface's own
// frame.
func (s *surface) throughAsphere(r *lanes.Rays, i int, ratio float64) {
	p := s.turn.into(vec{r.X[i] - s.vertex[0], r.Y[i] - s.vertex[1], r.W[i] - s.vertex[2]})
	k := s.turn.into(vec{r.KX[i], r.KY[i], r.KW[i]})
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
	r.X[i], r.Y[i], r.W[i] = p[0], p[1], p[2]
	r.KX[i], r.KY[i], r.KW[i], r.Per[i] = k[0], k[1], k[2], 1/k[2]
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
func (s *surface) height2(r *lanes.Rays, i int) float64 {
	x, y, w := r.X[i]-s.vertex[0], r.Y[i]-s.vertex[1], r.W[i]-s.vertex[2]
	along := float64(x*s.axis[0]) + float64(y*s.axis[1]) + float64(w*s.axis[2])
	return float64(x*x) + float64(y*y) + float64(w*w) - float64(along*along)
}
