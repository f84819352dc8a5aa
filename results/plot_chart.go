package results

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strconv"
	"strings"
)

// chart is a plot of some series over two axes.
type chart struct {
	title  string
	x, y   chartAxis
	series []chartSeries
	limits []chartLimit
	// fromZero lets the vertical axis start at zero.
	fromZero bool
}

// chartAxis is what an axis says.
type chartAxis struct{ label, unit string }

func (a chartAxis) String() string {
	if a.unit == "" {
		return a.label
	}
	return a.label + ", " + a.unit
}

// chartSeries is one line, or one kind of marks. Its style is the place in the
// list of line styles and marks, which tell series apart without colour.
type chartSeries struct {
	label   string
	points  []xy
	style   int
	noLine  bool
	noMarks bool
	steps   bool // joined by steps
	// names stand at the points, where there are any; notes are tooltips.
	names, notes []string
}

// chartLimit is a bound that was asked for: across at a value of y, or upright
// at a value of x.
type chartLimit struct {
	value   float64
	label   string
	upright bool
}

// chartStyles is how many series can be told apart.
const chartStyles = 6

// The layout of a chart in its own units, near to pixels.
const (
	chartWidth, chartHeight        = 360.0, 246.0
	chartLeft, chartRight          = 52.0, 12.0
	chartTop                       = 26.0
	chartBelow                     = 40.0 // room for the horizontal axis
	chartLegendLine                = 15.0
	chartTicksAcross, chartTicksUp = 6, 5
)

// chartScale maps values to the drawing.
type chartScale struct {
	lo, hi   float64
	from, to float64 // drawing
}

func (s chartScale) at(v float64) float64 {
	return s.from + (s.to-s.from)*(v-s.lo)/(s.hi-s.lo)
}

// svg draws the chart. id has to be unique in the page.
func (c *chart) svg(id string) string {
	s := &svgDrawing{decimals: 1}
	legend := c.legendRows()
	height := chartHeight + float64(legend)*chartLegendLine
	x := chartScale{from: chartLeft, to: chartWidth - chartRight}
	y := chartScale{from: chartHeight - chartBelow, to: chartTop}
	x.lo, x.hi = c.extent(func(p xy) float64 { return p.x }, true)
	y.lo, y.hi = c.extent(func(p xy) float64 { return p.y }, false)
	s.text("chart-title", xy{0, 12}, c.title)
	c.axes(s, x, y)
	for _, l := range c.limits {
		l.line(s, x, y)
	}
	for _, one := range c.series {
		one.draw(s, x, y)
	}
	c.names(s, x, y)
	c.legend(s)
	return s.named(id, "chart", c.title, c.describe(), "", [4]float64{0, 0, chartWidth, height})
}

// extent is what an axis covers: the points, and bounds that are not far off.
func (c *chart) extent(of func(xy) float64, across bool) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, one := range c.series {
		for _, p := range one.points {
			if v := of(p); !math.IsInf(v, 0) && !math.IsNaN(v) {
				lo, hi = math.Min(lo, v), math.Max(hi, v)
			}
		}
	}
	if lo > hi {
		lo, hi = 0, 1
	}
	if !across && c.fromZero {
		lo, hi = math.Min(lo, 0), math.Max(hi, 0)
	}
	for _, l := range c.limits {
		// A bound far beyond everything would press the curves flat.
		if l.upright == across && l.value <= hi+1.5*(hi-lo) && l.value >= lo-1.5*(hi-lo) {
			lo, hi = math.Min(lo, l.value), math.Max(hi, l.value)
		}
	}
	if room := hi - lo; room <= 1e-9*math.Max(math.Abs(lo), math.Abs(hi)) {
		room = math.Max(math.Abs(lo)*0.05, 1e-3)
		return lo - room, hi + room
	}
	room := 0.06 * (hi - lo)
	if !(across || c.fromZero && lo == 0) || across && !c.joined() {
		lo -= room
	}
	if !across || !c.joined() {
		hi += room
	}
	return lo, hi
}

// joined reports whether any series is a line, which may end at the frame.
func (c *chart) joined() bool {
	for _, one := range c.series {
		if !one.noLine && !one.steps {
			return true
		}
	}
	return false
}

