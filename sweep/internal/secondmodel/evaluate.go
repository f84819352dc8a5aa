package secondmodel

import (
	"math"
	"slices"
	"strings"
)

// Requirements are the names under which paraxial failures are counted, in the
// order in which they are tested.
var Requirements = []string{
	"focal", "magnification", "gap", "length", "relief", "aperture", "clearance", "travel", "mask_size",
	"pixel_arcmin", "depth_step_D", "viewpoint_shift_mm", "parts", "price", "mass_g",
}

const (
	focal = iota
	magnification
	gap
	length
	relief
	aperture
	clearance
	travel
	maskSize
	pixelArcmin
	depthStep
	viewpointShift
	parts
	price
	mass
	passed
)

// Setpoint is the mask's paraxial place for one depth.
type Setpoint struct {
	DepthM      float64
	VergenceD   float64
	MaskMM      float64 // from the last vertex before the mask to its layer
	ChiefMM     float64 // chief height in the layer per unit slope at the eye
	PixelArcmin float64
}

// Design is one train and what the paraxial model says of it. When FailedBy is
// "focal" the numbers are NaN, when it is an earlier requirement than "parts"
// those that need an eye relief are.
type Design struct {
	ID, Layout, Seat string
	FailedBy         string // empty when it meets every paraxial requirement
	Groups           [][]Oriented
	SpacingsMM       [][]float64 // in each group, vertex to vertex
	GapsMM           []float64   // between the groups, as built; the second of a pair's three is the inner one

	RankedMM             float64
	LengthMM             float64
	LengthToEyeMM        float64
	EyeReliefMM          float64
	ViewpointShiftMM     float64
	AngularMagnification float64
	FFrontMM             float64
	FRelayMM             float64 // NaN for a keplerian
	FRearMM              float64
	FieldMaxDeg          float64
	LensesCount          int
	DistinctParts        int
	Price                float64 // NaN when a part has none
	MassG                float64 // NaN when a density is unknown
	Transmission         float64
	MaskPlaces                      // of the mask, of two of that nearer to the eye
	Second               MaskPlaces // of the other

	train *train
}

// MaskPlaces is what the paraxial model says of one mask.
type MaskPlaces struct {
	TravelParaxialMM   float64
	MaskFarMM          float64
	MaskNearMM         float64
	DepthStepD         float64
	RefocusS           float64
	PixelArcmin        float64
	MaskScaleChangePct float64
	Setpoints          []Setpoint
}

// trial is a train at one inner gap, tested up to the first requirement that
// no eye relief can meet together with those before it.
type trial struct {
	train  *train
	stage  int     // that requirement; parts when all that depend on gaps are met
	margin float64 // of that requirement, negative: by how much it fails
	relief span    // what is left of the eye reliefs
	ranked float64 // when they are all met
}

// span is a range of eye reliefs; fault is negative when a condition without
// the eye relief in it failed.
type span struct{ lo, hi, fault float64 }

// keep takes from the span the part in which p + q·e <= limit.
func (s *span) keep(p, q, limit float64) {
	switch bound := (limit - p) / q; {
	case q > 0:
		s.hi = math.Min(s.hi, bound)
	case q < 0:
		s.lo = math.Max(s.lo, bound)
	case p > limit:
		s.fault = math.Min(s.fault, limit-p)
	}
}

// keepBelow takes from the span the part in which f <= limit, for a function
// that rises or falls over the whole span.
func (s *span) keepBelow(f func(e float64) float64, limit float64) {
	if math.IsInf(limit, 1) {
		return
	}
	atLo, atHi := f(s.lo), f(s.hi)
	switch {
	case atLo <= limit && atHi <= limit:
	case atLo <= limit:
		s.hi = boundary(s.lo, s.hi, func(e float64) bool { return f(e) <= limit })
	case atHi <= limit:
		s.lo = boundary(s.hi, s.lo, func(e float64) bool { return f(e) <= limit })
	default:
		s.fault = math.Min(s.fault, limit-math.Min(atLo, atHi))
	}
}

func (s span) margin() float64 { return math.Min(s.hi-s.lo, s.fault) }

// boundary is the last place on the way from yes to no, both ends of an
// interval, where ok still holds.
func boundary(yes, no float64, ok func(float64) bool) float64 {
	for range 200 {
		middle := yes + (no-yes)/2
		if middle == yes || middle == no {
			break
		}
		if ok(middle) {
			yes = middle
		} else {
			no = middle
		}
	}
	return yes
}

