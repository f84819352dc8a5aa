package raycheck

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// The exact trace runs from the eye to the world, in a frame that is mirrored
// so that rays advance: w = -z, slopes are dx/dw and dy/dw, and a surface shows
// its other side (opposite curvature and aspheric terms). Positions are kept
// relative to the vertex of the surface that was met last.

// rays are many rays as a structure of arrays: position in mm, the w
// coordinate from the last vertex, direction cosines, kw > 0, and 1/kw. A ray
// that is lost, because it misses a surface or is totally reflected, has NaN
// for its direction from there on; ask with lost.
type rays struct {
	x, y, w    []float64
	kx, ky, kw []float64
	per        []float64 // 1/kw
}

func newRays(n int) rays {
	all := make([]float64, 7*n)
	cut := func(i int) []float64 { return all[i*n : (i+1)*n : (i+1)*n] }
	return rays{cut(0), cut(1), cut(2), cut(3), cut(4), cut(5), cut(6)}
}

func (r *rays) lost(i int) bool { return math.IsNaN(r.kw[i]) }

// part is the rays from and up to but not including to.
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

// launch sets ray i to leave the eye's pupil at (px, py) on the line through
// the apparent point of field tangent tan at vergence v: that point has height
// tan/v at distance 1/v, and for v = 0 it is a direction.
func (r *rays) launch(i int, px, py, tan, v float64) {
	sx, sy := -float64(px*v), tan-float64(py*v)
	per := math.Sqrt(1 + float64(sx*sx) + float64(sy*sy))
	k := 1 / per
	r.x[i], r.y[i], r.w[i] = px, py, 0
	r.kx[i], r.ky[i], r.kw[i], r.per[i] = sx*k, sy*k, k, per
}

// step is one surface on the way from the eye to the world, with the space
// before it.
type step struct {
	distance   float64 // physical, from the vertex before; from the eye for the first
	plate      float64 // thickness of a plane plate in that space; 0 for none
	plateIndex float64
	curvature  float64
	conic      float64
	asphere    []float64 // a4, a6, …; empty for none
	clear      float64   // clear semi-diameter
}

// trainSteps lays out the surfaces of t in the order in which the trace meets them.
// It also gives for each gap between groups the surface before which it lies,
// and the index of the first surface beyond the mask. It reuses both buffers.
func trainSteps(p *objective.Problem, t *objective.Train, buf []step, gapBuf []int) (steps []step, gapSteps []int, beyondMask int) {
	steps = buf[:0]
	gapSteps = append(gapBuf[:0], make([]int, len(t.Gaps))...)
	distance, plate, plateIndex := t.EyeRelief, p.CombinerMM, p.CombinerIndex
	for g := len(t.Groups) - 1; g >= 0; g-- {
		group := t.Groups[g]
		for e := len(group.Elements) - 1; e >= 0; e-- {
			element := group.Elements[e]
			for s := len(element.Surfaces) - 1; s >= 0; s-- {
				surface := &element.Surfaces[s]
				n := len(steps)
				if n < cap(steps) {
					steps = steps[:n+1] // keeps the room of its aspheric terms
				} else {
					steps = append(steps, step{})
				}
				st := &steps[n]
				*st = step{
					distance: distance, plate: plate, plateIndex: plateIndex,
					curvature: -surface.Curvature(), conic: surface.Conic,
					asphere: st.asphere[:0], clear: element.Lens.ClearMM / 2,
				}
				if len(surface.Asphere) > 0 && !surface.IsSpherical() {
					for _, a := range surface.Asphere {
						st.asphere = append(st.asphere, -a)
					}
				}
				plate = 0
				if s > 0 {
					distance = element.Thickness[s-1]
				}
			}
			if e > 0 {
				distance = group.GapsMM[e-1]
			}
		}
		if g > 0 {
			distance = t.Gaps[g-1]
			gapSteps[g-1] = len(steps)
			if g-1 == t.MaskGap() {
				plate, plateIndex = p.MaskGlass, p.MaskGlassIndex
				beyondMask = len(steps)
			}
		}
	}
	return steps, gapSteps, beyondMask
}

