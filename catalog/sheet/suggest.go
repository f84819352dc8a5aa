package sheet

import (
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"relaysweep/catalog"
)

const (
	headerWithin = 30  // rows among which a header is looked for
	sampledMost  = 300 // rows below it that are looked at
	namesMost    = 60  // kinds and glasses that are listed
)

// meaning is what a column may be meant as, by the words of its name.
type meaning struct {
	column string
	words  *regexp.Regexp
}

// meanings in the order in which they are tried. The words are those of the
// trade, in English and German; a header that has none of them stays unsure.
var meanings = []meaning{
	{"efl_mm", regexp.MustCompile(`\b(effective focal( length)?|focal length|efl|brennweite|power|f'?)$`)},
	{"bfl_mm", regexp.MustCompile(`\b(back focal( length)?|back focus|bfl|bfd|schnittweite)$`)},
	{"clear_mm", regexp.MustCompile(`\b(clear (aperture|diameter)|free aperture|ca|freie (öffnung|apertur))$`)},
	{"diameter_mm", regexp.MustCompile(`^(outer |lens |full )?(diameter|dia\.?|durchmesser|ø|⌀)$`)},
	{"t1_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t ?1?|d ?1)( 1)?$`)},
	{"t2_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t|d) ?2$`)},
	{"t3_mm", regexp.MustCompile(`^(cent(er|re) thickness|thickness|mittendicke|ct|tc|t|d) ?3$`)},
	{"r1_mm", regexp.MustCompile(`^(radius( of curvature)?|front radius|r) ?1?$`)},
	{"r2_mm", regexp.MustCompile(`^(radius( of curvature)?|r) ?2$|^(back|rear) radius$`)},
	{"r3_mm", regexp.MustCompile(`^(radius( of curvature)?|r) ?3$`)},
	{"r4_mm", regexp.MustCompile(`^(radius( of curvature)?|r) ?4$`)},
	{"glass1", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff)( type)?( ?1)?$`)},
	{"glass2", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff) ?2$`)},
	{"glass3", regexp.MustCompile(`^(glass|material|substrate|glas|werkstoff) ?3$`)},
	{"part", regexp.MustCompile(`^(part|item|order|article|catalog(ue)?|stock|artikel|bestell|teile?)[ -]?(no\.?|number|code|id|nr\.?|nummer|#)?$|^(sku|code|name)$`)},
	{"kind", regexp.MustCompile(`^(lens )?(type|form|shape|kind|art|typ|bauform)$`)},
	{"vendor", regexp.MustCompile(`^(vendor|maker|manufacturer|brand|shop|supplier|hersteller|lieferant)$`)},
	{"price", regexp.MustCompile(`\b(price|cost|preis)\b`)},
	{"stock", regexp.MustCompile(`^(in stock|stock|quantity|qty\.?|pieces|bestand|lagerbestand|menge)$`)},
	{"density", regexp.MustCompile(`^(density|dichte)$`)},
	{"loss_pct", regexp.MustCompile(`^(reflectance|loss|surface loss)( per surface)?$`)},
}

// kindWords are ways to write a kind of lens.
var kindWords = []struct {
	kind  string
	words *regexp.Regexp
}{
	{"plano-convex", regexp.MustCompile(`^plano?[ -]?(convex|konvex)$`)},
	{"plano-concave", regexp.MustCompile(`^plano?[ -]?(concave|konkav)$`)},
	{"equi-convex", regexp.MustCompile(`^(equi|symmetric)[ -]?(bi-?)?convex$`)},
	{"equi-concave", regexp.MustCompile(`^(equi|symmetric)[ -]?(bi-?)?concave$`)},
	{"bi-convex", regexp.MustCompile(`^(bi|double)[ -]?(convex|konvex)$`)},
	{"bi-concave", regexp.MustCompile(`^(bi|double)[ -]?(concave|konkav)$`)},
	{"meniscus", regexp.MustCompile(`^((positive|negative) )?menisk?(cu)?s$`)},
	{"achromat", regexp.MustCompile(`^(achromat(ic)?( doublet)?|cemented doublet)$`)},
}

// sampled is the beginning of a sheet.
type sampled struct {
	header []string
	row    int // of the header
	rows   [][]string
	stored bool // numbers are stored as such
}

