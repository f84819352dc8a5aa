package results

import (
	"fmt"
	"slices"
)

// Design is one row of ranked.parquet: a design at a sweep point. Its fields
// are the file's columns in the file's order; a field whose value need not
// exist is a pointer (or a list of texts), and nil is null in the file. No number may be NaN; a
// metric that is +Inf stands for a bundle that lost more than half its rays.
type Design struct {
	Point    int
	Swept    []Value // one for each swept key, in the order of the axes
	Rank     int     // from 1
	DesignID string
	Layout   string
	Seat     string
	Exact    bool
	Screened bool
	Refined  bool
	// StartLengthMM is the length at the paraxial gaps and Active what keeps a
	// refined design from being shorter, by names; nil where not refined.
	StartLengthMM *float64
	Active        []string
	// Fails are the requirements and limits that a train given by the spec does not
	// meet, empty for none; nil for a design that was searched for, which meets all.
	Fails []string

	LengthMM             float64
	LengthToEyeMM        float64
	EyeReliefMM          float64
	ViewpointShiftMM     float64
	AngularMagnification float64

	LensesCount   int
	DistinctParts int
	Price         *float64 // nil where a part has none
	MassG         *float64 // nil where a glass has no density
	Transmission  float64

	FFrontMM float64
	FRelayMM *float64 // of the compound for a pair; nil without a relay
	FRearMM  float64

	FieldMaxDeg   float64
	FieldAskedDeg float64

	TravelMM           float64
	TravelParaxialMM   float64
	MaskFarMM          float64
	MaskNearMM         float64
	DepthStepD         float64
	RefocusS           float64
	PixelArcmin        float64
	MaskScaleChangePct float64

	MaskBlurArcmin      float64
	ViewDefocusD        float64
	ViewAstigmatismD    float64
	ViewBlurArcmin      float64
	ViewRefocusD        float64
	AxisVergenceD       float64
	DistortionPct       float64
	LateralColourArcmin float64
	AxialColourD        float64
	VignettedPct        float64
	BlurMismatchPct     *float64 // nil with a single depth
	GhostArcmin         float64
	GhostPct            *float64 // nil where the fill of the mask's pixels is not known
	GrooveBlurArcmin    *float64 // nil, as the next, without a surface that is cut into facets
	GrooveVisibleArcmin *float64

	// Those of the mask at image 1 where there is one at each image; nil otherwise. The fields
	// above are then those of the mask at image 2.
	FrontTravelMM           *float64
	FrontTravelParaxialMM   *float64
	FrontMaskFarMM          *float64
	FrontMaskNearMM         *float64
	FrontDepthStepD         *float64
	FrontRefocusS           *float64
	FrontPixelArcmin        *float64
	FrontMaskScaleChangePct *float64
	FrontMaskBlurArcmin     *float64
	FrontBlurMismatchPct    *float64
	FrontGhostArcmin        *float64
	FrontGhostPct           *float64

	Gap1MM     float64
	Gap2MM     *float64 // nil without a relay
	GapInnerMM *float64 // nil unless the relay is a pair

	Lenses   []Lens
	Surfaces []Surface
	Samples  []Sample
}

// Lens is one lens of a design, in order from world to eye.
type Lens struct {
	Group      string // front, relay, relay2 or rear
	Position   int    // from 1 in its group
	Part       string
	Vendor     string // may be empty
	Reversed   bool
	GapAfterMM float64 // to the next lens; for the last one the eye relief
}

// Surface is one lens surface of a design, in order from world to eye.
type Surface struct {
	ZMM            float64 // vertex, from the first vertex of the train
	RadiusMM       float64 // positive when its centre lies on the eye side; +Inf for a flat
	GlassAfter     string
	SemiDiameterMM float64
	PitchMM        *float64 // width of a facet of a Fresnel surface; nil for a smooth one
}

// faceted reports whether a surface is a Fresnel one.
func (s *Surface) faceted() bool { return s.PitchMM != nil }

