package thirdorder

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

// quartic is a symmetric form of degree four in a ray (y, p): the value for four rays, each
// either (1, 0) or (0, 1), of which k are the latter. As a polynomial it is
// Σ binomial(4, k)·q[k]·y^(4-k)·p^k.
type quartic [5]float64

// quadratic likewise is b[0]·y² + 2·b[1]·y·p + b[2]·p².
type quadratic [3]float64

// ray is a paraxial ray: height in mm and n times the slope.
type ray struct{ y, p float64 }

// passage takes rays in air from one plane to another, along ζ: its columns are
// where the rays (1, 0) and (0, 1) arrive. Its determinant is 1.
type passage struct{ m, c ray }

// none is the passage from a plane to itself.
var none = passage{ray{1, 0}, ray{0, 1}}

// advance lets a ray go on by a distance over index, mm.
func (r *ray) advance(reduced float64) { r.y += float64(reduced * r.p) }

func (w *passage) advance(reduced float64) {
	w.m.advance(reduced)
	w.c.advance(reduced)
}

// then is w followed by v.
func (w passage) then(v *passage) passage { return passage{v.of(w.m), v.of(w.c)} }

// of is where a ray arrives.
func (w *passage) of(r ray) ray {
	return ray{
		float64(w.m.y*r.y) + float64(w.c.y*r.p),
		float64(w.m.p*r.y) + float64(w.c.p*r.p),
	}
}

// addFourth adds weight times the form (α·y + β·p)⁴.
func (q *quartic) addFourth(weight, alpha, beta float64) {
	a, b := float64(alpha*alpha), float64(beta*beta)
	ab := float64(alpha * beta)
	wa, wb := float64(weight*a), float64(weight*b)
	q[0] += float64(wa * a)
	q[1] += float64(wa * ab)
	q[2] += float64(wa * b)
	q[3] += float64(wb * ab)
	q[4] += float64(wb * b)
}

// addSquares adds weight times the product of the squares of two linear forms, whose values
// for the rays (1, 0) and (0, 1) are those of y and p.
func (q *quartic) addSquares(weight float64, y, p [2]float64) {
	mixed := float64(y[0]*p[1]) + float64(y[1]*p[0])
	a, d := float64(y[0]*p[0]), float64(y[1]*p[1])
	q[0] += float64(weight * a * a)
	q[1] += float64(weight * a * mixed / 2)
	q[2] += float64(weight * (float64(mixed*mixed) + float64(2*a*d)) / 6)
	q[3] += float64(weight * d * mixed / 2)
	q[4] += float64(weight * d * d)
}

func (b *quadratic) addSquare(weight, alpha, beta float64) {
	wa := float64(weight * alpha)
	b[0] += float64(wa * alpha)
	b[1] += float64(wa * beta)
	b[2] += float64(weight * beta * beta)
}

// before writes the form in the rays as they are a reduced distance before.
func (q *quartic) before(reduced float64) {
	d := reduced
	q[4] += float64(d * q[3])
	q[3] += float64(d * q[2])
	q[2] += float64(d * q[1])
	q[1] += float64(d * q[0])
	q[4] += float64(d * q[3])
	q[3] += float64(d * q[2])
	q[2] += float64(d * q[1])
	q[4] += float64(d * q[3])
	q[3] += float64(d * q[2])
	q[4] += float64(d * q[3])
}

func (b *quadratic) before(reduced float64) {
	b[2] += float64(reduced * b[1])
	b[1] += float64(reduced * b[0])
	b[2] += float64(reduced * b[1])
}

// seenAt writes the form in P and t, where the ray is (P, t - V·P).
func (q *quartic) seenAt(vergence float64) {
	v := vergence
	q[0] -= float64(v * q[1])
	q[1] -= float64(v * q[2])
	q[2] -= float64(v * q[3])
	q[3] -= float64(v * q[4])
	q[0] -= float64(v * q[1])
	q[1] -= float64(v * q[2])
	q[2] -= float64(v * q[3])
	q[0] -= float64(v * q[1])
	q[1] -= float64(v * q[2])
	q[0] -= float64(v * q[1])
}

func (b *quadratic) seenAt(vergence float64) {
	b[0] -= float64(vergence * b[1])
	b[1] -= float64(vergence * b[2])
	b[0] -= float64(vergence * b[1])
}

// pulledBack is the form in the rays before a passage.
func (q *quartic) pulledBack(w *passage) quartic {
	a, c, b, d := w.m.y, w.m.p, w.c.y, w.c.p
	var r, x [4]float64 // one ray is the passage's first, or its second
	for k := range r {
		r[k] = float64(a*q[k]) + float64(c*q[k+1])
		x[k] = float64(b*q[k]) + float64(d*q[k+1])
	}
	var rr, rx, xx [3]float64
	for k := range rr {
		rr[k] = float64(a*r[k]) + float64(c*r[k+1])
		rx[k] = float64(b*r[k]) + float64(d*r[k+1])
		xx[k] = float64(b*x[k]) + float64(d*x[k+1])
	}
	rrr := [2]float64{float64(a*rr[0]) + float64(c*rr[1]), float64(a*rr[1]) + float64(c*rr[2])}
	rrx := [2]float64{float64(b*rr[0]) + float64(d*rr[1]), float64(b*rr[1]) + float64(d*rr[2])}
	rxx := [2]float64{float64(b*rx[0]) + float64(d*rx[1]), float64(b*rx[1]) + float64(d*rx[2])}
	xxx := [2]float64{float64(b*xx[0]) + float64(d*xx[1]), float64(b*xx[1]) + float64(d*xx[2])}
	return quartic{
		float64(a*rrr[0]) + float64(c*rrr[1]),
		float64(b*rrr[0]) + float64(d*rrr[1]),
		float64(b*rrx[0]) + float64(d*rrx[1]),
		float64(b*rxx[0]) + float64(d*rxx[1]),
		float64(b*xxx[0]) + float64(d*xxx[1]),
	}
}

func (b *quadratic) pulledBack(w *passage) quadratic {
	m := [2]float64{float64(w.m.y*b[0]) + float64(w.m.p*b[1]), float64(w.m.y*b[1]) + float64(w.m.p*b[2])}
	c := [2]float64{float64(w.c.y*b[0]) + float64(w.c.p*b[1]), float64(w.c.y*b[1]) + float64(w.c.p*b[2])}
	return quadratic{
		float64(w.m.y*m[0]) + float64(w.m.p*m[1]),
		float64(w.c.y*m[0]) + float64(w.c.p*m[1]),
		float64(w.c.y*c[0]) + float64(w.c.p*c[1]),
	}
}

func (q *quartic) add(r *quartic) {
	for k := range q {
		q[k] += r[k]
	}
}

func (b *quadratic) add(c *quadratic) {
	for k := range b {
		b[k] += c[k]
	}
}
