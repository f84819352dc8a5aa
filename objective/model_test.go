package objective

import (
	"fmt"
	"math"

	"pgregory.net/rapid"
)

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
		elements = append(elements, p.NewElement(lens, rapid.Bool().Draw(t, name+" turned"), i, i))
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

// trainScale is the size of the lengths that cancel in a train.
func trainScale(t *Train) float64 {
	scale := t.Length + math.Abs(t.EyeRelief)
	for _, g := range t.Groups {
		scale += math.Abs(g.FocalMM) + math.Abs(g.BFDMM) + math.Abs(g.FFDMM)
	}
	for _, gap := range t.Gaps {
		scale += math.Abs(gap)
	}
	return scale
}

// skipHuge skips trains whose numbers blow up, as where a compound's
// principal points lie metres off.
func skipHuge(t *rapid.T, train *Train) {
	if trainScale(train) > 5000 {
		t.Skip("a train metres long")
	}
}

// margins are by how much a train at its eye relief keeps each requirement from
// relief on, negative where it is broken, evaluated directly from heights of
// an independent trace and setpoints at many depths. Lengths in mm, the other
// limits in their units.
func margins(p *Problem, t *Train) map[Requirement]float64 {
	of := map[Requirement]float64{}
	least := func(r Requirement, x float64) {
		if old, ok := of[r]; !ok || !(x >= old) {
			of[r] = x
		}
	}
	least(Relief, t.EyeRelief-math.Max(p.ReliefMin, p.CombinerMM))
	least(Relief, p.ReliefMax-t.EyeRelief)
	planes := planesOf(p, t, 0)
	chief, _, _ := traceBackThrough(planes, 0, 1)
	far, _, _ := traceBackThrough(planes, 1, p.VergenceFar)
	near, _, _ := traceBackThrough(planes, 1, p.VergenceNear)
	for i, s := range planes {
		if s.clear > 0 {
			edge := math.Max(math.Abs(far[i]), math.Abs(near[i]))
			least(Aperture, s.clear-math.Abs(chief[i])*p.TanMax-p.ApertureReach()*edge)
		}
	}
	lo, hi := p.MaskRoom(t)
	_, sign := p.PlaceMask(t, 0)
	const depths = 8
	first, last := 0.0, 0.0
	for i := range depths + 1 {
		v := p.VergenceFar + (p.VergenceNear-p.VergenceFar)*float64(i)/depths
		mask, chief := p.PlaceMask(t, v)
		if chief*sign <= 0 || math.IsInf(mask, 0) {
			// Beyond the depth that is imaged at infinity.
			least(Clearance, math.Inf(-1))
		}
		chief = math.Abs(chief)
		least(Clearance, mask-lo)
		least(Clearance, hi-mask)
		least(MaskSize, p.MaskWidth/2-chief*p.TanHalfWidth)
		least(MaskSize, p.MaskHeight/2-chief*p.TanHalfHeight)
		least(PixelArcmin, p.Limits.Limit("pixel_arcmin")-math.Atan(p.MaskPixel/chief)*60*180/math.Pi)
		least(DepthStepD, p.Limits.Limit("depth_step_D")-p.DepthStep(t, v))
		if i == 0 {
			first, last = mask, mask
		}
		first, last = math.Min(first, mask), math.Max(last, mask)
	}
	least(Travel, p.Travel-(last-first))
	least(ViewpointShiftMM, p.Limits.Limit("viewpoint_shift_mm")-math.Abs(p.ViewpointShift(t)))
	return of
}
