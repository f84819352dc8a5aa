package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"relaysweep/catalog"
)

// MapBytesMost is the size of a map in bytes.
const MapBytesMost = 256 << 10

// Map says how the columns of a sheet feed those of a lens table.
type Map struct {
	file         string
	sheet        string // of a workbook; the first if empty
	headerRow    int    // from 1
	separator    rune   // 0: to be found out
	decimalComma bool
	empty, flat  []string // texts for no value and for an infinite radius
	focalNM      float64  // wavelength of the focal lengths
	equalRadii   []string // kinds whose two radii are equal and opposite
	skipRows     []span
	skip         []skipRule
	columns      map[string]feed   // by our column
	fixed        map[string]string // by our column
	glasses      map[string]string // from the sheet's name to ours
	kinds        map[string]string
}

// feed is the column of the sheet from which one of ours comes.
type feed struct {
	name   string
	number int // from 1, where the map gives that and no name; else 0
	unit   unit
	sign   sign
	drop   []string
	line   int // in the map
}

func (f feed) String() string {
	if f.number > 0 {
		return fmt.Sprintf("column %d", f.number)
	}
	return fmt.Sprintf("column %q", f.name)
}

// sign is how the sheet gives the signs of radii and focal lengths.
type sign string

const (
	// signAxis is that of a lens table: a radius is positive when its centre
	// lies on the eye side, a focal length when the lens converges.
	signAxis sign = "axis"
	// signAgainst is the other way round.
	signAgainst sign = "against"
	// signConvex: a radius is positive when the surface bulges out of the lens.
	signConvex sign = "convex"
	// signKind: there are magnitudes only, and the kind tells.
	signKind sign = "kind"
)

// skipRule leaves out rows in which a cell fits one of the patterns.
type skipRule struct {
	feed
	patterns []string
}

// span is a range of rows, both ends included.
type span struct{ first, last int }

// usualFlat are the texts that stand for a flat without being listed.
var usualFlat = []string{"inf", "infinity", "∞", "flat", "plano", "plane"}

// needed are the columns without which there is no lens: each has to be fed or
// fixed. Radii may be computed.
var needed = []string{"part", "diameter_mm", "t1_mm", "glass1"}

// textColumns of a lens table; the others hold numbers.
var textColumns = []string{"part", "vendor", "kind", "glass1", "glass2", "glass3"}

func isText(column string) bool { return slices.Contains(textColumns, column) }

func isRadius(column string) bool {
	return len(column) == len("r1_mm") && column[0] == 'r' && strings.HasSuffix(column, "_mm")
}

func isFocal(column string) bool { return column == "efl_mm" || column == "bfl_mm" }

func isLength(column string) bool { return strings.HasSuffix(column, "_mm") }

// ReadMap reads the bytes of a map that the user named as shown. It is a TOML
// file:
//
//	sheet = "Lenses"          # of a workbook; the first when absent
//	header_row = 1            # row of the column names, from 1
//	separator = "semicolon"   # or "comma", "tab"; found out when absent
//	decimal_comma = false
//	empty = ["n/a", "-"]      # texts that stand for no value
//	flat = ["0"]              # texts for a flat, besides inf, flat, plano, ∞
//	focal_nm = 587.5618       # wavelength of the focal lengths
//	equal_radii = ["bi-convex"]  # kinds whose two radii are equal
//	skip_rows = [2, "90-95"]  # rows to pass over
//
//	[columns]                 # ours = the sheet's: its name or number
//	part = "Order no."
//	diameter_mm = { from = "Width", unit = "inch" }
//	r2_mm = { from = 7, sign = "convex" }
//	price = { from = "Price", drop = ["EUR"] }
//
//	[fixed]                   # where no column feeds ours, or its cell is empty
//	vendor = "Invented"
//
//	[glasses]                 # the sheet's name = ours
//	"BK 7" = "N-BK7"
//
//	[kinds]
//	"PX" = "plano-convex"
//
//	[skip]                    # rows in which a cell of the column fits
//	"Status" = ["sold out*"]
//
// Everything that is wrong is told at once.
func ReadMap(data []byte, shown string) (*Map, catalog.Faults) {
	r := mapReader{
		m: &Map{
			file: shown, headerRow: 1, focalNM: catalog.LineD, flat: slices.Clone(usualFlat),
			columns: map[string]feed{}, fixed: map[string]string{}, glasses: map[string]string{}, kinds: map[string]string{},
		},
	}
	r.read(data)
	if len(r.faults) > 0 {
		r.faults.Err() // puts them in order
		return nil, r.faults
	}
	return r.m, nil
}

