package results

import (
	"cmp"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"maps"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

//go:embed page/page.html
var pageHTML string

//go:embed page/style.css
var pageCSS string

//go:embed page/sort.js
var pageJS string

var reportTemplate = template.Must(template.New("report").Parse(pageHTML))

// reportPage is what the template fills in.
type reportPage struct {
	Title, Cautions string
	Made            string
	Unfinished      []string // sentences; none of a complete run
	Best            *pageBest
	Style           template.CSS
	Script          template.JS
	Warnings        []string
	Asked           []ReportWords
	Found           []string // sentences
	Points          pageTable
	Easing          []pageTable
	EasingNotes     []string
	Charts          []template.HTML
	Ranked          pageTable
	RankedLeft      int
	RankedNote      string
	Beside, Yields  pageTable
	Designs         []pageDesign
	Bar             template.HTML
}

// pageDesign is a design told whole.
type pageDesign struct {
	ID, Name, Title string
	Point, Rank     string
	DesignID        template.HTML
	Facts           []pageFact
	Train           template.HTML
	FieldNames      []pageField
	RaysNote        string
	Order, Assembly pageTable
	Stages          []pageTable // one a mask
	Surfaces        pageTable
	Measured        []pageTable // one a mask that something was measured of
	Margins         pageTable
	Aberrations     pageTable
	Samples         []pageTable
	Yield           *pageYield
	Charts          []template.HTML
	Looks           []pageLook
	LookNote        string
	Strips          []template.HTML
	Bar             template.HTML
	Full            template.URL
	FullName        string
}

// pageFact is one number of a design.
type pageFact struct {
	Words, Key, Unit string
	Value            pageCell
	// InMargins tells that the number stands among the margins too: paper has it
	// once.
	InMargins bool
}

// pageField is a line of the legend of rays.
type pageField struct {
	Sample template.HTML
	Name   string
}

func newReportPage(r *Report) *reportPage {
	p := &reportPage{
		Title: r.Job, Cautions: r.Cautions, Style: template.CSS(pageCSS), Script: template.JS(pageJS),
		Unfinished: unfinishedWords(r), Best: newPageBest(r),
		Warnings: r.Warnings, Asked: r.Asked, Found: foundWords(r), Points: pointsTable(r),
	}
	m := r.Manifest
	p.Made = fmt.Sprintf("%s %s, run of %s, spec %s", m.Program, m.Version, m.Started.UTC().Format("2006-01-02 15:04 UTC"), shortDigest(m.SpecSHA256))
	empty := 0
	for i := range m.Points {
		if point := &m.Points[i]; point.Nothing() {
			if empty++; empty > easingShown {
				continue
			}
			t, notes := easingTable(point, len(m.Points) > 1)
			if len(t.Rows) > 0 {
				p.Easing = append(p.Easing, t)
			}
			p.EasingNotes = append(p.EasingNotes, notes...)
		}
	}
	if empty > easingShown {
		p.EasingNotes = append(p.EasingNotes, fmt.Sprintf("%d more sweep points without a design stand in run.json.", empty-easingShown))
	}
	for i, c := range overviewCharts(r) {
		p.Charts = append(p.Charts, template.HTML(c.svg(fmt.Sprintf("o%d", i+1))))
	}
	if len(r.Designs) > 0 {
		p.Ranked, p.RankedLeft = rankedTable(r)
		p.RankedNote = standingWords(r)
	}
	if len(r.Leading) > 1 {
		p.Beside = besideTable(r)
	}
	if len(r.Yields) > 0 {
		p.Yields = yieldTable(r)
	}
	for i := range r.Leading {
		p.Designs = append(p.Designs, newPageDesign(r, &r.Leading[i], i+1))
	}
	return p
}

func shortDigest(digest string) string { return digest[:min(12, len(digest))] }

func newPageDesign(r *Report, l *ReportDesign, number int) pageDesign {
	d := l.Design
	id := fmt.Sprintf("d%d", number)
	name, title := fmt.Sprintf("rank %d", d.Rank), sayDesign(r, d)
	if len(d.Swept) > 0 {
		name = fmt.Sprintf("point %d, rank %d", d.Point, d.Rank)
	}
	asked := r.asked(d)
	masks := "mask"
	if len(d.Masks()) > 1 {
		masks = "masks"
	}
	p := pageDesign{
		ID: id, Name: strings.ToUpper(name[:1]) + name[1:], Title: strings.ToUpper(title[:1]) + title[1:],
		Point: strconv.Itoa(d.Point), Rank: strconv.Itoa(d.Rank), DesignID: breakable(d.DesignID),
		Train: template.HTML(l.Drawing.trainSVG(id+"-train", name, d.LengthMM, d.EyeReliefMM)),
		Order: orderPageTable(l, r.Eyes), Assembly: assemblyTable(l), Stages: stageTables(l), Surfaces: surfacePageTable(l),
		Margins: marginPageTable(l, asked, r.Manifest.Points[d.Point].Given), Aberrations: aberrationTable(l),
		RaysNote: fmt.Sprintf("Traced rays at %s nm for the far depth, %s at far. Edge rays leave the eye %s mm from the axis: half the pupil and half the box.",
			sayNumber(l.Drawing.WavelengthNM), masks, Fixed(l.Drawing.PupilEdgeMM, 2)),
		Bar:      template.HTML(scaleBar(id + "-bar")),
		Full:     template.URL("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString([]byte(l.Drawing.standalone(name)))),
		FullName: fmt.Sprintf("%s-point%d-rank%d-full-size.svg", r.Job, d.Point, d.Rank),
	}
	if note := d.FieldNote(); note != "" {
		p.RaysNote += " Field: " + note + "."
	}
	if note := d.GrooveNote(asked); note != "" {
		p.RaysNote += " " + note + "."
	}
	if len(d.Fails) > 0 {
		p.RaysNote += " The train fails: " + strings.Join(d.Fails, ", ") + "."
	}
	held := map[string]bool{}
	for _, a := range asked {
		held[a.Column] = true
	}
	for _, fact := range designFacts {
		if fact.terminalOnly || !d.TellsOf(fact.name) {
			continue
		}
		cell, unit := columnCell(d, fact.name), named(designColumns, fact.name).headUnit()
		if cell.Text == Null {
			unit = ""
		}
		p.Facts = append(p.Facts, pageFact{sayName(fact.name), fact.name, unit, cell, held[fact.name]})
	}
	seen := map[int]bool{}
	for _, ray := range l.Drawing.Rays {
		if ray.Chief && !seen[ray.Field] {
			seen[ray.Field] = true
			p.FieldNames = append(p.FieldNames, pageField{raySample(ray.Field), Fixed(ray.HalfDeg, 1) + "°"})
		}
	}
	for i, c := range designCharts(l, asked) {
		p.Charts = append(p.Charts, template.HTML(c.svg(fmt.Sprintf("%s-c%d", id, i+1))))
	}
	for _, of := range maskBlursOf(d) {
		p.Samples = append(p.Samples, sampleTable(l, of.title+", arcmin", of.column, of.of, 2))
	}
	p.Samples = append(p.Samples,
		sampleTable(l, "View blur, arcmin", "view_blur_arcmin", func(s *Sample) float64 { return s.ViewBlurArcmin }, 2),
		sampleTable(l, "View defocus, D", "view_defocus_D", func(s *Sample) float64 { return s.ViewDefocusD }, 3),
		sampleTable(l, "View astigmatism, D", "view_astigmatism_D", func(s *Sample) float64 { return s.ViewAstigmatismD }, 3),
	)
	for _, m := range l.Masks {
		if len(m.Measured) > 0 {
			p.Measured = append(p.Measured, measuredTable(m, len(l.Masks) > 1))
		}
	}
	if y := r.yieldOf(d); y != nil {
		p.Yield = newPageYield(y, r.Eyes)
	}
	p.Looks, p.LookNote = pageLooks(l), l.LookNote
	for _, s := range l.Drawing.strips(id+"-full", name) {
		p.Strips = append(p.Strips, template.HTML(s))
	}
	return p
}

// raySample is a piece of line as a field sample's rays are drawn.
func raySample(field int) template.HTML {
	s := &svgDrawing{decimals: 1}
	s.line("ray chief f"+strconv.Itoa(field), xy{1, 5}, xy{43, 5})
	return template.HTML(`<svg class="sample" aria-hidden="true" viewBox="0 0 44 10" width="44" height="10" style="--u:1px">` + s.b.String() + `</svg>`)
}

const (
	// pointsShown is how many sweep points the page lists at most, and
	// easingShown at how many without a design it says what would help; run.json
	// has all. pointsPrinted of them stand on paper.
	pointsShown   = 300
	pointsPrinted = 24
	easingShown   = 12
)

// pointsTable is the proof, a row a sweep point.
func pointsTable(r *Report) pageTable {
	m := r.Manifest
	t := pageTable{Caption: "What was searched, and what binds"}
	if n := len(m.Points); n > pointsShown {
		t.Caption += fmt.Sprintf(" (%d of %d sweep points of run.json)", pointsShown, n)
	}
	sweep := len(m.Points) > 1
	if sweep {
		t.Heads = append(t.Heads, heads("point")...)
		for _, a := range r.Axes {
			t.Heads = append(t.Heads, axisHead(a))
		}
	}
	t.Heads = append(t.Heads, heads("designs in the space", "checked by rays", "passed", "proven length, mm", "ideal limit, mm", "<turned away by")...)
	for i := range min(len(m.Points), pointsShown) {
		p := &m.Points[i]
		row := pageRow{ScreenOnly: i >= pointsPrinted}
		if sweep {
			row.Cells = append(row.Cells, plain(strconv.Itoa(p.Point)).head())
			for _, v := range p.Values {
				row.Cells = append(row.Cells, plain(v.Value.String()))
			}
		}
		proven := Null
		switch {
		case p.ProvenLengthMM != nil:
			proven = Fixed(*p.ProvenLengthMM, 2)
		case p.WholeSpace:
			proven = "whole space"
		}
		row.Cells = append(row.Cells, plain(countOf(p.Space)), plain(strconv.FormatInt(p.Checked, 10)),
			plain(strconv.FormatInt(p.Passed, 10)), plain(proven), plain(p.IdealLimit.short()), largestCounts(p.Failed))
		t.Rows = append(t.Rows, row)
	}
	t.stacks()
	return t
}

// countsShown is how many names of counts a row of the page has.
const countsShown = 4

// largestCounts names the largest counts.
func largestCounts(counts map[string]*big.Int) pageCell {
	names := slices.SortedFunc(maps.Keys(counts), func(x, y string) int {
		return cmp.Or(counts[y].Cmp(counts[x]), strings.Compare(x, y))
	})
	var parts []string
	for _, name := range names[:min(countsShown, len(names))] {
		parts = append(parts, string(saidName(name))+" "+countOf(counts[name].String()))
	}
	if len(names) > countsShown {
		parts = append(parts, "…")
	}
	return pageCell{Text: template.HTML(strings.Join(parts, ", ")), Left: true, Class: "long"}
}

// easingTable tells, for a point at which nothing passes, what alone would let
// a first design pass.
func easingTable(p *ManifestPoint, sweep bool) (t pageTable, notes []string) {
	of := ""
	if sweep {
		of = fmt.Sprintf(" at point %d", p.Point)
	}
	t = pageTable{Caption: "What alone would let a first design pass" + of + fitGaps(p)}
	t.Heads = heads("<eased alone", "passes at", "length, mm", "<key of the spec")
	if words := p.tooFewBuilds(); words != "" {
		notes = append(notes, fmt.Sprintf("Nothing meets the requirements%s: %s.", of, words))
	}
	var never, open []string
	for _, name := range slices.Sorted(maps.Keys(p.WouldFit)) {
		value := p.WouldFit[name]
		unsettled := slices.Contains(p.WouldFitOpen, name)
		switch {
		case value == nil && unsettled:
			open = append(open, sayName(name))
		case value == nil:
			never = append(never, sayName(name))
		default:
			passes, e := fitsAt(p, name), easingOf(name)
			if unsettled {
				passes += " or nearer"
			}
			t.Rows = append(t.Rows, pageRow{Cells: []pageCell{said(name), plain(passes), plain(lengthAt(p, name)), words(e.key + e.note)}})
		}
	}
	if len(open) > 0 {
		notes = append(notes, fmt.Sprintf("Too many designs to tell%s whether these alone would help: %s.", of, strings.Join(open, ", ")))
	}
	if len(never) > 0 {
		notes = append(notes, fmt.Sprintf("No value of these alone would help%s: %s.", of, strings.Join(never, ", ")))
	}
	return t, notes
}
