package objective

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// drawSagSurface draws a surface that reaches out to a height.
func drawSagSurface(t *rapid.T, label string, half float64) catalog.Surface {
	s := catalog.Surface{RadiusMM: math.Inf(1)}
	if kind := rapid.IntRange(0, 5).Draw(t, label+" kind"); kind > 0 {
		s.RadiusMM = half * testlens.Between(t, label+" radius", 1.25, 20)
		if kind%2 == 0 {
			s.RadiusMM = -s.RadiusMM
		}
	}
	if rapid.Bool().Draw(t, label+" conic") {
		s.Conic = testlens.Between(t, label+" k", -4, 0.5)
	}
	if rapid.Bool().Draw(t, label+" asphere") {
		// Terms that reach a tenth of the half diameter at the rim.
		h2 := half * half
		for i, scale := 0, 0.1/(h2*half); i < 3; i++ {
			s.Asphere = append(s.Asphere, scale*testlens.Between(t, label+" term", -1, 1))
			scale /= h2
		}
	}
	return s
}

// sampledMax is the largest of f over heights 0 to half at 20001 samples, and
// by how much the true one may exceed it: between samples f bends by its
// second differences, which vary little from one to the next.
func sampledMax(half float64, f func(float64) float64) (best, within float64) {
	const n = 20000
	best = math.Inf(-1)
	previous, before := math.NaN(), math.NaN()
	for i := range n + 1 {
		v := f(half * float64(i) / n)
		best = math.Max(best, v)
		if i >= 2 {
			within = math.Max(within, math.Abs(v-2*previous+before))
		}
		before, previous = previous, v
	}
	// An eighth of the second difference, and rounding.
	return best, within/4 + 1e-13*half
}

func checkMax(t rapid.TB, what string, got, half float64, f func(float64) float64) {
	t.Helper()
	best, within := sampledMax(half, f)
	if !(got >= best-1e-13*half && got <= best+within) {
		t.Errorf("%s: got %.15g, samples say %.15g and at most %.3g more", what, got, best, within)
	}
}

// TestFacingSagOverlap holds the closest approach of two surfaces, and the range
// of a sag, against dense sampling.
func TestFacingSagOverlap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		half := testlens.Between(t, "half", 3, 30)
		a, b := drawSagSurface(t, "before", half), drawSagSurface(t, "after", half)
		checkMax(t, "reach", facingSagOverlap(a, b, half), half, func(h float64) float64 { return a.Sag(h) - b.Sag(h) })
		lo, hi := sagRange(a, half)
		checkMax(t, "largest sag", hi, half, a.Sag)
		checkMax(t, "smallest sag", -lo, half, func(h float64) float64 { return -a.Sag(h) })
	})
}

// TestFacingSagOverlapZone: an asphere that bulges in a zone touches there, neither
// on the axis nor at the rim. With sag a·h² - b·h⁴ against a flat the closest
// height is sqrt(a/2b), where the sag is a²/4b.
func TestFacingSagOverlapZone(t *testing.T) {
	// A paraboloid (k = -1) has sag h²/2R exactly.
	for _, c := range []struct{ radius, b float64 }{{40, 1e-4}, {100, 2e-5}, {25, 1e-4}} {
		s := catalog.Surface{RadiusMM: c.radius, Conic: -1, Asphere: []float64{-c.b}}
		flat := catalog.Surface{RadiusMM: math.Inf(1)}
		a := 1 / (2 * c.radius)
		if zone := math.Sqrt(a / (2 * c.b)); zone > 18 {
			t.Fatalf("the zone lies at %g", zone)
		}
		testlens.CloseTo(t, "reach before a flat", facingSagOverlap(s, flat, 20), a*a/(4*c.b), 0.1)
		testlens.CloseTo(t, "reach behind a flat", facingSagOverlap(flat, s.Reversed(), 20), a*a/(4*c.b), 0.1)
	}
}

// TestStackGap: neighbours keep the air gap at every height, and touch it at
// one; so do groups, and the mask's room leaves the clearance.
func TestStackGap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := use.DrawProblem(t)
		var e [2]*Element
		for i, name := range []string{"before", "after"} {
			half := testlens.Between(t, name+" half", 4, 25)
			l := testlens.Lens(name, 2*half, []float64{1, 1}, []float64{5}, testlens.ConstantGlass(1.5))
			l.Surfaces = []catalog.Surface{drawSagSurface(t, name+"1", half), drawSagSurface(t, name+"2", half)}
			e[i] = p.NewElement(l, rapid.Bool().Draw(t, name+" turned"), i, i)
		}
		last, first := e[0].Surfaces[1], e[1].Surfaces[0]
		half := math.Min(e[0].Lens.DiameterMM, e[1].Lens.DiameterMM) / 2
		closest := func(gap float64) func(h float64) float64 {
			return func(h float64) float64 { return -(gap + first.Sag(h) - last.Sag(h)) }
		}
		checkMax(t, "air gap", -p.AirGapMin, half, closest(p.StackGap(e[0], e[1])))
		a, b := p.NewGroup(e[0]), p.NewGroup(e[1])
		checkMax(t, "group gap", -p.GroupGapMin, half, closest(p.LeastGap(a, b)))
		if g := p.NewGroup(e[0], e[1]); g.GapsMM[0] != p.StackGap(e[0], e[1]) {
			t.Error("a stack has another gap")
		}
		// The mask is a plate: its glass faces the nearest point of either
		// surface, out to that lens's own half diameter.
		train := &Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{a, b}, Gaps: []float64{60}}
		lo, hi := p.MaskRoom(train, train.MaskGap())
		checkMax(t, "room behind the front", lo-p.MaskGlass/2-p.Clearance, e[0].halfDiameter, last.Sag)
		checkMax(t, "room before the rear", 60-hi-p.MaskGlass/2-p.Clearance, e[1].halfDiameter,
			func(h float64) float64 { return -first.Sag(h) })
	})
}

// TestLibrarySagOverlap: a library remembers how close its lenses come to each
// other, for each pair in each order and orientation by itself.
func TestLibrarySagOverlap(t *testing.T) {
	p := use.Problem()
	var lenses []*catalog.Lens
	for i, diameter := range []float64{18, 24, 30} {
		l := testlens.PlanoConvex(40+10*float64(i), diameter, 8, testlens.DenseCrown)
		l.Surfaces[0].Conic = -0.5
		l.Surfaces[1] = catalog.Surface{RadiusMM: 90, Conic: -1, Asphere: []float64{-1.5e-5 * float64(i+1)}}
		lenses = append(lenses, l)
	}
	lib := NewLibrary(p, append(lenses, testlens.Achromat(50, 26)))
	for range 2 {
		for _, a := range lib.Elements {
			for _, b := range lib.Elements {
				half := math.Min(a.Lens.DiameterMM, b.Lens.DiameterMM) / 2
				last, first := a.Surfaces[len(a.Surfaces)-1], b.Surfaces[0]
				want := facingSagOverlap(last, first, half)
				if got := p.StackGap(a, b); got != p.AirGapMin+want {
					t.Errorf("%s and %s: gap %v, want %v", a.ID, b.ID, got, p.AirGapMin+want)
				}
				if got := p.LeastGap(p.NewGroup(a), p.NewGroup(b)); got != p.GroupGapMin+want {
					t.Errorf("groups %s and %s: gap %v, want %v", a.ID, b.ID, got, p.GroupGapMin+want)
				}
			}
		}
	}
}
