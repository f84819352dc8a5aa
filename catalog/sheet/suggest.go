package sheet

import (
	"fmt"
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
			s.guessUnit(&g, unitText)
		}
		if column == "price" {
			g.drop = s.dropped(at)
		}
		all = append(all, g)
	}
	return all
}

// guessUnit sets the unit of a column by what its header and its cells name.
func (s *sampled) guessUnit(g *guess, unitText string) {
	named, bare := s.unitsOfCells(g.at)
	u, inHeader := unitSpelled(unitText)
	switch {
	case inHeader:
		if named = slices.DeleteFunc(named, func(name string) bool { return name == u.name }); len(named) > 0 {
			g.notes = append(g.notes, "cells name "+strings.Join(named, " and "))
		}
	case len(named) == 0:
		u = units[0]
		g.notes = append(g.notes, "the header names no unit")
	default:
		u, _ = unitNamed(named[0])
		if len(named) > 1 {
			g.notes = append(g.notes, "cells name "+strings.Join(named, " and "))
		}
		if bare {
			g.notes = append(g.notes, "only some cells name a unit")
		}
	}
	if !u.of(g.column) {
		g.notes = append(g.notes, u.name+" is no unit for it")
		u = units[0]
	}
	g.unit = u.name
}

// unitsOfCells are the units that stand behind the numbers of a column, in their order, and
// whether others have none.
func (s *sampled) unitsOfCells(at int) (named []string, bare bool) {
	for i := range s.rows {
		text := s.cell(i, at)
		behind := strings.TrimSpace(strings.TrimLeft(text, "+-−0123456789., "))
		if behind == text {
			continue // no number
		}
		if behind == "" {
			bare = bare || strings.ContainsAny(text, "0123456789")
		} else if u, ok := unitSpelled(behind); ok && !slices.Contains(named, u.name) {
			named = append(named, u.name)
		}
	}
	return named, bare
}

var (
	aroundNumber  = regexp.MustCompile(`^([^\d+\-−.,]*)[\d.,+\-−]+([^\d.,]*)$`)
	pointThousand = regexp.MustCompile(`\d\.\d{3},\d`)
	commaThousand = regexp.MustCompile(`\d,\d{3}(\.\d|,\d{3})`)
)

// dropped are the currencies before and behind a column's prices, and what parts
// their thousands.
func (s *sampled) dropped(at int) []string {
	var drop []string
	add := func(text string) {
		if text = strings.TrimSpace(text); text != "" && len(drop) < 10 && !slices.Contains(drop, text) {
			drop = append(drop, text)
		}
	}
	for i := range s.rows {
		text := s.cell(i, at)
		m := aroundNumber.FindStringSubmatch(text)
		if m == nil {
			continue
		}
		add(m[1])
		add(m[2])
		switch {
		case pointThousand.MatchString(text):
			add(".")
		case commaThousand.MatchString(text):
			add(",")
		}
	}
	return drop
}

func isNumeric(g guess) bool { return g.column != "" && !isText(g.column) }

var (
	withComma = regexp.MustCompile(`^[+\-−]?(\d+,(\d{1,2}|\d{4,})|0,\d+|\d{1,3}(\.\d{3})+,\d+)\D*$`)
	eitherWay = regexp.MustCompile(`^[+\-−]?\d{1,3},\d{3}\D*$`) // decimals or thousands
	withPoint = regexp.MustCompile(`^[+\-−]?\d*\.\d+\D*$`)
)