// indexRatios appends to ratios, by wavelength, for each of steps the index
// before it over that after it. indices tells the indices of a glass at all
// wavelengths.
func indexRatios(t *objective.Train, indices func(*catalog.Glass) []float64, ratios [][]float64) {
	for g := len(t.Groups) - 1; g >= 0; g-- {
		elements := t.Groups[g].Elements
		for e := len(elements) - 1; e >= 0; e-- {
			glasses := elements[e].Glasses
			var before []float64 // nil for air
			for s := len(glasses) - 1; s >= 0; s-- {
				after := indices(glasses[s])
				for w := range ratios {
					index := 1.0
					if before != nil {
						index = before[w]
					}
					ratios[w] = append(ratios[w], index/after[w])
				}
				before = after
			}
			for w := range ratios {
				ratios[w] = append(ratios[w], before[w])
			}
		}
	}
}

// plateSlope is by how much a plane plate of index n changes dx/dw and dy/dw
// inside it, as a factor on the direction cosines (kx, ky) of a ray in air with
// the third direction cosine kw: the difference between the slopes in glass
// and in air. Times the thickness it is the ray's sideways shift, wherever in
// its gap the plate stands (W. J. Smith, Modern Optical Engineering, 4th ed.,
// 2008, pp. 134-135, before the small-angle approximation).
func plateSlope(n, kw float64) float64 {
	return 1/math.Sqrt(float64(n*n)-1+float64(kw*kw)) - 1/kw
}

// shiftByPlate moves the rays sideways as a plate does.
func (r *rays) shiftByPlate(thickness, n float64) {
	for i := range r.x {
		f := thickness * plateSlope(n, r.kw[i])
		r.x[i] += float64(f * r.kx[i])
		r.y[i] += float64(f * r.ky[i])
	}
}

// through takes the rays across the space before st and through its surface.
// ratio is the index before the surface over that after it. margin is the
// smallest squared cosine of an angle of incidence or refraction among the
// rays: how far they are from being lost. It is negative when one is lost.
func (r *rays) through(st *step, ratio float64) (margin float64) {
	if st.plate > 0 {
		r.shiftByPlate(st.plate, st.plateIndex)
	}
	switch {
	case len(st.asphere) > 0:
		return r.throughAsphere(st, ratio)
	case st.curvature == 0:
		return r.throughFlat(st.distance, ratio)
	case st.conic != 0:
		return r.throughConic(st, ratio)
	}
	return r.throughSphere(st.distance, st.curvature, ratio)
}

