package catalog

import "math"

// Unset marks an optional number that a table leaves empty. It is NaN, so ask
// with [IsSet] and never by comparison.
var Unset = math.NaN()

// IsSet reports whether an optional number of a table is there.
func IsSet(x float64) bool { return !math.IsNaN(x) }

// Unlimited is the Stock of a part of which as many as wanted can be used.
const Unlimited = -1

// Surface is one refracting surface of revolution. Its sag in mm at height h
// (mm) is that of a conic with even polynomial terms,
//
//	z(h) = c·h²/(1 + sqrt(1 - (1+k)·c²·h²)) + a4·h⁴ + a6·h⁶ + …
//
// with c = 1/RadiusMM (ISO 10110-12:2019, surfaces of revolution of second
// order with a power series). z grows from the world to the eye.
type Surface struct {
	// RadiusMM is positive when the centre of curvature lies on the eye side,
	// and +Inf for a flat.
	RadiusMM float64
	// Conic is k: 0 a sphere, -1 a paraboloid.
	Conic float64
	// Asphere holds a4, a6, a8, … in mm^-3, mm^-5, mm^-7, …; nil for none.
	Asphere []float64
	// PitchMM is the width of a facet across the axis, 0 for a smooth surface. The facets of a
	// Fresnel lens stand on the plane at the vertex, so that the sag is 0 everywhere, and are as
	// steep as the smooth surface of the same terms is at the same height.
	PitchMM float64
	// DraftDeg is the angle in degrees from the axis at which the walls between facets
	// lean, so that the lens comes out of its mould.
	DraftDeg float64
}

// IsFaceted reports whether the surface is cut into facets.
func (s Surface) IsFaceted() bool { return s.PitchMM > 0 }

// Smooth is the surface whose slopes the facets have; a smooth one is it itself.
func (s Surface) Smooth() Surface {
	s.PitchMM, s.DraftDeg = 0, 0
	return s
}

// Lens is one catalog part as it stands in its table: its first surface faces
// the world. Lengths are in mm.
type Lens struct {
	Part, Vendor, Kind string
	DiameterMM         float64 // full diameter
	ClearMM            float64 // clear diameter, of every surface
	// Surfaces has one entry more than ThicknessMM and Glasses: two for a
	// singlet, three for a cemented doublet, four for a triplet.
	Surfaces    []Surface
	ThicknessMM []float64
	Glasses     []*Glass
	LossPct     float64 // loss of one air-glass surface in per cent, or Unset
	Density     float64 // g/cm³ for the whole part in place of its glasses', or Unset
	Price       float64 // or Unset
	EFLMM       float64 // effective focal length as published, or Unset
	BFLMM       float64 // back focal length as published, or Unset
	Stock       int     // how many may be bought for one train, or Unlimited
	Owned       int     // how many are there already: they cost nothing
	File        string  // table that the part comes from
	Line        int     // line in that table
}

// Pieces is how many of the part may be used in one train, those that are there and
// those that can be bought, or Unlimited.
func (l *Lens) Pieces() int {
	if l.Stock == Unlimited {
		return Unlimited
	}
	return l.Stock + l.Owned
}

// Reversed is the surface seen from its other side: the one that a lens turned
// round shows.
func (s Surface) Reversed() Surface {
	r := Surface{RadiusMM: -s.RadiusMM, Conic: s.Conic, PitchMM: s.PitchMM, DraftDeg: s.DraftDeg}
	if math.IsInf(s.RadiusMM, 0) {
		r.RadiusMM = math.Inf(1)
	}
	if s.Asphere != nil {
		r.Asphere = make([]float64, len(s.Asphere))
		for i, a := range s.Asphere {
			r.Asphere[i] = -a
		}
	}
	return r
}

// Curvature is 1/RadiusMM in 1/mm, exactly 0 for a flat.
func (s Surface) Curvature() float64 {
	if math.IsInf(s.RadiusMM, 0) {
		return 0
	}
	return 1 / s.RadiusMM
}

// IsSpherical reports whether the surface is a sphere or a flat, which one cut into facets is
// not.
func (s Surface) IsSpherical() bool {
	if s.IsFaceted() {
		return false
	}
	if s.Conic != 0 && !math.IsInf(s.RadiusMM, 0) {
		return false
	}
	for _, a := range s.Asphere {
		if a != 0 {
			return false
		}
	}
	return true
}

// isFlat reports whether the surface has no power and no slope anywhere.
func (s Surface) isFlat() bool { return s.Curvature() == 0 && s.Smooth().IsSpherical() }

// Sag is z(h) in mm, NaN where the surface does not reach height h (mm).
func (s Surface) Sag(h float64) float64 {
	if s.IsFaceted() {
		return 0
	}
	// h/R first, so that a hemisphere reaches its rim: there it is exactly 1.
	q := h / s.RadiusMM
	h2 := h * h
	z := h * q / (1 + math.Sqrt(1-float64((1+s.Conic)*float64(q*q))))
	p := h2
	for _, a := range s.Asphere {
		p *= h2
		z += float64(a * p)
	}
	return z
}

// SagSlope is dz/dh at height h (mm), infinite at the rim of a hemisphere and
// NaN where the surface does not reach. Of a surface with facets it is their slope there.
func (s Surface) SagSlope(h float64) float64 {
	q := h / s.RadiusMM
	h2 := h * h
	d := q / math.Sqrt(1-float64((1+s.Conic)*float64(q*q)))
	p := h
	for i, a := range s.Asphere {
		p *= h2
		d += float64(float64(2*(i+2)) * a * p)
	}
	return d
}

// Reversed is the lens turned round, its last surface towards the world. The
// published focal lengths stay as they are: they describe the part.
func (l *Lens) Reversed() *Lens {
	r := *l
	n := len(l.Surfaces)
	r.Surfaces = make([]Surface, n)
	r.ThicknessMM = make([]float64, n-1)
	r.Glasses = make([]*Glass, n-1)
	for i := range l.Surfaces {
		r.Surfaces[n-1-i] = l.Surfaces[i].Reversed()
	}
	for i := range l.ThicknessMM {
		r.ThicknessMM[n-2-i] = l.ThicknessMM[i]
		r.Glasses[n-2-i] = l.Glasses[i]
	}
	return &r
}

// IsSymmetric reports whether the lens equals its own reverse, so that turning
// it round changes nothing.
func (l *Lens) IsSymmetric() bool {
	r := l.Reversed()
	for i, s := range l.Surfaces {
		t := r.Surfaces[i]
		if s.Curvature() != t.Curvature() || !equalTerms(s, t) {
			return false
		}
	}
	for i := range l.ThicknessMM {
		if l.ThicknessMM[i] != r.ThicknessMM[i] || l.Glasses[i].Name != r.Glasses[i].Name {
			return false
		}
	}
	return true
}

// equalTerms compares everything of two surfaces but their curvature. The
// conic of a flat has no effect.
func equalTerms(s, t Surface) bool {
	if s.PitchMM != t.PitchMM || s.DraftDeg != t.DraftDeg {
		return false
	}
	if s.Conic != t.Conic && s.Curvature() != 0 {
		return false
	}
	for i := range max(len(s.Asphere), len(t.Asphere)) {
		var a, b float64
		if i < len(s.Asphere) {
			a = s.Asphere[i]
		}
		if i < len(t.Asphere) {
			b = t.Asphere[i]
		}
		if a != b {
			return false
		}
	}
	return true
}
