package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/results"
)

func newShowCommand() *cobra.Command {
	var point, rank int
	var rays, aberrations bool
	var format string
	cmd := &cobra.Command{
		Use:   "show OUTPUT",
		Short: "print the ranked table, or one design: what to buy and where it stands",
		Long: `show prints the ranked table and the proof, or with --rank one design whole: what
to buy, where each lens stands, the stage table, and each number beside what was
asked of it.

For other programs, --format csv prints the columns of ranked.parquet that are no
lists of structs, or with --rank the lenses of one design; --format json prints
all columns, with each design's stage table under setpoints. In CSV null is an
empty cell, and a text that begins as a formula does (=, +, -, @) gets an
apostrophe in front, as a spreadsheet would run it. In both infinity is inf.`,
		Args: oneArgument("the output folder of a run"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := knownFormat(format); err != nil {
				return err
			}
			if format != formatText && (rays || aberrations) {
				return usageError{errors.New("--rays and --aberrations print text only, without --format")}
			}
			switch {
			case rays && aberrations:
				return usageError{errors.New("--rays or --aberrations, not both")}
			case rays:
				return showRays(cmd, args[0], point, rank)
			case aberrations:
				return showAberrations(cmd, args[0], point, rank)
			}
			return show(cmd, args[0], selection{
				point: point, anyPoint: !cmd.Flags().Changed("point"),
				rank: rank, anyRank: !cmd.Flags().Changed("rank"),
				format: format,
			})
		},
	}
	cmd.Flags().IntVar(&point, "point", 0, "sweep point, from 0")
	cmd.Flags().IntVar(&rank, "rank", 1, "rank of the design to print whole, from 1")
	cmd.Flags().StringVar(&format, "format", formatText, "text, or csv or json for other programs")
	cmd.Flags().BoolVar(&rays, "rays", false, "print instead heights and angles of its chief and edge rays at every surface")
	cmd.Flags().BoolVar(&aberrations, "aberrations", false, "print instead what each lens adds to its third-order sums, as angles at the eye and as bars")
	return cmd
}

// selection is which designs of a run to show. A single design is of point 0
// unless a point is named.
type selection struct {
	point, rank       int
	anyPoint, anyRank bool
	format            string
}

// The formats of what show and compare print.
const (
	formatText = "text"
	formatCSV  = "csv"
	formatJSON = "json"
)

func knownFormat(format string) error {
	switch format {
	case formatText, formatCSV, formatJSON:
		return nil
	}
	return usageError{fmt.Errorf("--format takes text, csv or json; found %q", format)}
}

// has reports whether a design is one of those selected.
func (s *selection) has(d *results.Design) bool {
	return (s.anyPoint && s.anyRank || d.Point == s.point) && (s.anyRank || d.Rank == s.rank)
}

func show(cmd *cobra.Command, folder string, want selection) error {
	ctx, w := cmd.Context(), cmd.OutOrStdout()
	run, err := untilInterrupted(ctx, func() (*finishedRun, error) { return openResults(folder) })
	if err != nil {
		return err
	}
	manifest, designs, axes := run.manifest, run.designs, run.axes
	if !want.anyPoint && (want.point < 0 || want.point >= len(manifest.Points)) {
		return noPoint(want.point, len(manifest.Points))
	}
	if want.format != formatText {
		return showRecords(cmd, run, want)
	}
	if !manifest.Complete {
		fmt.Fprintf(w, "%s\n\n", unfinished)
	}
	if want.anyRank {
		return showTable(w, manifest, designs, axes, want)
	}
	for i := range designs {
		d := &designs[i]
		if d.Point != want.point || d.Rank != want.rank {
			continue
		}
		doubt, err := untilInterrupted(ctx, func() (string, error) { return run.doubt(d), nil })
		if err != nil {
			return err
		}
		if doubt != "" {
			fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", doubt)
		}
		return showDesign(w, manifest, d, run.setpointsOf(d))
	}
	return noRank(want.point, want.rank, designsAt(designs, want.point))
}

// unfinished says that results are those of an interrupted run.
const unfinished = "unfinished: the run was interrupted, the same command goes on; this is what it had found by then"

