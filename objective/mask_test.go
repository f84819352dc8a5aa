package objective

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// motionCase is a mask's motion with bounds that matter about as often as not.
type motionCase struct {
	p              *Problem
	m              maskMotion
	lo, hi         float64 // of the setpoints, from the front focal point
	pixel, stepMax float64
}

func drawMotion(t *rapid.T) motionCase {
	p := use.DrawProblem(t)
	f := testlens.Between(t, "focal", 15, 120)
	c := motionCase{
		p: p, m: maskMotion{p, f}, lo: testlens.Between(t, "lo", -20, 5), hi: testlens.Between(t, "hi", -5, 30),
		pixel: testlens.Between(t, "pixel limit", 0.3, 6), stepMax: testlens.Between(t, "step limit", 1e-4, 0.02),
	}
	if testlens.OneIn(t, "no end", 4) {
		c.hi = math.Inf(1)
	}
	return c
}

// setpoint is Newton's equation for a vergence: the setpoint x = f²/(d - p) and
// the chief height f·d/(d - p) of unit slope, with d = 1/v; at v = 0 the
// limits 0 and f.
func (c motionCase) setpoint(v, p float64) (x, chief float64) {
	if v == 0 {
		return 0, c.m.focal
	}
	d := 1 / v
	return c.m.focal * c.m.focal / (d - p), c.m.focal * d / (d - p)
}

// TestMaskMotion: each interval of places of the eye holds those at which its
// requirement, evaluated at many depths, is met, and no other. All ask that
// the whole depth range lies before the rear focal point of what follows the
// mask, d > p, which is room's to test.
func TestMaskMotion(t *testing.T) {
	inside, outside := map[string]int{}, map[string]int{}
	testlens.Examples(1500, drawMotion, func(i int, c motionCase) {
		p, far, near := c.p, c.p.VergenceFar, c.p.VergenceNear
		most := 300.0
		if near > 0 {
			most = 1 / near
		}
		vergences := make([]float64, 9)
		for k := range vergences {
			vergences[k] = far + (near-far)*float64(k)/8
		}
		all := func(place float64, met func(v, x, chief float64) bool) bool {
			for _, v := range vergences {
				if x, chief := c.setpoint(v, place); !met(v, x, chief) {
					return false
				}
			}
			return true
		}
		tan := math.Tan(c.pixel / 60 * math.Pi / 180)
		for _, r := range []struct {
			name     string
			interval Interval
			met      func(place float64) bool
		}{
			{"room", c.m.room(c.lo, c.hi), func(place float64) bool {
				return all(place, func(_, x, chief float64) bool { return chief > 0 && x >= c.lo && x <= c.hi })
			}},
			{"travel", c.m.travel(p.Travel), func(place float64) bool {
				first, _ := c.setpoint(far, place)
				return all(place, func(_, x, _ float64) bool { return math.Abs(x-first) <= p.Travel })
			}},
			{"size", c.m.size(), func(place float64) bool {
				return all(place, func(_, _, chief float64) bool {
					return chief*p.TanHalfWidth <= p.MaskWidth/2 && chief*p.TanHalfHeight <= p.MaskHeight/2
				})
			}},
			{"pixel", c.m.pixel(c.pixel), func(place float64) bool {
				return all(place, func(_, _, chief float64) bool { return p.MaskPixel/chief <= tan })
			}},
			{"step", c.m.step(c.stepMax), func(place float64) bool {
				return all(place, func(v, _, _ float64) bool {
					// dx/dv by a difference of x = f²/(1/v - p), in which the
					// vergences 0 and far from it are the same: x is exact in
					// the form f²·v/(1 - p·v).
					const h = 1e-7
					x := func(v float64) float64 { return c.m.focal * c.m.focal * v / (1 - place*v) }
					slope := (x(v+h) - x(v-h)) / (2 * h) / 1000 // mm a dioptre
					return p.StageResolution/slope <= c.stepMax*(1+1e-6)
				})
			}},
		} {
			try := func(place float64) {
				if place >= most*0.999 && r.name != "room" || math.Abs(place-most) < 1e-3*most {
					return
				}
				// A place so near an end that the two computations may differ
				// says nothing.
				width := 1e-5 * (1 + math.Abs(place))
				if math.Abs(place-r.interval.Lo) < width || math.Abs(place-r.interval.Hi) < width {
					return
				}
				in := place >= r.interval.Lo && place <= r.interval.Hi
				if in {
					inside[r.name]++
				} else {
					outside[r.name]++
				}
				if met := r.met(place); met != in {
					t.Errorf("case %d: %s at p = %v: met is %v, interval %v (depths %v to %v, f %v)",
						i, r.name, place, met, r.interval, far, near, c.m.focal)
				}
			}
			for k := range 40 {
				try(-250 + (1.5*most+250)*float64(k)/40)
			}
			for _, end := range [2]float64{r.interval.Lo, r.interval.Hi} {
				if !math.IsInf(end, 0) {
					try(end - 1e-3*(1+math.Abs(end)))
					try(end + 1e-3*(1+math.Abs(end)))
				}
			}
		}
	})
	for _, name := range []string{"room", "travel", "size", "pixel", "step"} {
		if inside[name] < 1000 || outside[name] < 1000 {
			t.Errorf("%s: %d places inside, %d outside: too few", name, inside[name], outside[name])
		}
	}
}