type mapReader struct {
	m      *Map
	lines  map[string]int // by key, its section before a zero byte
	faults catalog.Faults
}

func (r *mapReader) fault(section, key, found, want string) {
	name := key
	if section != "" {
		name = section + "." + key
	}
	r.faults = append(r.faults, catalog.Fault{File: r.m.file, Line: r.lines[section+"\x00"+key], Key: name, Found: found, Want: want})
}

func (r *mapReader) read(data []byte) {
	whole := func(line int, found, want string) {
		r.faults = append(r.faults, catalog.Fault{File: r.m.file, Line: line, Found: found, Want: want})
	}
	if len(data) > MapBytesMost {
		whole(0, "the map is larger than 256 kB", "a map of columns, not the sheet itself")
		return
	}
	if bytes.HasPrefix(data, []byte("PK\x03\x04")) || bytes.IndexByte(data, 0) >= 0 {
		whole(0, "the file holds bytes that are no text", "a map in TOML")
		return
	}
	if line, found := catalog.NotUTF8(data); line > 0 {
		whole(line, found, catalog.WantUTF8)
		return
	}
	text := strings.TrimPrefix(string(data), "\ufeff")
	var top map[string]any
	if _, err := toml.Decode(text, &top); err != nil {
		var parse toml.ParseError
		line, why := 0, err.Error()
		if errors.As(err, &parse) {
			line, why = parse.Position.Line, parse.Message
		}
		whole(line, "the map is not in TOML notation: "+why, `lines as [section] and key = value, texts in quotes`)
		return
	}
	r.lines = keyLines(text)
	for _, key := range slices.Sorted(maps.Keys(top)) {
		r.key(key, top[key])
	}
	r.complete()
}

var mapKeys = []string{
	"sheet", "header_row", "separator", "decimal_comma", "empty", "flat", "focal_nm", "equal_radii", "skip_rows",
	"columns", "fixed", "glasses", "kinds", "skip",
}

const rowsMost = 1 << 20 // of a workbook, and of a CSV file

func (r *mapReader) key(key string, value any) {
	m := r.m
	ok := true
	want := ""
	switch key {
	case "sheet":
		m.sheet, ok = value.(string)
		want = "the name of a sheet in quotes"
	case "header_row":
		var row int64
		row, ok = value.(int64)
		ok = ok && row >= 1 && row <= rowsMost
		m.headerRow = int(row)
		want = "the number of the row with the column names, from 1"
	case "separator":
		var name string
		name, _ = value.(string)
		m.separator, ok = map[string]rune{"comma": ',', "semicolon": ';', "tab": '\t'}[name]
		want = `"comma", "semicolon" or "tab"`
	case "decimal_comma":
		m.decimalComma, ok = value.(bool)
		want = "true or false"
	case "empty":
		m.empty, ok = texts(value)
		want = `a list of texts as ["n/a", "-"]`
	case "flat":
		var more []string
		more, ok = texts(value)
		m.flat = append(m.flat, more...)
		want = `a list of texts as ["0", "planar"]`
	case "focal_nm":
		m.focalNM, ok = value.(float64)
		if n, whole := value.(int64); whole {
			m.focalNM, ok = float64(n), true
		}
		ok = ok && m.focalNM >= 400 && m.focalNM <= 1100
		want = "a wavelength in nm from 400 to 1100, as 587.5618 for the d line"
	case "equal_radii":
		m.equalRadii, ok = texts(value)
		want = `a list of kinds, as a lens table names them: ["bi-convex"]`
	case "skip_rows":
		m.skipRows, ok = spans(value)
		want = `a list of rows from 1 and of ranges: [2, "90-95"]`
	case "columns", "fixed", "glasses", "kinds", "skip":
		section, table := value.(map[string]any)
		if !table {
			r.fault("", key, "there is a value", "a section ["+key+"] with a line for each")
			return
		}
		for _, name := range slices.Sorted(maps.Keys(section)) {
			r.entry(key, name, section[name])
		}
		return
	default:
		r.fault("", key, "there is no such key", orNearest("one of "+strings.Join(mapKeys, ", "), key, mapKeys))
		return
	}
	if !ok {
		r.fault("", key, shownValue(value)+" cannot be", want)
	}
}

