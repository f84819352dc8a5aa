package results

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// linesShown is how many depths a chart over the field has lines for.
const linesShown = 5

// fieldChart is one measure of the ray check over the field, a line a depth.
func fieldChart(l *ReportDesign, title string, y chartAxis, of func(*Sample) float64, limits []chartLimit, fromZero bool) *chart {
	c := &chart{title: title, x: chartAxis{"half field angle", "deg"}, y: y, fromZero: fromZero, limits: limits}
	_, depths := sampleAxes(l.Design.Samples)
	for k, v := range spread(depths, linesShown) {
		one := chartSeries{label: depthName(v), style: k}
		for i := range l.Design.Samples {
			if s := &l.Design.Samples[i]; s.VergenceD == v {
				one.points = append(one.points, xy{l.halfAngle(s.FieldFraction), of(s)})
			}
		}
		c.series = append(c.series, one)
	}
	if l.FieldFraction < 1 {
		c.limits = append(c.limits, chartLimit{l.halfAngle(l.FieldFraction), "judged to here", true})
	}
	return c
}

// depthName is a depth with its vergence, short enough for a legend.
func depthName(vergenceD float64) string {
	if vergenceD == 0 {
		return "∞ (0 D)"
	}
	return fmt.Sprintf("%.3g m (%.3g D)", 1/vergenceD, vergenceD)
}

// limitOn is the bound that was asked for on a column, as a line of a chart.
func limitOn(asked []Asked, column string, signed bool) []chartLimit {
	var limits []chartLimit
	for _, a := range asked {
		if a.Column == column && a.Bound == AtMost {
			limits = append(limits, chartLimit{a.Value, "limit", false})
			if signed {
				limits = append(limits, chartLimit{-a.Value, "limit", false})
			}
		}
	}
	return limits
}

// designCharts are the charts of one design.
func designCharts(l *ReportDesign, asked []Asked) []*chart {
	var charts []*chart
	for _, m := range l.Masks {
		charts = append(charts, stageChart(l, m))
	}
	for _, of := range maskBlursOf(l.Design) {
		charts = append(charts, fieldChart(l, of.chart, chartAxis{"mask blur", "arcmin"}, of.of, limitOn(asked, of.column, false), true))
	}

	distortion := &chart{title: "Distortion of the view, far depth", x: chartAxis{"half field angle", "deg"}, y: chartAxis{"distortion", "%"},
		fromZero: true, limits: limitOn(asked, "distortion_pct", true)}
	one := chartSeries{style: 0, noMarks: true}
	for _, p := range l.Distortion {
		one.points = append(one.points, xy{p.X, p.Y})
	}
	distortion.series = []chartSeries{one}
	if l.FieldFraction < 1 {
		distortion.limits = append(distortion.limits, chartLimit{l.halfAngle(l.FieldFraction), "judged to here", true})
	}
	return append(charts,
		fieldChart(l, "Blur of the view", chartAxis{"view blur", "arcmin"}, func(s *Sample) float64 { return s.ViewBlurArcmin }, limitOn(asked, "view_blur_arcmin", false), true),
		fieldChart(l, "Defocus of the view", chartAxis{"view defocus", "D"}, func(s *Sample) float64 { return s.ViewDefocusD }, limitOn(asked, "view_defocus_D", true), true),
		fieldChart(l, "Astigmatism of the view", chartAxis{"view astigmatism", "D"}, func(s *Sample) float64 { return s.ViewAstigmatismD }, limitOn(asked, "view_astigmatism_D", false), true),
		distortion,
	)
}

// stageChart is where a mask stands over the vergence.
func stageChart(l *ReportDesign, of ReportMask) *chart {
	stage := &chart{title: "Stage curve", x: chartAxis{"vergence", "D"}, y: chartAxis{"mask position", "mm"}}
	if len(l.Masks) > 1 {
		stage.title += ", " + of.Words
	}
	exact := chartSeries{label: "exact", style: 0, noMarks: true}
	paraxial := chartSeries{label: "paraxial", style: 1, noMarks: true}
	for _, p := range of.Stage {
		exact.points = append(exact.points, xy{p.VergenceD, p.MaskMM})
		paraxial.points = append(paraxial.points, xy{p.VergenceD, p.ParaxialMM})
	}
	table := chartSeries{label: "stage table", style: 0, noLine: true}
	for _, s := range l.Setpoints {
		if s.Seat == of.Seat {
			table.points = append(table.points, xy{s.VergenceD, s.MaskMM})
		}
	}
	stage.series = []chartSeries{exact, paraxial, table}
	return stage
}

// maskBlur is the blur of one mask over field and depth.
type maskBlur struct {
	title, chart, column string
	of                   func(*Sample) float64
}

// maskBlursOf are those of a design's masks.
func maskBlursOf(d *Design) []maskBlur {
	first := maskBlur{"Mask blur", "Blur of the mask", "mask_blur_arcmin", func(s *Sample) float64 { return s.MaskBlurArcmin }}
	if len(d.Masks()) == 1 {
		return []maskBlur{first}
	}
	second := maskBlur{"Mask blur, image 1", "Blur of the mask at image 1", "front_mask_blur_arcmin", func(s *Sample) float64 {
		if s.FrontMaskBlurArcmin == nil {
			return math.NaN()
		}
		return *s.FrontMaskBlurArcmin
	}}
	first.title, first.chart = "Mask blur, image 2", "Blur of the mask at image 2"
	return []maskBlur{first, second}
}

