package raycheck

import (
	"math"

	"relaysweep/objective"
)

// The reference measurement: a plain transcription of the definitions with the
// single-ray trace, the whole pupil filled by rings of equal area with equally
// spaced rays, the full least-squares matrix, and numeric minimisation.

type referenceRay struct {
	weight         float64 // of its wavelength
	wavelength     int
	px, py, sx, sy float64 // in the plane z = 0 behind the last vertex before the mask, after its glass was taken as air
	x, y, ux, uy   float64 // at the viewpoint, slopes towards the world
}

type referenceBundle struct {
	rays []referenceRay
	lost []float64 // share, by wavelength
}

const referenceArms = 24

// referenceTrace fills the pupil about a place with a number of rings, each ray at
// the middle of its cell.
func referenceTrace(p *objective.Problem, t *objective.Train, at [2]float64, tan, v float64, rings int) referenceBundle {
	var b referenceBundle
	zV := p.Viewpoint(t)
	mask, _ := p.PlaceMask(t, t.MaskGap(), v)
	for w, wavelength := range p.WavelengthsNM {
		v := v - p.EyeColour(w)
		var all, lost float64
		for i := range rings {
			for j := range referenceArms {
				rho := p.Pupil / 2 * math.Sqrt((float64(i)+0.5)/float64(rings))
				sin, cos := math.Sincos(2 * math.Pi * float64(j) / referenceArms)
				x, y := at[0]+rho*cos, at[1]+rho*sin
				all++
				points, complete := TraceRay(p, t, []float64{mask}, RayStart{wavelength, x, y, -x * v, tan - y*v})
				if !complete {
					lost++
					continue
				}
				r := referenceRay{weight: p.Weights[w], wavelength: w}
				for k, q := range points {
					if q.At == AtMask {
						// Outside the glass the slope tells how the crossing
						// moves with the layer, as its glass moves with it.
						out := points[k-1]
						if p.MaskGlass > 0 {
							out = points[k+1]
						}
						r.px, r.py, r.sx, r.sy = q.X, q.Y, -out.L/out.N, -out.M/out.N
					}
				}
				end := points[len(points)-1]
				r.ux, r.uy = -end.L/end.N, -end.M/end.N
				r.x, r.y = end.X+(end.Z-zV)*r.ux, end.Y+(end.Z-zV)*r.uy
				b.rays = append(b.rays, r)
			}
		}
		b.lost = append(b.lost, lost/all)
	}
	return b
}

// variance is the weighted two-dimensional variance of f over the rays.
func (b *referenceBundle) variance(f func(r *referenceRay) (x, y float64)) float64 {
	var w, mx, my float64
	for i := range b.rays {
		x, y := f(&b.rays[i])
		q := b.rays[i].weight
		w, mx, my = w+q, mx+q*x, my+q*y
	}
	mx, my = mx/w, my/w
	var sum float64
	for i := range b.rays {
		x, y := f(&b.rays[i])
		sum += b.rays[i].weight * ((x-mx)*(x-mx) + (y-my)*(y-my))
	}
	return sum / w
}

// fit is the least-squares u = u0 + W·x at one wavelength, by the normal
// equations of (1, x, y), solved by Cramer's rule about the centroid.
func (b *referenceBundle) fit(wavelength int) (w [2][2]float64, u0 [2]float64) {
	var n, mx, my, mux, muy float64
	for _, r := range b.rays {
		if r.wavelength == wavelength {
			n, mx, my, mux, muy = n+1, mx+r.x, my+r.y, mux+r.ux, muy+r.uy
		}
	}
	mx, my, mux, muy = mx/n, my/n, mux/n, muy/n
	var xx, xy, yy float64
	var c [2][2]float64
	for _, r := range b.rays {
		if r.wavelength == wavelength {
			x, y := r.x-mx, r.y-my
			xx, xy, yy = xx+x*x, xy+x*y, yy+y*y
			for i, u := range [2]float64{r.ux - mux, r.uy - muy} {
				c[i][0] += u * x
				c[i][1] += u * y
			}
		}
	}
	det := xx*yy - xy*xy
	for i, mean := range [2]float64{mux, muy} {
		w[i][0] = (c[i][0]*yy - c[i][1]*xy) / det
		w[i][1] = (c[i][1]*xx - c[i][0]*xy) / det
		u0[i] = mean - w[i][0]*mx - w[i][1]*my
	}
	return w, u0
}

// goldenSection finds the minimum of f in [a, b].
func goldenSection(a, b float64, f func(float64) float64) float64 {
	ratio := (math.Sqrt(5) - 1) / 2
	for range 45 {
		c, d := b-ratio*(b-a), a+ratio*(b-a)
		if f(c) < f(d) {
			b = d
		} else {
			a = c
		}
	}
	return (a + b) / 2
}

