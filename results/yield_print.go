package results

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
)

// Worst is the limit that most builds fail, the first on ties; where none fails, the limit
// that the 95th percentile comes nearest to. It is nil where no figure has a limit.
func (y *Yield) Worst() *YieldFigure {
	name, most := "", 0
	for _, f := range y.Failed {
		if f.Builds > most {
			name, most = f.Limit, f.Builds
		}
	}
	var worst *YieldFigure
	for i := range y.Figures {
		f := &y.Figures[i]
		switch {
		case f.Limit == nil:
		case name != "":
			if f.Figure == name {
				return f
			}
		case worst == nil || f.P95 / *f.Limit > worst.P95 / *worst.Limit:
			worst = f
		}
	}
	return worst
}

// Tighten is the contribution with the largest part in the variance of a figure, nil where
// none is known.
func (y *Yield) Tighten(figure string) *YieldContribution {
	var most *YieldContribution
	for i := range y.Contributions {
		if c := &y.Contributions[i]; c.Figure == figure && (most == nil || c.Total > most.Total) {
			most = c
		}
	}
	return most
}

// shareText is a share of a variance in per cent: estimates below 0 and above 1 by chance
// are shown as these.
func shareText(share float64) string { return Fixed(100*math.Min(math.Max(share, 0), 1), 0) }

// PrintYields prints a table of yields, with sweep points where sweep tells. terminal says
// that w is one (see [Table]).
func PrintYields(w io.Writer, rows []Yield, sweep, terminal bool) error {
	t := Table{Terminal: terminal}
	if sweep {
		t.Columns = append(t.Columns, Column{Name: "point"})
	}
	t.Columns = append(t.Columns, Column{Name: "rank"}, Column{Name: "builds"}, Column{Name: "yield", Unit: "%"}, Column{Name: "from", Unit: "%"},
		Column{Name: "to", Unit: "%"}, Column{Name: "unadjusted", Unit: "%"}, Column{Name: "most fail", Align: Left}, Column{Name: "builds"},
		Column{Name: "tighten first", Align: Left}, Column{Name: "of variance", Unit: "%"}, Column{Name: "design", Align: Left})
	for i := range rows {
		y := &rows[i]
		var cells []string
		if sweep {
			cells = append(cells, strconv.Itoa(y.Point))
		}
		for _, name := range []string{"rank", "builds", "yield_pct", "yield_lo_pct", "yield_hi_pct", "uncompensated_pct"} {
			cells = append(cells, named(yieldColumns, name).text(y))
		}
		fails, count, tighten, share := Null, Null, Null, Null
		if f := y.Worst(); f != nil {
			if len(y.Failed) > 0 {
				fails = f.Figure
				count = strconv.Itoa(y.failed(f.Figure))
			}
			if c := y.Tighten(f.Figure); c != nil {
				tighten, share = c.Tolerance, shareText(c.Total)
			}
		}
		t.Add(append(cells, fails, count, tighten, share, y.DesignID)...)
	}
	if err := t.Print(w); err != nil {
		return err
	}
	if slices.ContainsFunc(rows, func(y Yield) bool { return y.Worst() == nil }) {
		if _, err := fmt.Fprintln(w, "where no limit of the spec is on anything that builds change, every build meets it"); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(w, "yield: share of builds that meet every limit, with its 95 % interval; unadjusted: before the compensators.\n"+
		"tighten first: the tolerance with the largest part in the variance of what most builds fail, or come nearest to")
	return err
}

// failed is how many builds fail a limit first.
func (y *Yield) failed(limit string) int {
	for _, f := range y.Failed {
		if f.Limit == limit {
			return f.Builds
		}
	}
	return 0
}