// FacetWords is the width of a facet in mm as people are shown it, [Null] for a smooth surface.
func (s *Surface) FacetWords() string {
	if !s.faceted() {
		return Null
	}
	return Fixed(*s.PitchMM, 3)
}

// HasFacets reports whether a surface of the design is a Fresnel one.
func (d *Design) HasFacets() bool {
	return slices.ContainsFunc(d.Surfaces, func(s Surface) bool { return s.faceted() })
}

// Sample is the ray check at one field angle and one depth.
type Sample struct {
	FieldFraction    float64 // tangent of the half angle over the largest one
	VergenceD        float64 // apparent
	MaskBlurArcmin   float64
	ViewBlurArcmin   float64
	ViewDefocusD     float64
	ViewAstigmatismD float64
	// FrontMaskBlurArcmin is that of the mask at image 1 where there is one at each image.
	FrontMaskBlurArcmin *float64
}

// Masks are the images at which masks stand, front or rear, in the order of the rows of
// setpoints.parquet.
func (d *Design) Masks() []string {
	if d.Seat == "both" {
		return []string{"rear", "front"}
	}
	return []string{d.Seat}
}

// MaskWords is what people call the mask at an image: where there are two, by the image.
func (d *Design) MaskWords(seat string) string {
	switch {
	case d.Seat != "both":
		return "mask"
	case seat == "front":
		return "mask at image 1"
	}
	return "mask at image 2"
}

// SecondColumn is the column of a second mask that is to it what a column is to the first, false
// for a column that is not a mask's.
func SecondColumn(column string) (second string, ok bool) {
	second = "front_" + column
	return second, named(designColumns, second) != nil
}

// FieldNote says what is lost where the apertures do not pass the whole pupil over
// the whole field that was asked for; empty where they do.
func (d *Design) FieldNote() string {
	if !d.fieldShort() {
		return ""
	}
	return fmt.Sprintf("the whole pupil is lit up to %s of %s deg; beyond, up to %s %% of it is lost",
		Fixed(d.FieldMaxDeg, 2), Fixed(d.FieldAskedDeg, 2), Fixed(d.VignettedPct, 1))
}

// fieldShort does not take rounding for a loss.
func (d *Design) fieldShort() bool { return d.FieldMaxDeg < d.FieldAskedDeg*(1-1e-9) }

