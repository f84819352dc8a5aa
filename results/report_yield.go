package results

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
)

// sensitivitiesShown is how many errors the page lists of a design.
const sensitivitiesShown = 10

const (
	// comfortableHeightArcmin is by how much the views of two eyes may differ in height
	// (H. C. Self, AAMRL-TR-86-019, 1986, from memory; published values differ).
	comfortableHeightArcmin = 3.4
	// depthOfFocusD is the depth of focus of an eye, either way, at a pupil of 3 mm (F. W.
	// Campbell, thesis, Glasgow 1959, abstract).
	depthOfFocusD = 0.3
)

// pageYield is what builds of a design tell.
type pageYield struct {
	Words, Eyes   string
	Figures       pageTable
	Contributions pageTable
	Sensitivities pageTable
}

// yieldOf is the yield of a design, nil where it was not built.
func (r *Report) yieldOf(d *Design) *Yield {
	for i := range r.Yields {
		if y := &r.Yields[i]; y.Point == d.Point && y.Rank == d.Rank && y.DesignID == d.DesignID {
			return y
		}
	}
	return nil
}

// yieldTable is the table of all designs that were built.
func yieldTable(r *Report) pageTable {
	t := pageTable{Caption: "Share of builds that meet every limit"}
	if len(r.Axes) > 0 {
		t.Heads = heads("point")
	}
	t.Heads = append(t.Heads, heads("rank", "builds", "yield, %", "from, %", "to, %", "before compensators, %", "<most builds fail", "<tighten first", "of the variance, %")...)
	for i := range r.Yields {
		y := &r.Yields[i]
		var row pageRow
		if len(r.Axes) > 0 {
			row.Cells = append(row.Cells, plain(strconv.Itoa(y.Point)))
		}
		for _, name := range []string{"rank", "builds", "yield_pct", "yield_lo_pct", "yield_hi_pct", "uncompensated_pct"} {
			row.Cells = append(row.Cells, plain(named(yieldColumns, name).text(y)))
		}
		fails, tighten, share := words(Null), words(Null), plain(Null)
		if f := y.Worst(); f != nil {
			if n := y.failed(f.Figure); n > 0 {
				fails = words(fmt.Sprintf("%s (%d)", sayFigure(f.Figure), n))
			}
			if c := y.Tighten(f.Figure); c != nil {
				tighten, share = words(c.Tolerance), plain(shareText(c.Total))
			}
		}
		row.Cells = append(row.Cells, fails, tighten, share)
		t.Rows = append(t.Rows, row)
	}
	t.stacks()
	return t
}

// sayFigure is a figure in words: those of the column of its name, if there is one.
func sayFigure(name string) string {
	if named(designColumns, name) == nil {
		return sayKey(name)
	}
	return sayName(name)
}

// newPageYield is what the page tells of the builds of a design.
func newPageYield(y *Yield, eyes int) *pageYield {
	p := &pageYield{Words: fmt.Sprintf(
		"Of %d builds drawn within the tolerances of the spec %s %% meet every limit (95 %% interval %s to %s %%); before the compensators %s %% do.",
		y.Builds, Fixed(y.YieldPct, 1), Fixed(y.YieldLoPct, 1), Fixed(y.YieldHiPct, 1), Fixed(y.UncompensatedPct, 1))}
	if eyes == 2 {
		p.Eyes = fmt.Sprintf("Two of them side by side, as built: in 95 %% of pairs the views of the two eyes stand up to %s arcmin apart in height, "+
			"where %s arcmin is comfortable, and up to %s D apart in vergence, where an eye's depth of focus is ±%s D. "+
			"Heights are put right by a mount of one eye that tilts, vergences by its last gap.",
			Fixed(y.EyesHeightArcmin, 1), sayNumber(comfortableHeightArcmin), Fixed(y.EyesVergenceD, 2), sayNumber(depthOfFocusD))
	}
	p.Figures = pageTable{Caption: "Builds against limits, by magnitude"}
	p.Figures.Heads = heads("<figure", "<unit", "limit", "design", "median", "90 % below", "95 % below", "95 % below before compensators")
	for i := range y.Figures {
		f := &y.Figures[i]
		limit := Null
		if f.Limit != nil {
			limit = sayNumber(*f.Limit)
		}
		cells := []pageCell{rowHead(sayFigure(f.Figure)), words(f.Unit), plain(limit)}
		for _, x := range []float64{f.Nominal, f.P50, f.P90, f.P95, f.UncompensatedP95} {
			cells = append(cells, plain(Fixed(x, decimalsOf(f.Figure))))
		}
		p.Figures.Rows = append(p.Figures.Rows, pageRow{Cells: cells})
	}
	worst := y.Worst()
	if worst == nil {
		return p
	}
	var parts []*YieldContribution
	for i := range y.Contributions {
		if c := &y.Contributions[i]; c.Figure == worst.Figure {
			parts = append(parts, c)
		}
	}
	slices.SortStableFunc(parts, func(a, b *YieldContribution) int { return cmp.Compare(b.Total, a.Total) })
	p.Contributions = pageTable{Caption: "What to tighten first: parts in the variance of " + sayFigure(worst.Figure)}
	p.Contributions.Heads = heads("<tolerance", "alone, %", "±, %", "in all, %", "±, %")
	for _, c := range parts {
		p.Contributions.Rows = append(p.Contributions.Rows, pageRow{Cells: []pageCell{
			rowHead(c.Tolerance), plain(shareText(c.First)), plain(shareText(c.FirstError)), plain(shareText(c.Total)), plain(shareText(c.TotalError)),
		}})
	}
	var alone []*YieldSensitivity
	for i := range y.Sensitivities {
		if s := &y.Sensitivities[i]; s.Figure == worst.Figure {
			alone = append(alone, s)
		}
	}
	slices.SortStableFunc(alone, func(a, b *YieldSensitivity) int { return cmp.Compare(b.Change, a.Change) })
	p.Sensitivities = pageTable{Caption: fmt.Sprintf("One error alone at its tolerance: what it adds to %s, %s", sayFigure(worst.Figure), worst.Unit)}
	p.Sensitivities.Heads = heads("<part", "<tolerance", "adds")
	for _, s := range alone[:min(sensitivitiesShown, len(alone))] {
		p.Sensitivities.Rows = append(p.Sensitivities.Rows, pageRow{Cells: []pageCell{
			rowHead(s.Part), words(s.Tolerance), plain(Fixed(s.Change, decimalsOf(worst.Figure))),
		}})
	}
	return p
}

// measuredTable is the stage table of a mask, one of two or the only one, by what was measured of it.
func measuredTable(of ReportMask, two bool) pageTable {
	rows, caption := of.Measured, "The stage as it was measured"
	if two {
		caption += ", " + of.Words
	}
	t := pageTable{Caption: caption, Heads: heads("<eye", "depth, m", "vergence, D", "stage, mm", "by design, mm")}
	for i := range rows {
		cells := []pageCell{words(rows[i].Eye)}
		for _, c := range []struct {
			name     string
			decimals int
		}{{"depth_m", 3}, {"vergence_D", 3}, {"stage_mm", 3}, {"predicted_mm", 3}} {
			x, _ := named(stageRowColumns, c.name).value(&rows[i])
			cells = append(cells, plain(Fixed(x, c.decimals)))
		}
		t.Rows = append(t.Rows, pageRow{Cells: cells})
	}
	return t
}
