package spec

import "strings"

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
		keys[i] = Key{Section: k.section, Name: k.name, Unit: k.unit, Required: k.required(), Meaning: keyMeanings[k.String()]}
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

// keyMeanings says of each key what it does.
var keyMeanings = map[string]string{
	"job.name":      "letters, digits, - and _",
	"job.output":    "folder for the results, from the spec's folder; out/NAME where it is not set. A leading ~ is refused: only a shell knows it",
	"job.top":       "designs kept for each sweep point",
	"job.workers":   "threads; 0 for all cores. Never changes a result",
	"job.seed":      "for all that is drawn at random: the audit, populations, cma-es",
	"job.memory_gb": "cap on memory; 0 for none. Where groups need more they are held in partitions, one after the other: slower, the same result. Below 0.05 nothing can be kept",

	"catalog.files":              "lens tables, from the spec's folder",
	"catalog.glasses":            "glass tables, beside the built-in one",
	"catalog.exclude_kinds":      "kinds of lenses to leave out; patterns with * and ?",
	"catalog.exclude_parts":      "parts to leave out; patterns with * and ?",
	"catalog.diameter_max_mm":    "leaves out wider lenses; 0 for no limit",
	"catalog.price_max":          "leaves out dearer lenses, and those without a price; 0 for no limit",
	"catalog.focal_min_mm":       "leaves out shorter focal lengths (magnitudes); 0 for no limit",
	"catalog.focal_max_mm":       "leaves out longer focal lengths (magnitudes); 0 for no limit",
	"catalog.aperture_ratio_max": "leaves out lenses whose clear diameter over focal length is larger; 0 for no limit",

	"train.layouts":            `"erector-single" and "erector-pair", which are upright, or "keplerian" alone`,
	"train.lenses_per_group":   "up to so many lenses in a stack",
	"train.lenses_max":         "most lenses in a train; 0 for no limit",
	"train.distinct_parts_max": "most different parts in a train; 0 for no limit",
	"train.length_max_mm":      "longest train; 0 for no limit",
	"train.magnification":      "angular magnification; 1 shows the world in its natural size",
	"train.magnification_tol":  "relative tolerance on it. Upright trains meet it exactly at their paraxial gaps; refined ones may use it",
	"train.air_gap_min_mm":     "least gap between facing surfaces in a stack, anywhere out to the edge",
	"train.group_gap_min_mm":   "least gap between facing surfaces of two groups",

	"field.width_deg":  "full angle at the eye",
	"field.height_deg": "full angle at the eye",
	"field.shape":      `"rectangle", or "ellipse", which needs no corners`,

	"eye.pupil_mm":        "pupil diameter",
	"eye.box_mm":          "diameter of the region in which the pupil's centre moves. What is lost to apertures counts all over it",
	"eye.sharp_box_mm":    "diameter of the region over which mask_blur_arcmin, view_blur_arcmin and view_refocus_D count: the largest with the pupil in the middle, up, down and sideways. 0: sharp for an eye that does not move; not set: all over box_mm",
	"eye.relief_min_mm":   "smallest eye relief: last vertex to the pupil",
	"eye.relief_max_mm":   "largest eye relief",
	"eye.accommodation_D": "what the eye can accommodate",
	"eye.refocus_max_D":   "how far the eye may refocus, either way, before the view's blur is judged",
	"eye.combiner_mm":     "glass path of a combiner between the last lens and the eye; 0 for none",
	"eye.combiner_index":  "its refractive index",

	"depth.near_m": "nearest depth",
	"depth.far_m":  "farthest depth; inf for infinity",
	"depth.steps":  "depths looked at, even in vergence; 1 where near and far are equal",

	"mask.width_mm":     "active area",
	"mask.height_mm":    "active area",
	"mask.pixel_um":     "pixel",
	"mask.glass_mm":     "thickness of the mask's glass, the modulating layer in its middle",
	"mask.glass_index":  "its refractive index",
	"mask.clearance_mm": "from the glass to the neighbouring lens surfaces, at every setpoint",
	"mask.seat":         `"front": between front and relay; "rear": between relay and rear; or "either"`,
	"mask.transmission": "share of light when clear",

	"stage.travel_mm":     "what the stage can move",
	"stage.resolution_um": "smallest step",
	"stage.speed_mm_s":    "speed",

	"light.wavelengths_nm": "the first of the largest weight is the reference",
	"light.weights":        "one for each wavelength",

	"limits.field_fraction":        "share of the field, from its middle, in which sharpness is judged",
	"limits.mask_blur_arcmin":      "most blur of the mask. This and all below limit the column of the same name, by its magnitude",
	"limits.view_blur_arcmin":      "most blur of the world",
	"limits.view_defocus_D":        "most vergence error of the world",
	"limits.view_astigmatism_D":    "most cylinder of the world",
	"limits.view_refocus_D":        "most refocus that the eye may need",
	"limits.axis_vergence_D":       "most vergence error in the middle of the field. Refined trains keep 0.25 D where it is not set",
	"limits.distortion_pct":        "most distortion of the world",
	"limits.lateral_colour_arcmin": "largest spread of a direction over the wavelengths",
	"limits.axial_colour_D":        "largest spread of vergence over the wavelengths",
	"limits.vignetted_pct":         "most of the pupil that may be lost. It also eases the paraxial apertures, which then pass the pupil only as far as the chord that cuts off this share; where it is not set they pass all of it",
	"limits.pixel_arcmin":          "largest angle of a mask pixel. Set it: without it the shortest trains have very short lenses and a coarse mask",
	"limits.depth_step_D":          "largest step in depth for a step of the stage",
	"limits.viewpoint_shift_mm":    "farthest that the viewpoint may be from the eye",
	"limits.mass_g":                "heaviest train, glass only",
	"limits.price":                 "dearest train; a part without a price then fails it",
	"limits.transmission_min":      "least share of light",

	"search.method":            `"enumerate": the exact walk; or "optimize": a population search, for spaces that the walk can't finish`,
	"search.rank_by":           `"length_mm" or "length_to_eye_mm"`,
	"search.one_per":           `"design", or "parts": only the best passing arrangement of each set of parts`,
	"search.checks_max":        "most designs to trace at a sweep point, then the walk stops; 0 for no limit",
	"search.evaluations_max":   "with optimize: most trains to evaluate at a sweep point",
	"search.stall_evaluations": "with optimize: ends the search after so many evaluations without a better train; 0 for never",

	"refine.method":           `re-optimises gaps and eye relief by exact rays: "simplex" (the one to use), "bfgs" or "cma-es"; "none" ranks trains at their paraxial gaps`,
	"refine.candidates":       "most designs to refine at a sweep point, the shortest first; 0: as many as the screen lets through",
	"refine.near_miss_factor": "the screen lets a train through that exceeds no limit by more than this factor at its paraxial gaps",
	"refine.audit":            "designs drawn at random from those that the screen turned away, and refined all the same; 0 for none",

	"tolerance.builds":            "after a run: builds of each leading design, drawn at random by job.seed; 0 for none. relaysweep tolerance makes 1000 where it is 0",
	"tolerance.designs":           "how many leading designs of each sweep point are built",
	"tolerance.distribution":      `"uniform" within a tolerance T; "truncated-normal": σ = T/2, cut at 2σ; "normal": σ = T/2. Tolerances below hold either way; their defaults are common practice for stock lenses and turned mounts`,
	"tolerance.focal_pct":         "focal length of each lens, whatever its thickness and glass; all its curvatures are scaled",
	"tolerance.radius_pct":        "each radius by itself; in place of focal_pct, one of both is 0",
	"tolerance.thickness_mm":      "thickness of each glass",
	"tolerance.index":             "index of each glass, at all wavelengths",
	"tolerance.abbe_pct":          "Abbe number of each glass",
	"tolerance.gap_mm":            "each gap, inside stacks and between groups",
	"tolerance.lens_decentre_mm":  "each lens in its group, along each of two directions, as with all decentres and tilts",
	"tolerance.lens_tilt_arcmin":  "each lens in its group, about the middle of its axis",
	"tolerance.group_decentre_mm": "each group on the bench",
	"tolerance.group_tilt_arcmin": "each group, about the middle of its axis",
	"tolerance.mask_roll_arcmin":  "turn of the mask about the axis; moves its picture only",
	"tolerance.stage_zero_mm":     "zero of the stage against the stage table",
	"tolerance.compensators":      `what is adjusted on each built bench: "last_gap" until a far point looks as far as in the design, "front_gap" until a distant mark is sharp on the mask at its far setpoint, "stage_zero" for the least mean blur of the mask, "picture_shift" of the mask's picture in software; [] for nothing`,

	"ideal.aperture_ratio": "the most that a group's clear diameter may be of its focal length in the ideal limit; 0: that of the fastest lens in use times lenses_per_group",
}
