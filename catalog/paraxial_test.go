package catalog

import (
	"math"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// constant is a glass of one index at all wavelengths.
func constant(n float64) *Glass {
	return NewSellmeier("", [3]float64{n*n - 1, 0, 0}, [3]float64{}, Unset, "")
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.9g, want %.9g within %.2g", what, got, want, tolerance)
	}
}

// E. Hecht, Optics, problem 6.12: R 4 and -15 cm, 4 cm thick, n 1.5. The
// answers are computed from the thick-lens formulas: f 6.792453, H1 0.603774
// behind the first vertex, image distance from the last 4.528302.
func TestThickLens(t *testing.T) {
	l := &Lens{Surfaces: []Surface{{RadiusMM: 40}, {RadiusMM: -150}}, ThicknessMM: []float64{40}, Glasses: []*Glass{constant(1.5)}}
	efl, bfl, ffl := l.Cardinal(LineD)
	near(t, "efl", efl, 67.92453, 1e-5)
	near(t, "bfl", bfl, 45.28302, 1e-5)
	near(t, "ffl", ffl, 67.92453-6.03774, 1e-5)
}

// W. J. Smith, Modern Optical Engineering, 4th ed. 2008, chapter 3, numerical
// example, pp. 42-43: cemented doublet, object 300 mm before the first
// surface, image 199.6846 mm behind the last, magnification -14.0187/20.
func TestDoubletAtFiniteConjugates(t *testing.T) {
	l := &Lens{Surfaces: []Surface{{RadiusMM: 50}, {RadiusMM: -50}, {RadiusMM: math.Inf(1)}},
		ThicknessMM: []float64{10, 2}, Glasses: []*Glass{constant(1.5), constant(1.6)}}
	efl, bfl, ffl := l.Cardinal(LineD)
	x := 300 - ffl // Newton's equation, from the front focal point
	near(t, "image distance", bfl+efl*efl/x, 199.6846, 5e-5)
	near(t, "image height", -20*efl/x, -14.0187, 5e-5)
}

// The same book, chapter 6, worked example, p. 119: air-spaced triplet, efl
// 101.181, bfl 77.405, with the maker's nd of SK4 and SF2. Air is a medium of
// index 1 here.
func TestTriplet(t *testing.T) {
	sk4, sf2, air := constant(1.61272), constant(1.64769), constant(1)
	l := &Lens{
		Surfaces: []Surface{{RadiusMM: 37.4}, {RadiusMM: -341.48}, {RadiusMM: -42.65}, {RadiusMM: 36.4},
			{RadiusMM: 204.52}, {RadiusMM: -37.05}},
		ThicknessMM: []float64{5.9, 12.93, 2.5, 2 + 9.85, 5.9},
		Glasses:     []*Glass{sk4, air, sf2, air, sk4},
	}
	efl, bfl, _ := l.Cardinal(LineD)
	near(t, "efl", efl, 101.181, 0.001)
	near(t, "bfl", bfl, 77.405, 0.001)
}

// A published exercise (crown 1.573/57.4, flint 1.689/31.2, equiconvex crown):
// an achromat of f 100 has R 52.3, -52.3, -545.3. Radii to 0.1 leave the sum
// of curvatures open by some 2e-5/mm each, which is 0.3 mm in f and less than
// 0.01 mm between F and C; the crown alone has 45.6/57.4 = 0.79 mm.
func TestAchromatFromPublishedRadii(t *testing.T) {
	l := &Lens{Surfaces: []Surface{{RadiusMM: 52.3}, {RadiusMM: -52.3}, {RadiusMM: -545.3}}, ThicknessMM: []float64{0, 0},
		Glasses: []*Glass{NewAbbe("", 1.573, 57.4, Unset, ""), NewAbbe("", 1.689, 31.2, Unset, "")}}
	d, _, _ := l.Cardinal(LineD)
	f, _, _ := l.Cardinal(LineF)
	c, _, _ := l.Cardinal(LineC)
	near(t, "f", d, 100, 0.3)
	near(t, "f at F less f at C", f-c, 0, 0.01)
	crown := &Lens{Surfaces: l.Surfaces[:2], ThicknessMM: l.ThicknessMM[:1], Glasses: l.Glasses[:1]}
	d, _, _ = crown.Cardinal(LineD)
	near(t, "f of the crown", d, 45.6, 0.05)
}

