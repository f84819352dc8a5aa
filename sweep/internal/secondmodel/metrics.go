package secondmodel

import "math"

// Metrics is what exact rays say of a design.
type Metrics struct {
	FailedBy string // first requirement or limit that exact rays fail; empty when none

	MaskMetrics             // of the mask, of two of that nearer to the eye
	Second      MaskMetrics // of the other

	ViewDefocusD        float64 // signed, of the largest magnitude
	ViewAstigmatismD    float64
	ViewBlurArcmin      float64
	ViewRefocusD        float64 // largest magnitude
	AxisVergenceD       float64 // signed
	DistortionPct       float64 // signed, of the largest magnitude
	LateralColourArcmin float64
	AxialColourD        float64
	VignettedPct        float64
	Transmission        float64
	MassG, Price        float64
	GrooveBlurArcmin    float64 // NaN, as the next, without facets
	GrooveVisibleArcmin float64

	Samples []Sample // far to near, in each from the axis outwards
}

// MaskMetrics is what exact rays say of one mask.
type MaskMetrics struct {
	TravelMM        float64
	RefocusS        float64
	MaskBlurArcmin  float64
	BlurMismatchPct float64 // NaN with a single depth
	GhostArcmin     float64
	GhostPct        float64 // NaN where the fill is not known

	Setpoints []ExactSetpoint // far to near
}

// ExactSetpoint is the mask's place for one depth by exact rays.
type ExactSetpoint struct {
	VergenceD      float64
	MaskMM         float64 // from the last vertex before the mask to its layer
	MaskParaxialMM float64
	MaskBlurArcmin float64 // largest over the field samples that count
	ViewBlurArcmin float64 // likewise
	PixelArcmin    float64 // paraxial
}

// Sample is the state of one field sample at one depth.
type Sample struct {
	FieldFraction    float64
	VergenceD        float64
	MaskBlurArcmin   float64
	SecondBlurArcmin float64 // of a second mask
	ViewBlurArcmin   float64
	ViewDefocusD     float64
	ViewAstigmatismD float64
	ViewRefocusD     float64 // magnitude
	VignettedPct     float64

	rays     [][]seen   // by wavelength
	away     [][][]seen // likewise, by displaced place of the pupil
	usable   bool       // no wavelength lost more than half of its rays
	u0       float64    // fitted slope at the viewpoint, reference wavelength
	lateral  float64    // its spread over the wavelengths, arcmin
	defocusD float64    // spread of the defocus over the wavelengths
}

// fieldFractions are the field samples, as fractions of the largest half
// angle's tangent.
var fieldFractions = []float64{0, 0.5, 0.7, 1}

// pupilGrid is how many points of the square grid that fills the pupil lie on
// its diameter.
const pupilGrid = 40

// RayMetrics traces the design, which must have an eye relief, at its paraxial
// gaps.
func RayMetrics(r Request, d Design) Metrics { return RayMetricsGrid(r, d, pupilGrid) }

