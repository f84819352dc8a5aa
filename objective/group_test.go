package objective

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// drawAnyGroup draws a problem and a group of either sign.
func drawAnyGroup(t *rapid.T) (*Problem, *Group) {
	p := use.DrawProblem(t)
	focal := testlens.Between(t, "f", 20, 120)
	if rapid.Bool().Draw(t, "negative") {
		focal = -focal
	}
	return p, use.DrawGroup(t, p, "g", focal)
}

// reversedGroup is a group turned round as a whole.
func reversedGroup(p *Problem, g *Group) *Group {
	var elements []*Element
	for _, e := range slices.Backward(g.Elements) {
		elements = append(elements, p.NewElement(e.Lens, !e.Reversed, e.Part, e.Index))
	}
	return p.NewGroup(elements...)
}

// TestElementAgainstCatalog holds an element's matrix against the catalog's
// own trace in reduced slopes.
func TestElementAgainstCatalog(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := use.DrawProblem(t)
		l := testlens.DrawLens(t, "lens", testlens.Between(t, "power", -0.05, 0.05))
		g := use.Group(p, []*catalog.Lens{l})
		f, bfd, ffd := l.Cardinal(546.07)
		if math.Abs(f) > 1e5 {
			t.Skip("afocal")
		}
		testlens.CloseTo(t, "f", g.FocalMM, f, f)
		testlens.CloseTo(t, "BFD", g.BFDMM, bfd, f)
		testlens.CloseTo(t, "FFD", g.FFDMM, ffd, f)
	})
}

// TestElementDispersion: the index is that at the reference wavelength.
func TestElementDispersion(t *testing.T) {
	p := use.Problem()
	l := testlens.Achromat(50, 25)
	for _, c := range []struct {
		weights []float64
		nm      float64
	}{{[]float64{3, 2, 1}, 479.99}, {[]float64{1, 2, 1}, 546.07}, {[]float64{0, 0, 1}, 643.85}} {
		p.Weights = c.weights
		lib := NewLibrary(p, []*catalog.Lens{l})
		want, _, _ := l.Cardinal(c.nm)
		testlens.CloseTo(t, fmt.Sprint("f at ", c.nm), p.NewGroup(lib.Elements[0]).FocalMM, want, 50)
		if len(lib.Elements) != 2 || lib.Elements[1].ID != l.Part+"/r" || lib.Elements[1].Part != 0 || lib.Elements[1].Index != 1 {
			t.Errorf("the library of one doublet is %+v", lib.Elements)
		}
	}
	// A lens that equals its reverse stands in a library once.
	if lib := NewLibrary(p, []*catalog.Lens{testlens.Equiconvex(50, 20, 5, testlens.Crown), l}); len(lib.Elements) != 3 || lib.Elements[2].Part != 1 {
		t.Errorf("an equiconvex lens and a doublet make %d elements", len(lib.Elements))
	}
}

// TestGroupAgainstTwoComponents builds a stack up by the equations of two
// components (W. J. Smith, Modern Optical Engineering, 4th ed., 2008, Eqs. 4.4
// to 4.8), with d from second principal point to first principal point.
func TestGroupAgainstTwoComponents(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, g := drawAnyGroup(t)
		first := p.NewGroup(g.Elements[0])
		f, ffd, bfd, thickness := first.FocalMM, first.FFDMM, first.BFDMM, first.ThicknessMM
		for i, e := range g.Elements[1:] {
			b := p.NewGroup(e)
			if math.Abs(f) > 1e4 || math.Abs(b.FocalMM) > 1e4 {
				t.Skip("an afocal component has no principal points")
			}
			d := f - bfd + g.GapsMM[i] + b.FocalMM - b.FFDMM
			fab := f * b.FocalMM / (f + b.FocalMM - d)
			// The focal points by back focus fab·(fa - d)/fa from the second
			// principal plane of b, and the like in front.
			bfd = fab*(f-d)/f - (b.FocalMM - b.BFDMM)
			ffd = fab*(b.FocalMM-d)/b.FocalMM - (f - ffd)
			f = fab
			thickness += g.GapsMM[i] + e.length
		}
		scale := math.Abs(f) + math.Abs(g.FFDMM) + math.Abs(g.BFDMM)
		for _, e := range g.Elements { // weak lenses have principal points far off
			scale += math.Abs(p.NewGroup(e).FocalMM)
		}
		testlens.CloseTo(t, "f", g.FocalMM, f, scale)
		testlens.CloseTo(t, "FFD", g.FFDMM, ffd, scale)
		testlens.CloseTo(t, "BFD", g.BFDMM, bfd, scale)
		testlens.CloseTo(t, "t", g.ThicknessMM, thickness, thickness)
	})
}