// try tests the train with the given inner gap. needs are the least gaps
// between the stacks.
func try(r Request, layout, seat string, stacks []stack, needs []float64, inner float64) trial {
	t, ok := newTrain(r, layout, seat, stacks, inner)
	result := trial{train: t}
	if !ok {
		result.margin = math.Min(-stacks[0].m.c, -stacks[len(stacks)-1].m.c)
		if layout != "keplerian" {
			result.margin = math.Min(result.margin, -t.relayMatrix(inner).c)
		}
		return result
	}
	// test says whether a requirement is met and notes the first that is not.
	test := func(stage int, margin float64) bool {
		result.stage, result.margin = stage, margin
		return margin >= 0
	}

	if layout == "keplerian" {
		off := math.Abs(math.Abs(t.theta)/r.Magnification - 1)
		if !test(magnification, r.MagnificationTol-off) {
			return result
		}
	}

	room := math.Inf(1)
	for i, g := range t.gaps {
		if !t.holdsMask(i) {
			room = math.Min(room, g-needs[i])
		}
	}
	if !test(gap, room) || !test(length, r.LengthMaxMM-t.length()) {
		return result
	}

	s := span{lo: math.Max(r.ReliefMinMM, r.CombinerMM), hi: r.ReliefMaxMM}
	if !test(relief, s.margin()) {
		return result
	}

	// Every height in the train is linear in the eye relief: it is known from
	// its values at two of them.
	at0, masks0 := t.views(0)
	at1, masks1 := t.views(1)
	for i := range at0 {
		a0, a1 := at0[i].m.chief()*r.tanMax(), at1[i].m.chief()*r.tanMax()
		for _, v := range []float64{r.far(), r.near()} {
			c0, c1 := at0[i].m.edge(v)*r.apertureReach(), at1[i].m.edge(v)*r.apertureReach()
			for _, sa := range []float64{-1, 1} {
				for _, sc := range []float64{-1, 1} {
					p := sa*a0 + sc*c0
					s.keep(p, sa*a1+sc*c1-p, at0[i].clear)
				}
			}
		}
	}
	if !test(aperture, s.margin()) {
		return result
	}

	// The setpoint is a quotient of two functions linear in e, and linear in
	// the vergence too. Its denominator must not change sign from the far
	// side of the depth range, nor between there and infinity: no apparent
	// point may lie at or behind the image of the infinitely far mask.
	// Between the ends of the depth range it then runs one way.
	for k := range t.maskGaps {
		lo, hi := t.maskRoom(k)
		lo -= r.maskShift() / 2
		hi -= r.maskShift() / 2
		for _, v := range []float64{r.far(), r.near()} {
			part := func(m matrix) (top, bottom float64) {
				sign := 1.0
				if m.c > 0 {
					sign = -1
				}
				return sign * (m.b*v - m.d), sign * (m.a*v - m.c)
			}
			top0, bottom0 := part(masks0[k])
			top1, bottom1 := part(masks1[k])
			s.keep(-bottom0, -(bottom1 - bottom0), 0)
			s.keep(top0-hi*bottom0, (top1-hi*bottom1)-(top0-hi*bottom0), 0)
			s.keep(lo*bottom0-top0, (lo*bottom1-top1)-(lo*bottom0-top0), 0)
		}
	}
	if !test(clearance, s.margin()) {
		return result
	}

	// What follows depends on e through 1/(denominators) of one sign only,
	// which all grow or all fall together with e.
	ends := func(k int, e float64) (far, near, chiefFar, chiefNear float64) {
		mask0, mask1 := masks0[k], masks1[k]
		m := matrix{
			mask0.a + e*(mask1.a-mask0.a), mask0.b + e*(mask1.b-mask0.b),
			mask0.c, mask0.d,
		}
		far, chiefFar = t.setpoint(m, r.far())
		near, chiefNear = t.setpoint(m, r.near())
		return far, near, math.Abs(chiefFar), math.Abs(chiefNear)
	}
	for k := range t.maskGaps {
		if r.far() == r.near() {
			break
		}
		s.keepBelow(func(e float64) float64 {
			far, near, _, _ := ends(k, e)
			return math.Abs(near - far)
		}, r.TravelMM)
	}
	if !test(travel, s.margin()) {
		return result
	}
	for k := range t.maskGaps {
		s.keepBelow(func(e float64) float64 {
			_, _, far, near := ends(k, e)
			a := math.Max(far, near)
			return math.Max(a*math.Tan(radians(r.FieldWidthDeg/2))-r.MaskWidthMM/2,
				a*math.Tan(radians(r.FieldHeightDeg/2))-r.MaskHeightMM/2)
		}, 0)
	}
	if !test(maskSize, s.margin()) {
		return result
	}
	for k := range t.maskGaps {
		s.keepBelow(func(e float64) float64 {
			_, _, far, near := ends(k, e)
			return pixelAngle(r, math.Min(far, near))
		}, r.limit("pixel_arcmin"))
	}
	if !test(pixelArcmin, s.margin()) {
		return result
	}
	for k := range t.maskGaps {
		s.keepBelow(func(e float64) float64 {
			_, _, far, near := ends(k, e)
			return stepD(r, math.Min(far, near))
		}, r.limit("depth_step_D"))
	}
	if !test(depthStep, s.margin()) {
		return result
	}
	if most := r.limit("viewpoint_shift_mm"); !math.IsInf(most, 1) {
		p := t.length() - at0[0].m.b/at0[0].m.a
		q := t.length() + 1 - at1[0].m.b/at1[0].m.a - p
		s.keep(p, q, most)
		s.keep(-p, -q, most)
	}
	if !test(viewpointShift, s.margin()) {
		return result
	}

	result.stage, result.margin = parts, 0
	result.relief = s
	result.ranked = t.length()
	if r.RankBy == "length_to_eye_mm" {
		result.ranked += s.lo
	}
	return result
}

