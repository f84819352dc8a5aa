package results

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

const (
	// stripMM is how much of a train stands on one strip of the full-size
	// drawing: it fits between the margins of upright A4 and Letter paper, with
	// stripEndMM beyond each cut. stripLeastMM are enough for a label.
	stripMM      = 170.0
	stripEndMM   = 2.0
	stripLeastMM = 40.0
	// barMM is the bar to measure the print by.
	barMM = 100.0
	// fullText is the size of letters, fullLevel the distance of two lines of them.
	fullText, fullLevel = 3.0, 4.2
	// nameShift is between a line and the label beside it.
	nameShift = 0.8
)

// fullSize is the room along the axis that the full-size drawing takes, in mm.
func (d *ReportDrawing) fullSize() (left, right float64) {
	return -6, math.Ceil(d.EyeMM) + 6
}

// occupied are the places along the axis where something stands that is better
// not cut in two: from and to, those of the lenses first.
func (d *ReportDrawing) occupied() [][2]float64 {
	const room = 1.0
	var all [][2]float64
	for _, l := range d.Lenses {
		from, to := l.FirstMM, l.EndMM
		for _, outline := range l.Glasses {
			for _, p := range outline {
				from, to = math.Min(from, p.X), math.Max(to, p.X)
			}
		}
		all = append(all, [2]float64{from - room, to + room})
	}
	// The way of a mask stays whole.
	reach := d.MaskGlassMM/2 + room
	for _, m := range d.Masks {
		ends := m.ends()
		all = append(all, [2]float64{ends[0].at - reach, ends[1].at + reach})
	}
	if d.CombinerMM > 0 {
		from, to := d.combiner()
		all = append(all, [2]float64{from - room, to + room})
	}
	return append(all, [2]float64{d.EyeMM - room, d.EyeMM + room})
}

// cuts are the ends of the strips, those of the train included. Strips are as few
// and as much of a length as can be if each is to end where nothing stands.
func (d *ReportDrawing) cuts() []float64 {
	left, right := d.fullSize()
	ends := []float64{left}
	for from := left; right-from > stripMM; from = ends[len(ends)-1] {
		cut, found := 0.0, false
		for count := math.Ceil((right - from) / stripMM); !found; count++ {
			least, most := math.Max(from+stripLeastMM, right-(count-1)*stripMM), from+stripMM
			share := math.Min(math.Max(from+(right-from)/count, least), most)
			cut, found = d.freePlace(share, least, most)
			// Where something stands all along a strip, it is cut.
			found = found || least == from+stripLeastMM
		}
		ends = append(ends, cut)
	}
	return append(ends, right)
}

// freePlace is the place along the axis nearest to one, between two others, where
// nothing stands, or that one if there is none.
func (d *ReportDrawing) freePlace(wanted, least, most float64) (at float64, found bool) {
	const step = 0.5
	occupied := d.occupied()
	at = wanted
	for x := least; x <= most; x += step {
		free := !slices.ContainsFunc(occupied, func(o [2]float64) bool { return o[0] < x && x < o[1] })
		if free && (!found || math.Abs(x-wanted) < math.Abs(at-wanted)) {
			at, found = x, true
		}
	}
	return at, found
}

// fullNames are the labels of a strip: above the axis lenses and eye, below it the
// places of the mask.
type fullNames struct {
	texts   []string
	leaders []leader
	levels  int
}

func (n *fullNames) add(at float64, text string) {
	n.texts = append(n.texts, text)
	n.leaders = append(n.leaders, leader{at: at, width: nameShift + textWidth(text, fullText)})
}

// namesOn are the labels of what stands from one place along the axis to another.
func (d *ReportDrawing) namesOn(from, to float64) (above, below fullNames) {
	shows := func(at float64) bool { return from <= at && at < to }
	for _, l := range d.Lenses {
		if shows(l.FirstMM) {
			above.add(l.FirstMM, Fixed(l.FirstMM, 2)+"  "+l.Part)
		}
	}
	if shows(d.EyeMM) {
		above.add(d.EyeMM, "eye "+Fixed(d.EyeMM, 2))
	}
	for _, m := range slices.Backward(d.Masks) { // from the world to the eye
		for _, end := range m.ends() {
			if shows(end.at) {
				below.add(end.at, m.Words+" "+end.name+" "+Fixed(end.at, 2))
			}
		}
	}
	above.levels = placeLeaders(above.leaders, from, to)
	below.levels = placeLeaders(below.leaders, from, to)
	return above, below
}

// draw draws the labels with their lines, from one height, where those of the
// lowest level stand at another; away is the direction of higher levels.
func (n *fullNames) draw(s *svgDrawing, from, lowest, away float64) {
	for i, l := range n.leaders {
		base := lowest + away*fullLevel*float64(l.level)
		end := base - letterUp*fullText
		if away > 0 {
			end = base + letterDown*fullText
		}
		s.line("dimension", xy{l.at, from}, xy{l.at, end})
		if l.left {
			s.text("full", xy{l.at - nameShift, base}, n.texts[i], "text-anchor", "end")
		} else {
			s.text("full", xy{l.at + nameShift, base}, n.texts[i])
		}
	}
}

