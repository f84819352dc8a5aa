package sheet

import (
	"archive/zip"
	"fmt"
	"io"
	"os"
	"path"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// Bounds of a workbook, which is a zip archive of parts. They are of sizes
// unpacked, as the archive lists them; reading stops where a part is larger
// than its listed size.
const (
	partsMost      = 2000
	bookBytesMost  = 512 << 20 // of all parts: worksheets go to temporary files
	textsBytesMost = 32 << 20  // of the texts that the cells share
	mediaBytesMost = 64 << 20  // of pictures and the like, which are read into memory
	partsBytesMost = 8 << 20   // of styles, names and all other parts in XML
	inMemoryMost   = 1 << 20   // of a worksheet that is not put into a temporary file
)

// workbookSource reads one sheet of an XLSX workbook.
type workbookSource struct {
	book     *excelize.File
	rows     *excelize.Rows // values as they are stored
	seen     *excelize.Rows // and as their formats show them
	cells    []string       // of the row given last, as seen
	temp     string         // folder of temporary files
	row      int
	formulas map[int]int // first row by column
}

const wantWorkbook = "a workbook in XLSX as a spreadsheet program saves it"

// openWorkbook opens a sheet, the first where no name is given. It takes over
// the file.
func openWorkbook(f *os.File, size int64, name string) (s source, err error) {
	defer f.Close()
	defer func() {
		// The reader of workbooks is not made for what strangers damage.
		if p := recover(); p != nil {
			s, err = nil, brokenAt(0, "the workbook is damaged", wantWorkbook)
		}
	}()
	archive, zipErr := zip.NewReader(f, size)
	if zipErr != nil {
		return nil, brokenAt(0, "the workbook cannot be unpacked: "+zipErr.Error(), wantWorkbook)
	}
	if stop := checkParts(archive); stop != nil {
		return nil, stop
	}
	part, sheets, stop := findSheet(archive, name)
	if stop != nil {
		return nil, stop
	}
	if name == "" {
		name = sheets[0]
	}
	w := &workbookSource{}
	texts := 0
	if shared := partNamed(archive, "xl/sharedStrings.xml"); shared != nil {
		if texts, stop = surveyTexts(shared); stop != nil {
			return nil, stop
		}
	}
	if w.formulas, stop = surveySheet(part, texts); stop != nil {
		return nil, stop
	}
	if w.temp, err = os.MkdirTemp("", "relaysweep-sheet-"); err != nil {
		return nil, brokenAt(0, "no temporary folder can be made: "+cause(err).Error(), "room for temporary files")
	}
	opened := false
	defer func() {
		if !opened {
			_ = w.close()
		}
	}()
	w.book, err = excelize.OpenFile(f.Name(), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: bookBytesMost, UnzipXMLSizeLimit: inMemoryMost, TmpDir: w.temp,
	})
	if err != nil {
		return nil, brokenAt(0, "the workbook cannot be read: "+err.Error(), wantWorkbook)
	}
	if w.rows, err = w.book.Rows(name); err != nil {
		return nil, brokenAt(0, "the sheet "+quoted(name)+" cannot be read: "+err.Error(), wantWorkbook)
	}
	if w.seen, err = w.book.Rows(name); err != nil {
		return nil, brokenAt(0, "the sheet "+quoted(name)+" cannot be read: "+err.Error(), wantWorkbook)
	}
	opened = true
	return w, nil
}

func (w *workbookSource) numbersStored() bool { return true }

func (w *workbookSource) shown(column int) string {
	if column >= len(w.cells) {
		return ""
	}
	return w.cells[column]
}

func (w *workbookSource) formulaIn(column int) int { return w.formulas[column] }

func (w *workbookSource) close() error {
	for _, rows := range []*excelize.Rows{w.rows, w.seen} {
		if rows != nil {
			_ = rows.Close() // only read from
		}
	}
	if w.book != nil {
		_ = w.book.Close()
	}
	return os.RemoveAll(w.temp)
}

func (w *workbookSource) next() (cells []string, row int, wrong *slip, err error) {
	defer func() {
		if p := recover(); p != nil {
			cells, err = nil, brokenAt(w.row, "the workbook is damaged", wantWorkbook)
		}
	}()
	for w.rows.Next() && w.seen.Next() {
		w.row++
		cells, err = w.rows.Columns()
		if err == nil {
			w.cells, err = w.seen.Columns(excelize.Options{RawCellValue: false})
		}
		if err != nil {
			return nil, 0, nil, brokenAt(w.row, "the row cannot be read: "+err.Error(), wantWorkbook)
		}
		if !isBlank(cells) {
			return cells, w.row, nil, nil
		}
	}
	if err := w.rows.Error(); err != nil {
		return nil, 0, nil, brokenAt(w.row+1, "the row cannot be read: "+err.Error(), wantWorkbook)
	}
	return nil, 0, nil, io.EOF
}

