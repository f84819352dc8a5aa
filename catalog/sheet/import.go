package sheet

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"relaysweep/catalog"
)

// Options of an import.
type Options struct {
	// Glasses are those that lenses may be of; nil for the built-in ones.
	Glasses *catalog.GlassTable
	// LeaveOutFaulty leaves rows at fault out, with the reason, instead of
	// refusing the sheet.
	LeaveOutFaulty bool
}

// Outcome tells what came of a sheet.
type Outcome struct {
	Rows     int // with anything in them, below the header
	Skipped  int // by the map
	Lenses   int
	Derived  int // of these, with computed radii
	LeftOut  []*LeftOut
	Warnings catalog.Faults // of published focal lengths, and of unlikely sizes
}

// derivedColumn of the table made names the radii that were computed. A comment
// line has readers pass over it.
const derivedColumn = "derived"

// Import writes the lens table that a sheet makes by a map. Its error is of
// type [catalog.Faults] when the sheet, or the map with this sheet, is wrong:
// everything that is wrong, as far as it could be read. Then what was written
// is no whole table. Every row is read as a lens table is.
//
// The columns of the table are in the usual order, and a column "derived" names
// the radii that were computed.
func Import(ctx context.Context, file catalog.File, m *Map, o Options, w io.Writer) (*Outcome, error) {
	src, err := open(file, m)
	if err != nil {
		return nil, asFaults(file, err)
	}
	defer src.close()
	im := &importer{
		m: m, src: src, glasses: o.Glasses, lenient: o.LeaveOutFaulty, w: w,
		findings: newFindings(file.Shown), warned: newFindings(file.Shown), seen: map[[16]byte]int{}, kinds: map[string]bool{},
	}
	if im.glasses == nil {
		im.glasses = catalog.BuiltinGlasses()
	}
	return im.run(ctx, file)
}

func asFaults(file catalog.File, err error) error {
	var stop *broken
	if !errors.As(err, &stop) {
		return err
	}
	return catalog.Faults{{File: file.Shown, Line: stop.row, Found: stop.found, Want: stop.want}}
}

type importer struct {
	m       *Map
	src     source
	glasses *catalog.GlassTable
	lenient bool
	w       io.Writer
	written int64
	head    string // header of the table, with what is passed over
	batch   []made

	columns []column // of the table, in order
	width   int      // cells of the sheet's header
	skips   []int    // the sheet's column, from 0, of each rule

	findings *findings
	warned   *findings
	left     leftOuts
	outcome  Outcome
	seen     map[[16]byte]int // row by digest of the part's name
	kinds    map[string]bool  // that lenses have, to find slips in equal_radii

	// Of the row in hand.
	row     int
	part    string
	faulty  []rowFault
	values  map[string]string
	numbers map[string]float64
	isFixed map[string]bool // the value is the map's, as a lens table has it
}

type rowFault struct {
	key string
	slip
}

// column is one of the lens table.
type column struct {
	name    string
	from    int // the sheet's column, from 0; -1 where none feeds it
	feed    feed
	reading reading
}

func (im *importer) run(ctx context.Context, file catalog.File) (*Outcome, error) {
	faults, err := im.header(file)
	if err != nil {
		return nil, asFaults(file, err)
	}
	if len(faults) > 0 {
		return nil, faults
	}
	if err := im.preamble(file); err != nil {
		return nil, err
	}
	for n := 0; ; n++ {
		if n%1000 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		cells, row, wrong, err := im.src.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			var stop *broken
			if !errors.As(err, &stop) {
				return nil, err
			}
			im.findings.add(stop.row, "", stop.slip)
			break
		}
		if err := im.next(cells, row, wrong); err != nil {
			return nil, err
		}
	}
	if err := im.flush(); err != nil {
		return nil, err
	}
	if len(im.findings.order) == 0 && im.outcome.Lenses == 0 {
		im.findings.add(0, "", slip{"no row makes a lens" + im.reasons(), "rows of lenses below row " + fmt.Sprint(im.m.headerRow)})
	}
	if len(im.findings.order) > 0 {
		return nil, im.findings.faults()
	}
	im.outcome.LeftOut = im.left.all
	im.outcome.Warnings = append(im.idle(), im.warned.faults()...)
	return &im.outcome, nil
}

