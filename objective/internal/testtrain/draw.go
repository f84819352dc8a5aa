package testtrain

import (
	"fmt"
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"

	"pgregory.net/rapid"
)

// drawElements draws one to three lenses, either way round, of about the given
// power (1/mm) together.
func drawElements(t *rapid.T, p *objective.Problem, label string, power float64) []*objective.Element {
	n := rapid.SampledFrom([]int{1, 1, 2, 2, 3}).Draw(t, label+" lenses")
	var elements []*objective.Element
	for i := range n {
		name := fmt.Sprint(label, i)
		share := 1.0
		if i > 0 {
			share = testlens.Between(t, name+" share", -0.5, 0.5)
		}
		lens := testlens.DrawLens(t, name, share*power)
		elements = append(elements, p.NewElement(lens, rapid.Bool().Draw(t, name+" turned"), i, i))
	}
	return elements
}

// DrawGroup draws a group of one to three lenses whose power has the sign of
// focal and whose focal length is of its order.
func DrawGroup(t *rapid.T, p *objective.Problem, label string, focal float64) *objective.Group {
	g := p.NewGroup(drawElements(t, p, label, 1/focal)...)
	if r := g.FocalMM / focal; !(r > 0.1 && r < 20) {
		t.Skip("a group far from the focal length drawn")
	}
	return g
}

// DrawProblem draws a problem with or without plates, Θ at and away from 1,
// and depth ranges with and without infinity.
func DrawProblem(t *rapid.T) *objective.Problem {
	p := Problem()
	p.Magnification = 1
	if rapid.Bool().Draw(t, "magnifies") {
		p.Magnification = testlens.Between(t, "magnification", 0.5, 2)
	}
	if rapid.Bool().Draw(t, "mask glass") {
		p.MaskGlass, p.MaskGlassIndex = testlens.Between(t, "mask glass mm", 0.3, 3), testlens.Between(t, "mask index", 1.4, 1.7)
	}
	if rapid.Bool().Draw(t, "combiner") {
		p.CombinerMM, p.CombinerIndex = testlens.Between(t, "combiner mm", 1, 15), testlens.Between(t, "combiner index", 1.4, 1.7)
	}
	if rapid.Bool().Draw(t, "far is near") {
		p.VergenceFar = testlens.Between(t, "far", 1e-5, 0.002)
	}
	p.VergenceNear = p.VergenceFar + testlens.Between(t, "range", 1e-4, 0.005)
	p.DepthSteps = rapid.IntRange(2, 6).Draw(t, "steps")
	if testlens.OneIn(t, "one depth", 12) {
		p.VergenceNear, p.DepthSteps = p.VergenceFar, 1
	}
	if rapid.Bool().Draw(t, "may lose some of the pupil") {
		p.PupilCut = objective.PupilCut(testlens.Between(t, "share of the pupil", 0, 0.6))
	}
	p.TanHalfWidth, p.TanHalfHeight = testlens.Between(t, "half width", 0.01, 0.2), testlens.Between(t, "half height", 0.01, 0.2)
	p.TanMax = math.Hypot(p.TanHalfWidth, p.TanHalfHeight)
	p.Pupil, p.Box = testlens.Between(t, "pupil", 0.5, 5), testlens.Between(t, "box", 0, 4)
	p.AirGapMin, p.GroupGapMin = testlens.Between(t, "air gap", 0, 2), testlens.Between(t, "group gap", 0, 4)
	p.ReliefMin = testlens.Between(t, "relief min", 0, 25)
	p.ReliefMax = p.ReliefMin + testlens.Between(t, "relief range", 0, 60)
	p.Clearance = testlens.Between(t, "clearance", 0, 5)
	p.Travel = testlens.Between(t, "travel", 1, 40)
	p.MaskWidth, p.MaskHeight = testlens.Between(t, "mask width", 8, 40), testlens.Between(t, "mask height", 8, 40)
	p.MaskPixel = testlens.Between(t, "pixel", 0.005, 0.05)
	p.StageResolution = testlens.Between(t, "resolution", 0.001, 0.05)
	return p
}

