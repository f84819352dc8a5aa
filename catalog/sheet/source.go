package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	"relaysweep/catalog"
)

// source gives the rows of a sheet one after the other.
type source interface {
	// next is the next row that is not empty: its cells, valid until the next
	// call, and its number from 1. A slip tells of a row that cannot be read,
	// after which others may follow. The error is io.EOF at the end, else a
	// *broken.
	next() (cells []string, row int, wrong *slip, err error)
	// shown is the cell, from 0, of the row given last as people see it: a name
	// such as 00123 may be stored as the number 123.
	shown(column int) string
	// formulaIn is the first row in which a column, from 1, holds a formula; 0
	// for none.
	formulaIn(column int) int
	// numbersStored reports whether numbers are stored as such, not as the text
	// that someone typed.
	numbersStored() bool
	close() error
}

// broken tells why a sheet cannot be read on.
type broken struct {
	row int // 0 for the whole file
	slip
}

func (b *broken) Error() string { return b.found }

func brokenAt(row int, found, want string) *broken { return &broken{row, slip{found, want}} }

// open opens a sheet by what is in it, whatever its name says.
func open(file catalog.File, m *Map) (source, error) {
	f, size, err := openRegular(file.Path)
	if err != nil {
		return nil, brokenAt(0, "cannot be read: "+err.Error(), "a spreadsheet in CSV or XLSX")
	}
	head := make([]byte, 8)
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, closing(f, brokenAt(0, "cannot be read: "+err.Error(), "a spreadsheet in CSV or XLSX"))
	}
	head = head[:n]
	switch {
	case n == 0:
		return nil, closing(f, brokenAt(0, "the file is empty", "a spreadsheet in CSV or XLSX"))
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return openWorkbook(f, size, m.sheet)
	case bytes.HasPrefix(head, []byte("\xd0\xcf\x11\xe0")):
		return nil, closing(f, brokenAt(0, "the workbook is in the old binary form or has a password", "the workbook saved as XLSX without a password, or as CSV"))
	case m.sheet != "":
		return nil, closing(f, brokenAt(0, "the file is no workbook, but the map names the sheet "+quoted(m.sheet), "no key sheet in the map of a CSV file"))
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, closing(f, brokenAt(0, "cannot be read: "+err.Error(), "a spreadsheet in CSV or XLSX"))
	}
	return openText(f, m)
}

func closing(f io.Closer, err error) error {
	_ = f.Close() // only read from
	return err
}

// openRegular opens a file to read. A device or a pipe may never end.
func openRegular(path string) (*os.File, int64, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, 0, cause(err)
	}
	switch {
	case info.IsDir():
		return nil, 0, errors.New("it is a folder")
	case !info.Mode().IsRegular():
		return nil, 0, errors.New("it is a device, pipe or socket")
	case info.Size() > FileBytesMost:
		return nil, 0, fmt.Errorf("it holds %d MB, and at most %d MB are read", info.Size()>>20, FileBytesMost>>20)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, cause(err)
	}
	return f, info.Size(), nil
}

func cause(err error) error {
	var inPath *fs.PathError
	if errors.As(err, &inPath) {
		return inPath.Err
	}
	return err
}

// isBlank reports whether a row holds nothing.
func isBlank(cells []string) bool {
	for _, c := range cells {
		if plain(c) != "" {
			return false
		}
	}
	return true
}
