package testtrain

import (
	"math"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
)

// Problem is a relay of unit magnification for a field of 15° by 11.3°.
func Problem() *objective.Problem {
	deg := math.Pi / 180
	w, h := math.Tan(7.5*deg), math.Tan(5.65*deg)
	return &objective.Problem{
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: w, TanHalfHeight: h, TanMax: math.Hypot(w, h),
		Pupil: 4, Box: 2, ReliefMin: 20, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 1, CombinerIndex: 1.5168,
		VergenceNear: 0.004, DepthSteps: 5, MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskGlassIndex: 1.52,
		Clearance: 3, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: objective.Limits{Max: map[string]float64{}, FieldFraction: 1},
	}
}

// Group stacks lenses, or reversed ones where reversed says so.
func Group(p *objective.Problem, lenses []*catalog.Lens, reversed ...bool) *objective.Group {
	var elements []*objective.Element
	for i, l := range lenses {
		elements = append(elements, p.NewElement(l, i < len(reversed) && reversed[i], 0, 0))
	}
	return p.NewGroup(elements...)
}

// Upright is a single-relay train of the groups at its paraxial gaps, with the
// eye a given distance behind the rear focal point.
func Upright(t rapid.TB, p *objective.Problem, behind float64, groups ...*objective.Group) *objective.Train {
	t.Helper()
	train := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear, Groups: groups}
	if failed := p.Assemble(train, 0); failed != objective.Met && failed != objective.GapRoom && failed != objective.Length {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = groups[2].BFDMM + p.CombinerShift() + behind
	return train
}

// Simple is a relay of achromats that passes every paraxial requirement.
func Simple(t rapid.TB, p *objective.Problem) *objective.Train {
	t.Helper()
	return Upright(t, p, 20,
		Group(p, []*catalog.Lens{testlens.Achromat(40, 26)}),
		Group(p, []*catalog.Lens{testlens.Achromat(80, 30), testlens.Achromat(80, 30)}, true, false),
		Group(p, []*catalog.Lens{testlens.Achromat(40, 26)}, true),
	)
}

// DrawTraced draws a problem and a train that the rays pass or nearly pass:
// singlets, doublets, conics and aspheres, with and without plates, either
// seat, upright and inverting, of magnifications about 1.
func DrawTraced(t *rapid.T) (*objective.Problem, *objective.Train) { return drawTraced(t, 4) }

// DrawAnyTraced draws likewise with Fresnel lenses among the others.
func DrawAnyTraced(t *rapid.T) (*objective.Problem, *objective.Train) { return drawTraced(t, 5) }

// DrawFaceted draws likewise with at least one Fresnel lens.
func DrawFaceted(t *rapid.T) (*objective.Problem, *objective.Train) {
	p, train := DrawAnyTraced(t)
	if !train.HasFacets() {
		t.Skip("no Fresnel lens")
	}
	return p, train
}

// drawTraced draws such a train of some kinds of lenses.
func drawTraced(t *rapid.T, kinds int) (*objective.Problem, *objective.Train) {
	p := Problem()
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
		switch rapid.IntRange(0, kinds-1).Draw(t, "lens") {
		case 4:
			l := testlens.PlanoConvex(f, 30, 2, testlens.DenseCrown)
			s := &l.Surfaces[0]
			s.Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
			s.PitchMM, s.DraftDeg = rapid.Float64Range(0.1, 1).Draw(t, "pitch"), rapid.Float64Range(0, 8).Draw(t, "draft")
			if rapid.Bool().Draw(t, "asphere") {
				s.Asphere = []float64{rapid.Float64Range(-2e-6, 2e-6).Draw(t, "a4")}
			}
			return []*catalog.Lens{l}, []bool{turn}
		case 0:
			return []*catalog.Lens{testlens.Achromat(f, 30)}, []bool{turn}
		case 1:
			return []*catalog.Lens{testlens.PlanoConvex(2*f, 36, 7, testlens.DenseCrown), testlens.PlanoConvex(2*f, 36, 7, testlens.DenseCrown)}, []bool{true, false}
		case 2:
			l := testlens.PlanoConvex(f, 30, 8, testlens.DenseCrown)
			l.Surfaces[0].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
			return []*catalog.Lens{l}, []bool{turn}
		}
		l := testlens.Equiconvex(f, 30, 9, testlens.DenseCrown)
		l.Surfaces[1].Conic = rapid.Float64Range(-1.5, 0.2).Draw(t, "conic")
		l.Surfaces[1].Asphere = []float64{rapid.Float64Range(-2e-6, 2e-6).Draw(t, "a4"), rapid.Float64Range(-3e-9, 3e-9).Draw(t, "a6")}
		return []*catalog.Lens{l}, []bool{turn}
	}
	train := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear}
	names := []string{"front", "relay", "rear"}
	if rapid.IntRange(0, 4).Draw(t, "layout") == 0 {
		train.Layout, names = objective.Keplerian, []string{"front", "rear"}
	} else if rapid.Bool().Draw(t, "front seat") {
		train.Seat = objective.SeatFront
	}
	var groups []*objective.Group
	for _, name := range names {
		lenses, reversed := one(rapid.Float64Range(40, 70).Draw(t, name))
		groups = append(groups, Group(p, lenses, reversed...))
	}
	train.Groups = groups
	last := groups[len(groups)-1]
	p.Magnification = rapid.SampledFrom([]float64{1, 0.8, 1.3}).Draw(t, "magnification")
	if train.Layout == objective.Keplerian {
		p.Magnification = groups[0].FocalMM / last.FocalMM
	}
	if failed := p.Assemble(train, 0); failed == objective.Focal || failed == objective.Magnification {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = last.BFDMM + p.CombinerShift() + rapid.Float64Range(-5, 5).Draw(t, "eye")
	return p, train
}