// pixelAngle is the angle of a pixel at chief height a per unit slope, arcmin.
func pixelAngle(r Request, a float64) float64 {
	return arcmin(math.Atan(r.PixelUM / 1000 / a))
}

// stepD is the vergence step of one step of the stage where the chief height
// per unit slope is a: the setpoint moves by a² for a unit of vergence
// (longitudinal magnification is the square of the transverse one).
func stepD(r Request, a float64) float64 {
	return r.ResolutionUM / 1000 / (a * a) * 1000
}

// Evaluate is the paraxial model of one train: groups from world to eye, a
// pair relay's two groups being two.
func Evaluate(r Request, layout, seat string, groups [][]Oriented) Design {
	stacks := make([]stack, len(groups))
	for i, g := range groups {
		stacks[i] = newStack(r, g)
	}
	return evaluate(r.filled(), layout, seat, stacks)
}

// At is the design with its gaps, in mm as they are built, and its eye relief elsewhere
// than at their paraxial places: what exact rays make of it, its lengths, its angular
// magnification, its largest field and its eye relief are those there, all else stays.
func (d Design) At(gapsMM []float64, reliefMM float64) Design {
	t := *d.train
	t.gaps, t.air = slices.Clone(gapsMM), slices.Clone(gapsMM)
	for _, g := range t.maskGaps {
		t.air[g] -= t.r.maskShift()
	}
	all, _ := t.views(reliefMM)
	t.theta = 1 / all[0].m.a
	d.train, d.GapsMM, d.EyeReliefMM, d.AngularMagnification = &t, t.gaps, reliefMM, t.theta
	d.LengthMM = t.length()
	d.LengthToEyeMM = d.LengthMM + reliefMM
	d.FieldMaxDeg = degrees(t.fieldMax(reliefMM))
	return d
}

// LeastGaps are the least gaps in mm that the design's groups leave between their lenses.
func (d Design) LeastGaps() []float64 {
	var least []float64
	for i, s := range d.train.stacks[1:] {
		faces := d.train.stacks[i].faces
		least = append(least, vertexGap(faces[len(faces)-1], s.faces[0], d.train.r.GroupGapMinMM))
	}
	return least
}

// evaluate works on groups already stacked, with defaults already filled in.
func evaluate(r Request, layout, seat string, stacks []stack) Design {
	var best trial
	needs := make([]float64, len(stacks)-1)
	for i := range needs {
		a, b := stacks[i].faces, stacks[i+1].faces
		needs[i] = vertexGap(a[len(a)-1], b[0], r.GroupGapMinMM)
	}
	if layout == "erector-pair" {
		best = bestInnerGap(r, seat, stacks, needs)
	} else {
		best = try(r, layout, seat, stacks, needs, 0)
	}
	d := describe(best)
	if best.stage != parts {
		d.FailedBy = Requirements[best.stage]
		return d
	}
	switch {
	case !partsMet(r, stacks, d):
		d.FailedBy = Requirements[parts]
	case !math.IsInf(r.limit("price"), 1) && !(d.Price <= r.limit("price")):
		d.FailedBy = Requirements[price]
	case !math.IsInf(r.limit("mass_g"), 1) && !(d.MassG <= r.limit("mass_g")):
		d.FailedBy = Requirements[mass]
	}
	return d
}

