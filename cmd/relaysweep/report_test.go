package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
)

// shownPage is what testdata/page.mjs tells of a page.
type shownPage struct {
	Faults, Requests, Headings, Cautions, Unnamed, Clashes, Crossed, Keys, Tooltips, BeyondPaper []string
	Text                                                                                         string
	Values                                                                                       []shownValue
	First                                                                                        []float64
	CautionsSeen                                                                                 bool
	Stacked                                                                                      []bool
	SheetHeads                                                                                   [][]string
	Drawings                                                                                     []struct {
		Name, Kind            string
		Width, Height, Covers float64
		Shapes, Texts, Rays   int
		Bad                   bool
	}
	Contrast map[string]float64
	Sorted   []struct {
		Press, Saying int
		Column, Says  string
		Texts         []string
	}
	Narrow  float64
	Printed bool
	Rows    [][]string
}

// shownValue is an element of the page that shows a value of the results.
type shownValue struct {
	Text, Of, Column string
	Row, Point, Rank int
}

// installed finds the first of some programs.
func installed(t *testing.T, why string, names ...string) string {
	t.Helper()
	for _, name := range names {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Fatalf("%s, which is not installed: %s; on Debian\n\tapt-get install chromium poppler-utils fonts-dejavu-core",
		why, strings.Join(names, " or "))
	return ""
}

// browse opens a page in Chromium and prints it. Pictures of it, for people, go
// to the folder that RELAYSWEEP_PICTURES names.
func browse(t *testing.T, page string) (shown shownPage, pdf string) {
	t.Helper()
	readers := filepath.Join(top, "testdata", "readers")
	if _, err := os.Stat(filepath.Join(readers, "node_modules", "puppeteer-core")); err != nil {
		t.Fatal("what drives the browser is not installed; with Node 20 or later and at the top of the repository:\n\tnpm ci --prefix testdata/readers")
	}
	chromium := installed(t, "the page is read by a browser", "chromium", "chromium-browser", "google-chrome")
	pdf = filepath.Join(t.TempDir(), "page.pdf")
	args := []string{filepath.Join("testdata", "page.mjs"), readers, chromium, page, pdf}
	if pictures := os.Getenv("RELAYSWEEP_PICTURES"); pictures != "" {
		args = append(args, pictures)
	}
	c := exec.CommandContext(t.Context(), "node", args...)
	var stderr strings.Builder
	c.Stderr = &stderr
	out, err := c.Output()
	if err != nil {
		t.Fatalf("%v\n%s", err, stderr.String())
	}
	if err := json.Unmarshal(out, &shown); err != nil {
		t.Fatalf("%v\n%.200s", err, out)
	}
	return shown, pdf
}

// paperWord is a word of a print, in points from the page's top left.
type paperWord struct {
	text                   string
	left, top, right, base float64
}

// paperPage is a sheet of a print.
type paperPage struct {
	width, height float64
	words         []paperWord
}

var (
	pageTag = regexp.MustCompile(`<page width="([\d.]+)" height="([\d.]+)">`)
	wordTag = regexp.MustCompile(`<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*)</word>`)
)

// paper reads where every word of a print stands.
func paper(t *testing.T, pdf string) []paperPage {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), installed(t, "the print is read by poppler", "pdftotext"), "-bbox", pdf, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	number := func(text string) float64 {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	var pages []paperPage
	for line := range strings.Lines(string(out)) {
		if m := pageTag.FindStringSubmatch(line); m != nil {
			pages = append(pages, paperPage{width: number(m[1]), height: number(m[2])})
		} else if m := wordTag.FindStringSubmatch(line); m != nil {
			p := &pages[len(pages)-1]
			p.words = append(p.words, paperWord{m[5], number(m[1]), number(m[2]), number(m[3]), number(m[4])})
		}
	}
	return pages
}

// has reports whether a word stands on the sheet.
func (p *paperPage) has(word string) bool {
	return slices.ContainsFunc(p.words, func(w paperWord) bool { return w.text == word })
}

// line is the words that stand at the height of a word, from left to right.
func (p *paperPage) line(at paperWord) []string {
	var words []paperWord
	for _, w := range p.words {
		if math.Abs((w.top+w.base)/2-(at.top+at.base)/2) < 2 {
			words = append(words, w)
		}
	}
	slices.SortFunc(words, func(a, b paperWord) int { return int(math.Copysign(1, a.left-b.left)) })
	var texts []string
	for _, w := range words {
		texts = append(texts, w.text)
	}
	return texts
}

// holds reports whether some line of the sheet has the words in their order.
func (p *paperPage) holds(words []string) bool {
	for _, w := range p.words {
		if w.text != words[0] {
			continue
		}
		k := 0
		for _, text := range p.line(w) {
			if k < len(words) && text == words[k] {
				k++
			}
		}
		if k == len(words) {
			return true
		}
	}
	return false
}

// looked is a job whose ranking goes over several sheets of paper.
var looked = []string{
	"top = 8", "top = 60", "view_blur_arcmin = 24", "view_blur_arcmin = 60", "mask_blur_arcmin = 12", "mask_blur_arcmin = 60",
	"vignetted_pct = 20", "vignetted_pct = 60\ndistortion_pct = 90\nview_defocus_D = 90\nprice = 900",
}

// TestReport reads the page of a run in a browser and on paper.
func TestReport(t *testing.T) {
	for _, c := range []struct {
		name    string
		edits   []string
		flags   []string
		designs int
	}{
		{"one point", append(slices.Clone(looked),
			"pixel_um = 20", "pixel_um = 20\nglass_mm = 2.0", "refocus_max_D = 2", "refocus_max_D = 2\ncombiner_mm = 4.0"), nil, 5},
		{"a sweep, both eyes", sweptJob, []string{"--designs", "3", "--eyes", "2"}, 3},
		{"a point of a sweep", sweptJob, []string{"--point", "1", "--designs", "2"}, 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			output := finishedJob(t, c.edits...)
			o := must(t, exitDone, append([]string{"report", output}, c.flags...)...)
			page := filepath.Join(output, reportFile)
			if o.stdout != fmt.Sprintf("written to %s: %d designs\n", page, c.designs) || o.stderr != "" {
				t.Errorf("report says %q and %q", o.stdout, o.stderr)
			}
			if info, err := os.Stat(page); err != nil || info.Size() > 2<<20 {
				t.Errorf("%v, %v", info, err)
			}
			shown, pdf := browse(t, page)
			checkShown(t, &shown, c.designs)
			checkValues(t, output, shown.Values, c.designs)
			checkSorting(t, &shown)
			checkPaper(t, &shown, paper(t, pdf), c.designs)
		})
	}
}

