package results

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
)

// pageTable is a table of the page.
type pageTable struct {
	ID, Caption string
	Class       string
	Heads       []pageHead
	Rows        []pageRow
	Sortable    bool
	// Stacks tells that on a narrow screen each row becomes some lines, with the
	// names of columns at the values.
	Stacks bool
}

// shortRows is how many rows a table has at most to stand on one sheet of
// paper whole.
const shortRows = 16

// Short reports whether the table is not to be parted in print.
func (t pageTable) Short() bool { return len(t.Rows) <= shortRows }

// Printed is how many of the rows stand on paper.
func (t pageTable) Printed() int {
	n := 0
	for i := range t.Rows {
		if !t.Rows[i].ScreenOnly {
			n++
		}
	}
	return n
}

// pageHead is the head of a column.
type pageHead struct {
	Words string
	Name  template.HTML // the words with places to break at
	Unit  string
	Key   string // the column's name in the files, if it has one
	Left  bool   // text; numbers stand right
	Class string
}

// pageRow is a row. Point and Rank tell whose numbers it holds where a table
// has several designs.
type pageRow struct {
	Cells       []pageCell
	Point, Rank string
	ScreenOnly  bool // left out on paper
}

// pageCell is a cell. Of, Row and Column say which value of which file it
// shows, so that whoever doubts it can look it up: ranked, setpoints, or one of
// the lists in a row of ranked.
type pageCell struct {
	Text            template.HTML
	Of, Row, Column string
	Left, Head      bool
	Title           string // a tooltip
	Class           string
	// Label and Unit are the column's, for rows that stack.
	Label, Unit string
	// Point and Rank tell whose number it is where designs stand in columns.
	Point, Rank string
}

// stacks gives each cell the name and unit of its column.
func (t *pageTable) stacks() {
	t.Stacks = true
	for i := range t.Rows {
		for k := range t.Rows[i].Cells {
			c := &t.Rows[i].Cells[k]
			c.Label, c.Unit = t.Heads[k].Words, t.Heads[k].Unit
		}
	}
}

func heads(names ...string) []pageHead {
	out := make([]pageHead, len(names))
	for i, name := range names {
		name, left := strings.CutPrefix(name, "<")
		name, unit, _ := strings.Cut(name, ", ")
		out[i] = pageHead{Words: name, Name: breakable(name), Unit: unit, Left: left}
	}
	return out
}

// columnHead is the head of a column of a file.
func columnHead(shown shownColumn, unit string) pageHead {
	return pageHead{Words: shown.head, Name: breakable(shown.head), Unit: unit, Key: shown.name}
}

// axisHead is the head of a swept key.
func axisHead(a Axis) pageHead {
	name := sayKey(a.Key)
	return pageHead{Words: name, Name: breakable(name), Unit: axisUnit(a), Key: a.Key, Left: a.Kind == KindString}
}

// breakable is text whose words may be broken behind the signs that part
// names, but not at a hyphen or a decimal point. It escapes what HTML needs.
func breakable(text string) template.HTML {
	var b strings.Builder
	for i, word := range strings.Split(printable(text), " ") {
		if i > 0 {
			b.WriteByte(' ')
		}
		pieces := namePieces(word)
		for k, piece := range pieces {
			if k > 0 {
				b.WriteString("<wbr>")
			}
			piece = html.EscapeString(piece)
			if strings.Contains(piece, "-") {
				piece = `<span class="n">` + piece + `</span>`
			}
			b.WriteString(piece)
		}
	}
	return template.HTML(b.String())
}

// namePieces parts a word behind each |, +, _ and :, and behind a point that a
// letter follows.
func namePieces(word string) []string {
	var pieces []string
	from := 0
	for i := 0; i+1 < len(word); i++ {
		next := word[i+1] | 0x20 // lower case
		if strings.IndexByte("|+_:", word[i]) >= 0 || word[i] == '.' && 'a' <= next && next <= 'z' {
			pieces = append(pieces, word[from:i+1])
			from = i + 1
		}
	}
	return append(pieces, word[from:])
}

// unbroken is text that stands on one line.
func unbroken(text string) template.HTML { return template.HTML(html.EscapeString(printable(text))) }

func words(text string) pageCell   { return pageCell{Text: breakable(text), Left: true} }
func said(name string) pageCell    { return pageCell{Text: saidName(name), Left: true, Head: true} }
func plain(text string) pageCell   { return pageCell{Text: unbroken(text)} }
func rowHead(text string) pageCell { return pageCell{Text: breakable(text), Left: true, Head: true} }
func drawn(svg string) pageCell    { return pageCell{Text: template.HTML(svg), Left: true} }
func (c pageCell) head() pageCell  { c.Head = true; return c }

