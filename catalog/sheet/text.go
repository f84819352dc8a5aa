package sheet

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"relaysweep/catalog"
)

// textSource reads CSV.
type textSource struct {
	file  *os.File
	guard *guard
	csv   *csv.Reader
	cells []string // of the row given last
}

// separators are those that a CSV file may have, and their names in a map.
var separators = []struct {
	char rune
	name string
}{{',', "comma"}, {';', "semicolon"}, {'\t', "tab"}}

// headBytes of a CSV file are looked at to find its separator out.
const headBytes = 64 << 10

func openText(f *os.File, m *Map) (source, error) {
	in := bufio.NewReaderSize(f, rowBytesMost)
	head, err := in.Peek(headBytes)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, closing(f, brokenAt(0, "cannot be read: "+err.Error(), "a spreadsheet in CSV or XLSX"))
	}
	if bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")) {
		return nil, closing(f, brokenAt(0, "the file is in UTF-16", catalog.WantUTF8))
	}
	separator := m.separator
	if separator == 0 {
		if separator, err = findSeparator(head, m.headerRow); err != nil {
			return nil, closing(f, err)
		}
	}
	s := &textSource{file: f, guard: &guard{in: in}}
	s.csv = csv.NewReader(s.guard)
	s.csv.Comma = separator
	s.csv.FieldsPerRecord = -1
	s.csv.ReuseRecord = true
	return s, nil
}

func (s *textSource) numbersStored() bool { return false }

func (s *textSource) shown(column int) string {
	if column >= len(s.cells) {
		return ""
	}
	return s.cells[column]
}

func (s *textSource) close() error { return s.file.Close() }

// A formula in a text file is a text that is no number, or begins in a way that
// no name may.
func (s *textSource) formulaIn(int) int { return 0 }

func (s *textSource) next() (cells []string, row int, wrong *slip, err error) {
	for {
		s.guard.since = 0
		cells, err = s.csv.Read()
		var parse *csv.ParseError
		var stop *broken
		switch {
		case err == nil:
		case errors.As(err, &stop):
			return nil, 0, nil, stop
		case errors.As(err, &parse):
			if cells = s.inches(parse); cells == nil {
				return nil, parse.StartLine, brokenQuotes(parse), nil
			}
		default:
			return nil, 0, nil, err
		}
		if row = s.guard.line; parse == nil {
			row, _ = s.csv.FieldPos(0)
		}
		if row > rowsMost {
			return nil, 0, nil, brokenAt(row, "the sheet goes on", fmt.Sprintf("at most %d rows", rowsMost))
		}
		if isBlank(cells) {
			continue
		}
		if n := len(cells); n > columnsMost {
			return nil, 0, nil, brokenAt(row, fmt.Sprintf("the row has %d cells", n), fmt.Sprintf("at most %d columns", columnsMost))
		}
		for i, c := range cells {
			if len(c) > cellBytesMost {
				return nil, row, &slip{fmt.Sprintf("cell %d is longer than 64 kB", i+1), "cells of at most that length; is a quote missing?"}, nil
			}
		}
		s.cells = cells
		return cells, row, nil, nil
	}
}

// inches are the cells of a row of one line in which a double quote stands
// behind a number, for inches; nil where the quotes are wrong in another way.
func (s *textSource) inches(parse *csv.ParseError) []string {
	if !errors.Is(parse.Err, csv.ErrBareQuote) || parse.StartLine != parse.Line || parse.Line != s.guard.line {
		return nil
	}
	r := csv.NewReader(bytes.NewReader(s.guard.whole))
	r.Comma = s.csv.Comma
	r.LazyQuotes = true
	cells, err := r.Read()
	if err != nil {
		return nil
	}
	return cells
}

func brokenQuotes(parse *csv.ParseError) *slip {
	if errors.Is(parse.Err, csv.ErrBareQuote) {
		return &slip{"a double quote stands inside a cell that does not begin with one", `the whole cell in double quotes, those inside doubled: "1"" lens"`}
	}
	return &slip{"a cell begins with a double quote that is not closed before its end", "a second double quote at the end of the cell; those inside doubled"}
}

