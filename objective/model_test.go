package objective

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
)

// The random problems, lenses, groups and trains of the tests of the paraxial
// model, and an independent trace to hold the model against.

// between draws a number from a range.
func between(t *rapid.T, label string, lo, hi float64) float64 {
	return rapid.Float64Range(lo, hi).Draw(t, label)
}

// oneIn is true about once in n.
func oneIn(t *rapid.T, label string, n int) bool {
	return rapid.IntRange(1, n).Draw(t, label) == n
}

// drawLens draws a singlet or a cemented doublet of about the given power
// (1/mm, either sign), of any bending, with spheres, flats, conics and
// aspheres.
func drawLens(t *rapid.T, label string, power float64) *catalog.Lens {
	index := func(name string) *catalog.Glass {
		return constantGlass(between(t, label+name, 1.45, 1.85))
	}
	var curvatures, thickness []float64
	var glasses []*catalog.Glass
	shape := between(t, label+" shape", -2.5, 2.5)
	if oneIn(t, label+" flat", 4) {
		shape = 1
	}
	if oneIn(t, label+" doublet", 3) {
		a, b := index(" n1"), index(" n2")
		c1 := power * (0.8 + 0.2*shape)
		c2 := -math.Abs(power) * between(t, label+" cement", 0.2, 1.2)
		c3 := c2 - (power-(a.Nd()-1)*(c1-c2))/(b.Nd()-1)
		curvatures, glasses = []float64{c1, c2, c3}, []*catalog.Glass{a, b}
		thickness = []float64{between(t, label+" t1", 2, 9), between(t, label+" t2", 1, 4)}
	} else {
		a := index(" n")
		k := power / (2 * (a.Nd() - 1))
		curvatures, glasses = []float64{k * (shape + 1), k * (shape - 1)}, []*catalog.Glass{a}
		thickness = []float64{between(t, label+" t", 0, 9)}
	}
	radii := make([]float64, len(curvatures))
	diameter := between(t, label+" diameter", 12, 45)
	for i, c := range curvatures {
		radii[i] = math.Inf(1)
		if math.Abs(c) > 1e-6 {
			radii[i] = 1 / c
			diameter = math.Min(diameter, 1.6*math.Abs(radii[i]))
		}
	}
	l := rayLens(fmt.Sprintf("%s-%.6g", label, radii), diameter, radii, thickness, glasses...)
	l.ClearMM = diameter * between(t, label+" clear", 0.7, 1)
	for _, i := range []int{0, len(radii) - 1} {
		if oneIn(t, fmt.Sprint(label, " asphere ", i), 4) {
			l.Surfaces[i].Conic = between(t, label+" conic", -2, 0.5)
			l.Surfaces[i].Asphere = []float64{between(t, label+" a4", -2e-6, 2e-6), between(t, label+" a6", -3e-9, 3e-9)}
		}
	}
	return l
}

// drawElements draws one to three lenses, either way round, of about the given
// power (1/mm) together.
func drawElements(t *rapid.T, p *Problem, label string, power float64) []*Element {
	n := rapid.SampledFrom([]int{1, 1, 2, 2, 3}).Draw(t, label+" lenses")
	var elements []*Element
	for i := range n {
		name := fmt.Sprint(label, i)
		share := 1.0
		if i > 0 {
			share = between(t, name+" share", -0.5, 0.5)
		}
		lens := drawLens(t, name, share*power)
		elements = append(elements, p.newElement(lens, rapid.Bool().Draw(t, name+" turned"), i, i, p.WavelengthsNM[p.Reference()]))
	}
	return elements
}

// drawGroup draws a group of one to three lenses whose power has the sign of
// focal and whose focal length is of its order.
func drawGroup(t *rapid.T, p *Problem, label string, focal float64) *Group {
	g := p.NewGroup(drawElements(t, p, label, 1/focal)...)
	if r := g.FocalMM / focal; !(r > 0.1 && r < 20) {
		t.Skip("a group far from the focal length drawn")
	}
	return g
}

