package main

import (
	"fmt"
	"math"
	"slices"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/spec"
)

// axesOf are the swept keys as columns.
func axesOf(s *spec.Spec) []results.Axis {
	axes := make([]results.Axis, len(s.Axes))
	for i, a := range s.Axes {
		axes[i] = results.Axis{Key: a.Key, Kind: valueOf(a.Values[0]).Kind()}
	}
	return axes
}

func valueOf(x any) results.Value {
	switch x := x.(type) {
	case float64:
		return results.FloatValue(x)
	case int64:
		return results.IntValue(x)
	case string:
		return results.StringValue(x)
	}
	panic(fmt.Sprintf("a swept value is a %T", x))
}

func valuesOf(point spec.Point) []results.Value {
	values := make([]results.Value, len(point.Values))
	for i, v := range point.Values {
		values[i] = valueOf(v)
	}
	return values
}

// designRow is the row of ranked.parquet for a design found.
func designRow(o *sweep.PointOutcome, rank int, f *sweep.Found) results.Design {
	t, p, m := f.Train, o.Problem, &f.Report.Metrics
	d := p.Describe(t)
	row := results.Design{
		Point: o.Point.Index, Swept: valuesOf(o.Point), Rank: rank, DesignID: f.ID,
		Layout: t.Layout.String(), Seat: t.Seat.String(),
		Exact:    !t.Refined && o.Optimized == nil && (o.Refined == nil || f.Ranked <= o.Proof.ProvenLength),
		Screened: f.Screened, Refined: t.Refined,

		LengthMM: d.Length, LengthToEyeMM: d.LengthToEye, EyeReliefMM: d.EyeRelief,
		ViewpointShiftMM: d.ViewpointShift, AngularMagnification: d.AngularMagnification,

		LensesCount: d.LensesCount, DistinctParts: d.DistinctParts,
		Price: optional(d.Price), MassG: optional(d.MassG), Transmission: m.Transmission,

		FFrontMM: d.FocalFront, FRelayMM: optional(d.FocalRelay), FRearMM: d.FocalRear,
		FieldMaxDeg: d.FieldMaxDeg, FieldAskedDeg: fieldAskedDeg(p),

		TravelMM: f.Report.TravelMM, TravelParaxialMM: d.Travel,
		MaskFarMM:  f.Report.Setpoints[0].MaskMM,
		MaskNearMM: f.Report.Setpoints[len(f.Report.Setpoints)-1].MaskMM,
		DepthStepD: d.DepthStepD, RefocusS: f.Report.TravelMM / p.StageSpeed,
		PixelArcmin: d.PixelArcmin, MaskScaleChangePct: d.MaskScaleChangePct,

		MaskBlurArcmin: m.MaskBlurArcmin, ViewDefocusD: m.ViewDefocusD,
		ViewAstigmatismD: m.ViewAstigmatismD, ViewBlurArcmin: m.ViewBlurArcmin,
		ViewRefocusD: m.ViewRefocusD, AxisVergenceD: m.AxisVergenceD,
		DistortionPct: m.DistortionPct, LateralColourArcmin: m.LateralColourArcmin,
		AxialColourD: m.AxialColourD, VignettedPct: m.VignettedPct,

		Gap1MM: t.Gaps[0],
	}
	if t.Refined {
		row.StartLengthMM, row.Active = optional(f.StartLengthMM), append([]string{}, f.Active...) // no list is null
	}
	switch t.Layout {
	case objective.ErectorSingle:
		row.Gap2MM = optional(t.Gaps[1])
	case objective.ErectorPair:
		row.GapInnerMM, row.Gap2MM = optional(t.Gaps[1]), optional(t.Gaps[2])
	}
	row.Lenses = lensRows(t)
	row.Surfaces = surfaceRows(t)
	for _, s := range f.Report.Samples {
		row.Samples = append(row.Samples, results.Sample{
			FieldFraction: s.FieldFraction, VergenceD: s.VergenceD,
			MaskBlurArcmin: s.MaskBlurArcmin, ViewBlurArcmin: s.ViewBlurArcmin,
			ViewDefocusD: s.ViewDefocusD, ViewAstigmatismD: s.ViewAstigmatismD,
		})
	}
	return row
}

// optional is nil for a number that is not known.
func optional(x float64) *float64 {
	if !catalog.IsSet(x) {
		return nil
	}
	return &x
}

func lensRows(t *objective.Train) []results.Lens {
	var rows []results.Lens
	names := t.Layout.GroupNames()
	for k, g := range t.Groups {
		for i, e := range g.Elements {
			row := results.Lens{
				Group: names[k], Position: i + 1, Part: e.Lens.Part, Vendor: e.Lens.Vendor, Reversed: e.Reversed,
			}
			switch {
			case i < len(g.GapsMM):
				row.GapAfterMM = g.GapsMM[i]
			case k < len(t.Gaps):
				row.GapAfterMM = t.Gaps[k]
			default:
				row.GapAfterMM = t.EyeRelief
			}
			rows = append(rows, row)
		}
	}
	return rows
}