// referenceMeasure measures everything but vignetting, blurs at other depths, ghosts, transmission, mass and
// price.
func referenceMeasure(p *objective.Problem, t *objective.Train, rings int) *Report {
	const toArcmin = 180 * 60 / math.Pi
	r := &Report{}
	m := &r.Metrics
	theta := t.AngularMagnification
	fractions := []float64{0, 0.5, 0.7, 1}
	lo, hi := math.Inf(1), math.Inf(-1)
	for d := range p.DepthSteps {
		v := p.Depth(d)
		var bundles []referenceBundle
		displaced := map[int][]referenceBundle{}
		for f, fraction := range fractions {
			bundles = append(bundles, referenceTrace(p, t, [2]float64{}, fraction*p.TanMax, v, rings))
			for _, at := range [][2]float64{{0, 1}, {0, -1}, {1, 0}, {-1, 0}} {
				at[0], at[1] = at[0]*p.SharpBox/2, at[1]*p.SharpBox/2
				displaced[f] = append(displaced[f], referenceTrace(p, t, at, fraction*p.TanMax, v, rings))
			}
		}
		paraxial, _ := p.PlaceMask(t, t.MaskGap(), v)
		at := func(b *referenceBundle, move float64) float64 {
			return b.variance(func(r *referenceRay) (float64, float64) { return r.px - move*r.sx, r.py - move*r.sy })
		}
		move := goldenSection(-20, 20, func(move float64) (sum float64) {
			for f := range bundles {
				if fractions[f] <= p.Limits.FieldFraction {
					sum += at(&bundles[f], move)
				}
			}
			return sum
		})
		s := Setpoint{VergenceD: 1000 * v, MaskMM: paraxial + move, MaskParaxialMM: paraxial}
		lo, hi = min(lo, s.MaskMM), max(hi, s.MaskMM)
		_, a := p.PlaceMask(t, t.MaskGap(), s.VergenceD/1000)
		chief := math.Abs(a)
		s.PixelArcmin = math.Atan(p.MaskPixel/chief) * toArcmin
		for f := range bundles {
			b := &bundles[f]
			w, u0 := b.fit(p.Reference())
			e := [2][2]float64{{w[0][0] + v/(theta*theta), w[0][1]}, {w[1][0], w[1][1] + v/(theta*theta)}}
			j0, j45 := (e[0][0]-e[1][1])/2, (e[0][1]+e[1][0])/2
			q := Sample{
				FieldFraction: fractions[f], VergenceD: 1000 * v,
				ViewDefocusD:     1000 * (e[0][0] + e[1][1]) / 2,
				ViewAstigmatismD: 2000 * math.Hypot(j0, j45),
			}
			from := max(-p.RefocusMaxD, -1000*v)
			to := min(p.RefocusMaxD, p.AccommodationD-1000*v)
			if from > to { // only the accommodation can be short
				from, to = -p.RefocusMaxD, -p.RefocusMaxD
			}
			most := 0.0
			for _, b := range append([]referenceBundle{*b}, displaced[f]...) {
				blur := func(refocus float64) float64 {
					k := v/(theta*theta) - refocus/(1000*theta*theta)
					return b.variance(func(r *referenceRay) (float64, float64) { return r.ux + k*r.x, r.uy + k*r.y })
				}
				refocus := goldenSection(from, to, blur)
				most = max(most, math.Abs(refocus))
				q.ViewBlurArcmin = max(q.ViewBlurArcmin, math.Atan(math.Sqrt(blur(refocus)))*toArcmin)
				q.MaskBlurArcmin = max(q.MaskBlurArcmin, math.Atan(math.Sqrt(at(&b, move))/chief)*toArcmin)
			}
			r.Samples = append(r.Samples, q)
			if fractions[f] > p.Limits.FieldFraction {
				continue
			}
			s.MaskBlurArcmin = max(s.MaskBlurArcmin, q.MaskBlurArcmin)
			s.ViewBlurArcmin = max(s.ViewBlurArcmin, q.ViewBlurArcmin)
			m.MaskBlurArcmin = max(m.MaskBlurArcmin, q.MaskBlurArcmin)
			m.ViewBlurArcmin = max(m.ViewBlurArcmin, q.ViewBlurArcmin)
			m.ViewDefocusD = larger(m.ViewDefocusD, q.ViewDefocusD)
			m.ViewAstigmatismD = max(m.ViewAstigmatismD, q.ViewAstigmatismD)
			m.ViewRefocusD = max(m.ViewRefocusD, most)
			if d > 0 {
				continue
			}
			low, high, dLow, dHigh := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
			for k := range p.WavelengthsNM {
				w, u0 := b.fit(k)
				low, high = min(low, u0[1]), max(high, u0[1])
				defocus := 1000 * ((w[0][0]+w[1][1])/2 + v/(theta*theta))
				dLow, dHigh = min(dLow, defocus), max(dHigh, defocus)
			}
			if f == 0 {
				m.AxisVergenceD, m.AxialColourD = q.ViewDefocusD, dHigh-dLow
				continue
			}
			m.DistortionPct = larger(m.DistortionPct, 100*(theta*u0[1]/(fractions[f]*p.TanMax)-1))
			m.LateralColourArcmin = max(m.LateralColourArcmin, math.Atan(high-low)*toArcmin)
		}
		r.Setpoints = append(r.Setpoints, s)
	}
	r.TravelMM = hi - lo
	return r
}
