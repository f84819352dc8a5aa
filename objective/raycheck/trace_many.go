package raycheck

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck/lanes"
)

// Line is a ray by where it crosses a plane across the axis, in mm, and its slopes per unit
// distance towards the world. To the eye, which looks at the world, x points right and y up.
type Line struct{ X, Y, SX, SY float64 }

// Passage is how a ray gets from the eye to the world.
type Passage struct {
	Mask  Line // in the mask's layer
	World Line // in the viewpoint plane
	// Overfill is the ray's height over the clear semi-diameter, the largest over all surfaces that
	// it meets: beyond 1 it is vignetted.
	Overfill float64
	Lost     bool // it misses a surface or is totally reflected; what lies beyond is NaN
}

// Tracer traces many rays at a time through one train with its mask in one place, of two masks that
// at image 2, in the steps of a [Checker]. It reuses its buffers: each goroutine needs its own.
type Tracer struct {
	p                *objective.Problem
	steps            []step
	beyondMask       int
	ratios           [][]float64 // by wavelength, then step
	layer, viewpoint float64     // distances towards the world: from the first vertex behind the mask, from the train's first vertex
	rays             lanes.Rays
	lines            lanes.Lines
	over             []float64
}

// NewTracer prepares to trace rays of the problem's wavelengths through t. maskMM is the physical
// position of the mask's layer behind the last vertex before it.
func NewTracer(p *objective.Problem, t *objective.Train, maskMM float64) *Tracer {
	r := &Tracer{p: p, ratios: make([][]float64, len(p.WavelengthsNM)), layer: t.Gaps[t.MaskGap()] - maskMM, viewpoint: -p.Viewpoint(t)}
	steps, gapSteps := trainSteps(p, t, nil, nil)
	r.steps, r.beyondMask = steps, gapSteps[t.MaskGap()]
	indexRatios(t, func(g *catalog.Glass) (all []float64) {
		for _, w := range p.WavelengthsNM {
			all = append(all, g.Index(w))
		}
		return all
	}, r.ratios)
	return r
}

// Trace takes rays of wavelength number w from where they leave the pupil's plane to the world:
// to[i] becomes the passage of from[i].
func (r *Tracer) Trace(w int, from []Line, to []Passage) {
	n := len(from)
	if cap(r.over) < n {
		r.rays, r.lines, r.over = lanes.NewRays(n), lanes.NewLines(n), make([]float64, n)
	}
	rays, lines, over := r.rays.Part(0, n), r.lines.Part(0, n), r.over[:n]
	for i, l := range from {
		per := math.Sqrt(1 + float64(l.SX*l.SX) + float64(l.SY*l.SY))
		rays.X[i], rays.Y[i], rays.W[i] = l.X, l.Y, 0
		rays.KX[i], rays.KY[i], rays.KW[i], rays.Per[i] = l.SX/per, l.SY/per, 1/per, per
	}
	clear(over)
	r.through(&rays, w, 0, r.beyondMask, over)
	lines.Cross(&rays, 0)
	if half := r.p.MaskGlass / 2; half > 0 {
		lines.ThroughPlate(&rays, half, r.p.MaskGlassIndex)
	}
	for i := range to[:n] {
		l := lineOf(&lines, i)
		l.X += float64(r.layer * l.SX)
		l.Y += float64(r.layer * l.SY)
		to[i].Mask = l
	}
	r.through(&rays, w, r.beyondMask, len(r.steps), over)
	lines.Cross(&rays, r.viewpoint)
	for i := range to[:n] {
		to[i].World, to[i].Overfill, to[i].Lost = lineOf(&lines, i), math.Sqrt(over[i]), rays.Lost(i)
	}
}

func lineOf(l *lanes.Lines, i int) Line { return Line{l.X[i], l.Y[i], l.SX[i], l.SY[i]} }

// through takes rays through the surfaces from and up to but not including to.
func (r *Tracer) through(rays *lanes.Rays, w, from, to int, over []float64) {
	for s := from; s < to; s++ {
		r.steps[s].through(rays, r.ratios[w][s])
		rays.Overfill(over, r.steps[s].clear)
	}
}