// showRecords prints designs for other programs.
func showRecords(cmd *cobra.Command, run *finishedRun, want selection) error {
	if !run.manifest.Complete {
		fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", unfinished)
	}
	var shown []results.Design
	for i := range run.designs {
		if want.has(&run.designs[i]) {
			shown = append(shown, run.designs[i])
		}
	}
	if len(shown) == 0 && !want.anyRank {
		return noRank(want.point, want.rank, designsAt(run.designs, want.point))
	}
	w := cmd.OutOrStdout()
	switch {
	case want.format == formatJSON:
		return results.WriteRankedJSON(w, run.axes, shown, run.setpoints)
	case want.anyRank:
		return results.WriteRankedCSV(w, run.axes, shown)
	}
	return results.WriteLensesCSV(w, &shown[0])
}

func showTable(w io.Writer, m *results.Manifest, designs []results.Design, axes []results.Axis, want selection) error {
	var shown []results.Design
	for _, d := range designs {
		if want.anyPoint || d.Point == want.point {
			shown = append(shown, d)
		}
	}
	if len(shown) > 0 {
		if err := results.PrintRanked(w, shown, axes, isTerminal(w)); err != nil {
			return err
		}
		fmt.Fprintln(w)
	}
	for i := range m.Points {
		if want.anyPoint || i == want.point {
			if err := results.PrintProof(w, &m.Points[i], designsAt(designs, m.Points[i].Point)); err != nil {
				return err
			}
		}
	}
	_, err := fmt.Fprint(w, "\n", cautionLine)
	return err
}

// showDesign prints one design whole.
func showDesign(w io.Writer, m *results.Manifest, d *results.Design, setpoints []results.Setpoint) error {
	point := &m.Points[d.Point]
	fmt.Fprintf(w, "rank %d: %s\n", d.Rank, catalog.Visible(d.DesignID))
	for _, v := range point.Values {
		fmt.Fprintf(w, "  %s = %s\n", v.Key, v.Value)
	}
	fmt.Fprintf(w, "length %.2f mm, to the eye %.2f mm, eye relief %.2f mm, %s\n",
		d.LengthMM, d.LengthToEyeMM, d.EyeReliefMM, counted(d.LensesCount, "lens"))
	if d.StartLengthMM != nil {
		fmt.Fprintf(w, "refined by exact rays from %.2f mm; just met: %s\n", *d.StartLengthMM, cmp.Or(strings.Join(d.Active, ", "), "nothing"))
	}
	if g := point.Given; g != nil {
		fmt.Fprintf(w, "given by the spec, measured %s\n%s", g.GapsWords(), g.Verdict())
		if len(d.Fails) > 0 {
			fmt.Fprintf(w, ": %s", strings.Join(d.Fails, ", "))
		}
		fmt.Fprintf(w, "\n%s\n", g.SearchWords())
	}
	if note := d.FieldNote(); note != "" {
		fmt.Fprintf(w, "field: %s\n", note)
	}
	if note := d.GrooveNote(point.Asked); note != "" {
		fmt.Fprintf(w, "grooves: %s\n", note)
	}
	if line := point.IdealLimit.Line(); line != "" {
		fmt.Fprintln(w, line)
	}
	type titled struct {
		title string
		table *results.Table
	}
	var judged []titled
	if point.Given != nil {
		judged = []titled{{"Every requirement and limit", point.Given.Table()}}
	}
	parts := append(judged, []titled{
		{"To order", orderTable(d, m.Owned)},
		{"Lenses from the world to the eye", lensTable(d)},
		{"Surfaces from the world to the eye", surfaceTable(d)},
	}...)
	for _, seat := range d.Masks() {
		words := d.MaskWords(seat)
		parts = append(parts, titled{strings.ToUpper(words[:1]) + words[1:] + ": " + maskPlace(d, seat), results.StageTable(ofMask(setpoints, seat))})
	}
	for _, part := range append(parts, titled{"Asked and reached", marginTable(point, d)}) {
		part.table.Terminal = isTerminal(w)
		fmt.Fprintf(w, "\n%s\n", part.title)
		if err := part.table.Print(w); err != nil {
			return err
		}
	}
	_, err := fmt.Fprint(w, "\n", cautionLine)
	return err
}