// guess is a proposed feed of one of our columns.
type guess struct {
	column string
	at     int // the sheet's, from 0
	unit   string
	sign   sign
	notes  []string // what is unsure, for which the line is a comment
	drop   []string
}

// Suggest proposes a map for a sheet by its header and first rows. What it is
// unsure of stands in comments. Of a workbook it takes the sheet named, or the
// first. The header is looked for where its row is 0. The error is of type
// [catalog.Faults].
func Suggest(file catalog.File, sheetName string, headerRow int) (string, error) {
	s, err := sample(file, sheetName, headerRow)
	if err != nil {
		return "", asFaults(file, err)
	}
	guesses := s.guesses()
	var b strings.Builder
	fmt.Fprintf(&b, "# Map of the sheet %s, proposed by its header and first %s.\n", shownName(file.Shown), counted(len(s.rows), "row"))
	b.WriteString("# What is unsure stands in comments: decide, and take the # away. See\n# relaysweep help tables.\n")
	if sheetName != "" {
		fmt.Fprintf(&b, "sheet = %s\n", tomlText(sheetName))
	}
	fmt.Fprintf(&b, "header_row = %d\n", s.row)
	commas := s.writeNotation(&b, guesses)
	s.writeEqual(&b, guesses)
	b.WriteString("\n[columns]\n")
	s.writeColumns(&b, guesses, commas)
	s.writeFixed(&b, guesses)
	s.writeNames(&b, guesses)
	return b.String(), nil
}

// sample reads the beginning of a sheet.
func sample(file catalog.File, sheetName string, headerRow int) (*sampled, error) {
	if headerRow < 0 || headerRow > rowsMost {
		return nil, brokenAt(0, fmt.Sprintf("there is no row %d", headerRow), "the number of the row with the column names, from 1")
	}
	m := &Map{sheet: sheetName, headerRow: max(headerRow, 1)}
	if headerRow == 0 {
		// A title above the header has no separators.
		m.headerRow = likelyHeader(file, m)
	}
	src, err := open(file, m)
	if err != nil {
		return nil, err
	}
	defer src.close()
	s := &sampled{row: m.headerRow, stored: src.numbersStored()}
	for len(s.rows) < sampledMost {
		cells, row, wrong, err := src.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if wrong != nil || row < s.row {
			continue
		}
		var line []string
		for _, c := range cells {
			line = append(line, strings.Clone(plain(c)))
		}
		if row == s.row {
			s.header = line
			continue
		}
		if s.header == nil {
			break
		}
		s.rows = append(s.rows, line)
	}
	if s.header == nil {
		return nil, brokenAt(s.row, "there is no header in this row", "a row of column names; --header-row tells which")
	}
	return s, nil
}

// likelyHeader is the first row in which most names mean something.
func likelyHeader(file catalog.File, m *Map) int {
	best, most := 1, 0
	separators := []rune{0}
	if src, err := open(file, m); err == nil {
		if !src.numbersStored() {
			separators = []rune{',', ';', '\t'}
		}
		_ = src.close() // only read from
	} else {
		separators = []rune{',', ';', '\t'}
	}
	for _, separator := range separators {
		with := *m
		with.separator = separator
		src, err := open(file, &with)
		if err != nil {
			continue
		}
		for range headerWithin {
			cells, row, wrong, err := src.next()
			if err != nil {
				break
			}
			if wrong != nil {
				continue
			}
			n := 0
			for _, c := range cells {
				if column, _ := meant(plain(c)); column != "" {
					n++
				}
			}
			if n > most {
				best, most = row, n
			}
		}
		_ = src.close()
	}
	return best
}

var bracketed = regexp.MustCompile(`\s*[(\[{]([^)\]}]*)[)\]}]|,\s*(\S+)$|\s+/\s+(\S+)$|\s+in\s+(\S+)$`)

