package bench

// Measure names one of the figures of an [Outcome].
type Measure struct {
	Name string // that of the limit, where there is one
	Unit string // empty for a plain number
	Doc  string // one line
	// Limited tells that the spec can have a limit of this name. Limits hold for
	// magnitudes.
	Limited bool
}

// The places of figures in an [Outcome].
const (
	MaskBlur = iota
	ViewDefocus
	ViewAstigmatism
	ViewBlur
	ViewRefocus
	AxisVergence
	Distortion
	LateralColour
	AxialColour
	Vignetted
	Pixel
	DepthStep
	ViewpointShift
	MagnificationError
	Registration
	Pointing
	PointingUp
	LastGap
	FrontGap
	StageZero
	PictureShift
	measureCount
)

// Measures are the figures of an [Outcome] in their order: first those that limits
// of the spec judge, in the order in which they do, then what else a builder wants
// to know, then by how much each compensator was moved.
//
// A built train has no symmetry. Fields are sampled at the ray check's fractions of
// the largest half angle, each but the axis in [Azimuths] directions round the axis,
// and every figure is the worst over all of them. That is a full circle: of a
// rectangular field directions beyond its sides count as well. Of two masks a figure of a
// mask is the worst of both, each with a stage and compensators of its own; the front gap is set
// by the one at image 2. Limits on anything else,
// such as mass, transmission or ghosts, are left to the ray check of the design.
var Measures = [measureCount]Measure{
	MaskBlur: {"mask_blur_arcmin", "arcmin",
		"RMS radius of the mask's blur where the stage stands, largest over fields, depths and places of the pupil; of two masks that of the worse", true},
	ViewDefocus: {"view_defocus_D", "D",
		"vergence error of the world, half the trace of the error matrix; the one of largest magnitude over fields and depths", true},
	ViewAstigmatism: {"view_astigmatism_D", "D",
		"cylinder of the error matrix, both of its components; largest over fields and depths", true},
	ViewBlur: {"view_blur_arcmin", "arcmin",
		"RMS radius of the world's blur after the eye's best refocus, largest over fields, depths and places of the pupil", true},
	ViewRefocus: {"view_refocus_D", "D",
		"largest magnitude of refocus that the eye needs for view_blur_arcmin", true},
	AxisVergence: {"axis_vergence_D", "D",
		"vergence error of the world on the axis at the far depth", true},
	Distortion: {"distortion_pct", "%",
		"radial displacement of the world against the direction in which the axis is seen; the one of largest magnitude", true},
	LateralColour: {"lateral_colour_arcmin", "arcmin",
		"largest distance between the directions of two wavelengths at the far depth, the axis included", true},
	AxialColour: {"axial_colour_D", "D",
		"spread of the vergence error on the axis over the wavelengths at the far depth", true},
	Vignetted: {"vignetted_pct", "%",
		"largest share of the pupil's area that is lost or vignetted at the axis and the outermost field, far and near, in any direction and place of the pupil", true},
	Pixel: {"pixel_arcmin", "arcmin",
		"angle of a mask pixel, largest over the depths, paraxial; of two masks the larger", true},
	DepthStep: {"depth_step_D", "D",
		"vergence that one step of the stage moves, largest over the depth range, paraxial; of two masks the larger", true},
	ViewpointShift: {"viewpoint_shift_mm", "mm",
		"distance from the viewpoint to the eye, paraxial", true},
	MagnificationError: {"magnification_error_pct", "%",
		"angular magnification against that of the design, paraxial", false},
	Registration: {"registration_arcmin", "arcmin",
		"distance of the mask's picture from where the design puts it, largest over fields and depths; of two masks the larger", false},
	Pointing: {"pointing_arcmin", "arcmin",
		"angle by which the whole view is deviated, as the eye sees it", false},
	PointingUp: {"pointing_up_arcmin", "arcmin",
		"the part of it along y, signed: by how much the view of one eye stands higher than that of another", false},
	LastGap:      {"last_gap_change_mm", "mm", "by how much the last gap was adjusted", false},
	FrontGap:     {"front_gap_change_mm", "mm", "by how much the front gap was adjusted", false},
	StageZero:    {"stage_zero_change_mm", "mm", "by how much the zero of the stage was adjusted; of two masks the larger", false},
	PictureShift: {"picture_shift_mm", "mm", "by how much the mask's picture was shifted; of two masks the larger", false},
}

// Outcome has the [Measures] of one build. A figure that a build makes meaningless,
// because a bundle loses more than half of its rays or a compensator finds no
// position, is +Inf; one that was not measured is NaN.
type Outcome [measureCount]float64