// TestMaskMotionDegenerate: depth ranges of one depth, and at infinity alone.
func TestMaskMotionDegenerate(t *testing.T) {
	p := use.Problem()
	m := maskMotion{p, 50}
	p.VergenceFar, p.VergenceNear = 0, 0
	if i := m.room(-1, 1); i != Everything {
		t.Errorf("room about the focal point: %v", i)
	}
	if i := m.room(0.1, 1); !i.Empty() {
		t.Errorf("room beside the focal point: %v", i)
	}
	if i := m.room(-1, -0.1); !i.Empty() {
		t.Errorf("room before the focal point: %v", i)
	}
	for _, travel := range []float64{0, 1} {
		if i := m.travel(travel); i != Everything {
			t.Errorf("travel at one depth: %v", i)
		}
	}
	p.VergenceNear = 0.004
	if i := m.travel(0); !i.Empty() {
		t.Errorf("no travel over a range: %v", i)
	}
	if i := m.room(-1, math.Inf(1)); !(i.Hi < 1/p.VergenceNear) {
		t.Errorf("a setpoint at infinity has room: %v", i)
	}
	if m.pixel(math.Inf(1)) != Everything || m.step(math.Inf(1)) != Everything {
		t.Error("no limit limits")
	}
}

// TestClipAperture: the interval of x is that for which |a|·T + r·max|A + V·a|
// <= clear, a = slope·x + at0.
func TestClipAperture(t *testing.T) {
	counts := map[bool]int{}
	rapid.Check(t, func(t *rapid.T) {
		p := use.DrawProblem(t)
		slope, at0, edge := testlens.Between(t, "slope", -2, 2), testlens.Between(t, "at0", -30, 30), testlens.Between(t, "edge", -3, 3)
		clear := testlens.Between(t, "clear", 0.5, 20)
		x := Interval{-100, 100}
		p.clipAperture(&x, slope, at0, edge, clear)
		try := func(at float64) {
			a := slope*at + at0
			used := math.Abs(a)*p.TanMax + p.PassingEdge()*math.Max(math.Abs(edge+p.VergenceFar*a), math.Abs(edge+p.VergenceNear*a))
			if math.Abs(used-clear) < 1e-9 {
				return
			}
			in := at >= x.Lo && at <= x.Hi
			counts[in]++
			if in != (used <= clear) {
				t.Errorf("%v of %v used at x = %v, interval %v", used, clear, at, x)
			}
		}
		for k := range 41 {
			try(-100 + 5*float64(k))
		}
		for _, end := range [2]float64{x.Lo, x.Hi} {
			if end > -100 && end < 100 {
				try(end - 1e-6)
				try(end + 1e-6)
			}
		}
	})
	if counts[true] < 100 || counts[false] < 100 {
		t.Errorf("inside and outside: %v", counts)
	}
}

