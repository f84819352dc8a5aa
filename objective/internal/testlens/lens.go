package testlens

import (
	"fmt"
	"math"

	"pgregory.net/rapid"

	"relaysweep/catalog"
)

// The glasses of the tests. nd and Vd are those of common crowns and flints.
var (
	Crown      = catalog.NewAbbe("crown", 1.5168, 64.2, 2.51, "test")
	Flint      = catalog.NewAbbe("flint", 1.7283, 28.5, 4.07, "test")
	DenseCrown = catalog.NewAbbe("dense crown", 1.6204, 60.3, 3.58, "test")
)

// ConstantGlass is a glass of one index at every wavelength.
func ConstantGlass(n float64) *catalog.Glass {
	return catalog.NewAbbe(fmt.Sprint("constant ", n), n, math.Inf(1), catalog.Unset, "test")
}

// Lens makes an invented lens from radii (mm), thicknesses and glasses.
func Lens(part string, diameter float64, radii, thickness []float64, glasses ...*catalog.Glass) *catalog.Lens {
	l := &catalog.Lens{
		Part: part, Vendor: "invented", Kind: "test", DiameterMM: diameter, ClearMM: 0.9 * diameter,
		ThicknessMM: thickness, Glasses: glasses, LossPct: catalog.Unset, Density: catalog.Unset,
		Price: 20, EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
	}
	for _, r := range radii {
		l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: r})
	}
	return l
}

// Equiconvex is an equiconvex singlet of about the given focal length.
func Equiconvex(f, diameter, thickness float64, glass *catalog.Glass) *catalog.Lens {
	r := 2 * (glass.Nd() - 1) * f
	return Lens(fmt.Sprintf("equi-%g", f), diameter, []float64{r, -r}, []float64{thickness}, glass)
}

// PlanoConvex has its convex side towards the world.
func PlanoConvex(f, diameter, thickness float64, glass *catalog.Glass) *catalog.Lens {
	return Lens(fmt.Sprintf("plano-%g", f), diameter, []float64{(glass.Nd() - 1) * f, math.Inf(1)}, []float64{thickness}, glass)
}

// Achromat is a cemented doublet of crown and flint with its crown towards the
// world, of about the given focal length: powers V·φ/(V1-V2), the crown
// Equiconvex (W. J. Smith, Modern Optical Engineering, 4th ed., 2008).
func Achromat(f, diameter float64) *catalog.Lens {
	va, vb := Crown.Vd(), Flint.Vd()
	r := 2 * (Crown.Nd() - 1) * f * (va - vb) / va
	last := 1 / (-1/r + vb/(va-vb)/f/(Flint.Nd()-1))
	return Lens(fmt.Sprintf("achromat-%g", f), diameter, []float64{r, -r, last}, []float64{diameter * 0.35, 2.5}, Crown, Flint)
}

// Near fails the test when two numbers differ by more than a tolerance.
func Near(t rapid.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %.3g", what, got, want, tolerance)
	}
}

// Thin is a lens without thickness and focal length f, plano-convex or
// plano-concave with index 1.5: two that face each other with their flats
// stand apart by the air gap alone.
func Thin(f float64) *catalog.Lens {
	return Lens("thin", math.Min(20, math.Abs(f)/2), []float64{f / 2, math.Inf(1)}, []float64{0}, ConstantGlass(1.5))
}

// The random problems, lenses, groups and trains of the tests of the paraxial
// model, and an independent trace to hold the model against.

// Between draws a number from a range.
func Between(t *rapid.T, label string, lo, hi float64) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, label)
}

// OneIn is true about once in n.
func OneIn(t *rapid.T, label string, n int) bool {
	return rapid.IntRange(1, n).Draw(t, label) == n
}

