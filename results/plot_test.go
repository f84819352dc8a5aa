package results

import (
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// wellFormed reads an SVG as XML and counts its elements by name.
func wellFormed(t rapid.TB, svg string) map[string]int {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	elements := map[string]int{}
	for {
		token, err := d.Token()
		if err == io.EOF {
			return elements
		}
		if err != nil {
			t.Fatalf("%v\n%s", err, svg)
		}
		if start, is := token.(xml.StartElement); is {
			elements[start.Name.Local]++
		}
	}
}

// TestTicks: the values of an axis are round, inside it, evenly apart, and
// neither few nor crowded.
func TestTicks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e4, 1e4).Draw(t, "lo")
		wide := math.Pow(10, rapid.Float64Range(-3, 5).Draw(t, "wide"))
		values, decimals := ticks(lo, lo+wide, 5)
		if len(values) < 2 || len(values) > 6 {
			t.Fatalf("%d values from %v on over %v: %v", len(values), lo, wide, values)
		}
		step := values[1] - values[0]
		mantissa := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9))
		if r := math.Round(mantissa); math.Abs(mantissa-r) > 1e-6 || r != 1 && r != 2 && r != 5 {
			t.Errorf("a step of %v", step)
		}
		for i, v := range values {
			if v < lo-1e-9*wide || v > lo+wide*(1+1e-9) {
				t.Errorf("%v lies outside", v)
			}
			if i > 0 && Fixed(v, decimals) == Fixed(values[i-1], decimals) {
				t.Errorf("%v and %v read the same with %d decimals", values[i-1], v, decimals)
			}
		}
	})
}

// TestChartPlaces looks up where a chart draws its points: linear between the
// ends of its axes, and within the frame.
func TestChartPlaces(t *testing.T) {
	c := chart{title: "a < b & c", x: chartAxis{"x", "mm"}, y: chartAxis{"y", ""}, series: []chartSeries{
		{label: "line", style: 0, points: []xy{{0, 0}, {5, 10}, {10, 40}}},
		{label: "gaps", style: 1, points: []xy{{0, math.Inf(1)}, {5, math.NaN()}, {10, 20}}},
	}, limits: []chartLimit{{30, "limit", false}, {7, "here", true}}}
	svg := c.svg("id")
	if n := wellFormed(t, svg); n["circle"] < 4 || n["title"] != 1 || n["desc"] != 1 {
		t.Errorf("the chart has %v", n)
	}
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || !strings.Contains(svg, "a &lt; b &amp; c") {
		t.Error(svg)
	}
	x := chartScale{from: chartLeft, to: chartWidth - chartRight}
	x.lo, x.hi = c.extent(func(p xy) float64 { return p.x }, true)
	if x.at(0) < chartLeft || x.at(10) > chartWidth || math.Abs(x.at(5)-(x.at(0)+x.at(10))/2) > 1e-9 {
		t.Errorf("0, 5, 10 stand at %v, %v, %v", x.at(0), x.at(5), x.at(10))
	}
}

// TestTradeChart marks those designs that no other beats in both numbers, on
// random ones against a comparison of each with all.
func TestTradeChart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := &Report{RankedBy: "length_mm"}
		length := 100.0
		for i := range rapid.IntRange(2, 12).Draw(t, "designs") {
			length += float64(rapid.IntRange(1, 3).Draw(t, "longer"))
			r.Designs = append(r.Designs, Design{Rank: i + 1, LengthMM: length, ViewBlurArcmin: float64(rapid.IntRange(1, 9).Draw(t, "blur"))})
		}
		c := tradeChart(r, "view_blur_arcmin", "", chartAxis{}, false)
		if c == nil {
			for _, d := range r.Designs {
				if d.ViewBlurArcmin != r.Designs[0].ViewBlurArcmin {
					t.Fatal("no chart of designs that differ")
				}
			}
			return
		}
		got := map[xy]bool{}
		for _, p := range c.series[0].points {
			got[p] = true
		}
		for _, d := range r.Designs {
			beaten := false
			for _, e := range r.Designs {
				if e.LengthMM < d.LengthMM && e.ViewBlurArcmin <= d.ViewBlurArcmin {
					beaten = true
				}
			}
			if got[xy{d.ViewBlurArcmin, d.LengthMM}] == beaten {
				t.Errorf("rank %d is beaten: %v, and marked as not beaten: %v", d.Rank, beaten, !beaten)
			}
		}
	})
}

