package spec

import (
	"encoding/json"
	"fmt"
	"path/filepath"

	"relaysweep/objective"
)

// The words of search.method.
const (
	SearchEnumerate = "enumerate"
	SearchOptimize  = "optimize"
)

// The words of refine.method.
const (
	RefineNone    = "none"
	RefineSimplex = "simplex"
	RefineBFGS    = "bfgs"
	RefineCMAES   = "cma-es"
)

// The words of tolerance.distribution.
const (
	DistributionUniform   = "uniform"
	DistributionTruncated = "truncated-normal"
	DistributionNormal    = "normal"
)

// Compensators are the words of tolerance.compensators.
var Compensators = []string{"last_gap", "front_gap", "stage_zero", "picture_shift"}

// The words of eye.colour.
const (
	ColourNone      = "none"
	ColourPublished = "published"
)

// Spec is a job as its TOML file describes it, in the file's own units, with
// the defaults filled in. [Read] makes one; treat it as read-only.
type Spec struct {
	File   string // the spec file as the user named it
	SHA256 string // digest of the file's bytes, hexadecimal

	Job     JobSection
	Catalog CatalogSection
	Train   TrainSection
	Field   FieldSection
	Eye     EyeSection
	Depth   DepthSection
	Mask    MaskSection
	Stage   StageSection
	Light   LightSection
	Limits  LimitsSection
	Search  SearchSection
	Refine  RefineSection
	Ideal   IdealSection

	Tolerance ToleranceSection

	// Axes are the swept keys in the order in which the file has them, the
	// slowest first; none for a job of one point, and none in the Spec of a
	// [Point].
	Axes []Axis

	stepsGiven bool      // depth.steps stands in the file or is swept
	lines      lineIndex // on which lines the keys stand
}

// JobSection is the section [job].
type JobSection struct {
	Name     string
	Output   string  // as written; see [Spec.OutputDir]
	Top      int     // designs kept for each sweep point
	Workers  int     // 0 for all cores
	Seed     int64   // of the random methods
	MemoryGB float64 // 0 for no cap
}

// CatalogSection is the section [catalog]. A limit of 0 is none.
type CatalogSection struct {
	Files            []string // as written; see [Spec.LensFiles]
	Glasses          []string // as written; see [Spec.GlassFiles]
	Owned            string   // as written; see [Spec.OwnedFile]
	ExcludeKinds     []string
	ExcludeParts     []string // patterns with * and ?
	DiameterMaxMM    float64
	PriceMax         float64 // of one part
	FocalMinMM       float64 // magnitude
	FocalMaxMM       float64 // magnitude
	ApertureRatioMax float64 // clear diameter over focal length, magnitude
}

// TrainSection is the section [train]. A maximum of 0 is none.
type TrainSection struct {
	Layouts          []objective.Layout
	LensesPerGroup   int // up to this many
	LensesMax        int
	DistinctPartsMax int
	LengthMaxMM      float64
	Magnification    float64 // angular, its magnitude
	MagnificationTol float64 // relative
	AirGapMinMM      float64
	GroupGapMinMM    float64
	// Front, Relay and Rear are patterns with * and ? of the parts that alone may stand
	// there; none for any.
	Front, Relay, Rear []string
	// Given is the one train to measure in place of a search, as a design_id; empty
	// for a search. GivenGapsMM are the gaps between its groups from the world to the
	// eye, none for paraxial or refined ones, see [Spec.GivenAt].
	Given         string
	GivenGapsMM   []float64
	GivenReliefMM *float64
}

// FieldSection is the section [field]: full angles at the eye.
type FieldSection struct {
	WidthDeg  float64
	HeightDeg float64
	Shape     string // "rectangle" or "ellipse"
}

// EyeSection is the section [eye].
type EyeSection struct {
	PupilMM        float64  // diameter
	BoxMM          float64  // diameter of the region in which the pupil moves
	SharpBoxMM     *float64 // diameter of the region over which blurs count; nil: BoxMM
	ReliefMinMM    float64
	ReliefMaxMM    float64
	AccommodationD float64
	RefocusMaxD    float64
	CombinerMM     float64 // glass path between last lens and eye
	CombinerIndex  float64
	Colour         string // "none" or "published": whether the eye's own colour counts
}

// DepthSection is the section [depth]: apparent distances before the eye.
type DepthSection struct {
	NearM float64 // +Inf for infinity, as is FarM
	FarM  float64
	Steps int // 1 where near and far are equal
}

// MaskSection is the section [mask].
type MaskSection struct {
	WidthMM      float64
	HeightMM     float64
	PixelUM      float64
	GlassMM      float64 // thickness, the modulating layer in its middle
	GlassIndex   float64
	ClearanceMM  float64
	Seat         string // "front", "rear", "either" or "both"; see [Spec.Seats]
	Transmission float64
	FillPct      *float64 // share of a pixel's area that is open; nil: not known
}

// StageSection is the section [stage].
type StageSection struct {
	TravelMM     float64
	ResolutionUM float64
	SpeedMMS     float64 // mm/s
}