// designColumns are the columns of ranked.parquet but for the swept keys,
// which stand right after the first.
var designColumns = []column[Design]{
	count("point", "sweep point, from 0", func(d *Design) *int { return &d.Point }),
	count("rank", "rank at its sweep point, from 1", func(d *Design) *int { return &d.Rank }),
	label("design_id", "the design: layout, seat, and its lenses from world to eye", func(d *Design) *string { return &d.DesignID }),
	label("layout", "order of the groups: keplerian, erector-single or erector-pair", func(d *Design) *string { return &d.Layout }),
	label("seat", "image at which the mask stands: front (image 1) or rear (image 2); both where a mask stands at each: columns of a mask are then those of the rear one, and those that begin with front_ of the other", func(d *Design) *string { return &d.Seat }),
	flag("exact", "whether the rank is proven over the whole space at paraxial gaps; false for a refined design and for all of a population search", func(d *Design) *bool { return &d.Exact }),
	flag("screened", "whether the rank is certain under the screen: no other design is shorter when it is refined that comes within the near-miss factor of its limits at its paraxial gaps; false without refinement, for all of a population search, and beyond what a run that was cut short has come to", func(d *Design) *bool { return &d.Screened }),
	flag("refined", "whether gaps and eye relief were re-optimised by exact rays", func(d *Design) *bool { return &d.Refined }),
	maybe("start_length_mm", "mm", "first vertex to last vertex before gaps were re-optimised; null where they were not", func(d *Design) **float64 { return &d.StartLengthMM }),
	maybeTexts("active", "requirements and limits that a refined design just meets, which keep it from being shorter; null where not refined", "requirement or limit, by the name under which failures are counted", func(d *Design) *[]string { return &d.Active }),
	maybeTexts("fails", "requirements and limits that a train given by the spec (train.given) does not meet, empty for none; null for a design that was searched for, which meets all", "requirement or limit, by the name under which failures are counted", func(d *Design) *[]string { return &d.Fails }),

	number("length_mm", "mm", "first vertex to last vertex", func(d *Design) *float64 { return &d.LengthMM }),
	number("length_to_eye_mm", "mm", "first vertex to the eye", func(d *Design) *float64 { return &d.LengthToEyeMM }).said("length to the eye"),
	number("eye_relief_mm", "mm", "last vertex to the eye", func(d *Design) *float64 { return &d.EyeReliefMM }),
	number("viewpoint_shift_mm", "mm", "distance from the viewpoint to the eye", func(d *Design) *float64 { return &d.ViewpointShiftMM }),
	number("angular_magnification", unitOne, "slope at the middle of the eye over slope in the world: how large a distant scene looks; negative for an inverted view", func(d *Design) *float64 { return &d.AngularMagnification }).said("magnification").to(4),

	count("lenses_count", "lenses in the train", func(d *Design) *int { return &d.LensesCount }).said("lenses"),
	count("distinct_parts", "different parts in the train", func(d *Design) *int { return &d.DistinctParts }).said("different parts"),
	maybe("price", unitPrice, "sum of the lenses' prices; null where a part has none", func(d *Design) **float64 { return &d.Price }),
	maybe("mass_g", "g", "mass of the lenses; null where a density is not known", func(d *Design) **float64 { return &d.MassG }).said("mass of the glass").to(1),
	number("transmission", unitOne, "share of the light that all surfaces and the mask let through; light from a far point on the axis that falls on the walls between the facets of Fresnel surfaces is lost", func(d *Design) *float64 { return &d.Transmission }).to(3),

	number("f_front_mm", "mm", "focal length of the front group", func(d *Design) *float64 { return &d.FFrontMM }),
	maybe("f_relay_mm", "mm", "focal length of the relay, of the compound for a pair; null without a relay", func(d *Design) **float64 { return &d.FRelayMM }),
	number("f_rear_mm", "mm", "focal length of the rear group", func(d *Design) *float64 { return &d.FRearMM }),
	number("field_max_deg", "deg", "largest full angle, diagonal, that the paraxial apertures pass with the full pupil and box; 0 where they do not pass the pupil alone", func(d *Design) *float64 { return &d.FieldMaxDeg }).said("largest field"),
	number("field_asked_deg", "deg", "full angle of the field asked for, diagonal; beyond field_max_deg up to vignetted_pct of the pupil is lost", func(d *Design) *float64 { return &d.FieldAskedDeg }),

	number("travel_mm", "mm", "largest minus smallest exact setpoint", func(d *Design) *float64 { return &d.TravelMM }),
	number("travel_paraxial_mm", "mm", "largest minus smallest paraxial setpoint", func(d *Design) *float64 { return &d.TravelParaxialMM }),
	number("mask_far_mm", "mm", "exact setpoint for the far depth, from the last vertex before the mask", func(d *Design) *float64 { return &d.MaskFarMM }),
	number("mask_near_mm", "mm", "exact setpoint for the near depth, from the last vertex before the mask", func(d *Design) *float64 { return &d.MaskNearMM }),
	number("depth_step_D", "D", "change of vergence for one step of the stage, the largest over the depth range", func(d *Design) *float64 { return &d.DepthStepD }).said("step of the stage").to(4),
	number("refocus_s", "s", "time to travel the whole depth range at the stage's speed", func(d *Design) *float64 { return &d.RefocusS }).said("refocus time"),
	number("pixel_arcmin", "arcmin", "angle of one mask pixel at the eye, the largest over the depth range", func(d *Design) *float64 { return &d.PixelArcmin }).said("mask pixel"),
	number("mask_scale_change_pct", "%", "change of the mask's apparent size from far to near", func(d *Design) *float64 { return &d.MaskScaleChangePct }).said("mask size, far to near"),

	number("mask_blur_arcmin", "arcmin", "RMS radius of the mask's blur as an angle at the eye, the largest over field, depth and places of the pupil; a uniform disc is 2.83 times that across, to compare with pixel_arcmin", func(d *Design) *float64 { return &d.MaskBlurArcmin }),
	number("view_defocus_D", "D", "defocus of the view, positive when the world looks nearer than it should; the one of largest magnitude over field and depth", func(d *Design) *float64 { return &d.ViewDefocusD }).to(3),
	number("view_astigmatism_D", "D", "cylinder of the view, the largest over field and depth; good to 1 % up to 10 D, to some 5 % beyond", func(d *Design) *float64 { return &d.ViewAstigmatismD }).to(3),
	number("view_blur_arcmin", "arcmin", "RMS radius of the view's blur after the eye's best refocus, the largest over field, depth and places of the pupil; a uniform disc is 2.83 times that across. Good to 1 % up to 100 arcmin, to some 5 % beyond", func(d *Design) *float64 { return &d.ViewBlurArcmin }),
	number("view_refocus_D", "D", "refocus that the eye's best focus took, the largest magnitude over field, depth and places of the pupil", func(d *Design) *float64 { return &d.ViewRefocusD }).said("refocus of the eye").to(3),
	number("axis_vergence_D", "D", "defocus of the view on the axis at the far depth, signed", func(d *Design) *float64 { return &d.AxisVergenceD }).said("vergence on the axis").to(3),
	number("distortion_pct", "%", "distortion of the view at the far depth, signed, the one of largest magnitude over the field", func(d *Design) *float64 { return &d.DistortionPct }),
	number("lateral_colour_arcmin", "arcmin", "spread of the chief direction over the wavelengths at the far depth, the largest over the field", func(d *Design) *float64 { return &d.LateralColourArcmin }),
	number("axial_colour_D", "D", "spread of the defocus on the axis over the wavelengths at the far depth", func(d *Design) *float64 { return &d.AxialColourD }).to(3),
	number("vignetted_pct", "%", "share of the pupil's area lost or vignetted, the largest over field, depth and pupil position", func(d *Design) *float64 { return &d.VignettedPct }).to(1),
	maybe("blur_mismatch_pct", "%", "by how much more (or, negative, less) the mask blurs than an ideal edge where it stands does, when the eye looks at another depth: RMS radii through the same pupil, vignetting counted, the one of largest magnitude over field and pairs of depths; +Inf where nothing of a pupil comes through, null with a single depth", func(d *Design) **float64 { return &d.BlurMismatchPct }).said("mask's blur beside an ideal one").to(1),
	number("ghost_arcmin", "arcmin", "by how much the first orders of the mask's pixel grid show a world at the far depth beside itself, with the mask set to the depth where that is largest; reference wavelength, small angles, orders along rows and columns", func(d *Design) *float64 { return &d.GhostArcmin }).said("ghosts beside the far world"),
	maybe("ghost_pct", "%", "share of the light through the mask that goes into these four first orders, for square openings that fill mask.fill_pct of the pixel; null where that is not set", func(d *Design) **float64 { return &d.GhostPct }).said("light in ghosts").to(1),
	maybe("groove_blur_arcmin", "arcmin", "by how much the grooves of Fresnel surfaces spread light to either side, a half width and no RMS radius: wavelength over pitch, times the height of the pupil's edge ray there for unit height at the eye, where the beam is wider than a pitch; surfaces added as squares, the largest over depth, reference wavelength; null without Fresnel surfaces", func(d *Design) **float64 { return &d.GrooveBlurArcmin }).said("spread by Fresnel grooves"),
	maybe("groove_visible_arcmin", "arcmin", "angle of a pitch of a Fresnel surface whose grooves the eye sees, the largest: its image for the eye lies within 0.5 D of the depths, or the beam there from some depth is no wider than a pitch, so that the eye resolves the grooves though they are out of focus; 0 where none is seen, null without Fresnel surfaces", func(d *Design) **float64 { return &d.GrooveVisibleArcmin }).said("Fresnel grooves as seen"),

	ofFront("travel_mm", "mm", func(d *Design) **float64 { return &d.FrontTravelMM }).said("travel, front mask"),
	ofFront("travel_paraxial_mm", "mm", func(d *Design) **float64 { return &d.FrontTravelParaxialMM }),
	ofFront("mask_far_mm", "mm", func(d *Design) **float64 { return &d.FrontMaskFarMM }),
	ofFront("mask_near_mm", "mm", func(d *Design) **float64 { return &d.FrontMaskNearMM }),
	ofFront("depth_step_D", "D", func(d *Design) **float64 { return &d.FrontDepthStepD }).said("step of the stage, front").to(4),
	ofFront("refocus_s", "s", func(d *Design) **float64 { return &d.FrontRefocusS }).said("refocus time, front mask"),
	ofFront("pixel_arcmin", "arcmin", func(d *Design) **float64 { return &d.FrontPixelArcmin }).said("mask pixel, front"),
	ofFront("mask_scale_change_pct", "%", func(d *Design) **float64 { return &d.FrontMaskScaleChangePct }).said("mask size, far to near, front"),
	maybe("front_mask_blur_arcmin", "arcmin", "mask_blur_arcmin of the mask at image 1, where a mask stands at each image: RMS radius, a uniform disc is 2.83 times that across; null otherwise", func(d *Design) **float64 { return &d.FrontMaskBlurArcmin }).said("mask blur, front"),
	ofFront("blur_mismatch_pct", "%", func(d *Design) **float64 { return &d.FrontBlurMismatchPct }).said("front mask's blur beside an ideal one").to(1),
	ofFront("ghost_arcmin", "arcmin", func(d *Design) **float64 { return &d.FrontGhostArcmin }).said("ghosts beside the far world, front mask"),
	ofFront("ghost_pct", "%", func(d *Design) **float64 { return &d.FrontGhostPct }).said("light in them, front mask").to(1),

	number("gap1_mm", "mm", "vertex gap after the front group: to the relay, or to the rear group of a keplerian", func(d *Design) *float64 { return &d.Gap1MM }),
	maybe("gap2_mm", "mm", "vertex gap from the relay to the rear group; null without a relay", func(d *Design) **float64 { return &d.Gap2MM }),
	maybe("gap_inner_mm", "mm", "vertex gap inside the pair relay; null without one", func(d *Design) **float64 { return &d.GapInnerMM }),

	list("lenses", "the lenses from world to eye", "one lens", func(d *Design) *[]Lens { return &d.Lenses }, lensColumns),
	list("surfaces", "the lens surfaces from world to eye", "one surface", func(d *Design) *[]Surface { return &d.Surfaces }, surfaceColumns),
	list("samples", "the ray check at each field angle and depth", "one field angle at one depth", func(d *Design) *[]Sample { return &d.Samples }, sampleColumns),
}

