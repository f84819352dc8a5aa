package catalog

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"
)

// table is a CSV file taken apart: its header and the rows that have a cell
// for every column.
type table struct {
	file    string
	header  []string
	columns map[string]int
	ignored map[string]bool // columns to pass over
	line    int             // of the header
	rows    []*row
	faults  Faults
}

// row is one row of a table. Faults found in it go to the table.
type row struct {
	table *table
	line  int
	cells []string
}

// readTable takes a CSV file apart. The function known tells which columns
// there may be, names lists them for a hint. It is false when nothing can be
// told about the rows.
func readTable(data []byte, shown string, known func(string) bool, names []string) (*table, bool) {
	t := &table{file: shown, columns: map[string]int{}}
	if !t.checkText(data) {
		return t, false
	}
	t.ignored = ignoredColumns(data)
	records := t.records(bytes.TrimPrefix(data, []byte("\ufeff")))
	if len(records) == 0 {
		if len(t.faults) == 0 {
			t.fault(0, "", "the table is empty", "a header row that names the columns, then one row a part or glass")
		}
		return t, false
	}
	head := records[0]
	if len(t.faults) > 0 && t.faults[0].Line < head.line {
		// The header itself could not be read; what came next is not one.
		return t, false
	}
	t.line = head.line
	t.header = head.cells
	if len(head.cells) == 1 && strings.ContainsAny(head.cells[0], ";\t") {
		t.fault(t.line, "", "the header row holds no comma, but "+quoted(head.cells[0]),
			"columns separated by commas, and numbers with a decimal point")
		return t, false
	}
	if n := len(head.cells); n > columnsMost {
		t.fault(t.line, "", fmt.Sprintf("the table has %d columns", n), fmt.Sprintf("at most %d columns", columnsMost))
		return t, false
	}
	for i, name := range head.cells {
		name = strings.TrimSpace(name)
		t.header[i] = name
		switch _, twice := t.columns[name]; {
		case t.ignored[name]:
		case name == "":
			t.fault(t.line, "", fmt.Sprintf("column %d has no name", i+1), "a name for every column of the header row")
		case !known(name):
			want := orNearest("a column that this table knows", name, names)
			if len(Nearest(name, names)) == 0 {
				want = "one of " + strings.Join(names, ", ")
			}
			t.fault(t.line, name, "there is no such column", want+"; or a line \"# ignore: "+ignorable(name)+"\" to pass over it")
		case twice:
			t.fault(t.line, name, "the column is there twice", "each column once")
		default:
			t.columns[name] = i
		}
	}
	for _, r := range records[1:] {
		if len(r.cells) != len(t.header) {
			want := "one cell a column; a cell that holds a comma stands in double quotes"
			if len(r.cells) > len(t.header) {
				want += ", and a number has a decimal point: 0.3 and not 0,3"
			}
			t.fault(r.line, "", fmt.Sprintf("the row has %s, the header %d", count(len(r.cells), "cell"), len(t.header)), want)
			continue
		}
		t.rows = append(t.rows, r)
	}
	return t, true
}

// ignoredColumns are the columns that comment lines as "# ignore: coating, url"
// name, to be passed over.
func ignoredColumns(data []byte) map[string]bool {
	ignored := map[string]bool{}
	for rest := data; len(rest) > 0; {
		var line []byte
		line, rest, _ = bytes.Cut(rest, []byte("\n"))
		comment, ok := strings.CutPrefix(strings.TrimPrefix(string(line), "\ufeff"), "#")
		if !ok {
			continue
		}
		names, ok := strings.CutPrefix(strings.TrimSpace(comment), "ignore:")
		if !ok {
			continue
		}
		r := csv.NewReader(strings.NewReader(names))
		r.TrimLeadingSpace = true
		// Of a line that is no CSV nothing is passed over: the columns are told
		// as unknown.
		cells, _ := r.Read()
		for _, name := range cells {
			if name = strings.TrimSpace(name); name != "" {
				ignored[name] = true
			}
		}
	}
	return ignored
}

