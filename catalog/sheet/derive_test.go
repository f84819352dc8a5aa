package sheet

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
)

var unset = math.NaN()

// near compares two lengths to a share of themselves.
func near(t rapid.TB, what string, got, want, share float64) {
	t.Helper()
	if !(math.Abs(got-want) <= share*math.Abs(want)) && !(math.IsInf(got, 0) && math.IsInf(want, 0)) {
		t.Errorf("%s: %.9g, want %.9g", what, got, want)
	}
}

// E. Hecht, Optics, problem 6.12, as restated in lecture notes: a thick lens of
// radii 4 and -15 cm, 4 cm thick, index 1.5, has a focal length of 6.792453 cm
// (printed figures give 6.79). Each radius follows from the other. The last
// digit printed of f is 5e-7 of 6.8, and the second radius is 17 times as
// sensitive.
func TestOneRadiusOfAThickLens(t *testing.T) {
	s := singlet{kind: "bi-convex", diameter: 40, thickness: 40, focal: 67.92453, index: 1.5, r1: 40, r2: unset}
	if reason := s.derive(); reason != "" {
		t.Fatal(reason)
	}
	near(t, "r2", s.r2, -150, 2e-6)
	s = singlet{kind: "bi-convex", diameter: 40, thickness: 40, focal: 67.92453, index: 1.5, r1: unset, r2: -150}
	if reason := s.derive(); reason != "" {
		t.Fatal(reason)
	}
	near(t, "r1", s.r1, 40, 2e-6)
	near(t, "focal length", focalOf(40, -150, 40, 1.5), 67.92453, 1e-7)
}

// A ball of diameter D and index n has f = n·D/(4(n-1)) (any maker's page on
// ball lenses; from memory). Below n = 2 the other form with two equal radii is
// narrower, and does not reach the rim. Above it is wider, and could be made too.
func TestBall(t *testing.T) {
	for _, n := range []float64{1.4585, 1.5168, 1.7682, 1.9, 2.2} {
		const d = 6.0
		s := singlet{kind: "equi-convex", diameter: d, thickness: d, focal: n * d / (4 * (n - 1)), index: n, r1: unset, r2: unset}
		reason := s.derive()
		if n > 2 {
			if !strings.Contains(reason, "two forms") || !strings.Contains(reason, "and of 3 mm") {
				t.Errorf("n = %g: %q", n, reason)
			}
			continue
		}
		if reason != "" {
			t.Errorf("n = %g: %s", n, reason)
			continue
		}
		near(t, "r1", s.r1, d/2, 1e-9)
		near(t, "r2", s.r2, -d/2, 1e-9)
	}
}

// The focal length of a lens with a flat does not depend on its thickness:
// f = r/(n-1) (J. E. Greivenkamp, Field Guide to Geometrical Optics, 2004, power
// of a surface, from memory). With the e line index of N-BK7, 1.51872, a lens of
// 25.84 mm has 49.81 mm.
func TestPlano(t *testing.T) {
	for _, c := range []struct {
		kind           string
		focal, r1, r2  float64
		want1, want2   float64
		mentionsReason string
	}{
		{kind: "plano-convex", focal: 49.815, r1: unset, r2: unset, want1: 25.84, want2: math.Inf(1)},
		{kind: "Plano-Convex", focal: 49.815, r1: math.Inf(1), r2: unset, want1: math.Inf(1), want2: -25.84},
		{kind: "plano-convex", focal: 49.815, r1: unset, r2: math.Inf(1), want1: 25.84, want2: math.Inf(1)},
		{kind: "plano-convex", focal: unset, r1: 25.84, r2: unset, want1: 25.84, want2: math.Inf(1)},
		{kind: "plano-concave", focal: unset, r1: unset, r2: 25.84, want1: math.Inf(1), want2: 25.84},
		{kind: "plano-concave", focal: -49.815, r1: unset, r2: unset, want1: -25.84, want2: math.Inf(1)},
		{kind: "plano-concave", focal: 49.815, r1: unset, r2: unset, mentionsReason: "wrong sign"},
		{kind: "plano-convex", focal: unset, r1: unset, r2: unset, mentionsReason: "nor a finite focal length"},
		{kind: "plano-convex", focal: math.Inf(1), r1: unset, r2: unset, mentionsReason: "nor a finite focal length"},
	} {
		s := singlet{kind: c.kind, diameter: 12.7, thickness: 2.5, focal: c.focal, index: 1.51872, r1: c.r1, r2: c.r2}
		reason := s.derive()
		if c.mentionsReason != "" {
			if !strings.Contains(reason, c.mentionsReason) {
				t.Errorf("%+v: %q", c, reason)
			}
			continue
		}
		if reason != "" {
			t.Errorf("%+v: %s", c, reason)
		}
		near(t, "r1", s.r1, c.want1, 1e-4)
		near(t, "r2", s.r2, c.want2, 1e-4)
	}
}

