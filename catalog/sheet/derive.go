package sheet

import (
	"fmt"
	"math"
	"strings"
)

// A thick lens in air of index n, thickness t and radii r1, r2 (positive when
// the centre lies on the eye side) has the power
//
//	1/f = (n - 1)·(1/r1 - 1/r2 + (n - 1)·t/(n·r1·r2))
//
// (W. J. Smith, Modern Optical Engineering, the chapter on paraxial optics,
// power of a thick element; J. E. Greivenkamp, Field Guide to Geometrical
// Optics, 2004, Gaussian reduction of two surfaces; both from memory.)

// singlet is what a sheet tells of a lens of one glass. Lengths are in mm,
// NaN for what it does not tell.
type singlet struct {
	kind       string // as the table names it
	equalRadii bool   // the map says that the kind has them
	diameter   float64
	thickness  float64
	focal      float64
	index      float64 // at the wavelength of the focal length
	r1, r2     float64
}

const flatBeyondMM = 1e9 // as in a lens table

// formOf is the geometrical form that the name of a kind states by itself.
func formOf(kind string) (front, back int, plano, equal bool) {
	switch strings.ToLower(kind) {
	case "plano-convex":
		return 1, 0, true, false
	case "plano-concave":
		return -1, 0, true, false
	case "bi-convex":
		return 1, -1, false, false
	case "bi-concave":
		return -1, 1, false, false
	case "equi-convex":
		return 1, -1, false, true
	case "equi-concave":
		return -1, 1, false, true
	}
	return 0, 0, false, false
}

// derive computes the radii that are missing. The text is the reason for which
// they are not determined, empty when they are there.
func (s *singlet) derive() (reason string) {
	has1, has2 := !math.IsNaN(s.r1), !math.IsNaN(s.r2)
	if has1 && has2 {
		return ""
	}
	front, _, plano, equal := formOf(s.kind)
	equal = equal || s.equalRadii
	switch {
	case plano && (has1 && !math.IsInf(s.r1, 0) || has2 && !math.IsInf(s.r2, 0)):
		// The curved face is known, the other is the flat one.
		if has1 {
			s.r2 = math.Inf(1)
		} else {
			s.r1 = math.Inf(1)
		}
		return ""
	case equal && (has1 || has2):
		if has1 {
			s.r2 = -s.r1
		} else {
			s.r1 = -s.r2
		}
		if math.IsInf(s.r1, 0) {
			return "its kind has two equal radii, and the sheet says flat"
		}
		return ""
	}
	missing := "r1_mm and r2_mm are"
	if has1 {
		missing = "r2_mm is"
	} else if has2 {
		missing = "r1_mm is"
	}
	if !has1 && !has2 && !plano && !equal {
		return missing + " not given, and the kind " + quoted(s.kind) + " alone does not determine them, as plano-convex and equi-convex do"
	}
	if math.IsNaN(s.focal) || math.IsInf(s.focal, 0) {
		return missing + " not given, nor a finite focal length to compute from"
	}
	if math.IsNaN(s.index) {
		return missing + " not given, nor a known glass to compute from"
	}
	if front != 0 && float64(front)*s.focal < 0 {
		return fmt.Sprintf("%s not given, and a focal length of %g mm has the wrong sign for the kind %s", missing, s.focal, quoted(s.kind))
	}
	if plano {
		s.planeAnd(has1)
		return ""
	}
	if math.IsNaN(s.thickness) {
		return missing + " not given, nor a thickness to compute from"
	}
	if has1 || has2 {
		return s.other(has1, missing)
	}
	return s.equi(missing)
}

// planeAnd computes the curved face of a lens with a flat: its power is
// (n-1)/r1, or (1-n)/r2, whatever the thickness. The curved face comes first
// unless the first is known to be flat.
func (s *singlet) planeAnd(firstIsFlat bool) {
	r := (s.index - 1) * s.focal
	if firstIsFlat {
		s.r2 = -r
	} else {
		s.r1, s.r2 = r, math.Inf(1)
	}
}

