package results

import (
	"fmt"
	"io"
	"slices"
	"strconv"
)

// PrintRanked prints a compact table of ranked designs: what a builder
// compares first. The swept keys, and the sweep point, are shown when there
// are any. terminal says that w is one (see [Table]).
func PrintRanked(w io.Writer, designs []Design, sweep []Axis, terminal bool) error {
	t := Table{Terminal: terminal}
	if len(sweep) > 0 {
		t.Columns = append(t.Columns, Column{Name: "point"})
	}
	for _, axis := range sweep {
		c := Column{Name: axis.Key}
		switch axis.Kind {
		case KindFloat, KindInt:
			if u := unitOf(axis); u != unitOne {
				c.Unit = u
			}
		default:
			c.Align = Left
		}
		t.Columns = append(t.Columns, c)
	}
	t.Columns = append(t.Columns,
		Column{Name: "rank"},
		Column{Name: "length", Unit: "mm"},
		Column{Name: "to eye", Unit: "mm"},
		Column{Name: "eye relief", Unit: "mm"},
		Column{Name: "lenses"},
		Column{Name: "price"},
		Column{Name: "field", Unit: "deg"},
		Column{Name: "travel", Unit: "mm"},
		Column{Name: "mask blur", Unit: "arcmin"},
		Column{Name: "view blur", Unit: "arcmin"},
		Column{Name: "vignetted", Unit: "%"},
		Column{Name: "design", Align: Left},
	)
	for i := range designs {
		d := &designs[i]
		var row []string
		if len(sweep) > 0 {
			row = append(row, strconv.Itoa(d.Point))
		}
		for _, v := range d.Swept {
			row = append(row, v.String())
		}
		field := Fixed(d.FieldMaxDeg, 2)
		if d.fieldShort() {
			field += "*"
		}
		t.Add(append(row,
			strconv.Itoa(d.Rank),
			Fixed(d.LengthMM, 2),
			Fixed(d.LengthToEyeMM, 2),
			Fixed(d.EyeReliefMM, 2),
			strconv.Itoa(d.LensesCount),
			FixedOrNull(d.Price, 2),
			field,
			Fixed(d.TravelMM, 2),
			Fixed(d.MaskBlurArcmin, 2),
			Fixed(d.ViewBlurArcmin, 2),
			Fixed(d.VignettedPct, 1),
			d.DesignID,
		)...)
	}
	if err := t.Print(w); err != nil {
		return err
	}
	if slices.ContainsFunc(designs, func(d Design) bool { return d.fieldShort() }) {
		_, err := fmt.Fprintln(w, "field*: the whole pupil is lit up to there, which is less than was asked; beyond, up to the share under vignetted is lost")
		return err
	}
	return nil
}
