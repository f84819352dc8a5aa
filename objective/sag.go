package objective

import (
	"math"

	"relaysweep/catalog"
)

// sagSteps is the number of steps in height at which the distance of two
// facing surfaces is sampled when one of them is aspheric. The polynomial
// terms of a lens vary slowly over its half diameter, so that the largest
// value lies next to the best sample; golden section then finds it.
const sagSteps = 256

// facingReach is by how much vertex distance exceeds the distance of two
// facing surfaces measured along the axis, at the height where they come
// closest: the maximum over heights 0 to half of sag(before) - sag(after).
// It is never negative, as both sags vanish at the vertex.
//
// For two spheres the difference of the slopes of the sags, h·c/sqrt(1-c²h²),
// has the sign of the difference of the curvatures at every height, so the
// maximum lies at one end. Aspheres are sampled and refined.
func facingReach(before, after catalog.Surface, half float64) float64 {
	if before.IsSpherical() && after.IsSpherical() {
		return math.Max(0, before.Sag(half)-after.Sag(half))
	}
	return maxOver(half, func(h float64) float64 { return before.Sag(h) - after.Sag(h) })
}

// sagRange is the smallest and the largest sag of a surface out to height half.
func sagRange(s catalog.Surface, half float64) (lo, hi float64) {
	if s.IsSpherical() {
		z := s.Sag(half)
		return math.Min(0, z), math.Max(0, z)
	}
	hi = maxOver(half, s.Sag)
	lo = -maxOver(half, func(h float64) float64 { return -s.Sag(h) })
	return lo, hi
}

// maxOver is the maximum of a smooth f over heights 0 to half.
func maxOver(half float64, f func(float64) float64) float64 {
	best, at := f(0), 0.0
	step := half / sagSteps
	for i := 1; i <= sagSteps; i++ {
		h := half * float64(i) / sagSteps
		if v := f(h); v > best {
			best, at = v, h
		}
	}
	const invPhi = 0.6180339887498949 // 1/golden ratio
	a, b := math.Max(0, at-step), math.Min(half, at+step)
	c, d := b-float64(invPhi*(b-a)), a+float64(invPhi*(b-a))
	fc, fd := f(c), f(d)
	for range 60 {
		if fc > fd {
			b, d, fd = d, c, fc
			c = b - float64(invPhi*(b-a))
			fc = f(c)
		} else {
			a, c, fc = c, d, fd
			d = a + float64(invPhi*(b-a))
			fd = f(d)
		}
	}
	return math.Max(best, math.Max(fc, fd))
}