// TestShare: bars are full at the bound, from either side.
func TestShare(t *testing.T) {
	for _, c := range []struct {
		value float64
		bound Bound
		limit float64
		want  float64
	}{
		{5, AtMost, 10, 0.5}, {-5, AtMost, 10, 0.5}, {10, AtMost, 10, 1}, {20, AtMost, 10, 2}, {0, AtMost, 0, 0}, {1, AtMost, 0, math.Inf(1)},
		{20, AtLeast, 10, 0.5}, {10, AtLeast, 10, 1}, {5, AtLeast, 10, 2}, {5, AtLeast, 0, 0}, {-1, AtLeast, 1, math.Inf(1)},
	} {
		if got := usedShare(c.value, c.bound, c.limit); got != c.want {
			t.Errorf("%v %s %v: %v of the bound is used, not %v", c.value, c.bound, c.limit, got, c.want)
		}
	}
}

// TestNamePieces: names are broken behind the signs that part them, not at
// hyphens and decimal points, and say the same put together.
func TestNamePieces(t *testing.T) {
	for name, want := range map[string]string{
		"erector-single:rear:AB-25x12.5/r|C|D+E": "erector-single: rear: AB-25x12.5/r| C| D+ E",
		"limits.view_blur_arcmin":                "limits. view_ blur_ arcmin",
		"12.5":                                   "12.5", "": "", "a.": "a.", "|": "|",
	} {
		if got := strings.Join(namePieces(name), " "); got != want {
			t.Errorf("%q parts into %q, not %q", name, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.String().Draw(t, "name")
		if got := strings.Join(namePieces(name), ""); got != name {
			t.Errorf("%q comes together as %q", name, got)
		}
	})
}

// drawnTrain is a drawing of invented lenses.
func drawnTrain(eye float64) *ReportDrawing {
	d := &ReportDrawing{Masks: []DrawnMask{{"mask", 0.6 * eye, 0.63 * eye}}, MaskHalfMM: 12, EyeMM: eye, ViewpointMM: -0.3 * eye, PupilMM: 4, BoxMM: 2}
	for i := range 5 {
		z := float64(i) * eye / 6
		d.Lenses = append(d.Lenses, ReportLens{Group: "front", Part: "AAA-BBBxCCC", HalfMM: 12, FirstMM: z, EndMM: z + 5,
			Glasses: [][]ReportPoint{{{z, -12}, {z, 12}, {z + 5, 12}, {z + 5, -12}}}})
	}
	d.Rays = []ReportRay{{Chief: true, Points: []ReportPoint{{eye, 0}, {5, 1}, {0, 2}}}, {Lost: true, Points: []ReportPoint{{eye, 0}, {5, 1}}}}
	return d
}

// TestStrips: strips of any train are no wider than paper, lie edge to edge, cover
// the train from end to end, show each lens and each name once, and are cut where
// nothing stands.
func TestStrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawnTrain(rapid.Float64Range(60, 1500).Draw(t, "eye"))
		left, right := d.fullSize()
		cuts := d.cuts()
		if cuts[0] != left || cuts[len(cuts)-1] != right {
			t.Errorf("the cuts %v do not go from %v to %v", cuts, left, right)
		}
		for _, cut := range cuts[1 : len(cuts)-1] {
			for _, l := range d.Lenses {
				if l.FirstMM < cut && cut < l.EndMM {
					t.Errorf("a cut at %v goes through the lens at %v", cut, l.FirstMM)
				}
			}
			if d.Masks[0].FarMM < cut && cut < d.Masks[0].NearMM {
				t.Errorf("a cut at %v goes through the way of the mask", cut)
			}
		}
		end, all := left, ""
		for i, svg := range d.strips("id", "name") {
			wellFormed(t, svg)
			var s struct {
				Width   string `xml:"width,attr"`
				ViewBox string `xml:"viewBox,attr"`
			}
			if err := xml.Unmarshal([]byte(svg), &s); err != nil {
				t.Fatal(err)
			}
			frame := numbers(t, s.ViewBox)
			// 180 mm stand between the margins of A4.
			if width := numbers(t, strings.TrimSuffix(s.Width, "mm"))[0]; width != frame[2] || width > 180 {
				t.Errorf("a strip is %v mm wide for %v units", width, frame[2])
			}
			// What stands on a strip, without the paper beyond its cuts.
			from, to := frame[0], frame[0]+frame[2]
			if i > 0 {
				from += stripEndMM
			}
			if i < len(cuts)-2 {
				to -= stripEndMM
			}
			if math.Abs(from-end) > 0.03 {
				t.Errorf("a strip begins at %v where the last ended at %v", from, end)
			}
			end = to
			all += svg
		}
		if math.Abs(end-right) > 0.03 {
			t.Errorf("the last strip ends at %v, not %v", end, right)
		}
		if n := strings.Count(all, `class="glass"`); n != len(d.Lenses) {
			t.Errorf("%d lenses are drawn of %d", n, len(d.Lenses))
		}
		for _, class := range []string{"mask", "mask near"} {
			if n := strings.Count(all, `<line class="`+class+`"`); n != 1 {
				t.Errorf("the %s is drawn %d times", class, n)
			}
		}
		names := []string{"mask far " + Fixed(d.Masks[0].FarMM, 2), "mask near " + Fixed(d.Masks[0].NearMM, 2), "eye " + Fixed(d.EyeMM, 2)}
		for _, l := range d.Lenses {
			names = append(names, Fixed(l.FirstMM, 2)+"  AAA-BBBxCCC")
		}
		for _, name := range names {
			if n := strings.Count(all, ">"+name+"<"); n != 1 {
				t.Errorf("%s stands %d times", name, n)
			}
		}
	})
}

