package raycheck

import (
	"math"
	"slices"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// RayPoint is where a ray meets something, in mm, and its direction cosines
// from there on towards the world. z counts from the first vertex and grows
// towards the eye, so N is negative.
type RayPoint struct {
	At      RayPlace
	Surface int // of a lens, counted from the world over the whole train; -1 elsewhere
	X, Y, Z float64
	L, M, N float64
}

// RayPlace tells what a ray meets.
type RayPlace uint8

// The places along a ray.
const (
	AtEye RayPlace = iota
	AtPlate
	AtMask
	AtLens
)

// RayStart is a ray where it leaves the eye: a point of the pupil in mm, and slopes per unit
// distance towards the world.
type RayStart struct {
	WavelengthNM   float64
	XMM, YMM       float64
	SlopeX, SlopeY float64
}

// TraceRay follows one ray from the eye through all
// surfaces and plates to the first vertex. masksMM are the physical positions of
// the layers of its masks, in the order of [objective.Train.MaskGaps], each behind the last
// vertex before it; the combiner stands
// midway in the eye relief. The points end where the ray misses a surface or
// is totally reflected: complete is then false, and the last point's direction
// the one in which it arrived.
func TraceRay(p *objective.Problem, t *objective.Train, masksMM []float64, start RayStart) (points []RayPoint, complete bool) {
	z := t.Length + t.EyeRelief
	sx, sy := start.SlopeX, start.SlopeY
	k := math.Sqrt(1 + sx*sx + sy*sy)
	ray := RayPoint{AtEye, -1, start.XMM, start.YMM, z, sx / k, sy / k, -1 / k}
	points = append(points, ray)
	index := 1.0
	// meet takes the ray to a surface with its vertex at z.
	meet := func(at RayPlace, number int, vertex float64, surface catalog.Surface, next float64) bool {
		if !ray.cross(vertex, surface) {
			return false
		}
		ray.At, ray.Surface = at, number
		ok := ray.bend(vertex, surface, index, next)
		points = append(points, ray)
		index = next
		return ok
	}
	flat := catalog.Surface{RadiusMM: math.Inf(1)}
	plate := func(middle, thickness, n float64) bool {
		return meet(AtPlate, -1, middle+thickness/2, flat, n) && meet(AtPlate, -1, middle-thickness/2, flat, 1)
	}
	if p.CombinerMM > 0 && !plate(t.Length+t.EyeRelief/2, p.CombinerMM, p.CombinerIndex) {
		return points, false
	}
	number := -1
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			number += len(e.Surfaces)
		}
	}
	z = t.Length
	for g := len(t.Groups) - 1; g >= 0; g-- {
		elements := t.Groups[g].Elements
		for i := len(elements) - 1; i >= 0; i-- {
			e := elements[i]
			for s := len(e.Surfaces) - 1; s >= 0; s-- {
				next := 1.0
				if s > 0 {
					next = e.Glasses[s-1].Index(start.WavelengthNM)
				}
				if !meet(AtLens, number, z, e.Surfaces[s], next) {
					return points, false
				}
				number--
				if s > 0 {
					z -= e.Thickness[s-1]
				}
			}
			if i > 0 {
				z -= t.Groups[g].GapsMM[i-1]
			}
		}
		if g == 0 {
			break
		}
		z -= t.Gaps[g-1]
		mask := slices.Index(t.MaskGaps(), g-1)
		if mask < 0 {
			continue
		}
		layer := z + masksMM[mask]
		half, n := p.MaskGlass/2, p.MaskGlassIndex
		if half == 0 {
			n = 1
		}
		if half > 0 && !meet(AtPlate, -1, layer+half, flat, n) || !meet(AtMask, -1, layer, flat, n) ||
			half > 0 && !meet(AtPlate, -1, layer-half, flat, 1) {
			return points, false
		}
	}
	return points, true
}

const (
	// crossingIterations is how many of Newton's steps lead to a crossing with an
	// asphere, and crossingAccepted, in mm, the error with which it is accepted.
	crossingIterations = 60
	crossingAccepted   = 1e-11
)

// cross moves the ray to its crossing with a surface, false for a miss. A
// conic is F(P) = c(x² + y² + (1+κ)z²) - 2z = 0, quadratic along the ray; of
// its two crossings the one at which a ray towards the world comes out of the
// side where F < 0 lies next to the vertex. Polynomial terms follow by
// Newton's iteration.
func (r *RayPoint) cross(vertex float64, surface catalog.Surface) bool {
	if surface.IsFaceted() {
		surface = catalog.Surface{RadiusMM: math.Inf(1)}
	}
	c, k := surface.Curvature(), 1+surface.Conic
	z := r.Z - vertex
	a := c * (r.L*r.L + r.M*r.M + k*r.N*r.N)
	b := c*(r.L*r.X+r.M*r.Y+k*r.N*z) - r.N
	f := c*(r.X*r.X+r.Y*r.Y+k*z*z) - 2*z
	s := -f / (b + math.Sqrt(b*b-a*f))
	if !surface.IsSpherical() && surface.Asphere != nil {
		if math.IsNaN(s) {
			s = -z / r.N
		}
		for range crossingIterations {
			h := math.Hypot(r.X+s*r.L, r.Y+s*r.M)
			rate := r.N
			if h > 0 {
				rate -= surface.SagSlope(h) * ((r.X+s*r.L)*r.L + (r.Y+s*r.M)*r.M) / h
			}
			s -= (z + s*r.N - surface.Sag(h)) / rate
		}
		if miss := z + s*r.N - surface.Sag(math.Hypot(r.X+s*r.L, r.Y+s*r.M)); !(math.Abs(miss) < crossingAccepted) {
			return false
		}
	}
	if k*c*(z+s*r.N) >= 1 || math.IsNaN(s) {
		return false
	}
	r.X, r.Y, r.Z = r.X+s*r.L, r.Y+s*r.M, r.Z+s*r.N
	return true
}

// bend refracts the ray, false for total reflection. The part of n·k that is
// tangential to the surface is kept (Snell's law as a vector equation), and
// what is normal follows from the length of n'·k'.
func (r *RayPoint) bend(vertex float64, surface catalog.Surface, n, next float64) bool {
	h := math.Hypot(r.X, r.Y)
	var nx, ny float64
	if h > 0 {
		slope := surface.SagSlope(h)
		nx, ny = slope*r.X/h, slope*r.Y/h
	}
	length := math.Sqrt(1 + nx*nx + ny*ny)
	nx, ny, nz := nx/length, ny/length, -1/length // towards the world
	along := r.L*nx + r.M*ny + r.N*nz
	tx, ty, tz := n*(r.L-along*nx), n*(r.M-along*ny), n*(r.N-along*nz)
	normal2 := next*next - tx*tx - ty*ty - tz*tz
	if along <= 0 || normal2 < 0 {
		return false
	}
	normal := math.Sqrt(normal2)
	r.L, r.M, r.N = (tx+normal*nx)/next, (ty+normal*ny)/next, (tz+normal*nz)/next
	return !surface.IsFaceted() || r.N < 0
}
