package spec

import (
	"fmt"
	"math"
	"strings"

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
	// meaning says in one line what the key does, for a user.
	meaning string
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
	{"job", "name", "", required, jobName(), func(s *Spec) any { return &s.Job.Name },
		"letters, digits, - and _"},
	{"job", "output", "", nil, folderName(), func(s *Spec) any { return &s.Job.Output },
		"folder for the results, from the spec's folder; out/NAME where it is not set. A leading ~ is refused: only a shell knows it"},
	{"job", "top", "", int64(50), fromTo(1, topMost), func(s *Spec) any { return &s.Job.Top },
		"designs kept for each sweep point"},
	{"job", "workers", "", int64(0), fromTo(0, workersMost).zeroMeans("all cores"), func(s *Spec) any { return &s.Job.Workers },
		"threads; 0 for all cores. Never changes a result"},
	{"job", "seed", "", int64(1), anyNumber(), func(s *Spec) any { return &s.Job.Seed },
		"for all that is drawn at random: the audit, populations, cma-es"},
	{"job", "memory_gb", "GB", 0.0, atLeast(0).zeroMeans("no cap"), func(s *Spec) any { return &s.Job.MemoryGB },
		"cap on memory; 0 for none. Where groups need more they are held in partitions, one after the other: slower, the same result. Below 0.05 nothing can be kept"},

	{"catalog", "files", "", required, listOf("lens tables", 1), func(s *Spec) any { return &s.Catalog.Files },
		"lens tables, from the spec's folder"},
	{"catalog", "glasses", "", []string{}, listOf("glass tables", 0), func(s *Spec) any { return &s.Catalog.Glasses },
		"glass tables, beside the built-in one"},
	{"catalog", "owned", "", "", tableName(), func(s *Spec) any { return &s.Catalog.Owned },
		"table of the pieces in the drawer, part and pieces, from the spec's folder: they cost nothing in price, and may be used beside the stock of the lens tables. Without: none"},
	{"catalog", "exclude_kinds", "", []string{}, listOf("kinds or patterns", 0), func(s *Spec) any { return &s.Catalog.ExcludeKinds },
		"kinds of lenses to leave out; patterns with * and ?"},
	{"catalog", "exclude_parts", "", []string{}, listOf("part names or patterns", 0), func(s *Spec) any { return &s.Catalog.ExcludeParts },
		"parts to leave out; patterns with * and ?"},
	{"catalog", "diameter_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.DiameterMaxMM },
		"leaves out wider lenses; 0 for no limit"},
	{"catalog", "price_max", "", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.PriceMax },
		"leaves out dearer lenses, and those without a price; 0 for no limit"},
	{"catalog", "focal_min_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.FocalMinMM },
		"leaves out shorter focal lengths (magnitudes); 0 for no limit"},
	{"catalog", "focal_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.FocalMaxMM },
		"leaves out longer focal lengths (magnitudes); 0 for no limit"},
	{"catalog", "aperture_ratio_max", "", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Catalog.ApertureRatioMax },
		"leaves out lenses whose clear diameter over focal length is larger; 0 for no limit"},

	{"train", "layouts", "", []string{objective.ErectorSingle.String()}, layoutList(), func(s *Spec) any { return &s.Train.Layouts },
		`"erector-single" and "erector-pair", which are upright, or "keplerian" alone`},
	{"train", "lenses_per_group", "", int64(2), fromTo(1, 6), func(s *Spec) any { return &s.Train.LensesPerGroup },
		"up to so many lenses in a stack"},
	{"train", "lenses_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.LensesMax },
		"most lenses in a train; 0 for no limit"},
	{"train", "distinct_parts_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.DistinctPartsMax },
		"most different parts in a train; 0 for no limit"},
	{"train", "length_max_mm", "mm", 0.0, atLeast(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Train.LengthMaxMM },
		"longest train; 0 for no limit"},
	{"train", "magnification", "", 1.0, above(0), func(s *Spec) any { return &s.Train.Magnification },
		"angular magnification; 1 shows the world in its natural size"},
	{"train", "magnification_tol", "", 0.01, fromTo(0, 1), func(s *Spec) any { return &s.Train.MagnificationTol },
		"relative tolerance on it. Upright trains meet it exactly at their paraxial gaps; refined ones may use it"},
	{"train", "air_gap_min_mm", "mm", 0.2, atLeast(0), func(s *Spec) any { return &s.Train.AirGapMinMM },
		"least gap between facing surfaces in a stack, anywhere out to the edge"},
	{"train", "group_gap_min_mm", "mm", 1.0, atLeast(0), func(s *Spec) any { return &s.Train.GroupGapMinMM },
		"least gap between facing surfaces of two groups"},
	{"train", "front", "", []string{}, listOf("part names or patterns", 0), func(s *Spec) any { return &s.Train.Front },
		"parts that alone may stand in the front group; patterns with * and ?. Without: any"},
	{"train", "relay", "", []string{}, listOf("part names or patterns", 0), func(s *Spec) any { return &s.Train.Relay },
		"likewise in the relay, in both groups of a pair"},
	{"train", "rear", "", []string{}, listOf("part names or patterns", 0), func(s *Spec) any { return &s.Train.Rear },
		"likewise in the rear group"},
	{"train", "given", "", "", designText(), func(s *Spec) any { return &s.Train.Given },
		`one train to measure in place of a search, as "erector-single:rear:A+B|C/r|D": layout, seat, and the groups from the world to the eye as in the column design_id. The run tells what it reaches and which requirements it fails. Lenses of a group stand at the least gap`},
	{"train", "given_gaps_mm", "mm", []float64{}, gapList(), func(s *Spec) any { return &s.Train.GivenGapsMM },
		`its gaps between groups, vertex to vertex, from the world to the eye; measured as they are. Without: the paraxial gaps, refined where refine.method is not "none"`},
	{"train", "given_relief_mm", "mm", nil, atLeast(0), func(s *Spec) any { return &s.Train.GivenReliefMM },
		"its eye relief; measured as it is, and nothing is refined. Without: the least that meets the requirements"},

	{"field", "width_deg", "degrees", required, between(0, 180), func(s *Spec) any { return &s.Field.WidthDeg },
		"full angle at the eye"},
	{"field", "height_deg", "degrees", required, between(0, 180), func(s *Spec) any { return &s.Field.HeightDeg },
		"full angle at the eye"},
	{"field", "shape", "", "rectangle", oneOf("rectangle", "ellipse"), func(s *Spec) any { return &s.Field.Shape },
		`"rectangle", or "ellipse", which needs no corners`},

	{"eye", "pupil_mm", "mm", 4.0, above(0), func(s *Spec) any { return &s.Eye.PupilMM },
		"pupil diameter"},
	{"eye", "box_mm", "mm", 2.0, atLeast(0), func(s *Spec) any { return &s.Eye.BoxMM },
		"diameter of the region in which the pupil's centre moves. What is lost to apertures counts all over it"},
	{"eye", "sharp_box_mm", "mm", nil, atLeast(0), func(s *Spec) any { return &s.Eye.SharpBoxMM },
		"diameter of the region over which mask_blur_arcmin, view_blur_arcmin and view_refocus_D count: the largest with the pupil in the middle, up, down and sideways. 0: sharp for an eye that does not move; not set: all over box_mm"},
	{"eye", "relief_min_mm", "mm", 20.0, atLeast(0), func(s *Spec) any { return &s.Eye.ReliefMinMM },
		"smallest eye relief: last vertex to the pupil"},
	{"eye", "relief_max_mm", "mm", 80.0, atLeast(0), func(s *Spec) any { return &s.Eye.ReliefMaxMM },
		"largest eye relief"},
	{"eye", "accommodation_D", "dioptres", 8.0, atLeast(0), func(s *Spec) any { return &s.Eye.AccommodationD },
		"what the eye can accommodate"},
	{"eye", "refocus_max_D", "dioptres", 1.0, atLeast(0), func(s *Spec) any { return &s.Eye.RefocusMaxD },
		"how far the eye may refocus, either way, before the view's blur is judged"},
	{"eye", "combiner_mm", "mm", 0.0, atLeast(0).zeroMeans("no combiner"), func(s *Spec) any { return &s.Eye.CombinerMM },
		"glass path of a combiner between the last lens and the eye; 0 for none"},
	{"eye", "combiner_index", "", 1.5168, fromTo(1, 5), func(s *Spec) any { return &s.Eye.CombinerIndex },
		"its refractive index"},
	{"eye", "colour", "", ColourNone, oneOf(ColourNone, ColourPublished), func(s *Spec) any { return &s.Eye.Colour },
		`"published": the eye's own difference of refraction between the wavelengths is subtracted, so that blurs and axial_colour_D are those on the retina; "none": those of the train alone`},

	{"depth", "near_m", "m", required, above(0).orInfinite(), func(s *Spec) any { return &s.Depth.NearM },
		"nearest depth"},
	{"depth", "far_m", "m", math.Inf(1), above(0).orInfinite(), func(s *Spec) any { return &s.Depth.FarM },
		"farthest depth; inf for infinity"},
	{"depth", "steps", "", int64(5), fromTo(1, samplesMost), func(s *Spec) any { return &s.Depth.Steps },
		"depths looked at, even in vergence; 1 where near and far are equal"},

	{"mask", "width_mm", "mm", required, above(0), func(s *Spec) any { return &s.Mask.WidthMM },
		"active area"},
	{"mask", "height_mm", "mm", required, above(0), func(s *Spec) any { return &s.Mask.HeightMM },
		"active area"},
	{"mask", "pixel_um", "µm", required, above(0), func(s *Spec) any { return &s.Mask.PixelUM },
		"pixel"},
	{"mask", "glass_mm", "mm", 0.0, atLeast(0), func(s *Spec) any { return &s.Mask.GlassMM },
		"thickness of the mask's glass, the modulating layer in its middle"},
	{"mask", "glass_index", "", 1.52, fromTo(1, 5), func(s *Spec) any { return &s.Mask.GlassIndex },
		"its refractive index"},
	{"mask", "clearance_mm", "mm", 3.0, atLeast(0), func(s *Spec) any { return &s.Mask.ClearanceMM },
		"from the glass to the neighbouring lens surfaces, at every setpoint"},
	{"mask", "seat", "", "rear", oneOf("front", "rear", "either", SeatBoth), func(s *Spec) any { return &s.Mask.Seat },
		`"front": between front and relay; "rear": between relay and rear; "either" of them; or "both": a mask at each, each with a stage of its own, so that two depths are occluded at once. Then all of [mask] and [stage] holds for each, and transmission counts twice`},
	{"mask", "transmission", "", 1.0, aboveTo(0, 1), func(s *Spec) any { return &s.Mask.Transmission },
		"share of light when clear"},
	{"mask", "fill_pct", "%", nil, aboveTo(0, 100), func(s *Spec) any { return &s.Mask.FillPct },
		"share of a pixel's area that is open, by which ghost_pct is found; not set: not known"},

	{"stage", "travel_mm", "mm", required, atLeast(0), func(s *Spec) any { return &s.Stage.TravelMM },
		"what the stage can move"},
	{"stage", "resolution_um", "µm", 10.0, above(0), func(s *Spec) any { return &s.Stage.ResolutionUM },
		"smallest step"},
	{"stage", "speed_mm_s", "mm/s", 20.0, above(0), func(s *Spec) any { return &s.Stage.SpeedMMS },
		"speed"},

	{"light", "wavelengths_nm", "nm", []float64{479.99, 546.07, 643.85}, each(fromTo(300, 2500)), func(s *Spec) any { return &s.Light.WavelengthsNM },
		"the first of the largest weight is the reference"},
	{"light", "weights", "", []float64{1, 2, 1}, each(above(0)), func(s *Spec) any { return &s.Light.Weights },
		"one for each wavelength"},

	{"limits", "field_fraction", "", 1.0, fromTo(0, 1), func(s *Spec) any { return &s.Limits.FieldFraction },
		"share of the field, from its middle, in which sharpness is judged"},
	{"limits", "mask_blur_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.MaskBlurArcmin },
		"most blur of the mask. This and all below limit the column of the same name, by its magnitude"},
	{"limits", "view_blur_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewBlurArcmin },
		"most blur of the world"},
	{"limits", "view_defocus_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewDefocusD },
		"most vergence error of the world"},
	{"limits", "view_astigmatism_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewAstigmatismD },
		"most cylinder of the world"},
	{"limits", "view_refocus_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewRefocusD },
		"most refocus that the eye may need"},
	{"limits", "axis_vergence_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.AxisVergenceD },
		"most vergence error in the middle of the field. Refined trains keep 0.25 D where it is not set"},
	{"limits", "distortion_pct", "%", nil, atLeast(0), func(s *Spec) any { return &s.Limits.DistortionPct },
		"most distortion of the world"},
	{"limits", "lateral_colour_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.LateralColourArcmin },
		"largest spread of a direction over the wavelengths"},
	{"limits", "axial_colour_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.AxialColourD },
		"largest spread of vergence over the wavelengths"},
	{"limits", "vignetted_pct", "%", nil, fromTo(0, 100), func(s *Spec) any { return &s.Limits.VignettedPct },
		"most of the pupil that may be lost. It also eases the paraxial apertures, which then pass the pupil only as far as the chord that cuts off this share; where it is not set they pass all of it"},
	{"limits", "pixel_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.PixelArcmin },
		"largest angle of a mask pixel. Set it: without it the shortest trains have very short lenses and a coarse mask"},
	{"limits", "depth_step_D", "dioptres", nil, atLeast(0), func(s *Spec) any { return &s.Limits.DepthStepD },
		"largest step in depth for a step of the stage"},
	{"limits", "viewpoint_shift_mm", "mm", nil, atLeast(0), func(s *Spec) any { return &s.Limits.ViewpointShiftMM },
		"farthest that the viewpoint may be from the eye"},
	{"limits", "mass_g", "g", nil, atLeast(0), func(s *Spec) any { return &s.Limits.MassG },
		"heaviest train, glass only"},
	{"limits", "price", "", nil, atLeast(0), func(s *Spec) any { return &s.Limits.Price },
		"dearest train; a part without a price then fails it"},
	{"limits", "yield_min_pct", "%", nil, aboveTo(0, 100), func(s *Spec) any { return &s.Limits.YieldMinPct },
		"least share of builds that meet all other limits, drawn by [tolerance]: a design with less does not count, and the walk goes on. Builds end as soon as the share is certain enough (95 %)"},
	{"limits", "transmission_min", "", nil, fromTo(0, 1), func(s *Spec) any { return &s.Limits.TransmissionMin },
		"least share of light"},
	{"limits", "blur_mismatch_pct", "%", nil, atLeast(0), func(s *Spec) any { return &s.Limits.BlurMismatchPct },
		"most by which the mask may blur more or less than a real edge when the eye looks at another depth; needs two depths"},
	{"limits", "ghost_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.GhostArcmin },
		"farthest that the mask's pixel grid may show the far world beside itself"},
	{"limits", "ghost_pct", "%", nil, fromTo(0, 100), func(s *Spec) any { return &s.Limits.GhostPct },
		"most light that may go there; needs mask.fill_pct"},
	{"limits", "groove_blur_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.GrooveBlurArcmin },
		"most that light may spread at the grooves of Fresnel surfaces; trains without them keep it"},
	{"limits", "groove_visible_arcmin", "arcmin", nil, atLeast(0), func(s *Spec) any { return &s.Limits.GrooveVisibleArcmin },
		"largest angle of a groove where the eye sees them, near the depths or as wide as the beam; trains without Fresnel surfaces keep it"},

	{"search", "method", "", "enumerate", oneOf(SearchEnumerate, SearchOptimize), func(s *Spec) any { return &s.Search.Method },
		`"enumerate": the exact walk; or "optimize": a population search, for spaces that the walk can't finish`},
	{"search", "rank_by", "", "length_mm", oneOf("length_mm", "length_to_eye_mm"), func(s *Spec) any { return &s.Search.RankBy },
		`"length_mm" or "length_to_eye_mm"`},
	{"search", "one_per", "", "design", oneOf("design", "parts"), func(s *Spec) any { return &s.Search.OnePer },
		`"design", or "parts": only the best passing arrangement of each set of parts`},
	{"search", "checks_max", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Search.ChecksMax },
		"most designs to trace at a sweep point, then the walk stops; 0 for no limit"},
	{"search", "third_order", "", 1.0, atLeast(0).zeroMeans("off"), func(s *Spec) any { return &s.Search.ThirdOrder },
		"trains that are to be refined are turned away without rays where their estimate by third-order sums exceeds a limit by more than this factor times refine.near_miss_factor, and a population grades by it what exceeds one by more than this factor; 0: never"},
	{"search", "evaluations_max", "", int64(200_000), count(1), func(s *Spec) any { return &s.Search.EvaluationsMax },
		"with optimize: most trains to evaluate at a sweep point"},
	{"search", "stall_evaluations", "", int64(0), count(0).zeroMeans("never"), func(s *Spec) any { return &s.Search.StallEvaluations },
		"with optimize: ends the search after so many evaluations without a better train; 0 for never"},

	{"refine", "method", "", RefineSimplex, oneOf(RefineNone, RefineSimplex, RefineBFGS, RefineCMAES), func(s *Spec) any { return &s.Refine.Method },
		`re-optimises gaps and eye relief by exact rays: "simplex" (the one to use), "bfgs" or "cma-es"; "none" ranks trains at their paraxial gaps`},
	{"refine", "candidates", "", int64(0), count(0).zeroMeans("no limit"), func(s *Spec) any { return &s.Refine.Candidates },
		"most designs to refine at a sweep point, the shortest first; 0: as many as the screen lets through"},
	{"refine", "near_miss_factor", "", 2.0, atLeast(1), func(s *Spec) any { return &s.Refine.NearMissFactor },
		"the screen lets a train through that exceeds no limit by more than this factor at its paraxial gaps"},
	{"refine", "audit", "", int64(200), count(0).zeroMeans("none"), func(s *Spec) any { return &s.Refine.Audit },
		"designs drawn at random from those that the screen turned away, and refined all the same; 0 for none"},

	{"tolerance", "builds", "", int64(0), fromTo(0, buildsMost).zeroMeans("none"), func(s *Spec) any { return &s.Tolerance.Builds },
		"after a run: builds of each leading design, drawn at random by job.seed; 0 for none. relaysweep tolerance makes 1000 where it is 0"},
	{"tolerance", "designs", "", int64(5), fromTo(1, 1000), func(s *Spec) any { return &s.Tolerance.Designs },
		"how many leading designs of each sweep point are built"},
	{"tolerance", "distribution", "", DistributionUniform, oneOf(DistributionUniform, DistributionTruncated, DistributionNormal), func(s *Spec) any { return &s.Tolerance.Distribution },
		`"uniform" within a tolerance T; "truncated-normal": σ = T/2, cut at 2σ; "normal": σ = T/2. Tolerances below hold either way; their defaults are common practice for stock lenses and turned mounts`},
	{"tolerance", "focal_pct", "%", 1.0, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.FocalPct },
		"focal length of each lens, whatever its thickness and glass; all its curvatures are scaled"},
	{"tolerance", "radius_pct", "%", 0.0, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.RadiusPct },
		"each radius by itself; in place of focal_pct, one of both is 0"},
	{"tolerance", "thickness_mm", "mm", 0.1, fromTo(0, 5), func(s *Spec) any { return &s.Tolerance.ThicknessMM },
		"thickness of each glass"},
	{"tolerance", "index", "", 0.001, fromTo(0, 0.1), func(s *Spec) any { return &s.Tolerance.Index },
		"index of each glass, at all wavelengths"},
	{"tolerance", "abbe_pct", "%", 0.8, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.AbbePct },
		"Abbe number of each glass"},
	{"tolerance", "gap_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.GapMM },
		"each gap, inside stacks and between groups"},
	{"tolerance", "lens_decentre_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.LensDecentreMM },
		"each lens in its group, along each of two directions, as with all decentres and tilts"},
	{"tolerance", "lens_tilt_arcmin", "arcmin", 6.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.LensTiltArcmin },
		"each lens in its group, about the middle of its axis"},
	{"tolerance", "group_decentre_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.GroupDecentreMM },
		"each group on the bench"},
	{"tolerance", "group_tilt_arcmin", "arcmin", 6.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.GroupTiltArcmin },
		"each group, about the middle of its axis"},
	{"tolerance", "mask_roll_arcmin", "arcmin", 30.0, fromTo(0, 600), func(s *Spec) any { return &s.Tolerance.MaskRollArcmin },
		"turn of the mask about the axis; moves its picture only"},
	{"tolerance", "stage_zero_mm", "mm", 0.1, fromTo(0, 20), func(s *Spec) any { return &s.Tolerance.StageZeroMM },
		"zero of the stage against the stage table"},
	{"tolerance", "compensators", "", Compensators, someOf(Compensators...), func(s *Spec) any { return &s.Tolerance.Compensators },
		`what is adjusted on each built bench: "last_gap" until a far point looks as far as in the design, "front_gap" until a distant mark is sharp on the mask at its far setpoint, "stage_zero" for the least mean blur of the mask, "picture_shift" of the mask's picture in software; [] for nothing`},

	{"ideal", "aperture_ratio", "", 0.0, atLeast(0).zeroMeans("that of the fastest lens in use, times lenses_per_group"), func(s *Spec) any { return &s.Ideal.ApertureRatio },
		"the most that a group's clear diameter may be of its focal length in the ideal limit; 0: that of the fastest lens in use times lenses_per_group"},
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
		return k.section != "job" && !k.rule.table
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

// Key is a key of the spec, as a user has to know it.
type Key struct {
	Section, Name string
	Unit          string // empty for none
	Default       string // in the notation of the spec; empty for none
	Required      bool
	Meaning       string // one line
}

// String is the key with its section.
func (k *Key) String() string { return k.Section + "." + k.Name }

// Keys are all keys that a spec can have but for those of [sweep], which are
// themselves names of these, in the order in which a spec is best read.
func Keys() []Key {
	keys := make([]Key, len(allKeys))
	for i := range allKeys {
		k := &allKeys[i]
		keys[i] = Key{Section: k.section, Name: k.name, Unit: k.unit, Required: k.required(), Meaning: k.meaning}
		if k.def == nil || k.required() {
			continue
		}
		keys[i].Default = showValue(k.def)
		if _, real := k.def.(float64); real && !strings.ContainsAny(keys[i].Default, ".en") {
			keys[i].Default += ".0"
		}
	}
	return keys
}