func surfaceRows(t *objective.Train) []results.Surface {
	var rows []results.Surface
	z := 0.0
	lenses := lensRows(t)
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			for s, surface := range e.Surfaces {
				row := results.Surface{
					ZMM: z, RadiusMM: surface.RadiusMM, GlassAfter: "air", SemiDiameterMM: e.Lens.ClearMM / 2,
				}
				if s < len(e.Glasses) {
					row.GlassAfter = e.Glasses[s].Name
					z += e.Thickness[s]
				}
				rows = append(rows, row)
			}
			z += lenses[0].GapAfterMM
			lenses = lenses[1:]
		}
	}
	return rows
}

// setpointRows are the rows of setpoints.parquet for a design found.
func setpointRows(o *sweep.PointOutcome, rank int, f *sweep.Found) []results.Setpoint {
	d := o.Problem.Describe(f.Train)
	rows := make([]results.Setpoint, len(f.Report.Setpoints))
	for i, s := range f.Report.Setpoints {
		rows[i] = results.Setpoint{
			Point: o.Point.Index, Rank: rank, DesignID: f.ID,
			DepthM: 1 / s.VergenceD, VergenceD: s.VergenceD,
			MaskMM: s.MaskMM, MaskParaxialMM: s.MaskParaxialMM,
			StageMM:        s.MaskMM - f.Report.Setpoints[0].MaskMM,
			MaskBlurArcmin: s.MaskBlurArcmin, ViewBlurArcmin: s.ViewBlurArcmin,
			PixelArcmin: d.Setpoints[i].PixelArcmin,
		}
	}
	return rows
}

// manifestPoint is a sweep point's entry in run.json.
func manifestPoint(o *sweep.PointOutcome, axes []results.Axis) results.ManifestPoint {
	proof := &o.Proof
	point := results.ManifestPoint{
		Point: o.Point.Index, Space: proof.Space.String(), SetAside: proof.SetAside,
		Examined: proof.Examined, Checked: proof.Checked, Passed: proof.Passed,
		Failed: proof.Failed, SlackMM: objective.BoundSlack, Exact: proof.Exact, Ended: proof.Exact,
		WholeSpace: math.IsInf(proof.ProvenLength, 1), Seconds: proof.Seconds,
		Asked: askedOf(o.Problem),
	}
	for i, v := range valuesOf(o.Point) {
		point.Values = append(point.Values, results.SweptValue{Key: axes[i].Key, Value: v})
	}
	if r := o.Refined; r != nil {
		point.Refined = &results.RefinedCounts{Candidates: r.Candidates, Passed: r.Passed}
		point.Exact = proof.Exact && !slices.ContainsFunc(o.Found, func(f sweep.Found) bool { return f.Train.Refined })
		if o.Optimized == nil && !math.IsInf(o.ScreenedMM, 0) {
			point.ScreenedMM = &o.ScreenedMM
		}
	}
	if a := o.Audit; a != nil {
		point.Audit = &results.Audit{Drawn: a.Drawn, Passed: a.Passed, MissedShareUpper95: a.MissedShareUpper95}
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
	point.IdealLimit = idealLimit(o)
	if !math.IsInf(proof.ProvenLength, 0) {
		point.ProvenLengthMM = &proof.ProvenLength
	}
	return point
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
		if len(o.Found) > 0 && ideal.BoundMM > 0 {
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

// askedOf are the requirements and limits that a column can be held against,
// in the order in which they are tested.
func askedOf(p *objective.Problem) []results.Asked {
	var asked []results.Asked
	add := func(column string, bound results.Bound, value float64) {
		if !math.IsInf(value, 0) {
			asked = append(asked, results.Asked{Column: column, Bound: bound, Value: value})
		}
	}
	add("length_mm", results.AtMost, p.LengthMax)
	add("eye_relief_mm", results.AtLeast, p.ReliefMin)
	add("eye_relief_mm", results.AtMost, p.ReliefMax)
	if math.IsInf(p.Limits.Limit("vignetted_pct"), 1) { // otherwise some of the pupil may be lost
		add("field_max_deg", results.AtLeast, fieldAskedDeg(p))
	}
	add("travel_mm", results.AtMost, p.Travel)
	for _, name := range []string{"pixel_arcmin", "depth_step_D", "viewpoint_shift_mm"} {
		add(name, results.AtMost, p.Limits.Limit(name))
	}
	for _, m := range raycheck.MetricList {
		add(m.Name, results.AtMost, p.Limits.Limit(m.Name))
	}
	if p.Limits.TransmissionMin > 0 {
		add("transmission", results.AtLeast, p.Limits.TransmissionMin)
	}
	return asked
}