// RayMetricsGrid is RayMetrics with a choice of the pupil's filling: grid
// points of a square grid on the diameter.
func RayMetricsGrid(r Request, d Design, grid int) Metrics {
	r = r.filled()
	t, e := d.train, d.EyeReliefMM
	pupil := disc(r.PupilMM, grid)
	var waves []*optics
	for _, w := range r.WavelengthsNM {
		waves = append(waves, newOptics(t, e, w))
	}
	_, masks := t.views(e)
	m := Metrics{Transmission: d.Transmission, MassG: d.MassG, Price: d.Price}
	ofMask := []*MaskMetrics{&m.MaskMetrics, &m.Second}[:len(masks)]

	var looks []look
	for depth, v := range r.vergences() {
		var samples []*Sample
		for _, fraction := range fieldFractions {
			s := &Sample{FieldFraction: fraction, VergenceD: 1000 * v}
			for place, at := range places(r.SharpBoxMM) {
				var all [][]seen
				for w, o := range waves {
					var rays []seen
					for _, p := range pupil {
						rays = append(rays, o.trace(p[0]+at[0], p[1]+at[1], fraction*r.tanMax(), v+r.nearer(w)))
					}
					all = append(all, rays)
				}
				if place == 0 {
					s.rays = all
				} else {
					s.away = append(s.away, all)
				}
			}
			s.usable = kept(s.rays)
			s.VignettedPct = vignetted(r, waves[r.reference()], pupil, fraction*r.tanMax(), v)
			samples = append(samples, s)
		}

		points := make([]ExactSetpoint, len(masks))
		chiefs := make([]float64, len(masks))
		for k, mask := range masks {
			paraxial, chief := t.setpoint(mask, v)
			points[k] = ExactSetpoint{VergenceD: 1000 * v, MaskParaxialMM: paraxial, PixelArcmin: pixelAngle(r, math.Abs(chief))}
			points[k].MaskMM = sharpest(r, waves, samples, k, paraxial)
			chiefs[k] = chief
		}
		for _, s := range samples {
			s.describeView(r, t.theta, v)
			blurs := []*float64{&s.MaskBlurArcmin, &s.SecondBlurArcmin}[:len(masks)]
			for k := range masks {
				*blurs[k] = s.blurOfMask(r, waves, k, points[k].MaskMM, chiefs[k])
			}
			for _, rays := range s.away {
				// As if the pupil's middle stood there.
				there := Sample{rays: rays, usable: kept(rays)}
				there.describeView(r, t.theta, v)
				for k := range masks {
					*blurs[k] = math.Max(*blurs[k], there.blurOfMask(r, waves, k, points[k].MaskMM, chiefs[k]))
				}
				s.ViewBlurArcmin = math.Max(s.ViewBlurArcmin, there.ViewBlurArcmin)
				s.ViewRefocusD = math.Max(s.ViewRefocusD, there.ViewRefocusD)
			}
			m.VignettedPct = math.Max(m.VignettedPct, s.VignettedPct)
			if s.FieldFraction <= r.FieldFraction {
				for k := range points {
					points[k].MaskBlurArcmin = math.Max(points[k].MaskBlurArcmin, *blurs[k])
					points[k].ViewBlurArcmin = math.Max(points[k].ViewBlurArcmin, s.ViewBlurArcmin)
				}
				m.count(r, t.theta, s, depth == 0)
			}
			if s.FieldFraction <= r.FieldFraction {
				looks = append(looks, look{v, s.usable, s.rays})
			}
			s.rays, s.away = nil, nil
			m.Samples = append(m.Samples, *s)
		}
		m.ViewBlurArcmin = math.Max(m.ViewBlurArcmin, points[0].ViewBlurArcmin)
		for k, of := range ofMask {
			of.MaskBlurArcmin = math.Max(of.MaskBlurArcmin, points[k].MaskBlurArcmin)
			of.Setpoints = append(of.Setpoints, points[k])
		}
	}
	for k, of := range ofMask {
		lowest, highest := math.Inf(1), math.Inf(-1)
		for _, p := range of.Setpoints {
			lowest, highest = math.Min(lowest, p.MaskMM), math.Max(highest, p.MaskMM)
		}
		of.TravelMM = highest - lowest
		of.RefocusS = of.TravelMM / r.SpeedMMS
		of.countGhosts(r, t, masks[k])
		of.BlurMismatchPct = mismatch(r, t, waves, k, masks[k], looks, of.Setpoints)
	}
	if m.countGrooves(r, t, e); !math.IsNaN(m.GrooveBlurArcmin) {
		m.Transmission *= facetTransmission(r, waves[r.reference()], r.far())
	}
	m.FailedBy = m.firstFailure(r, t, masks, ofMask)
	return m
}

// places are the middle of a box and its displaced places: up, down, sideways.
// Without a box there is the middle only.
func places(box float64) [][2]float64 {
	if box == 0 {
		return [][2]float64{{0, 0}}
	}
	return [][2]float64{{0, 0}, {0, box / 2}, {0, -box / 2}, {box / 2, 0}}
}

