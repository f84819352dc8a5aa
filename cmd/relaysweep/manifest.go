package main

import (
	"math"
	"slices"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/spec"
)

func catalogFiles(job *sweep.Job) []results.CatalogFile {
	var files []results.CatalogFile
	for _, t := range job.Catalog.Tables {
		files = append(files, results.CatalogFile{File: t.File, SHA256: t.SHA256, Lenses: t.Lenses})
	}
	return files
}

func glassFiles(job *sweep.Job) []results.GlassFile {
	var files []results.GlassFile
	for _, t := range job.Catalog.GlassTables {
		files = append(files, results.GlassFile{File: t.File, SHA256: t.SHA256, Glasses: t.Glasses})
	}
	return files
}

// ownedFile is the table of what is there already, with the pieces of the parts in some
// designs; nil for none.
func ownedFile(job *sweep.Job, designs []results.Design) *results.OwnedFile {
	t := job.Catalog.Drawer
	if t == nil {
		return nil
	}
	o := &results.OwnedFile{File: t.File, SHA256: t.SHA256, Pieces: map[string]int{}}
	used := map[string]bool{}
	for i := range designs {
		for _, l := range designs[i].Lenses {
			used[l.Part] = true
		}
	}
	for _, l := range job.Catalog.Lenses {
		if used[l.Part] && l.Owned > 0 {
			o.Pieces[l.Part] = l.Owned
		}
	}
	return o
}

// manifestPoint is a sweep point's entry in run.json.
func manifestPoint(o *sweep.PointOutcome, axes []results.Axis) results.ManifestPoint {
	proof := &o.Proof
	point := results.ManifestPoint{
		Point: o.Point.Index, Space: proof.Space.String(), SetAside: proof.SetAside,
		Examined: proof.Examined, Checked: proof.Checked, Passed: proof.Passed,
		Failed: proof.Failed, SlackMM: objective.BoundSlack, Exact: proof.Exact, Ended: proof.Exact,
		WholeSpace: math.IsInf(proof.ProvenLength, 1), Seconds: proof.Seconds,
		Asked: askedOf(o.Problem, o.Point.Spec.Mask.Seat == spec.SeatBoth),
	}
	if o.Problem.Refining() {
		point.AskedRefined = askedOfRefined(o.Problem)
	}
	for i, v := range valuesOf(o.Point) {
		point.Values = append(point.Values, results.SweptValue{Key: axes[i].Key, Value: v})
	}
	if r := o.Refined; r != nil {
		point.Refined = &results.RefinedCounts{Candidates: r.Candidates, Passed: r.Passed}
		// What third-order sums turned away is not proven.
		point.Exact = proof.Exact && proof.ProvenLength >= o.ScreenedMM && !slices.ContainsFunc(o.Found, func(f sweep.Found) bool { return f.Train.Refined })
		if o.Optimized == nil && !math.IsInf(o.ScreenedMM, 0) {
			point.ScreenedMM = &o.ScreenedMM
		}
	}
	if a := o.Audit; a != nil {
		point.Audit = &results.Audit{Drawn: a.Drawn, Passed: a.Passed, MissedShareUpper95: a.MissedShareUpper95}
		if third := a.ThirdOrder; third.Drawn > 0 {
			point.Audit.ThirdOrder = &results.AuditOfThirdOrder{Drawn: third.Drawn, Passed: third.Passed, MissedShareUpper95: third.MissedShareUpper95}
		}
		for i := range o.Found {
			if f := &o.Found[i]; !f.Screened && f.Ranked <= o.ScreenedMM {
				point.Audit.Listed++
			}
		}
	}
	if b := o.Best; b != nil {
		point.Found = &results.BestFound{ShortestMM: b.ShortestMM, By: b.By}
	}
	if fits := proof.WouldFit; fits != nil {
		point.WouldFit, point.WouldFitLengthMM, point.WouldFitOpen, point.Binds = fits.Value, fits.Length, fits.Open, fits.Binds
	}
	if x := o.Optimized; x != nil {
		point.Optimized = optimizedPoint(x)
	}
	point.Given = givenPoint(o.Given)
	point.IdealLimit = idealLimit(o)
	if !math.IsInf(proof.ProvenLength, 0) {
		point.ProvenLengthMM = &proof.ProvenLength
	}
	return point
}

// givenPoint is what run.json tells of a train that was measured in place of a search.
func givenPoint(g *sweep.Given) *results.Given {
	if g == nil {
		return nil
	}
	given := &results.Given{Gaps: string(g.At), Unrefined: g.Unrefined, TurnedAway: g.TurnedAway, Screen: g.Screen}
	for _, j := range g.Judged {
		judged := results.Judged{Name: j.Name, Of: j.Of, Unit: j.Unit, Bound: boundOf(&j), Asked: j.Asked, Fails: j.Fails}
		if !math.IsInf(j.Reached, 0) {
			judged.Value = optional(j.Reached)
		}
		given.Judged = append(given.Judged, judged)
	}
	return given
}