// checkParts refuses archives that unpack to too much.
func checkParts(archive *zip.Reader) *broken {
	if n := len(archive.File); n > partsMost {
		return brokenAt(0, fmt.Sprintf("the workbook has %d parts", n), fmt.Sprintf("at most %d", partsMost))
	}
	var all, media, other uint64
	seen := map[string]bool{}
	for _, f := range archive.File {
		name := strings.ToLower(strings.ReplaceAll(f.Name, `\`, "/"))
		if seen[name] {
			return brokenAt(0, "the workbook has the part "+quoted(f.Name)+" twice", wantWorkbook)
		}
		seen[name] = true
		size := f.UncompressedSize64
		if all += size; size > bookBytesMost || all > bookBytesMost {
			return brokenAt(0, fmt.Sprintf("the workbook unpacks to more than %d MB", bookBytesMost>>20), "a smaller workbook, or the sheet saved as CSV")
		}
		switch {
		case strings.HasPrefix(name, "xl/worksheets/sheet"):
		case name == "xl/sharedstrings.xml":
			if size > textsBytesMost {
				return brokenAt(0, fmt.Sprintf("the texts of the workbook unpack to more than %d MB", textsBytesMost>>20), "a smaller workbook, or the sheet saved as CSV")
			}
		case strings.HasPrefix(name, "xl/media/"):
			media += size
		default:
			other += size
		}
	}
	if media > mediaBytesMost || other > partsBytesMost {
		return brokenAt(0, "the workbook holds too much besides its cells: pictures, styles or other parts", "the sheet alone in a workbook, or saved as CSV")
	}
	return nil
}

func partNamed(archive *zip.Reader, name string) *zip.File {
	for _, f := range archive.File {
		if strings.EqualFold(strings.ReplaceAll(f.Name, `\`, "/"), name) {
			return f
		}
	}
	return nil
}

// findSheet finds the part of the sheet of a name, of the first where none is
// given, and the names of all.
func findSheet(archive *zip.Reader, name string) (*zip.File, []string, *broken) {
	var book struct {
		Sheets []struct {
			Name string `xml:"name,attr"`
			ID   string `xml:"id,attr"`
		} `xml:"sheets>sheet"`
	}
	var links struct {
		All []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	for _, part := range []struct {
		name string
		into any
	}{{"xl/workbook.xml", &book}, {"xl/_rels/workbook.xml.rels", &links}} {
		f := partNamed(archive, part.name)
		if f == nil {
			return nil, nil, brokenAt(0, "the archive has no part "+part.name+", so it is no workbook", wantWorkbook)
		}
		if err := decodePart(f, part.into); err != nil {
			return nil, nil, brokenAt(0, "the part "+part.name+" cannot be read: "+err.Error(), wantWorkbook)
		}
	}
	var names []string
	for _, s := range book.Sheets {
		if slices.Contains(names, s.Name) {
			return nil, nil, brokenAt(0, "the workbook has the sheet "+quoted(s.Name)+" twice", wantWorkbook)
		}
		names = append(names, s.Name)
	}
	if len(names) == 0 {
		return nil, nil, brokenAt(0, "the workbook has no sheet", wantWorkbook)
	}
	i := 0
	if name != "" {
		if i = slices.Index(names, name); i < 0 {
			shown := make([]string, min(len(names), 20))
			for k := range shown {
				shown[k] = quoted(names[k])
			}
			return nil, nil, brokenAt(0, "the workbook has no sheet "+quoted(name), "one of "+strings.Join(shown, ", "))
		}
	}
	for _, l := range links.All {
		if l.ID != book.Sheets[i].ID {
			continue
		}
		target := strings.TrimPrefix(l.Target, "/")
		if target == l.Target {
			target = path.Join("xl", l.Target)
		}
		if f := partNamed(archive, target); f != nil && strings.HasPrefix(strings.ToLower(target), "xl/worksheets/") {
			return f, names, nil
		}
	}
	return nil, nil, brokenAt(0, "the sheet "+quoted(names[i])+" holds no cells", "the name of a sheet with cells")
}
