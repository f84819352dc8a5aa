package sheet

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"relaysweep/catalog"
)

// plainMap is the map of the sheets with this header.
const (
	plainHeader = "part,kind,d,r1,t,glass,r2,f\n"
	plainMap    = `[columns]
part = "part"
kind = "kind"
diameter_mm = "d"
r1_mm = "r1"
t1_mm = "t"
glass1 = "glass"
r2_mm = "r2"
efl_mm = "f"
`
	plainRow = "A%d,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n"
)

func checkSays(t *testing.T, faults catalog.Faults, wants ...string) {
	t.Helper()
	said := faults.Error()
	for _, w := range wants {
		if !strings.Contains(said, w) {
			t.Errorf("it does not say %q:\n%s", w, said)
		}
	}
	for _, f := range faults {
		if f.File == "" || f.Found == "" || f.Want == "" {
			t.Errorf("%+v lacks its file, finding or hint", f)
		}
	}
}

// TestAllFaultsOfASheet: every problem of a sheet is told at once, with row and
// column, and those that read the same together.
func TestAllFaultsOfASheet(t *testing.T) {
	file := put(t, "s.csv", plainHeader+
		"A1,plano-convex,\"12,7\",25.84,2.5,N-BK7,inf,50\n"+ // 2: decimal comma
		"A2,plano-convex,12.7,call us,2.5,N-BK7,inf,50\n"+ // 3: no number
		"A3,plano-convex,12.7,25.84,2.5,N-BK8,inf,50\n"+ // 4 and 5: the same unknown glass
		"A4,plano-convex,12.7,25.84,2.5,N-BK8,inf,50\n"+
		"A5,plano-convex,12.7,5,2.5,N-BK7,inf,50\n"+ // 6: does not reach the rim
		"=A6,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n"+ // 7: a formula for a name
		"A7,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n"+
		"A7,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n"+ // 9: twice
		"A8,plano-convex,12.7,25.84,2.5,N-BK7,inf,90\n"+ // 10: another focal length
		"A9,plano-convex,12.7,25.84,2.5,N-BK7,inf,50,7\n"+ // 11: a cell too many
		"A10,@home,12.7,25.84 in,2.5,N-BK7,inf,50\n"+ // 12: two faults
		"A+11,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n"+ // 13: a sign that joins parts
		"A12,plano-convex,12.7\n") // 14: cells are missing
	faults := refused(t, file, mustMap(t, plainMap))
	checkSays(t, faults,
		`s.csv:2: diameter_mm from column "d": "12,7" is not a number`, "decimal_comma = true",
		`s.csv:3: r1_mm from column "r1": "call us" is not a number`,
		`s.csv:4: glass1 from column "glass": "N-BK8" is no known glass; likewise in 1 row more`, "the nearest is N-BK7",
		`s.csv:6: r1_mm from column "r1": a sphere of radius 5 does not reach half the diameter`,
		`s.csv:7: part from column "part": "=A6" begins with =`,
		`s.csv:9: part from column "part": "A7" is already in row 8`,
		`s.csv:10: efl_mm from column "f"`, "published 90 mm",
		"s.csv:11: the row has 9 cells, the header 8",
		`s.csv:12: kind from column "kind": "@home" begins with @`,
		`s.csv:12: r1_mm from column "r1": "25.84 in" is not a number`,
		`s.csv:13: part from column "part": "A+11" holds + or |`,
		"s.csv:14: the row has 3 cells, the header 8",
	)
	if len(faults) != 12 {
		t.Errorf("%d faults\n%s", len(faults), faults)
	}
	// The same rows can be left out, each with its reason.
	_, outcome, _ := imported(t, file, mustMap(t, plainMap), Options{LeaveOutFaulty: true})
	left := 0
	for _, l := range outcome.LeftOut {
		left += l.Count
	}
	if outcome.Lenses != 1 || outcome.Rows != 13 || left != 12 {
		t.Errorf("%d lenses of %d rows, %d left out", outcome.Lenses, outcome.Rows, left)
	}
}