// optimizedPoint is what run.json tells of a population search.
func optimizedPoint(x *sweep.Optimized) *results.Optimized {
	known := func(mm float64) *float64 {
		if math.IsInf(mm, 0) {
			return nil
		}
		return &mm
	}
	o := &results.Optimized{
		BestMM: known(x.BestMM), LowerBoundMM: known(x.LowerBoundMM), GapMM: known(x.BestMM - x.LowerBoundMM),
		Evaluations: x.Evaluations,
	}
	for _, step := range x.History {
		o.History = append(o.History, results.Improvement{Evaluations: step.Evaluations, BestMM: step.BestMM})
	}
	if n := x.Nearest; n != nil {
		o.Nearest = &results.NearestMiss{DesignID: n.ID, Failed: n.Failed, RankedMM: n.RankedMM, Exceeds: map[string]*float64{}}
		for name, value := range n.Exceeds {
			o.Nearest.Exceeds[name] = &value
		}
	}
	return o
}

// idealLimit is a sweep point's ideal limit in run.json.
func idealLimit(o *sweep.PointOutcome) results.IdealLimit {
	ideal := o.Ideal
	if ideal == nil {
		return results.IdealLimit{}
	}
	limit := results.IdealLimit{ApertureRatio: &ideal.ApertureRatio, Settled: ideal.Settled}
	for _, r := range ideal.Without {
		limit.Without = append(limit.Without, r.String())
	}
	if !math.IsInf(ideal.BoundMM, 1) {
		limit.LengthMM = &ideal.BoundMM
		if len(o.Found) > 0 && (o.Given == nil || o.Proof.Passed > 0) && ideal.BoundMM > 0 {
			limit.StockMorePct = optional(100 * (o.Found[0].Ranked/ideal.BoundMM - 1))
		}
	}
	t := ideal.Train
	if t == nil {
		return limit
	}
	limit.ReachedMM = &ideal.ReachedMM
	last := len(t.Groups) - 1
	limit.Train = &results.IdealTrain{
		Layout: t.Layout.String(), Seat: t.Seat.String(), Gap1MM: t.Gaps[0], EyeReliefMM: t.EyeRelief,
		FFrontMM: t.Groups[0].FocalMM, FRearMM: t.Groups[last].FocalMM,
	}
	switch t.Layout {
	case objective.ErectorSingle:
		limit.Train.FRelayMM, limit.Train.Gap2MM = optional(t.Groups[1].FocalMM), optional(t.Gaps[1])
	case objective.ErectorPair:
		limit.Train.FRelayMM, limit.Train.FRelay2MM = finite(t.Groups[1].FocalMM), finite(t.Groups[2].FocalMM)
		limit.Train.GapInnerMM, limit.Train.Gap2MM = optional(t.Gaps[1]), optional(t.Gaps[2])
	}
	return limit
}

// finite is nil for the focal length of a group without power.
func finite(x float64) *float64 {
	if math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// fieldAskedDeg is the full angle of the field asked for, across the diagonal.
func fieldAskedDeg(p *objective.Problem) float64 { return 2 * math.Atan(p.TanMax) * 180 / math.Pi }

// askedOfRefined are those besides of refined trains, whose gaps are not solved for an afocal train
// of the magnification that was asked for.
func askedOfRefined(p *objective.Problem) []results.Asked {
	const column = "angular_magnification"
	asked := []results.Asked{
		{Column: column, Bound: results.AtLeast, Value: p.Magnification * (1 - p.MagnificationTol)},
		{Column: column, Bound: results.AtMost, Value: p.Magnification * (1 + p.MagnificationTol)},
	}
	if math.IsInf(p.Limits.Limit(objective.AxisVergenceD), 1) {
		asked = append(asked, results.Asked{Column: objective.AxisVergenceD, Bound: results.AtMost, Value: p.AxisLimitD()})
	}
	return asked
}

// askedOf are the requirements and limits that a column can be held against,
// in the order in which they are tested: those on a mask also for the second where there are two.
func askedOf(p *objective.Problem, twoMasks bool) []results.Asked {
	var asked []results.Asked
	add := func(column string, bound results.Bound, value float64) {
		if math.IsInf(value, 0) {
			return
		}
		asked = append(asked, results.Asked{Column: column, Bound: bound, Value: value})
		if second, ok := results.SecondColumn(column); ok && twoMasks {
			asked = append(asked, results.Asked{Column: second, Bound: bound, Value: value})
		}
	}
	add("length_mm", results.AtMost, p.LengthMax)
	add("eye_relief_mm", results.AtLeast, p.ReliefMin)
	add("eye_relief_mm", results.AtMost, p.ReliefMax)
	if math.IsInf(p.Limits.Limit(objective.VignettedPct), 1) { // otherwise some of the pupil may be lost
		add("field_max_deg", results.AtLeast, fieldAskedDeg(p))
	}
	add("travel_mm", results.AtMost, p.Travel)
	for _, r := range []objective.Requirement{objective.PixelArcmin, objective.DepthStepD, objective.ViewpointShiftMM} {
		add(r.String(), results.AtMost, p.LimitOn(r))
	}
	for _, m := range raycheck.MetricList {
		add(m.Name, results.AtMost, p.Limits.Limit(m.Name))
	}
	if p.Limits.TransmissionMin > 0 {
		add("transmission", results.AtLeast, p.Limits.TransmissionMin)
	}
	return asked
}
