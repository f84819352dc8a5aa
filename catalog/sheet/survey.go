package sheet

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// A workbook's reader passes over what it cannot read, and gives a formula's
// last value for the cell. So the parts that are used are first read through
// once: whether they are whole, and where formulas stand.

// elementsDeepMost is how deep elements of a part may be nested.
const elementsDeepMost = 64

// decodePart decodes a small part.
func decodePart(f *zip.File, into any) error {
	in, err := f.Open()
	if err != nil {
		return err
	}
	defer in.Close()
	return xml.NewDecoder(&paced{in: in}).Decode(into)
}

// paced stops a reader that gives too much without an element in between.
type paced struct {
	in    io.Reader
	since int
}

var errTooLong = errors.New("a text or element is longer than 256 kB")

func (p *paced) Read(b []byte) (int, error) {
	n, err := p.in.Read(b)
	if p.since += n; p.since > rowBytesMost {
		return 0, errTooLong
	}
	return n, err
}

// walk goes through the elements of a part. It tells the start of each, the
// text in it, and its end with a nil start and text.
func walk(f *zip.File, start func(xml.StartElement) *broken, text func(xml.CharData) *broken, end func(name string)) error {
	in, err := f.Open()
	if err != nil {
		return err
	}
	defer in.Close()
	pace := &paced{in: in}
	d := xml.NewDecoder(pace)
	for depth := 0; ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		pace.since = 0
		var stop *broken
		switch t := token.(type) {
		case xml.StartElement:
			if depth++; depth > elementsDeepMost {
				return errors.New("its elements are nested too deep")
			}
			stop = start(t)
		case xml.CharData:
			stop = text(t)
		case xml.EndElement:
			depth--
			end(t.Name.Local)
		}
		if stop != nil {
			return stop
		}
	}
}

func notRead(err error, row int) *broken {
	var stop *broken
	if errors.As(err, &stop) {
		return stop
	}
	return brokenAt(row, "the workbook is damaged: "+err.Error(), wantWorkbook)
}

// surveyTexts counts the texts that cells share.
func surveyTexts(f *zip.File) (int, *broken) {
	n, length := 0, 0
	err := walk(f, func(e xml.StartElement) *broken {
		if e.Name.Local == "si" {
			n++
			length = 0
		}
		return nil
	}, func(text xml.CharData) *broken {
		if length += len(text); length > cellBytesMost {
			return brokenAt(0, fmt.Sprintf("text %d of the workbook is longer than 64 kB", n), "cells of at most that length")
		}
		return nil
	}, func(string) {})
	if err != nil {
		return 0, notRead(err, 0)
	}
	return n, nil
}

// surveySheet reads a sheet through: its rows ascend, its cells are of a size
// that is read, and name texts that there are. It gives the first row with a
// formula of each column that has any.
func surveySheet(f *zip.File, texts int) (formulas map[int]int, stop *broken) {
	formulas = map[int]int{}
	row, column, length := 0, 0, 0
	inCell, shared, inValue := false, false, false
	value := ""
	start := func(e xml.StartElement) *broken {
		switch e.Name.Local {
		case "row":
			last := row
			row++
			if r := attribute(e, "r"); r != "" {
				n, err := strconv.Atoi(r)
				if err != nil || n <= last || n > rowsMost {
					return brokenAt(last+1, "the next row has the number "+quoted(r), "rows in ascending order")
				}
				row = n
			}
			column = 0
		case "c":
			column++
			if r := attribute(e, "r"); r != "" {
				c, at, err := excelize.CellNameToCoordinates(r)
				if err != nil || at != row || c < column {
					return brokenAt(row, "a cell has the place "+quoted(r), "cells of the row in ascending order")
				}
				column = c
			}
			if column > columnsMost {
				return brokenAt(row, fmt.Sprintf("the row has a cell in column %d", column), fmt.Sprintf("at most %d columns", columnsMost))
			}
			inCell, shared, length = true, attribute(e, "t") == "s", 0
		case "v":
			inValue, value = inCell, ""
		case "f":
			if inCell && formulas[column] == 0 {
				formulas[column] = row
			}
		}
		return nil
	}
	var wrong *broken
	text := func(t xml.CharData) *broken {
		if !inCell {
			return nil
		}
		if length += len(t); length > cellBytesMost {
			return brokenAt(row, fmt.Sprintf("the cell in column %d is longer than 64 kB", column), "cells of at most that length")
		}
		if inValue && shared {
			value += string(t)
		}
		return wrong
	}
	end := func(name string) {
		inCell = inCell && name != "c"
		if name != "v" {
			return
		}
		if inValue && shared {
			if n, err := strconv.Atoi(strings.TrimSpace(value)); (err != nil || n < 0 || n >= texts) && wrong == nil {
				wrong = brokenAt(row, fmt.Sprintf("the cell in column %d names text %s, and the workbook has %d", column, quoted(value), texts), wantWorkbook)
			}
		}
		inValue = false
	}
	if err := walk(f, start, text, end); err != nil {
		return nil, notRead(err, row)
	}
	if wrong != nil {
		return nil, wrong
	}
	return formulas, nil
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}
