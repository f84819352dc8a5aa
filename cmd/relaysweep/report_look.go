package main

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/look"
	"relaysweep/results"
)

const (
	// lookPixels is how many pixels the longer side of a picture has: some 2 arcmin each in a
	// usual field, finer than the blurs that limits allow.
	lookPixels = 320
	// lookRays is how many rays of a wavelength make a pixel.
	lookRays = 32
)

// looks are pictures of a test scene through the train, the mask set for the middle of the depth
// range in vergence, by an eye that looks at the far depth, there, and at the near one.
func (b *reopened) looks() (pictures []results.ReportLook, note string, err error) {
	p := b.problem
	middle := (p.VergenceFar + p.VergenceNear) / 2
	scene, gridDeg, letterDeg := look.ForField(p, b.design.Transmission)
	window := look.Rect{Left: -p.TanHalfWidth, Right: p.TanHalfWidth, Bottom: -p.TanHalfHeight, Top: p.TanHalfHeight}
	side := func(tan float64) int {
		return max(1, int(math.Round(lookPixels*tan/max(p.TanHalfWidth, p.TanHalfHeight))))
	}
	eye := look.Eye{Window: window, Width: side(p.TanHalfWidth), Height: side(p.TanHalfHeight), PupilPoints: lookRays}
	maskMM := b.setpointsAt(1000 * middle)[0].MaskMM
	for _, v := range slices.Compact([]float64{p.VergenceFar, middle, p.VergenceNear}) {
		eye.Accommodation = v
		picture := look.Render(p, b.train, maskMM, scene, &eye)
		var file bytes.Buffer
		if err := png.Encode(&file, picture.Gray()); err != nil {
			return nil, "", err
		}
		l := results.ReportLook{VergenceD: 1000 * v, PNG: file.Bytes(), Width: eye.Width, Height: eye.Height}
		switch v {
		case p.VergenceFar:
			l.Where = "wall"
		case middle:
			l.Where = "letter"
		}
		if p.VergenceFar == p.VergenceNear {
			l.Where = "wall and letter"
		}
		pictures = append(pictures, l)
	}
	return pictures, lookNote(p, b.train, gridDeg, letterDeg), nil
}

// lookNote says what the pictures show, what is in them, and what is not.
func lookNote(p *objective.Problem, t *objective.Train, gridDeg, letterDeg float64) string {
	in, out := "", "the eye's own aberrations and colour"
	if p.ColouredEye {
		in, out = ", the eye's own colour", "the eye's other aberrations"
	}
	if t.HasFacets() {
		in, out = in+", Fresnel facets as if they had no width", out+", what Fresnel grooves spread, and where they cut light off"
	}
	note := fmt.Sprintf("Simulated: a wall at the far depth with lines %s° apart, and a letter %s° high hidden by the mask, set for the middle of the depth range. The whole field, %s° × %s°. "+
		"A pixel is %d rays of each wavelength from all over the %s mm pupil in the middle of its box, weighted as in the metrics, in grey. "+
		"Modelled: blur by train and accommodation, without refocus; distortion, vignetting, transmission (white: the wall without the train)%s. "+
		"Not modelled: diffraction, scattered light, reflections, the mask's pixels and frame, what would be rendered over the letter, errors of building, %s.",
		shortest(gridDeg), results.Fixed(letterDeg, 1), shortest(p.FieldWidthDeg), shortest(p.FieldHeightDeg), lookRays, shortest(p.Pupil), in, out)
	if p.FieldEllipse {
		note += " What lies beyond the ellipse of the field is not asked for."
	}
	if t.Seat == objective.SeatBoth {
		note += " The letter is on the mask at image 2; that at image 1 is clear."
	}
	if t.AngularMagnification < 0 {
		note += " The world stands upside down, which lines do not show."
	}
	return note
}
