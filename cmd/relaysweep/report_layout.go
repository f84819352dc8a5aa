package main

import (
	"math"
	"slices"

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
	eye := t.Length + t.EyeRelief
	d := results.ReportDrawing{
		Lenses:     b.outlines(),
		MaskHalfMM: p.MaskHeight / 2, MaskGlassMM: p.MaskGlass,
		EyeMM: eye, ViewpointMM: eye - b.design.ViewpointShiftMM,
		PupilMM: p.Pupil, BoxMM: p.Box, CombinerMM: p.CombinerMM,
		WavelengthNM: p.WavelengthsNM[p.Reference()], PupilEdgeMM: p.PupilEdge(),
	}
	for k, gap := range t.MaskGaps() {
		before := 0.0 // the last vertex before the mask
		for g := range gap + 1 {
			before += t.Groups[g].ThicknessMM
			if g < gap {
				before += t.Gaps[g]
			}
		}
		stage := b.stages[k]
		d.Masks = append(d.Masks, results.DrawnMask{
			Words: b.design.MaskWords(b.design.Masks()[k]), FarMM: before + stage[0].MaskMM, NearMM: before + stage[len(stage)-1].MaskMM,
		})
	}
	vergence, masks := b.standing(0)
	for k, field := range raycheck.FieldFractions {
		for _, r := range b.traceSample(field, vergence, masks) {
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

// standing is depth i of the stage tables, as an apparent vergence in 1/mm, and where the masks
// stand for it.
func (b *reopened) standing(i int) (vergence float64, masksMM []float64) {
	for _, stage := range b.stages {
		masksMM = append(masksMM, stage[i].MaskMM)
	}
	return b.stages[0][i].VergenceD / 1000, masksMM
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
			face := func(s int, vertex, from, to float64) []results.ReportPoint {
				if e.Surfaces[s].IsFaceted() {
					inward := 1.0
					if s > 0 {
						inward = -1
					}
					return teeth(e.Surfaces[s], vertex, inward, half/drawnTeeth, from, to)
				}
				return arc(e.Surfaces[s], vertex, from, to)
			}
			lens := results.ReportLens{Group: names[k], Part: e.Lens.Part, HalfMM: half, FirstMM: z}
			vertices := []float64{z}
			for _, thickness := range e.Thickness {
				z += thickness
				vertices = append(vertices, z)
			}
			lens.EndMM = z
			for s := range e.Glasses {
				outline := face(s, vertices[s], -half, half)
				back := face(s+1, vertices[s+1], half, -half)
				lens.Glasses = append(lens.Glasses, append(outline, back...))
			}
			for _, s := range []int{0, len(e.Surfaces) - 1} {
				lens.Rims = append(lens.Rims, face(s, vertices[s], clear, half), face(s, vertices[s], -half, -clear))
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

// drawnTeeth is how many teeth stand for the facets of half a Fresnel surface, and toothDepth how
// deep the steepest is drawn, in widths of a tooth: the real ones are too fine to be seen.
const (
	drawnTeeth = 16
	toothDepth = 0.6
)

// teeth is a surface with facets in section from one height to another: as many teeth as can be
// seen, cut from the plane at the vertex into the glass, which is on the side that inward tells.
func teeth(s catalog.Surface, vertex, inward, width, from, to float64) []results.ReportPoint {
	n := max(1, int(math.Round(math.Abs(to-from)/width)))
	var points []results.ReportPoint
	for i := range n {
		a, b := from+(to-from)*float64(i)/float64(n), from+(to-from)*float64(i+1)/float64(n)
		inner, outer := math.Min(math.Abs(a), math.Abs(b)), math.Max(math.Abs(a), math.Abs(b))
		// Away from the axis the facet goes into the glass, or comes out of it.
		slope := inward * s.SagSlope((inner+outer)/2)
		deep := inward * width * math.Min(math.Abs(slope), toothDepth)
		for _, h := range []float64{a, b} {
			x := vertex
			if (math.Abs(h) == outer) == (slope > 0) {
				x += deep
			}
			points = append(points, results.ReportPoint{X: x, Y: h})
		}
	}
	return points
}

// masks are those of the design, each with the exact and the paraxial setpoint over the depth
// range.
func (b *reopened) masks() []results.ReportMask {
	p, t := b.problem, b.train
	var all []results.ReportMask
	for k, seat := range b.design.Masks() {
		m := results.ReportMask{Seat: seat, Words: b.design.MaskWords(seat), After: -1}
		for _, g := range t.Groups[:t.MaskGaps()[k]+1] {
			m.After += len(g.Elements)
		}
		all = append(all, m)
	}
	for i := range curveSteps + 1 {
		v := 1000 * (p.VergenceFar + (p.VergenceNear-p.VergenceFar)*float64(i)/curveSteps)
		for k, s := range b.setpointsAt(v) {
			all[k].Stage = append(all[k].Stage, results.ReportStage{VergenceD: v, MaskMM: s.MaskMM, ParaxialMM: s.MaskParaxialMM})
		}
	}
	return all
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

// withoutColumn are the requirements of which no column tells how far a train is from them.
var withoutColumn = []objective.Requirement{objective.Magnification, objective.GapRoom, objective.Clearance, objective.MaskSize, objective.Parts}

// margins are the train's to the requirements that no column tells of.
func (b *reopened) margins() []results.ReportMargin {
	var margins []results.ReportMargin
	_, judged := raycheck.Judge(b.problem, b.train)
	for i := range judged {
		j := &judged[i]
		asked := slices.ContainsFunc(withoutColumn, func(r objective.Requirement) bool { return r.String() == j.Name })
		if j.Name == objective.Magnification.String() && (b.design.Refined || b.train.Layout != objective.Keplerian && !b.train.Refined) {
			asked = false // a column tells of it, or the gaps are solved for it
		}
		if !asked {
			continue
		}
		m := results.ReportMargin{Name: j.Name, Unit: j.Unit, Bound: boundOf(j), Asked: j.Asked, Reached: j.Reached}
		if j.Of != "" {
			m.Name += ", " + j.Of
		}
		margins = append(margins, m)
	}
	return margins
}

// boundOf is the side on which a requirement bounds what is judged.
func boundOf(j *raycheck.Judgement) results.Bound {
	if j.AtLeast {
		return results.AtLeast
	}
	return results.AtMost
}
