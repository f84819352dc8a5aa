package catalog

import "math"

// Cardinal gives the effective focal length and the back and front focal
// lengths in mm: last vertex to rear focal point, and front focal point to
// first vertex, both positive where the focal point lies outside a converging
// lens. Light enters the first surface and the lens is in air. All three are
// +Inf for an afocal lens.
//
// With the system matrix [[A,B],[C,D]] from first to last vertex, acting on
// height and slope, they are -1/C, -A/C and -D/C (A. Gerrard, J. M. Burch,
// Introduction to Matrix Methods in Optics, 1975, chapter II).
func (l *Lens) Cardinal(wavelengthNM float64) (eflMM, bflMM, fflMM float64) {
	// The columns of the matrix are the rays that enter with height 1 and
	// slope 0, and with height 0 and slope 1. Inside, a slope is carried
	// reduced: times the index.
	y1, u1 := 1.0, 0.0
	y2, u2 := 0.0, 1.0
	n := 1.0
	for i, s := range l.Surfaces {
		after := 1.0
		if i < len(l.Glasses) {
			after = l.Glasses[i].Index(wavelengthNM)
		}
		power := (after - n) * s.Curvature()
		u1 -= float64(power * y1)
		u2 -= float64(power * y2)
		if i < len(l.ThicknessMM) {
			reduced := l.ThicknessMM[i] / after
			y1 += float64(reduced * u1)
			y2 += float64(reduced * u2)
		}
		n = after
	}
	if u1 == 0 {
		return math.Inf(1), math.Inf(1), math.Inf(1)
	}
	return -1 / u1, -y1 / u1, -u2 / u1
}
