package look

import (
	"image"
	"math"
)

// Picture is light by direction, row by row from the top left: 1 for white.
type Picture struct {
	Width, Height int
	Light         []float64
}

// At is the light of the pixel in column x and row y, both from 0.
func (p *Picture) At(x, y int) float64 { return p.Light[y*p.Width+x] }

// Gray is the picture for a screen: grey values of sRGB.
func (p *Picture) Gray() *image.Gray {
	img := image.NewGray(image.Rect(0, 0, p.Width, p.Height))
	for i, light := range p.Light {
		img.Pix[i] = uint8(math.Round(255 * srgb(light)))
	}
	return img
}

// srgb is the signal from 0 to 1 for light from 0 to 1 (IEC 61966-2-1:1999, section 5.2).
func srgb(light float64) float64 {
	light = max(0, min(light, 1))
	if light <= 0.0031308 {
		return 12.92 * light
	}
	return float64(1.055*math.Pow(light, 1/2.4)) - 0.055
}
