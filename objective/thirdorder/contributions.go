package thirdorder

import (
	"math"
	"slices"

	"relaysweep/objective"
)

// Sums are Seidel's sums S_I to S_V and those of colour C_I and C_II, in mm (W. T. Welford,
// Aberrations of Optical Systems, 1986, chapters 8 and 10, from memory; symbols and signs are his).
type Sums struct {
	SI, SII, SIII, SIV, SV float64
	CI, CII                float64
}

func (s *Sums) add(t *Sums) {
	s.SI += t.SI
	s.SII += t.SII
	s.SIII += t.SIII
	s.SIV += t.SIV
	s.SV += t.SV
	s.CI += t.CI
	s.CII += t.CII
}

// AtEye are the sums as transverse aberrations, angles at the eye in arcmin: S/(2·R) and C/R
// at the pupil's radius R in mm. These are spherical aberration at the pupil's rim, sagittal coma,
// half the distance of the astigmatic lines that belongs to the sagittal one, Petzval curvature,
// distortion, axial and lateral colour (W. J. Smith, Modern Optical Engineering, 4th ed., 2008, Eqs.
// 6.2, in which the slope of the marginal ray stands in place of R).
func (s *Sums) AtEye(radius float64) Sums {
	half, whole := 1/(2*radius), 1/radius
	return Sums{
		SI: arcmin(s.SI * half), SII: arcmin(s.SII * half), SIII: arcmin(s.SIII * half),
		SIV: arcmin(s.SIV * half), SV: arcmin(s.SV * half),
		CI: arcmin(s.CI * whole), CII: arcmin(s.CII * whole),
	}
}

// Contribution is what one lens, or a plate, adds to the sums.
type Contribution struct {
	Group    string             // front, relay, relay2 or rear; mask or combiner for their plates
	Position int                // in the group from 1; 0 for a plate
	Element  *objective.Element // nil for a plate
	Sums     Sums
}

// Contributions are what lenses and plates of a train add to its sums, from the world to the
// eye, and the sums of all. They belong to the marginal ray from the edge of the pupil in its
// middle place to the axial point at the far depth, and to the chief ray of the field's largest
// half angle, both followed from the eye. Colour is the shortest wavelength against the longest,
// all else the reference one. A lens with facets has no sums but those of colour; the others are NaN.
func Contributions(p *objective.Problem, t *objective.Train) (each []Contribution, total Sums) {
	radius := p.Pupil / 2
	s := tracedSums{marginal: slopeRay{radius, -radius * p.VergenceFar}, chief: slopeRay{0, p.TanMax}}
	s.invariant = float64(s.marginal.u*s.chief.y) - float64(s.chief.u*s.marginal.y)
	shortest, longest := slices.Min(p.WavelengthsNM), slices.Max(p.WavelengthsNM)
	reference := p.WavelengthsNM[p.Reference()]
	done := func(group string, position int, e *objective.Element) {
		each = append(each, Contribution{group, position, e, s.sums})
		total.add(&s.sums)
		s.sums = Sums{}
	}
	plate := func(name string, thickness, index float64) {
		if thickness == 0 {
			return
		}
		glass := medium{index, 0}
		s.refract(0, 0, air, glass)
		s.advance(thickness)
		s.refract(0, 0, glass, air)
		done(name, 0, nil)
	}
	plate("combiner", p.CombinerMM, p.CombinerIndex)
	s.advance(t.EyeRelief - p.CombinerMM)
	names := t.Layout.GroupNames()
	for g := len(t.Groups) - 1; g >= 0; g-- {
		group := t.Groups[g]
		for k := len(group.Elements) - 1; k >= 0; k-- {
			e, before := group.Elements[k], air
			for i := len(e.Surfaces) - 1; i >= 0; i-- {
				after := air
				if i > 0 {
					glass := e.Glasses[i-1]
					after = medium{glass.Index(reference), glass.Index(shortest) - glass.Index(longest)}
				}
				surface := &e.Surfaces[i]
				curvature := -surface.Curvature()
				fourth := surface.Conic * curvature * curvature * curvature / 8
				if len(surface.Asphere) > 0 {
					fourth -= surface.Asphere[0]
				}
				if surface.IsFaceted() {
					fourth = math.NaN() // facets have no such sums, see unknown
				}
				s.refract(curvature, fourth, before, after)
				if surface.IsFaceted() {
					s.sums.SIV = math.NaN()
				}
				if i > 0 {
					s.advance(e.Thickness[i-1])
				}
				before = after
			}
			done(names[g], k+1, e)
			if k > 0 {
				s.advance(group.GapsMM[k-1])
			}
		}
		if g > 0 {
			thickness := 0.0
			if t.HoldsMask(g - 1) {
				// Where it stands in the gap makes no difference.
				thickness = p.MaskGlass
				plate("mask", thickness, p.MaskGlassIndex)
			}
			s.advance(t.Gaps[g-1] - thickness)
		}
	}
	slices.Reverse(each)
	return each, total
}

