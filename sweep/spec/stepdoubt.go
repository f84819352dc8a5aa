package spec

import (
	"fmt"
	"math"
	"strconv"

	"relaysweep/catalog"
)

// seenBlurD is the defocus in dioptres from which on blur of text is seen: the
// lower end of 0.19 to 0.25 D, of 17 subjects with relaxed accommodation
// (Investigative Ophthalmology & Visual Science, abstract 2357298).
const seenBlurD = 0.19

// coarseSteps tells of a stage whose steps are coarser in depth than an eye can
// tell, whatever the train. The mask moves monotonically with vergence, and over
// the whole range by at most the stage's travel. So somewhere a dioptre takes at
// most the travel over the range, and a step there is at least the resolution
// times the range over the travel. A limit on depth_step_D says that the steps
// were thought of.
func (s *Spec) coarseSteps() []catalog.Fault {
	if keyByName["limits.depth_step_D"].get(s) != nil ||
		s.sweptOf([]string{"limits.depth_step_D", "stage.resolution_um", "stage.travel_mm", "depth.near_m", "depth.far_m"}) >= 0 {
		return nil
	}
	rangeD := math.Abs(1/s.Depth.NearM - 1/s.Depth.FarM)
	stepD := s.Stage.ResolutionUM / 1000 * rangeD / s.Stage.TravelMM
	if stepD <= seenBlurD {
		return nil
	}
	most := math.Floor(seenBlurD * s.Stage.TravelMM / rangeD * 1000)
	return []catalog.Fault{s.doubt(
		fmt.Sprintf("steps of %s µm are %s D in depth or more, whatever the train", showFloat(s.Stage.ResolutionUM), strconv.FormatFloat(stepD, 'g', 2, 64)),
		fmt.Sprintf("at most %s µm: an eye sees blur from %g D on (IOVS abstract 2357298); or a limit on depth_step_D", showFloat(most), seenBlurD),
		"stage", "resolution_um")}
}