// DrawLens draws a singlet or a cemented doublet of about the given power
// (1/mm, either sign), of any bending, with spheres, flats, conics and
// aspheres.
func DrawLens(t *rapid.T, label string, power float64) *catalog.Lens {
	index := func(name string) *catalog.Glass {
		return ConstantGlass(Between(t, label+name, 1.45, 1.85))
	}
	var curvatures, thickness []float64
	var glasses []*catalog.Glass
	shape := Between(t, label+" shape", -2.5, 2.5)
	if OneIn(t, label+" flat", 4) {
		shape = 1
	}
	if OneIn(t, label+" doublet", 3) {
		a, b := index(" n1"), index(" n2")
		c1 := power * (0.8 + 0.2*shape)
		c2 := -math.Abs(power) * Between(t, label+" cement", 0.2, 1.2)
		c3 := c2 - (power-(a.Nd()-1)*(c1-c2))/(b.Nd()-1)
		curvatures, glasses = []float64{c1, c2, c3}, []*catalog.Glass{a, b}
		thickness = []float64{Between(t, label+" t1", 2, 9), Between(t, label+" t2", 1, 4)}
	} else {
		a := index(" n")
		k := power / (2 * (a.Nd() - 1))
		curvatures, glasses = []float64{k * (shape + 1), k * (shape - 1)}, []*catalog.Glass{a}
		thickness = []float64{Between(t, label+" t", 0, 9)}
	}
	radii := make([]float64, len(curvatures))
	diameter := Between(t, label+" diameter", 12, 45)
	for i, c := range curvatures {
		radii[i] = math.Inf(1)
		if math.Abs(c) > 1e-6 {
			radii[i] = 1 / c
			diameter = math.Min(diameter, 1.6*math.Abs(radii[i]))
		}
	}
	l := Lens(fmt.Sprintf("%s-%.6g", label, radii), diameter, radii, thickness, glasses...)
	l.ClearMM = diameter * Between(t, label+" clear", 0.7, 1)
	for _, i := range []int{0, len(radii) - 1} {
		if OneIn(t, fmt.Sprint(label, " asphere ", i), 4) {
			l.Surfaces[i].Conic = Between(t, label+" conic", -2, 0.5)
			l.Surfaces[i].Asphere = []float64{Between(t, label+" a4", -2e-6, 2e-6), Between(t, label+" a6", -3e-9, 3e-9)}
		}
	}
	return l
}

// Examples visits n values of a generator, the same in every run.
func Examples[T any](n int, draw func(t *rapid.T) T, visit func(i int, x T)) {
	g := rapid.Custom(draw)
	for i := range n {
		visit(i, g.Example(i))
	}
}

// Plane is a paraxial surface of the independent trace.
type Plane struct {
	Z, Curvature  float64
	Before, After float64 // indices on the world's and the eye's side
	Clear         float64 // semi-diameter, 0 for a plate and the mask
	Mask          bool
}

// TraceBackThrough takes a paraxial ray from the last plane, with height y and
// slope u behind it, back to before the first one, by the equations
// n'u' = nu - y·c·(n' - n) and y' = y + t·u of W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, Eqs. 3.16 and 3.17, solved for what stands
// before. It returns the heights at the planes.
func TraceBackThrough(planes []Plane, y, u float64) (heights []float64, y0, u0 float64) {
	heights = make([]float64, len(planes))
	for i := len(planes) - 1; i >= 0; i-- {
		s := planes[i]
		if i < len(planes)-1 {
			y -= (planes[i+1].Z - s.Z) * u
		}
		heights[i] = y
		u = (s.After*u + y*s.Curvature*(s.After-s.Before)) / s.Before
	}
	return heights, y, u
}

// MaskHeight is the height in the layer.
func MaskHeight(planes []Plane, heights []float64) float64 {
	for i, s := range planes {
		if s.Mask {
			return heights[i]
		}
	}
	return math.NaN()
}

// CloseTo fails the test when two numbers differ by more than a tolerance
// relative to a scale: the size of the terms that cancel in them.
func CloseTo(t rapid.TB, what string, got, want, scale float64) {
	t.Helper()
	// Heights of a dozen surfaces multiply up; 1e-9 leaves six digits of
	// rounding, and no formula that is wrong comes that near.
	if !(math.Abs(got-want) <= 1e-9*math.Max(math.Abs(scale), math.Abs(want))) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}