// DrawAnyTrain draws a train of any layout and seat at its paraxial gaps, for
// which every formula of the model holds though its requirements may not: gaps
// may be negative. The inner gap of a pair makes it about as long as asked.
func DrawAnyTrain(t *rapid.T) (*objective.Problem, *objective.Train) {
	p := DrawProblem(t)
	train := DrawTrainFor(t, p, AnyLayout...)
	last := train.Groups[len(train.Groups)-1]
	train.EyeRelief = last.BFDMM + p.CombinerShift() + testlens.Between(t, "behind the focus", -30, 40)
	return p, train
}

// AnyLayout is every layout.
var AnyLayout = []objective.Layout{objective.Keplerian, objective.ErectorSingle, objective.ErectorPair}

// DrawTrainFor draws the train of DrawAnyTrain, its eye relief still open.
func DrawTrainFor(t *rapid.T, p *objective.Problem, layouts ...objective.Layout) *objective.Train {
	train := &objective.Train{
		Layout: rapid.SampledFrom(layouts).Draw(t, "layout"),
		Seat:   objective.SeatRear,
	}
	focal := func(name string) float64 { return testlens.Between(t, name+" f", 25, 80) }
	train.Groups = []*objective.Group{DrawGroup(t, p, "front", focal("front"))}
	inner := 0.0
	switch train.Layout {
	case objective.ErectorSingle:
		train.Groups = append(train.Groups, DrawGroup(t, p, "relay", focal("relay")))
	case objective.ErectorPair:
		signs := rapid.SampledFrom([][2]float64{{1, 1}, {1, -1}, {-1, 1}}).Draw(t, "signs")
		a, b := DrawGroup(t, p, "relay", signs[0]*focal("relay")), DrawGroup(t, p, "relay2", signs[1]*focal("relay2"))
		train.Groups = append(train.Groups, a, b)
		inner = a.BFDMM + b.FFDMM - a.FocalMM*b.FocalMM/testlens.Between(t, "pair f", 15, 90)
	}
	rear := DrawGroup(t, p, "rear", focal("rear"))
	train.Groups = append(train.Groups, rear)
	if train.Layout == objective.Keplerian {
		p.Magnification = train.Groups[0].FocalMM / rear.FocalMM
	} else if rapid.Bool().Draw(t, "front seat") {
		train.Seat = objective.SeatFront
	}
	if failed := p.Assemble(train, inner); failed == objective.Focal || failed == objective.Magnification {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	return train
}

// PlanesOf lays a train out in physical space, world to eye, z from the first
// vertex: every surface of its lenses, the glass of each mask about a layer at
// a position behind the last vertex before it, in the order of [objective.Train.MaskGaps], and
// the combiner just before the eye.
func PlanesOf(p *objective.Problem, t *objective.Train, masksMM ...float64) []testlens.Plane {
	var planes []testlens.Plane
	slab := func(z, n float64) { planes = append(planes, testlens.Plane{Z: z, Before: 1, After: n}) }
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
				planes = append(planes, testlens.Plane{Z: z, Curvature: surface.Curvature(), Before: n, After: next, Clear: e.Lens.ClearMM / 2})
				if s < len(e.Thickness) {
					z += e.Thickness[s]
				}
				n = next
			}
			if i < len(group.GapsMM) {
				z += group.GapsMM[i]
			}
		}
		if k := slices.Index(t.MaskGaps(), g); k >= 0 {
			maskMM := masksMM[k]
			slab(z+maskMM-p.MaskGlass/2, p.MaskGlassIndex)
			planes = append(planes, testlens.Plane{Z: z + maskMM, Before: p.MaskGlassIndex, After: p.MaskGlassIndex, Mask: true})
			planes = append(planes, testlens.Plane{Z: z + maskMM + p.MaskGlass/2, Before: p.MaskGlassIndex, After: 1})
		}
		if g < len(t.Gaps) {
			z += t.Gaps[g]
		}
	}
	slab(z+t.EyeRelief-p.CombinerMM, p.CombinerIndex)
	return append(planes, testlens.Plane{Z: z + t.EyeRelief, Before: p.CombinerIndex, After: 1})
}

