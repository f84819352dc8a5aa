package bench

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

const arcminRad = math.Pi / (180 * 60)

// arcmin is an angle of the given tangent, +Inf for an infinite one.
func arcmin(tangent float64) float64 {
	if math.IsInf(tangent, 0) {
		return tangent
	}
	return math.Atan(tangent) / arcminRad
}

// larger is whichever of two has the larger magnitude, the first on ties.
func larger(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// Measure is what a build does, after the compensators have been set. It does not
// allocate.
func (b *Bench) Measure(build *Build) Outcome {
	var o Outcome
	b.prepare(build)
	if !b.compensate() {
		for i := range o {
			o[i] = math.Inf(1)
		}
		return o
	}
	o[LastGap], o[FrontGap] = b.adjusted[0], b.adjusted[1]
	o[Pixel] = 0
	for k := range b.masks {
		for _, a := range b.masks[k].chief {
			o[Pixel] = max(o[Pixel], arcmin(b.p.MaskPixel/math.Abs(a)))
		}
	}
	o[DepthStep], o[ViewpointShift] = b.steps, b.viewpoint
	o[MagnificationError] = 100 * (b.theta/b.nominal.theta - 1)
	b.trace(&o)
	for k := range b.masks {
		b.judgeMask(k, &o)
	}
	o[Vignetted] = math.NaN()
	if b.vignetting {
		o[Vignetted] = b.vignetted()
	}
	return o
}

// FailedBy is the name of the first limit that a build fails, empty for none.
func (b *Bench) FailedBy(o *Outcome) string {
	for i, m := range Measures {
		if limit, set := b.p.Limits.Max[m.Name]; m.Limited && set && !(math.Abs(o[i]) <= limit) {
			return m.Name
		}
	}
	return ""
}

// trace takes every field through the build and judges the view; what it finds in the
// layers of masks it keeps.
func (b *Bench) trace(o *Outcome) {
	axial := [2]float64{math.Inf(1), math.Inf(-1)}
	var axisChief [2]float64
	for f := range b.fields {
		d := &b.fields[f]
		if d.fraction >= b.used {
			break
		}
		b.traceField(d)
		for depth := range b.depths {
			for w := range b.weight {
				b.viewAt[w] = b.linesOf(&b.view[w], &b.mixed[w], depth)
				for k := range b.masks {
					m := &b.masks[k]
					m.at[w] = b.linesOf(&m.lines[w], &m.mixed[w], depth)
				}
			}
			for place := range b.places {
				all, reference := b.sum(d, depth, place, f, axial[:], o)
				b.masks[0].keep(b, &all, f, depth, place)
				for k := range b.masks[1:] {
					in := b.sumMask(1+k, d, depth, place)
					b.masks[1+k].keep(b, &in, f, depth, place)
				}
				blur, refocus := b.refocused(&all, depth)
				o[ViewBlur] = max(o[ViewBlur], blur)
				o[ViewRefocus] = max(o[ViewRefocus], math.Abs(refocus))
				if place > 0 {
					continue
				}
				e, u0 := reference.fit()
				defocus, cylinder := power(e)
				o[ViewDefocus] = larger(o[ViewDefocus], defocus)
				o[ViewAstigmatism] = max(o[ViewAstigmatism], cylinder)
				if depth > 0 {
					continue
				}
				if f == 0 {
					axisChief = u0
					o[AxisVergence] = defocus
					o[Pointing] = arcmin(math.Abs(b.theta) * math.Hypot(u0[0], u0[1]))
					o[PointingUp] = arcmin(b.theta * u0[1])
					continue
				}
				radial := float64((u0[0]-axisChief[0])*d.x) + float64((u0[1]-axisChief[1])*d.y)
				if math.IsNaN(radial) {
					radial = math.Inf(1)
				}
				o[Distortion] = larger(o[Distortion], 100*b.theta*radial/d.tan)
			}
		}
	}
	o[AxialColour] = axial[1] - axial[0]
	if math.IsInf(axial[1], 1) {
		o[AxialColour] = math.Inf(1)
	}
}

// keep keeps what a bundle does in the mask's layer.
func (m *mask) keep(b *Bench, all *sums, f, depth, place int) {
	k := f*len(b.depths) + depth
	m.blur[k*b.places+place] = all.maskVariance()
	if place == 0 {
		m.middle[k] = maskMiddle{all.px / all.weight, all.py / all.weight, all.sx / all.weight, all.sy / all.weight}
	}
}

// traceField takes a field's rays through the build at all wavelengths: the reference
// at every vergence, the others at the ends of the depth range only, between which
// what they differ by from the reference is linear in the vergence.
func (b *Bench) traceField(d *direction) {
	n, ends := b.places*b.points, min(2, len(b.vergences))
	b.traceRays(&d.launch, len(b.vergences)*n, b.reference)
	for w := range b.weight {
		if w == b.reference {
			continue
		}
		launch := &d.launch
		if d.coloured != nil {
			launch = &d.coloured[w]
		}
		b.traceRays(launch, ends*n, w)
		for v := ends; v < len(b.vergences); v++ {
			for k := range b.masks {
				b.between(b.masks[k].lines, v, w)
			}
			b.between(b.view, v, w)
		}
	}
}

// between sets the lines of vergence v at wavelength w to those of the reference plus what
// the far and the near end differ by from it, linearly in the vergence. The ends come
// first.
func (b *Bench) between(of []lanes.Lines, v, w int) {
	n := b.places * b.points
	at := func(w, v int) *lanes.Lines { l := of[w].Part(v*n, (v+1)*n); return &l }
	r := b.reference
	at(w, v).Between(float64(v-1)/float64(len(b.vergences)-1), at(r, v), at(w, 0), at(r, 0), at(w, 1), at(r, 1))
}

// traceRays takes the first n of the launched rays through the build at wavelength w.
func (b *Bench) traceRays(launch *lanes.Rays, n, w int) {
	r, from := b.chunk.Part(0, n), launch.Part(0, n)
	r.CopyFrom(&from)
	view := b.view[w].Part(0, n)
	var masks [objective.MasksMost]lanes.Lines
	for k := range b.masks {
		masks[k] = b.masks[k].lines[w].Part(0, n)
	}
	b.throughAll(&r, w, &masks, &view)
}

// throughAll takes rays that stand at the eye through all surfaces, and gives them as
// lines at the vertex of each mask, its glass allowed for up to the layer, and in the
// viewpoint plane.
func (b *Bench) throughAll(r *lanes.Rays, w int, masks *[objective.MasksMost]lanes.Lines, view *lanes.Lines) {
	half, next := b.p.MaskGlass/2, 0
	for s := range b.surfaces {
		if next < len(b.masks) && s == b.masks[next].beyond {
			shiftByPlate(r, half, b.p.MaskGlassIndex)
			masks[next].Cross(r, b.masks[next].vertex)
			shiftByPlate(r, half, b.p.MaskGlassIndex)
			next++
		}
		b.surfaces[s].through(r, b.ratios[w][s])
	}
	view.Cross(r, b.viewpoint)
}

// sumMask sums up one bundle over all wavelengths in the layer of mask k.
func (b *Bench) sumMask(k int, d *direction, depth, place int) (all sums) {
	m := &b.masks[k]
	for w := range b.weight {
		b.addTo(&all, m, w, d, depth, place, b.weight[w])
	}
	return all
}

// addTo adds a bundle at wavelength w, in the layer of a mask and in the viewpoint plane.
func (b *Bench) addTo(a *sums, m *mask, w int, d *direction, depth, place int, by float64) {
	from, to := place*b.points, (place+1)*b.points
	lines, view := m.at[w].Part(from, to), b.viewAt[w].Part(from, to)
	distance, chief, theta := m.layer[depth], m.chief[depth]*d.tan, b.theta
	a.add(&lines, &view, b.pointWeight, by, distance, chief*d.x, chief*d.y, b.depths[depth]/(theta*theta), d.tan*d.x/theta, d.tan*d.y/theta)
}

// sum sums up one bundle over all wavelengths, in the layer of the first mask, and at the reference alone for the
// pupil in the middle. At the far depth it also takes the colours of that pupil.
func (b *Bench) sum(d *direction, depth, place, f int, axial []float64, o *Outcome) (all, reference sums) {
	u0, first := b.chiefs, &b.masks[0]
	for w := range b.weight {
		b.addTo(&all, first, w, d, depth, place, b.weight[w])
		if place > 0 || w != b.reference && depth > 0 {
			continue
		}
		var one sums
		b.addTo(&one, first, w, d, depth, place, 1)
		if w == b.reference {
			reference = one
		}
		if depth > 0 {
			continue
		}
		e, at := one.fit()
		u0[w] = at
		if f == 0 {
			defocus, _ := power(e)
			axial[0], axial[1] = min(axial[0], defocus), max(axial[1], defocus)
		}
		for k := range w {
			apart := math.Hypot(at[0]-u0[k][0], at[1]-u0[k][1])
			if math.IsNaN(apart) {
				apart = math.Inf(1)
			}
			o[LateralColour] = max(o[LateralColour], arcmin(apart))
		}
	}
	return all, reference
}

// linesOf are the rays of a depth among those of a field, at all places of the pupil: traced
// ones, or between them in a buffer.
func (b *Bench) linesOf(of, buffer *lanes.Lines, depth int) lanes.Lines {
	n := b.places * b.points
	for i, q := range b.share[depth] {
		if q == 1 {
			return of.Part(i*n, (i+1)*n)
		}
	}
	buffer.Mix(of, b.share[depth])
	return *buffer
}

// refocused is the view's blur in arcmin after the eye's best refocus within its
// bounds, and that refocus in dioptres.
func (b *Bench) refocused(a *sums, depth int) (blur, refocus float64) {
	if a.lost() {
		return math.Inf(1), math.Inf(1)
	}
	p := b.p
	world := 1000 * b.theta * b.theta // refocus in dioptres over 1/mm in the world
	relaxed := -1000 * b.depths[depth]
	ee, xe, xx := a.viewVariance()
	refocus = world * xe / xx
	refocus = min(max(refocus, relaxed), relaxed+p.AccommodationD)
	refocus = min(max(refocus, -p.RefocusMaxD), p.RefocusMaxD)
	rho := refocus / world
	return arcmin(math.Sqrt(max(0, ee-float64(2*rho*xe)+float64(rho*rho*xx)))), refocus
}

// judgeMask takes blur and registration of mask k, where its stage stands, into the figures.
func (b *Bench) judgeMask(k int, o *Outcome) {
	m := &b.masks[k]
	var zero float64
	if b.on.StageZero {
		zero = b.bestZero(k)
		o[StageZero] = larger(o[StageZero], zero)
	}
	var shift [2]float64
	if b.on.PictureShift {
		shift = b.meanShift(k, zero)
		o[PictureShift] = max(o[PictureShift], math.Hypot(shift[0], shift[1]))
	}
	for f := range b.fields {
		if b.fields[f].fraction >= b.used {
			break
		}
		for depth := range b.depths {
			delta := b.maskDistance(k, depth, zero) - m.layer[depth]
			chief := math.Abs(m.chief[depth])
			for place := range b.places {
				c := m.blur[(f*len(b.depths)+depth)*b.places+place]
				o[MaskBlur] = max(o[MaskBlur], arcmin(math.Sqrt(c.at(delta))/chief))
			}
			off := b.displacement(k, f, depth, delta)
			apart := math.Hypot(off[0]-shift[0], off[1]-shift[1])
			if math.IsNaN(apart) {
				apart = math.Inf(1)
			}
			o[Registration] = max(o[Registration], arcmin(apart/chief))
		}
	}
}

// bestZero is by how much the zero of the stage of mask k has to move towards the eye for the
// least mean variance over fields and depths.
func (b *Bench) bestZero(k int) float64 {
	m := &b.masks[k]
	var ps, ss float64
	for f := range b.fields {
		d := &b.fields[f]
		if d.fraction >= b.used {
			break
		}
		for depth := range b.depths {
			c := m.blur[(f*len(b.depths)+depth)*b.places]
			if math.IsInf(c.pp, 1) {
				continue
			}
			delta := b.maskDistance(k, depth, 0) - m.layer[depth]
			ps += float64(d.share * (c.ps + float64(delta*c.ss)))
			ss += float64(d.share * c.ss)
		}
	}
	if !(ss > 0) {
		return 0
	}
	return ps / ss
}

// displacement is how far the centroid of a bundle in the layer of mask k is from where
// the mask, rolled, has the picture of its field in the design.
func (b *Bench) displacement(k, f, depth int, delta float64) [2]float64 {
	at := b.centroid(k, f, depth, delta)
	want := b.masks[k].centroid[f*len(b.depths)+depth]
	sin, cos := math.Sincos(b.build.mask(k).MaskRollRad)
	return [2]float64{
		at[0] - float64(cos*want[0]) + float64(sin*want[1]),
		at[1] - float64(sin*want[0]) - float64(cos*want[1]),
	}
}

// centroid is that of a bundle of the pupil in the middle, in mm, a distance delta
// towards the world from the paraxial layer of mask k.
func (b *Bench) centroid(k, f, depth int, delta float64) [2]float64 {
	m, d := &b.masks[k].middle[f*len(b.depths)+depth], &b.fields[f]
	chief := b.masks[k].chief[depth] * d.tan
	return [2]float64{
		float64(chief*d.x) + m.x + float64(delta*m.sx),
		float64(chief*d.y) + m.y + float64(delta*m.sy),
	}
}

// meanShift is the mean displacement over fields and depths in the layer of mask k.
func (b *Bench) meanShift(k int, zero float64) (shift [2]float64) {
	var weight float64
	for f := range b.fields {
		d := &b.fields[f]
		if d.fraction >= b.used {
			break
		}
		for depth := range b.depths {
			off := b.displacement(k, f, depth, b.maskDistance(k, depth, zero)-b.masks[k].layer[depth])
			if math.IsNaN(off[0]) || math.IsNaN(off[1]) {
				continue
			}
			shift[0] += float64(d.share * off[0])
			shift[1] += float64(d.share * off[1])
			weight += d.share
		}
	}
	if weight == 0 {
		return [2]float64{}
	}
	return [2]float64{shift[0] / weight, shift[1] / weight}
}