// medium is an index and its difference between the shortest wavelength and the longest.
type medium struct{ n, dispersion float64 }

var air = medium{1, 0}

// slopeRay is a paraxial ray: height in mm and slope.
type slopeRay struct{ y, u float64 }

// tracedSums adds up the sums as marginal and chief ray meet surface after surface.
type tracedSums struct {
	marginal, chief slopeRay
	invariant       float64 // H = n(u·ȳ - ū·y) = A·ȳ - Ā·y
	sums            Sums
}

func (s *tracedSums) advance(distance float64) {
	s.marginal.y += float64(distance * s.marginal.u)
	s.chief.y += float64(distance * s.chief.u)
}

// refract takes the rays through a surface whose sag is a sphere's and fourth·h⁴. With Δ for
// what comes behind it less what is before it,
//
//	S_I = -A²·y·Δ(u/n), S_II = -A·Ā·y·Δ(u/n), S_III = -Ā²·y·Δ(u/n), S_IV = -H²·c·Δ(1/n),
//	S_V = -Ā·(Ā²·y·Δ(1/n²) + (H - Ā·y)·ȳ·c·Δ(1/n)),
//
// the last one rewritten with Δ(u/n) = A·Δ(1/n²) - y·c·Δ(1/n), so that A may be 0. The term of
// the fourth order adds 8·fourth·Δn·y⁴ to the first, and ȳ/y times that from one to the next but S_IV.
// C_I = A·y·Δ(δn/n), C_II = Ā·y·Δ(δn/n).
func (s *tracedSums) refract(c, fourth float64, before, after medium) {
	m, k := &s.marginal, &s.chief
	a, b := before.n*(m.u+float64(c*m.y)), before.n*(k.u+float64(c*k.y))
	bend := c * (after.n - before.n)
	u := (float64(before.n*m.u) - float64(bend*m.y)) / after.n
	bar := (float64(before.n*k.u) - float64(bend*k.y)) / after.n
	spherical := -m.y * (u/after.n - m.u/before.n)
	petzval := c * (1/after.n - 1/before.n)
	h := s.invariant
	asphere := 8 * fourth * (after.n - before.n) * m.y
	y, z := m.y, k.y
	square := 1/(after.n*after.n) - 1/(before.n*before.n)
	colour := y * (after.dispersion/after.n - before.dispersion/before.n)
	s.sums.add(&Sums{
		SI:   float64(a*a*spherical) + float64(asphere*y*y*y),
		SII:  float64(a*b*spherical) + float64(asphere*y*y*z),
		SIII: float64(b*b*spherical) + float64(asphere*y*z*z),
		SIV:  -float64(h * h * petzval),
		SV:   -float64(b*(float64(b*b*y*square)+float64((h-float64(b*y))*z*petzval))) + float64(asphere*z*z*z),
		CI:   float64(a * colour),
		CII:  float64(b * colour),
	})
	m.u, k.u = u, bar
}

// Worst is the largest magnitude among the sums, for a chart's scale.
func (s *Sums) Worst() float64 {
	worst := 0.0
	for _, x := range []float64{s.SI, s.SII, s.SIII, s.SIV, s.SV, s.CI, s.CII} {
		worst = math.Max(worst, math.Abs(x))
	}
	return worst
}