// ignorable is a column's name as a line of those to pass over has it.
func ignorable(name string) string {
	if strings.ContainsAny(name, ",\"") {
		return `"` + strings.ReplaceAll(name, `"`, `""`) + `"`
	}
	return name
}

// checkText reports whether the bytes can be read as lines of text.
func (t *table) checkText(data []byte) bool {
	const want = "plain text in UTF-8 with comma-separated columns"
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		t.fault(0, "", "the file is in UTF-16", want)
		return false
	case bytes.IndexByte(data, 0) >= 0:
		t.fault(0, "", "the file holds zero bytes, so it is no text", want)
		return false
	case bytes.IndexByte(data, '\n') < 0 && bytes.IndexByte(bytes.TrimRight(data, "\r"), '\r') >= 0:
		t.fault(0, "", "the lines end in a lone carriage return", "lines that end in LF or CR LF")
		return false
	}
	if line := longLine(data); line > 0 {
		t.fault(line, "", "the line is longer than "+size(lineBytesMost), "lines of at most that length, one a part or glass")
		return false
	}
	if line, found := NotUTF8(data); line > 0 {
		// One fault for the file: the encoding is wrong as a whole.
		t.fault(line, "", found, WantUTF8)
	}
	return true
}

// records are the rows, header first, with the line on which each starts.
// After a row with broken quotes it goes on with the next line, so that one
// such row does not hide what is wrong further down.
func (t *table) records(data []byte) []*row {
	var rows []*row
	for before := 0; len(data) > 0; {
		r := csv.NewReader(bytes.NewReader(data))
		r.Comment = '#'
		r.FieldsPerRecord = -1
		r.TrimLeadingSpace = true
		broken := 0
		for broken == 0 {
			cells, err := r.Read()
			var parse *csv.ParseError
			switch {
			case err == io.EOF:
				return rows
			case errors.As(err, &parse):
				broken = parse.StartLine
				found, want := brokenQuotes(lineOf(data, broken))
				t.fault(before+broken, "", found, want)
				continue
			case strings.TrimSpace(strings.Join(cells, "")) == "":
				continue // a blank line, or a row that a spreadsheet left empty
			}
			line, _ := r.FieldPos(0)
			if t.runsOn(cells, rows) {
				broken = line
				t.fault(before+broken, "", "a cell begins with a double quote and does not end on its line",
					"a second double quote at the end of the cell, or none; no cell goes over several lines")
				continue
			}
			rows = append(rows, &row{table: t, line: before + line, cells: cells})
		}
		for range broken {
			_, data, _ = bytes.Cut(data, []byte("\n"))
		}
		before += broken
	}
	return rows
}

// runsOn reports whether a cell goes over several lines, which only text that is
// passed over may do: otherwise a quote is missing, and the cell would swallow
// the rows up to the next one.
func (t *table) runsOn(cells []string, before []*row) bool {
	for i, cell := range cells {
		if !strings.Contains(cell, "\n") {
			continue
		}
		if len(before) == 0 || i >= len(before[0].cells) || !t.ignored[strings.TrimSpace(before[0].cells[i])] {
			return true
		}
	}
	return false
}

// lineOf is a line of data, counted from 1.
func lineOf(data []byte, line int) string {
	var this []byte
	for range line {
		this, data, _ = bytes.Cut(data, []byte("\n"))
	}
	return string(this)
}

