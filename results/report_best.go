package results

import (
	"fmt"
	"html/template"
	"strconv"
)

// pageBest is the first thing on the page: the best train as a picture, what to
// buy for it, and five numbers with what was asked.
type pageBest struct {
	Heading, Name string
	Point, Rank   string
	Link          string
	Train         template.HTML
	Numbers       []pageNumber
	Order         pageTable
}

// pageNumber is a number with what was asked of it.
type pageNumber struct {
	Words, Key, Unit string
	Value            pageCell
	Asked            string
}

// best is the shortest of the designs told whole, with its place among them.
func (r *Report) best() (l *ReportDesign, place int) {
	shortest := 0.0
	for i := range r.Leading {
		if mm, _, ok := r.Leading[i].Design.Number(r.RankedBy); ok && (l == nil || mm < shortest) {
			l, place, shortest = &r.Leading[i], i, mm
		}
	}
	return l, place
}

func newPageBest(r *Report) *pageBest {
	l, place := r.best()
	if l == nil {
		return nil
	}
	d := l.Design
	asked := r.asked(d)
	p := &pageBest{
		Heading: "The best train", Name: sayDesign(r, d), Point: strconv.Itoa(d.Point), Rank: strconv.Itoa(d.Rank),
		Link:  fmt.Sprintf("d%d", place+1),
		Train: template.HTML(l.Drawing.trainSVG("best-train", "the best train", d.LengthMM, d.EyeReliefMM)),
		Order: orderPageTable(l, r.Eyes),
	}
	switch {
	case d.Fails != nil && r.pointsWithDesigns() == 1:
		p.Heading = "The train given"
	case r.pointsWithDesigns() > 1:
		p.Heading = "The shortest train of those told here"
	}
	for _, column := range []string{r.RankedBy, "field_max_deg", "travel_mm", "mask_blur_arcmin", "view_blur_arcmin"} {
		_, unit, _ := d.Number(column)
		n := pageNumber{Words: sayName(column), Key: column, Unit: unit, Value: columnCell(d, column), Asked: askedWords(column, asked)}
		switch {
		case column == r.RankedBy && d.Fails != nil:
		case column == r.RankedBy && n.Asked == "":
			n.Asked = "asked: the shortest"
		case column == r.RankedBy:
			n.Asked += ", the shortest"
		case n.Asked == "" && column == "field_max_deg":
			n.Asked = "asked: " + shortNumber(d.FieldAskedDeg)
		case n.Asked == "":
			n.Asked = "no limit was set"
		}
		if column == "field_max_deg" {
			if note := fieldNote(d); note != "" {
				n.Asked = note
			}
		}
		if c := named(designColumns, "front_"+column); c != nil && len(d.Masks()) > 1 {
			n.Asked += "; mask at image 2, that at image 1: " + c.text(d)
		}
		if column == "view_blur_arcmin" && d.groovesSpread() {
			n.Asked += "; besides, grooves spread light by " + named(designColumns, "groove_blur_arcmin").text(d)
		}
		p.Numbers = append(p.Numbers, n)
	}
	return p
}

// askedWords says the bounds on a column; empty where there are none.
func askedWords(column string, asked []Asked) string {
	words := ""
	for _, a := range asked {
		if a.Column != column {
			continue
		}
		if words != "" {
			words += ", "
		}
		if a.Bound == AtLeast {
			words += "at least "
		} else {
			words += "at most "
		}
		words += shortNumber(a.Value)
	}
	if words == "" {
		return ""
	}
	return "asked: " + words
}

// shortNumber is a number with two decimals at most, and none that say nothing.
func shortNumber(x float64) string {
	s := &svgDrawing{decimals: 2}
	return s.coordinate(x)
}

// fieldNote says what is lost where the whole pupil does not pass over all of
// the field; empty where it does.
func fieldNote(d *Design) string {
	if !d.fieldShort() {
		return ""
	}
	return fmt.Sprintf("asked: %s; beyond it up to %s %% of the pupil is lost", shortNumber(d.FieldAskedDeg), Fixed(d.VignettedPct, 1))
}

// sayDesign is a design by its place: rank, and sweep point where there are
// several.
func sayDesign(r *Report, d *Design) string {
	name := fmt.Sprintf("rank %d", d.Rank)
	if len(d.Swept) == 0 {
		return name
	}
	point := fmt.Sprintf("point %d", d.Point)
	for k, v := range d.Swept {
		sep := " ("
		if k > 0 {
			sep = ", "
		}
		point += sep + sayAxis(r.Axes[k], v)
	}
	return point + "), " + name
}

// pointsWithDesigns is at how many sweep points something passes.
func (r *Report) pointsWithDesigns() int {
	points := map[int]bool{}
	for i := range r.Designs {
		points[r.Designs[i].Point] = true
	}
	return len(points)
}