// TestLeaders: whatever stands close together, no line runs through a label and no
// label lies over another; where a row has room for all, all stand in it.
func TestLeaders(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var leaders []leader
		at := 0.0
		for range rapid.IntRange(1, 9).Draw(t, "labels") {
			at += rapid.Float64Range(0.5, 40).Draw(t, "apart")
			leaders = append(leaders, leader{at: at, width: rapid.Float64Range(5, 30).Draw(t, "wide")})
		}
		from, to := -40.0, at+40
		levels := placeLeaders(leaders, from, to)
		apart := true
		for i, l := range leaders {
			a, b := l.reach()
			if a < from || b > to || l.level < 0 || l.level >= levels {
				t.Errorf("label %d reaches from %v to %v at level %d of %d", i, a, b, l.level, levels)
			}
			for k, o := range leaders {
				if k == i {
					continue
				}
				if a < o.at && o.at < b && o.level >= l.level {
					t.Errorf("the line of label %d runs through label %d: %+v", k, i, leaders)
				}
				c, e := o.reach()
				if o.level == l.level && a < e && c < b {
					t.Errorf("labels %d and %d lie over each other: %+v", i, k, leaders)
				}
				apart = apart && (k < i || o.at-l.at > l.width)
			}
		}
		if apart && levels != 1 {
			t.Errorf("%d levels for labels that have room: %+v", levels, leaders)
		}
	})
}

// TestRows: centred names touch no other in their row.
func TestRows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 9).Draw(t, "names")
		middles, widths := make([]float64, n), make([]float64, n)
		for i := range n {
			middles[i] = rapid.Float64Range(0, 200).Draw(t, "middle")
			widths[i] = rapid.Float64Range(1, 60).Draw(t, "wide")
		}
		rows := placeRows(middles, widths)
		for i := range n {
			for k := range i {
				if rows[i] == rows[k] && math.Abs(middles[i]-middles[k]) < (widths[i]+widths[k])/2-1e-9 {
					t.Errorf("names %d and %d touch in row %d of %v, %v", k, i, rows[i], middles, widths)
				}
			}
		}
	})
}