// guard passes the lines of a text on, and stops at what is no text.
type guard struct {
	in    *bufio.Reader
	line  int
	whole []byte // the line in hand
	rest  []byte // of it
	since int    // bytes since the last row
}

func (g *guard) Read(p []byte) (int, error) {
	if len(g.rest) == 0 {
		line, err := g.in.ReadSlice('\n')
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return 0, brokenAt(g.line+1, "the line is longer than 256 kB", "one line for each lens")
		case err != nil && !errors.Is(err, io.EOF):
			return 0, brokenAt(g.line+1, "cannot be read: "+err.Error(), "a spreadsheet in CSV or XLSX")
		case len(line) == 0:
			return 0, io.EOF
		}
		g.line++
		if g.line == 1 {
			line = bytes.TrimPrefix(line, []byte("\ufeff"))
			if err != nil && bytes.IndexByte(bytes.TrimRight(line, "\r"), '\r') >= 0 {
				return 0, brokenAt(0, "the lines end in a lone carriage return", "lines that end in LF or CR LF")
			}
		}
		if bytes.IndexByte(line, 0) >= 0 {
			return 0, brokenAt(g.line, "the file holds zero bytes, so it is no text", "a spreadsheet in CSV or XLSX")
		}
		if bad, found := catalog.NotUTF8(line); bad > 0 {
			return 0, brokenAt(g.line, found, catalog.WantUTF8)
		}
		g.whole, g.rest = line, line
		if len(line) == 0 { // nothing but the mark
			return 0, io.EOF
		}
	}
	n := copy(p, g.rest)
	g.rest = g.rest[n:]
	if g.since += n; g.since > 2*rowBytesMost {
		return 0, brokenAt(g.line, "a row goes over more than 512 kB", "one line for each lens; is a closing quote missing before?")
	}
	return n, nil
}

// findSeparator looks at the header row and the rows below it: the separator is
// the one that parts them into most cells, the same number in most rows.
func findSeparator(head []byte, headerRow int) (rune, error) {
	// The last line may be cut off.
	if end := bytes.LastIndexByte(head, '\n'); end >= 0 {
		head = head[:end+1]
	}
	type count struct {
		separator   rune
		cells, same int
	}
	var counts []count
	for _, s := range separators {
		r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(head, []byte("\ufeff"))))
		r.Comma = s.char
		r.LazyQuotes = true
		r.FieldsPerRecord = -1
		r.ReuseRecord = true
		c := count{separator: s.char}
		for rows := 0; rows < 20; {
			cells, err := r.Read()
			if err == io.EOF {
				break
			}
			if err != nil {
				continue
			}
			line, _ := r.FieldPos(0)
			switch {
			case line < headerRow:
			case line == headerRow:
				c.cells = len(cells)
			default:
				rows++
				if len(cells) == c.cells {
					c.same++
				}
			}
		}
		if c.cells > 1 {
			counts = append(counts, c)
		}
	}
	if len(counts) == 0 {
		return ',', nil // one column, or no such row, which is told later
	}
	slices.SortStableFunc(counts, func(a, b count) int {
		if a.same != b.same {
			return b.same - a.same
		}
		return b.cells - a.cells
	})
	if len(counts) > 1 && counts[0].same == counts[1].same && counts[0].cells == counts[1].cells {
		return 0, brokenAt(headerRow, "the columns may be parted by either "+nameOf(counts[0].separator)+" or "+nameOf(counts[1].separator),
			"separator = "+`"`+strings.Join([]string{nameOf(counts[0].separator), nameOf(counts[1].separator)}, `" or "`)+`" in the map`)
	}
	return counts[0].separator, nil
}

func nameOf(separator rune) string {
	for _, s := range separators {
		if s.char == separator {
			return s.name
		}
	}
	return string(separator)
}