// meant is the column of ours that a header name means, and the unit that it
// states, as it stands there.
func meant(header string) (column, unitText string) {
	name := header
	if m := bracketed.FindStringSubmatch(name); m != nil {
		for _, text := range m[1:] {
			if text != "" {
				unitText = strings.TrimSpace(text)
			}
		}
		name = strings.TrimSpace(strings.Replace(name, m[0], " ", 1))
	} else if i := strings.LastIndexByte(name, ' '); i > 0 {
		if _, ok := unitSpelled(name[i+1:]); ok {
			name, unitText = name[:i], name[i+1:]
		}
	}
	name = strings.ToLower(strings.TrimRight(plain(strings.ReplaceAll(name, "_", " ")), ":. "))
	for _, mean := range meanings {
		if mean.words.MatchString(name) {
			return mean.column, unitText
		}
	}
	return "", unitText
}

func (s *sampled) cell(row, column int) string {
	if column < len(s.rows[row]) {
		return s.rows[row][column]
	}
	return ""
}

func (s *sampled) guesses() []guess {
	var all []guess
	for at, header := range s.header {
		column, unitText := meant(header)
		g := guess{column: column, at: at}
		if column == "" {
			all = append(all, g)
			continue
		}
		if i := slices.IndexFunc(all, func(o guess) bool { return o.column == column }); i >= 0 {
			g.notes = append(g.notes, "column "+fmt.Sprint(all[i].at+1)+" may be meant as well")
		}
		if isLength(column) {
			u, ok := unitSpelled(unitText)
			if !ok {
				u, ok = s.unitOfCells(at)
			}
			switch {
			case !ok:
				g.unit = "mm"
				g.notes = append(g.notes, "the header names no unit")
			case u.mm == nil && !isFocal(column):
				g.unit = "mm"
				g.notes = append(g.notes, "the header names dioptres")
			default:
				g.unit = u.name
			}
		}
		if column == "price" && unitText != "" {
			g.drop = s.dropped(at, unitText)
		}
		all = append(all, g)
	}
	return all
}

// unitOfCells is the unit that stands behind the numbers of a column.
func (s *sampled) unitOfCells(at int) (unit, bool) {
	for i := range s.rows {
		text := s.cell(i, at)
		number := strings.TrimRight(text, "0123456789.,")
		if text == "" || number == text {
			behind := strings.TrimSpace(strings.TrimLeft(text, "+-−0123456789., "))
			if behind == "" {
				continue
			}
			if u, ok := unitSpelled(behind); ok {
				return u, true
			}
		}
	}
	return unit{}, false
}

// dropped are the texts of currency that stand in cells.
func (s *sampled) dropped(at int, text string) []string {
	for i := range s.rows {
		if strings.Contains(s.cell(i, at), text) {
			return []string{text}
		}
	}
	return nil
}

func isNumeric(g guess) bool { return g.column != "" && !isText(g.column) }

var (
	withComma = regexp.MustCompile(`^[+\-−]?\d+,\d+\D*$`)
	withPoint = regexp.MustCompile(`^[+\-−]?\d*\.\d+\D*$`)
)

// writeNotation writes what the cells of numbers show: decimal commas, texts
// for no value.
func (s *sampled) writeNotation(b *strings.Builder, guesses []guess) (commas bool) {
	comma, point := 0, 0
	var empty []string
	for _, g := range guesses {
		if !isNumeric(g) {
			continue
		}
		for i := range s.rows {
			text := s.cell(i, g.at)
			switch {
			case withComma.MatchString(text):
				comma++
			case withPoint.MatchString(text):
				point++
			case slices.Contains([]string{"-", "–", "—", "n/a", "N/A", "na", "NA", "none", "k.A.", "?", "#N/A"}, text) && !slices.Contains(empty, text):
				empty = append(empty, text)
			}
		}
	}
	switch {
	case comma > 0 && (point == 0 || s.stored):
		b.WriteString("decimal_comma = true\n")
		commas = true
	case comma > 0:
		fmt.Fprintf(b, "# decimal_comma = true   # %s with a comma, %d with a point\n", counted(comma, "number"), point)
	}
	if len(empty) > 0 {
		fmt.Fprintf(b, "empty = [%s]\n", tomlTexts(empty))
	}
	return commas
}