// oneLine is text that is not broken.
func oneLine(text string) pageCell {
	return pageCell{Text: `<span class="n">` + unbroken(text) + `</span>`, Left: true}
}

// of marks a cell as the value of a column, in row i (from 0) of the list of a
// design; -1 for the design's own columns.
func (c pageCell) of(file, column string, row int) pageCell {
	c.Of, c.Column = file, column
	if row >= 0 {
		c.Row = strconv.Itoa(row)
	}
	return c
}

// columnCell is the cell of a numeric column of a design.
func columnCell(d *Design, column string) pageCell {
	return plain(named(designColumns, column).text(d)).of("ranked", column, -1)
}

// decimalsOf is how many decimals people are shown of a column, or of a
// requirement that has none.
func decimalsOf(name string) int {
	if c := named(designColumns, name); c != nil {
		return c.decimals
	}
	return usualDecimals
}

// rankedShown is how many rows the page's ranked table has at most: the page is
// to be read, ranked.parquet holds all. On paper they take rankedLines at most, a
// second row of charts besides its own, of which designs take one for each
// designLetters letters or so: with them five designs take twelve sheets.
const (
	rankedShown   = 400
	rankedLines   = 44
	designLetters = 34
	chartsInRow   = 3
	chartLines    = 16
)

// printedRows is how many rows of the ranked table stand on paper below so many charts.
func printedRows(designs []Design, charts int) int {
	most := 1
	for i := range designs {
		lines, used := 1, 0
		for _, piece := range namePieces(designs[i].DesignID) {
			if used > 0 && used+len(piece) > designLetters {
				lines, used = lines+1, 0
			}
			used += len(piece)
		}
		most = max(most, lines)
	}
	room := rankedLines
	if charts > chartsInRow {
		room -= chartLines
	}
	return max(1, room/most)
}

// rankWithin is the last rank that can be shown of all sweep points in at most
// so many rows; the best of each point in any case.
func rankWithin(designs []Design, rows int) int {
	of := map[int]int{}
	last := 0
	for i := range designs {
		of[designs[i].Rank]++
		last = max(last, designs[i].Rank)
	}
	shown := 0
	for rank := 1; rank <= last; rank++ {
		if shown > 0 && shown+of[rank] > rows {
			return rank - 1
		}
		shown += of[rank]
	}
	return last
}

// rankedTable is the ranking, best ranks of all sweep points first to go in.
func rankedTable(r *Report) (t pageTable, left int) {
	t = pageTable{ID: "ranked", Caption: "Ranked designs", Class: "wide", Sortable: true}
	sweep := len(r.Axes) > 0
	if sweep {
		t.Heads = append(t.Heads, heads("point")...)
	}
	for _, a := range r.Axes {
		t.Heads = append(t.Heads, axisHead(a))
		t.Heads[len(t.Heads)-1].Class = "swept"
	}
	for _, shown := range rankedColumnsShown {
		t.Heads = append(t.Heads, columnHead(shown, named(designColumns, shown.name).headUnit()))
	}
	for _, last := range []pageHead{{Words: "place", Key: "exact, screened, refined"}, {Words: "design", Key: "design_id"}} {
		last.Name, last.Left = breakable(last.Words), true
		t.Heads = append(t.Heads, last)
	}
	room, onPaper := printedRows(r.Designs, len(overviewCharts(r))), 0
	most, printed := rankWithin(r.Designs, rankedShown), rankWithin(r.Designs, room)
	for i := range r.Designs {
		d := &r.Designs[i]
		if d.Rank > most {
			continue
		}
		row := pageRow{Point: strconv.Itoa(d.Point), Rank: strconv.Itoa(d.Rank)}
		if row.ScreenOnly = d.Rank > printed || onPaper == room; !row.ScreenOnly {
			onPaper++
		}
		if sweep {
			row.Cells = append(row.Cells, columnCell(d, "point"))
		}
		for k, v := range d.Swept {
			c := plain(v.String()).of("ranked", r.Axes[k].Key, -1)
			c.Left, c.Class = v.kind == KindString, "swept"
			row.Cells = append(row.Cells, c)
		}
		for _, shown := range rankedColumnsShown {
			c := columnCell(d, shown.name)
			switch shown.name {
			case "rank":
				c = c.head()
			case "field_max_deg":
				if note := fieldNote(d); note != "" {
					c.Title, c.Class = note, "note"
				}
			}
			row.Cells = append(row.Cells, c)
		}
		row.Cells = append(row.Cells, words(r.standing(d)), words(d.DesignID).of("ranked", "design_id", -1))
		row.Cells[len(row.Cells)-1].Class = "long"
		t.Rows = append(t.Rows, row)
	}
	t.stacks()
	return t, len(r.Designs) - len(t.Rows)
}

