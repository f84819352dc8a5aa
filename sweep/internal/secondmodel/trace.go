package secondmodel

import (
	"math"

	"relaysweep/catalog"
)

// vector is a point in mm or a direction of length 1.
type vector [3]float64

func (v vector) plus(t float64, w vector) vector {
	return vector{v[0] + t*w[0], v[1] + t*w[1], v[2] + t*w[2]}
}
func (v vector) dot(w vector) float64 { return v[0]*w[0] + v[1]*w[1] + v[2]*w[2] }
func (v vector) unit() vector {
	n := math.Sqrt(v.dot(v))
	return vector{v[0] / n, v[1] / n, v[2] / n}
}

// ray is a point on the ray and its direction, which may have either sign
// along z.
type ray struct{ at, dir vector }

// toPlane moves the ray's point to the plane at z.
func (q ray) toPlane(z float64) ray {
	return ray{q.at.plus((z-q.at[2])/q.dir[2], q.dir), q.dir}
}

// meet is where the ray meets a surface with its vertex at z, and the
// surface's unit normal there; false where it misses.
func (q ray) meet(s catalog.Surface, z float64) (vector, vector, bool) {
	// From the vertex plane, in coordinates from the vertex.
	p := q.toPlane(z).at
	p[2] = 0
	if s.PitchMM > 0 {
		// On the plane, with the slope of a facet.
		n := vector{0, 0, 1}
		if h := math.Hypot(p[0], p[1]); h > 0 {
			n = vector{-s.SagSlope(h) * p[0] / h, -s.SagSlope(h) * p[1] / h, 1}.unit()
		}
		if math.IsNaN(n[2]) {
			return vector{}, vector{}, false
		}
		p[2] = z
		return p, n, true
	}
	if s.IsSpherical() {
		// c·|p + t·dir|² = 2·(p + t·dir)_z is a quadratic in t, of which the
		// root near the vertex is wanted.
		c := s.Curvature()
		g := q.dir[2] - c*p.dot(q.dir)
		f := c * p.dot(p)
		root := g*g - c*f
		if root < 0 {
			return vector{}, vector{}, false
		}
		t := f / (g + math.Copysign(math.Sqrt(root), q.dir[2]))
		p = p.plus(t, q.dir)
		if !(1-c*p[2] > 0) {
			return vector{}, vector{}, false
		}
		n := vector{-c * p[0], -c * p[1], 1 - c*p[2]}.unit()
		p[2] += z
		return p, n, true
	}
	// Newton's method on z - sag(height).
	for range 100 {
		h := math.Hypot(p[0], p[1])
		off := p[2] - s.Sag(h)
		grade := q.dir[2]
		if h > 0 {
			grade -= s.SagSlope(h) * (p[0]*q.dir[0] + p[1]*q.dir[1]) / h
		}
		t := -off / grade
		p = p.plus(t, q.dir)
		if math.IsNaN(t) {
			return vector{}, vector{}, false
		}
		if math.Abs(t) < 1e-13 {
			h = math.Hypot(p[0], p[1])
			n := vector{0, 0, 1}
			if h > 0 {
				slope := s.SagSlope(h)
				n = vector{-slope * p[0] / h, -slope * p[1] / h, 1}.unit()
			}
			p[2] += z
			return p, n, true
		}
	}
	return vector{}, vector{}, false
}

// bend is Snell's law in vector form: the part of index times direction along
// the surface is kept. False for total reflection.
func bend(dir, normal vector, from, to float64) (vector, bool) {
	cos := dir.dot(normal)
	if cos < 0 {
		normal = vector{-normal[0], -normal[1], -normal[2]}
		cos = -cos
	}
	ratio := from / to
	cos2 := 1 - ratio*ratio*(1-cos*cos)
	if cos2 < 0 {
		return vector{}, false
	}
	out := vector{ratio * dir[0], ratio * dir[1], ratio * dir[2]}
	return out.plus(math.Sqrt(cos2)-ratio*cos, normal).unit(), true
}

// through refracts the ray at one surface.
func (q ray) through(s catalog.Surface, z, from, to float64) (ray, bool) {
	p, n, ok := q.meet(s, z)
	if !ok {
		return ray{}, false
	}
	dir, ok := bend(q.dir, n, from, to)
	return ray{p, dir}, ok
}

// flat is a plane surface.
var flat = catalog.Surface{RadiusMM: math.Inf(1)}

// plate takes the ray through a plane plate of index n between the planes at
// za and zb.
func (q ray) plate(za, zb, n float64) (ray, bool) {
	q, ok := q.through(flat, za, 1, n)
	if !ok {
		return q, false
	}
	return q.through(flat, zb, n, 1)
}

