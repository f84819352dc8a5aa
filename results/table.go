package results

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"unicode"

	"github.com/mattn/go-runewidth"
)

// Align is the side of its column to which a cell is moved.
type Align uint8

// Numbers go right, so that their digits stand under each other; text goes
// left.
const (
	Right Align = iota
	Left
)

// Column is the head of a table's column.
type Column struct {
	Name  string
	Unit  string // empty for none
	Align Align
}

// Null is how a value that does not exist is printed.
const Null = "-"

const gutter = "  "

// Table is an aligned text table: a row of names, a row of units (left out
// when there are none), and the rows. Columns are parted by two spaces.
type Table struct {
	Columns []Column
	Rows    [][]string
	// Terminal says that the table goes to a terminal: the names are then bold,
	// unless the environment variable NO_COLOR is set.
	Terminal bool
}

// Add adds a row. It has one cell a column.
func (t *Table) Add(cells ...string) { t.Rows = append(t.Rows, cells) }

// Print writes the table.
func (t *Table) Print(w io.Writer) error {
	names := make([]string, len(t.Columns))
	units := make([]string, len(t.Columns))
	anyUnit := false
	for i, c := range t.Columns {
		names[i], units[i] = c.Name, c.Unit
		anyUnit = anyUnit || c.Unit != ""
	}
	lines := [][]string{names}
	if anyUnit {
		lines = append(lines, units)
	}
	for i, row := range t.Rows {
		if len(row) != len(t.Columns) {
			return fmt.Errorf("row %d of the table has %d cells for %d columns", i+1, len(row), len(t.Columns))
		}
		clean := make([]string, len(row))
		for c := range row {
			clean[c] = printable(row[c])
		}
		lines = append(lines, clean)
	}
	widths := make([]int, len(t.Columns))
	for _, line := range lines {
		for c, cell := range line {
			widths[c] = max(widths[c], cellWidth.StringWidth(cell))
		}
	}
	bold := t.Terminal && os.Getenv("NO_COLOR") == ""
	out := bufio.NewWriter(w)
	for i, line := range lines {
		text := t.line(line, widths)
		if i == 0 && bold {
			text = "\x1b[1m" + text + "\x1b[0m"
		}
		out.WriteString(text + "\n") // the error stays until Flush
	}
	return out.Flush()
}

// line is one line of the table, without trailing spaces.
func (t *Table) line(cells []string, widths []int) string {
	var b strings.Builder
	for c, cell := range cells {
		if c > 0 {
			b.WriteString(gutter)
		}
		space := strings.Repeat(" ", widths[c]-cellWidth.StringWidth(cell))
		if t.Columns[c].Align == Right {
			cell = space + cell
		} else {
			cell += space
		}
		b.WriteString(cell)
	}
	return strings.TrimRight(b.String(), " ")
}

// cellWidth measures text the same way under every locale.
var cellWidth = &runewidth.Condition{StrictEmojiNeutral: true}

// printable replaces control characters, and those that turn the direction of
// writing, which damaged results may hold and which would break the table or
// drive the terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Bidi_Control, r) || r == '\u2028' || r == '\u2029' {
			return unicode.ReplacementChar
		}
		return r
	}, s)
}

// Fixed formats a number with so many decimals: "inf" for an infinite one, no
// sign on a rounded zero, and [Null] for NaN.
func Fixed(x float64, decimals int) string {
	switch {
	case math.IsNaN(x):
		return Null
	case math.IsInf(x, 1):
		return "inf"
	case math.IsInf(x, -1):
		return "-inf"
	}
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}