// TestHostileTexts: what is no sheet is refused with one clear error.
func TestHostileTexts(t *testing.T) {
	rows := func(n int) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, plainRow, i)
		}
		return b.String()
	}
	for name, c := range map[string]struct{ content, want string }{
		"empty":           {"", "the file is empty"},
		"blank":           {"\n\n \n", "there is no header in this row"},
		"header only":     {plainHeader, "no row makes a lens"},
		"binary":          {"\x7fELF\x02\x01\x01\x00\x00\x00", "zero bytes"},
		"UTF-16":          {"\xff\xfep\x00a\x00", "UTF-16"},
		"Latin-1":         {plainHeader + rows(3) + "B1,plano-convex,12.7,25.84,2.5,Gl\xe4s,inf,50\n", "s.csv:5: the byte 0xE4 is not UTF-8 (in Latin-1 it is ä)"},
		"old workbook":    {"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and more", "old binary form or has a password"},
		"old line ends":   {strings.ReplaceAll(plainHeader+rows(3), "\n", "\r"), "a lone carriage return"},
		"huge cell":       {plainHeader + "\"" + strings.Repeat("a", 70_000) + "\",plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n", "cell 1 is longer than 64 kB"},
		"huge line":       {plainHeader + strings.Repeat("a", 3<<20), "s.csv:2: the line is longer than 256 kB"},
		"open quote":      {plainHeader + "\"A1,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n" + rows(100_000), "a row goes over more than 512 kB"},
		"many columns":    {strings.Repeat("a,", 600) + "b\n", "the row has 601 cells"},
		"damaged archive": {"PK\x03\x04 but nothing more", "cannot be unpacked"},
		"no such columns": {"a,b,c\n1,2,3\n", `columns.diameter_mm: the sheet has no column "d" in row 1`},
		"which separator": {"part,kind;d\nx,y;z\n", "either comma or semicolon"},
		"huge exponent":   {plainHeader + "A1,plano-convex,12.7,1e999999999,2.5,N-BK7,inf,50\n", "is not a number"},
		"tiny exponent":   {plainHeader + "A1,plano-convex,12.7,1e-999999999,2.5,N-BK7,inf,50\n", "0 cannot be"},
	} {
		t.Run(name, func(t *testing.T) {
			checkSays(t, refused(t, put(t, "s.csv", c.content), mustMap(t, plainMap)), c.want)
		})
	}
	missing := catalog.File{Path: filepath.Join(t.TempDir(), "none.csv"), Shown: "none.csv"}
	checkSays(t, refused(t, missing, mustMap(t, plainMap)), "none.csv: cannot be read")
	checkSays(t, refused(t, catalog.File{Path: t.TempDir(), Shown: "folder"}, mustMap(t, plainMap)), "it is a folder")
}

// plainRows are those of plainHeader for a workbook.
func plainRows(n int) [][]any {
	rows := [][]any{{"part", "kind", "d", "r1", "t", "glass", "r2", "f"}}
	for i := range n {
		rows = append(rows, []any{fmt.Sprintf("A%d", i), "plano-convex", 12.7, 25.84, 2.5, "N-BK7", "inf", 50})
	}
	return rows
}

// TestFormulas: a formula in a column that is used is refused, elsewhere it is
// not looked at.
func TestFormulas(t *testing.T) {
	with := func(cell, formula string) catalog.File {
		return putBook(t, "s.xlsx", "", plainRows(3), func(f *excelize.File, sheet string) error {
			return errors.Join(f.SetCellValue(sheet, cell, 25.84), f.SetCellFormula(sheet, cell, formula))
		})
	}
	checkSays(t, refused(t, with("D3", "=25+0.84"), mustMap(t, plainMap)), `columns.r1_mm: column "r1" of the sheet holds a formula in row 3`)
	checkSays(t, refused(t, with("A3", `="A"&1`), mustMap(t, plainMap)), `columns.part: column`)
	checkSays(t, refused(t, with("C4", "=1"), mustMap(t, plainMap+"[skip]\nd = [\"0\"]\n")), "columns.diameter_mm", "skip.d")
	lenses, _, _ := imported(t, with("J3", "=HYPERLINK(\"x\")"), mustMap(t, plainMap), Options{})
	if len(lenses) != 3 {
		t.Errorf("%d lenses beside a formula elsewhere", len(lenses))
	}
}