// checkShown looks at what any page has to be.
func checkShown(t *testing.T, shown *shownPage, designs int) {
	t.Helper()
	for _, list := range [][]string{shown.Faults, shown.Unnamed, shown.Clashes, shown.Crossed, shown.Keys, shown.BeyondPaper} {
		for _, fault := range list {
			t.Error(fault)
		}
	}
	for _, request := range shown.Requests {
		if !strings.HasPrefix(request, "file:") && !strings.HasPrefix(request, "data:") {
			t.Errorf("the page asks for %s", request)
		}
	}
	_, told, _ := strings.Cut(cautions, "\n")
	if n := strings.Count(shown.Text, strings.Join(strings.Fields(told), " ")); n != 1 || len(shown.Cautions) != 1 || !shown.CautionsSeen || !shown.Printed {
		t.Errorf("the cautions stand %d times in %d boxes, seen after one press: %v, in print: %v", n, len(shown.Cautions), shown.CautionsSeen, shown.Printed)
	}
	// Drawing, five numbers and parts of the best train stand on the first screen.
	if len(shown.First) != 3 || slices.Max(shown.First) > 1 {
		t.Errorf("of the best train parts end at %v of the first screen's height", shown.First)
	}
	for _, key := range []string{"view_blur_arcmin", "length_mm", "design_id"} {
		if !slices.Contains(shown.Tooltips, key) {
			t.Errorf("nothing tells that its name is %s", key)
		}
	}
	if len(shown.Stacked) == 0 || slices.Contains(shown.Stacked, false) {
		t.Errorf("rows of the ranking that a narrow screen shows whole: %v", shown.Stacked)
	}
	for scheme, contrast := range shown.Contrast {
		// WCAG 2.1, success criterion 1.4.3: 4.5 for text.
		if contrast < 4.5 {
			t.Errorf("the least contrast of %s text is %.2f", scheme, contrast)
		}
	}
	if shown.Narrow > 0 {
		t.Errorf("the page is %g wider than a narrow screen", shown.Narrow)
	}
	kinds := map[string]int{}
	for _, d := range shown.Drawings {
		kinds[d.Kind]++
		if d.Bad || d.Shapes < 5 || d.Texts < 2 || d.Width < 100 || d.Height < 30 || d.Covers < 0.5 {
			t.Errorf("the drawing %+v", d)
		}
		// Four field samples with a chief and two edge rays.
		if d.Kind == "train" && d.Rays != 12 {
			t.Errorf("the drawing %s has %d rays", d.Name, d.Rays)
		}
	}
	// A bar and at least one strip, and six charts beside those of the overview.
	if kinds["train"] != designs+1 || kinds["full-size"] < 2*designs || kinds["chart"] < 6*designs+1 {
		t.Errorf("%d designs have the drawings %v", designs, kinds)
	}
}