// drawProblem draws a problem with or without plates, Θ at and away from 1,
// and depth ranges with and without infinity.
func drawProblem(t *rapid.T) *Problem {
	p := rayProblem()
	p.Magnification = 1
	if rapid.Bool().Draw(t, "magnifies") {
		p.Magnification = between(t, "magnification", 0.5, 2)
	}
	if rapid.Bool().Draw(t, "mask glass") {
		p.MaskGlass, p.MaskGlassIndex = between(t, "mask glass mm", 0.3, 3), between(t, "mask index", 1.4, 1.7)
	}
	if rapid.Bool().Draw(t, "combiner") {
		p.CombinerMM, p.CombinerIndex = between(t, "combiner mm", 1, 15), between(t, "combiner index", 1.4, 1.7)
	}
	if rapid.Bool().Draw(t, "far is near") {
		p.VergenceFar = between(t, "far", 1e-5, 0.002)
	}
	p.VergenceNear = p.VergenceFar + between(t, "range", 1e-4, 0.005)
	p.DepthSteps = rapid.IntRange(2, 6).Draw(t, "steps")
	if oneIn(t, "one depth", 12) {
		p.VergenceNear, p.DepthSteps = p.VergenceFar, 1
	}
	if rapid.Bool().Draw(t, "may lose some of the pupil") {
		p.PupilCut = PupilCut(between(t, "share of the pupil", 0, 0.6))
	}
	p.TanHalfWidth, p.TanHalfHeight = between(t, "half width", 0.01, 0.2), between(t, "half height", 0.01, 0.2)
	p.TanMax = math.Hypot(p.TanHalfWidth, p.TanHalfHeight)
	p.Pupil, p.Box = between(t, "pupil", 0.5, 5), between(t, "box", 0, 4)
	p.AirGapMin, p.GroupGapMin = between(t, "air gap", 0, 2), between(t, "group gap", 0, 4)
	p.ReliefMin = between(t, "relief min", 0, 25)
	p.ReliefMax = p.ReliefMin + between(t, "relief range", 0, 60)
	p.Clearance = between(t, "clearance", 0, 5)
	p.Travel = between(t, "travel", 1, 40)
	p.MaskWidth, p.MaskHeight = between(t, "mask width", 8, 40), between(t, "mask height", 8, 40)
	p.MaskPixel = between(t, "pixel", 0.005, 0.05)
	p.StageResolution = between(t, "resolution", 0.001, 0.05)
	return p
}

// drawAnyTrain draws a train of any layout and seat at its paraxial gaps, for
// which every formula of the model holds though its requirements may not: gaps
// may be negative. The inner gap of a pair makes it about as long as asked.
func drawAnyTrain(t *rapid.T) (*Problem, *Train) {
	p := drawProblem(t)
	train := drawTrainFor(t, p, anyLayout...)
	last := train.Groups[len(train.Groups)-1]
	train.EyeRelief = last.BFDMM + p.CombinerShift() + between(t, "behind the focus", -30, 40)
	return p, train
}

var anyLayout = []Layout{Keplerian, ErectorSingle, ErectorPair}