// orderTable is what to buy: each part once, in the order in which they stand, with
// what is there already where the run was told of it.
func orderTable(d *results.Design, owned *results.OwnedFile) *results.Table {
	t := &results.Table{Columns: []results.Column{{Name: "pieces"}}}
	if owned != nil {
		t.Columns = append(t.Columns, results.Column{Name: "there"}, results.Column{Name: "to buy"})
	}
	t.Columns = append(t.Columns, results.Column{Name: "part", Align: results.Left}, results.Column{Name: "vendor", Align: results.Left})
	pieces := map[string]int{}
	for _, l := range d.Lenses {
		pieces[l.Part]++
	}
	for _, l := range d.Lenses {
		n := pieces[l.Part]
		if n == 0 {
			continue
		}
		row := []string{strconv.Itoa(n)}
		if owned != nil {
			buy := owned.ToBuy(l.Part, n)
			row = append(row, strconv.Itoa(n-buy), strconv.Itoa(buy))
		}
		t.Add(append(row, l.Part, l.Vendor)...)
		pieces[l.Part] = 0
	}
	return t
}

// lensTable is where each lens stands and which way round.
func lensTable(d *results.Design) *results.Table {
	t := &results.Table{Columns: []results.Column{
		{Name: "group", Align: results.Left}, {Name: "part", Align: results.Left}, {Name: "turned", Align: results.Left},
		{Name: "first vertex", Unit: "mm"}, {Name: "gap after", Unit: "mm"}, {Name: "to", Align: results.Left},
	}}
	surface := 0
	for i, l := range d.Lenses {
		to := "eye"
		if i+1 < len(d.Lenses) {
			to = "next lens"
			if d.Lenses[i+1].Group != l.Group {
				to = d.Lenses[i+1].Group
			}
		}
		turned := ""
		if l.Reversed {
			turned = "reversed"
		}
		t.Add(l.Group, l.Part, turned, results.Fixed(d.Surfaces[surface].ZMM, 3), results.Fixed(l.GapAfterMM, 3), to)
		for surface++; surface < len(d.Surfaces) && d.Surfaces[surface-1].GlassAfter != "air"; surface++ {
		}
	}
	return t
}

// surfaceTable is the prescription. Where there are Fresnel surfaces it tells which, as their radii
// are those of no spheres.
func surfaceTable(d *results.Design) *results.Table {
	t := &results.Table{Columns: []results.Column{
		{Name: "surface"}, {Name: "vertex at", Unit: "mm"}, {Name: "radius", Unit: "mm"},
		{Name: "clear half", Unit: "mm"}, {Name: "glass after", Align: results.Left},
	}}
	facets := d.HasFacets()
	if facets {
		t.Columns = append(t.Columns, results.Column{Name: "facets", Unit: "mm"})
	}
	for i, s := range d.Surfaces {
		row := []string{strconv.Itoa(i + 1), results.Fixed(s.ZMM, 3), results.Fixed(s.RadiusMM, 3),
			results.Fixed(s.SemiDiameterMM, 2), s.GlassAfter}
		if facets {
			row = append(row, s.FacetWords())
		}
		t.Add(row...)
	}
	return t
}

// maskPlace tells between which groups the mask at an image stands.
func maskPlace(d *results.Design, seat string) string {
	before, after := "front", "relay"
	switch {
	case d.Layout == "keplerian":
		after = "rear"
	case seat == "rear" && d.Layout == "erector-pair":
		before, after = "relay2", "rear"
	case seat == "rear":
		before, after = "relay", "rear"
	}
	return fmt.Sprintf("between %s and %s, from the last vertex of the %s to its layer", before, after, before)
}

// marginTable holds the design against what was asked.
func marginTable(point *results.ManifestPoint, d *results.Design) *results.Table {
	t := &results.Table{Columns: []results.Column{
		{Name: "number", Align: results.Left}, {Name: "unit", Align: results.Left}, {Name: "reached"},
		{Name: "asked"}, {Name: "margin"},
	}}
	for _, name := range results.DesignFacts() {
		value, unit, ok := d.Number(name)
		reached := results.Null
		if ok {
			reached = results.Fixed(value, 3)
		}
		asked := false
		for _, a := range point.Asked {
			if a.Column != name {
				continue
			}
			asked = true
			sign, margin := "<=", results.Null
			if a.Bound == results.AtLeast {
				sign = ">="
			}
			if _, m, _, ok := a.Margin(d); ok {
				margin = results.Fixed(m, 3)
			}
			t.Add(name, unit, reached, sign+" "+results.Fixed(a.Value, 3), margin)
		}
		if !asked && d.TellsOf(name) {
			t.Add(name, unit, reached, "", "")
		}
	}
	return t
}