// TrainScale is the size of the lengths that cancel in a train.
func TrainScale(t *objective.Train) float64 {
	scale := t.Length + math.Abs(t.EyeRelief)
	for _, g := range t.Groups {
		scale += math.Abs(g.FocalMM) + math.Abs(g.BFDMM) + math.Abs(g.FFDMM)
	}
	for _, gap := range t.Gaps {
		scale += math.Abs(gap)
	}
	return scale
}

// SkipHuge skips trains whose numbers blow up, as where a compound's
// principal points lie metres off.
func SkipHuge(t *rapid.T, train *objective.Train) {
	if TrainScale(train) > 5000 {
		t.Skip("a train metres long")
	}
}

// Margins are by how much a train at its eye relief keeps each requirement from
// relief on, negative where it is broken, evaluated directly from heights of
// an independent trace and setpoints at many depths. Lengths in mm, the other
// limits in their units.
func Margins(p *objective.Problem, t *objective.Train) map[objective.Requirement]float64 {
	of := map[objective.Requirement]float64{}
	least := func(r objective.Requirement, x float64) {
		if old, ok := of[r]; !ok || !(x >= old) {
			of[r] = x
		}
	}
	least(objective.Relief, t.EyeRelief-math.Max(p.ReliefMin, p.CombinerMM))
	least(objective.Relief, p.ReliefMax-t.EyeRelief)
	planes := PlanesOf(p, t, 0)
	chief, _, _ := testlens.TraceBackThrough(planes, 0, 1)
	far, _, _ := testlens.TraceBackThrough(planes, 1, p.VergenceFar)
	near, _, _ := testlens.TraceBackThrough(planes, 1, p.VergenceNear)
	for i, s := range planes {
		if s.Clear > 0 {
			edge := math.Max(math.Abs(far[i]), math.Abs(near[i]))
			least(objective.Aperture, s.Clear-math.Abs(chief[i])*p.TanMax-p.PassingEdge()*edge)
		}
	}
	lo, hi := p.MaskRoom(t, t.MaskGap())
	_, sign := p.PlaceMask(t, t.MaskGap(), 0)
	const depths = 8
	first, last := 0.0, 0.0
	for i := range depths + 1 {
		v := p.VergenceFar + (p.VergenceNear-p.VergenceFar)*float64(i)/depths
		mask, chief := p.PlaceMask(t, t.MaskGap(), v)
		if chief*sign <= 0 || math.IsInf(mask, 0) {
			// Beyond the depth that is imaged at infinity.
			least(objective.Clearance, math.Inf(-1))
		}
		chief = math.Abs(chief)
		least(objective.Clearance, mask-lo)
		least(objective.Clearance, hi-mask)
		least(objective.MaskSize, p.MaskWidth/2-chief*p.TanHalfWidth)
		least(objective.MaskSize, p.MaskHeight/2-chief*p.TanHalfHeight)
		least(objective.PixelArcmin, p.Limits.Limit("pixel_arcmin")-math.Atan(p.MaskPixel/chief)*60*180/math.Pi)
		least(objective.DepthStepD, p.Limits.Limit("depth_step_D")-p.DepthStep(t, t.MaskGap(), v))
		if i == 0 {
			first, last = mask, mask
		}
		first, last = math.Min(first, mask), math.Max(last, mask)
	}
	least(objective.Travel, p.Travel-(last-first))
	least(objective.ViewpointShiftMM, p.Limits.Limit("viewpoint_shift_mm")-math.Abs(p.ViewpointShift(t)))
	return of
}
