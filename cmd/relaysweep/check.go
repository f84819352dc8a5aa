package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"math/big"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/results"
	"relaysweep/sweep"
	"relaysweep/sweep/spec"
)

func newCheckCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check SPEC",
		Short: "say what would be searched, without searching",
		Args:  oneArgument("the spec"),
		RunE: func(cmd *cobra.Command, args []string) error {
			job, err := openJob(cmd, args[0])
			if err != nil {
				return err
			}
			previews, err := job.Preview(cmd.Context())
			if err != nil {
				return err
			}
			if err := printPreviews(cmd.OutOrStdout(), job, previews); err != nil {
				return err
			}
			// As a run would end, which needs one point with a design.
			if !slices.ContainsFunc(previews, func(v sweep.Preview) bool { return !v.Impossible() }) {
				return errNothing
			}
			return nil
		},
	}
}

func printPreviews(w io.Writer, job *sweep.Job, previews []sweep.Preview) error {
	fmt.Fprintf(w, "job %s, %s to %s\n", job.Spec.Job.Name, counted(len(previews), "sweep point"), job.Spec.OutputDir())
	for _, t := range job.Catalog.Tables {
		fmt.Fprintf(w, "  %s: %s\n", t.File, counted(t.Lenses, "lens"))
	}
	if t := job.Catalog.Drawer; t != nil {
		fmt.Fprintf(w, "  %s: %s in the drawer\n", t.File, counted(t.Lenses, "part"))
	}
	for i := range previews {
		v := &previews[i]
		fmt.Fprintln(w)
		if len(job.Spec.Axes) > 0 {
			var values []string
			for k, a := range job.Spec.Axes {
				values = append(values, fmt.Sprintf("%s = %v", a.Key, v.Point.Values[k]))
			}
			fmt.Fprintf(w, "point %d: %s\n", v.Point.Index, strings.Join(values, ", "))
		}
		if err := printPreview(w, v); err != nil {
			return err
		}
	}
	return nil
}

func printPreview(w io.Writer, v *sweep.Preview) error {
	if v.Given != "" {
		_, err := fmt.Fprintf(w, "one train to measure, no search: %s\n%s\n", catalog.Visible(v.Given), gapsToMeasure[v.Point.Spec.GivenAt()])
		return err
	}
	kinds := slices.SortedFunc(maps.Keys(v.ByKind), func(a, b string) int {
		return cmp.Or(v.ByKind[b]-v.ByKind[a], strings.Compare(a, b))
	})
	var parts []string
	for _, k := range kinds {
		parts = append(parts, fmt.Sprintf("%d %s", v.ByKind[k], cmp.Or(k, "of no kind")))
	}
	about := ""
	if len(parts) > 0 {
		about = " (" + strings.Join(parts, ", ") + ")"
	}
	fmt.Fprintf(w, "%s in use%s, %d with both ways round, %s of up to %s\n",
		counted(v.Lenses, "lens"), about, v.Elements,
		large(v.Groups)+" groups", counted(v.Point.Spec.Train.LensesPerGroup, "lens"))
	t := results.Table{Columns: []results.Column{
		{Name: "layout", Align: results.Left}, {Name: "seat", Align: results.Left}, {Name: "designs"},
	}, Terminal: isTerminal(w)}
	total := new(big.Int)
	for _, s := range v.Spaces {
		t.Add(s.Layout.String(), s.Seat.String(), large(s.Designs))
		total.Add(total, s.Designs)
	}
	t.Add("all", "", large(total))
	if err := t.Print(w); err != nil {
		return err
	}
	if v.Lenses == 0 {
		fmt.Fprintln(w, "conflict: no lens is in use: the keys of [catalog] leave all of them out")
	}
	for _, s := range v.Serving {
		seat := s.Seat.String() + " seat"
		if s.Seat == objective.SeatBoth {
			seat = "a mask at both seats"
		}
		fmt.Fprintf(w, "groups that can serve as %s (%s): %d\n", s.Slot, seat, s.Groups)
		if s.Groups == 0 {
			fmt.Fprintf(w, "conflict: no group can serve as %s (%s)\n", s.Slot, seat)
		}
	}
	if v.ApertureMissing() && v.Lenses > 0 {
		fmt.Fprintf(w, "conflict: field and pupil need a clear diameter of %.2f mm at the lens next to the eye; the largest in use is %.2f mm\n",
			v.Problem.LastAperture(), v.LargestClearMM)
	}
	if limit := v.Problem.LimitOn(objective.ViewpointShiftMM); v.ViewpointMissing() && !math.IsInf(v.LeastViewpointMM, 1) {
		fmt.Fprintf(w, "conflict: viewpoint_shift_mm: whatever train these groups make, the eye is more than %.2f mm behind its viewpoint; the limit is %.2f mm\n",
			math.Floor(v.LeastViewpointMM*100)/100, limit)
	}
	for _, c := range v.Conflicts {
		fmt.Fprintf(w, "conflict: %s: %s\n", c.Names, c.Why)
	}
	if v.Impossible() {
		fmt.Fprintln(w, "nothing can pass: a run would end with code 3")
	}
	return nil
}

// gapsToMeasure says at which gaps a train is to be measured that the spec gives.
var gapsToMeasure = map[spec.GivenAt]string{
	spec.AtParaxial: "at its paraxial gaps",
	spec.AtGaps:     "at the gaps given",
	spec.AtRefined:  "at gaps refined by exact rays",
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if what == "lens" {
		return fmt.Sprintf("%d lenses", n)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// large prints a count exactly up to seven digits and by its power of ten
// beyond.
func large(n *big.Int) string {
	if len(n.String()) <= 7 {
		return n.String()
	}
	return new(big.Float).SetInt(n).Text('g', 3)
}
