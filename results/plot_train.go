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

// eye draws the pupil's rim and how far it may wander, and the combiner before
// it.
func (d *ReportDrawing) eye(s *svgDrawing) {
	if d.CombinerMM > 0 {
		half := d.tallest()
		middle := (d.Lenses[len(d.Lenses)-1].EndMM + d.EyeMM) / 2
		s.element("rect", "plate", "x", middle-d.CombinerMM/2, "y", -half, "width", d.CombinerMM, "height", 2*half)
	}
	reach := (d.PupilMM + d.BoxMM) / 2
	for _, side := range []float64{-1, 1} {
		s.line("pupil", xy{d.EyeMM, side * reach}, xy{d.EyeMM, side * (reach + 4)})
		s.line("box", xy{d.EyeMM, side * reach}, xy{d.EyeMM, side * (reach - d.BoxMM)})
	}
}

// trainSVG draws the train to scale with its rays. The page shows it as wide as
// it can be.
func (d *ReportDrawing) trainSVG(id, name string, lengthMM, reliefMM float64) string {
	s := &svgDrawing{decimals: 2}
	length := d.EyeMM
	// A viewpoint far before the train would make it small.
	shown := d.ViewpointMM > -0.8*length && d.ViewpointMM < 1.2*length
	left, right := -0.06*length, d.EyeMM+0.05*length
	if shown {
		left = math.Min(left, d.ViewpointMM-0.05*length)
		right = math.Max(right, d.ViewpointMM+0.05*length)
	}
	wide := right - left
	// Text and lines are sized for a page of about 960 units across.
	unit := wide / 960
	half := d.tallest()
	size := func(px float64) string { return s.coordinate(px*unit) + "px" }
	top, bottom := -half-34*unit, half+62*unit
	style := func(px float64) string { return "font-size:" + size(px) }
	label := func(class string, at xy, text, anchor string) {
		s.text(class, at, text, "text-anchor", anchor, "style", style(13))
	}

	s.line("axis", xy{left, 0}, xy{right, 0})
	d.lenses(s)
	for _, r := range d.Rays {
		points := r.Points
		if n := len(points); n > 1 && !r.Lost {
			// On to the edge of the drawing, as the last direction goes.
			a, b := points[n-2], points[n-1]
			end := left + 4*unit
			points = append(points[:n-1:n-1], ReportPoint{end, b.Y + (b.Y-a.Y)/(b.X-a.X)*(end-b.X)})
		}
		class := "ray f" + strconv.Itoa(r.Field)
		if r.Chief {
			class += " chief"
		}
		s.path(class, flat(points), false)
	}
	maskHalf := math.Min(d.MaskHalfMM, half+6*unit)
	d.mask(s, "mask", d.MaskFarMM, maskHalf)
	d.mask(s, "mask near", d.MaskNearMM, maskHalf)
	middle := (d.MaskFarMM + d.MaskNearMM) / 2
	label("mask-name", xy{middle, -half - 20*unit}, "mask", "middle")
	label("mask-name", xy{math.Min(d.MaskFarMM, d.MaskNearMM) - 2*unit, -half - 7*unit}, d.nameOfEnd(true), "end")
	label("mask-name", xy{math.Max(d.MaskFarMM, d.MaskNearMM) + 2*unit, -half - 7*unit}, d.nameOfEnd(false), "start")
	for i, l := range d.Lenses {
		if i == 0 || d.Lenses[i-1].Group != l.Group {
			end := l.EndMM
			for _, next := range d.Lenses[i:] {
				if next.Group == l.Group {
					end = next.EndMM
				}
			}
			label("name", xy{(l.FirstMM + end) / 2, -half - 20*unit}, l.Group, "middle")
		}
	}
	d.eye(s)
	label("name", xy{d.EyeMM, -half - 20*unit}, "eye", "middle")
	if d.CombinerMM > 0 {
		label("name", xy{(lengthMM + d.EyeMM) / 2, -half - 20*unit}, "combiner", "middle")
	}
	if shown {
		at := d.ViewpointMM
		s.path("viewpoint", []xy{{at, 0}, {at - 6*unit, 11 * unit}, {at + 6*unit, 11 * unit}}, true)
		label("name", xy{at, 27 * unit}, "viewpoint", "middle")
	} else {
		side, anchor := left+4*unit, "start"
		if d.ViewpointMM > right {
			side, anchor = right-4*unit, "end"
		}
		label("name", xy{side, 27 * unit}, fmt.Sprintf("viewpoint at %s mm, beyond the drawing", Fixed(d.ViewpointMM, 1)), anchor)
	}
	y := half + 24*unit
	s.dimension(xy{0, y}, lengthMM, "length "+Fixed(lengthMM, 2)+" mm", unit, half, style(13))
	s.dimension(xy{lengthMM, y}, reliefMM, "eye relief "+Fixed(reliefMM, 2)+" mm", unit, half, style(13))
	bar := 50.0
	s.line("scale", xy{0, half + 50*unit}, xy{bar, half + 50*unit})
	label("tick", xy{bar + 6*unit, half + 54*unit}, "50 mm", "start")

	description := fmt.Sprintf("Section through the axis, world on the left, eye on the right. %d lenses. The mask stands at %s mm from the first vertex for far and at %s mm for near, the eye at %s mm, the viewpoint at %s mm. "+
		"Chief rays and edge rays of %d field samples for the far depth.",
		len(d.Lenses), Fixed(d.MaskFarMM, 2), Fixed(d.MaskNearMM, 2), Fixed(d.EyeMM, 2), Fixed(d.ViewpointMM, 2), d.fields())
	return s.named(id, "train", "Train of "+name+", to scale", description,
		fmt.Sprintf(` style="--u:%s"`, size(1)), [4]float64{left, top, wide, bottom - top})
}