// ofFront is the column of the second mask that is to it what a column is to the first.
func ofFront(name, unit string, of func(d *Design) **float64) column[Design] {
	return maybe("front_"+name, unit, name+" of the mask at image 1, where a mask stands at each image; null otherwise", of)
}

var lensColumns = []column[Lens]{
	label("group", "group of the lens: front, relay, relay2 or rear", func(l *Lens) *string { return &l.Group }),
	count("position", "place in its group, from 1 at the world side", func(l *Lens) *int { return &l.Position }),
	label("part", "part number in the catalog", func(l *Lens) *string { return &l.Part }),
	label("vendor", "vendor in the catalog; empty where it names none", func(l *Lens) *string { return &l.Vendor }),
	flag("reversed", "whether the lens stands with its catalog's last surface towards the world", func(l *Lens) *bool { return &l.Reversed }),
	number("gap_after_mm", "mm", "vertex gap to the next lens; for the last one the eye relief", func(l *Lens) *float64 { return &l.GapAfterMM }),
}

var surfaceColumns = []column[Surface]{
	number("z_mm", "mm", "vertex of the surface, from the first vertex of the train", func(s *Surface) *float64 { return &s.ZMM }),
	number("radius_mm", "mm", "radius of curvature, positive when its centre lies on the eye side; infinite for a flat. Of a Fresnel surface, which stands on a plane, it is that of the surface whose slopes its facets have", func(s *Surface) *float64 { return &s.RadiusMM }),
	label("glass_after", "medium on the eye side of the surface", func(s *Surface) *string { return &s.GlassAfter }),
	number("semi_diameter_mm", "mm", "clear semi-diameter", func(s *Surface) *float64 { return &s.SemiDiameterMM }),
	maybe("pitch_mm", "mm", "width of a facet of a Fresnel surface; null for a smooth one", func(s *Surface) **float64 { return &s.PitchMM }),
}

