package results

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// flat turns a point of a train into one of a drawing in mm, whose y grows
// downwards.
func flat(points []ReportPoint) []xy {
	out := make([]xy, len(points))
	for i, p := range points {
		out[i] = xy{p.X, -p.Y}
	}
	return out
}

// tallest is the largest half diameter of anything on the axis.
func (d *ReportDrawing) tallest() float64 {
	h := math.Max(d.BoxMM, d.PupilMM) / 2
	for _, l := range d.Lenses {
		h = math.Max(h, l.HalfMM)
	}
	return h
}

// lenses draws the glass and, thicker, what lies beyond the clear apertures.
func (d *ReportDrawing) lenses(s *svgDrawing) {
	for _, l := range d.Lenses {
		for _, outline := range l.Glasses {
			s.path("glass", flat(outline), true)
		}
		for _, rim := range l.Rims {
			s.path("rim", flat(rim), false)
		}
	}
}

// mask draws the mask at a place along the axis.
func (d *ReportDrawing) mask(s *svgDrawing, class string, at, half float64) {
	if d.MaskGlassMM > 0 {
		s.element("rect", class+" plate", "x", at-d.MaskGlassMM/2, "y", -half, "width", d.MaskGlassMM, "height", 2*half)
	}
	s.line(class, xy{at, -half}, xy{at, half})
}

// combiner is where a combiner is drawn along the axis.
func (d *ReportDrawing) combiner() (from, to float64) {
	middle := (d.Lenses[len(d.Lenses)-1].EndMM + d.EyeMM) / 2
	return middle - d.CombinerMM/2, middle + d.CombinerMM/2
}

func (d *ReportDrawing) drawCombiner(s *svgDrawing, half float64) {
	from, to := d.combiner()
	s.element("rect", "plate", "x", from, "y", -half, "width", to-from, "height", 2*half)
}

// eye draws the pupil's rim and how far it may wander.
func (d *ReportDrawing) eye(s *svgDrawing) {
	reach := (d.PupilMM + d.BoxMM) / 2
	for _, side := range []float64{-1, 1} {
		s.line("pupil", xy{d.EyeMM, side * reach}, xy{d.EyeMM, side * (reach + 4)})
		s.line("box", xy{d.EyeMM, side * reach}, xy{d.EyeMM, side * (reach - d.BoxMM)})
	}
}

// trainSize is the size of letters of a drawing of a train, in units of which
// trainUnits are its width.
const trainSize, trainUnits = 13.0, 960.0

// trainSVG draws the train to scale with its rays. The page shows it as wide as
// it can be.
func (d *ReportDrawing) trainSVG(id, name string, lengthMM, reliefMM float64) string {
	s := &svgDrawing{decimals: 2}
	view, unit := d.drawTrain(s, lengthMM, reliefMM)
	return s.named(id, "train", "Train of "+name+", to scale", d.describeTrain(), fmt.Sprintf(` style="--u:%spx"`, s.coordinate(unit)), view)
}

