package results

import "math"

// AberrationSymbols are Seidel's sums S_I to S_V and those of colour C_I and C_II, by the symbols
// of W. T. Welford, Aberrations of Optical Systems, 1986, sections 8.2 and 10.2.
var AberrationSymbols = [...]string{"S_I", "S_II", "S_III", "S_IV", "S_V", "C_I", "C_II"}

// ReportAberration is what a lens, a plate or the whole train has of the third-order sums.
type ReportAberration struct {
	Group, Part string
	Arcmin      [len(AberrationSymbols)]float64 // angles at the eye; NaN where there is no such sum
}

// aberrationTable lists what lenses add to the third-order sums, and all of it, with a bar at each
// value: negative ones to the left, the longest of a column as long as there is room.
func aberrationTable(l *ReportDesign) pageTable {
	t := pageTable{Caption: "Third-order aberrations of the view by lens, as angles at the eye", Class: "aberrations"}
	t.Heads = heads("<group", "<lens")
	for _, symbol := range AberrationSymbols {
		t.Heads = append(t.Heads, heads("<"+symbol+", arcmin")...)
	}
	var most [len(AberrationSymbols)]float64
	for i := range l.Aberrations {
		for k, x := range l.Aberrations[i].Arcmin {
			if !math.IsNaN(x) {
				most[k] = math.Max(most[k], math.Abs(x))
			}
		}
	}
	for i := range l.Aberrations {
		a := &l.Aberrations[i]
		row := pageRow{Cells: []pageCell{words(a.Group).head(), words(a.Part)}}
		for k, x := range a.Arcmin {
			if math.IsNaN(x) {
				row.Cells = append(row.Cells, plain(Null)) // a lens with facets
				continue
			}
			row.Cells = append(row.Cells, drawn(signedBar(x, most[k])))
		}
		t.Rows = append(t.Rows, row)
	}
	t.stacks()
	return t
}

// signedBar draws a value from the middle, of the largest magnitude in its column.
func signedBar(value, most float64) string {
	const middle, high = 30.0, 12.0
	long := 0.0
	if most > 0 {
		long = middle * math.Abs(value) / most
	}
	s := &svgDrawing{decimals: 1}
	from := middle
	if value < 0 {
		from -= long
	}
	s.element("rect", "bar", "x", from, "y", 2.0, "width", long, "height", high-4)
	s.line("bar-bound", xy{middle, 0}, xy{middle, high})
	// The number says the same, so that the bar is an ornament.
	return `<span class="bar-cell">` + Fixed(value, 2) + ` <svg xmlns="http://www.w3.org/2000/svg" aria-hidden="true" viewBox="0 0 60 12" width="60" height="12">` +
		s.b.String() + `</svg></span>`
}