// nameOfEnd labels the mask's place for far or near, on the side on which it is.
func (d *ReportDrawing) nameOfEnd(left bool) string {
	if left == (d.MaskFarMM <= d.MaskNearMM) {
		return "far"
	}
	return "near"
}

func (d *ReportDrawing) fields() int {
	n := 0
	for _, r := range d.Rays {
		n = max(n, r.Field+1)
	}
	return n
}

// dimension draws a dimension line from a point along the axis, with lines down
// from the axis at its ends.
func (s *svgDrawing) dimension(from xy, length float64, text string, unit, half float64, style string) {
	to := xy{from.x + length, from.y}
	s.line("dimension", from, to)
	for _, end := range []xy{from, to} {
		s.line("dimension", xy{end.x, half * 0.15}, xy{end.x, end.y + 5*unit})
	}
	arrow := 7 * unit
	s.path("arrow", []xy{from, {from.x + arrow, from.y - arrow/3}, {from.x + arrow, from.y + arrow/3}}, true)
	s.path("arrow", []xy{to, {to.x - arrow, to.y - arrow/3}, {to.x - arrow, to.y + arrow/3}}, true)
	// Where the text is wider than the line it stands below, out of the way of
	// its neighbour.
	at := xy{(from.x + to.x) / 2, from.y - 4*unit}
	if length < 7.5*unit*float64(len(text)) {
		at.y = from.y + 14*unit
	}
	s.text("tick", at, text, "text-anchor", "middle", "style", style)
}

const (
	// stripMM is how much of a train stands on one strip of the full-size
	// drawing: it fits between the margins of upright A4 and Letter paper.
	stripMM = 170.0
	// stripOverlapMM is what two strips share, to be laid over each other. No
	// text of the drawing is longer, so that each stands whole on some strip.
	stripOverlapMM = 30.0
	// barMM is the bar to measure the print by.
	barMM = 100.0
)

// fullSize is the room that the full-size drawing takes, in mm.
func (d *ReportDrawing) fullSize() (left, right, top, bottom float64) {
	half := d.tallest()
	return -6, math.Ceil(d.EyeMM) + 6, -half - 16, half + 18
}

// drawFullSize draws the train for the bench in units of mm, from one place
// along the axis to another: outlines, mask, eye and a rule, without rays.
func (d *ReportDrawing) drawFullSize(s *svgDrawing, from, to float64) {
	half := d.tallest()
	left, right, _, _ := d.fullSize()
	shows := func(a, b float64) bool { return b >= from && a <= to }
	// What would be cut stands whole on the next strip, where there is one.
	whole := func(a, b float64) bool { return shows(a, b) && (a >= from || from <= left) && (b <= to || to >= right) }
	s.line("axis", xy{from, 0}, xy{to, 0})
	part := *d
	part.Lenses = nil
	for i, l := range d.Lenses {
		reach := l.HalfMM // no surface bulges farther from its vertex
		if shows(l.FirstMM-reach, l.EndMM+reach) {
			part.Lenses = append(part.Lenses, l)
		}
		if whole(l.FirstMM, l.FirstMM+stripOverlapMM) {
			// Names of close lenses stand at different heights.
			up := -half - 4 - 4*float64(i%3)
			s.line("dimension", xy{l.FirstMM, 0}, xy{l.FirstMM, up + 1})
			s.text("full", xy{l.FirstMM + 0.8, up + 1.5}, fmt.Sprintf("%s  %s", Fixed(l.FirstMM, 2), l.Part))
		}
	}
	part.lenses(s)
	maskHalf := math.Min(d.MaskHalfMM, half)
	for _, m := range []struct {
		at, other   float64
		class, name string
	}{{d.MaskFarMM, d.MaskNearMM, "mask", "far"}, {d.MaskNearMM, d.MaskFarMM, "mask near", "near"}} {
		if !shows(m.at-stripOverlapMM, m.at+stripOverlapMM) {
			continue
		}
		d.mask(s, m.class, m.at, maskHalf)
		anchor, shift := "end", -0.6
		if m.at > m.other {
			anchor, shift = "start", 0.6
		}
		if reach := math.Copysign(stripOverlapMM, shift); !whole(math.Min(m.at, m.at+reach), math.Max(m.at, m.at+reach)) {
			continue
		}
		s.line("dimension", xy{m.at, maskHalf}, xy{m.at, half + 3})
		s.text("full", xy{m.at + shift, half + 3}, fmt.Sprintf("mask %s %s", m.name, Fixed(m.at, 2)), "text-anchor", anchor)
	}
	d.eye(s)
	if whole(d.EyeMM-stripOverlapMM, d.EyeMM) {
		s.line("dimension", xy{d.EyeMM, 0}, xy{d.EyeMM, -half - 3})
		s.text("full", xy{d.EyeMM, -half - 4}, "eye "+Fixed(d.EyeMM, 2), "text-anchor", "end")
	}
	rule, end := half+7, math.Ceil(d.EyeMM/10)*10
	first, last := math.Max(0, math.Ceil(from)), math.Min(end, math.Floor(to))
	var ticks strings.Builder
	for mm := first; mm <= last; mm++ {
		tick := 1.2
		switch {
		case math.Mod(mm, 10) == 0:
			tick = 3.5
			if digits := 4.0; whole(mm-digits, mm+digits) {
				s.text("full", xy{mm, rule + 7}, Fixed(mm, 0), "text-anchor", "middle")
			}
		case math.Mod(mm, 5) == 0:
			tick = 2.2
		}
		fmt.Fprintf(&ticks, "M%s %sv%s", s.coordinate(mm), s.coordinate(rule), s.coordinate(tick))
	}
	s.element("path", "scale", "d", ticks.String()+fmt.Sprintf("M%s %sH%s", s.coordinate(first), s.coordinate(rule), s.coordinate(last)))
}