var sampleColumns = []column[Sample]{
	number("field_fraction", unitOne, "tangent of the half angle over that of the largest one", func(s *Sample) *float64 { return &s.FieldFraction }),
	number("vergence_D", "D", "apparent vergence of the depth", func(s *Sample) *float64 { return &s.VergenceD }),
	number("mask_blur_arcmin", "arcmin", "RMS radius of the mask's blur as an angle at the eye, the largest over places of the pupil", func(s *Sample) *float64 { return &s.MaskBlurArcmin }),
	number("view_blur_arcmin", "arcmin", "RMS radius of the view's blur after the eye's best refocus, the largest over places of the pupil; good to 1 % up to 100 arcmin, to some 8 % beyond", func(s *Sample) *float64 { return &s.ViewBlurArcmin }),
	number("view_defocus_D", "D", "defocus of the view, positive when the world looks nearer than it should", func(s *Sample) *float64 { return &s.ViewDefocusD }),
	number("view_astigmatism_D", "D", "cylinder of the view; good to 1 % up to 10 D", func(s *Sample) *float64 { return &s.ViewAstigmatismD }),
	maybe("front_mask_blur_arcmin", "arcmin", "mask_blur_arcmin of the mask at image 1, where a mask stands at each image; null otherwise", func(s *Sample) **float64 { return &s.FrontMaskBlurArcmin }),
}

