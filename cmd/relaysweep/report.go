package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/objective"
	"relaysweep/results"
)

// reportFile is the page that report writes into an output folder.
const reportFile = "report.html"

func newReportCommand() *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report OUTPUT",
		Short: "write a page to order and build from: drawings, parts, places, stage table, margins",
		Long: `report writes report.html into the output folder of a run: one file that needs
no network, to read at the bench and to print. It begins with the best train,
tells what was asked and found, and the leading designs whole: drawn to scale
with traced rays, parts to order, where each lens stands, the stage table,
margins, blur over field and depth, and a drawing in full size.

--drawing also writes the best train as a picture of its own, in SVG. It takes
the place of an older picture of that kind, and of no other file.`,
		Args: oneArgument("the output folder of a run"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.anyPoint = !cmd.Flags().Changed("point")
			return writeReport(cmd, args[0], o)
		},
	}
	cmd.Flags().IntVar(&o.designs, "designs", 5, "how many of the leading designs to tell whole")
	cmd.Flags().IntVar(&o.point, "point", 0, "sweep point of these designs; without it the best of each, then the second of each, …")
	cmd.Flags().IntVar(&o.eyes, "eyes", 1, "how many eyes to order parts for: 1 or 2")
	cmd.Flags().StringVar(&o.drawing, "drawing", "", "also write the best train as a picture to this file (.svg)")
	return cmd
}

type reportOptions struct {
	designs, point, eyes int
	anyPoint             bool
	drawing              string // empty for none
}

// designsMost bounds the designs that one page tells whole: beyond it, it is
// too large to read or print.
const designsMost = 100

func writeReport(cmd *cobra.Command, folder string, o reportOptions) error {
	switch {
	case o.designs < 1 || o.designs > designsMost:
		return usageError{fmt.Errorf("--designs is %d; it takes 1 to %d", o.designs, designsMost)}
	case o.eyes != 1 && o.eyes != 2:
		return usageError{fmt.Errorf("--eyes is %d; it takes 1 or 2", o.eyes)}
	case o.drawing != "" && filepath.Ext(o.drawing) != ".svg":
		return usageError{fmt.Errorf("--drawing is %q; it takes the name of a file that ends in .svg", o.drawing)}
	}
	if o.drawing != "" {
		if err := results.MayDraw(o.drawing); err != nil {
			return err
		}
	}
	ctx := cmd.Context()
	run, err := untilInterrupted(ctx, func() (*finishedRun, error) { return openRun(folder) })
	if err != nil {
		return err
	}
	if !o.anyPoint {
		if err := run.knowsPoint(o.point); err != nil {
			return err
		}
	}
	spec := run.job.Spec
	report := &results.Report{
		Job: spec.Job.Name, Manifest: run.manifest, Axes: run.axes, Designs: run.designs, Setpoints: run.setpoints,
		PointsAsked: len(run.job.Points), Asked: specWords(run.job), RankedBy: spec.Search.RankBy, Eyes: o.eyes, Cautions: cautionSentences(),
	}
	if report.Yields, err = run.yields(cmd.ErrOrStderr()); err != nil {
		return err
	}
	for i, d := range run.leading(o) {
		b, err := untilInterrupted(ctx, func() (*reopened, error) { return run.reopen(d) })
		if err != nil {
			return err
		}
		if w := b.warning(run.manifest.Version); w != "" {
			report.Warnings = append(report.Warnings, w)
			fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", w)
		}
		told := reportDesign(b)
		if i == 0 {
			if told.Looks, told.LookNote, err = b.looks(); err != nil {
				return err
			}
		}
		measured, err := b.measuredStages(folder, cmd.ErrOrStderr())
		if err != nil {
			return err
		}
		for k := range told.Masks {
			told.Masks[k].Measured = measured[k]
		}
		report.Leading = append(report.Leading, told)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	path := filepath.Join(folder, reportFile)
	if err := keepForeign(path, results.IsReport, cmd.ErrOrStderr()); err != nil {
		return err
	}
	if err := results.WriteReport(path, report); err != nil {
		return err
	}
	told := counted(len(report.Leading), "design")
	switch {
	case len(run.designs) > 0:
	case run.manifest.Complete:
		told = "what binds; no design meets the requirements"
	default:
		told = "nothing that meets the requirements was found by then"
	}
	if !run.manifest.Complete {
		told += "; the run is unfinished"
	}
	out := cmd.OutOrStdout()
	if _, err = fmt.Fprintf(out, "written to %s: %s\n", path, told); err != nil || o.drawing == "" {
		return err
	}
	if err := results.WriteDrawing(o.drawing, report); err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "written to %s: the best train\n", o.drawing)
	return err
}

// leading are the designs to tell whole: of one sweep point by rank, or of all
// the best of each point, then the second of each, and so on.
func (r *finishedRun) leading(o reportOptions) []*results.Design {
	var all []*results.Design
	for i := range r.designs {
		if d := &r.designs[i]; o.anyPoint || d.Point == o.point {
			all = append(all, d)
		}
	}
	slices.SortStableFunc(all, func(a, b *results.Design) int { return a.Rank - b.Rank })
	return all[:min(o.designs, len(all))]
}

// cautionSentences are the cautions without their heading, on one line.
func cautionSentences() string {
	_, text, _ := strings.Cut(cautions, "\n")
	return strings.Join(strings.Fields(text), " ")
}

// reportDesign is everything that the page tells of one design.
func reportDesign(b *reopened) results.ReportDesign {
	p, t := b.problem, b.train
	l := results.ReportDesign{
		Design: b.design, Setpoints: b.rows, Order: orderOf(t), Margins: b.margins(),
		Drawing: b.drawing(), Masks: b.masks(), Distortion: b.distortionCurve(),
		Aberrations:  b.aberrations(),
		HalfFieldTan: p.TanMax, FieldFraction: p.Limits.FieldFraction,
	}
	for k, g := range t.Groups {
		for i, e := range g.Elements {
			centre := 0.0
			for _, thickness := range e.Thickness {
				centre += thickness
			}
			l.CentreMM = append(l.CentreMM, centre)
			switch {
			case i < len(g.GapsMM):
				l.EdgeGapMM = append(l.EdgeGapMM, objective.EdgeGapMM(e, g.Elements[i+1], g.GapsMM[i]))
			case k < len(t.Gaps):
				l.EdgeGapMM = append(l.EdgeGapMM, objective.EdgeGapMM(e, t.Groups[k+1].Elements[0], t.Gaps[k]))
			}
		}
	}
	return l
}

// orderOf is each part once, in the order in which they stand.
func orderOf(t *objective.Train) []results.ReportPart {
	var parts []results.ReportPart
	at := map[string]int{}
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			lens := e.Lens
			i, seen := at[lens.Part]
			if !seen {
				i = len(parts)
				at[lens.Part] = i
				part := results.ReportPart{Part: lens.Part, Vendor: lens.Vendor, Price: optional(lens.Price), Owned: lens.Owned}
				if lens.Stock >= 0 {
					part.Stock = &lens.Stock
				}
				parts = append(parts, part)
			}
			parts[i].Pieces++
		}
	}
	return parts
}