// writeEqual proposes kinds with equal radii where radii are missing.
func (s *sampled) writeEqual(b *strings.Builder, guesses []guess) {
	has := func(column string) bool {
		return slices.ContainsFunc(guesses, func(g guess) bool { return g.column == column })
	}
	if has("r1_mm") && has("r2_mm") || !has("kind") {
		return
	}
	var kinds []string
	for _, text := range s.distinct(guesses, "kind") {
		kind := kindMeant(text)
		if kind == "" && slices.Contains([]string{"bi-convex", "bi-concave"}, text) {
			kind = text
		}
		if (kind == "bi-convex" || kind == "bi-concave") && !slices.Contains(kinds, kind) {
			kinds = append(kinds, kind)
		}
	}
	if len(kinds) > 0 {
		fmt.Fprintf(b, "# equal_radii = [%s]   # true if both faces of these are alike; else they are left out\n", tomlTexts(kinds))
	}
}

func (s *sampled) writeColumns(b *strings.Builder, guesses []guess, commas bool) {
	guesses = s.withSigns(guesses, commas)
	for _, column := range append(catalog.LensColumns(), "") {
		for _, g := range guesses {
			if g.column != column {
				continue
			}
			from := tomlText(s.header[g.at])
			if s.header[g.at] == "" || slices.Index(s.header, s.header[g.at]) != g.at || slices.Contains(s.header[g.at+1:], s.header[g.at]) {
				from = strconv.Itoa(g.at + 1)
			}
			if column == "" {
				fmt.Fprintf(b, "# ? = %s%s\n", from, s.examples(g.at))
				continue
			}
			options := ""
			if g.unit != "" {
				options += fmt.Sprintf(", unit = %q", g.unit)
			}
			if g.sign != "" {
				options += fmt.Sprintf(", sign = %q", string(g.sign))
			}
			if len(g.drop) > 0 {
				options += fmt.Sprintf(", drop = [%s]", tomlTexts(g.drop))
			}
			line := column + " = " + from
			if options != "" {
				line = column + " = { from = " + from + options + " }"
			}
			if len(g.notes) > 0 {
				line = "# " + line + "   # unsure: " + strings.Join(g.notes, "; ")
			}
			b.WriteString(line + s.examplesIf(len(g.notes) > 0, g.at) + "\n")
		}
	}
	for _, column := range needed {
		if !slices.ContainsFunc(guesses, func(g guess) bool { return g.column == column }) && column != "glass1" {
			fmt.Fprintf(b, "# %s = \"...\"   # a lens needs it, and no header name is like it\n", column)
		}
	}
}

func (s *sampled) examplesIf(wanted bool, at int) string {
	if !wanted {
		return ""
	}
	return s.examples(at)
}

// examples are some of a column's cells, for a comment.
func (s *sampled) examples(at int) string {
	var some []string
	for i := range s.rows {
		if text := s.cell(i, at); text != "" && !slices.Contains(some, quoted(text)) {
			some = append(some, quoted(text))
		}
		if len(some) == 3 {
			break
		}
	}
	if len(some) == 0 {
		return "   # empty"
	}
	return "   # as " + strings.Join(some, ", ")
}

// withSigns looks for evidence of how the last radius is signed: a bi-convex or
// bi-concave lens has radii of opposite signs in a lens table.
func (s *sampled) withSigns(guesses []guess, commas bool) []guess {
	at := func(column string) int {
		i := slices.IndexFunc(guesses, func(g guess) bool { return g.column == column })
		if i < 0 {
			return -1
		}
		return guesses[i].at
	}
	r1, r2, kind := at("r1_mm"), at("r2_mm"), at("kind")
	if r1 < 0 || r2 < 0 {
		return guesses
	}
	opposite, alike, negative := 0, 0, false
	in := reading{unit: units[0], isLength: true, decimalComma: commas, flat: usualFlat, numbers: s.stored}
	for i := range s.rows {
		a, wrong1 := in.number(s.cell(i, r1))
		b, wrong2 := in.number(s.cell(i, r2))
		negative = negative || wrong1 == nil && a < 0 || wrong2 == nil && b < 0
		if wrong1 != nil || wrong2 != nil || math.IsInf(a, 0) || math.IsInf(b, 0) || kind < 0 {
			continue
		}
		switch kindMeant(s.cell(i, kind)) {
		case "bi-convex", "bi-concave", "equi-convex", "equi-concave":
			if a*b < 0 {
				opposite++
			} else {
				alike++
			}
		}
	}
	last := guesses[slices.IndexFunc(guesses, func(g guess) bool { return g.column == "r2_mm" })].column
	for i := range guesses {
		g := &guesses[i]
		if g.column != "r1_mm" && g.column != last {
			continue
		}
		switch {
		case alike > 0 && opposite == 0 && negative:
			g.sign = signConvex
		case alike > 0 && opposite == 0:
			g.sign = signKind
			g.notes = append(g.notes, `no radius is negative: "kind" takes the sign from the kind, "convex" takes positive for convex`)
		case alike > 0:
			g.notes = append(g.notes, fmt.Sprintf("of lenses convex or concave on both sides %d have radii of one sign and %d of two", alike, opposite))
		case opposite == 0 && g.column == "r2_mm":
			g.notes = append(g.notes, `nothing shows the sign convention: "axis" is positive with the centre behind the surface, "convex" positive for convex`)
			g.sign = signAxis
		}
	}
	return guesses
}

