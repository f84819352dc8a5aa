package raycheck

import (
	"math"
)

// The pixel grid of the mask is a crossed grating of the pixel's pitch p. Light of the
// wavelength λ leaves it in orders whose tangents differ by λ/p, for small angles.

// ghost is the angle in arcmin at the eye between a world at the far depth and its first
// order, largest over the depths to which mask k is set. With the layer at a distance δ
// from the image of the world the light of the order goes on as if from a place of that
// image that is δ·λ/p beside it, and a height there is seen under the angle of the chief
// ray through it. Both distances are taken from the exact setpoints: that of the far depth is where
// the world's image lies. The wavelength is the reference.
func (c *Checker) ghost(k int) float64 {
	p, s := c.p, c.report.Mask(k).Setpoints
	var away float64
	for d := range s {
		away = max(away, math.Abs(s[d].MaskMM-s[0].MaskMM))
	}
	orders := p.WavelengthsNM[c.reference] * mmPerNM / p.MaskPixel
	return arcmin(away * orders / math.Abs(c.masks[k].chief[0]))
}

const mmPerNM = 1e-6

// ghostLight is the share of the light through the mask that goes into the four first
// orders of its pixel grid, for square openings that fill a share of the area; NaN where
// that is not known. An opening of the width w in a pitch p has orders whose amplitudes
// are F·sinc(m·w/p)·sinc(n·w/p) of what arrives, F = (w/p)² being the fill and sinc x =
// sin πx/(πx) (scalar theory: J. W. Goodman, Introduction to Fourier Optics, chapter 4,
// from memory). F of what arrives gets through, so that the share of an order is the square of
// its amplitude over F.
func ghostLight(fill float64) float64 {
	if fill == 0 {
		return math.NaN()
	}
	x := math.Pi * math.Sqrt(fill)
	sinc := math.Sin(x) / x
	return 4 * fill * sinc * sinc
}