// rebuilt copies a workbook with some parts replaced or added.
func rebuilt(t *testing.T, file catalog.File, parts map[string]string) catalog.File {
	t.Helper()
	in, err := zip.OpenReader(file.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	path := filepath.Join(t.TempDir(), "rebuilt.xlsx")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	w := zip.NewWriter(out)
	write := func(name string, from io.Reader) {
		to, err := w.Create(name)
		if err == nil {
			_, err = io.Copy(to, from)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	done := map[string]bool{}
	for _, f := range in.File {
		if content, ok := parts[f.Name]; ok {
			write(f.Name, strings.NewReader(content))
			done[f.Name] = true
			continue
		}
		from, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		write(f.Name, from)
		from.Close()
	}
	for name, content := range parts {
		if !done[name] {
			write(name, strings.NewReader(content))
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return catalog.File{Path: path, Shown: "s.xlsx"}
}

// lying is a workbook with a part whose size is listed wrongly.
func lying(t *testing.T, file catalog.File, part, content string, listed uint64) catalog.File {
	t.Helper()
	in, err := zip.OpenReader(file.Path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	var out, packed bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range in.File {
		if f.Name != part {
			if err := w.Copy(f); err != nil {
				t.Fatal(err)
			}
		}
	}
	deflate, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	_, err = io.WriteString(deflate, content)
	err = errors.Join(err, deflate.Close())
	to, err2 := w.CreateRaw(&zip.FileHeader{
		Name: part, Method: zip.Deflate, CRC32: crc32.ChecksumIEEE([]byte(content)),
		CompressedSize64: uint64(packed.Len()), UncompressedSize64: listed,
	})
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	_, err = to.Write(packed.Bytes())
	if err := errors.Join(err, w.Close()); err != nil {
		t.Fatal(err)
	}
	return put(t, "s.xlsx", out.String())
}

// TestHostileWorkbooks: damaged and malicious workbooks are refused, each with
// an error, and leave no temporary files.
func TestHostileWorkbooks(t *testing.T) {
	temp := t.TempDir()
	t.Setenv("TMPDIR", temp)
	good := putBook(t, "s.xlsx", "", plainRows(3), nil)
	const sheet1 = "xl/worksheets/sheet1.xml"
	const before, after = `<?xml version="1.0" encoding="UTF-8"?><worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>`, `</sheetData></worksheet>`
	cell := func(content string) string { return before + `<row r="1"><c r="A1"` + content + `</row>` + after }
	for name, c := range map[string]struct {
		parts map[string]string
		want  string
	}{
		"bomb in the texts":     {map[string]string{"xl/sharedStrings.xml": "<sst>" + strings.Repeat(" ", 40<<20) + "</sst>"}, "the texts of the workbook unpack to more than 32 MB"},
		"bomb in another part":  {map[string]string{"xl/styles.xml": "<styleSheet>" + strings.Repeat(" ", 20<<20) + "</styleSheet>"}, "too much besides its cells"},
		"endless text":          {map[string]string{sheet1: before + "<row><c><v>" + strings.Repeat("1", 3<<20) + "</v></c></row>" + after}, "longer than 64 kB"},
		"endless element":       {map[string]string{sheet1: before + `<row r="` + strings.Repeat("1", 3<<20) + `"/>` + after}, "longer than 256 kB"},
		"huge cell":             {map[string]string{sheet1: cell(` t="str"><v>` + strings.Repeat("a", 70_000) + `</v></c>`)}, "longer than 64 kB"},
		"deep nesting":          {map[string]string{sheet1: before + strings.Repeat("<a>", 100_000) + after}, "nested too deep"},
		"cut off":               {map[string]string{sheet1: before + `<row r="1"><c r="A1"><v>1`}, "damaged"},
		"no XML":                {map[string]string{sheet1: "part,kind,d\n"}, "no header in this row"},
		"far column":            {map[string]string{sheet1: before + `<row r="1"><c r="XFD1"><v>1</v></c></row>` + after}, "at most 500 columns"},
		"far row":               {map[string]string{sheet1: before + `<row r="99999999"><c><v>1</v></c></row>` + after}, "rows in ascending order"},
		"rows backwards":        {map[string]string{sheet1: before + `<row r="2"/><row r="1"/>` + after}, "rows in ascending order"},
		"cells backwards":       {map[string]string{sheet1: before + `<row r="1"><c r="B1"/><c r="A1"/></row>` + after}, "cells of the row in ascending order"},
		"a text that is not":    {map[string]string{sheet1: cell(` t="s"><v>99999</v></c>`)}, "names text"},
		"an entity":             {map[string]string{sheet1: `<!DOCTYPE x [<!ENTITY a "b">]>` + cell(` t="str"><v>&a;</v></c>`)}, "damaged"},
		"a workbook of nothing": {map[string]string{"xl/workbook.xml": "<workbook/>"}, "no sheet"},
		"no links":              {map[string]string{"xl/_rels/workbook.xml.rels": "<Relationships/>"}, "holds no cells"},
	} {
		t.Run(name, func(t *testing.T) {
			checkSays(t, refused(t, rebuilt(t, good, c.parts), mustMap(t, plainMap)), c.want)
		})
	}
	checkSays(t, refused(t, good, mustMap(t, "sheet = \"None\"\n"+plainMap)), `no sheet "None"`, `"Sheet1"`)
	// Archives that list other sizes than those of their parts.
	for listed, want := range map[uint64]string{600 << 20: "unpacks to more than 512 MB", 1 << 20: "damaged", 100: "damaged"} {
		checkSays(t, refused(t, lying(t, good, sheet1, before+strings.Repeat(" ", 2<<20)+after, listed), mustMap(t, plainMap)), want)
	}
	data, err := os.ReadFile(good.Path)
	if err != nil {
		t.Fatal(err)
	}
	for at := 40; at < len(data); at += 41 {
		damaged := append([]byte(nil), data...)
		damaged[at] ^= 0xff
		var b strings.Builder
		// Some bytes carry nothing; whatever comes is a table of three or faults.
		o, err := Import(context.Background(), put(t, "s.xlsx", string(damaged)), mustMap(t, plainMap), Options{}, &b)
		var faults catalog.Faults
		if err == nil && o.Lenses != 3 || err != nil && !errors.As(err, &faults) {
			t.Errorf("byte %d: %v, %+v", at, err, o)
		}
	}
	left, err := os.ReadDir(temp)
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestMapFaults: everything wrong with a map is told at once, with line and key.
func TestMapFaults(t *testing.T) {
	_, faults := ReadMap([]byte(`header_row = 0
separator = "|"
decimal_comma = "yes"
empty = "n/a"
focal_nm = 5
skip_rows = [0, "9-3"]
colums = 3
[columns]
part = ""
diameter_mm = { form = "d" }
t1_mm = { from = "t", unit = "dioptre" }
r1_mm = { from = "r", sign = "positive" }
glass1 = { from = "g", unit = "mm" }
price = { from = "p", sign = "axis" }
radius2 = "r2"
efl_mm = { from = 0 }
[fixed]
stock = "many"
[glasses]
"BK 7" = 7
[skip]
"Status" = 7
`), "m.toml")
	checkSays(t, faults,
		"m.toml:1: header_row: 0 cannot be", "m.toml:2: separator", "m.toml:3: decimal_comma", "m.toml:4: empty", "m.toml:5: focal_nm",
		"m.toml:6: skip_rows", "m.toml:7: colums: there is no such key", "the nearest is columns",
		"m.toml:9: columns.part", `m.toml:10: columns.diameter_mm: it does not say from which column`, `there is no option "form"`, "the nearest is from",
		`m.toml:11: columns.t1_mm: unit = "dioptre" cannot be`, `m.toml:12: columns.r1_mm: sign = "positive" cannot be`,
		"m.toml:13: columns.glass1: the column has no unit", "m.toml:14: columns.price: the column has no sign",
		"m.toml:15: columns.radius2: a lens table has no such column", "m.toml:16: columns.efl_mm",
		"m.toml:18: fixed.stock", "m.toml:20: glasses.BK 7", "m.toml:22: skip.Status",
	)
	_, faults = ReadMap([]byte("[columns]\nvendor = \"v\"\nr3_mm = \"r3\"\n[fixed]\npart = \"x\"\n"), "m.toml")
	checkSays(t, faults, "columns.diameter_mm: nothing feeds", "columns.t1_mm", "columns.glass1", "columns.r1_mm", "columns.t2_mm", "columns.glass2",
		"m.toml:5: fixed.part: every lens would have the same name")
	for text, want := range map[string]string{
		"a = [":                        "not in TOML notation",
		"PK\x03\x04":                   "no text",
		"part = \"\xe4\"":              "0xE4",
		strings.Repeat("#\n", 200_000): "larger than 256 kB",
	} {
		_, faults := ReadMap([]byte(text), "m.toml")
		checkSays(t, faults, want)
	}
}