// entry reads a line of a section.
func (r *mapReader) entry(section, name string, value any) {
	m := r.m
	switch section {
	case "columns":
		if !r.knownColumn(section, name) {
			return
		}
		m.columns[name] = r.feed(name, value)
	case "fixed":
		if r.knownColumn(section, name) {
			r.fix(name, value)
		}
	case "skip":
		patterns, ok := texts(value)
		if one, single := value.(string); single {
			patterns, ok = []string{one}, true
		}
		if !ok || len(patterns) == 0 {
			r.fault(section, name, shownValue(value)+" cannot be", `a list of patterns with * and ?: ["sold out*"]; "" for an empty cell`)
			return
		}
		m.skip = append(m.skip, skipRule{feed{name: plain(name), line: r.lines[section+"\x00"+name]}, patterns})
	default:
		ours, ok := value.(string)
		if !ok || plain(ours) == "" {
			r.fault(section, name, shownValue(value)+" cannot be", `the name in the lens table, in quotes: "BK 7" = "N-BK7"`)
			return
		}
		if section == "glasses" {
			m.glasses[plain(name)] = plain(ours)
		} else {
			m.kinds[plain(name)] = plain(ours)
		}
	}
}

func (r *mapReader) knownColumn(section, name string) bool {
	if catalog.IsLensColumn(name) {
		return true
	}
	r.fault(section, name, "a lens table has no such column",
		orNearest("one of "+strings.Join(catalog.LensColumns(), ", ")+" to the left of =, the sheet's column to the right", name, catalog.LensColumns()))
	return false
}

func (r *mapReader) fix(name string, value any) {
	text := ""
	switch v := value.(type) {
	case string:
		text = plain(v)
	case int64:
		text = strconv.FormatInt(v, 10)
	case float64:
		text = number(v)
	}
	if text == "" {
		r.fault("fixed", name, shownValue(value)+" cannot be", "a text in quotes or a number, as a lens table has it")
		return
	}
	if !isText(name) {
		in := reading{isLength: isLength(name), unit: units[0]}
		if isRadius(name) || isFocal(name) {
			in.flat = usualFlat
		}
		x, slip := in.number(text)
		if slip != nil {
			r.fault("fixed", name, slip.found, "a number as a lens table has it, lengths in mm")
			return
		}
		text = number(x)
	}
	r.m.fixed[name] = text
}

// feed reads what stands for a column of ours: the name or number of the
// sheet's column, or a table of these with unit, sign and texts to drop.
func (r *mapReader) feed(name string, value any) feed {
	f := feed{sign: signAxis, unit: units[0], line: r.lines["columns\x00"+name]}
	const want = `the sheet's column in quotes or its number from 1, or { from = "...", unit = "mm" }`
	options, isTable := value.(map[string]any)
	if !isTable {
		options = map[string]any{"from": value}
	}
	if _, has := options["from"]; !has {
		r.fault("columns", name, "it does not say from which column", want)
	}
	for _, key := range slices.Sorted(maps.Keys(options)) {
		v := options[key]
		text, isString := v.(string)
		ok := isString
		wanted := want
		switch key {
		case "from":
			number, isNumber := v.(int64)
			f.name = plain(text)
			f.number = int(number)
			ok = isString && f.name != "" || isNumber && number >= 1 && number <= columnsMost
		case "unit":
			if !isLength(name) {
				r.fault("columns", name, "the column has no unit to choose", "no unit here: "+meaningOf(name))
				continue
			}
			f.unit, ok = unitNamed(text)
			wanted = `"mm", "cm", "m" or "inch"`
			switch {
			case isFocal(name):
				wanted += `, or "dioptre"`
			case name == "pitch_mm":
				wanted += `, or "1/mm" for grooves per millimetre`
			}
			ok = ok && f.unit.of(name)
		case "sign":
			f.sign = sign(text)
			switch {
			case isRadius(name):
				ok = slices.Contains([]sign{signAxis, signAgainst, signConvex, signKind}, f.sign)
				wanted = `"axis" (positive when the centre lies behind the surface, as in a lens table), "against" (the other way round), "convex" (positive when it bulges out of the lens) or "kind" (magnitudes only)`
			case isFocal(name):
				ok = slices.Contains([]sign{signAxis, signAgainst, signKind}, f.sign)
				wanted = `"axis" (positive for a converging lens), "against" (the other way round) or "kind" (magnitudes only)`
			default:
				r.fault("columns", name, "the column has no sign to choose", "a sign for radii and focal lengths only")
				continue
			}
		case "drop":
			f.drop, ok = texts(v)
			if isString {
				f.drop, ok = []string{text}, true
			}
			ok = ok && !slices.Contains(f.drop, "")
			wanted = `a list of texts to take away: ["EUR", "~"]`
		default:
			r.fault("columns", name, "there is no option "+quoted(key), orNearest("from, unit, sign or drop", key, []string{"from", "unit", "sign", "drop"}))
			continue
		}
		if !ok {
			r.fault("columns", name, key+" = "+shownValue(v)+" cannot be", wanted)
		}
	}
	return f
}