// drawTrain draws what trainSVG shows. It returns the part of the plane that it
// takes, in mm, and its unit.
func (d *ReportDrawing) drawTrain(s *svgDrawing, lengthMM, reliefMM float64) (view [4]float64, unit float64) {
	length := d.EyeMM
	// A viewpoint far before the train would make it small.
	shown := d.ViewpointMM > -0.8*length && d.ViewpointMM < 1.2*length
	left, right := -0.06*length, d.EyeMM+0.05*length
	if shown {
		left = math.Min(left, d.ViewpointMM-0.06*length)
		right = math.Max(right, d.ViewpointMM+0.06*length)
	}
	// Text and lines are sized for a page of about so many units across.
	unit = (right - left) / trainUnits
	half := d.tallest()
	style := fmt.Sprintf("font-size:%.4fpx", trainSize*unit)
	width := func(text string) float64 { return textWidth(text, trainSize*unit) }
	label := func(class string, at xy, text, anchor string) {
		s.text(class, at, text, "text-anchor", anchor, "style", style)
	}

	s.line("axis", xy{left, 0}, xy{right, 0})
	d.lenses(s)
	d.rays(s, left+4*unit)
	maskHalf := math.Min(d.MaskHalfMM, half+4*unit)
	for _, m := range d.Masks {
		d.mask(s, "mask", m.FarMM, maskHalf)
		d.mask(s, "mask near", m.NearMM, maskHalf)
	}
	d.eye(s)
	if d.CombinerMM > 0 {
		d.drawCombiner(s, half)
	}

	// Above: the ends of the mask's way, then the names of what stands there, in
	// as many rows as they need.
	const row = 15.0
	low := -half - 8*unit
	for k, m := range d.Masks {
		if k > 0 { // each mask has a row of its own
			low -= row * unit
		}
		ends := m.ends()
		label("mask-name", xy{ends[0].at - 3*unit, low}, ends[0].name, "end")
		label("mask-name", xy{ends[1].at + 3*unit, low}, ends[1].name, "start")
	}
	names := d.trainNames()
	if at := d.ViewpointMM; shown {
		s.path("viewpoint", []xy{{at, 0}, {at - 6*unit, 11 * unit}, {at + 6*unit, 11 * unit}}, true)
		names = append(names, trainName{at, "▲ viewpoint", "name"})
	} else {
		names = append(names, trainName{at, fmt.Sprintf("viewpoint at %s mm, beyond the drawing", Fixed(at, 1)), "name"})
	}
	middles, widths := make([]float64, len(names)), make([]float64, len(names))
	for i, n := range names {
		widths[i] = width(n.text) + 6*unit
		middles[i] = math.Min(math.Max(n.at, left+widths[i]/2), right-widths[i]/2)
	}
	top := low
	for i, level := range placeRows(middles, widths) {
		y := low - row*unit*float64(level+1)
		top = math.Min(top, y)
		label(names[i].class, xy{middles[i], y}, names[i].text, "middle")
	}
	top -= trainSize * unit

	// Below: the lengths.
	dimensions := half + 24*unit
	s.dimension(xy{0, dimensions}, lengthMM, "length "+Fixed(lengthMM, 2)+" mm", unit, half, right, style)
	s.dimension(xy{lengthMM, dimensions}, reliefMM, "eye relief "+Fixed(reliefMM, 2)+" mm", unit, half, right, style)
	bar := 50.0
	if d.EyeMM < 2*bar {
		bar = 10
	}
	scale := dimensions + 26*unit
	s.line("scale", xy{0, scale}, xy{bar, scale})
	label("tick", xy{bar + 6*unit, scale + 4*unit}, Fixed(bar, 0)+" mm", "start")
	return [4]float64{left, top, right - left, scale + 12*unit - top}, unit
}

// trainName is a name above a drawing of a train.
type trainName struct {
	at          float64 // its middle
	text, class string
}

// trainNames are the names of groups, masks, combiner and eye.
func (d *ReportDrawing) trainNames() []trainName {
	var names []trainName
	for _, m := range d.Masks {
		names = append(names, trainName{(m.FarMM + m.NearMM) / 2, m.Words, "mask-name"})
	}
	for i, l := range d.Lenses {
		if i > 0 && d.Lenses[i-1].Group == l.Group {
			continue
		}
		end := l.EndMM
		for _, next := range d.Lenses[i:] {
			if next.Group == l.Group {
				end = next.EndMM
			}
		}
		names = append(names, trainName{(l.FirstMM + end) / 2, sayGroup(l.Group), "name"})
	}
	if d.CombinerMM > 0 {
		from, to := d.combiner()
		names = append(names, trainName{(from + to) / 2, "combiner", "name"})
	}
	return append(names, trainName{d.EyeMM, "eye", "name"})
}

// rays draws the rays, on to a place before the train as their last directions
// go.
func (d *ReportDrawing) rays(s *svgDrawing, end float64) {
	for _, r := range d.Rays {
		points := r.Points
		if n := len(points); n > 1 && !r.Lost {
			a, b := points[n-2], points[n-1]
			points = append(points[:n-1:n-1], ReportPoint{end, b.Y + (b.Y-a.Y)/(b.X-a.X)*(end-b.X)})
		}
		class := "ray f" + strconv.Itoa(r.Field)
		if r.Chief {
			class += " chief"
		}
		s.path(class, flat(points), false)
	}
}

func (d *ReportDrawing) describeTrain() string {
	var masks []string
	for _, m := range d.Masks {
		masks = append(masks, fmt.Sprintf("%s stands at %s mm from the first vertex for far and at %s mm for near", m.Words, Fixed(m.FarMM, 2), Fixed(m.NearMM, 2)))
	}
	return fmt.Sprintf("Section through the axis, world on the left, eye on the right. %d lenses. The %s, the eye at %s mm, the viewpoint at %s mm. "+
		"Chief rays and edge rays of %d field samples for the far depth.",
		len(d.Lenses), strings.Join(masks, ", the "), Fixed(d.EyeMM, 2), Fixed(d.ViewpointMM, 2), d.fields())
}

func (d *ReportDrawing) fields() int {
	n := 0
	for _, r := range d.Rays {
		n = max(n, r.Field+1)
	}
	return n
}