// overviewCharts show what length costs or buys: over a swept number, or
// without one against what else one would like of a design.
func overviewCharts(r *Report) []*chart {
	if len(r.Designs) == 0 {
		return nil
	}
	if len(r.Axes) > 0 {
		return []*chart{sweptChart(r)}
	}
	var charts []*chart
	for _, of := range []struct {
		column, title string
		axis          chartAxis
		more          bool // is better
	}{
		{"field_max_deg", "Length against largest field", chartAxis{"largest field", "deg"}, true},
		{"view_blur_arcmin", "Length against blur of the view", chartAxis{"view blur", "arcmin"}, false},
		{"mask_blur_arcmin", "Length against blur of the mask", chartAxis{"mask blur", "arcmin"}, false},
		{"price", "Length against price", chartAxis{"price", ""}, false},
	} {
		if c := tradeChart(r, of.column, of.title, of.axis, of.more); c != nil {
			charts = append(charts, c)
		}
	}
	return charts
}

// shownEqual is the share by which numbers may differ and count as equal.
const shownEqual = 1e-6

// tradeChart plots ranked length against a column, and joins the designs that
// no other beats in both.
func tradeChart(r *Report, column, title string, axis chartAxis, more bool) *chart {
	type mark struct {
		at   xy
		rank int
	}
	var marks []mark
	for i := range r.Designs {
		d := &r.Designs[i]
		x, _, okX := d.Number(column)
		y, _, okY := d.Number(r.RankedBy)
		if okX && okY {
			marks = append(marks, mark{xy{x, y}, d.Rank})
		}
	}
	least, most := math.Inf(1), math.Inf(-1)
	for _, m := range marks {
		least, most = math.Min(least, m.at.x), math.Max(most, m.at.x)
	}
	if !(most-least > shownEqual*math.Abs(most)) {
		return nil // all are alike in it
	}
	// Ranks ascend in length, so that a design is beaten when one before it is
	// at least as good.
	slices.SortStableFunc(marks, func(a, b mark) int { return cmp.Or(cmp.Compare(a.at.y, b.at.y), cmp.Compare(a.rank, b.rank)) })
	unbeaten := chartSeries{label: "not beaten in both", style: 0, steps: true}
	rest := chartSeries{label: "beaten by another", style: 1, noLine: true}
	note := func(m mark) string {
		across := strings.TrimSpace(fmt.Sprintf("%s %s %s", axis.label, shortNumber(m.at.x), axis.unit))
		return fmt.Sprintf("rank %d: %s, %s %s mm", m.rank, across, lengthName(r.RankedBy), shortNumber(m.at.y))
	}
	var best float64
	for i, m := range marks {
		gain := best - m.at.x
		if more {
			gain = m.at.x - best
		}
		better := gain > shownEqual*math.Abs(best)
		if i == 0 || better {
			best = m.at.x
			unbeaten.points = append(unbeaten.points, m.at)
			unbeaten.names = append(unbeaten.names, fmt.Sprint(m.rank))
			unbeaten.notes = append(unbeaten.notes, note(m))
			continue
		}
		rest.points = append(rest.points, m.at)
		rest.notes = append(rest.notes, note(m))
	}
	c := &chart{title: title, x: axis, y: chartAxis{lengthName(r.RankedBy), "mm"}, series: []chartSeries{unbeaten}}
	if len(rest.points) > 0 {
		c.series = append(c.series, rest)
	}
	return c
}

func lengthName(rankedBy string) string {
	if rankedBy == "length_to_eye_mm" {
		return "length to the eye"
	}
	return "length"
}

// sweptChart plots the shortest length of each sweep point against a swept
// number, a line for each combination of the other swept keys.
func sweptChart(r *Report) *chart {
	across := -1
	for i, a := range r.Axes {
		if a.Kind == KindFloat || a.Kind == KindInt {
			across = i
			break
		}
	}
	c := &chart{y: chartAxis{"shortest " + lengthName(r.RankedBy), "mm"}}
	if across < 0 {
		c.title, c.x = "Shortest design of each sweep point", chartAxis{"sweep point", ""}
	} else {
		name := sayKey(r.Axes[across].Key)
		c.title, c.x = "Shortest design against "+name, chartAxis{name, axisUnit(r.Axes[across])}
	}
	at := map[string]int{}
	for i := range r.Designs {
		d := &r.Designs[i]
		if d.Rank != 1 {
			continue
		}
		x := float64(d.Point)
		var others []string
		for k, v := range d.Swept {
			switch {
			case k != across:
				others = append(others, sayAxis(r.Axes[k], v))
			case v.kind == KindInt:
				x = float64(v.whole)
			default:
				x = v.number
			}
		}
		name := strings.Join(others, ", ")
		if across < 0 {
			name = ""
		}
		k, seen := at[name]
		if !seen {
			k = len(c.series)
			at[name] = k
			c.series = append(c.series, chartSeries{label: name, style: k, noLine: across < 0})
		}
		y, _, _ := d.Number(r.RankedBy)
		c.series[k].points = append(c.series[k].points, xy{x, y})
	}
	for k := range c.series {
		slices.SortStableFunc(c.series[k].points, func(a, b xy) int { return cmp.Compare(a.x, b.x) })
	}
	// More lines than styles cannot be told apart: the first ones stand for all,
	// and the table has the rest.
	if len(c.series) > chartStyles {
		c.title += fmt.Sprintf(" (%d of %d lines)", chartStyles, len(c.series))
		c.series = c.series[:chartStyles]
	}
	return c
}