// checkValues compares every value that the page shows of the results with the
// Parquet files, as the Arrow library reads them.
func checkValues(t *testing.T, output string, values []shownValue, designs int) {
	t.Helper()
	type key struct{ point, rank int }
	ranked, setpoints := map[key]map[string]any{}, map[key][]map[string]any{}
	for _, row := range rowsOf(readTable(t, filepath.Join(output, rankedFile))) {
		ranked[key{int(row["point"].(int32)), int(row["rank"].(int32))}] = row
	}
	for _, row := range rowsOf(readTable(t, filepath.Join(output, setpointsFile))) {
		k := key{int(row["point"].(int32)), int(row["rank"].(int32))}
		setpoints[k] = append(setpoints[k], row)
	}
	seen, whose := map[string]int{}, map[key]bool{}
	for _, v := range values {
		k := key{v.Point, v.Rank}
		row := ranked[k]
		switch v.Of {
		case "ranked":
		case "setpoints":
			row = setpoints[k][v.Row]
			whose[k] = true
		default:
			row = row[v.Of].([]map[string]any)[v.Row]
		}
		value, known := row[v.Column]
		if !known {
			t.Errorf("%+v: there is no such column", v)
			continue
		}
		seen[v.Of+" "+v.Column]++
		if want := as(v.Text, value); v.Text != want {
			t.Errorf("%+v: the file has %v, which reads %s", v, value, want)
		}
	}
	if len(whose) != designs {
		t.Errorf("%d designs are told whole, not %d", len(whose), designs)
	}
	for _, name := range []string{
		"ranked length_mm", "ranked design_id", "ranked price", "ranked view_refocus_D", "ranked field_max_deg", "setpoints mask_mm",
		"setpoints mask_paraxial_mm", "setpoints stage_mm", "lenses part", "lenses gap_after_mm", "surfaces z_mm", "surfaces radius_mm",
		"samples mask_blur_arcmin", "samples view_blur_arcmin", "samples view_defocus_D", "samples view_astigmatism_D",
	} {
		if seen[name] < designs {
			t.Errorf("%s is shown %d times", name, seen[name])
		}
	}
}

// as formats a value with as many decimals as a text has.
func as(text string, value any) string {
	switch v := value.(type) {
	case nil:
		return "-"
	case string:
		if v == "Infinity" {
			return "inf"
		}
		return v
	case float64:
		_, decimals, _ := strings.Cut(text, ".")
		formatted := strconv.FormatFloat(v, 'f', len(decimals), 64)
		if strings.Trim(formatted, "-0.") == "" {
			return strings.TrimPrefix(formatted, "-")
		}
		return formatted
	}
	return fmt.Sprint(value)
}

// checkSorting looks at the columns after presses on their heads.
func checkSorting(t *testing.T, shown *shownPage) {
	t.Helper()
	if len(shown.Sorted) < 2*12 {
		t.Fatalf("%d presses on heads", len(shown.Sorted))
	}
	for _, s := range shown.Sorted {
		says := map[int]string{1: "ascending", 2: "descending"}[s.Press]
		if s.Says != says || s.Saying != 1 || len(s.Texts) < 4 {
			t.Errorf("%s, press %d: says %q, as do %d heads, of %d rows", s.Column, s.Press, s.Says, s.Saying, len(s.Texts))
		}
		ordered := slices.IsSortedFunc(s.Texts, func(a, b string) int {
			x, errX := strconv.ParseFloat(a, 64)
			y, errY := strconv.ParseFloat(b, 64)
			order := strings.Compare(a, b)
			if errX == nil && errY == nil {
				order = int(math.Copysign(1, x-y))
				if x == y {
					order = 0
				}
			}
			if s.Press == 2 {
				order = -order
			}
			return order
		})
		if !ordered {
			t.Errorf("%s, press %d: %q", s.Column, s.Press, s.Texts)
		}
	}
}

