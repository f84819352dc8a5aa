package ideal

import "math"

// unknownCount is the largest number of unknowns of a thin train.
const unknownCount = 6

// affine is a quantity over a box of unknowns: with ξ_i in [-1, 1] the place
// of unknown i between the ends of its side of the box, the quantity is
//
//	c + Σ g_i·ξ_i + something in [-e, e],
//
// and it lies in [lo, hi]. Sums are exact; a product is linearised with its
// whole remainder in e, which falls with the square of the box's size (affine
// arithmetic: L. H. de Figueiredo, J. Stolfi, Numerical Algorithms 37, 147,
// 2004). Over wide boxes the plain interval is often the sharper of the two, so
// that both are kept and each narrows the other. All ends are moved outwards by
// more than rounding.
type affine struct {
	c, e, lo, hi float64
	g            [unknownCount]float64
}

// affineRounding is more than the relative error of some eight operations.
const affineRounding = 1e-15

// constant is a quantity that does not depend on the unknowns.
func constant(x float64) affine { return affine{c: x, lo: x, hi: x} }

// unknown is unknown i in [lo, hi].
func unknown(i int, lo, hi float64) affine {
	x := affine{c: lo + (hi-lo)/2, lo: lo, hi: hi}
	x.g[i] = (hi - lo) / 2
	x.e = affineRounding * (math.Abs(lo) + math.Abs(hi))
	return x
}

// bend is how far the linear part takes the quantity from c.
func (x *affine) bend() float64 {
	s := 0.0
	for _, g := range x.g {
		s += math.Abs(g)
	}
	return s
}

// spread is how far the quantity may lie from c.
func (x *affine) spread() float64 { return x.bend() + x.e }

// within sets the interval to what c, g and e leave of [lo, hi], all of it
// moved outwards by the rounding of terms of a size. bend is that of x.
func (x *affine) within(lo, hi, bend, size float64) {
	pad := affineRounding * size
	x.e += pad
	s := bend + x.e + pad
	x.lo, x.hi = math.Max(lo-pad, x.c-s), math.Min(hi+pad, x.c+s)
}

// sum is k·x + l·y.
func sum(k float64, x *affine, l float64, y *affine) (z affine) {
	kx, ly := math.Abs(k), math.Abs(l)
	z.c, z.e = float64(k*x.c)+float64(l*y.c), float64(kx*x.e)+float64(ly*y.e)
	size, bend := float64(kx*math.Abs(x.c))+float64(ly*math.Abs(y.c)), 0.0
	for i := range z.g {
		gx, gy := k*x.g[i], l*y.g[i]
		z.g[i] = gx + gy
		size += math.Abs(gx) + math.Abs(gy)
		bend += math.Abs(z.g[i])
	}
	lo, hi, lo2, hi2 := k*x.lo, k*x.hi, l*y.lo, l*y.hi
	if k < 0 {
		lo, hi = hi, lo
	}
	if l < 0 {
		lo2, hi2 = hi2, lo2
	}
	z.within(lo+lo2, hi+hi2, bend, size)
	return z
}

func (x affine) plus(y affine) affine     { return sum(1, &x, 1, &y) }
func (x affine) minus(y affine) affine    { return sum(1, &x, -1, &y) }
func (x affine) times(k float64) affine   { return sum(k, &x, 0, &affine{}) }
func (x affine) shifted(k float64) affine { y := constant(k); return sum(1, &x, 1, &y) }

// negative is -x.
func (x affine) negative() affine {
	x.c, x.lo, x.hi = -x.c, -x.hi, -x.lo
	for i := range x.g {
		x.g[i] = -x.g[i]
	}
	return x
}

// by is the product. Of the terms g_i·h_j·ξ_i·ξ_j those with i = j lie between
// 0 and g_i·h_i, the others are taken pair by pair.
func (x affine) by(y affine) affine {
	z := affine{c: x.c * y.c}
	cx, cy, bx, by := math.Abs(x.c), math.Abs(y.c), x.bend(), y.bend()
	z.e = float64((cx+bx)*y.e) + float64((cy+by)*x.e) + float64(x.e*y.e)
	bend := 0.0
	for i := range z.g {
		z.g[i] = float64(x.c*y.g[i]) + float64(y.c*x.g[i])
		bend += math.Abs(z.g[i])
		own := x.g[i] * y.g[i]
		z.c += own / 2
		z.e += math.Abs(own) / 2
		for j := range i {
			z.e += math.Abs(float64(x.g[i]*y.g[j]) + float64(x.g[j]*y.g[i]))
		}
	}
	a, b, c, d := x.lo*y.lo, x.lo*y.hi, x.hi*y.lo, x.hi*y.hi
	z.within(min(a, b, c, d), max(a, b, c, d), bend, (cx+bx)*(cy+by))
	return z
}

// inverse is 1/x for x > 0: 1/x + x/(lo·hi) is convex, largest at both ends and
// least at the geometric mean.
func (x affine) inverse() affine {
	slope := -1 / (x.lo * x.hi)
	most, least := 1/x.lo+1/x.hi, 2/math.Sqrt(x.lo*x.hi)
	z := affine{c: float64(slope*x.c) + (most+least)/2, e: math.Max(0, most-least)/2 - float64(slope*x.e)}
	for i := range z.g {
		z.g[i] = slope * x.g[i]
	}
	z.within(1/x.hi, 1/x.lo, z.bend(), 2*most)
	return z
}