// brokenQuotes says what is wrong with a line whose quotes make no cells.
func brokenQuotes(line string) (found, want string) {
	cells := strings.Split(line, ",")
	for i, cell := range cells {
		cell = strings.TrimSpace(cell)
		if strings.Count(cell, `"`) != 1 {
			continue
		}
		switch later := strings.Join(cells[i+1:], ","); {
		case cell[0] == '"' && !strings.Contains(later, `"`):
			return "a cell begins with a double quote and does not end on its line",
				"a second double quote at the end of the cell, or none; no cell goes over several lines"
		case strings.HasSuffix(cell, `"`) && len(cell) > 1 && !strings.Contains(later, `"`) &&
			!strings.Contains(strings.Join(cells[:i], ","), `"`):
			return "a cell ends with a double quote and does not begin with one",
				"a second double quote at the beginning of the cell, or none; inches are written in mm"
		}
	}
	return "a double quote stands where it cannot",
		`a cell with quotes in it as "12"" lens": the whole cell in double quotes, those inside doubled`
}

func (t *table) fault(line int, column, found, want string) {
	t.faults = append(t.faults, Fault{File: t.file, Line: line, Key: column, Found: found, Want: want})
}

func (t *table) has(column string) bool {
	_, ok := t.columns[column]
	return ok
}

// requireColumns faults the columns of the list that the header lacks.
func (t *table) requireColumns(names ...string) {
	for _, name := range names {
		if !t.has(name) {
			t.fault(t.line, name, "the column is missing", "a column "+name+" in the header row")
		}
	}
}

func (r *row) fault(column, found, want string) { r.table.fault(r.line, column, found, want) }

// raw is the cell as it stands, empty when there is no such column.
func (r *row) raw(column string) string {
	if i, ok := r.table.columns[column]; ok {
		return r.cells[i]
	}
	return ""
}

// text is the cell without spaces around it.
func (r *row) text(column string) string { return strings.TrimSpace(r.raw(column)) }

// rule says which numbers a column takes.
type rule struct {
	want  string
	valid func(x float64) bool
}

// number reads an optional number: Unset for an empty cell or none. It is
// false when the cell holds something else, which is then a fault.
func (r *row) number(column string, rule rule) (x float64, ok bool) {
	cell := r.text(column)
	if cell == "" {
		return Unset, true
	}
	x, ok = parseNumber(cell)
	switch {
	case !ok && r.mendable(column, cell, rule):
	case !ok:
		r.fault(column, quoted(cell)+" is not a number", rule.want)
	case !rule.valid(x):
		r.fault(column, cell+" cannot be", rule.want)
		ok = false
	}
	if !ok {
		return Unset, false
	}
	return x, true
}

// mendable tells of a cell that is a number but for how it is written.
func (r *row) mendable(column, cell string, rule rule) bool {
	mended, slip, unit := MendNumber(cell)
	if mended == "" {
		return false
	}
	want := rule.want + ": write " + mended
	if unit != "" && !isUnitOf(column, unit) {
		want = rule.want + ", without a unit behind it"
	}
	r.fault(column, quoted(cell)+" has "+slip, want)
	return true
}

// isUnitOf reports whether a unit is that in which a column's numbers are.
func isUnitOf(column, unit string) bool {
	switch unit {
	case "%":
		return strings.HasSuffix(column, "_pct")
	case "g/cm3", "g/cm³", "g/cm^3":
		return column == "density"
	}
	return strings.HasSuffix(column, "_"+unit)
}

// required reads a number that must be there. A column that is missing as a
// whole is not a fault of each row.
func (r *row) required(column string, rule rule) (x float64, ok bool) {
	if !r.table.has(column) {
		return Unset, false
	}
	if r.text(column) == "" {
		r.fault(column, "the cell is empty", rule.want)
		return Unset, false
	}
	return r.number(column, rule)
}

// parseNumber reads a decimal number or an infinity, and nothing else that
// the language's own syntax would allow.
func parseNumber(s string) (float64, bool) {
	if strings.ContainsAny(s, "xXpP_") {
		return 0, false
	}
	x, err := strconv.ParseFloat(s, 64)
	return x, err == nil && !math.IsNaN(x)
}

// quoted shows what stands in a cell, cut short where it is long.
func quoted(s string) string {
	const most = 40
	if utf8.RuneCountInString(s) > most {
		return fmt.Sprintf("%.*q…", most, s)
	}
	return strconv.Quote(s)
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