// partsMet tests the numbers of lenses, of different parts and of each part.
func partsMet(r Request, stacks []stack, d Design) bool {
	if r.LensesMax > 0 && d.LensesCount > r.LensesMax || r.DistinctPartsMax > 0 && d.DistinctParts > r.DistinctPartsMax {
		return false
	}
	used := map[string]int{}
	for _, s := range stacks {
		for _, o := range s.lenses {
			used[o.Lens.Part]++
			if o.Lens.Stock >= 0 && used[o.Lens.Part] > o.Lens.Stock+o.Lens.Owned {
				return false
			}
		}
	}
	return true
}

// describe turns a trial into the design's columns.
func describe(best trial) Design {
	t := best.train
	r := t.r
	nan := math.NaN()
	d := Design{
		Layout: t.layout, Seat: t.seat, train: t,
		RankedMM: nan, LengthMM: nan, LengthToEyeMM: nan, EyeReliefMM: nan, ViewpointShiftMM: nan,
		AngularMagnification: nan, FFrontMM: nan, FRelayMM: nan, FRearMM: nan, FieldMaxDeg: nan,
		MaskPlaces: nowhere(), Second: nowhere(), Transmission: math.Pow(r.MaskTransmission, float64(len(t.maskGaps))),
	}
	var labels []string
	seen := map[string]bool{}
	for _, s := range t.stacks {
		labels = append(labels, s.label)
		d.Groups = append(d.Groups, s.lenses)
		d.SpacingsMM = append(d.SpacingsMM, s.spacings)
		d.LensesCount += len(s.lenses)
		for _, o := range s.lenses {
			seen[o.Lens.Part] = true
		}
	}
	d.Price = priceOf(t.stacks)
	d.ID = t.layout + ":" + t.seat + ":" + strings.Join(labels, "|")
	d.DistinctParts = len(seen)
	if best.stage == focal {
		return d
	}
	d.GapsMM = t.gaps
	d.LengthMM = t.length()
	d.FFrontMM = t.stacks[0].m.f()
	d.FRearMM = t.rear().m.f()
	if t.layout != "keplerian" {
		d.FRelayMM = t.relayMatrix(t.air[1%len(t.air)]).f()
	}
	if best.stage != parts {
		return d
	}
	for _, s := range t.stacks {
		d.MassG += s.massG()
		d.Transmission *= s.transmission()
	}
	if r.CombinerMM > 0 {
		loss := fresnel(1, r.CombinerIndex)
		d.Transmission *= (1 - loss) * (1 - loss)
	}
	e := best.relief.lo
	d.EyeReliefMM = e
	d.LengthToEyeMM = d.LengthMM + e
	d.RankedMM = best.ranked
	d.ViewpointShiftMM = t.viewpointShift(e)
	d.FieldMaxDeg = degrees(t.fieldMax(e))
	all, masks := t.views(e)
	d.AngularMagnification = 1 / all[0].m.a
	d.MaskPlaces = t.placesOf(masks[0])
	if len(masks) > 1 {
		d.Second = t.placesOf(masks[1])
	}
	return d
}

// nowhere are the places of a mask that has none.
func nowhere() MaskPlaces {
	nan := math.NaN()
	return MaskPlaces{nan, nan, nan, nan, nan, nan, nan, nil}
}

// placesOf are those of a mask with this matrix to the eye.
func (t *train) placesOf(mask matrix) (d MaskPlaces) {
	r := t.r
	var chiefFar, chiefNear float64
	d.MaskFarMM, chiefFar = t.setpoint(mask, r.far())
	d.MaskNearMM, chiefNear = t.setpoint(mask, r.near())
	least := math.Min(math.Abs(chiefFar), math.Abs(chiefNear))
	d.TravelParaxialMM = math.Abs(d.MaskNearMM - d.MaskFarMM)
	d.RefocusS = d.TravelParaxialMM / r.SpeedMMS
	d.PixelArcmin = pixelAngle(r, least)
	d.DepthStepD = stepD(r, least)
	d.MaskScaleChangePct = 100 * (math.Abs(chiefNear/chiefFar) - 1)
	for _, v := range r.vergences() {
		x, a := t.setpoint(mask, v)
		d.Setpoints = append(d.Setpoints, Setpoint{
			DepthM: 1 / (1000 * v), VergenceD: 1000 * v, MaskMM: x, ChiefMM: a, PixelArcmin: pixelAngle(r, math.Abs(a)),
		})
	}
	return d
}