// strip draws the train for the bench in units of mm, from one place along the
// axis to another: outlines, mask, eye and a rule, without rays. It returns how
// far the drawing reaches above and below the axis.
func (d *ReportDrawing) strip(s *svgDrawing, from, to float64) (top, bottom float64) {
	shows := func(a, b float64) bool { return b > from && a < to }
	part := *d
	part.Lenses = nil
	for i, o := range d.occupied()[:len(d.Lenses)] {
		if shows(o[0], o[1]) {
			part.Lenses = append(part.Lenses, d.Lenses[i])
		}
	}
	half := part.tallest()
	s.line("axis", xy{from, 0}, xy{to, 0})
	above, below := d.namesOn(from, to)
	const gap = 1.5
	maskHalf := math.Min(d.MaskHalfMM, d.tallest())
	if len(below.texts) > 0 {
		half = math.Max(half, maskHalf)
	}
	above.draw(s, 0, -half-gap-letterDown*fullText, -1)
	part.lenses(s)
	for _, m := range d.Masks {
		if from <= m.FarMM && m.FarMM < to {
			d.mask(s, "mask", m.FarMM, maskHalf)
		}
		if from <= m.NearMM && m.NearMM < to {
			d.mask(s, "mask near", m.NearMM, maskHalf)
		}
	}
	below.draw(s, maskHalf, half+gap+letterUp*fullText, 1)
	if from <= d.EyeMM && d.EyeMM < to {
		d.eye(s)
	}
	if d.CombinerMM > 0 && shows(d.combiner()) {
		d.drawCombiner(s, half)
	}
	rule := half + gap + fullLevel*float64(below.levels) + 2
	d.rule(s, rule, from, to)
	return -half - gap - fullLevel*float64(above.levels) - 1, rule + 8
}

// rule draws millimetres along the axis, at a height.
func (d *ReportDrawing) rule(s *svgDrawing, height, from, to float64) {
	first, last := math.Max(0, math.Ceil(from)), math.Min(math.Ceil(d.EyeMM/10)*10, math.Floor(to))
	var ticks strings.Builder
	for mm := first; mm <= last; mm++ {
		tick := 1.2
		switch {
		case math.Mod(mm, 10) == 0:
			tick = 3.5
			name := Fixed(mm, 0)
			if wide := textWidth(name, fullText); mm-wide/2 >= from && mm+wide/2 <= to {
				s.text("full", xy{mm, height + 7}, name, "text-anchor", "middle")
			}
		case math.Mod(mm, 5) == 0:
			tick = 2.2
		}
		fmt.Fprintf(&ticks, "M%s %sv%s", s.coordinate(mm), s.coordinate(height), s.coordinate(tick))
	}
	s.element("path", "scale", "d", ticks.String()+fmt.Sprintf("M%s %sH%s", s.coordinate(first), s.coordinate(height), s.coordinate(last)))
}

// strips cut the full-size drawing to paper: each is an SVG of its own that
// begins where the last ended.
func (d *ReportDrawing) strips(id, name string) []string {
	ends := d.cuts()
	count := len(ends) - 1
	var out []string
	for i := range count {
		from, to := ends[i], ends[i+1]
		s := &svgDrawing{decimals: 2}
		top, bottom := d.strip(s, from, to)
		left, right := from, to
		if i > 0 {
			s.line("cut", xy{from, top}, xy{from, bottom})
			left -= stripEndMM
		}
		if i < count-1 {
			s.line("cut", xy{to, top}, xy{to, bottom})
			right += stripEndMM
		}
		out = append(out, s.named(fmt.Sprintf("%s-%d", id, i+1), "full-size", fmt.Sprintf("%s in full size, strip %d of %d", name, i+1, count),
			fmt.Sprintf("From %s to %s mm along the axis, one unit a millimetre.", Fixed(from, 1), Fixed(to, 1)),
			fmt.Sprintf(` width="%smm" height="%smm"`, s.coordinate(right-left), s.coordinate(bottom-top)),
			[4]float64{left, top, right - left, bottom - top}))
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
	left, right := d.fullSize()
	s := &svgDrawing{decimals: 3}
	s.b.WriteString(`<style>` + standaloneStyle + `</style>`)
	top, bottom := d.strip(s, left, right)
	return s.named("t", "full-size", name+" in full size", "One unit a millimetre.",
		fmt.Sprintf(` width="%smm" height="%smm"`, s.coordinate(right-left), s.coordinate(bottom-top)),
		[4]float64{left, top, right - left, bottom - top})
}

// standaloneStyle is what the page's style sheet says of full-size drawings.
const standaloneStyle = `line,path{fill:none;stroke:#000;stroke-width:.2}.glass{fill:#eee}.rim{stroke-width:.8}` +
	`.axis{stroke-dasharray:6 1.5 1 1.5}.mask{stroke-width:.5;stroke:#000;fill:none}.near{stroke-dasharray:1.5 1}.plate{stroke-width:.2}` +
	`rect{fill:none;stroke:#000;stroke-width:.2}.pupil{stroke-width:.8}.box{stroke-width:.4;stroke-dasharray:.6 .4}text{font:3px sans-serif;fill:#000}`
