package spec

import (
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"relaysweep/objective"
)

// TestProblem gives every key a value of its own and compares with numbers
// converted by hand. A dioptre is 1/m (ISO 80000-7), so 0.25 m is 4 D or
// 0.004/mm and 2 m is 0.0005/mm; tan 45° = 1 and tan 30° = 1/sqrt(3).
func TestProblem(t *testing.T) {
	s := mustParse(t, `
[job]
name = "problem"
[catalog]
files = ["lenses.csv"]
[train]
lenses_max = 7
distinct_parts_max = 4
length_max_mm = 321
magnification = 1.25
magnification_tol = 0.02
air_gap_min_mm = 0.3
group_gap_min_mm = 1.5
front = ["A*"]
relay = ["B?", "C"]
rear = ["D"]
[field]
width_deg = 90
height_deg = 60
[eye]
pupil_mm = 5
box_mm = 3
sharp_box_mm = 1.5
relief_min_mm = 21
relief_max_mm = 81
accommodation_D = 6
refocus_max_D = 0.75
combiner_mm = 2.5
combiner_index = 1.49
colour = "published"
[depth]
near_m = 0.25
far_m = 2
steps = 3
[mask]
width_mm = 37
height_mm = 28
pixel_um = 36
glass_mm = 1.1
glass_index = 1.51
clearance_mm = 4
transmission = 0.21
fill_pct = 64
[stage]
travel_mm = 12
resolution_um = 2.5
speed_mm_s = 30
[light]
wavelengths_nm = [500, 600]
weights = [1, 3]
[limits]
field_fraction = 0.7
mask_blur_arcmin = 1
view_blur_arcmin = 2
view_defocus_D = 3
view_astigmatism_D = 4
view_refocus_D = 5
axis_vergence_D = 6
distortion_pct = 7
lateral_colour_arcmin = 8
axial_colour_D = 9
vignetted_pct = 10
pixel_arcmin = 11
depth_step_D = 12
viewpoint_shift_mm = 13
mass_g = 14
price = 15
transmission_min = 0.16
blur_mismatch_pct = 18
ghost_arcmin = 16
ghost_pct = 17
groove_blur_arcmin = 19
groove_visible_arcmin = 20
`)
	want := &objective.Problem{
		WavelengthsNM: []float64{500, 600}, Weights: []float64{1, 3},
		Magnification: 1.25, MagnificationTol: 0.02, AirGapMin: 0.3, GroupGapMin: 1.5, LengthMax: 321,
		FieldWidthDeg: 90, FieldHeightDeg: 60, TanHalfWidth: 1, TanHalfHeight: 0.577350269189626, TanMax: 1.15470053837925,
		Pupil: 5, Box: 3, ReliefMin: 21, ReliefMax: 81, AccommodationD: 6, RefocusMaxD: 0.75, ColouredEye: true,
		CombinerMM: 2.5, CombinerIndex: 1.49, VergenceFar: 0.0005, VergenceNear: 0.004, DepthSteps: 3,
		MaskWidth: 37, MaskHeight: 28, MaskPixel: 0.036, MaskGlass: 1.1, MaskGlassIndex: 1.51,
		Clearance: 4, MaskTransmits: 0.21, MaskFill: 0.64, Travel: 12, StageResolution: 0.0025, StageSpeed: 30,
		LensesMax: 7, PartsMax: 4, NearMissFactor: 2,
		SlotParts: [3][]string{{"A*"}, {"B?", "C"}, {"D"}},
		SharpBox:  1.5, PupilCut: 1 - 0.6870488261325406, // cos a where a - sin a·cos a = π/10
		Limits: objective.Limits{
			TransmissionMin: 0.16, FieldFraction: 0.7,
			Max: map[string]float64{
				"mask_blur_arcmin": 1, "view_blur_arcmin": 2, "view_defocus_D": 3, "view_astigmatism_D": 4,
				"view_refocus_D": 5, "axis_vergence_D": 6, "distortion_pct": 7, "lateral_colour_arcmin": 8,
				"axial_colour_D": 9, "vignetted_pct": 10, "pixel_arcmin": 11, "depth_step_D": 12,
				"viewpoint_shift_mm": 13, "mass_g": 14, "price": 15, "blur_mismatch_pct": 18, "ghost_arcmin": 16, "ghost_pct": 17,
				"groove_blur_arcmin": 19, "groove_visible_arcmin": 20,
			},
		},
	}
	// The expected tangents have 15 digits.
	if diff := cmp.Diff(want, s.Problem(), cmpopts.EquateApprox(2e-15, 0), cmpopts.IgnoreUnexported(objective.Problem{})); diff != "" {
		t.Errorf("problem (-want +got):\n%s", diff)
	}
	s.Eye.SharpBoxMM = nil
	if got := s.Problem().SharpBox; got != 3 {
		t.Errorf("blurs count over %g mm where the spec does not say, want the box of 3 mm", got)
	}
	s.Field.Shape = "ellipse"
	if got := s.Problem().TanMax; math.Abs(got-1) > 2e-15 {
		t.Errorf("an ellipse of 90 by 60 degrees reaches tan %g, want 1", got)
	}
	s.Field.WidthDeg, s.Field.HeightDeg = 60, 90
	if got := s.Problem().TanMax; math.Abs(got-1) > 2e-15 {
		t.Errorf("an ellipse of 60 by 90 degrees reaches tan %g, want 1", got)
	}
}

func TestProblemWithoutLimits(t *testing.T) {
	p := mustParse(t, leastSpec).Problem()
	if !math.IsInf(p.LengthMax, 1) || p.VergenceFar != 0 || math.Signbit(p.VergenceFar) ||
		len(p.Limits.Max) != 0 || p.Limits.TransmissionMin != 0 || p.Limits.FieldFraction != 1 {
		t.Errorf("limits where the spec sets none: %+v", p)
	}
	if !math.IsInf(p.Limits.Limit("price"), 1) {
		t.Error("a price limit where the spec sets none")
	}
}

func TestSeats(t *testing.T) {
	front, rear := objective.SeatFront, objective.SeatRear
	for _, c := range []struct {
		seat   string
		layout objective.Layout
		want   []objective.Seat
	}{
		{"front", objective.ErectorSingle, []objective.Seat{front}},
		{"rear", objective.ErectorPair, []objective.Seat{rear}},
		{"either", objective.ErectorPair, []objective.Seat{front, rear}},
		{"rear", objective.Keplerian, []objective.Seat{rear}},
		{"either", objective.Keplerian, []objective.Seat{rear}},
		{"both", objective.ErectorSingle, []objective.Seat{objective.SeatBoth}},
	} {
		s := &Spec{Mask: MaskSection{Seat: c.seat}}
		if diff := cmp.Diff(c.want, s.Seats(c.layout)); diff != "" {
			t.Errorf("%s in %s (-want +got):\n%s", c.seat, c.layout, diff)
		}
	}
}