// strips cut the full-size drawing to paper: each is an SVG of its own that
// begins an overlap before the end of the last.
func (d *ReportDrawing) strips(id, name string) []string {
	left, right, top, bottom := d.fullSize()
	count := max(1, int(math.Ceil((right-left-stripOverlapMM)/(stripMM-stripOverlapMM))))
	var out []string
	for i := range count {
		from := left + float64(i)*(stripMM-stripOverlapMM)
		wide := math.Min(stripMM, right-from)
		s := &svgDrawing{decimals: 2}
		d.drawFullSize(s, from, from+wide)
		if i > 0 {
			s.line("cut", xy{from + stripOverlapMM, top}, xy{from + stripOverlapMM, bottom})
		}
		if i < count-1 {
			s.line("cut", xy{from + wide, top}, xy{from + wide, bottom})
		}
		out = append(out, s.named(fmt.Sprintf("%s-%d", id, i+1), "full-size", fmt.Sprintf("%s in full size, strip %d of %d", name, i+1, count),
			fmt.Sprintf("From %s to %s mm along the axis, one unit a millimetre.", Fixed(from, 0), Fixed(from+wide, 0)),
			fmt.Sprintf(` width="%smm" height="%smm"`, s.coordinate(wide), s.coordinate(bottom-top)),
			[4]float64{from, top, wide, bottom - top}))
	}
	return out
}

// scaleBar is a bar to measure the print by.
func scaleBar(id string) string {
	s := &svgDrawing{decimals: 2}
	s.line("scale", xy{5, 3}, xy{5 + barMM, 3})
	for mm := 0.0; mm <= barMM; mm += 10 {
		s.line("scale", xy{5 + mm, 3}, xy{5 + mm, 5})
	}
	s.text("full", xy{5, 9}, "0", "text-anchor", "middle")
	s.text("full", xy{5 + barMM/2, 9}, "must measure 100 mm", "text-anchor", "middle")
	s.text("full", xy{5 + barMM, 9}, "100", "text-anchor", "middle")
	return s.named(id, "full-size", "Bar of 100 mm", "Measure it on the print: it has to be 100 mm long.",
		` width="110mm" height="11mm"`, [4]float64{0, 0, barMM + 10, 11})
}

// standalone is the full-size drawing as a file of its own, with the few styles
// that it needs, black on white.
func (d *ReportDrawing) standalone(name string) string {
	left, right, top, bottom := d.fullSize()
	s := &svgDrawing{decimals: 3}
	s.b.WriteString(`<style>` + standaloneStyle + `</style>`)
	d.drawFullSize(s, left, right)
	return s.named("t", "full-size", name+" in full size", "One unit a millimetre.",
		fmt.Sprintf(` width="%smm" height="%smm"`, s.coordinate(right-left), s.coordinate(bottom-top)),
		[4]float64{left, top, right - left, bottom - top})
}

// standaloneStyle is what the page's style sheet says of full-size drawings.
const standaloneStyle = `line,path{fill:none;stroke:#000;stroke-width:.2}.glass{fill:#eee}.rim{stroke-width:.8}` +
	`.axis{stroke-dasharray:6 1.5 1 1.5}.mask{stroke-width:.5;stroke:#000;fill:none}.near{stroke-dasharray:1.5 1}.plate{stroke-width:.2}` +
	`rect{fill:none;stroke:#000;stroke-width:.2}.pupil{stroke-width:.8}.box{stroke-width:.4;stroke-dasharray:.6 .4}text{font:3px sans-serif;fill:#000}`