// checkPaper looks at the print: nothing stands beyond the margins, each row of
// each table is on one sheet, heads stand on every sheet of the ranking, and the
// full-size drawings are in full size.
func checkPaper(t *testing.T, shown *shownPage, sheets []paperPage, designs int) {
	t.Helper()
	const pointsPerMM = 72 / 25.4
	if most := 2 + 2*designs; len(sheets) < designs || len(sheets) > most {
		t.Errorf("the page prints on %d sheets, more than %d", len(sheets), most)
	}
	bars, heads, ranking := 0, 0, 0
	for i := range sheets {
		sheet := &sheets[i]
		if !slices.ContainsFunc(shown.SheetHeads, sheet.holds) && !sheet.has("must") {
			t.Errorf("sheet %d has tables only", i+1)
		}
		// The margins of the style sheet are 15 mm at the sides and 14 above and
		// below; the browser rounds them to its units of 0.26 mm.
		side, end := 14.6*pointsPerMM, 13.6*pointsPerMM
		for _, w := range sheet.words {
			if w.left < side || w.right > sheet.width-side || w.top < end || w.base > sheet.height-end {
				t.Errorf("sheet %d: %q stands in the margin: %+v of %g x %g", i+1, w.text, w, sheet.width, sheet.height)
			}
			if strings.HasPrefix(w.text, "erector-") {
				for _, other := range sheet.words {
					if w.left-other.left > 200 && math.Abs(other.top-w.top) < 3 { // a row of the ranking
						ranking++
						if sheet.has("vignetted") && sheet.has("lenses") && sheet.has("relief") {
							heads++
						}
						break
					}
				}
			}
		}
		// The ends of the bar are named 0 and 100, each in its middle.
		for k, w := range sheet.words {
			if w.text == "must" {
				bars++
				zero, hundred := sheet.words[k-1], paperWord{}
				for _, later := range sheet.words[k:] {
					if later.text == "100" && later.left > w.right+60 {
						hundred = later
						break
					}
				}
				mm := ((hundred.left+hundred.right)/2 - (zero.left+zero.right)/2) / pointsPerMM
				if zero.text != "0" || math.Abs(mm-100) > 0.1 {
					t.Errorf("sheet %d: the bar of 100 mm is %.2f mm long", i+1, mm)
				}
			}
		}
	}
	if bars != designs {
		t.Errorf("%d bars to measure %d designs by", bars, designs)
	}
	if ranking == 0 || heads != ranking {
		t.Errorf("%d of %d rows of the ranking have a head on their sheet", heads, ranking)
	}
	rows := 0
	for _, row := range shown.Rows {
		if len(row) < 2 {
			continue
		}
		rows++
		if !slices.ContainsFunc(sheets, func(p paperPage) bool { return p.holds(row) }) {
			t.Errorf("no sheet has the row %q", row)
		}
	}
	if rows < 20 {
		t.Errorf("the page has %d rows of numbers", rows)
	}
}

