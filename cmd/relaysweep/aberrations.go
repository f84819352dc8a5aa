package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"relaysweep/objective/thirdorder"
	"relaysweep/results"
)

// showAberrations prints what each lens of one design adds to its third-order sums.
func showAberrations(cmd *cobra.Command, folder string, point, rank int) error {
	b, err := reopenRank(cmd, folder, point, rank)
	if err != nil {
		return err
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "rank %d: %s\n", b.design.Rank, b.design.DesignID)
	if err := printAberrations(w, b); err != nil {
		return err
	}
	_, err = fmt.Fprint(w, "\n", cautionLine)
	return err
}

// aberration is one of the sums.
type aberration struct {
	symbol, name string
	of           func(*thirdorder.Sums) float64
}

var aberrations = [len(results.AberrationSymbols)]aberration{
	{results.AberrationSymbols[0], "spherical aberration, the ray from the pupil's edge", func(s *thirdorder.Sums) float64 { return s.SI }},
	{results.AberrationSymbols[1], "sagittal coma, a third of the tangential one", func(s *thirdorder.Sums) float64 { return s.SII }},
	{results.AberrationSymbols[2], "astigmatism, half of what parts the two lines", func(s *thirdorder.Sums) float64 { return s.SIII }},
	{results.AberrationSymbols[3], "Petzval curvature", func(s *thirdorder.Sums) float64 { return s.SIV }},
	{results.AberrationSymbols[4], "distortion", func(s *thirdorder.Sums) float64 { return s.SV }},
	{results.AberrationSymbols[5], "axial colour, the ray from the pupil's edge", func(s *thirdorder.Sums) float64 { return s.CI }},
	{results.AberrationSymbols[6], "lateral colour", func(s *thirdorder.Sums) float64 { return s.CII }},
}

// aberrationRow is a lens or a plate with its sums as angles at the eye in arcmin.
type aberrationRow struct {
	group, part string
	sums        thirdorder.Sums
}

// aberrationRows are the rows of a design from the world to the eye, and its total.
func aberrationRows(b *reopened) (rows []aberrationRow, total thirdorder.Sums) {
	radius := b.problem.Pupil / 2
	each, sum := thirdorder.Contributions(b.problem, b.train)
	for i := range each {
		c := &each[i]
		part := "plate"
		if c.Element != nil {
			part = c.Element.ID
		}
		rows = append(rows, aberrationRow{c.Group, part, c.Sums.AtEye(radius)})
	}
	return rows, sum.AtEye(radius)
}

// aberrations are the same for a report, the total last.
func (b *reopened) aberrations() []results.ReportAberration {
	rows, total := aberrationRows(b)
	rows = append(rows, aberrationRow{group: "all", sums: total})
	all := make([]results.ReportAberration, len(rows))
	for i := range rows {
		all[i].Group, all[i].Part = rows[i].group, rows[i].part
		for k, a := range aberrations {
			all[i].Arcmin[k] = a.of(&rows[i].sums)
		}
	}
	return all
}

func printAberrations(w io.Writer, b *reopened) error {
	rows, total := aberrationRows(b)
	fmt.Fprintf(w, "Third-order sums by lens, as angles at the eye in arcmin: rays from the edge of the pupil in its\n"+
		"middle place, the largest half angle of the field, far depth. Symbols and signs of W. T. Welford,\n"+
		"Aberrations of Optical Systems, 1986. Lenses of opposite sign make up for each other.\n\n")
	t := &results.Table{Columns: []results.Column{{Name: "group", Align: results.Left}, {Name: "part", Align: results.Left}}, Terminal: isTerminal(w)}
	for _, a := range aberrations {
		t.Columns = append(t.Columns, results.Column{Name: a.symbol, Unit: "arcmin"})
	}
	add := func(group, part string, s *thirdorder.Sums) {
		row := []string{group, part}
		for _, a := range aberrations {
			row = append(row, results.Fixed(a.of(s), 2))
		}
		t.Add(row...)
	}
	for i := range rows {
		add(rows[i].group, rows[i].part, &rows[i].sums)
	}
	add("all", "", &total)
	if err := t.Print(w); err != nil {
		return err
	}
	if b.train.HasFacets() {
		fmt.Fprint(w, "\nA lens with a Fresnel surface has no such sums but those of colour, as its rays are normal to no wave.\n")
	}
	for _, a := range aberrations {
		if err := printBars(w, a, rows, &total, t.Terminal); err != nil {
			return err
		}
	}
	return nil
}

// barHalf is how many characters the longest bar of a chart has.
const barHalf = 24

// printBars prints one sum of all lenses as bars, negative ones to the left.
func printBars(w io.Writer, a aberration, rows []aberrationRow, total *thirdorder.Sums, terminal bool) error {
	most := 0.0
	longest := func(s *thirdorder.Sums) {
		if x := math.Abs(a.of(s)); !math.IsNaN(x) {
			most = max(most, x)
		}
	}
	longest(total)
	for i := range rows {
		longest(&rows[i].sums)
	}
	fmt.Fprintf(w, "\n%s, %s\n", a.symbol, a.name)
	t := &results.Table{Columns: []results.Column{
		{Name: "group", Align: results.Left}, {Name: "part", Align: results.Left}, {Name: a.symbol}, {Name: "-"}, {Name: "+", Align: results.Left},
	}, Terminal: terminal}
	add := func(group, part string, value float64) {
		n := 0
		if most > 0 && !math.IsNaN(value) {
			n = int(math.Round(barHalf * math.Abs(value) / most))
		}
		bar := strings.Repeat("#", n)
		left, right := "", bar
		if value < 0 {
			left, right = bar, ""
		}
		t.Add(group, part, results.Fixed(value, 2), left, right)
	}
	for i := range rows {
		add(rows[i].group, rows[i].part, a.of(&rows[i].sums))
	}
	add("all", "", a.of(total))
	return t.Print(w)
}