// writeNotation writes what the cells of numbers show: decimal commas, texts
// for no value.
func (s *sampled) writeNotation(b *strings.Builder, guesses []guess) (commas bool) {
	comma, point, either := 0, 0, 0
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
			case eitherWay.MatchString(text):
				either++
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
	case comma == 0 && either > 0 && point == 0:
		fmt.Fprintf(b, "# decimal_comma = true   # unsure: in %s the comma may part thousands\n", counted(either, "number"))
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
	at := func(column string) int {
		return slices.IndexFunc(guesses, func(g guess) bool { return g.column == column })
	}
	kind := at("kind")
	if kind < 0 {
		return
	}
	var kinds []string
	for i := range s.rows {
		given := 0
		for _, column := range []string{"r1_mm", "r2_mm"} {
			if r := at(column); r >= 0 && s.cell(i, guesses[r].at) != "" {
				given++
			}
		}
		named := kindMeant(s.cell(i, guesses[kind].at))
		if given == 0 && (named == "bi-convex" || named == "bi-concave") && !slices.Contains(kinds, named) {
			kinds = append(kinds, named)
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

// withSigns looks for the convention of signs by which all lenses are of the
// kinds that the sheet says.
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
	fits := map[sign]bool{signAxis: true, signAgainst: true, signConvex: true, signKind: true}
	in := reading{unit: units[0], isLength: true, decimalComma: commas, flat: usualFlat, numbers: s.stored}
	told := false // the kinds of simple lenses tell
	for i := range s.rows {
		a, wrong1 := in.number(s.cell(i, r1))
		b, wrong2 := in.number(s.cell(i, r2))
		if wrong1 == nil && a < 0 || wrong2 == nil && b < 0 {
			fits[signKind] = false
		}
		if wrong1 != nil || wrong2 != nil || kind < 0 {
			continue
		}
		front, back, plano, _ := formOf(kindMeant(s.cell(i, kind)))
		if front == 0 {
			continue
		}
		if plano {
			back = -front // whichever is the curved one
		}
		told = true
		// What stands for a curved face, times the sign that it has in a lens table.
		first, last := float64(front)*a, float64(back)*b
		flat1, flat2 := math.IsInf(a, 0), math.IsInf(b, 0)
		keep := func(convention sign, holds bool) { fits[convention] = fits[convention] && holds }
		keep(signAxis, (flat1 || first > 0) && (flat2 || last > 0))
		keep(signAgainst, (flat1 || first < 0) && (flat2 || last < 0))
		keep(signConvex, (flat1 || first > 0) && (flat2 || last < 0))
		keep(signKind, (flat1 || a > 0) && (flat2 || b > 0))
	}
	if !told {
		s.signsOfCemented(guesses, in, fits)
	}
	var left []string
	for _, convention := range []sign{signAxis, signAgainst, signConvex, signKind} {
		if fits[convention] {
			left = append(left, string(convention))
		}
	}
	for i := range guesses {
		g := &guesses[i]
		if !isRadius(g.column) {
			continue
		}
		switch {
		case len(left) == 0:
			g.notes = append(g.notes, "by no convention of signs are all lenses of the kind that the sheet says")
		case len(left) > 1:
			g.sign = sign(left[0])
			g.notes = append(g.notes, "the sign may be as well "+strings.Join(left[1:], " or "))
		case left[0] != string(signAxis):
			g.sign = sign(left[0])
		}
	}
	return guesses
}

// focalWithin is how near a focal length has to come for radii to have the sign
// supposed: the tolerance of stock lenses, 1 to 2 % (common practice).
const focalWithin = 0.02

// signsOfCemented rules out the conventions by which cemented lenses do not have the focal length
// that the sheet says. Lenses that have it by neither tell nothing. Convex and kind say nothing of a
// cemented face.
func (s *sampled) signsOfCemented(guesses []guess, in reading, fits map[sign]bool) {
	of := map[string]guess{}
	for _, g := range slices.Backward(guesses) {
		of[g.column] = g
	}
	// length is a cell's in mm, NaN where there is none.
	length := func(row int, column string) float64 {
		g, has := of[column]
		text := ""
		if has {
			text = s.cell(row, g.at)
		}
		if text == "" {
			return math.NaN()
		}
		of := in
		of.unit, _ = unitNamed(g.unit)
		if x, wrong := of.number(text); wrong == nil {
			return x
		}
		return math.NaN()
	}
	for i := range s.rows {
		l := catalog.Lens{ThicknessMM: []float64{length(i, "t1_mm"), length(i, "t2_mm")}}
		whole := true
		for _, column := range []string{"glass1", "glass2"} {
			glass := (*catalog.Glass)(nil)
			if g, has := of[column]; has {
				glass = catalog.BuiltinGlasses().Find(s.cell(i, g.at))
			}
			whole = whole && glass != nil
			l.Glasses = append(l.Glasses, glass)
		}
		for _, column := range []string{"r1_mm", "r2_mm", "r3_mm"} {
			l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: length(i, column)})
		}
		if fourth, has := of["r4_mm"]; !whole || has && s.cell(i, fourth.at) != "" {
			continue
		}
		published := length(i, "efl_mm")
		by := func(factor float64) bool {
			turned := l
			turned.Surfaces = slices.Clone(l.Surfaces)
			for k := range turned.Surfaces {
				turned.Surfaces[k].RadiusMM *= factor
			}
			efl, _, _ := turned.Cardinal(catalog.LineD)
			return math.Abs(efl-published) <= focalWithin*math.Abs(published)
		}
		if axis, against := by(1), by(-1); axis != against {
			fits[signAxis], fits[signAgainst] = fits[signAxis] && axis, fits[signAgainst] && against
			fits[signConvex], fits[signKind] = false, false
		}
	}
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
	radii := slices.ContainsFunc(guesses, func(g guess) bool { return g.column == "r1_mm" }) &&
		slices.ContainsFunc(guesses, func(g guess) bool { return g.column == "r2_mm" })
	for _, text := range s.distinct(guesses, "kind") {
		switch kind := kindMeant(text); kind {
		case text:
		case "":
			if radii {
				continue
			}
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