// TestGroupMatrix: determinant 1, and a group turned round has A and D
// exchanged, the same power and the same gaps.
func TestGroupMatrix(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, g := drawAnyGroup(t)
		m := g.matrix
		testlens.CloseTo(t, "determinant", m.A*m.D-m.B*m.C, 1, 1+math.Abs(m.A*m.D))
		r := reversedGroup(p, g)
		scale := math.Abs(m.A) + math.Abs(m.D) + 1
		testlens.CloseTo(t, "A reversed", r.matrix.A, m.D, scale)
		testlens.CloseTo(t, "D reversed", r.matrix.D, m.A, scale)
		testlens.CloseTo(t, "B reversed", r.matrix.B, m.B, math.Abs(m.B)+10)
		testlens.CloseTo(t, "C reversed", r.matrix.C, m.C, scale)
		for i, gap := range g.GapsMM {
			// Searched for in the other order, the closest height may fall on
			// another sample of an asphere.
			testlens.Near(t, "gap reversed", r.GapsMM[len(g.GapsMM)-1-i], gap, 1e-9)
		}
		if g.Positive() != (g.FocalMM > 0) {
			t.Error("wrong sign of power")
		}
	})
}

// TestHeightRows: the rows of both directions are the heights of an
// independent trace.
func TestHeightRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, g := drawAnyGroup(t)
		y, u := testlens.Between(t, "y", -5, 5), testlens.Between(t, "u", -0.3, 0.3)
		train := &Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{g}, EyeRelief: p.CombinerMM}
		var lenses []testlens.Plane
		for _, s := range use.PlanesOf(p, train, 0) {
			if s.Clear > 0 {
				lenses = append(lenses, s)
			}
		}
		want, y0, u0 := testlens.TraceBackThrough(lenses, y, u)
		scale := math.Abs(y0) + math.Abs(g.FocalMM*u0) + 5
		i := len(want)
		front, frontSlope := g.eachBack(heightRow{1, 0}, heightRow{0, 1}, func(row heightRow, clear float64) {
			i--
			testlens.CloseTo(t, "height from behind", row.A*y+row.B*u, want[i], scale)
			testlens.CloseTo(t, "clear", clear, lenses[i].Clear, 1)
		})
		testlens.CloseTo(t, "height in front", front.A*y+front.B*u, y0, scale)
		testlens.CloseTo(t, "slope in front", frontSlope.A*y+frontSlope.B*u, u0, 1)
		i = 0
		g.eachForward(func(row heightRow, clear float64) {
			testlens.CloseTo(t, "height from before", row.A*y0+row.B*u0, want[i], scale)
			testlens.CloseTo(t, "clear", clear, lenses[i].Clear, 1)
			i++
		})
		if i != len(want) {
			t.Errorf("%d surfaces visited of %d", i, len(want))
		}
	})
}

// TestTrainSums: mass and price are sums over the lenses, and not known when
// one is not.
func TestTrainSums(t *testing.T) {
	p := use.Problem()
	a, b := testlens.Equiconvex(50, 20, 5, testlens.Crown), testlens.PlanoConvex(60, 22, 4, testlens.DenseCrown)
	a.Price, b.Price = 12, 30
	train := &Train{Groups: []*Group{use.Group(p, []*catalog.Lens{a, b}), use.Group(p, []*catalog.Lens{a})}}
	if price, known := train.Price(); !known || price != 54 {
		t.Errorf("price %v, want 54", price)
	}
	grams, known := train.MassG()
	testlens.CloseTo(t, "mass", grams, 2*a.MassG()+b.MassG(), 10)
	if !known {
		t.Error("the mass is not known")
	}
	b.Price = catalog.Unset
	if _, known := train.Price(); known {
		t.Error("a price is known though a part has none")
	}
	glass := testlens.ConstantGlass(1.5)
	train.Groups = append(train.Groups, use.Group(p, []*catalog.Lens{testlens.Equiconvex(50, 20, 5, glass)}))
	if _, known := train.MassG(); known {
		t.Error("a mass is known though a glass has no density")
	}
}

// TestDesignID is the contract of design_id.
func TestDesignID(t *testing.T) {
	p := use.Problem()
	named := func(part string, reversed bool) *Element {
		l := testlens.PlanoConvex(50, 20, 5, testlens.Crown)
		l.Part = part
		return p.NewElement(l, reversed, 0, 0)
	}
	a, b, c := p.NewGroup(named("A", false), named("B", true)), p.NewGroup(named("C", true)), p.NewGroup(named("D", false))
	for _, x := range []struct {
		train Train
		want  string
	}{
		{Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{a, b}}, "keplerian:rear:A+B/r|C/r"},
		{Train{Layout: ErectorSingle, Seat: SeatFront, Groups: []*Group{b, a, c}}, "erector-single:front:C/r|A+B/r|D"},
		{Train{Layout: ErectorPair, Seat: SeatRear, Groups: []*Group{b, a, c, c}}, "erector-pair:rear:C/r|A+B/r|D|D"},
	} {
		if got := x.train.DesignID(); got != x.want {
			t.Errorf("design_id %s, want %s", got, x.want)
		}
		if len(x.train.Layout.GroupNames()) != len(x.train.Groups) {
			t.Errorf("%s names %d groups", x.train.Layout, len(x.train.Layout.GroupNames()))
		}
	}
}