// blurOfMask is the blur in arcmin of the k-th mask at a position, seen at a chief height
// per unit slope.
func (s *Sample) blurOfMask(r Request, waves []*optics, k int, position, chief float64) float64 {
	if !s.usable {
		return math.Inf(1)
	}
	return arcmin(math.Sqrt(maskVariance(r, waves, s, k, position)) / math.Abs(chief))
}

// disc fills a disc of the given diameter with the points of a square grid.
func disc(diameter float64, grid int) [][2]float64 {
	var points [][2]float64
	step := diameter / float64(grid)
	for i := range grid {
		for j := range grid {
			x, y := (float64(i)+0.5)*step-diameter/2, (float64(j)+0.5)*step-diameter/2
			if math.Hypot(x, y) <= diameter/2 {
				points = append(points, [2]float64{x, y})
			}
		}
	}
	return points
}

// kept reports whether no wavelength lost more than half of its rays.
func kept(rays [][]seen) bool {
	for _, one := range rays {
		lost := 0
		for _, s := range one {
			if s.lost {
				lost++
			}
		}
		if 2*lost > len(one) {
			return false
		}
	}
	return true
}

// vignetted is the largest share of the pupil's area, in per cent, that does
// not come through when the pupil is centred or displaced.
func vignetted(r Request, o *optics, pupil [][2]float64, tan, v float64) float64 {
	worst := 0.0
	for _, shift := range places(r.BoxMM) {
		bad := 0
		for _, p := range pupil {
			if s := o.trace(p[0]+shift[0], p[1]+shift[1], tan, v); s.lost || s.vignetted {
				bad++
			}
		}
		worst = math.Max(worst, 100*float64(bad)/float64(len(pupil)))
	}
	return worst
}

// maskVariance is the weighted variance, in both directions together, of a
// bundle's crossings with the layer of the k-th mask.
func maskVariance(r Request, waves []*optics, s *Sample, k int, position float64) float64 {
	var n, sx, sy float64
	type spot struct{ w, x, y float64 }
	var spots []spot
	for i, rays := range s.rays {
		for _, q := range rays {
			if q.lost {
				continue
			}
			x, y := waves[i].crossing(q, k, position)
			spots = append(spots, spot{r.Weights[i], x, y})
			n += r.Weights[i]
			sx += r.Weights[i] * x
			sy += r.Weights[i] * y
		}
	}
	sum := 0.0
	for _, p := range spots {
		sum += p.w * ((p.x-sx/n)*(p.x-sx/n) + (p.y-sy/n)*(p.y-sy/n))
	}
	return sum / n
}

// sharpest is the position of the k-th mask with the smallest mean variance over the field
// samples that count; the paraxial one when all of these are lost. Crossings
// are linear in the position, so the mean is a parabola.
func sharpest(r Request, waves []*optics, samples []*Sample, k int, paraxial float64) float64 {
	mean := func(position float64) (sum float64) {
		for _, s := range samples {
			if s.FieldFraction <= r.FieldFraction && s.usable {
				sum += maskVariance(r, waves, s, k, position)
			}
		}
		return sum
	}
	x := paraxial
	for range 3 {
		const h = 0.5
		below, here, above := mean(x-h), mean(x), mean(x+h)
		if curve := below - 2*here + above; curve > 0 {
			x += h * (below - above) / (2 * curve)
		}
	}
	return x
}