func (c *chart) axes(s *svgDrawing, x, y chartScale) {
	values, decimals := ticks(y.lo, y.hi, chartTicksUp)
	for _, v := range values {
		at := y.at(v)
		s.line("grid", xy{x.from, at}, xy{x.to, at})
		s.text("tick", xy{x.from - 5, at + 3.5}, Fixed(v, decimals), "text-anchor", "end")
	}
	values, decimals = ticks(x.lo, x.hi, chartTicksAcross)
	for _, v := range values {
		at := x.at(v)
		s.line("grid", xy{at, y.from}, xy{at, y.to})
		s.text("tick", xy{at, y.from + 14}, Fixed(v, decimals), "text-anchor", "middle")
	}
	if y.lo < 0 && y.hi > 0 {
		s.line("frame", xy{x.from, y.at(0)}, xy{x.to, y.at(0)})
	}
	s.path("frame", []xy{{x.from, y.to}, {x.from, y.from}, {x.to, y.from}}, false)
	s.text("label", xy{(x.from + x.to) / 2, y.from + 32}, c.x.String(), "text-anchor", "middle")
	middle := (y.from + y.to) / 2
	s.text("label", xy{13, middle}, c.y.String(), "text-anchor", "middle",
		"transform", fmt.Sprintf("rotate(-90 13 %s)", s.coordinate(middle)))
}

// line draws a bound; an upright one is named in the legend.
func (l chartLimit) line(s *svgDrawing, x, y chartScale) {
	switch {
	case l.upright && l.value >= x.lo && l.value <= x.hi:
		at := x.at(l.value)
		s.line("limit", xy{at, y.from}, xy{at, y.to})
	case !l.upright && l.value >= y.lo && l.value <= y.hi:
		at := y.at(l.value)
		s.line("limit", xy{x.from, at}, xy{x.to, at})
	}
}

// The sizes of letters at points and bounds, as the style sheet says them, and the
// room that a mark takes.
const pointSize, limitSize, markReach = 11.0, 10.0, 5.0

// names writes the names of points and bounds where nothing else stands: a name
// that finds no such place is left out, and the tooltip of its mark has it.
func (c *chart) names(s *svgDrawing, x, y chartScale) {
	var marks []box
	var lines [][]xy
	for _, one := range c.series {
		if path := one.path(x, y); !one.noLine {
			lines = append(lines, path)
		}
		for _, p := range one.points {
			if q := (xy{x.at(p.x), y.at(p.y)}); finiteXY(q) && !one.noMarks {
				marks = append(marks, box{q.x - markReach, q.y - markReach, q.x + markReach, q.y + markReach})
			}
		}
	}
	for _, l := range c.limits {
		if l.upright {
			lines = append(lines, []xy{{x.at(l.value), y.from}, {x.at(l.value), y.to}})
		} else {
			lines = append(lines, []xy{{x.from, y.at(l.value)}, {x.to, y.at(l.value)}})
		}
	}
	frame := box{x.from + 1, y.to - 8, x.to, y.from - 1}
	free := func(b box, withLines bool) bool {
		if !b.inside(frame) || slices.ContainsFunc(marks, b.overlaps) {
			return false
		}
		for _, line := range lines {
			for i := 1; withLines && i < len(line); i++ {
				if finiteXY(line[i-1]) && finiteXY(line[i]) && b.crosses(line[i-1], line[i]) {
					return false
				}
			}
		}
		return true
	}
	// Rather on a line than nowhere, but never on a mark or another name.
	place := func(class, text string, size float64, places []xy) {
		for _, withLines := range []bool{true, false} {
			for _, at := range places {
				if b := textBox(at, text, size); free(b, withLines) {
					s.text(class, at, text)
					marks = append(marks, b)
					return
				}
			}
		}
	}
	for _, one := range c.series {
		for i, name := range one.names {
			q := xy{x.at(one.points[i].x), y.at(one.points[i].y)}
			if name == "" || !finiteXY(q) {
				continue
			}
			wide := textWidth(name, pointSize)
			right, left, up, down := q.x+markReach+0.5, q.x-markReach-wide-0.5, q.y-markReach, q.y+markReach+letterUp*pointSize
			place("point-name", name, pointSize, []xy{
				{right, up}, {right, q.y + 4}, {right, down}, {q.x - wide/2, up - 3}, {q.x - wide/2, down + 1}, {left, up}, {left, q.y + 4}, {left, down},
			})
		}
	}
	for _, l := range c.limits {
		if l.upright || l.value < y.lo || l.value > y.hi {
			continue
		}
		wide := textWidth(l.label, limitSize)
		var places []xy
		for _, up := range []float64{-3, 2 + letterUp*limitSize} {
			for at := x.from + 4; at <= x.to-wide; at += 8 {
				places = append(places, xy{at, y.at(l.value) + up})
			}
		}
		place("limit-name", l.label, limitSize, places)
	}
}

func finiteXY(p xy) bool {
	return !math.IsNaN(p.x) && !math.IsInf(p.x, 0) && !math.IsNaN(p.y) && !math.IsInf(p.y, 0)
}

// path is the line of a series in the drawing.
func (one *chartSeries) path(x, y chartScale) []xy {
	at := make([]xy, 0, 2*len(one.points))
	for i, p := range one.points {
		q := xy{x.at(p.x), y.at(p.y)}
		if one.steps && i > 0 {
			at = append(at, xy{q.x, at[len(at)-1].y})
		}
		at = append(at, q)
	}
	return at
}