// reasons are those for which all rows were left out.
func (im *importer) reasons() string {
	var b strings.Builder
	for i, l := range im.left.all {
		if i == 10 {
			b.WriteString("\n      and others")
			break
		}
		fmt.Fprintf(&b, "\n      %s: %s", counted(l.Count, "row"), l.Reason)
	}
	return b.String()
}

// idle tells of kinds with equal radii that no lens is of.
func (im *importer) idle() catalog.Faults {
	var all catalog.Faults
	for _, kind := range im.m.equalRadii {
		if !im.kinds[kind] {
			all = append(all, catalog.Fault{File: im.m.file, Key: "equal_radii", Found: "no lens is of the kind " + quoted(kind), Want: "kinds as the lens table names them, after [kinds]"})
		}
	}
	return all
}

// header finds the columns that the map names.
func (im *importer) header(file catalog.File) (catalog.Faults, error) {
	var header []string
	for {
		cells, row, wrong, err := im.src.next()
		if errors.Is(err, io.EOF) || err == nil && row > im.m.headerRow {
			return nil, brokenAt(im.m.headerRow, "there is no header in this row", "header_row = the number of the row with the column names in the map")
		}
		if err != nil {
			return nil, err
		}
		if row < im.m.headerRow {
			continue
		}
		if wrong != nil {
			return nil, &broken{row, *wrong}
		}
		for _, c := range cells {
			header = append(header, plain(c))
		}
		break
	}
	im.width = len(header)
	var faults catalog.Faults
	find := func(section, key string, f feed) int {
		fault := func(found, want string) int {
			faults = append(faults, catalog.Fault{File: im.m.file, Line: f.line, Key: section + "." + key, Found: found, Want: want})
			return -1
		}
		at := f.number - 1
		if f.number == 0 {
			at = slices.Index(header, f.name)
		}
		switch {
		case at < 0:
			return fault("the sheet has no "+f.String()+" in row "+fmt.Sprint(im.m.headerRow), orNearest("a name of that row: "+shownNames(header), f.name, header))
		case at >= len(header):
			return fault(fmt.Sprintf("the sheet has %s", counted(len(header), "column")), "one of these, from 1")
		case f.number == 0 && slices.Contains(header[at+1:], f.name):
			return fault("the sheet has two columns "+quoted(f.name), fmt.Sprintf("the number of the one that is meant: from = %d or from = %d", at+1, at+2+slices.Index(header[at+1:], f.name)))
		case im.src.formulaIn(at+1) > 0:
			return fault(fmt.Sprintf("%s of the sheet holds a formula in row %d", f.String(), im.src.formulaIn(at+1)), "a column of values: formulas are not computed, nor is the value believed that another program has left")
		}
		return at
	}
	names := catalog.LensColumns()
	var more []string
	for name := range im.m.columns {
		if !slices.Contains(names, name) {
			more = append(more, name)
		}
	}
	slices.Sort(more)
	for _, name := range append(names, more...) {
		f, fed := im.m.columns[name]
		c := column{name: name, from: -1, feed: f}
		if fed {
			c.from = find("columns", name, f)
			c.reading = reading{unit: f.unit, isLength: isLength(name), decimalComma: im.m.decimalComma, drop: f.drop, numbers: im.src.numbersStored()}
			if isRadius(name) || isFocal(name) {
				c.reading.flat = im.m.flat
			}
		}
		if fed || im.m.fixed[name] != "" || name == "r1_mm" || name == "r2_mm" {
			im.columns = append(im.columns, c)
		}
	}
	for _, s := range im.m.skip {
		im.skips = append(im.skips, find("skip", s.name, s.feed))
	}
	faults.Err() // puts them in order
	return faults, nil
}

func shownNames(header []string) string {
	const most = 30
	var names []string
	for i, h := range header {
		if i == most {
			return strings.Join(names, ", ") + ", …"
		}
		names = append(names, quoted(h))
	}
	return strings.Join(names, ", ")
}

// preamble writes what stands above the rows.
func (im *importer) preamble(file catalog.File) error {
	names := make([]string, 0, len(im.columns)+1)
	for _, c := range im.columns {
		names = append(names, c.name)
	}
	names = append(names, derivedColumn)
	im.head = "# ignore: " + derivedColumn + "\n" + record(names)
	return im.write("# Lens table from the sheet " + shownName(file.Shown) + " by the map " + shownName(im.m.file) + "\n" +
		"# The column " + derivedColumn + " names radii that were computed from the focal length or follow from the kind.\n" + im.head)
}

