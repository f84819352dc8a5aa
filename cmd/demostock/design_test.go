package main

import (
	"math"
	"testing"

	"relaysweep/catalog"
)

// achromats calls check with each achromat and the equi-convex singlet of
// N-BK7 of the same focal length and diameter.
func achromats(t *testing.T, check func(l, singlet *catalog.Lens)) {
	t.Helper()
	crown := catalog.BuiltinGlasses().Find("N-BK7")
	for _, l := range load(t) {
		if l.Kind != achromat {
			continue
		}
		singlet := designSinglet(crown, shapes[biConvex], l.DiameterMM, l.EFLMM)
		if singlet == nil {
			t.Fatalf("no equi-convex singlet with f %g mm and diameter %g mm", l.EFLMM, l.DiameterMM)
		}
		check(l, singlet)
	}
}

// colour is the distance between the back focal points at F' and C'.
func colour(l *catalog.Lens) float64 {
	_, blue, _ := l.Cardinal(lineF)
	_, red, _ := l.Cardinal(lineC)
	return math.Abs(blue - red)
}

// largestSpherical is the largest longitudinal spherical aberration over the
// clear aperture: zones and margin of a corrected lens have opposite signs.
func largestSpherical(l *catalog.Lens) float64 {
	most := 0.0
	for _, zone := range []float64{0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1} {
		most = math.Max(most, math.Abs(spherical(l, zone*clearFraction*l.DiameterMM/2)))
	}
	return most
}

func TestAchromatsAreAchromatic(t *testing.T) {
	achromats(t, func(l, singlet *catalog.Lens) {
		if a, s := colour(l), colour(singlet); a > s/20 {
			t.Errorf("part %s: focal shift %.4f mm from F' to C', a singlet has %.4f mm", l.Part, a, s)
		}
	})
}

func TestAchromatsAreLowInSphericalAberration(t *testing.T) {
	achromats(t, func(l, singlet *catalog.Lens) {
		// Correction by the third order leaves a zone that grows with the
		// fourth power of the aperture: fast doublets gain less.
		gain := 4.0
		if l.EFLMM >= 1.95*l.DiameterMM {
			gain = 10
		}
		if a, s := largestSpherical(l), largestSpherical(singlet); a > s/gain {
			t.Errorf("part %s: spherical aberration %.4f mm, a singlet has %.4f mm", l.Part, a, s)
		}
	})
}

// Less spherical aberration than a lens has colour cannot be seen beside it.
func TestAspheresAreLowInSphericalAberration(t *testing.T) {
	for _, l := range load(t) {
		if l.Kind != asphere && l.Kind != fresnel {
			continue
		}
		if s, c := largestSpherical(l), colour(l); s > c {
			t.Errorf("part %s: spherical aberration %.4f mm, colour %.4f mm", l.Part, s, c)
		}
		if s := spherical(l, clearFraction*l.DiameterMM/2); math.Abs(s) > 1e-4*l.EFLMM {
			t.Errorf("part %s: the marginal ray misses the focus by %.4f mm", l.Part, s)
		}
	}
}

// A beam along the axis that enters through a flat leaves a hyperboloid of
// conic constant -n² for one point, whatever its height (R. Descartes, La
// Dioptrique, 1637; E. Hecht, Optics, section 5.2.1).
func TestAxisCrossingOfAHyperboloid(t *testing.T) {
	glass := catalog.BuiltinGlasses().Find("N-BK7")
	n := glass.Index(catalog.LineE)
	l := newLens(25, []float64{0, -1.0 / 20}, []float64{9}, glass)
	l.Surfaces[1].Conic = -n * n
	for _, height := range []float64{0.5, 4, 8, 12} {
		crossing, slope := axisCrossing(l, catalog.LineE, height)
		if want := 20 / (n - 1); math.Abs(crossing-want) > 1e-9 {
			t.Errorf("height %g mm: crossing at %.12g mm, want %.12g", height, crossing, want)
		}
		// The ray leaves the surface at its height, one sag behind the vertex.
		if want := height / (crossing - l.Surfaces[1].Sag(height)); math.Abs(math.Abs(slope)-want) > 1e-12 {
			t.Errorf("height %g mm: slope %.12g, want %.12g", height, slope, want)
		}
	}
	if spot := spotRMS(l, 11); spot < 1e-3 {
		t.Errorf("a singlet of f %.1f mm has colour, yet its spot is %.2g mm", 20/(n-1), spot)
	}
}

// The spot of the hyperboloid is all colour. With crossings at z of equal
// slope s the least spot over weights w is s·sqrt(variance of z); the slopes
// of one zone differ between the lines by less than the tolerance.
func TestSpotOfColourAlone(t *testing.T) {
	glass := catalog.BuiltinGlasses().Find("N-BK7")
	n := glass.Index(catalog.LineE)
	l := newLens(25, []float64{0, -1.0 / 200}, []float64{2}, glass)
	l.Surfaces[1].Conic = -n * n
	focal := func(nm float64) float64 { return 200 / (glass.Index(nm) - 1) }
	blue, green, red := focal(lineF), focal(catalog.LineE), focal(lineC)
	mean := (blue + 2*green + red) / 4
	variance := (math.Pow(blue-mean, 2) + 2*math.Pow(green-mean, 2) + math.Pow(red-mean, 2)) / 4
	const margin = 5.0
	// Over a filled circle the mean square height is half the margin's.
	want := margin / math.Sqrt2 / green * math.Sqrt(variance)
	if got := spotRMS(l, margin); math.Abs(got/want-1) > 0.01 {
		t.Errorf("spot %.6g mm, want %.6g", got, want)
	}
}

func TestZeroNear(t *testing.T) {
	square := func(x float64) float64 { return x*x - 2 }
	if got := zeroNear(square, 1, 2); math.Abs(got-math.Sqrt2) > 1e-7 {
		t.Errorf("found %.12g, want the root of 2", got)
	}
	if got := zeroNear(func(float64) float64 { return 1 }, 1, 2); !math.IsNaN(got) {
		t.Errorf("found a zero of a constant at %g", got)
	}
}

func TestLeastNear(t *testing.T) {
	f := func(x float64) float64 { return math.Cosh(x - 0.3) }
	if got := leastNear(f, -2, 1, 1e-6); math.Abs(got-0.3) > 1e-6 {
		t.Errorf("found %.9g, want 0.3", got)
	}
}

func TestWhatCannotBeMadeIsRefused(t *testing.T) {
	glass := catalog.BuiltinGlasses().Find("N-BK7")
	// A plano-convex lens of f 20 mm has a radius of 10 mm: no 25 mm across.
	if l := designSinglet(glass, shapes[planoConvex], 25, 20); l != nil {
		t.Errorf("a plano-convex singlet with radius %g mm and diameter 25 mm", l.Surfaces[0].RadiusMM)
	}
	tooFast := lines[0]
	if l, err := tooFast.part(25, 20); err == nil {
		t.Errorf("part %s was made", l.Part)
	}
}
