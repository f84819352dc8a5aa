package results

import (
	"math"
)

// marginPageTable holds a design against everything that was asked of it, and
// shows how much of each bound is used. Of a train that the spec gives that is all
// that was judged.
func marginPageTable(l *ReportDesign, asked []Asked, given *Given) pageTable {
	t := pageTable{Caption: "Margins", Class: "margins"}
	t.Heads = heads("<asked of", "<unit", "reached", "asked", "margin", "<share of the bound in use")
	add := func(name, unit string, reached pageCell, value float64, bound Bound, limit float64) {
		if unit == unitPrice {
			unit = ""
		}
		sign, margin := "≤ ", limit-math.Abs(value)
		if bound == AtLeast {
			sign, margin = "≥ ", value-limit
		}
		decimals := decimalsOf(name)
		t.Rows = append(t.Rows, pageRow{Cells: []pageCell{
			said(name), words(unit), reached, plain(sign + Fixed(limit, decimals)), plain(Fixed(margin, decimals)),
			drawn(shareBar(usedShare(value, bound, limit))),
		}})
	}
	if given != nil {
		for i := range given.Judged {
			j := &given.Judged[i]
			value, name := math.NaN(), j.Name
			if j.Value != nil {
				value = *j.Value
			}
			if j.Of != "" {
				name += ", " + j.Of
			}
			if j.Fails {
				name = "FAILS: " + name
			}
			add(name, j.Unit, plain(Fixed(value, judgedDecimals)), value, j.Bound, j.Asked)
		}
		return t
	}
	for _, a := range asked {
		value, _, unit, ok := a.Margin(l.Design)
		if !ok {
			value = math.NaN()
		}
		add(a.Column, unit, columnCell(l.Design, a.Column), value, a.Bound, a.Value)
	}
	for _, m := range l.Margins {
		add(m.Name, m.Unit, plain(Fixed(m.Reached, decimalsOf(m.Name))), m.Reached, m.Bound, m.Asked)
	}
	return t
}

// judgedDecimals is how many decimals a judgement is shown with.
const judgedDecimals = 3

// usedShare is how much of a bound is used: 1 stands at the bound, more is
// beyond it.
func usedShare(value float64, bound Bound, limit float64) float64 {
	part, whole := math.Abs(value), limit
	if bound == AtLeast {
		part, whole = limit, value
	}
	switch {
	case part <= 0:
		return 0
	case whole <= 0:
		return math.Inf(1)
	}
	return part / whole
}

// shareBar draws a used share, the bound as an upright line.
func shareBar(share float64) string {
	const (
		wide, high = 150.0, 12.0
		bound      = 120.0 // where the bound stands
	)
	if math.IsNaN(share) {
		return Null
	}
	s := &svgDrawing{decimals: 1}
	class := "bar"
	// A paraxial solution may stand at its bound, but for rounding.
	if share > 1+1e-9 {
		class = "bar beyond"
	}
	s.element("rect", "bar-room", "x", 0.0, "y", 2.0, "width", bound, "height", high-4)
	s.element("rect", class, "x", 0.0, "y", 2.0, "width", math.Min(share*bound, wide), "height", high-4)
	s.line("bar-bound", xy{bound, 0}, xy{bound, high})
	// The number says the same in words, so that the bar is an ornament.
	return `<span class="bar-cell"><svg xmlns="http://www.w3.org/2000/svg" class="share" aria-hidden="true" viewBox="0 0 150 12" width="150" height="12">` +
		s.b.String() + `</svg> ` + percent(share) + `</span>`
}

func percent(share float64) string {
	if share > 9.99 {
		return "over 999 %"
	}
	return Fixed(100*share, 0) + " %"
}