// S. Schwartz, Geometrical and Visual Optics, self-assessment: an achromat of
// 6 D from V 59 and 37 takes elements of F·V1/(V1-V2) = 16.09 D and -10.09 D
// (the book rounds to 16.17 and -10.17).
func TestAchromatFromPowers(t *testing.T) {
	const power1, power2 = 6 * 59.0 / 22, -6 * 37.0 / 22
	near(t, "first power", power1, 16.17, 0.09)
	near(t, "second power", power2, -10.17, 0.09)
	c1 := power1 / 1000 / 0.5 // thin, plano-convex and flat against flat
	c4 := -power2 / 1000 / 0.6
	l := &Lens{Surfaces: []Surface{{RadiusMM: 1 / c1}, {RadiusMM: math.Inf(1)}, {RadiusMM: 1 / c4}}, ThicknessMM: []float64{0, 0},
		Glasses: []*Glass{NewAbbe("", 1.5, 59, Unset, ""), NewAbbe("", 1.6, 37, Unset, "")}}
	d, _, _ := l.Cardinal(LineD)
	f, _, _ := l.Cardinal(LineF)
	c, _, _ := l.Cardinal(LineC)
	near(t, "f", d, 1000.0/6, 1e-9)
	near(t, "f at F less f at C", f-c, 0, 1e-9)
}

// A ball of diameter D: efl n·D/(4(n-1)), bfl less by D/2 (from memory, any
// text on optics).
func TestBall(t *testing.T) {
	const n, diameter = 1.85, 6.0
	l := &Lens{Surfaces: []Surface{{RadiusMM: 3}, {RadiusMM: -3}}, ThicknessMM: []float64{diameter}, Glasses: []*Glass{constant(n)}}
	efl, bfl, ffl := l.Cardinal(LineD)
	want := n * diameter / (4 * (n - 1))
	near(t, "efl", efl, want, 1e-12)
	near(t, "bfl", bfl, want-diameter/2, 1e-12)
	near(t, "ffl", ffl, want-diameter/2, 1e-12)
}

func TestAfocal(t *testing.T) {
	window := &Lens{Surfaces: []Surface{{RadiusMM: math.Inf(1)}, {RadiusMM: math.Inf(1)}}, ThicknessMM: []float64{3}, Glasses: []*Glass{constant(1.5)}}
	efl, bfl, ffl := window.Cardinal(LineD)
	if !math.IsInf(efl, 1) || !math.IsInf(bfl, 1) || !math.IsInf(ffl, 1) {
		t.Errorf("a window has focal lengths %g %g %g", efl, bfl, ffl)
	}
}

func drawLens(t *rapid.T) *Lens {
	half := rapid.Float64Range(2, 40).Draw(t, "half diameter")
	l := &Lens{Part: "P", DiameterMM: 2 * half, ClearMM: 1.8 * half,
		LossPct: 1, Density: 2, Price: 3, EFLMM: 4, BFLMM: 5, Stock: Unlimited}
	glasses := BuiltinGlasses().Glasses()
	n := rapid.IntRange(1, 3).Draw(t, "elements")
	l.Surfaces = append(l.Surfaces, asphere(t, half, "first"))
	for range n {
		l.Surfaces = append(l.Surfaces, asphere(t, half, "next"))
		l.ThicknessMM = append(l.ThicknessMM, half*rapid.Float64Range(0.05, 2).Draw(t, "thickness"))
		l.Glasses = append(l.Glasses, rapid.SampledFrom(glasses).Draw(t, "glass"))
	}
	return l
}