// describeView fills in what the eye sees through the train.
func (s *Sample) describeView(r Request, theta, v float64) {
	inf := math.Inf(1)
	s.ViewBlurArcmin, s.ViewDefocusD, s.ViewAstigmatismD = inf, inf, inf
	s.ViewRefocusD, s.u0, s.lateral, s.defocusD = inf, inf, inf, inf
	if !s.usable {
		return
	}
	least, most := inf, -inf
	leastD, mostD := inf, -inf
	for i, rays := range s.rays {
		u0, e := fit(rays)
		e[0][0] += v / (theta * theta)
		e[1][1] += v / (theta * theta)
		defocus := 1000 * (e[0][0] + e[1][1]) / 2
		least, most = math.Min(least, u0), math.Max(most, u0)
		leastD, mostD = math.Min(leastD, defocus), math.Max(mostD, defocus)
		if i == r.reference() {
			s.u0, s.ViewDefocusD = u0, defocus
			j0 := (e[0][0] - e[1][1]) / 2
			j45 := (e[0][1] + e[1][0]) / 2
			s.ViewAstigmatismD = 1000 * 2 * math.Hypot(j0, j45)
		}
	}
	s.lateral = arcmin(most - least)
	s.defocusD = mostD - leastD

	// After a refocus of the eye by d (dioptres) a ray's slope is off by
	// u + (v - d/1000)/Θ²·x.
	lo := math.Max(-r.RefocusMaxD, -1000*v)
	hi := math.Min(r.RefocusMaxD, r.AccommodationD-1000*v)
	spread := func(d float64) float64 {
		var n, sx, sy, sxx, syy float64
		for i, rays := range s.rays {
			for _, q := range rays {
				if q.lost {
					continue
				}
				w, k := r.Weights[i], (v-d/1000)/(theta*theta)
				x, y := q.ux+k*q.x, q.uy+k*q.y
				n += w
				sx += w * x
				sy += w * y
				sxx += w * x * x
				syy += w * y * y
			}
		}
		return math.Max(0, (sxx-sx*sx/n+syy-sy*sy/n)/n)
	}
	// A parabola in d.
	below, here, above := spread(-1), spread(0), spread(1)
	best := (below - above) / (2 * (below - 2*here + above))
	switch {
	case lo > hi && hi < -r.RefocusMaxD:
		best = -r.RefocusMaxD
	case lo > hi:
		best = r.RefocusMaxD
	default:
		best = math.Min(math.Max(best, lo), hi)
	}
	s.ViewRefocusD = math.Abs(best)
	s.ViewBlurArcmin = arcmin(math.Sqrt(spread(best)))
}

// fit is the least-squares fit of the slopes, u = u0 + W·x: u0 along y, and W.
func fit(rays []seen) (u0 float64, w [2][2]float64) {
	// Normal equations for the basis 1, x, y and both components of u.
	var a [3][5]float64
	for _, q := range rays {
		if q.lost {
			continue
		}
		basis := [3]float64{1, q.x, q.y}
		for i := range 3 {
			for j := range 3 {
				a[i][j] += basis[i] * basis[j]
			}
			a[i][3] += basis[i] * q.ux
			a[i][4] += basis[i] * q.uy
		}
	}
	for i := range 3 {
		largest := i
		for k := i + 1; k < 3; k++ {
			if math.Abs(a[k][i]) > math.Abs(a[largest][i]) {
				largest = k
			}
		}
		a[i], a[largest] = a[largest], a[i]
		for k := range 3 {
			if k == i {
				continue
			}
			q := a[k][i] / a[i][i]
			for j := range 5 {
				a[k][j] -= q * a[i][j]
			}
		}
	}
	return a[0][4] / a[0][0], [2][2]float64{
		{a[1][3] / a[1][1], a[2][3] / a[2][2]},
		{a[1][4] / a[1][1], a[2][4] / a[2][2]},
	}
}

// count takes a sample that counts into the metrics.
func (m *Metrics) count(r Request, theta float64, s *Sample, farthest bool) {
	m.ViewDefocusD = stronger(m.ViewDefocusD, s.ViewDefocusD)
	m.ViewAstigmatismD = math.Max(m.ViewAstigmatismD, s.ViewAstigmatismD)
	m.ViewRefocusD = math.Max(m.ViewRefocusD, s.ViewRefocusD)
	if !farthest {
		return
	}
	m.LateralColourArcmin = math.Max(m.LateralColourArcmin, s.lateral)
	if s.FieldFraction == 0 {
		m.AxisVergenceD = s.ViewDefocusD
		m.AxialColourD = s.defocusD
		return
	}
	distortion := math.Inf(1)
	if s.usable {
		distortion = 100 * (theta*s.u0/(s.FieldFraction*r.tanMax()) - 1)
	}
	m.DistortionPct = stronger(m.DistortionPct, distortion)
}

