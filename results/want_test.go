package results

// What the files have to hold, written down a second time by hand, from the
// documented columns and not from the package's own description of them. The
// schema test and the independent readers compare with it.

// wantColumn is a documented column of rows of type T.
type wantColumn[T any] struct {
	Name     string
	Type     string // double, int32, int64, string, bool, list, or texts for a list of them
	Unit     string
	Nullable bool
	Element  []wantColumn[any] // of a list's structs
	value    func(*T) any      // float64, int, int64, string, bool, nil, []string or []map[string]any
}

func wantSwept(axes []Axis, units ...string) []wantColumn[Design] {
	types := map[Kind]string{KindFloat: "double", KindString: "string", KindInt: "int64"}
	var out []wantColumn[Design]
	for i, a := range axes {
		out = append(out, wantColumn[Design]{Name: a.Key, Type: types[a.Kind], Unit: units[i],
			value: func(d *Design) any { return d.Swept[i].Any() }})
	}
	return out
}

func orNil(x *float64) any {
	if x == nil {
		return nil
	}
	return *x
}

func wantRanked(axes []Axis, units ...string) []wantColumn[Design] {
	type w = wantColumn[Design]
	columns := []w{{Name: "point", Type: "int32", Unit: "1", value: func(d *Design) any { return d.Point }}}
	columns = append(columns, wantSwept(axes, units...)...)
	return append(columns, []w{
		{Name: "rank", Type: "int32", Unit: "1", value: func(d *Design) any { return d.Rank }},
		{Name: "design_id", Type: "string", Unit: "none", value: func(d *Design) any { return d.DesignID }},
		{Name: "layout", Type: "string", Unit: "none", value: func(d *Design) any { return d.Layout }},
		{Name: "seat", Type: "string", Unit: "none", value: func(d *Design) any { return d.Seat }},
		{Name: "exact", Type: "bool", Unit: "none", value: func(d *Design) any { return d.Exact }},
		{Name: "screened", Type: "bool", Unit: "none", value: func(d *Design) any { return d.Screened }},
		{Name: "refined", Type: "bool", Unit: "none", value: func(d *Design) any { return d.Refined }},
		{Name: "start_length_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.StartLengthMM) }},
		{Name: "active", Type: "texts", Unit: "none", Nullable: true, value: func(d *Design) any {
			if d.Active == nil {
				return nil
			}
			return d.Active
		}},
		{Name: "fails", Type: "texts", Unit: "none", Nullable: true, value: func(d *Design) any {
			if d.Fails == nil {
				return nil
			}
			return d.Fails
		}},
		{Name: "length_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.LengthMM }},
		{Name: "length_to_eye_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.LengthToEyeMM }},
		{Name: "eye_relief_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.EyeReliefMM }},
		{Name: "viewpoint_shift_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.ViewpointShiftMM }},
		{Name: "angular_magnification", Type: "double", Unit: "1", value: func(d *Design) any { return d.AngularMagnification }},
		{Name: "lenses_count", Type: "int32", Unit: "1", value: func(d *Design) any { return d.LensesCount }},
		{Name: "distinct_parts", Type: "int32", Unit: "1", value: func(d *Design) any { return d.DistinctParts }},
		{Name: "price", Type: "double", Unit: "currency of the catalog", Nullable: true, value: func(d *Design) any { return orNil(d.Price) }},
		{Name: "mass_g", Type: "double", Unit: "g", Nullable: true, value: func(d *Design) any { return orNil(d.MassG) }},
		{Name: "transmission", Type: "double", Unit: "1", value: func(d *Design) any { return d.Transmission }},
		{Name: "f_front_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.FFrontMM }},
		{Name: "f_relay_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.FRelayMM) }},
		{Name: "f_rear_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.FRearMM }},
		{Name: "field_max_deg", Type: "double", Unit: "deg", value: func(d *Design) any { return d.FieldMaxDeg }},
		{Name: "field_asked_deg", Type: "double", Unit: "deg", value: func(d *Design) any { return d.FieldAskedDeg }},
		{Name: "travel_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.TravelMM }},
		{Name: "travel_paraxial_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.TravelParaxialMM }},
		{Name: "mask_far_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.MaskFarMM }},
		{Name: "mask_near_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.MaskNearMM }},
		{Name: "depth_step_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.DepthStepD }},
		{Name: "refocus_s", Type: "double", Unit: "s", value: func(d *Design) any { return d.RefocusS }},
		{Name: "pixel_arcmin", Type: "double", Unit: "arcmin", value: func(d *Design) any { return d.PixelArcmin }},
		{Name: "mask_scale_change_pct", Type: "double", Unit: "%", value: func(d *Design) any { return d.MaskScaleChangePct }},
		{Name: "mask_blur_arcmin", Type: "double", Unit: "arcmin", value: func(d *Design) any { return d.MaskBlurArcmin }},
		{Name: "view_defocus_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.ViewDefocusD }},
		{Name: "view_astigmatism_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.ViewAstigmatismD }},
		{Name: "view_blur_arcmin", Type: "double", Unit: "arcmin", value: func(d *Design) any { return d.ViewBlurArcmin }},
		{Name: "view_refocus_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.ViewRefocusD }},
		{Name: "axis_vergence_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.AxisVergenceD }},
		{Name: "distortion_pct", Type: "double", Unit: "%", value: func(d *Design) any { return d.DistortionPct }},
		{Name: "lateral_colour_arcmin", Type: "double", Unit: "arcmin", value: func(d *Design) any { return d.LateralColourArcmin }},
		{Name: "axial_colour_D", Type: "double", Unit: "D", value: func(d *Design) any { return d.AxialColourD }},
		{Name: "vignetted_pct", Type: "double", Unit: "%", value: func(d *Design) any { return d.VignettedPct }},
		{Name: "blur_mismatch_pct", Type: "double", Unit: "%", Nullable: true, value: func(d *Design) any { return orNil(d.BlurMismatchPct) }},
		{Name: "ghost_arcmin", Type: "double", Unit: "arcmin", value: func(d *Design) any { return d.GhostArcmin }},
		{Name: "ghost_pct", Type: "double", Unit: "%", Nullable: true, value: func(d *Design) any { return orNil(d.GhostPct) }},
		{Name: "groove_blur_arcmin", Type: "double", Unit: "arcmin", Nullable: true, value: func(d *Design) any { return orNil(d.GrooveBlurArcmin) }},
		{Name: "groove_visible_arcmin", Type: "double", Unit: "arcmin", Nullable: true, value: func(d *Design) any { return orNil(d.GrooveVisibleArcmin) }},
		{Name: "front_travel_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.FrontTravelMM) }},
		{Name: "front_travel_paraxial_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.FrontTravelParaxialMM) }},
		{Name: "front_mask_far_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.FrontMaskFarMM) }},
		{Name: "front_mask_near_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.FrontMaskNearMM) }},
		{Name: "front_depth_step_D", Type: "double", Unit: "D", Nullable: true, value: func(d *Design) any { return orNil(d.FrontDepthStepD) }},
		{Name: "front_refocus_s", Type: "double", Unit: "s", Nullable: true, value: func(d *Design) any { return orNil(d.FrontRefocusS) }},
		{Name: "front_pixel_arcmin", Type: "double", Unit: "arcmin", Nullable: true, value: func(d *Design) any { return orNil(d.FrontPixelArcmin) }},
		{Name: "front_mask_scale_change_pct", Type: "double", Unit: "%", Nullable: true, value: func(d *Design) any { return orNil(d.FrontMaskScaleChangePct) }},
		{Name: "front_mask_blur_arcmin", Type: "double", Unit: "arcmin", Nullable: true, value: func(d *Design) any { return orNil(d.FrontMaskBlurArcmin) }},
		{Name: "front_blur_mismatch_pct", Type: "double", Unit: "%", Nullable: true, value: func(d *Design) any { return orNil(d.FrontBlurMismatchPct) }},
		{Name: "front_ghost_arcmin", Type: "double", Unit: "arcmin", Nullable: true, value: func(d *Design) any { return orNil(d.FrontGhostArcmin) }},
		{Name: "front_ghost_pct", Type: "double", Unit: "%", Nullable: true, value: func(d *Design) any { return orNil(d.FrontGhostPct) }},
		{Name: "gap1_mm", Type: "double", Unit: "mm", value: func(d *Design) any { return d.Gap1MM }},
		{Name: "gap2_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.Gap2MM) }},
		{Name: "gap_inner_mm", Type: "double", Unit: "mm", Nullable: true, value: func(d *Design) any { return orNil(d.GapInnerMM) }},
		{Name: "lenses", Type: "list", Unit: "none", Element: []wantColumn[any]{
			{Name: "group", Type: "string", Unit: "none"},
			{Name: "position", Type: "int32", Unit: "1"},
			{Name: "part", Type: "string", Unit: "none"},
			{Name: "vendor", Type: "string", Unit: "none"},
			{Name: "reversed", Type: "bool", Unit: "none"},
			{Name: "gap_after_mm", Type: "double", Unit: "mm"},
		}, value: func(d *Design) any {
			out := []map[string]any{}
			for _, l := range d.Lenses {
				out = append(out, map[string]any{"group": l.Group, "position": l.Position, "part": l.Part,
					"vendor": l.Vendor, "reversed": l.Reversed, "gap_after_mm": l.GapAfterMM})
			}
			return out
		}},
		{Name: "surfaces", Type: "list", Unit: "none", Element: []wantColumn[any]{
			{Name: "z_mm", Type: "double", Unit: "mm"},
			{Name: "radius_mm", Type: "double", Unit: "mm"},
			{Name: "glass_after", Type: "string", Unit: "none"},
			{Name: "semi_diameter_mm", Type: "double", Unit: "mm"},
			{Name: "pitch_mm", Type: "double", Unit: "mm", Nullable: true},
		}, value: func(d *Design) any {
			out := []map[string]any{}
			for _, s := range d.Surfaces {
				out = append(out, map[string]any{"z_mm": s.ZMM, "radius_mm": s.RadiusMM,
					"glass_after": s.GlassAfter, "semi_diameter_mm": s.SemiDiameterMM, "pitch_mm": orNil(s.PitchMM)})
			}
			return out
		}},
		{Name: "samples", Type: "list", Unit: "none", Element: []wantColumn[any]{
			{Name: "field_fraction", Type: "double", Unit: "1"},
			{Name: "vergence_D", Type: "double", Unit: "D"},
			{Name: "mask_blur_arcmin", Type: "double", Unit: "arcmin"},
			{Name: "view_blur_arcmin", Type: "double", Unit: "arcmin"},
			{Name: "view_defocus_D", Type: "double", Unit: "D"},
			{Name: "view_astigmatism_D", Type: "double", Unit: "D"},
			{Name: "front_mask_blur_arcmin", Type: "double", Unit: "arcmin", Nullable: true},
		}, value: func(d *Design) any {
			out := []map[string]any{}
			for _, s := range d.Samples {
				out = append(out, map[string]any{"field_fraction": s.FieldFraction, "vergence_D": s.VergenceD,
					"mask_blur_arcmin": s.MaskBlurArcmin, "view_blur_arcmin": s.ViewBlurArcmin,
					"view_defocus_D": s.ViewDefocusD, "view_astigmatism_D": s.ViewAstigmatismD,
					"front_mask_blur_arcmin": orNil(s.FrontMaskBlurArcmin)})
			}
			return out
		}},
	}...)
}

func wantSetpoints() []wantColumn[Setpoint] {
	return []wantColumn[Setpoint]{
		{Name: "point", Type: "int32", Unit: "1", value: func(s *Setpoint) any { return s.Point }},
		{Name: "rank", Type: "int32", Unit: "1", value: func(s *Setpoint) any { return s.Rank }},
		{Name: "design_id", Type: "string", Unit: "none", value: func(s *Setpoint) any { return s.DesignID }},
		{Name: "depth_m", Type: "double", Unit: "m", value: func(s *Setpoint) any { return s.DepthM }},
		{Name: "vergence_D", Type: "double", Unit: "D", value: func(s *Setpoint) any { return s.VergenceD }},
		{Name: "mask_mm", Type: "double", Unit: "mm", value: func(s *Setpoint) any { return s.MaskMM }},
		{Name: "mask_paraxial_mm", Type: "double", Unit: "mm", value: func(s *Setpoint) any { return s.MaskParaxialMM }},
		{Name: "stage_mm", Type: "double", Unit: "mm", value: func(s *Setpoint) any { return s.StageMM }},
		{Name: "mask_blur_arcmin", Type: "double", Unit: "arcmin", value: func(s *Setpoint) any { return s.MaskBlurArcmin }},
		{Name: "view_blur_arcmin", Type: "double", Unit: "arcmin", value: func(s *Setpoint) any { return s.ViewBlurArcmin }},
		{Name: "pixel_arcmin", Type: "double", Unit: "arcmin", value: func(s *Setpoint) any { return s.PixelArcmin }},
		{Name: "seat", Type: "string", Unit: "none", value: func(s *Setpoint) any { return s.Seat }},
	}
}

// wantRow is the row as a reader without knowledge of the package gives it.
func wantRow[T any](columns []wantColumn[T], row *T) map[string]any {
	out := make(map[string]any, len(columns))
	for _, c := range columns {
		out[c.Name] = c.value(row)
	}
	return out
}