func TestReversal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := drawLens(t)
		r := l.Reversed()
		if twice := r.Reversed(); !reflect.DeepEqual(twice, l) {
			t.Fatalf("turned round twice\n%+v is\n%+v", l, twice)
		}
		efl, bfl, ffl := l.Cardinal(LineE)
		eflR, bflR, fflR := r.Cardinal(LineE)
		// In powers, since a focal length may be anything up to infinite. What
		// cancels in one is below 10/mm, with rounding of some 1e-15 of it.
		if math.Abs(1/efl-1/eflR) > 1e-13 {
			t.Fatalf("power %g, turned round %g", 1/efl, 1/eflR)
		}
		if math.Abs(bfl/efl-fflR/eflR) > 1e-11 || math.Abs(ffl/efl-bflR/eflR) > 1e-11 {
			t.Fatalf("bfl, ffl %g, %g; turned round %g, %g", bfl, ffl, bflR, fflR)
		}
		n := len(l.Glasses)
		for i := range l.Glasses {
			scale := l.DiameterMM * l.DiameterMM * l.DiameterMM
			if math.Abs(l.ElementVolumeMM3(i)-r.ElementVolumeMM3(n-1-i)) > 1e-12*scale {
				t.Fatal("volume changes when turned round")
			}
			if math.Abs(l.EdgeThicknessMM(i)-r.EdgeThicknessMM(n-1-i)) > 1e-12*l.DiameterMM {
				t.Fatal("edge changes when turned round")
			}
		}
		if l.IsSymmetric() != r.IsSymmetric() {
			t.Fatal("symmetric one way only")
		}
	})
}

func TestIsSymmetric(t *testing.T) {
	glass := constant(1.5)
	flat := Surface{RadiusMM: math.Inf(1)}
	lens := func(glasses int, s ...Surface) *Lens {
		l := &Lens{Surfaces: s}
		for range glasses {
			l.Glasses = append(l.Glasses, glass)
			l.ThicknessMM = append(l.ThicknessMM, 2)
		}
		return l
	}
	triplet := lens(3, Surface{RadiusMM: 50}, Surface{RadiusMM: -20}, Surface{RadiusMM: 20}, Surface{RadiusMM: -50})
	uneven := lens(3, triplet.Surfaces...)
	uneven.ThicknessMM[2] = 2.1
	otherGlass := lens(3, triplet.Surfaces...)
	otherGlass.Glasses[0] = BuiltinGlasses().Find("F2")
	for _, c := range []struct {
		name string
		lens *Lens
		want bool
	}{
		{"biconvex", lens(1, Surface{RadiusMM: 50}, Surface{RadiusMM: -50}), true},
		{"meniscus of equal radii", lens(1, Surface{RadiusMM: 50}, Surface{RadiusMM: 50}), false},
		{"plano-convex", lens(1, Surface{RadiusMM: 50}, flat), false},
		{"window", lens(1, flat, flat), true},
		{"window with a conic constant on one side", lens(1, Surface{RadiusMM: math.Inf(1), Conic: -1}, flat), true},
		{"one conic side", lens(1, Surface{RadiusMM: 50, Conic: -1}, Surface{RadiusMM: -50}), false},
		{"aspheres", lens(1, Surface{RadiusMM: 50, Asphere: []float64{1e-5}}, Surface{RadiusMM: -50, Asphere: []float64{-1e-5, 0}}), true},
		{"aspheres of one sign", lens(1, Surface{RadiusMM: 50, Asphere: []float64{1e-5}}, Surface{RadiusMM: -50, Asphere: []float64{1e-5}}), false},
		{"triplet", triplet, true},
		{"triplet of two thicknesses", uneven, false},
		{"triplet of two glasses", otherGlass, false},
	} {
		if got := c.lens.IsSymmetric(); got != c.want {
			t.Errorf("%s: symmetric %v", c.name, got)
		}
	}
}
