package catalog

import "math"

// EdgeThicknessMM is the thickness of element i (from 0, the glass behind
// surface i) at half the full diameter.
func (l *Lens) EdgeThicknessMM(i int) float64 {
	return l.thicknessAt(i, l.DiameterMM/2)
}

func (l *Lens) thicknessAt(i int, h float64) float64 {
	return l.ThicknessMM[i] + l.Surfaces[i+1].Sag(h) - l.Surfaces[i].Sag(h)
}

// ElementVolumeMM3 is the volume in mm³ of element i (from 0, the glass behind
// surface i) out to the full diameter.
func (l *Lens) ElementVolumeMM3(i int) float64 {
	h := l.DiameterMM / 2
	cylinder := math.Pi * h * h * l.ThicknessMM[i]
	return cylinder + l.Surfaces[i+1].volumeUnder(h) - l.Surfaces[i].volumeUnder(h)
}

// volumeUnder is the signed volume between the vertex plane and the surface
// out to height a. For the conic h² = 2·R·z - (1+k)·z², so that with z = s at
// the rim
//
//	∫ z·π d(h²) = π·(R·s² - (2/3)·(1+k)·s³)
//
// and a term q·h^m adds 2π·q·a^(m+2)/(m+2).
func (s Surface) volumeUnder(a float64) float64 {
	if s.IsFaceted() {
		return 0
	}
	var v float64
	if c := s.Curvature(); c != 0 {
		z := Surface{RadiusMM: s.RadiusMM, Conic: s.Conic}.Sag(a)
		v = math.Pi * z * z * (s.RadiusMM - float64(2*(1+s.Conic)*z/3))
	}
	a2 := a * a
	p := a2 * a2
	for i, q := range s.Asphere {
		p *= a2
		v += 2 * math.Pi * q * p / float64(2*i+6)
	}
	return v
}

// MassG is the mass in g: that of the glass out to the full diameter, or with
// the lens's own Density where that is set. Unset when a density is unknown.
func (l *Lens) MassG() float64 {
	mass := 0.0
	for i, g := range l.Glasses {
		density := g.DensityGCM3
		if IsSet(l.Density) {
			density = l.Density
		}
		mass += float64(density*l.ElementVolumeMM3(i)) / 1000
	}
	return mass
}