// rankedColumns are all columns of ranked.parquet for a sweep.
func rankedColumns(sweep []Axis) []column[Design] {
	columns := make([]column[Design], 0, len(designColumns)+len(sweep))
	columns = append(columns, designColumns[0])
	for i, axis := range sweep {
		columns = append(columns, swept(i, axis))
	}
	return append(columns, designColumns[1:]...)
}

func (d *Design) name() string {
	return fmt.Sprintf("point %d, rank %d, design %q", d.Point, d.Rank, d.DesignID)
}

// WriteRanked writes ranked.parquet, whole or not at all. The rows stand in
// the file in the order given, each with one value a swept key. The keys of
// meta become key-values of the file. An error names the file, and for a value
// that cannot be written (NaN, text that is not UTF-8, a swept value of
// another kind than its axis) the column and the design.
func WriteRanked(path string, sweep []Axis, meta map[string]string, rows []Design) error {
	if err := checkAxes(sweep); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	for i := range rows {
		if len(rows[i].Swept) != len(sweep) {
			return fmt.Errorf("%s: %s: has %d swept values for %d swept keys", path, rows[i].name(), len(rows[i].Swept), len(sweep))
		}
	}
	return writeRows(path, rankedColumns(sweep), meta, rows, (*Design).name)
}

// ReadRanked reads what WriteRanked wrote: the rows in the file's order and
// the swept keys. An error names the file and what is wrong with it.
func ReadRanked(path string) ([]Design, []Axis, error) {
	var rows []Design
	var sweep []Axis
	err := openRows(path, func(f *rowFile) (err error) {
		if sweep, err = sweepOf(f.schema); err != nil {
			return err
		}
		rows, err = readRows(f, rankedColumns(sweep))
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	return rows, sweep, nil
}