func meaningOf(column string) string {
	switch {
	case isText(column):
		return "it is a text"
	case column == "density":
		return "it is in g/cm³"
	case column == "loss_pct":
		return "it is in %"
	case column == "draft_deg":
		return "it is in degrees"
	}
	return "it is a plain number, or in powers of mm"
}

// complete faults what a lens cannot do without.
func (r *mapReader) complete() {
	m := r.m
	has := func(column string) bool { return m.feeds(column) || m.fixed[column] != "" }
	at := func(column, want string) {
		r.faults = append(r.faults, catalog.Fault{File: m.file, Key: "columns." + column, Found: "nothing feeds this column", Want: want})
	}
	named := func(column string) bool { // also where it is at fault
		for _, section := range []string{"columns", "fixed"} {
			if _, ok := r.lines[section+"\x00"+column]; ok {
				return true
			}
		}
		return has(column)
	}
	for _, column := range needed {
		if !named(column) {
			at(column, "a line "+column+" = \"the sheet's column\" under [columns], or a value for all under [fixed]")
		}
	}
	if m.fixed["part"] != "" {
		r.fault("fixed", "part", "every lens would have the same name", "a column of part names")
	}
	if !named("r1_mm") && !named("r2_mm") && !named("efl_mm") {
		at("r1_mm", "r1_mm and r2_mm, or efl_mm and kind, from which radii of simple lenses are computed")
	}
	for e := 3; e >= 2; e-- {
		columns := elementColumns(e)
		if !slices.ContainsFunc(columns, named) {
			continue
		}
		for k := 2; k <= e; k++ {
			for _, column := range elementColumns(k) {
				if !named(column) {
					at(column, "all of "+strings.Join(elementColumns(k), ", ")+" for a cemented lens")
				}
			}
		}
		break
	}
}

func (m *Map) feeds(column string) bool {
	_, ok := m.columns[column]
	return ok
}

// elementColumns are thickness, glass and second radius of element e, from 1.
func elementColumns(e int) []string {
	return []string{fmt.Sprintf("t%d_mm", e), fmt.Sprintf("glass%d", e), fmt.Sprintf("r%d_mm", e+1)}
}

// texts are those of a list.
func texts(value any) ([]string, bool) {
	list, ok := value.([]any)
	if !ok {
		return nil, false
	}
	var all []string
	for _, v := range list {
		text, ok := v.(string)
		if !ok {
			return nil, false
		}
		all = append(all, text)
	}
	return all, true
}

// spans are the rows of a list such as [2, "90-95"].
func spans(value any) ([]span, bool) {
	list, ok := value.([]any)
	if !ok {
		return nil, false
	}
	var all []span
	for _, v := range list {
		var s span
		switch v := v.(type) {
		case int64:
			s = span{int(v), int(v)}
		case string:
			first, last, _ := strings.Cut(v, "-")
			a, err1 := strconv.Atoi(strings.TrimSpace(first))
			b, err2 := strconv.Atoi(strings.TrimSpace(last))
			if err1 != nil || err2 != nil {
				return nil, false
			}
			s = span{a, b}
		}
		if s.first < 1 || s.last < s.first {
			return nil, false
		}
		all = append(all, s)
	}
	return all, true
}

func shownValue(v any) string {
	if s, ok := v.(string); ok {
		return quoted(s)
	}
	s := fmt.Sprint(v)
	const most = 60
	if utf8.RuneCountInString(s) > most {
		return string([]rune(s)[:most]) + "…"
	}
	return s
}

// orNearest appends the names nearest to an unknown one to a hint.
func orNearest(hint, name string, known []string) string {
	if near := catalog.Nearest(name, known); len(near) > 0 {
		return hint + "; the nearest is " + strings.Join(near, " or ")
	}
	return hint
}

// number writes the shortest text that reads back as x.
func number(x float64) string {
	if math.IsInf(x, 0) {
		return "inf"
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
