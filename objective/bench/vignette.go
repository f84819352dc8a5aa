package bench

import (
	"math"

	"relaysweep/objective/raycheck/lanes"
)

const (
	// rimPoints is the number of rays on a pupil's rim that tell whether the pupil is
	// free, and rimCare how near, as a share of a clear semi-diameter, one may come:
	// between two neighbours a height can exceed theirs by 1 - cos(π/32) = 0.5 %.
	rimPoints = 32
	rimCare   = 0.01
	// chordCount and chordPoints fill a pupil of which something is cut off: chords,
	// and rays along each.
	chordCount  = 20
	chordPoints = 13
	// apertureSlack is the relative excess over a clear semi-diameter that counts as
	// rounding.
	apertureSlack = 1e-9
)

// rim is what vignetting is found with.
type rim struct {
	rays lanes.Rays
	over []float64 // height over clear semi-diameter, squared, at the worst surface; NaN when lost
}

func newRim() rim {
	n := max(rimPoints+1, chordCount*chordPoints)
	return rim{lanes.NewRays(n), make([]float64, n)}
}

// vignetted is the largest share in per cent of the pupil's area that is lost or
// vignetted at the reference wavelength, over the axis and the outermost field, the
// far and the near depth, and the places of the pupil in its box: but for
// aberrations a ray's squared height at a surface is a convex function of field and
// vergence, and largest at the ends of their ranges.
func (b *Bench) vignetted() float64 {
	var worst float64
	for f := range b.fields {
		d := &b.fields[f]
		if d.fraction != 0 && d.fraction != len(fieldFractions)-1 {
			continue
		}
		for v := range min(2, len(b.vergences)) {
			if b.clears(d, b.vergences[v], 0, 0, (b.p.Pupil+b.p.Box)/2) {
				continue
			}
			for place := range pupilPlaces {
				x, y := pupilPlace(b.p.Box/2, place)
				if !b.clears(d, b.vergences[v], x, y, b.p.Pupil/2) {
					worst = max(worst, b.blocked(d, b.vergences[v], x, y))
				}
			}
		}
	}
	return 100 * worst
}

// ray launches ray i from a point of the pupil given across and along the field.
func (b *Bench) ray(i int, d *direction, vergence, across, along float64) {
	x, y := d.turn(across, along)
	b.launch(&b.rim.rays, i, d, x, y, vergence)
}

// clears reports whether a disc of the pupil plane about (x, y) is surely free. A ray's
// squared height at a surface is, but for aberrations, a convex function of its pupil
// point, and largest on the rim.
func (b *Bench) clears(d *direction, vergence, x, y, radius float64) bool {
	b.ray(0, d, vergence, x, y)
	for j := range rimPoints {
		b.ray(1+j, d, vergence, x+float64(radius*unitCircle[j][0]), y+float64(radius*unitCircle[j][1]))
	}
	b.overfill(rimPoints + 1)
	const most = (1 - rimCare) * (1 - rimCare)
	for _, over := range b.rim.over[:rimPoints+1] {
		if !(over < most) {
			return false
		}
	}
	return true
}

var unitCircle = func() (points [rimPoints][2]float64) {
	for j := range points {
		sin, cos := math.Sincos(2 * math.Pi * (float64(j) + 0.5) / rimPoints)
		points[j] = [2]float64{cos, sin}
	}
	return points
}()

// chordAt is a unit circle's chord: its abscissa and half its length. With abscissas
// sin τ, τ in equal steps, chord length and step both go with cos τ.
var chordAt = func() (at [chordCount][2]float64) {
	for i := range at {
		sin, cos := math.Sincos(math.Pi * ((float64(i)+0.5)/chordCount - 0.5))
		at[i] = [2]float64{sin, cos}
	}
	return at
}()

// blocked is the share of the pupil about (x, y) that is lost or vignetted: along each
// chord the ends of what is cut off are interpolated.
func (b *Bench) blocked(d *direction, vergence, x, y float64) float64 {
	radius := b.p.Pupil / 2
	for i, chord := range chordAt {
		for j := range chordPoints {
			along := 2*float64(j)/(chordPoints-1) - 1
			b.ray(i*chordPoints+j, d, vergence, x+float64(radius*chord[0]), y+float64(radius*chord[1]*along))
		}
	}
	b.overfill(chordCount * chordPoints)
	var blocked, whole float64
	for i, chord := range chordAt {
		over := b.rim.over[i*chordPoints : (i+1)*chordPoints]
		var length float64
		for j := range chordPoints - 1 {
			before, after := math.NaN(), math.NaN()
			if j > 0 {
				before = over[j-1]
			}
			if j+2 < chordPoints {
				after = over[j+2]
			}
			length += stretch(before, over[j], over[j+1], after)
		}
		blocked += float64(chord[1] * chord[1] * length / (chordPoints - 1))
		whole += float64(chord[1] * chord[1])
	}
	return blocked / whole
}

// stretch is the share of the way between two rays that is cut off, given squared
// relative heights there and at their neighbours, NaN where a ray is lost or there is
// none. Where one is lost and the other free, half of the way is.
func stretch(before, a, b, after float64) float64 {
	const most = (1 + apertureSlack) * (1 + apertureSlack)
	outA, outB := !(a <= most), !(b <= most)
	switch {
	case outA && outB:
		return 1
	case !outA && !outB:
		return 0
	case math.IsNaN(a) || math.IsNaN(b):
		return 0.5
	case outA:
		return beyond(after-1, b-1, a-1)
	}
	return beyond(before-1, a-1, b-1)
}

// beyond is the share of the way from a <= 0 to b > 0 that is above zero, by the
// parabola through these and the value one step before a, or the line where that is
// NaN. Squared heights are, but for aberrations, parabolas along a chord.
func beyond(before, a, b float64) float64 {
	linear, square := b-a, 0.0
	if !math.IsNaN(before) {
		linear, square = (b-before)/2, (b+before)/2-a
	}
	root := math.Sqrt(float64(linear*linear) - float64(4*square*a))
	t := -2 * a / (linear + root)
	if !(t >= 0 && t <= 1) {
		t = a / (a - b)
	}
	return 1 - t
}

// beyondMask reports whether a mask stands just before a surface.
func (b *Bench) beyondMask(surface int) bool {
	for i := range b.masks {
		if b.masks[i].beyond == surface {
			return true
		}
	}
	return false
}

// overfill traces the first n rays of the rim and keeps their largest squared height
// over clear semi-diameter.
func (b *Bench) overfill(n int) {
	r, over := b.rim.rays.Part(0, n), b.rim.over[:n]
	shiftByPlate(&r, b.p.CombinerMM, b.p.CombinerIndex)
	clear(over)
	for k := range b.surfaces {
		s := &b.surfaces[k]
		if b.beyondMask(k) {
			shiftByPlate(&r, b.p.MaskGlass, b.p.MaskGlassIndex)
		}
		s.through(&r, b.ratios[b.reference][k])
		scale := 1 / (s.clear * s.clear)
		for i := range over {
			if h := s.height2(&r, i) * scale; h > over[i] {
				over[i] = h
			}
		}
	}
	for i := range over {
		if r.Lost(i) {
			over[i] = math.NaN()
		}
	}
}
