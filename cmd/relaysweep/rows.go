package main

import (
	"fmt"

	"relaysweep/catalog"
	"relaysweep/objective"
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

// jobRows are the rows of a job's outcomes.
type jobRows struct {
	axes      []results.Axis
	manifest  *results.Manifest
	designs   []results.Design
	setpoints []results.Setpoint
}

// rowsFrom makes the rows of what a job has brought. The manifest's times and
// whether it is complete are left to the caller.
func rowsFrom(job *sweep.Job, outcomes []sweep.PointOutcome, by sweep.Origin) *jobRows {
	rows := &jobRows{axes: axesOf(job.Spec), manifest: &results.Manifest{
		Program: "relaysweep", Version: by.Version, Build: by.Build, SpecSHA256: job.Spec.SHA256,
		Catalogs: catalogFiles(job), GlassTables: glassFiles(job),
	}}
	for i := range outcomes {
		o := &outcomes[i]
		for rank := range o.Found {
			rows.designs = append(rows.designs, designRow(o, rank+1, &o.Found[rank]))
			rows.setpoints = append(rows.setpoints, setpointRows(o, rank+1, &o.Found[rank])...)
		}
		rows.manifest.Points = append(rows.manifest.Points, manifestPoint(o, rows.axes))
	}
	rows.manifest.Owned = ownedFile(job, rows.designs)
	return rows
}

// designRow is the row of ranked.parquet for a design found.
func designRow(o *sweep.PointOutcome, rank int, f *sweep.Found) results.Design {
	t, p, m := f.Train, o.Problem, &f.Report.Metrics
	d := p.Describe(t)
	row := results.Design{
		Point: o.Point.Index, Swept: valuesOf(o.Point), Rank: rank, DesignID: f.ID,
		Layout: t.Layout.String(), Seat: t.Seat.String(),
		Exact:    !t.Refined && o.Given == nil && o.Optimized == nil && (o.Refined == nil || f.Ranked <= o.Proof.ProvenLength),
		Screened: f.Screened, Refined: t.Refined && !asGiven(o),

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
		BlurMismatchPct: optional(m.BlurMismatchPct), GhostArcmin: m.GhostArcmin, GhostPct: optional(m.GhostPct),
		GrooveBlurArcmin: optional(m.GrooveBlurArcmin), GrooveVisibleArcmin: optional(m.GrooveVisibleArcmin),

		Gap1MM: t.Gaps[0],
	}
	if o.Given != nil {
		row.Fails = o.Given.Fails()
	}
	if row.Refined {
		row.StartLengthMM, row.Active = optional(f.StartLengthMM), append([]string{}, f.Active...) // no list is null
	}
	switch t.Layout {
	case objective.ErectorSingle:
		row.Gap2MM = optional(t.Gaps[1])
	case objective.ErectorPair:
		row.GapInnerMM, row.Gap2MM = optional(t.Gaps[1]), optional(t.Gaps[2])
	}
	if second := d.Second; second != nil {
		at, of := &f.Report.Second, &m.Second
		refocus := at.TravelMM / p.StageSpeed
		row.FrontTravelMM, row.FrontTravelParaxialMM = optional(at.TravelMM), optional(second.Travel)
		row.FrontMaskFarMM, row.FrontMaskNearMM = optional(at.Setpoints[0].MaskMM), optional(at.Setpoints[len(at.Setpoints)-1].MaskMM)
		row.FrontDepthStepD, row.FrontRefocusS = optional(second.DepthStepD), optional(refocus)
		row.FrontPixelArcmin, row.FrontMaskScaleChangePct = optional(second.PixelArcmin), optional(second.MaskScaleChangePct)
		row.FrontMaskBlurArcmin, row.FrontBlurMismatchPct = optional(of.MaskBlurArcmin), optional(of.BlurMismatchPct)
		row.FrontGhostArcmin, row.FrontGhostPct = optional(of.GhostArcmin), optional(of.GhostPct)
	}
	row.Lenses = lensRows(t)
	row.Surfaces = surfaceRows(t)
	for _, s := range f.Report.Samples {
		row.Samples = append(row.Samples, results.Sample{
			FieldFraction: s.FieldFraction, VergenceD: s.VergenceD,
			MaskBlurArcmin: s.MaskBlurArcmin, ViewBlurArcmin: s.ViewBlurArcmin,
			ViewDefocusD: s.ViewDefocusD, ViewAstigmatismD: s.ViewAstigmatismD,
			FrontMaskBlurArcmin: optional(s.SecondBlurArcmin),
		})
	}
	return row
}

// asGiven reports whether the outcome is a train at the gaps of the spec: these are
// not the paraxial ones, and nothing has refined them.
func asGiven(o *sweep.PointOutcome) bool { return o.Given != nil && o.Given.At == spec.AtGaps }

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
				if surface.IsFaceted() {
					row.PitchMM = &surface.PitchMM
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

// setpointRows are the rows of setpoints.parquet for a design found: of each depth one for
// each mask.
func setpointRows(o *sweep.PointOutcome, rank int, f *sweep.Found) []results.Setpoint {
	d := o.Problem.Describe(f.Train)
	paraxial := []*objective.MaskDescription{&d.MaskDescription, d.Second}
	var rows []results.Setpoint
	for i := range f.Report.Setpoints {
		for k, seat := range f.Train.Seat.Masks() {
			all := f.Report.Mask(k).Setpoints
			s := &all[i]
			rows = append(rows, results.Setpoint{
				Point: o.Point.Index, Rank: rank, DesignID: f.ID,
				DepthM: 1 / s.VergenceD, VergenceD: s.VergenceD,
				MaskMM: s.MaskMM, MaskParaxialMM: s.MaskParaxialMM,
				StageMM:        s.MaskMM - all[0].MaskMM,
				MaskBlurArcmin: s.MaskBlurArcmin, ViewBlurArcmin: s.ViewBlurArcmin,
				PixelArcmin: paraxial[k].Setpoints[i].PixelArcmin, Seat: seat.String(),
			})
		}
	}
	return rows
}