// seen is what becomes of a ray from the eye to the world.
type seen struct {
	lost      bool
	vignetted bool    // outside the clear aperture of some surface
	gaps      [2]ray  // in the gap of each mask, before the mask's glass
	x, y      float64 // where it meets the viewpoint plane
	ux, uy    float64 // slopes there, per unit of distance towards the world
}

// optics is a train made ready for exact rays of one wavelength.
type optics struct {
	t         *train
	e         float64
	vertex    [][]float64 // of each surface of each stack
	index     [][]float64 // behind each surface
	viewpoint float64     // from the first vertex
	masks     []float64   // paraxial positions for the far end: where the glass stands in the trace
	// met is told of each surface that a ray meets, with the ray before and behind it; may be nil.
	met func(f face, before, after ray)
}

// newOptics places all surfaces, the first vertex at z = 0.
func newOptics(t *train, e, wavelengthNM float64) *optics {
	o := &optics{t: t, e: e}
	z := 0.0
	for i, s := range t.stacks {
		if i > 0 {
			z += t.gaps[i-1]
		}
		var zs, ns []float64
		for _, f := range s.faces {
			n := 1.0
			if f.glass != nil {
				n = f.glass.Index(wavelengthNM)
			}
			zs = append(zs, z+f.z)
			ns = append(ns, n)
		}
		o.vertex = append(o.vertex, zs)
		o.index = append(o.index, ns)
		z += s.t
	}
	all, masks := t.views(e)
	o.viewpoint = all[0].m.b / all[0].m.a
	for _, mask := range masks {
		at, _ := t.setpoint(mask, t.r.far())
		o.masks = append(o.masks, at)
	}
	return o
}

// gapStart is the z of the last vertex before the k-th mask.
func (o *optics) gapStart(k int) float64 {
	v := o.vertex[o.t.maskGaps[k]]
	return v[len(v)-1]
}

// trace follows one ray from the point (px, py) of the eye's plane to the
// world. It comes from the apparent point of vergence v (1/mm) and the field
// angle with the tangent tan, upwards.
func (o *optics) trace(px, py, tan, v float64) seen {
	var out seen
	out.lost = true
	eye := o.t.length() + o.e
	// The apparent point stands 1/v before the eye at the height tan/v: per
	// unit of distance towards it the ray moves by (-px·v, tan - py·v).
	q := ray{vector{px, py, eye}, vector{-px * v, tan - py*v, -1}.unit()}
	ok := true
	if c := o.t.r.CombinerMM; c > 0 {
		last := o.t.length() + (o.e-c)/2
		if q, ok = q.plate(last+c, last, o.t.r.CombinerIndex); !ok {
			return out
		}
	}
	for i := len(o.t.stacks) - 1; i >= 0; i-- {
		faces := o.t.stacks[i].faces
		for j := len(faces) - 1; j >= 0; j-- {
			before := 1.0
			if j > 0 {
				before = o.index[i][j-1]
			}
			on := q
			if q, ok = q.through(faces[j].surface, o.vertex[i][j], o.index[i][j], before); !ok {
				return out
			}
			if o.met != nil {
				o.met(faces[j], on, q)
			}
			if math.Hypot(q.at[0], q.at[1]) > faces[j].clear {
				out.vignetted = true
			}
		}
		for k, gap := range o.t.maskGaps {
			if i-1 != gap {
				continue
			}
			out.gaps[k] = q
			if g := o.t.r.MaskGlassMM; g > 0 {
				layer := o.gapStart(k) + o.masks[k]
				if q, ok = q.plate(layer+g/2, layer-g/2, o.t.r.MaskGlassIndex); !ok {
					return out
				}
			}
		}
	}
	q = q.toPlane(o.viewpoint)
	out.lost = false
	out.x, out.y = q.at[0], q.at[1]
	out.ux, out.uy = q.dir[0]/-q.dir[2], q.dir[1]/-q.dir[2]
	return out
}

// crossing is where a ray of the gap of the k-th mask meets the mask's layer when it
// stands at a position.
func (o *optics) crossing(s seen, k int, position float64) (x, y float64) {
	layer := o.gapStart(k) + position
	q := s.gaps[k]
	if g := o.t.r.MaskGlassMM; g > 0 {
		q, _ = q.through(flat, layer+g/2, 1, o.t.r.MaskGlassIndex)
	}
	q = q.toPlane(layer)
	return q.at[0], q.at[1]
}