// orderPageTable is what to buy.
func orderPageTable(l *ReportDesign, eyes int) pageTable {
	t := pageTable{Caption: "To order"}
	there := slices.ContainsFunc(l.Order, func(p ReportPart) bool { return p.Owned > 0 })
	columns := []string{"<part", "<vendor", "pieces"}
	if there {
		columns = append(columns, "there", "to buy")
	}
	t.Heads = heads(append(columns, "price each", "price")...)
	if eyes > 1 {
		t.Caption = "To order, for both eyes"
	}
	sum, known := 0.0, true
	pieces, toBuy := 0, 0
	count := func(n, buy int) []pageCell {
		cells := []pageCell{plain(strconv.Itoa(n))}
		if there {
			cells = append(cells, plain(strconv.Itoa(n-buy)), plain(strconv.Itoa(buy)))
		}
		return cells
	}
	for _, p := range l.Order {
		n := p.Pieces * eyes
		buy := max(0, n-p.Owned)
		pieces, toBuy = pieces+n, toBuy+buy
		each, all := Null, Null
		if p.Price != nil {
			each, all = Fixed(*p.Price, 2), Fixed(*p.Price*float64(buy), 2)
			sum += *p.Price * float64(buy)
		} else {
			known = known && buy == 0
		}
		name := rowHead(p.Part)
		if p.Stock != nil && buy > *p.Stock {
			name.Text += template.HTML(` <strong>(stock ` + strconv.Itoa(*p.Stock) + `)</strong>`)
		}
		cells := append([]pageCell{name, words(p.Vendor)}, count(n, buy)...)
		t.Rows = append(t.Rows, pageRow{Cells: append(cells, plain(each), plain(all))})
	}
	total := plain(Null)
	switch {
	case known && eyes == 1:
		total = columnCell(l.Design, "price")
	case known:
		total = plain(Fixed(sum, 2))
	}
	cells := append([]pageCell{rowHead("all"), words("")}, count(pieces, toBuy)...)
	t.Rows = append(t.Rows, pageRow{Cells: append(cells, plain(""), total)})
	return t
}

// assemblyTable is where each lens stands, and which side faces the world.
func assemblyTable(l *ReportDesign) pageTable {
	t := pageTable{Caption: "Assembly, from the world to the eye"}
	t.Heads = heads("lens", "<group", "<part", "<side to the world", "first vertex, mm", "centre, mm", "gap to next, mm", "edge gap, mm", "<next")
	d := l.Design
	surface := 0
	for i, lens := range d.Lenses {
		first := surface
		for surface++; surface < len(d.Surfaces) && d.Surfaces[surface-1].GlassAfter != "air"; surface++ {
		}
		next, edge := "eye", plain("")
		if i+1 < len(d.Lenses) {
			next = sayGroup(d.Lenses[i+1].Group)
			if d.Lenses[i+1].Group == lens.Group {
				next = "next lens"
			}
			edge = plain(Fixed(l.EdgeGapMM[i], 3))
		}
		for _, m := range l.Masks {
			if i == m.After {
				next = m.Words + ", then " + next
			}
		}
		facing := "as listed"
		if lens.Reversed {
			facing = "reversed"
		}
		t.Rows = append(t.Rows, pageRow{Cells: []pageCell{
			plain(strconv.Itoa(i + 1)).head(),
			words(sayGroup(lens.Group)),
			oneLine(lens.Part).of("lenses", "part", i),
			oneLine(facing + ": " + sideOf(&d.Surfaces[first])),
			plain(Fixed(d.Surfaces[first].ZMM, 3)).of("surfaces", "z_mm", first),
			plain(Fixed(l.CentreMM[i], 3)),
			plain(Fixed(lens.GapAfterMM, 3)).of("lenses", "gap_after_mm", i),
			edge,
			oneLine(next),
		}})
	}
	return t
}

// sayGroup is a group in words.
func sayGroup(group string) string {
	if group == "relay2" {
		return "relay 2"
	}
	return group
}

// sideOf says what a surface looks like from the world: a positive radius has
// its centre on the eye side, and facets stand on a plane.
func sideOf(s *Surface) string {
	radius := s.RadiusMM
	switch {
	case s.faceted():
		return "grooved, R " + Fixed(radius, 2)
	case math.IsInf(radius, 0):
		return "flat"
	case radius > 0:
		return "convex, R " + Fixed(radius, 2)
	}
	return "concave, R " + Fixed(radius, 2)
}

// stageShown is how many rows of a stage table the page has at most; the file
// has all.
const stageShown = 60

// stageTables are where each mask stands for each depth.
func stageTables(l *ReportDesign) []pageTable {
	var all []pageTable
	for _, m := range l.Masks {
		all = append(all, stageTable(l, m))
	}
	return all
}

