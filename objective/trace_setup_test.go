package objective

import (
	"math"

	"pgregory.net/rapid"

	"relaysweep/catalog"
)

func rayProblem() *Problem {
	deg := math.Pi / 180
	w, h := math.Tan(7.5*deg), math.Tan(5.65*deg)
	return &Problem{
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: w, TanHalfHeight: h, TanMax: math.Hypot(w, h),
		Pupil: 4, Box: 2, ReliefMin: 20, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 1, CombinerIndex: 1.5168,
		VergenceNear: 0.004, DepthSteps: 5, MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskGlassIndex: 1.52,
		Clearance: 3, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: Limits{Max: map[string]float64{}, FieldFraction: 1},
	}
}

// rayGroup stacks lenses, or reversed ones where reversed says so.
func rayGroup(p *Problem, lenses []*catalog.Lens, reversed ...bool) *Group {
	var elements []*Element
	for i, l := range lenses {
		elements = append(elements, p.NewElement(l, i < len(reversed) && reversed[i], 0, 0))
	}
	return p.NewGroup(elements...)
}

// uprightTrain is a single-relay train of the groups at its paraxial gaps, with the
// eye a given distance behind the rear focal point.
func uprightTrain(t rapid.TB, p *Problem, behind float64, groups ...*Group) *Train {
	t.Helper()
	train := &Train{Layout: ErectorSingle, Seat: SeatRear, Groups: groups}
	if failed := p.Assemble(train, 0); failed != Met && failed != GapRoom && failed != Length {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = groups[2].BFDMM + p.CombinerShift() + behind
	return train
}

// simpleTrain is a relay of achromats that passes every paraxial requirement.
func simpleTrain(t rapid.TB, p *Problem) *Train {
	t.Helper()
	return uprightTrain(t, p, 20,
		rayGroup(p, []*catalog.Lens{rayAchromat(40, 26)}),
		rayGroup(p, []*catalog.Lens{rayAchromat(80, 30), rayAchromat(80, 30)}, true, false),
		rayGroup(p, []*catalog.Lens{rayAchromat(40, 26)}, true),
	)
}

// drawTrain draws a problem and a train that the rays pass or nearly pass:
// singlets, doublets, conics and aspheres, with and without plates, either
// seat, upright and inverting, of magnifications about 1.
func drawTrain(t *rapid.T) (*Problem, *Train) {
	p := rayProblem()
	scale := rapid.Float64Range(0.2, 1.1).Draw(t, "field scale")
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = scale*p.TanHalfWidth, scale*p.TanHalfHeight, scale*p.TanMax
	p.Pupil = rapid.Float64Range(1, 5).Draw(t, "pupil")
	p.DepthSteps = 3
	if rapid.Bool().Draw(t, "plates") {
		p.MaskGlass = rapid.Float64Range(0.5, 3).Draw(t, "mask glass")
		p.CombinerMM = rapid.Float64Range(1, 8).Draw(t, "combiner")
	}
	one := func(f float64) ([]*catalog.Lens, []bool) {
		turn := rapid.Bool().Draw(t, "turn")
		switch rapid.IntRange(0, 3).Draw(t, "lens") {
		case 0:
			return []*catalog.Lens{rayAchromat(f, 30)}, []bool{turn}
		case 1:
			return []*catalog.Lens{rayPlanoConvex(2*f, 36, 7, rayDenseCrown), rayPlanoConvex(2*f, 36, 7, rayDenseCrown)}, []bool{true, false}
		case 2:
			l := rayPlanoConvex(f, 30, 8, rayDenseCrown)
			l.Surfaces[0].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
			return []*catalog.Lens{l}, []bool{turn}
		}
		l := rayEquiconvex(f, 30, 9, rayDenseCrown)
		l.Surfaces[1].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
		l.Surfaces[1].Asphere = []float64{rapid.Float64Range(-2e-6, 2e-6).Draw(t, "a4"), rapid.Float64Range(-3e-9, 3e-9).Draw(t, "a6")}
		return []*catalog.Lens{l}, []bool{turn}
	}
	train := &Train{Layout: ErectorSingle, Seat: SeatRear}
	names := []string{"front", "relay", "rear"}
	if rapid.IntRange(0, 4).Draw(t, "layout") == 0 {
		train.Layout, names = Keplerian, []string{"front", "rear"}
	} else if rapid.Bool().Draw(t, "front seat") {
		train.Seat = SeatFront
	}
	var groups []*Group
	for _, name := range names {
		lenses, reversed := one(rapid.Float64Range(40, 70).Draw(t, name))
		groups = append(groups, rayGroup(p, lenses, reversed...))
	}
	train.Groups = groups
	last := groups[len(groups)-1]
	p.Magnification = rapid.SampledFrom([]float64{1, 0.8, 1.3}).Draw(t, "magnification")
	if train.Layout == Keplerian {
		p.Magnification = groups[0].FocalMM / last.FocalMM
	}
	if failed := p.Assemble(train, 0); failed == Focal || failed == Magnification {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = last.BFDMM + p.CombinerShift() + rapid.Float64Range(-5, 5).Draw(t, "eye")
	return p, train
}
