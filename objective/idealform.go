package objective

import "math"

// idealUnknowns is the largest number of unknowns of a thin train.
const idealUnknowns = 6

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
	g            [idealUnknowns]float64
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
// moved outwards by the rounding of terms of a size.
func (x *affine) within(lo, hi, size float64) affine {
	pad := affineRounding * size
	x.e += pad
	s := x.spread() + pad
	x.lo, x.hi = math.Max(lo-pad, x.c-s), math.Min(hi+pad, x.c+s)
	return *x
}

func (x affine) plus(y affine) affine {
	z := affine{c: x.c + y.c, e: x.e + y.e}
	size := math.Abs(x.c) + math.Abs(y.c)
	for i := range z.g {
		z.g[i] = x.g[i] + y.g[i]
		size += math.Abs(x.g[i]) + math.Abs(y.g[i])
	}
	return z.within(x.lo+y.lo, x.hi+y.hi, size)
}

func (x affine) times(k float64) affine {
	z := affine{c: k * x.c, e: math.Abs(k) * x.e}
	for i := range z.g {
		z.g[i] = k * x.g[i]
	}
	lo, hi := k*x.lo, k*x.hi
	return z.within(math.Min(lo, hi), math.Max(lo, hi), math.Abs(z.c))
}

func (x affine) minus(y affine) affine { return x.plus(y.times(-1)) }

func (x affine) shifted(k float64) affine { return x.plus(constant(k)) }

// by is the product. Of the terms g_i·h_j·ξ_i·ξ_j those with i = j lie between
// 0 and g_i·h_i, the others are taken pair by pair.
func (x affine) by(y affine) affine {
	z := affine{c: x.c * y.c}
	cx, cy, bx, by := math.Abs(x.c), math.Abs(y.c), x.bend(), y.bend()
	z.e = float64((cx+bx)*y.e) + float64((cy+by)*x.e) + float64(x.e*y.e)
	for i := range z.g {
		z.g[i] = float64(x.c*y.g[i]) + float64(y.c*x.g[i])
		own := x.g[i] * y.g[i]
		z.c += own / 2
		z.e += math.Abs(own) / 2
		for j := range i {
			z.e += math.Abs(float64(x.g[i]*y.g[j]) + float64(x.g[j]*y.g[i]))
		}
	}
	a, b, c, d := x.lo*y.lo, x.lo*y.hi, x.hi*y.lo, x.hi*y.hi
	return z.within(math.Min(math.Min(a, b), math.Min(c, d)), math.Max(math.Max(a, b), math.Max(c, d)), (cx+bx)*(cy+by))
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
	return z.within(1/x.hi, 1/x.lo, 2*most)
}
