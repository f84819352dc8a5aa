package objective

import (
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// TestTrainAtGivenStackGap gives a stack another gap than the smallest: two thin
// lenses a distance d apart have the power 1/f1 + 1/f2 - d/(f1·f2) (E. Hecht,
// Optics, section 6.1).
func TestTrainAtGivenStackGap(t *testing.T) {
	p := use.Problem()
	glass := testlens.ConstantGlass(1.5)
	thin := func(f float64) *Element {
		l := testlens.Equiconvex(f, 10, 1e-6, glass)
		return NewLibrary(p, []*catalog.Lens{l}).Elements[0]
	}
	const f1, f2, d = 60.0, 90.0, 17.0
	a, b := thin(f1), thin(f2)
	g := groupAt([]*Element{a, b}, []float64{d})
	testlens.Near(t, "power", 1/g.FocalMM, 1/f1+1/f2-d/(f1*f2), 1e-7)
	testlens.Near(t, "thickness", g.ThicknessMM, d+2e-6, 1e-12)
}

// TestEdgeGap: two plano-convex lenses that face each other with their curved
// sides, vertices g apart, leave g + 2·(R - sqrt(R² - h²)) at height h, the sag
// of a circle (common practice); with their flat sides, g.
func TestEdgeGap(t *testing.T) {
	p := use.Problem()
	l := testlens.PlanoConvex(50, 20, 5, testlens.ConstantGlass(1.5)) // R = 25, curved side first
	lib := NewLibrary(p, []*catalog.Lens{l})
	curvedFirst, curvedLast := lib.Elements[0], lib.Elements[1]
	const gap = 3.0
	want := gap + 2*(25-math.Sqrt(25*25-10*10))
	testlens.Near(t, "curved sides", EdgeGapMM(curvedLast, curvedFirst, gap), want, 1e-12)
	testlens.Near(t, "flat sides", EdgeGapMM(curvedFirst, curvedLast, gap), gap, 1e-12)
	testlens.Near(t, "least gap of a stack", EdgeGapMM(curvedLast, curvedFirst, p.StackGap(curvedLast, curvedFirst)), p.AirGapMin+want-gap, 1e-12)
}