// stageTable is where a mask stands for each depth.
func stageTable(l *ReportDesign, of ReportMask) pageTable {
	t := pageTable{Caption: "Stage: mask positions"}
	if len(l.Masks) > 1 {
		t.Caption = strings.ToUpper(of.Words[:1]) + of.Words[1:] + ", stage: mask positions"
	}
	var rows []int // in the list of the design
	for i := range l.Setpoints {
		if l.Setpoints[i].Seat == of.Seat {
			rows = append(rows, i)
		}
	}
	if n := len(rows); n > stageShown {
		t.Caption += fmt.Sprintf(" (%d of %d rows of setpoints.parquet)", stageShown, n)
	}
	for _, shown := range stageColumns {
		head := columnHead(shown, named(setpointColumns, shown.name).headUnit())
		head.Key = ""
		t.Heads = append(t.Heads, head)
	}
	for _, place := range spreadPlaces(len(rows), stageShown) {
		i := rows[place]
		var row pageRow
		for _, shown := range stageColumns {
			cell := plain(named(setpointColumns, shown.name).text(&l.Setpoints[i])).of("setpoints", shown.name, i)
			cell.Head = shown.name == "depth_m"
			row.Cells = append(row.Cells, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// samplesShown is how many depths the tables over field and depth have at most.
const samplesShown = 9

// sampleTable is one measure of the ray check over field and depth.
func sampleTable(l *ReportDesign, caption, column string, of func(*Sample) float64, decimals int) pageTable {
	t := pageTable{Caption: caption, Class: "small"}
	fields, depths := sampleAxes(l.Design.Samples)
	depths = spread(depths, samplesShown)
	t.Heads = heads("depth, D")
	for _, f := range fields {
		t.Heads = append(t.Heads, heads("at "+sayHalfAngle(l, f)+"°")...)
	}
	for _, v := range depths {
		row := pageRow{Cells: []pageCell{plain(Fixed(v, 2)).head()}}
		for _, f := range fields {
			cell := plain(Null)
			for i := range l.Design.Samples {
				if s := &l.Design.Samples[i]; s.FieldFraction == f && s.VergenceD == v {
					cell = plain(Fixed(of(s), decimals)).of("samples", column, i)
				}
			}
			row.Cells = append(row.Cells, cell)
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// halfAngle is the half angle in degrees at a share of the field.
func (l *ReportDesign) halfAngle(fraction float64) float64 {
	return math.Atan(fraction*l.HalfFieldTan) * 180 / math.Pi
}

func sayHalfAngle(l *ReportDesign, fraction float64) string { return Fixed(l.halfAngle(fraction), 1) }

// sampleAxes are the field shares and vergences of samples, in their order.
func sampleAxes(samples []Sample) (fields, depths []float64) {
	seenField, seenDepth := map[float64]bool{}, map[float64]bool{}
	for _, s := range samples {
		if !seenField[s.FieldFraction] {
			seenField[s.FieldFraction] = true
			fields = append(fields, s.FieldFraction)
		}
		if !seenDepth[s.VergenceD] {
			seenDepth[s.VergenceD] = true
			depths = append(depths, s.VergenceD)
		}
	}
	return fields, depths
}

// spread picks at most so many of a list, its ends included.
func spread(list []float64, most int) []float64 {
	var out []float64
	for _, i := range spreadPlaces(len(list), most) {
		out = append(out, list[i])
	}
	return out
}

// spreadPlaces are at most so many places of a list of n, from 0, its ends
// included.
func spreadPlaces(n, most int) []int {
	places := make([]int, min(n, most))
	for i := range places {
		places[i] = i
		if n > most {
			places[i] = i * (n - 1) / (most - 1)
		}
	}
	return places
}

// surfacePageTable is the prescription.
func surfacePageTable(l *ReportDesign) pageTable {
	t := pageTable{Caption: "Surfaces, from the world to the eye"}
	t.Heads = heads("surface", "vertex at, mm", "radius, mm", "clear half, mm", "<glass behind")
	facets := l.Design.HasFacets()
	if facets {
		t.Heads = append(t.Heads, heads("facets, mm")...)
	}
	for i, s := range l.Design.Surfaces {
		row := pageRow{Cells: []pageCell{
			plain(strconv.Itoa(i + 1)).head(),
			plain(Fixed(s.ZMM, 3)).of("surfaces", "z_mm", i),
			plain(Fixed(s.RadiusMM, 3)).of("surfaces", "radius_mm", i),
			plain(Fixed(s.SemiDiameterMM, 2)).of("surfaces", "semi_diameter_mm", i),
			words(s.GlassAfter).of("surfaces", "glass_after", i),
		}}
		if facets {
			row.Cells = append(row.Cells, plain(s.FacetWords()).of("surfaces", "pitch_mm", i))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}