// dimension draws a dimension line from a point along the axis, with lines down
// from the axis at its ends. Its text stands left of a place.
func (s *svgDrawing) dimension(from xy, length float64, text string, unit, half, right float64, style string) {
	to := xy{from.x + length, from.y}
	s.line("dimension", from, to)
	for _, end := range []xy{from, to} {
		s.line("dimension", xy{end.x, half * 0.15}, xy{end.x, end.y + 2*unit})
	}
	arrow := 7 * unit
	s.path("arrow", []xy{from, {from.x + arrow, from.y - arrow/3}, {from.x + arrow, from.y + arrow/3}}, true)
	s.path("arrow", []xy{to, {to.x - arrow, to.y - arrow/3}, {to.x - arrow, to.y + arrow/3}}, true)
	wide := textWidth(text, trainSize*unit)
	at := xy{(from.x + to.x) / 2, from.y - 5*unit}
	// Where the text is wider than the line it stands below all lines.
	if length < wide+6*unit {
		at = xy{math.Min(at.x, right-wide/2-unit), from.y + 4*unit + letterUp*trainSize*unit}
	}
	s.text("tick", at, text, "text-anchor", "middle", "style", style)
}

// trainFile is the drawing of a train as a file of its own, on a sheet of its own
// colour, with the styles that it needs.
func (d *ReportDrawing) trainFile(name string, lengthMM, reliefMM float64) string {
	drawn := &svgDrawing{decimals: 3}
	view, unit := d.drawTrain(drawn, lengthMM, reliefMM)
	margin := 12 * unit
	view = [4]float64{view[0] - margin, view[1] - margin, view[2] + 2*margin, view[3] + 2*margin}
	s := &svgDrawing{decimals: 3}
	s.b.WriteString("<style>" + trainFileStyle(unit) + "</style>")
	s.element("rect", "sheet", "x", view[0], "y", view[1], "width", view[2], "height", view[3])
	s.b.WriteString(drawn.b.String())
	return s.named("t", "train", name, d.describeTrain(),
		fmt.Sprintf(` width="%d" height="%d"`, int(math.Round(view[2]/unit)), int(math.Round(view[3]/unit))), view) + "\n"
}

// trainFileStyle is what the page's style sheet says of a train, in plain numbers,
// as not every program that shows SVG can reckon in a style.
func trainFileStyle(unit float64) string {
	s := &svgDrawing{decimals: 3}
	mm := func(units ...float64) string {
		var texts []string
		for _, x := range units {
			texts = append(texts, s.coordinate(x*unit))
		}
		return strings.Join(texts, " ")
	}
	var b strings.Builder
	rule := func(selector, format string, args ...any) {
		fmt.Fprintf(&b, "%s{"+format+"}", append([]any{selector}, args...)...)
	}
	rule(".sheet", "fill:#fff")
	rule("text", "font-family:sans-serif;fill:#1b1f24;paint-order:stroke;stroke:#fff;stroke-width:%s;stroke-linejoin:round", mm(3))
	rule(".tick", "fill:#566270")
	rule(".mask-name", "fill:#6a1b6e")
	rule(".axis", "stroke:#566270;stroke-width:%s;stroke-dasharray:%s", mm(.7), mm(14, 4, 2, 4))
	rule(".glass", "fill:#dde8ed;stroke:#3d5360;stroke-width:%s;stroke-linejoin:round", mm(1))
	rule(".rim", "fill:none;stroke:#3d5360;stroke-width:%s", mm(2.6))
	rule(".ray", "fill:none;stroke:#7a4a10;stroke-width:%s", mm(.65))
	rule(".chief", "stroke-width:%s", mm(1.7))
	rule(".f1", "stroke-dasharray:%s", mm(9, 3))
	rule(".f2", "stroke-dasharray:%s", mm(9, 3, 1.6, 3))
	rule(".f3", "stroke-dasharray:%s", mm(2.2, 2.2))
	rule(".mask", "fill:none;stroke:#6a1b6e;stroke-width:%s", mm(2.6))
	rule(".near", "stroke-width:%s;stroke-dasharray:%s", mm(1.8), mm(5, 3))
	rule(".plate", "fill:none;stroke:#3d5360;stroke-width:%s", mm(.8))
	rule(".pupil", "stroke:#1b1f24;stroke-width:%s", mm(3))
	rule(".box", "stroke:#8a5200;stroke-width:%s;stroke-dasharray:%s", mm(3), mm(2, 1.4))
	rule(".viewpoint,.arrow", "fill:#1b1f24;stroke:none")
	rule(".dimension", "stroke:#566270;stroke-width:%s", mm(.7))
	rule(".scale", "stroke:#1b1f24;stroke-width:%s", mm(2))
	return b.String()
}
