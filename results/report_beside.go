package results

import (
	"html/template"
	"slices"
	"strconv"
)

// besideTable holds the leading designs side by side, a row a number, those that differ
// marked by a star. It is for the screen: on paper each design has its own page.
func besideTable(r *Report) pageTable {
	t := pageTable{ID: "beside", Caption: "Leading designs side by side; * marks what differs", Class: "beside"}
	t.Heads = heads("<number", "<unit")
	sweep := len(r.Axes) > 0
	for i := range r.Leading {
		d := r.Leading[i].Design
		name := "rank " + strconv.Itoa(d.Rank)
		if sweep {
			name = "point " + strconv.Itoa(d.Point) + ", " + name
		}
		t.Heads = append(t.Heads, pageHead{Words: name, Name: breakable(name)})
	}
	add := func(head template.HTML, unit string, cell func(d *Design) pageCell) {
		row := pageRow{Cells: []pageCell{{Text: head, Left: true, Head: true}, words(unit)}}
		differ := false
		for i := range r.Leading {
			d := r.Leading[i].Design
			c := cell(d)
			c.Point, c.Rank = strconv.Itoa(d.Point), strconv.Itoa(d.Rank)
			differ = differ || i > 0 && c.Text != row.Cells[2].Text
			row.Cells = append(row.Cells, c)
		}
		if differ {
			row.Cells[0].Text += " *"
		}
		t.Rows = append(t.Rows, row)
	}
	for _, fact := range designFacts {
		if !slices.ContainsFunc(r.Leading, func(l ReportDesign) bool { return l.Design.TellsOf(fact.name) }) {
			continue
		}
		add(saidName(fact.name), named(designColumns, fact.name).headUnit(), func(d *Design) pageCell { return columnCell(d, fact.name) })
	}
	most := 0
	for i := range r.Leading {
		most = max(most, len(r.Leading[i].Design.Lenses))
	}
	for k := range most {
		add(breakable("lens "+strconv.Itoa(k+1)), "", func(d *Design) pageCell {
			if k >= len(d.Lenses) {
				return plain("-")
			}
			l := &d.Lenses[k]
			text := l.Group + ": " + l.Part
			if l.Reversed {
				text += ", reversed"
			}
			return words(text)
		})
	}
	return t
}