// stronger is the one of larger magnitude.
func stronger(a, b float64) float64 {
	if math.Abs(b) > math.Abs(a) {
		return b
	}
	return a
}

// firstFailure is the first requirement or limit that exact rays fail. A
// requirement that the paraxial setpoints meet with equality is not failed by
// rounding.
func (m *Metrics) firstFailure(r Request, t *train, masks []matrix, ofMask []*MaskMetrics) string {
	const slack = 1e-9
	worst := func(of func(m *MaskMetrics) float64) float64 {
		most := of(ofMask[0])
		for _, m := range ofMask[1:] {
			if x := of(m); math.IsNaN(x) || math.Abs(x) > math.Abs(most) {
				most = x
			}
		}
		return most
	}
	if worst(func(m *MaskMetrics) float64 { return m.TravelMM }) > r.TravelMM*(1+slack) {
		return "travel"
	}
	for k, of := range ofMask {
		lo, hi := t.maskRoom(k)
		for _, p := range of.Setpoints {
			if p.MaskMM < lo-slack*math.Abs(lo) || p.MaskMM > hi+slack*math.Abs(hi) {
				return "clearance"
			}
		}
	}
	for k, of := range ofMask {
		for _, p := range of.Setpoints {
			a := math.Abs(t.chiefAt(masks[k], p.MaskMM)) * (1 - slack)
			if a*math.Tan(radians(r.FieldWidthDeg/2)) > r.MaskWidthMM/2 || a*math.Tan(radians(r.FieldHeightDeg/2)) > r.MaskHeightMM/2 {
				return "mask_size"
			}
		}
	}
	for _, limit := range []struct {
		name  string
		value float64
	}{
		{"mask_blur_arcmin", worst(func(m *MaskMetrics) float64 { return m.MaskBlurArcmin })},
		{"view_defocus_D", m.ViewDefocusD},
		{"view_astigmatism_D", m.ViewAstigmatismD},
		{"view_blur_arcmin", m.ViewBlurArcmin},
		{"view_refocus_D", m.ViewRefocusD},
		{"axis_vergence_D", m.AxisVergenceD},
		{"distortion_pct", m.DistortionPct},
		{"lateral_colour_arcmin", m.LateralColourArcmin},
		{"axial_colour_D", m.AxialColourD},
		{"vignetted_pct", m.VignettedPct},
	} {
		if most, ok := r.Limits[limit.name]; ok && !(math.Abs(limit.value) <= most) {
			return limit.name
		}
	}
	if least, ok := r.Limits["transmission_min"]; ok && m.Transmission < least {
		return "transmission_min"
	}
	if most, ok := r.Limits["blur_mismatch_pct"]; ok && !(math.Abs(worst(func(m *MaskMetrics) float64 { return m.BlurMismatchPct })) <= most) {
		return "blur_mismatch_pct"
	}
	if most, ok := r.Limits["ghost_arcmin"]; ok && !(worst(func(m *MaskMetrics) float64 { return m.GhostArcmin }) <= most) {
		return "ghost_arcmin"
	}
	if most, ok := r.Limits["ghost_pct"]; ok && !(m.GhostPct <= most) {
		return "ghost_pct"
	}
	if most, ok := r.Limits["groove_blur_arcmin"]; ok && m.GrooveBlurArcmin > most {
		return "groove_blur_arcmin"
	}
	if most, ok := r.Limits["groove_visible_arcmin"]; ok && m.GrooveVisibleArcmin > most {
		return "groove_visible_arcmin"
	}
	return ""
}

