package main

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/results"
)

const (
	// outlineSteps is how many points half of a surface's outline has: smooth
	// in full size.
	outlineSteps = 16
	// curveSteps is how many steps a curve of a chart has.
	curveSteps = 16
)

// drawing lays out the train with its rays for the page.
func (b *reopened) drawing() results.ReportDrawing {
	p, t := b.problem, b.train
	far, near := b.stages[0], b.stages[len(b.stages)-1]
	before := 0.0 // the last vertex before the mask
	for k := range t.MaskGap() + 1 {
		before += t.Groups[k].ThicknessMM
		if k < t.MaskGap() {
			before += t.Gaps[k]
		}
	}
	eye := t.Length + t.EyeRelief
	d := results.ReportDrawing{
		Lenses:    b.outlines(),
		MaskFarMM: before + far.MaskMM, MaskNearMM: before + near.MaskMM,
		MaskHalfMM: p.MaskHeight / 2, MaskGlassMM: p.MaskGlass,
		EyeMM: eye, ViewpointMM: eye - b.design.ViewpointShiftMM,
		PupilMM: p.Pupil, BoxMM: p.Box, CombinerMM: p.CombinerMM,
		WavelengthNM: p.WavelengthsNM[p.Reference()], PupilEdgeMM: p.PupilEdge(),
	}
	for k, field := range raycheck.FieldFractions {
		for _, r := range b.traceSample(field, far.VergenceD/1000, far.MaskMM) {
			ray := results.ReportRay{
				Field: k, HalfDeg: math.Atan(field*p.TanMax) * 180 / math.Pi, Chief: r.ray.share == 0, Lost: !r.complete,
			}
			for _, at := range r.points {
				ray.Points = append(ray.Points, results.ReportPoint{X: at.Z, Y: at.Y})
			}
			if last := r.points[len(r.points)-1]; r.complete {
				ray.Points = append(ray.Points, results.ReportPoint{X: last.Z + 100*last.N, Y: last.Y + 100*last.M})
			}
			d.Rays = append(d.Rays, ray)
		}
	}
	return d
}

// outlines are the lenses in section, from their true surfaces.
func (b *reopened) outlines() []results.ReportLens {
	var lenses []results.ReportLens
	t := b.train
	names := t.Layout.GroupNames()
	z := 0.0
	for k, g := range t.Groups {
		for i, e := range g.Elements {
			half, clear := e.Lens.DiameterMM/2, e.Lens.ClearMM/2
			lens := results.ReportLens{Group: names[k], Part: e.Lens.Part, HalfMM: half, FirstMM: z}
			vertices := []float64{z}
			for _, thickness := range e.Thickness {
				z += thickness
				vertices = append(vertices, z)
			}
			lens.EndMM = z
			for s := range e.Glasses {
				outline := arc(e.Surfaces[s], vertices[s], -half, half)
				back := arc(e.Surfaces[s+1], vertices[s+1], half, -half)
				lens.Glasses = append(lens.Glasses, append(outline, back...))
			}
			for _, s := range []int{0, len(e.Surfaces) - 1} {
				lens.Rims = append(lens.Rims, arc(e.Surfaces[s], vertices[s], clear, half), arc(e.Surfaces[s], vertices[s], -half, -clear))
			}
			lenses = append(lenses, lens)
			switch {
			case i < len(g.GapsMM):
				z += g.GapsMM[i]
			case k < len(t.Gaps):
				z += t.Gaps[k]
			}
		}
	}
	return lenses
}

// arc is a surface in section from one height to another.
func arc(s catalog.Surface, vertex, from, to float64) []results.ReportPoint {
	var points []results.ReportPoint
	for i := range 2*outlineSteps + 1 {
		h := from + (to-from)*float64(i)/(2*outlineSteps)
		points = append(points, results.ReportPoint{X: vertex + s.Sag(math.Abs(h)), Y: h})
	}
	return points
}

// stageCurve is the exact and the paraxial setpoint over the depth range.
func (b *reopened) stageCurve() []results.ReportStage {
	p := b.problem
	var curve []results.ReportStage
	for i := range curveSteps + 1 {
		v := 1000 * (p.VergenceFar + (p.VergenceNear-p.VergenceFar)*float64(i)/curveSteps)
		s := b.setpointAt(v)
		curve = append(curve, results.ReportStage{VergenceD: v, MaskMM: s.MaskMM, ParaxialMM: s.MaskParaxialMM})
	}
	return curve
}

// distortionCurve is distortion_pct over the half angle.
func (b *reopened) distortionCurve() []results.ReportPoint {
	var curve []results.ReportPoint
	for i := range curveSteps + 1 {
		fraction := float64(i) / curveSteps
		curve = append(curve, results.ReportPoint{
			X: math.Atan(b.problem.TanMax*fraction) * 180 / math.Pi, Y: raycheck.Distortion(b.problem, b.train, fraction),
		})
	}
	return curve
}

// margins are the requirements that no column tells of, at the train's places.
func (b *reopened) margins() []results.ReportMargin {
	p, t := b.problem, b.train
	var margins []results.ReportMargin
	add := func(name, unit string, bound results.Bound, asked, reached float64) {
		margins = append(margins, results.ReportMargin{Name: name, Unit: unit, Bound: bound, Asked: asked, Reached: reached})
	}
	if t.Layout == objective.Keplerian || t.Refined {
		add("angular magnification, off by", "", results.AtMost, p.MagnificationTol, math.Abs(math.Abs(t.AngularMagnification)/p.Magnification-1))
	}
	gap := math.Inf(1)
	for i, g := range t.Gaps {
		if i != t.MaskGap() {
			gap = math.Min(gap, g-p.LeastGap(t.Groups[i], t.Groups[i+1])+p.GroupGapMin)
		}
	}
	if !math.IsInf(gap, 1) {
		add("gap between groups, least", "mm", results.AtLeast, p.GroupGapMin, gap)
	}
	lo, hi := p.MaskRoom(t)
	clearance, wide := math.Inf(1), 0.0
	for _, s := range b.stages {
		clearance = math.Min(clearance, math.Min(s.MaskMM-lo, hi-s.MaskMM)+p.Clearance)
		wide = math.Max(wide, 2*math.Abs(p.ChiefAtMask(t, s.MaskMM)))
	}
	add("clearance of the mask", "mm", results.AtLeast, p.Clearance, clearance)
	add("mask width used", "mm", results.AtMost, p.MaskWidth, wide*p.TanHalfWidth)
	add("mask height used", "mm", results.AtMost, p.MaskHeight, wide*p.TanHalfHeight)
	if p.LensesMax > 0 {
		add("lenses_count", "", results.AtMost, float64(p.LensesMax), float64(b.design.LensesCount))
	}
	if p.PartsMax > 0 {
		add("distinct_parts", "", results.AtMost, float64(p.PartsMax), float64(b.design.DistinctParts))
	}
	return margins
}