// distinct are the texts of a column, in their order.
func (s *sampled) distinct(guesses []guess, column string) []string {
	var texts []string
	for _, g := range guesses {
		if g.column != column {
			continue
		}
		for i := range s.rows {
			if text := s.cell(i, g.at); text != "" && len(texts) < namesMost && !slices.Contains(texts, text) {
				texts = append(texts, text)
			}
		}
	}
	return texts
}

func kindMeant(text string) string {
	text = strings.ToLower(strings.TrimSuffix(strings.TrimSuffix(strings.ToLower(text), " lens"), " lenses"))
	for _, k := range kindWords {
		if k.words.MatchString(text) {
			return k.kind
		}
	}
	return ""
}

func (s *sampled) writeFixed(b *strings.Builder, guesses []guess) {
	lacks := func(column string) bool {
		return !slices.ContainsFunc(guesses, func(g guess) bool { return g.column == column })
	}
	if !lacks("vendor") && !lacks("glass1") {
		return
	}
	b.WriteString("\n[fixed]\n")
	if lacks("vendor") {
		b.WriteString("# vendor = \"...\"\n")
	}
	if lacks("glass1") {
		b.WriteString("# glass1 = \"...\"   # if all lenses are of one glass\n")
	}
}

// writeNames proposes other names for glasses and kinds that are written in a
// way of their own.
func (s *sampled) writeNames(b *strings.Builder, guesses []guess) {
	var lines []string
	var known []string
	for _, g := range catalog.BuiltinGlasses().Glasses() {
		known = append(known, g.Name)
	}
	var glasses []string
	for _, column := range []string{"glass1", "glass2", "glass3"} {
		for _, text := range s.distinct(guesses, column) {
			if !slices.Contains(glasses, text) {
				glasses = append(glasses, text)
			}
		}
	}
	for _, text := range glasses {
		if catalog.BuiltinGlasses().Find(text) != nil {
			continue
		}
		near := catalog.Nearest(text, known)
		if len(near) == 0 {
			near = []string{"..."}
		}
		lines = append(lines, fmt.Sprintf("# %s = %s   # unsure: not a glass that is built in", tomlText(text), tomlText(near[0])))
	}
	if len(lines) > 0 {
		b.WriteString("\n[glasses]\n" + strings.Join(lines, "\n") + "\n")
	}
	lines = nil
	for _, text := range s.distinct(guesses, "kind") {
		switch kind := kindMeant(text); kind {
		case text:
		case "":
			lines = append(lines, fmt.Sprintf("# %s = \"...\"   # plano-convex, bi-concave, ... if radii are to follow from it", tomlText(text)))
		default:
			lines = append(lines, fmt.Sprintf("%s = %q", tomlText(text), kind))
		}
	}
	if len(lines) > 0 {
		b.WriteString("\n[kinds]\n" + strings.Join(lines, "\n") + "\n")
	}
}

// tomlText is a text as TOML has it, also one with hidden characters.
func tomlText(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, c := range s {
		switch {
		case c == '"' || c == '\\':
			b.WriteByte('\\')
			b.WriteRune(c)
		case catalog.IsHidden(c):
			fmt.Fprintf(&b, `\U%08X`, c)
		default:
			b.WriteRune(c)
		}
	}
	b.WriteByte('"')
	return b.String()
}

func tomlTexts(all []string) string {
	shown := make([]string, len(all))
	for i, s := range all {
		shown[i] = tomlText(s)
	}
	return strings.Join(shown, ", ")
}