// shownName is a file's name without its folder.
func shownName(shown string) string {
	if i := strings.LastIndexAny(shown, `/\`); i >= 0 {
		shown = shown[i+1:]
	}
	return catalog.Visible(shown)
}

func (im *importer) write(text string) error {
	if im.written += int64(len(text)); im.written > catalog.TableBytesMost {
		return catalog.Faults{{File: im.findings.file, Line: im.row, Found: fmt.Sprintf("up to this row the lens table would be larger than %d MB", catalog.TableBytesMost>>20),
			Want: "at most that, which is what is read of one table: skip what you do not need, or fewer columns"}}
	}
	_, err := io.WriteString(im.w, text)
	return err
}

// next takes a row.
func (im *importer) next(cells []string, row int, wrong *slip) error {
	im.outcome.Rows++
	if slices.ContainsFunc(im.m.skipRows, func(s span) bool { return s.first <= row && row <= s.last }) || wrong == nil && im.skipped() {
		im.outcome.Skipped++
		return nil
	}
	im.row, im.part, im.faulty = row, "", im.faulty[:0]
	if wrong == nil {
		wrong = im.checkWidth(cells)
	}
	if wrong != nil {
		im.fault("", *wrong)
		return im.settle()
	}
	im.read(cells)
	im.checkGlasses()
	if len(im.faulty) > 0 {
		return im.settle()
	}
	derived, reason := im.complete()
	if reason != "" {
		return im.leaveOut(reason)
	}
	im.batch = append(im.batch, made{row, im.part, im.values["kind"], derived, im.text(derived)})
	if len(im.batch) == batchRows {
		return im.flush()
	}
	return nil
}

// leaveOut leaves the row in hand out, after those before it are dealt with.
func (im *importer) leaveOut(reason string) error {
	err := im.flush()
	im.left.add(im.row, im.part, reason)
	return err
}

// settle tells the faults of the row in hand, after those before it.
func (im *importer) settle() error {
	faulty := slices.Clone(im.faulty)
	err := im.flush()
	im.faulty = faulty
	im.tell()
	return err
}

// tell tells the faults of a row, or leaves it out for the first.
func (im *importer) tell() {
	if im.lenient {
		f := im.faulty[0]
		reason := f.found
		if f.key != "" {
			reason = f.key + ": " + reason
		}
		im.left.add(im.row, im.part, reason)
		return
	}
	for _, f := range im.faulty {
		im.findings.add(im.row, f.key, f.slip)
	}
}

func (im *importer) fault(key string, s slip) {
	im.faulty = append(im.faulty, rowFault{key, s})
}

func (im *importer) skipped() bool {
	for i, rule := range im.m.skip {
		cell := plain(im.src.shown(im.skips[i]))
		for _, pattern := range rule.patterns {
			if catalog.MatchesName(pattern, cell) {
				return true
			}
		}
	}
	return false
}

// checkWidth faults a row of a text that has not the header's cells, as others
// may then be out of their columns. Cells of a workbook have their places.
func (im *importer) checkWidth(cells []string) *slip {
	if im.src.numbersStored() {
		return nil
	}
	n := len(cells)
	for n > im.width && plain(cells[n-1]) == "" {
		n--
	}
	switch {
	case n > im.width:
		return &slip{fmt.Sprintf("the row has %s, the header %d", counted(n, "cell"), im.width), "one cell a column; a cell that holds the separator stands in double quotes"}
	case n < im.width && n > 1:
		return &slip{fmt.Sprintf("the row has %s, the header %d", counted(n, "cell"), im.width), "one cell a column, or skip_rows in the map for rows that are no lens"}
	}
	return nil
}

// sourceKey names a column of ours and the sheet's.
func (im *importer) sourceKey(name string) string {
	if f, ok := im.m.columns[name]; ok {
		return name + " from " + f.String()
	}
	return name
}

// read takes the values from the cells.
func (im *importer) read(cells []string) {
	im.values, im.numbers, im.isFixed = map[string]string{}, map[string]float64{}, map[string]bool{}
	for i := range im.columns {
		c := &im.columns[i]
		text := ""
		switch {
		case c.from < 0:
		case isText(c.name):
			text = plain(im.src.shown(c.from))
		case c.from < len(cells):
			text = plain(cells[c.from])
		}
		if slices.Contains(im.m.empty, text) {
			text = ""
		}
		switch {
		case text == "":
			text = im.m.fixed[c.name]
			if text == "" {
				continue
			}
			if !isText(c.name) {
				x, slip := (&reading{isLength: true, unit: units[0], flat: usualFlat}).number(text)
				if slip == nil { // which the map's reader has tried
					im.numbers[c.name] = x
				}
			}
			im.values[c.name], im.isFixed[c.name] = text, true
		case isText(c.name):
			im.readText(c, text)
		default:
			x, slip := c.number(text, plain(im.src.shown(c.from)))
			if slip != nil {
				im.fault(im.sourceKey(c.name), *slip)
				continue
			}
			if c.feed.sign == signAgainst && !math.IsInf(x, 0) {
				x = -x
			}
			im.numbers[c.name] = x
			im.values[c.name] = number(x)
		}
	}
}

// likeDate matches what a format makes of a number that it takes for a day or a
// time.
var likeDate = regexp.MustCompile(`^\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|\d:\d\d|\d[-/ ][A-Za-z]{3}`)

// number reads a cell. What a workbook shows of a number may mean another: a
// loss in per cent is stored as a fraction, and 1/2 may have become a day.
func (c *column) number(text, shown string) (float64, *slip) {
	percent := strings.HasSuffix(shown, "%")
	stored := text != shown
	switch {
	case stored && likeDate.MatchString(shown):
		return 0, &slip{quoted(shown) + " is a date in the workbook", "a number, or a text as it was typed"}
	case percent && c.name != "loss_pct":
		return 0, &slip{quoted(shown) + " is a percentage", "a number"}
	case percent && !stored:
		text = strings.TrimSuffix(text, "%")
	}
	x, slip := c.reading.number(text)
	if slip == nil && percent && stored {
		x *= 100
	}
	return x, slip
}

func (im *importer) readText(c *column, text string) {
	for _, d := range c.feed.drop {
		text = plain(strings.ReplaceAll(text, d, ""))
	}
	switch {
	case c.name == "kind" && im.m.kinds[text] != "":
		text = im.m.kinds[text]
	case strings.HasPrefix(c.name, "glass") && im.m.glasses[text] != "":
		text = im.m.glasses[text]
	}
	if text == "" {
		return
	}
	// A spreadsheet takes such a text for a formula, also out of a CSV file.
	if strings.ContainsRune("=+-@", rune(text[0])) {
		im.fault(im.sourceKey(c.name), slip{quoted(text) + " begins with " + text[:1] + ", so that a spreadsheet would compute it",
			"a name that begins otherwise, or the row in skip_rows; no name is changed on its way, as you order by it"})
		return
	}
	im.values[c.name] = text
	if c.name == "part" {
		im.part = text
	}
}

// checkGlasses faults glasses that nobody knows.
func (im *importer) checkGlasses() {
	for e := 1; e <= 3; e++ {
		name := elementColumns(e)[1]
		glass := im.values[name]
		if glass == "" || im.glasses.Find(glass) != nil {
			continue
		}
		var known []string
		for _, g := range im.glasses.Glasses() {
			known = append(known, g.Name)
		}
		im.fault(im.sourceKey(name), slip{quoted(glass) + " is no known glass", orNearest("a known glass, a six-digit code as 517642, or the right name under [glasses] in the map", glass, known)})
	}
}

// text is the row of the table.
func (im *importer) text(derived string) string {
	cells := make([]string, 0, len(im.columns)+1)
	for i := range im.columns {
		cells = append(cells, im.values[im.columns[i].name])
	}
	return record(append(cells, derived))
}

// record is a line of CSV. A name that begins with # is quoted, as a line that
// does is a comment.
func record(cells []string) string {
	var b strings.Builder
	for i, c := range cells {
		if i > 0 {
			b.WriteByte(',')
		}
		if strings.ContainsAny(c, ",\"\n\r") || strings.HasPrefix(c, "#") || strings.TrimSpace(c) != c {
			c = `"` + strings.ReplaceAll(c, `"`, `""`) + `"`
		}
		b.WriteString(c)
	}
	b.WriteByte('\n')
	return b.String()
}