// LightSection is the section [light]: one weight a wavelength.
type LightSection struct {
	WavelengthsNM []float64
	Weights       []float64
}

// LimitsSection is the section [limits]. A nil limit is not set. All are upper
// limits, on magnitudes for signed metrics, but for TransmissionMin and YieldMinPct.
type LimitsSection struct {
	FieldFraction       float64
	MaskBlurArcmin      *float64
	ViewBlurArcmin      *float64
	ViewDefocusD        *float64
	ViewAstigmatismD    *float64
	ViewRefocusD        *float64
	AxisVergenceD       *float64
	DistortionPct       *float64
	LateralColourArcmin *float64
	AxialColourD        *float64
	VignettedPct        *float64
	PixelArcmin         *float64
	DepthStepD          *float64
	ViewpointShiftMM    *float64
	MassG               *float64
	Price               *float64 // of all the lenses together
	TransmissionMin     *float64
	BlurMismatchPct     *float64
	GhostArcmin         *float64
	GhostPct            *float64
	GrooveBlurArcmin    *float64
	GrooveVisibleArcmin *float64
	YieldMinPct         *float64 // of builds, see [ToleranceSection]
}

// SearchSection is the section [search].
type SearchSection struct {
	Method    string // "enumerate" or "optimize"
	RankBy    string // "length_mm" or "length_to_eye_mm"
	OnePer    string // "design" or "parts"
	ChecksMax int    // designs ray-checked; 0 for no limit
	// ThirdOrder is by how much more than [RefineSection.NearMissFactor] a third-order estimate
	// has to exceed a limit for a design to be turned away without rays; 0 for never.
	ThirdOrder float64
	// EvaluationsMax and StallEvaluations end a population search: after so
	// many designs, and after so many without a better one (0 for never).
	EvaluationsMax, StallEvaluations int
}

// RefineSection is the section [refine].
type RefineSection struct {
	Method     string // "simplex", "bfgs", "cma-es" or "none"
	Candidates int    // designs refined at most; 0 for no limit
	// NearMissFactor is by how much at most a candidate may exceed a limit.
	NearMissFactor float64
	// Audit is how many designs that the screen turned away are refined all the same.
	Audit int
}

// IdealSection is the section [ideal].
type IdealSection struct {
	// ApertureRatio is the most that a group's clear diameter may be of its focal
	// length; 0 for that of the fastest lens in use times the lenses of a group.
	ApertureRatio float64
}

// ToleranceSection is the section [tolerance]: how far parts and places of a built train
// may be off, either way, and how builds are made.
type ToleranceSection struct {
	Builds          int    // of each leading design, after a run; 0 for none
	Designs         int    // leading designs of each sweep point
	Distribution    string // "uniform", "truncated-normal" or "normal"
	FocalPct        float64
	RadiusPct       float64
	ThicknessMM     float64
	Index           float64
	AbbePct         float64
	GapMM           float64
	LensDecentreMM  float64 // along each of two directions, as all decentres and tilts
	LensTiltArcmin  float64
	GroupDecentreMM float64
	GroupTiltArcmin float64
	MaskRollArcmin  float64
	StageZeroMM     float64
	Compensators    []string // of [Compensators], those that are on
}

// UsualBuilds is how many builds are made of a design where the spec asks for builds
// without saying how many.
const UsualBuilds = 1000

// BuildsMade is how many builds are made of a design where any are.
func (t *ToleranceSection) BuildsMade() int {
	if t.Builds == 0 {
		return UsualBuilds
	}
	return t.Builds
}

// OutputDir is the folder that the run writes to: job.output, taken from the
// spec file's folder when it is relative.
func (s *Spec) OutputDir() string { return s.resolve(s.Job.Output) }

func (s *Spec) resolve(path string) string {
	if filepath.IsAbs(path) {
		return filepath.Clean(path)
	}
	return filepath.Join(filepath.Dir(s.File), path)
}

// Values are all the spec's keys and axes as text, by their names, to tell two specs
// apart.
func (s *Spec) Values() map[string]string {
	values := map[string]string{}
	for i := range allKeys {
		k := &allKeys[i]
		switch x := k.at(s).(type) {
		case **float64:
			values[k.String()] = "none"
			if *x != nil {
				values[k.String()] = fmt.Sprint(**x)
			}
		default:
			data, err := json.Marshal(x)
			if err != nil { // infinite
				values[k.String()] = "inf"
				continue
			}
			values[k.String()] = string(data)
		}
	}
	for _, a := range s.Axes {
		values[sweptName(a.Key)] = fmt.Sprint(a.Values)
	}
	return values
}

// settle gives the keys their values that depend on other keys: the output
// folder is named after the job, and one depth needs one step.
func (s *Spec) settle() {
	if s.Job.Output == "" {
		s.Job.Output = "out/" + s.Job.Name
	}
	if s.stepsGiven {
		return
	}
	keyByName["depth.steps"].setDefault(s)
	if s.Depth.NearM == s.Depth.FarM {
		s.Depth.Steps = 1
	}
}