// drawTrainFor draws the train of drawAnyTrain, its eye relief still open.
func drawTrainFor(t *rapid.T, p *Problem, layouts ...Layout) *Train {
	train := &Train{
		Layout: rapid.SampledFrom(layouts).Draw(t, "layout"),
		Seat:   SeatRear,
	}
	focal := func(name string) float64 { return between(t, name+" f", 25, 80) }
	train.Groups = []*Group{drawGroup(t, p, "front", focal("front"))}
	inner := 0.0
	switch train.Layout {
	case ErectorSingle:
		train.Groups = append(train.Groups, drawGroup(t, p, "relay", focal("relay")))
	case ErectorPair:
		signs := rapid.SampledFrom([][2]float64{{1, 1}, {1, -1}, {-1, 1}}).Draw(t, "signs")
		a, b := drawGroup(t, p, "relay", signs[0]*focal("relay")), drawGroup(t, p, "relay2", signs[1]*focal("relay2"))
		train.Groups = append(train.Groups, a, b)
		inner = a.BFDMM + b.FFDMM - a.FocalMM*b.FocalMM/between(t, "pair f", 15, 90)
	}
	rear := drawGroup(t, p, "rear", focal("rear"))
	train.Groups = append(train.Groups, rear)
	if train.Layout == Keplerian {
		p.Magnification = train.Groups[0].FocalMM / rear.FocalMM
	} else if rapid.Bool().Draw(t, "front seat") {
		train.Seat = SeatFront
	}
	if failed := p.Assemble(train, inner); failed == Focal || failed == Magnification {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	return train
}

// examples visits n values of a generator, the same in every run.
func examples[T any](n int, draw func(t *rapid.T) T, visit func(i int, x T)) {
	g := rapid.Custom(draw)
	for i := range n {
		visit(i, g.Example(i))
	}
}

// plane is a paraxial surface of the independent trace.
type plane struct {
	z, curvature  float64
	before, after float64 // indices on the world's and the eye's side
	clear         float64 // semi-diameter, 0 for a plate and the mask
	mask          bool
}

// planesOf lays a train out in physical space, world to eye, z from the first
// vertex: every surface of its lenses, the mask's glass about a layer at a
// position behind the last vertex before it, and the combiner just before the
// eye.
func planesOf(p *Problem, t *Train, maskMM float64) []plane {
	var planes []plane
	slab := func(z, n float64) { planes = append(planes, plane{z: z, before: 1, after: n}) }
	z := 0.0
	wavelength := p.WavelengthsNM[p.Reference()]
	for g, group := range t.Groups {
		for i, e := range group.Elements {
			n := 1.0
			for s, surface := range e.Surfaces {
				next := 1.0
				if s < len(e.Glasses) {
					next = e.Glasses[s].Index(wavelength)
				}
				planes = append(planes, plane{z: z, curvature: surface.Curvature(), before: n, after: next, clear: e.Lens.ClearMM / 2})
				if s < len(e.Thickness) {
					z += e.Thickness[s]
				}
				n = next
			}
			if i < len(group.GapsMM) {
				z += group.GapsMM[i]
			}
		}
		if g == t.MaskGap() {
			slab(z+maskMM-p.MaskGlass/2, p.MaskGlassIndex)
			planes = append(planes, plane{z: z + maskMM, before: p.MaskGlassIndex, after: p.MaskGlassIndex, mask: true})
			planes = append(planes, plane{z: z + maskMM + p.MaskGlass/2, before: p.MaskGlassIndex, after: 1})
		}
		if g < len(t.Gaps) {
			z += t.Gaps[g]
		}
	}
	slab(z+t.EyeRelief-p.CombinerMM, p.CombinerIndex)
	return append(planes, plane{z: z + t.EyeRelief, before: p.CombinerIndex, after: 1})
}

// traceBackThrough takes a paraxial ray from the last plane, with height y and
// slope u behind it, back to before the first one, by the equations
// n'u' = nu - y·c·(n' - n) and y' = y + t·u of W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, Eqs. 3.16 and 3.17, solved for what stands
// before. It returns the heights at the planes.
func traceBackThrough(planes []plane, y, u float64) (heights []float64, y0, u0 float64) {
	heights = make([]float64, len(planes))
	for i := len(planes) - 1; i >= 0; i-- {
		s := planes[i]
		if i < len(planes)-1 {
			y -= (planes[i+1].z - s.z) * u
		}
		heights[i] = y
		u = (s.after*u + y*s.curvature*(s.after-s.before)) / s.before
	}
	return heights, y, u
}

// maskHeight is the height in the layer.
func maskHeight(planes []plane, heights []float64) float64 {
	for i, s := range planes {
		if s.mask {
			return heights[i]
		}
	}
	return math.NaN()
}

// closeTo fails the test when two numbers differ by more than a tolerance
// relative to a scale: the size of the terms that cancel in them.
func closeTo(t rapid.TB, what string, got, want, scale float64) {
	t.Helper()
	// Heights of a dozen surfaces multiply up; 1e-9 leaves six digits of
	// rounding, and no formula that is wrong comes that near.
	if !(math.Abs(got-want) <= 1e-9*math.Max(math.Abs(scale), math.Abs(want))) {
		t.Errorf("%s: got %.15g, want %.15g, off by %.3g", what, got, want, got-want)
	}
}

func TestReference(t *testing.T) {
	for _, c := range []struct {
		weights []float64
		want    int
	}{
		{[]float64{1, 2, 1}, 1}, {[]float64{2, 1, 2}, 0}, {[]float64{0, 1, 3}, 2}, {[]float64{5}, 0},
	} {
		if got := (&Problem{Weights: c.weights}).Reference(); got != c.want {
			t.Errorf("weights %v: reference %d, want %d", c.weights, got, c.want)
		}
	}
}

// TestDepth: samples are even in vergence and end exactly at the ends.
func TestDepth(t *testing.T) {
	p := &Problem{VergenceFar: 0.0003, VergenceNear: 0.0043, DepthSteps: 5}
	for i, want := range []float64{0.0003, 0.0013, 0.0023, 0.0033, 0.0043} {
		closeTo(t, fmt.Sprint("depth ", i), p.Depth(i), want, want)
	}
	if p.Depth(0) != p.VergenceFar || p.Depth(4) != p.VergenceNear {
		t.Error("the ends are not exact")
	}
	if p = (&Problem{VergenceFar: 0.002, VergenceNear: 0.002, DepthSteps: 1}); p.Depth(0) != 0.002 {
		t.Error("a single sample is not the depth")
	}
}