// draw draws one series.
func (one *chartSeries) draw(s *svgDrawing, x, y chartScale) {
	if !one.noLine {
		s.path("line s"+strconv.Itoa(one.style%chartStyles), one.path(x, y), false)
	}
	if one.noMarks {
		return
	}
	for i, p := range one.points {
		q := xy{x.at(p.x), y.at(p.y)}
		if !finiteXY(q) {
			continue
		}
		if i < len(one.notes) {
			s.open("g", "")
			s.b.WriteString("<title>" + html.EscapeString(one.notes[i]) + "</title>")
			mark(s, one.style, q)
			s.close("g")
		} else {
			mark(s, one.style, q)
		}
	}
}

// mark draws the mark of a style: their shapes differ, not only their colours.
func mark(s *svgDrawing, style int, at xy) {
	const r = 3.4
	class := "mark s" + strconv.Itoa(style%chartStyles)
	shape := func(points ...xy) {
		for i := range points {
			points[i] = xy{at.x + r*points[i].x, at.y + r*points[i].y}
		}
		s.path(class, points, true)
	}
	switch style % chartStyles {
	case 0:
		s.element("circle", class, "cx", at.x, "cy", at.y, "r", r)
	case 1:
		s.element("circle", class+" open", "cx", at.x, "cy", at.y, "r", r)
	case 2:
		shape(xy{0, -1.25}, xy{1.15, 0.85}, xy{-1.15, 0.85})
	case 3:
		class += " open"
		shape(xy{0, -1.3}, xy{1.3, 0}, xy{0, 1.3}, xy{-1.3, 0})
	case 4:
		shape(xy{-0.95, -0.95}, xy{0.95, -0.95}, xy{0.95, 0.95}, xy{-0.95, 0.95})
	default:
		class += " open"
		shape(xy{-1.15, -0.85}, xy{1.15, -0.85}, xy{0, 1.25})
	}
}

// legendItem is a line of the legend: a series, or a bound across the chart.
type legendItem struct {
	label string
	draw  func(s *svgDrawing, at xy) // 26 units wide
}

func (c *chart) legendItems() []legendItem {
	var items []legendItem
	for _, one := range c.series {
		if one.label == "" {
			continue
		}
		items = append(items, legendItem{one.label, func(s *svgDrawing, at xy) {
			if !one.noLine {
				s.line("line s"+strconv.Itoa(one.style%chartStyles), at, xy{at.x + 26, at.y})
			}
			if !one.noMarks {
				mark(s, one.style, xy{at.x + 13, at.y})
			}
		}})
	}
	for _, l := range c.limits {
		if l.upright {
			items = append(items, legendItem{l.label, func(s *svgDrawing, at xy) {
				s.line("limit", xy{at.x + 13, at.y - 6}, xy{at.x + 13, at.y + 6})
			}})
		}
	}
	return items
}

// legendColumns is how many names stand beside each other: as many as their
// letters allow.
func legendColumns(items []legendItem) int {
	const perLetter, besides, most = 6.0, 36.0, 3
	longest := 1
	for _, item := range items {
		longest = max(longest, cellWidth.StringWidth(item.label))
	}
	return min(most, max(1, int(chartWidth/(besides+perLetter*float64(longest)))))
}

func (c *chart) legendRows() int {
	items := c.legendItems()
	columns := legendColumns(items)
	return (len(items) + columns - 1) / columns
}

// legend names the series below the axis, each with its line and mark.
func (c *chart) legend(s *svgDrawing) {
	items := c.legendItems()
	columns := legendColumns(items)
	for n, item := range items {
		at := xy{chartWidth / float64(columns) * float64(n%columns), chartHeight + 5 + float64(n/columns)*chartLegendLine}
		item.draw(s, at)
		s.text("tick", xy{at.x + 32, at.y + 3.5}, item.label)
	}
}

// describe tells the chart in words: its axes and how far each series goes.
func (c *chart) describe() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s against %s.", c.y, c.x)
	for _, one := range c.series {
		lo, hi, n := math.Inf(1), math.Inf(-1), 0
		for _, p := range one.points {
			if !math.IsNaN(p.y) {
				lo, hi, n = math.Min(lo, p.y), math.Max(hi, p.y), n+1
			}
		}
		if n == 0 {
			continue
		}
		name := one.label
		if name == "" {
			name = "values"
		}
		fmt.Fprintf(&b, " %s: from %s to %s.", name, sayNumber(lo), sayNumber(hi))
	}
	for _, l := range c.limits {
		fmt.Fprintf(&b, " %s: %s.", l.label, sayNumber(l.value))
	}
	return b.String()
}
