package objective

import (
	"math"

	"relaysweep/catalog"
)

// sagSteps is the number of steps in height at which the distance of two
// facing surfaces is sampled when one of them is aspheric. The polynomial
// terms of a lens vary slowly over its half diameter, so that every place where
// the surfaces come close shows as a sample above its neighbours; golden
// section then finds it.
const sagSteps = 32

// facingSagOverlap is by how much vertex distance exceeds the distance of two
// facing surfaces measured along the axis, at the height where they come
// closest: the maximum over heights 0 to half of sag(before) - sag(after).
// It is never negative, as both sags vanish at the vertex.
//
// For two spheres the difference of the slopes of the sags, h·c/sqrt(1-c²h²),
// has the sign of the difference of the curvatures at every height, so the
// maximum lies at one end. Aspheres are sampled and refined.
func facingSagOverlap(before, after catalog.Surface, half float64) float64 {
	if before.IsSpherical() && after.IsSpherical() {
		return spheresOverlap(before.RadiusMM, after.RadiusMM, half)
	}
	return maxOver(half, func(h float64) float64 { return before.Sag(h) - after.Sag(h) })
}

// spheresOverlap is facingSagOverlap of two spheres or flats of these radii.
func spheresOverlap(before, after, half float64) float64 {
	return max(0, sphereSag(before, half)-sphereSag(after, half))
}

// sphereSag is [catalog.Surface.Sag] of a sphere or flat, to the last bit.
func sphereSag(radius, h float64) float64 {
	q := h / radius
	return h * q / (1 + math.Sqrt(1-float64(q*q)))
}

// sagSamples are a surface's sags at the heights at which distances are sampled
// out to half.
func sagSamples(s *catalog.Surface, half float64) *[sagSteps + 1]float64 {
	z := new([sagSteps + 1]float64)
	for i := range z {
		z[i] = s.Sag(sagHeight(half, i))
	}
	return z
}

func sagHeight(half float64, i int) float64 { return half * float64(i) / sagSteps }

// sagRange is the smallest and the largest sag of a surface out to height half.
func sagRange(s catalog.Surface, half float64) (lo, hi float64) {
	if s.IsSpherical() {
		z := s.Sag(half)
		return min(0, z), max(0, z)
	}
	hi = maxOver(half, s.Sag)
	lo = -maxOver(half, func(h float64) float64 { return -s.Sag(h) })
	return lo, hi
}

// maxOver is the maximum of a smooth f over heights 0 to half.
func maxOver(half float64, f func(float64) float64) float64 {
	var samples [sagSteps + 1]float64
	for i := range samples {
		samples[i] = f(sagHeight(half, i))
	}
	return maxFrom(&samples, half, f)
}

// maxFrom is maxOver with f known at the sampled heights: the largest of the
// samples and of what lies around each that is above its neighbours.
func maxFrom(samples *[sagSteps + 1]float64, half float64, f func(float64) float64) float64 {
	best := max(samples[0], samples[sagSteps])
	for i := 1; i < sagSteps; i++ {
		if samples[i] >= samples[i-1] && samples[i] >= samples[i+1] && samples[i-1]+samples[i+1] != 2*samples[i] {
			best = max(best, goldenMax(sagHeight(half, i-1), sagHeight(half, i+1), f))
		}
	}
	// At the ends the sample itself is the largest, unless f rises from it.
	const near = 1e-3
	if step := near * half / sagSteps; f(step) > samples[0] {
		best = max(best, goldenMax(0, sagHeight(half, 1), f))
	}
	if at := half * (1 - near/sagSteps); f(at) > samples[sagSteps] {
		best = max(best, goldenMax(sagHeight(half, sagSteps-1), half, f))
	}
	return best
}

// goldenMax is the largest of f between two heights, which has one peak there.
func goldenMax(a, b float64, f func(float64) float64) float64 {
	const invPhi = 0.6180339887498949 // 1/golden ratio
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
	return max(fc, fd)
}
