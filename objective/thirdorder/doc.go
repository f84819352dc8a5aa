// Package thirdorder has the third-order aberrations of trains without rays: those of a
// group are a handful of constants, those of a train sums over its groups.
//
// Rays are followed as [relaysweep/objective] follows them, from the eye to the world,
// here with the axis ζ growing on the way. A ray in a plane across the axis is given by its
// place x in mm and by its optical direction cosine p, n times the sine of its angle; both have
// two components. The ray through a rotationally symmetric system is, to the third order, the
// paraxial one, started from the place and the direction
//
//	x + ∂f/∂p,  p - ∂f/∂x
//
// in place of x and p, with a homogeneous polynomial f of degree four in x·x, x·p and p·p (A.
// J. Dragt, Lie algebraic theory of geometrical optics and optical aberrations, J. Opt. Soc.
// Am. 72, 372, 1982). f has six coefficients. Those of systems one behind the other add up, once
// each is written in the rays before the first: this takes the paraxial ray alone, and is
// exact to the third order for every place of object and pupil. So stop shift and change of
// conjugates are substitutions, and Seidel's sums come out of f:
//
// With the object at vergence V before the eye, a ray leaves the pupil's point P in the
// direction t - V·P, t the tangent of the field. Then F(P, t) = f(P, t - V·P) is
//
//	a0·P⁴ + 4·a1·P²(P·t) + a2·(4(P·t)² + 2P²t²) + 4·a3·(P·t)t² + a4·t⁴ + π·(P²t² - (P·t)²),
//
// and its slopes along P are the aberration. Against W. T. Welford, Aberrations of Optical
// Systems, 1986, section 8.2, whose sums belong to the marginal ray from P = 1 and the chief ray
// of t = 1: S_I = 8·a0, S_II = 8·a1, S_III = 8·a2 - 2π, S_IV = 6π, S_V = 8·a3, once sines
// are turned into tangents (see wave.set). a0 to a4 are a symmetric form of the two rays, and π does
// not depend on them: that is the short way to say Welford's laws of stop shift and of change of
// conjugates. Tests hold it against sums from surface to surface and against exact rays.
//
// Colour likewise is a quadratic polynomial for each wavelength: with the difference of index from
// the reference one it holds what C_I and C_II hold (Welford, chapter 10). Chapters and sections
// of his book are cited from memory.
package thirdorder
