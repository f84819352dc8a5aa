package objective

import (
	"fmt"
	"math"
)

// Conflict is two requirements of a problem that no lens can meet together.
type Conflict struct {
	Names string // the requirements
	Why   string
}

// Conflicts are the contradictions that follow from the numbers of the problem
// alone. With w = 1 - p·V, f the focal length of what stands behind the mask
// (for the front seat f_front/Θ), a pixel needs f >= f_pixel·w at both ends of
// the depth range, the stage f²·ΔV <= travel·w_far·w_near, and the mask's width
// f <= f_width·w: for any place of the eye therefore
//
//	f_pixel²·ΔV <= travel,  f_step²·ΔV <= travel,  f_pixel <= f_width, f_step <= f_width.
func (p *Problem) Conflicts() []Conflict {
	var found []Conflict
	range1 := p.VergenceNear - p.VergenceFar
	width := math.Min(p.MaskWidth/(2*p.TanHalfWidth), p.MaskHeight/(2*p.TanHalfHeight))
	check := func(r Requirement, focal float64, what string) {
		if need := focal * focal * range1; need > p.Travel*(1+conflictRounding) {
			found = append(found, Conflict{r.String() + " and " + Travel.String(), fmt.Sprintf(
				"%s needs a focal length of at least %.2f mm at the mask, whose setpoints over %.2f D span f²·ΔV = %.2f mm; the stage travels %.2f mm",
				what, focal, 1000*range1, need, p.Travel)})
		}
		if focal > width*(1+conflictRounding) {
			found = append(found, Conflict{r.String() + " and " + MaskSize.String(), fmt.Sprintf(
				"%s needs a focal length of at least %.2f mm at the mask, and the field fits on it only up to %.2f mm",
				what, focal, width)})
		}
	}
	if limit := p.LimitOn(PixelArcmin); !math.IsInf(limit, 1) {
		check(PixelArcmin, p.MaskPixel/math.Tan(limit*ArcminRad),
			fmt.Sprintf("a pixel of %.1f µm within %.2f arcmin", 1000*p.MaskPixel, limit))
	}
	if limit := p.LimitOn(DepthStepD); !math.IsInf(limit, 1) {
		check(DepthStepD, math.Sqrt(1000*p.StageResolution/limit),
			fmt.Sprintf("a stage resolution of %.1f µm within %.4g D", 1000*p.StageResolution, limit))
	}
	return found
}

// conflictRounding is by how much, as a share, two requirements that just agree may seem
// not to.
const conflictRounding = 1e-12

// LastAperture is the least clear diameter in mm that the lens next to the eye
// needs, whatever it is: the field and the pupil at the smallest eye relief.
func (p *Problem) LastAperture() float64 {
	// At the last vertex the chief height is the air-equivalent relief e, the
	// pupil-edge height 1 - V·e; their weighted sum is convex in e.
	lo := p.LeastRelief() - p.CombinerShift()
	hi := p.ReliefMax - p.CombinerShift()
	need := func(e float64) float64 {
		edge := math.Max(math.Abs(1-float64(p.VergenceFar*e)), math.Abs(1-float64(p.VergenceNear*e)))
		return 2 * (float64(e*p.TanMax) + float64(p.PassingEdge()*edge))
	}
	return -maxOver(hi-lo, func(x float64) float64 { return -need(lo + x) })
}