// TestCrosses: a piece of line runs through a box if any of many points on it lies
// inside, and passes it if none does within what the points leave between them.
func TestCrosses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value := rapid.Float64Range(-10, 10)
		b := box{value.Draw(t, "left"), value.Draw(t, "top"), 0, 0}
		b.right, b.bottom = b.left+5, b.top+3
		p, q := xy{value.Draw(t, "px"), value.Draw(t, "py")}, xy{value.Draw(t, "qx"), value.Draw(t, "qy")}
		const steps, slack = 2000, 0.02
		inside, near := false, false
		for i := range steps + 1 {
			f := float64(i) / steps
			x, y := p.x+f*(q.x-p.x), p.y+f*(q.y-p.y)
			inside = inside || b.left <= x && x <= b.right && b.top <= y && y <= b.bottom
			near = near || b.left-slack <= x && x <= b.right+slack && b.top-slack <= y && y <= b.bottom+slack
		}
		if got := b.crosses(p, q); inside && !got || got && !near {
			t.Errorf("%+v and the line from %v to %v: %v", b, p, q, got)
		}
	})
}

// TestPointNames: names of points in a chart lie neither over each other nor on a
// mark, as far as their letters are no wider than estimated.
func TestPointNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		named, rest := chartSeries{steps: true}, chartSeries{style: 1, noLine: true}
		for i := range rapid.IntRange(2, 14).Draw(t, "points") {
			p := xy{rapid.Float64Range(0, 1).Draw(t, "x"), rapid.Float64Range(0, 1).Draw(t, "y")}
			if i%2 == 0 {
				named.points, named.names = append(named.points, p), append(named.names, strings.Repeat("1", 1+i%3))
			} else {
				rest.points = append(rest.points, p)
			}
		}
		var drawn struct {
			Texts []struct {
				Class string  `xml:"class,attr"`
				X     float64 `xml:"x,attr"`
				Y     float64 `xml:"y,attr"`
				Text  string  `xml:",chardata"`
			} `xml:"text"`
			Marks []struct {
				X float64 `xml:"cx,attr"`
				Y float64 `xml:"cy,attr"`
			} `xml:"circle"`
		}
		c := chart{series: []chartSeries{named, rest}}
		if err := xml.Unmarshal([]byte(c.svg("id")), &drawn); err != nil {
			t.Fatal(err)
		}
		var boxes []box
		for _, text := range drawn.Texts {
			if text.Class != "point-name" {
				continue
			}
			b := textBox(xy{text.X, text.Y}, text.Text, pointSize)
			for _, o := range boxes {
				if b.overlaps(o) {
					t.Errorf("%s at (%v, %v) lies over another name", text.Text, text.X, text.Y)
				}
			}
			boxes = append(boxes, b)
			for _, m := range drawn.Marks {
				if m.X > b.left && m.X < b.right && m.Y > b.top && m.Y < b.bottom {
					t.Errorf("%s at (%v, %v) lies on a mark", text.Text, text.X, text.Y)
				}
			}
		}
		if len(boxes) == 0 {
			t.Error("no point is named")
		}
	})
}

func numbers(t rapid.TB, text string) []float64 {
	t.Helper()
	var out []float64
	for _, field := range strings.Fields(text) {
		var x float64
		if err := xml.Unmarshal([]byte("<x>"+field+"</x>"), &x); err != nil {
			t.Fatal(err)
		}
		out = append(out, x)
	}
	return out
}

// drawnText is a text of a drawing of a train, with the room that it is estimated
// to take.
type drawnText struct {
	text string
	room box
}

// trainTexts are the texts of a drawing and its lines of dimensions.
func trainTexts(t rapid.TB, svg string) (texts []drawnText, lines [][2]xy) {
	t.Helper()
	var drawn struct {
		Texts []struct {
			X      float64 `xml:"x,attr"`
			Y      float64 `xml:"y,attr"`
			Anchor string  `xml:"text-anchor,attr"`
			Style  string  `xml:"style,attr"`
			Text   string  `xml:",chardata"`
		} `xml:"text"`
		Lines []struct {
			Class string  `xml:"class,attr"`
			X1    float64 `xml:"x1,attr"`
			Y1    float64 `xml:"y1,attr"`
			X2    float64 `xml:"x2,attr"`
			Y2    float64 `xml:"y2,attr"`
		} `xml:"line"`
	}
	if err := xml.Unmarshal([]byte(svg), &drawn); err != nil {
		t.Fatal(err)
	}
	for _, d := range drawn.Texts {
		size := numbers(t, strings.TrimSuffix(strings.TrimPrefix(d.Style, "font-size:"), "px"))[0]
		wide := textWidth(d.Text, size)
		at := xy{d.X - map[string]float64{"start": 0, "middle": wide / 2, "end": wide}[d.Anchor], d.Y}
		texts = append(texts, drawnText{d.Text, textBox(at, d.Text, size)})
	}
	for _, l := range drawn.Lines {
		if l.Class == "dimension" || l.Class == "scale" {
			lines = append(lines, [2]xy{{l.X1, l.Y1}, {l.X2, l.Y2}})
		}
	}
	return texts, lines
}