// equi computes two radii r and -r, for which the equation becomes
//
//	r² - 2·(n-1)·f·r + (n-1)²·f·t/n = 0
//
// Both roots are lenses: of a converging one the smaller radius is that of a
// rod with a focus inside. It is excluded where it does not reach half the
// diameter or has no edge; where both can be made nothing is determined.
func (s *singlet) equi(missing string) string {
	n, f, t := s.index, s.focal, s.thickness
	inside := f * (f - t/n)
	if inside < 0 {
		return fmt.Sprintf("%s not given, and no lens of %g mm thickness with two equal radii has a focal length of %g mm: its least is %.4g mm", missing, t, f, t/n)
	}
	root := math.Sqrt(inside)
	var can []float64
	if f < 0 {
		can = []float64{(n - 1) * (f - root)}
	} else {
		wide := (n - 1) * (f + root)
		// The product of the roots, so that no digits cancel.
		can = []float64{wide}
		if narrow := (n - 1) * (n - 1) * f * t / n / wide; narrow < wide {
			can = append(can, narrow)
		}
	}
	var made []float64
	for _, r := range can {
		if makeable(r, s.diameter, t) {
			made = append(made, r)
		}
	}
	switch len(made) {
	case 0:
		return fmt.Sprintf("%s not given, and computed as %.4g mm; such a sphere does not reach the rim at %g mm diameter, or leaves no edge", missing, can[0], s.diameter)
	case 2:
		return fmt.Sprintf("%s not given, and two forms have this focal length: radii of %.4g and of %.4g mm", missing, made[0], made[1])
	}
	s.r1, s.r2 = made[0], -made[0]
	return ""
}

// makeable reports whether a lens of radii r and -r reaches its rim and has an
// edge there. Rounding leaves a ball an edge.
func makeable(r, diameter, t float64) bool {
	const slack = 1e-9
	h := diameter / 2
	if math.Abs(r) < h*(1-slack) {
		return false
	}
	q := math.Min(1, h/math.Abs(r))
	sag := h * q / (1 + math.Sqrt(1-q*q))
	return r < 0 || t-2*sag >= -slack*t
}

// other computes one radius from the other, which the equation gives in one way.
func (s *singlet) other(hasFirst bool, missing string) string {
	n, k, t, power := s.index, s.index-1, s.thickness, 1/s.focal
	var c float64
	if hasFirst {
		c1 := curvature(s.r1)
		c = (k*c1 - power) / (k - k*k*t*c1/n)
	} else {
		c2 := curvature(s.r2)
		c = (power + k*c2) / (k + k*k*t*c2/n)
	}
	if math.IsNaN(c) || math.IsInf(c, 0) {
		return missing + " not given, and the focal length does not determine it"
	}
	r := math.Inf(1)
	if math.Abs(c) > 1/flatBeyondMM {
		r = 1 / c
	}
	front, back, _, _ := formOf(s.kind)
	wrong := func(sign int) bool { return sign != 0 && float64(sign)*c <= 0 }
	if hasFirst && wrong(back) || !hasFirst && wrong(front) {
		return fmt.Sprintf("%s not given, and computed as %.4g mm, which the kind %s cannot have", missing, r, quoted(s.kind))
	}
	if hasFirst {
		s.r2 = r
	} else {
		s.r1 = r
	}
	return ""
}

func curvature(r float64) float64 {
	if math.IsInf(r, 0) {
		return 0
	}
	return 1 / r
}

// focalOf is the focal length of two surfaces, by the equation above.
func focalOf(r1, r2, thickness, index float64) float64 {
	k := index - 1
	c1, c2 := curvature(r1), curvature(r2)
	return 1 / (k * (c1 - c2 + k*thickness*c1*c2/index))
}
