package secondmodel

import (
	"math"
	"math/rand/v2"

	"relaysweep/catalog"
)

// CutFacets makes Fresnel lenses of the singlets among some lenses that have one flat surface,
// with invented pitches and draft angles. The others stay as they are.
func CutFacets(r *rand.Rand, lenses []*catalog.Lens) (cut int) {
	for _, l := range lenses {
		if len(l.Glasses) > 1 {
			continue
		}
		flats, curved := 0, 0
		for i, s := range l.Surfaces {
			if math.IsInf(s.RadiusMM, 0) && s.Asphere == nil {
				flats++
			} else {
				curved = i
			}
		}
		if flats != 1 {
			continue
		}
		s := &l.Surfaces[curved]
		s.PitchMM = math.Round(100*(0.1+1.4*r.Float64())) / 100
		s.DraftDeg = math.Round(100*8*r.Float64()) / 100
		l.ThicknessMM[0] = 2
		cut++
	}
	return cut
}

// point is one of a profile across facets, x along the plane, y along z.
type point struct{ x, y float64 }

// profile is some pitches of facets with the slope dz/dx, as a chain of points: first a
// facet, then the wall to the next, and so on. side is 1 where the air lies towards larger z. The
// pitch is 1; walls lean so that the glass is narrower towards the air.
func profile(slope, draftDeg, side float64) []point {
	rise := slope * side // into the air
	wide := 1 / (1 + math.Abs(rise)*math.Tan(draftDeg*math.Pi/180))
	deep := wide * slope
	var chain []point
	for i := -6; i <= 6; i++ {
		from := float64(i)
		if rise > 0 {
			// It rises to the right, and falls back by a wall behind its upper end.
			chain = append(chain, point{from, -deep}, point{from + wide, 0})
		} else {
			// It falls to the right, down to where the wall of the next begins.
			chain = append(chain, point{from, 0}, point{from + wide, deep})
		}
	}
	return chain
}

// meets is the first segment of a chain that a line from a point in a direction meets, other than
// one, and where; -1 for none.
func meets(chain []point, from, dir point, but int) (segment int, at point) {
	segment = -1
	nearest := math.Inf(1)
	for i := range len(chain) - 1 {
		if i == but {
			continue
		}
		a, b := chain[i], chain[i+1]
		ex, ey := b.x-a.x, b.y-a.y
		det := ex*dir.y - ey*dir.x
		if det == 0 {
			continue
		}
		px, py := a.x-from.x, a.y-from.y
		t := (ex*py - ey*px) / det
		along := (dir.x*py - dir.y*px) / det
		if t > 0 && t < nearest && along >= 0 && along <= 1 {
			nearest, segment, at = t, i, point{from.x + t*dir.x, from.y + t*dir.y}
		}
	}
	return segment, at
}

// shareOfFacets is the share of parallel light towards the eye that meets facets first and nothing
// after them: by following many rays over one pitch. before and after are its slopes.
func shareOfFacets(slope, draftDeg, side, before, after float64) float64 {
	if slope == 0 {
		return 1
	}
	const rays = 500
	chain := profile(slope, draftDeg, side)
	through := 0
	for i := range rays {
		x := (float64(i) + 0.5) / rays
		segment, at := meets(chain, point{x - 3*before, -3}, point{before, 1}, -1)
		if segment < 0 || segment%2 == 1 {
			continue
		}
		if next, _ := meets(chain, at, point{after, 1}, segment); next < 0 {
			through++
		}
	}
	return float64(through) / rays
}

// facetTransmission is the mean share of the light of an axial point at vergence v that facets
// send on as they should, over the pupil: rays of rings of the same area, as the axis sees the
// train the same all round.
func facetTransmission(r Request, o *optics, v float64) float64 {
	const rings = 40
	sum, through := 0.0, 0
	for i := range rings {
		h := r.PupilMM / 2 * math.Sqrt((float64(i)+0.5)/rings)
		share := 1.0
		o.met = func(f face, before, after ray) {
			s := f.surface
			if s.PitchMM == 0 {
				return
			}
			side := 1.0 // of the air
			if f.glass != nil {
				side = -1
			}
			// Away from the axis; light goes the other way than the trace.
			y := after.at[1]
			out := math.Copysign(1, y)
			share *= shareOfFacets(s.SagSlope(math.Abs(y)), s.DraftDeg, side, out*after.dir[1]/after.dir[2], out*before.dir[1]/before.dir[2])
		}
		if !o.trace(0, h, 0, v).lost {
			sum += share
			through++
		}
	}
	o.met = nil
	return sum / math.Max(1, float64(through))
}

// countGrooves turns the light at each surface with facets by λ/p, and looks where the eye sees
// it: a ray along the axis up to there arrives at the eye with a height and a slope, and comes
// from the direction in which its point at the accommodated vergence lies.
func (m *Metrics) countGrooves(r Request, t *train, e float64) {
	m.GrooveBlurArcmin, m.GrooveVisibleArcmin = math.NaN(), math.NaN()
	all, _ := t.views(e)
	lambda := r.WavelengthsNM[r.reference()] * 1e-6
	sums := make([]float64, len(r.vergences()))
	for _, s := range all {
		p := s.surface.PitchMM
		if p == 0 {
			continue
		}
		if math.IsNaN(m.GrooveBlurArcmin) {
			m.GrooveBlurArcmin, m.GrooveVisibleArcmin = 0, 0
		}
		for i, v := range r.vergences() {
			if math.Abs(s.m.edge(v))*r.PupilMM <= p {
				continue
			}
			// In front of the surface its direction times the index is λ/p.
			height, slope := s.m.b*lambda/p, s.m.d*lambda/p
			sums[i] += math.Pow(slope-v*height, 2)
			m.GrooveBlurArcmin = math.Max(m.GrooveBlurArcmin, arcmin(math.Atan(math.Sqrt(sums[i]))))
		}
		// A point of the surface sends light to the eye with slope over height. It is out of focus by
		// so much at the least, and its blur disc then as wide an angle at the pupil as that says.
		v := s.m.d / s.m.b
		off := math.Max(0, math.Max(r.far()-v, v-r.near()))
		if off < 0.0005 || off*r.PupilMM < math.Abs(p/s.m.b) {
			m.GrooveVisibleArcmin = math.Max(m.GrooveVisibleArcmin, arcmin(math.Atan(math.Abs(p/s.m.b))))
		}
	}
}