// TestTrainTexts: whatever stands where in a train, no text of its drawing lies
// over another or is cut, and no line of dimensions runs through one.
func TestTrainTexts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := &ReportDrawing{MaskHalfMM: 12, PupilMM: 4, BoxMM: 2, CombinerMM: rapid.SampledFrom([]float64{0, 4}).Draw(t, "combiner")}
		z := 0.0
		for _, group := range []string{"front", "relay", "relay2", "rear"} {
			thick := rapid.Float64Range(2, 15).Draw(t, "thick")
			d.Lenses = append(d.Lenses, ReportLens{Group: group, HalfMM: rapid.Float64Range(5, 30).Draw(t, "half"), FirstMM: z, EndMM: z + thick})
			z += thick + rapid.Float64Range(1, 150).Draw(t, "gap")
		}
		length := d.Lenses[3].EndMM
		relief := rapid.Float64Range(10, 80).Draw(t, "relief")
		d.EyeMM = length + relief
		between := rapid.Float64Range(d.Lenses[0].EndMM, d.Lenses[3].FirstMM)
		d.Masks = []DrawnMask{{"mask", between.Draw(t, "far"), between.Draw(t, "near")}}
		if rapid.Bool().Draw(t, "two masks") {
			between = rapid.Float64Range(d.Lenses[0].EndMM, d.Lenses[1].FirstMM)
			d.Masks = append(d.Masks, DrawnMask{"mask at image 1", between.Draw(t, "far"), between.Draw(t, "near")})
			d.Masks[0].Words = "mask at image 2"
		}
		d.ViewpointMM = rapid.Float64Range(-2*length, 2*length).Draw(t, "viewpoint")
		svg := d.trainSVG("id", "name", length, relief)
		var frame struct {
			ViewBox string `xml:"viewBox,attr"`
		}
		if err := xml.Unmarshal([]byte(svg), &frame); err != nil {
			t.Fatal(err)
		}
		view := numbers(t, frame.ViewBox)
		texts, lines := trainTexts(t, svg)
		const slack = 0.02 // of coordinates with two decimals
		for i, a := range texts {
			inner := box{a.room.left + slack, a.room.top + slack, a.room.right - slack, a.room.bottom - slack}
			if !inner.inside(box{view[0], view[1], view[0] + view[2], view[1] + view[3]}) {
				t.Errorf("%s is cut: %+v in %v", a.text, a.room, view)
			}
			for _, b := range texts[:i] {
				if inner.overlaps(b.room) {
					t.Errorf("%s lies over %s: %+v, %+v", a.text, b.text, a.room, b.room)
				}
			}
			for _, l := range lines {
				if inner.crosses(l[0], l[1]) {
					t.Errorf("a line from %v to %v runs through %s: %+v", l[0], l[1], a.text, a.room)
				}
			}
		}
	})
}

// TestStandalone: the file in full size is XML by itself, and a train with a ray
// that is lost and a viewpoint far off is drawn.
func TestStandalone(t *testing.T) {
	d := drawnTrain(250)
	if n := wellFormed(t, d.standalone("name")); n["style"] != 1 || n["path"] < 5 {
		t.Errorf("the file has %v", n)
	}
	for _, at := range []float64{-80, -5000, 5000} {
		d.ViewpointMM = at
		svg := d.trainSVG("id", "name", 200, 50)
		wellFormed(t, svg)
		if strings.Contains(svg, "beyond the drawing") != (math.Abs(at) > 1000) {
			t.Errorf("a viewpoint at %v", at)
		}
	}
}