// nearer is by how much nearer, as a vergence in 1/mm, light of wavelength w has to come from than
// that of the reference for an eye to see both sharply: the difference of its chromatic difference of
// refraction, in dioptres 0.63346/(λ - 0.21410) but for a constant, λ in µm (Thibos, Ye,
// Zhang, Bradley, Appl. Opt. 31, 3594, 1992).
func (r Request) nearer(w int) float64 {
	if !r.EyeColour {
		return 0
	}
	at := func(i int) float64 { return 0.63346 / (r.WavelengthsNM[i]/1000 - 0.21410) }
	return (at(w) - at(r.reference())) / 1000
}

// look is a field sample with the eye accommodated to a depth.
type look struct {
	v      float64 // 1/mm
	usable bool
	rays   [][]seen // by wavelength
}

// mismatch compares the blur of the k-th mask at each setpoint, to an eye that looks at another
// depth, with that of an ideal point: a disc of the radius pupil/2 times the difference of
// vergences, with an RMS of 1/√2 of that.
func mismatch(r Request, t *train, waves []*optics, k int, mask matrix, looks []look, setpoints []ExactSetpoint) float64 {
	if len(setpoints) < 2 {
		return math.NaN()
	}
	worst := 0.0
	for _, l := range looks {
		through := Sample{}
		n := 0
		for _, rays := range l.rays {
			var open []seen
			for _, q := range rays {
				if !q.lost && !q.vignetted {
					open = append(open, q)
				}
			}
			n += len(open)
			through.rays = append(through.rays, open)
		}
		if !l.usable || n == 0 {
			return math.Inf(1)
		}
		for _, p := range setpoints {
			set := p.VergenceD / 1000
			if set == l.v || math.Abs(set-l.v) < 1e-12 {
				continue
			}
			_, chief := t.setpoint(mask, set)
			rms := math.Sqrt(maskVariance(r, waves, &through, k, p.MaskMM)) / math.Abs(chief)
			// The eye sees its mean colour sharply.
			mean, squares, weights := 0.0, 0.0, 0.0
			for w, q := range r.Weights {
				weights += q
				mean += q * r.nearer(w)
			}
			for w, q := range r.Weights {
				squares += q / weights * math.Pow(set-l.v-(r.nearer(w)-mean/weights), 2)
			}
			ideal := r.PupilMM / 2 * math.Sqrt(squares) / math.Sqrt2
			worst = stronger(worst, 100*(rms-ideal)/ideal)
		}
	}
	return worst
}

// countGhosts follows the middle ray of the first order. The mask's layer stands at a
// setpoint, and the world's image in the far one: a ray along the axis that turns at the
// layer by the grating equation sin θ = λ/p seems to come from a point of the image's
// plane beside the axis. A ray from there through the eye's centre arrives with the slope
// that the first-order matrix has for it.
func (m *MaskMetrics) countGhosts(r Request, t *train, mask matrix) {
	far := m.Setpoints[0]
	_, perSlope := t.setpoint(mask, far.VergenceD/1000)
	lambda := r.WavelengthsNM[r.reference()] * 1e-6
	sin := lambda / (r.PixelUM / 1000)
	for _, p := range m.Setpoints {
		beside := (far.MaskMM - p.MaskMM) * sin / math.Sqrt(1-sin*sin)
		m.GhostArcmin = math.Max(m.GhostArcmin, arcmin(math.Atan(math.Abs(beside/perSlope))))
	}

	// The orders of a grid of square openings, by the integral over one opening of what it
	// lets through: F·∫cos along one side, for all of the light that gets through 1.
	side := math.Sqrt(r.FillPct / 100)
	amplitude := 0.0
	const steps = 2000
	for i := range steps {
		x := side * ((float64(i)+0.5)/steps - 0.5)
		amplitude += side / steps * math.Cos(2*math.Pi*x) * side
	}
	m.GhostPct = 100 * 4 * amplitude * amplitude / (side * side)
}
