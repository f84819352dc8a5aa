package spec

import (
	"fmt"
	"math"

	"relaysweep/objective"
)

// specKey describes one key of a spec. Reading, range checks, suggestions for
// unknown keys, messages and sweeping all work from the list of these.
type specKey struct {
	section, name string
	unit          string
	// def is the value that the key has where the file is silent: a float64,
	// int64, string, bool or a slice of the first three; nil for none, required where the file
	// has to have the key.
	def  any
	rule rule
	// at points to the key's field, whose type is the key's kind.
	at func(*Spec) any
}

// mandatory is the type of required.
type mandatory struct{}

// required stands in place of a default.
var required = mandatory{}

// integerMost bounds all integer keys, so that no count overflows.
const integerMost = 1_000_000_000

// topMost bounds job.top: every design listed is held whole until the end, with
// all that was measured of it. workersMost bounds job.workers: no machine has
// more cores to give.
const (
	topMost     = 100_000
	workersMost = 1024
)

// buildsMost bounds tolerance.builds: all builds of a study are held until they are
// written.
const buildsMost = 100_000

// samplesMost bounds depth.steps: more samples than any stage has positions
// worth telling apart.
const samplesMost = 10_000

// allKeys are all keys that a spec can have, except for those of [sweep],
// which are themselves names of these.
var allKeys = []specKey{
	{"job", "name", "", required, jobName(), func(s *Spec) any { return &s.Job.Name }},
	{"job", "output", "", nil, folderName(), func(s *Spec) any { return &s.Job.Output }},
	{"job", "top", "", int64(50), fromTo(1, topMost), func(s *Spec) any { return &s.Job.Top }},
	{"job", "workers", "", int64(0), fromTo(0, workersMost).zeroMeans("all cores"), func(s *Spec) any { return &s.Job.Workers }},
	{"job", "seed", "", int64(1), anyNumber(), func(s *Spec) any { return &s.Job.Seed }},
	{"job", "memory_gb", "GB", 0.0, atLeast(0).zeroMeans("no cap"), func(s *Spec) any { return &s.Job.MemoryGB }},

	{"catalog", "files", "", required, listOf("lens tables", 1), func(s *Spec) any { return &s.Catalog.Files }},
	{"catalog", "glasses", "", []string{}, listOf("glass tables", 0), func(s *Spec) any { return &s.Catalog.Glasses }},
	{"catalog", "exclude_kinds", "", []string{}, listOf("kinds or patterns", 0), func(s *Spec) any { return &s.Catalog.ExcludeKinds }},
	{"catalog", "exclude_parts", "", []string{}, listOf("part names or patterns", 0), func(s *Spec) any { return &s.Catalog.ExcludeParts }},
	{"catalog", "diameter_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.DiameterMaxMM }},
	{"catalog", "price_max", "", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.PriceMax }},
	{"catalog", "focal_min_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.FocalMinMM }},
	{"catalog", "focal_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.FocalMaxMM }},
	{"catalog", "aperture_ratio_max", "", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.ApertureRatioMax }},

	{"train", "layouts", "", []string{objective.ErectorSingle.String()}, layoutList(), func(s *Spec) any { return &s.Train.Layouts }},
	{"train", "lenses_per_group", "", int64(2), fromTo(1, 6), func(s *Spec) any { return &s.Train.LensesPerGroup }},
	{"train", "lenses_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.LensesMax }},
	{"train", "distinct_parts_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.DistinctPartsMax }},
	{"train", "length_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.LengthMaxMM }},
	{"train", "magnification", "", 1.0, above(0), func(s *Spec) any { return &s.Train.Magnification }},
	{"train", "magnification_tol", "", 0.01, fromTo(0, 1), func(s *Spec) any { return &s.Train.MagnificationTol }},
	{"train", "air_gap_min_mm", "mm", 0.2, atLeast(0), func(s *Spec) any { return &s.Train.AirGapMinMM }},
	{"train", "group_gap_min_mm", "mm", 1.0, atLeast(0), func(s *Spec) any { return &s.Train.GroupGapMinMM }},

	{"field", "width_deg", "degrees", required, between(0, 180), func(s *Spec) any { return &s.Field.WidthDeg }},
	{"field", "height_deg", "degrees", required, between(0, 180), func(s *Spec) any { return &s.Field.HeightDeg }},
	{"field", "shape", "", "rectangle", oneOf("rectangle", "ellipse"), func(s *Spec) any { return &s.Field.Shape }},

	{"eye", "pupil_mm", "mm", 4.0, above(0), func(s *Spec) any { return &s.Eye.PupilMM }},
	{"eye", "box_mm", "mm", 2.0, atLeast(0), func(s *Spec) any { return &s.Eye.BoxMM }},
	{"eye", "sharp_box_mm", "mm", nil, atLeast(0), func(s *Spec) any { return &s.Eye.SharpBoxMM }},
	{"eye", "relief_min_mm", "mm", 20.0, atLeast(0), func(s *Spec) any { return &s.Eye.ReliefMinMM }},
	{"eye", "relief_max_mm", "mm", 80.0, atLeast(0), func(s *Spec) any { return &s.Eye.ReliefMaxMM }},
	{"eye", "accommodation_D", "dioptres", 8.0, atLeast(0), func(s *Spec) any { return &s.Eye.AccommodationD }},
	{"eye", "refocus_max_D", "dioptres", 1.0, atLeast(0), func(s *Spec) any { return &s.Eye.RefocusMaxD }},
	{"eye", "combiner_mm", "mm", 0.0, atLeast(0).zeroMeans("no combiner"), func(s *Spec) any { return &s.Eye.CombinerMM }},
	{"eye", "combiner_index", "", 1.5168, fromTo(1, 5), func(s *Spec) any { return &s.Eye.CombinerIndex }},

	{"depth", "near_m", "m", required, above(0).orInfinite(), func(s *Spec) any { return &s.Depth.NearM }},
	{"depth", "far_m", "m", math.Inf(1), above(0).orInfinite(), func(s *Spec) any { return &s.Depth.FarM }},
	{"depth", "steps", "", int64(5), fromTo(1, samplesMost), func(s *Spec) any { return &s.Depth.Steps }},

	{"mask", "width_mm", "mm", required, above(0), func(s *Spec) any { return &s.Mask.WidthMM }},
	{"mask", "height_mm", "mm", required, above(0), func(s *Spec) any { return &s.Mask.HeightMM }},
	{"mask", "pixel_um", "µm", required, above(0), func(s *Spec) any { return &s.Mask.PixelUM }},
	{"mask", "glass_mm", "mm", 0.0, atLeast(0), func(s *Spec) any { return &s.Mask.GlassMM }},
	{"mask", "glass_index", "", 1.52, fromTo(1, 5), func(s *Spec) any { return &s.Mask.GlassIndex }},
	{"mask", "clearance_mm", "mm", 3.0, atLeast(0), func(s *Spec) any { return &s.Mask.ClearanceMM }},
	{"mask", "seat", "", "rear", oneOf("front", "rear", "either"), func(s *Spec) any { return &s.Mask.Seat }},
	{"mask", "transmission", "", 1.0, aboveTo(0, 1), func(s *Spec) any { return &s.Mask.Transmission }},

	{"stage", "travel_mm", "mm", required, atLeast(0), func(s *Spec) any { return &s.Stage.TravelMM }},
	{"stage", "resolution_um", "µm", 10.0, above(0), func(s *Spec) any { return &s.Stage.ResolutionUM }},
	{"stage", "speed_mm_s", "mm/s", 20.0, above(0), func(s *Spec) any { return &s.Stage.SpeedMMS }},

	{"light", "wavelengths_nm", "nm", []float64{479.99, 546.07, 643.85}, each(fromTo(300, 2500)), func(s *Spec) any { return &s.Light.WavelengthsNM }},
	{"light", "weights", "", []float64{1, 2, 1}, each(above(0)), func(s *Spec) any { return &s.Light.Weights }},

	{"limits", "field_fraction", "", 1.0, fromTo(0, 1), func(s *Spec) any { return &s.Limits.FieldFraction }},
	{"limits", "mask_blur_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.MaskBlurArcmin }},
	{"limits", "view_blur_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewBlurArcmin }},
	{"limits", "view_defocus_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewDefocusD }},
	{"limits", "view_astigmatism_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewAstigmatismD }},
	{"limits", "view_refocus_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewRefocusD }},
	{"limits", "axis_vergence_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.AxisVergenceD }},
	{"limits", "distortion_pct", "%", nil, atLeast(0), func(s *Spec) any { return &s.Limits.DistortionPct }},
	{"limits", "lateral_colour_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.LateralColourArcmin }},
	{"limits", "axial_colour_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.AxialColourD }},
	{"limits", "vignetted_pct", "%", nil, fromTo(0, 100), func(s *Spec) any { return &s.Limits.VignettedPct }},
	{"limits", "pixel_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.PixelArcmin }},
	{"limits", "depth_step_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.DepthStepD }},
	{"limits", "viewpoint_shift_mm", "mm", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewpointShiftMM }},
	{"limits", "mass_g", "g", nil, atLeast(0), func(s *Spec) any { return &s.Limits.MassG }},
	{"limits", "price", "", nil, atLeast(0), func(s *Spec) any { return &s.Limits.Price }},
	{"limits", "transmission_min", "", nil, fromTo(0, 1), func(s *Spec) any { return &s.Limits.TransmissionMin }},

	{"search", "method", "", "enumerate", oneOf(SearchEnumerate, SearchOptimize), func(s *Spec) any { return &s.Search.Method }},
	{"search", "rank_by", "", "length_mm", oneOf("length_mm", "length_to_eye_mm"), func(s *Spec) any { return &s.Search.RankBy }},
	{"search", "one_per", "", "design", oneOf("design", "parts"), func(s *Spec) any { return &s.Search.OnePer }},
	{"search", "checks_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Search.ChecksMax }},
	{"search", "evaluations_max", "", int64(200_000), count(1), func(s *Spec) any { return &s.Search.EvaluationsMax }},
	{"search", "stall_evaluations", "", int64(0), count(0).zeroMeans("never"), func(s *Spec) any { return &s.Search.StallEvaluations }},

	{"refine", "method", "", RefineSimplex, oneOf(RefineNone, RefineSimplex, RefineBFGS, RefineCMAES), func(s *Spec) any { return &s.Refine.Method }},
	{"refine", "candidates", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Refine.Candidates }},
	{"refine", "near_miss_factor", "", 2.0, atLeast(1), func(s *Spec) any { return &s.Refine.NearMissFactor }},
	{"refine", "audit", "", int64(200), count(0).zeroMeans("none"), func(s *Spec) any { return &s.Refine.Audit }},

	{"tolerance", "builds", "", int64(0), fromTo(0, buildsMost).zeroMeans("none"), func(s *Spec) any { return &s.Tolerance.Builds }},
	{"tolerance", "designs", "", int64(5), fromTo(1, 1000), func(s *Spec) any { return &s.Tolerance.Designs }},
	{"tolerance", "distribution", "", DistributionUniform, oneOf(DistributionUniform, DistributionTruncated, DistributionNormal), func(s *Spec) any { return &s.Tolerance.Distribution }},
	{"tolerance", "focal_pct", "%", 1.0, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.FocalPct }},
	{"tolerance", "radius_pct", "%", 0.0, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.RadiusPct }},
	{"tolerance", "thickness_mm", "mm", 0.1, fromTo(0, 5), func(s *Spec) any { return &s.Tolerance.ThicknessMM }},
	{"tolerance", "index", "", 0.001, fromTo(0, 0.1), func(s *Spec) any { return &s.Tolerance.Index }},
	{"tolerance", "abbe_pct", "%", 0.8, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.AbbePct }},
	{"tolerance", "gap_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.GapMM }},
	{"tolerance", "lens_decentre_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.LensDecentreMM }},
	{"tolerance", "lens_tilt_arcmin", "arcmin", 6.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.LensTiltArcmin }},
	{"tolerance", "group_decentre_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.GroupDecentreMM }},
	{"tolerance", "group_tilt_arcmin", "arcmin", 6.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.GroupTiltArcmin }},
	{"tolerance", "mask_roll_arcmin", "arcmin", 30.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.MaskRollArcmin }},
	{"tolerance", "stage_zero_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.StageZeroMM }},
	{"tolerance", "compensators", "", Compensators, someOf(Compensators...), func(s *Spec) any { return &s.Tolerance.Compensators }},

	{"ideal", "aperture_ratio", "", 0.0, atLeast(0).zeroMeans("that of the fastest lens in use, times lenses_per_group"), func(s *Spec) any { return &s.Ideal.ApertureRatio }},
}

// keyByName finds a key by section.name.
var keyByName = func() map[string]*specKey {
	m := make(map[string]*specKey, len(allKeys))
	for i := range allKeys {
		m[allKeys[i].String()] = &allKeys[i]
	}
	return m
}()

func (k *specKey) String() string { return k.section + "." + k.name }

// valueKind is what TOML type a key takes.
type valueKind uint8

const (
	kindNumber valueKind = iota
	kindInteger
	kindText
	kindNumbers
	kindTexts
	kindFlag
)

// fieldTypes is asked for the types of its fields only.
var fieldTypes Spec

func (k *specKey) kind() valueKind {
	switch k.at(&fieldTypes).(type) {
	case *float64, **float64:
		return kindNumber
	case *int, *int64:
		return kindInteger
	case *string:
		return kindText
	case *[]float64:
		return kindNumbers
	case *[]string, *[]objective.Layout:
		return kindTexts
	case *bool:
		return kindFlag
	}
	panic("spec: " + k.String() + " has a field of unknown type")
}

// sweepable reports whether the key may be swept: one number or text that says
// something of the designs and not of the run.
func (k *specKey) sweepable() bool {
	switch k.kind() {
	case kindNumber, kindInteger, kindText:
		return k.section != "job"
	}
	return false
}

// want says what values the key takes.
func (k *specKey) want() string {
	unit := ""
	if k.unit != "" {
		unit = ", in " + k.unit
	}
	switch k.kind() {
	case kindNumber:
		return "a number" + k.rule.want + unit
	case kindInteger:
		return "a whole number" + k.rule.want + ", written without a decimal point"
	case kindNumbers:
		return "a list of numbers" + k.rule.want + unit
	}
	return k.rule.want
}

// set stores a value of the key's kind: float64, int64, string, bool,
// []float64 or []string. Lists are shared, not copied.
func (k *specKey) set(s *Spec, value any) {
	switch p := k.at(s).(type) {
	case *float64:
		*p = value.(float64)
	case **float64:
		x := value.(float64)
		*p = &x
	case *int:
		*p = int(value.(int64))
	case *int64:
		*p = value.(int64)
	case *string:
		*p = value.(string)
	case *bool:
		*p = value.(bool)
	case *[]float64:
		*p = value.([]float64)
	case *[]string:
		*p = value.([]string)
	case *[]objective.Layout:
		names := value.([]string)
		*p = make([]objective.Layout, len(names))
		for i, name := range names {
			(*p)[i] = layoutByName[name]
		}
	default:
		panic(fmt.Sprintf("spec: %s cannot hold a %T", k, value))
	}
}

// get is the counterpart of set, nil for a limit that is not set.
func (k *specKey) get(s *Spec) any {
	switch p := k.at(s).(type) {
	case *float64:
		return *p
	case **float64:
		if *p == nil {
			return nil
		}
		return **p
	case *int:
		return int64(*p)
	case *int64:
		return *p
	case *string:
		return *p
	case *bool:
		return *p
	case *[]float64:
		return *p
	case *[]string:
		return *p
	case *[]objective.Layout:
		names := make([]string, len(*p))
		for i, l := range *p {
			names[i] = l.String()
		}
		return names
	}
	panic("spec: " + k.String() + " has a field of unknown type")
}

func (k *specKey) required() bool {
	_, is := k.def.(mandatory)
	return is
}

// setDefault gives the key its default where it has one.
func (k *specKey) setDefault(s *Spec) {
	if k.def != nil && !k.required() {
		k.set(s, k.def)
	}
}

// layoutByName finds a layout by the word that a spec has for it.
var layoutByName = func() map[string]objective.Layout {
	m := map[string]objective.Layout{}
	for _, l := range layouts {
		m[l.String()] = l
	}
	return m
}()

var layouts = []objective.Layout{objective.Keplerian, objective.ErectorSingle, objective.ErectorPair}