// throughFlat meets a plane.
func (r *rays) throughFlat(distance, ratio float64) (margin float64) {
	n := len(r.x)
	x, y, w := r.x[:n], r.y[:n], r.w[:n]
	kx, ky, kw, per := r.kx[:n], r.ky[:n], r.kw[:n], r.per[:n]
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

// throughSphere meets a sphere of curvature c. From the point where the ray
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
func (r *rays) throughSphere(distance, c, ratio float64) (margin float64) {
	n := len(r.x)
	x, y, w := r.x[:n], r.y[:n], r.w[:n]
	kx, ky, kw, per := r.kx[:n], r.ky[:n], r.kw[:n], r.per[:n]
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
			bend, margin = math.NaN(), -1 // the far half of the sphere
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

// throughConic meets a conic of revolution of curvature c and conic constant
// κ, c(x² + y² + (1+κ)w²) - 2w = 0, by the same closed form.
func (r *rays) throughConic(st *step, ratio float64) (margin float64) {
	margin = 1
	for i := range r.x {
		px, py := r.toPlane(i, st.distance)
		s, normal := conicCrossing(st, px, py, r.kx[i], r.ky[i], r.kw[i])
		px += float64(s * r.kx[i])
		py += float64(s * r.ky[i])
		r.x[i], r.y[i], r.w[i] = px, py, s*r.kw[i]
		c := st.curvature / normal
		nw := 1 - float64((1+st.conic)*st.curvature*r.w[i])
		margin = min(margin, r.refract(i, ratio, c*px, c*py, nw/normal))
	}
	return margin
}

// throughAsphere meets a conic with even polynomial terms.
func (r *rays) throughAsphere(st *step, ratio float64) (margin float64) {
	margin = 1
	for i := range r.x {
		px, py := r.toPlane(i, st.distance)
		s, slope := asphereCrossing(st, px, py, r.kx[i], r.ky[i], r.kw[i])
		px += float64(s * r.kx[i])
		py += float64(s * r.ky[i])
		r.x[i], r.y[i], r.w[i] = px, py, s*r.kw[i]
		nx, ny := slope*px, slope*py
		normal := math.Sqrt(1 + float64(nx*nx) + float64(ny*ny))
		margin = min(margin, r.refract(i, ratio, nx/normal, ny/normal, 1/normal))
	}
	return margin
}

// toPlane is where ray i meets the next vertex plane.
func (r *rays) toPlane(i int, distance float64) (x, y float64) {
	s := (distance - r.w[i]) * r.per[i]
	return r.x[i] + float64(s*r.kx[i]), r.y[i] + float64(s*r.ky[i])
}

// refract bends ray i by the vector form of the law of refraction,
// n'k' = nk + (n'cos i' - n cos i)·N (W. T. Welford, Aberrations of Optical
// Systems, 1986, section 4.4), for the unit normal N = (-nx, -ny, nw). It
// returns the smaller squared cosine, a negative number for a ray that is lost.
func (r *rays) refract(i int, ratio, nx, ny, nw float64) (margin float64) {
	l, m, k := r.kx[i], r.ky[i], r.kw[i]
	cos := float64(nw*k) - float64(nx*l) - float64(ny*m)
	if !(cos > 0 && nw > 0) {
		cos = math.NaN() // missed, or a crossing that is not next to the vertex
	}
	cos2 := cos * cos
	after2 := 1 - float64(ratio*ratio*(1-cos2))
	bend := math.Sqrt(after2) - float64(ratio*cos)
	r.kx[i] = float64(ratio*l) - float64(bend*nx)
	r.ky[i] = float64(ratio*m) - float64(bend*ny)
	r.kw[i] = float64(ratio*k) + float64(bend*nw)
	r.per[i] = 1 / r.kw[i]
	if math.IsNaN(bend) {
		return -1
	}
	return min(cos2, after2)
}

// conicCrossing is the way s along a ray from the vertex plane to the conic,
// NaN for a miss, and the length of the gradient there.
func conicCrossing(st *step, x, y, kx, ky, kw float64) (s, normal float64) {
	c, k1 := st.curvature, 1+st.conic
	r2 := float64(x*x) + float64(y*y)
	g := kw - float64(c*(float64(kx*x)+float64(ky*y)))
	a := c * (1 + float64(st.conic*kw*kw))
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
func asphereCrossing(st *step, x, y, kx, ky, kw float64) (s, slope float64) {
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
func carefulCrossing(st *step, s, x, y, kx, ky, kw float64) (crossing, slope float64) {
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
func (st *step) miss(s, x, y, kx, ky, kw float64) (miss, slope, rate float64) {
	hx, hy := x+float64(s*kx), y+float64(s*ky)
	sag, slope := st.sag(float64(hx*hx) + float64(hy*hy))
	return float64(s*kw) - sag, slope, kw - float64(slope*(float64(hx*kx)+float64(hy*ky)))
}

// sag is w at the squared height h2, and dw/dh divided by h.
func (st *step) sag(h2 float64) (w, slope float64) {
	c := st.curvature
	root := math.Sqrt(1 - float64((1+st.conic)*c*c*h2))
	w = c * h2 / (1 + root)
	slope = c / root
	power := 1.0
	for i, a := range st.asphere {
		power *= h2
		slope += float64(float64(2*(i+2)) * a * power)
		w += float64(a * power * h2)
	}
	return w, slope
}