// TestInterval is set algebra on half-open questions: empty sets, clips of
// either sign and of none.
func TestInterval(t *testing.T) {
	if Everything.Empty() || !nothing.Empty() || (Interval{2, 2}).Empty() || !(Interval{math.NaN(), 1}).Empty() {
		t.Error("wrong emptiness")
	}
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.Float64Range(-10, 10)
		i := Interval{number.Draw(t, "lo"), number.Draw(t, "hi")}
		j := Interval{number.Draw(t, "lo2"), number.Draw(t, "hi2")}
		slope, bound, x := number.Draw(t, "slope"), number.Draw(t, "bound"), number.Draw(t, "x")
		in := func(i Interval) bool { return x >= i.Lo && x <= i.Hi }
		if in(i.And(j)) != (in(i) && in(j)) {
			t.Error("And is no intersection")
		}
		clipped := i
		clipped.clip(slope, bound)
		if math.Abs(slope*x-bound) > 1e-12 && in(clipped) != (in(i) && slope*x <= bound) {
			t.Errorf("clip of %v by %v·x <= %v: %v", i, slope, bound, clipped)
		}
		if scale := math.Abs(slope) + 0.1; !i.Empty() {
			moved := i.affine(scale, bound)
			testlens.CloseTo(t, "affine", moved.Lo, scale*i.Lo+bound, 100)
			testlens.CloseTo(t, "affine", moved.Hi, scale*i.Hi+bound, 100)
		}
	})
}

// TestParts: lenses, distinct parts and stock over the whole train, a lens and
// its reverse being one part.
func TestParts(t *testing.T) {
	part := func(name string, number int, reversed bool, stock int) *Element {
		l := testlens.PlanoConvex(40, 20, 5, testlens.Crown)
		l.Part, l.Stock = name, stock
		return use.Problem().NewElement(l, reversed, number, 2*number)
	}
	a, aTurned := part("A", 0, false, 3), part("A", 0, true, 3)
	b, c := part("B", 1, false, catalog.Unlimited), part("C", 2, false, 0)
	for _, x := range []struct {
		elements             [][]*Element
		lensesMax, partsMax  int
		tooMany              bool
		lenses, distinctWant int
	}{
		{[][]*Element{{a, aTurned}, {a}}, 0, 0, false, 3, 1},
		{[][]*Element{{a, aTurned}, {a}}, 3, 1, false, 3, 1},
		{[][]*Element{{a, aTurned}, {a}}, 2, 0, true, 3, 1},
		{[][]*Element{{a, aTurned}, {a, a}}, 0, 0, true, 4, 1}, // stock 3
		{[][]*Element{{a, b}, {b, b}, {b}}, 0, 2, false, 5, 2},
		{[][]*Element{{a, b}, {b, b}, {b}}, 0, 1, true, 5, 2},
		{[][]*Element{{a}, {c}}, 0, 0, true, 2, 2}, // none in stock
	} {
		p := use.Problem()
		p.LensesMax, p.PartsMax = x.lensesMax, x.partsMax
		train := &Train{}
		for _, elements := range x.elements {
			train.Groups = append(train.Groups, p.NewGroup(elements...))
		}
		name := fmt.Sprintf("%s, at most %d lenses and %d parts", train.DesignID(), x.lensesMax, x.partsMax)
		if got := p.tooManyParts(train); got != x.tooMany {
			t.Errorf("%s: too many parts: %v", name, got)
		}
		if n := countParts(train.Groups); n.lenses != x.lenses || n.distinct != x.distinctWant {
			t.Errorf("%s: counted %d lenses and %d parts", name, n.lenses, n.distinct)
		}
	}
}

// TestJudgeParts: parts, price and mass come last and in that order; a part
// without a price fails a price limit.
func TestJudgeParts(t *testing.T) {
	p := use.Problem()
	train := use.Simple(t, p)
	p.TanMax, p.TanHalfWidth, p.TanHalfHeight = 0.03, 0.024, 0.018
	grams, _ := train.MassG()
	judge := func(change func(p *Problem)) Requirement {
		q := *p
		q.Limits.Max = map[string]float64{"price": 80, "mass_g": grams}
		change(&q)
		_, failed := q.Judge(train)
		return failed
	}
	for _, c := range []struct {
		want   Requirement
		change func(p *Problem)
	}{
		{Met, func(p *Problem) {}},
		{Parts, func(p *Problem) { p.LensesMax = 3; p.Limits.Max["price"] = 1 }},
		{Price, func(p *Problem) { p.Limits.Max["price"] = 79.99; p.Limits.Max["mass_g"] = 1 }},
		{MassG, func(p *Problem) { p.Limits.Max["mass_g"] = grams * 0.999 }},
	} {
		if got := judge(c.change); got != c.want {
			t.Errorf("failed %q, want %q", got, c.want)
		}
	}
	train.Groups[0].Elements[0].Lens.Price = catalog.Unset
	if got := judge(func(p *Problem) { p.Limits.Max["price"] = math.MaxFloat64 }); got != Price {
		t.Errorf("a part without a price fails %q", got)
	}
}