// TestUndetermined: what leaves more than one answer, or none, is not guessed.
func TestUndetermined(t *testing.T) {
	lens := func(kind string, focal, thickness, diameter float64) singlet {
		return singlet{kind: kind, diameter: diameter, thickness: thickness, focal: focal, index: 1.5, r1: unset, r2: unset}
	}
	noGlass := lens("plano-convex", 50, 3, 10)
	noGlass.index = unset
	other := lens("bi-convex", 50, 3, 10)
	other.r1 = 20 // whose power is more than that of the lens: the back is hollow
	for _, c := range []struct {
		lens singlet
		want string
	}{
		{lens("bi-convex", 50, 3, 10), "does not determine"}, // unequal radii
		{lens("", 50, 3, 10), "does not determine"},
		{lens("achromat", 50, 3, 10), "does not determine"},
		{lens("meniscus", 50, 3, 10), "does not determine"},
		{noGlass, "nor a known glass"},
		{lens("equi-convex", 50, unset, 10), "nor a thickness"},
		{lens("equi-convex", 1, 3, 1), "its least is 2 mm"}, // t/n
		{lens("equi-convex", 10, 3, 25), "does not reach the rim"},
		{lens("equi-convex", -50, 3, 10), "wrong sign"},
		// A rod of 0.5·(10 ± sqrt(100 - 10·12/1.5)) = 7.24 and 2.76 mm, which
		// both reach 0.5 mm.
		{lens("equi-convex", 10, 12, 1), "two forms"},
		{other, "cannot have"},
	} {
		s := c.lens
		if reason := s.derive(); !strings.Contains(reason, c.want) {
			t.Errorf("%+v: %q, not %q", c.lens, reason, c.want)
		}
	}
}

// TestDeriveInvertsTheMatrices draws lenses, takes their focal lengths from the
// system matrices of package catalog, which know nothing of the formula here,
// and finds the radii again.
func TestDeriveInvertsTheMatrices(t *testing.T) {
	glass := catalog.NewAbbe("G", 1.6, 50, 3, "")
	rapid.Check(t, func(t *rapid.T) {
		kind := rapid.SampledFrom([]string{"plano-convex", "plano-concave", "equi-convex", "equi-concave", "bi-convex", "meniscus"}).Draw(t, "kind")
		diameter := rapid.Float64Range(2, 60).Draw(t, "diameter")
		magnitude := diameter * rapid.Float64Range(0.6, 20).Draw(t, "radius over diameter")
		r1, r2 := magnitude, math.Inf(1)
		switch kind {
		case "plano-concave":
			r1 = -magnitude
		case "equi-convex":
			r2 = -magnitude
		case "equi-concave":
			r1, r2 = -magnitude, magnitude
		case "bi-convex":
			r2 = -diameter * rapid.Float64Range(0.6, 20).Draw(t, "second")
		case "meniscus":
			r2 = magnitude * rapid.Float64Range(1.3, 8).Draw(t, "second")
		}
		thickness := diameter * rapid.Float64Range(0.05, 1).Draw(t, "thickness over diameter")
		l := &catalog.Lens{DiameterMM: diameter, Surfaces: []catalog.Surface{{RadiusMM: r1}, {RadiusMM: r2}}, ThicknessMM: []float64{thickness}, Glasses: []*catalog.Glass{glass}}
		if !(l.EdgeThicknessMM(0) >= 0) {
			return // no such lens
		}
		efl, _, _ := l.Cardinal(catalog.LineD)
		s := singlet{kind: kind, diameter: diameter, thickness: thickness, focal: efl, index: glass.Index(catalog.LineD), r1: unset, r2: unset}
		if kind == "bi-convex" || kind == "meniscus" {
			s.r1 = r1
		}
		reason := s.derive()
		if strings.Contains(reason, "two forms") && kind == "equi-convex" {
			return // rightly: a rod has the same focal length
		}
		if reason != "" {
			t.Fatal(reason)
		}
		// Of a lens of much power the difference that makes a weak face is small:
		// some ten digits are left.
		near(t, "r1", s.r1, r1, 1e-8)
		near(t, "r2", s.r2, r2, 1e-8)
	})
}