// TestReportOfNothing tells what binds where no design meets the requirements,
// and of a sweep where that is so at some points.
func TestReportOfNothing(t *testing.T) {
	spec := newJob(t, "lenses_per_group = 1", "lenses_per_group = 1\nlength_max_mm = 60")
	must(t, exitNothing, "run", spec)
	o := must(t, exitDone, "report", outputOf(spec))
	if !strings.Contains(o.stdout, "no design meets the requirements") {
		t.Errorf("report says %q", o.stdout)
	}
	shown, pdf := browse(t, filepath.Join(outputOf(spec), reportFile))
	for _, want := range []string{"Nothing meets the requirements", "train.length_max_mm", "no longer than 60 mm", "never point it at the sun"} {
		if !strings.Contains(shown.Text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if len(shown.Faults)+len(shown.Unnamed)+len(shown.BeyondPaper) > 0 || len(shown.Drawings) > 0 || len(paper(t, pdf)) > 3 {
		t.Errorf("the page is %+v", shown)
	}
}

// TestReportWords looks for what the page of a run has to say in words.
func TestReportWords(t *testing.T) {
	output := finishedJob(t, append(slices.Clone(sweptJob), "travel_mm = 15", "travel_mm = 14.5", "pixel_um = 20", "pixel_um = 19.5")...)
	must(t, exitDone, "report", output, "--designs", "1", "--eyes", "2")
	text := pageText(t, output)
	for _, want := range []string{
		"8 or 10.5 degrees (swept) wide and 7.5 degrees high", "pupil of 4 mm in a box of 2 mm", "0.25 m to infinity", "36 × 24 mm, pixels of 19.5 µm",
		"at the rear or front or rear (swept) seat", "travel 14.5 mm", "view blur ≤ 40 arcmin", "546.07 nm (weight 2)", "lenses.csv (4 lenses)",
		"exact, over the whole space", "To order, for both eyes",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if strings.Contains(text, "- %") || !strings.Contains(text, "light in ghosts") {
		t.Error("a number that does not exist has a unit")
	}
}

// TestReportOrder adds up the parts of each design: pieces, prices, and both
// eyes.
func TestReportOrder(t *testing.T) {
	output := finishedJob(t, looked...)
	run, err := openRun(output)
	if err != nil {
		t.Fatal(err)
	}
	parts := partsOf(t, smallLenses(fewFocals))
	for i := range run.designs {
		d := &run.designs[i]
		b, err := run.reopen(d)
		if err != nil {
			t.Fatal(err)
		}
		sum, pieces := 0.0, 0
		for _, p := range orderOf(b.train) {
			if *p.Price != parts[p.Part].price || p.Vendor != "Invented" {
				t.Errorf("%s is of %s for %v", p.Part, p.Vendor, *p.Price)
			}
			sum += *p.Price * float64(p.Pieces)
			pieces += p.Pieces
		}
		if sum != *d.Price || pieces != d.LensesCount {
			t.Errorf("%s: %d pieces for %v, the row has %d for %v", d.DesignID, pieces, sum, d.LensesCount, *d.Price)
		}
	}
}

// TestReportStock: an order for both eyes may need more of a part than there is.
func TestReportStock(t *testing.T) {
	lenses := strings.ReplaceAll(smallLenses(fewFocals), "\n", ",2\n")
	lenses = strings.Replace(lenses, "price,2", "price,stock", 1)
	spec := newJobOf(t, lenses)
	must(t, exitDone, "run", spec)
	d := readRanked(t, outputOf(spec))[0]
	pieces := map[string]int{}
	for _, l := range d.Lenses {
		pieces[l.Part]++
	}
	for eyes, flag := range []string{"1", "2"} {
		must(t, exitDone, "report", outputOf(spec), "--designs", "1", "--eyes", flag)
		short := 0
		for _, n := range pieces {
			if n*(eyes+1) > 2 {
				short++
			}
		}
		if got := strings.Count(pageText(t, outputOf(spec)), "(stock 2)"); got != 2*short { // beside the best train, and in its own section
			t.Errorf("%s eyes: parts are marked as short %d times, not 2 for each of %d, of %v", flag, got, short, pieces)
		}
	}
}

// pageText is a page without its tags.
func pageText(t *testing.T, output string) string {
	t.Helper()
	page := string(readFile(t, output, reportFile))
	return strings.Join(strings.FieldsFunc(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, ""), unicode.IsSpace), " ")
}

// TestReportSame: the same run makes the same page, and another page takes its
// place.
func TestReportSame(t *testing.T) {
	output := finishedJob(t)
	must(t, exitDone, "report", output, "--designs", "2")
	first := readFile(t, output, reportFile)
	must(t, exitDone, "report", output, "--designs", "1")
	if string(readFile(t, output, reportFile)) == string(first) {
		t.Error("a page of one design is that of two")
	}
	must(t, exitDone, "report", output, "--designs", "2")
	if string(readFile(t, output, reportFile)) != string(first) {
		t.Error("the second page of a run differs from the first")
	}
}

// TestReportWrong: wrong flags are told with exit code 2, before anything is
// written.
func TestReportWrong(t *testing.T) {
	output := finishedJob(t)
	for _, args := range [][]string{{"--designs", "-1"}, {"--designs", "0"}, {"--designs", "1000"}, {"--drawing", "train.png"}, {"--eyes", "3"}, {"--point", "7"}, {"--designs", "many"}} {
		leftNothing(t, output, func() { must(t, exitWrong, append([]string{"report", output}, args...)...) })
	}
	must(t, exitFailed, "report", filepath.Join(output, "nowhere"))
}

// TestReportStrange has names in the table that are HTML: they are shown, not
// obeyed.
func TestReportStrange(t *testing.T) {
	lenses := strings.ReplaceAll(smallLenses(fewFocals), "Invented", `<script>alert(1)</script>&"`)
	lenses = strings.ReplaceAll(lenses, `<script>alert(1)</script>&"`, `"<script>alert(1)</script>&"""`)
	spec := newJobOf(t, lenses)
	must(t, exitDone, "run", spec)
	must(t, exitDone, "report", outputOf(spec), "--designs", "1")
	page := string(readFile(t, outputOf(spec), reportFile))
	if strings.Contains(page, "<script>alert") || !strings.Contains(page, "&lt;script&gt;alert(1)&lt;/script&gt;&amp;") {
		t.Error("a vendor's name is not escaped")
	}
}
