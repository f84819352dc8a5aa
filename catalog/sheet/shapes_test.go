package sheet

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"relaysweep/catalog"
)

// All shops here are invented, and so are their lenses.

// want is what a lens has to be. Lengths are in mm; 0 stands for unset.
type want struct {
	part, vendor, kind  string
	diameter, clear, t1 float64
	r1, r2, r3          float64
	glass1, glass2      string
	efl, price          float64
	stock               int
	derived             string
	conic1              float64
}

func checkWant(t *testing.T, lenses map[string]*catalog.Lens, w want) {
	t.Helper()
	l := lenses[w.part]
	if l == nil {
		t.Errorf("there is no lens %s", w.part)
		return
	}
	same := func(what string, got, want float64) {
		t.Helper()
		if want == 0 {
			return
		}
		near(t, w.part+": "+what, got, want, 1e-12)
	}
	if l.Vendor != w.vendor || l.Kind != w.kind || l.Glasses[0].Name != w.glass1 {
		t.Errorf("%s: vendor %q, kind %q, glass %q", w.part, l.Vendor, l.Kind, l.Glasses[0].Name)
	}
	same("diameter", l.DiameterMM, w.diameter)
	same("clear", l.ClearMM, w.clear)
	same("t1", l.ThicknessMM[0], w.t1)
	same("r1", l.Surfaces[0].RadiusMM, w.r1)
	same("r2", l.Surfaces[1].RadiusMM, w.r2)
	same("efl", l.EFLMM, w.efl)
	same("price", l.Price, w.price)
	if w.glass2 != "" {
		if len(l.Glasses) != 2 || l.Glasses[1].Name != w.glass2 {
			t.Fatalf("%s has %d glasses", w.part, len(l.Glasses))
		}
		same("r3", l.Surfaces[2].RadiusMM, w.r3)
	}
	if w.stock != 0 && l.Stock != w.stock {
		t.Errorf("%s: stock %d", w.part, l.Stock)
	}
	same("k1", l.Surfaces[0].Conic, w.conic1)
}

// TestShapes imports sheets of eight shapes.
func TestShapes(t *testing.T) {
	// Focal lengths below that are no round numbers are those of the thick-lens
	// formula with n = 1.5168, worked out by hand.
	// 25.84 mm is f·(n-1) for f = 50 mm and N-BK7's index at the d line, which
	// makers print as 1.5168: 50·0.5168.
	const plano50 = 50 * 0.5168
	inf := math.Inf(1)
	for _, c := range []struct {
		name    string
		file    func(t *testing.T) catalog.File
		mapped  string
		wants   []want
		leftOut []string // parts
	}{
		{
			name: "commas, a mark, quotes, our own signs",
			file: text("a.csv", "\ufeffPart,Maker,Form,Width,R1,CT,Glass,R2,Price\r\n"+
				"\"P,1\",\"Kite \"\"Bros\"\"\",bi-convex,25,51.5,5,N-BK7,-51.5,30\r\n\r\n#2,Kite,meniscus,25,30,4,n-bk7,60,\r\n"),
			mapped: `[columns]
part = "Part"
vendor = "Maker"
kind = "Form"
diameter_mm = "Width"
r1_mm = "R1"
t1_mm = "CT"
glass1 = "Glass"
r2_mm = "R2"
price = "Price"
`,
			wants: []want{
				{part: "P,1", vendor: `Kite "Bros"`, kind: "bi-convex", diameter: 25, clear: 22.5, t1: 5, r1: 51.5, r2: -51.5, glass1: "N-BK7", price: 30},
				{part: "#2", vendor: "Kite", kind: "meniscus", diameter: 25, r1: 30, r2: 60, glass1: "N-BK7"},
			},
		},
		{
			name: "semicolons, decimal commas, thousands, a title, codes for kinds, convex positive",
			file: text("b.csv", "Linsenhof Muster - Liste 4;;;;;;;\n\nArtikel;Bauform;Ø;R vorn;R hinten;d;Glas;Preis\n"+
				"L1;BX;12,7;12,9;12,9;4,1;BK 7;1.012,50 EUR\nL2;BC;12,7;-12,9;-12,9;2;BK 7;9 EUR\nL3;PX;12,7;plan;25,84;3;BK 7;-\n"+
				"Alle Preise ohne Gewähr\n"),
			mapped: `header_row = 3
decimal_comma = true
flat = ["plan"]
empty = ["-"]
skip_rows = ["7-9"]
[columns]
part = "Artikel"
kind = "Bauform"
diameter_mm = "Ø"
r1_mm = { from = "R vorn", sign = "convex" }
r2_mm = { from = "R hinten", sign = "convex" }
t1_mm = "d"
glass1 = "Glas"
price = { from = "Preis", drop = [".", "EUR"] }
[fixed]
vendor = "Linsenhof Muster"
[glasses]
"BK 7" = "N-BK7"
[kinds]
BX = "bi-convex"
BC = "bi-concave"
PX = "plano-convex"
`,
			wants: []want{
				{part: "L1", vendor: "Linsenhof Muster", kind: "bi-convex", diameter: 12.7, t1: 4.1, r1: 12.9, r2: -12.9, glass1: "N-BK7", price: 1012.5},
				{part: "L2", vendor: "Linsenhof Muster", kind: "bi-concave", diameter: 12.7, t1: 2, r1: -12.9, r2: 12.9, glass1: "N-BK7", price: 9},
				{part: "L3", vendor: "Linsenhof Muster", kind: "plano-convex", r1: inf, r2: -25.84, glass1: "N-BK7"},
			},
		},
		{
			name: "tabs, inches with fractions, only focal lengths",
			file: text("c.tsv", "item\tshape\tdia\tfocal\tthick\tstatus\n"+
				"T1\tplano-convex\t1/2\"\t50 mm\t0.1\tnew\nT2\tbi-convex\t1 1/2 in\t100\t0.3\t\nT3\tplano-concave\t.5\t50\t.1\tsold out 3/4\n"+
				"T4\tplano-concave\t.5\t50\t.1\tnew\nT5\tachromat\t1\t50\t.1\tnew\n"),
			mapped: `equal_radii = ["bi-convex"]
[columns]
part = "item"
kind = "shape"
diameter_mm = { from = "dia", unit = "inch" }
efl_mm = { from = "focal", sign = "kind" }
t1_mm = { from = "thick", unit = "inch" }
[fixed]
glass1 = "N-BK7"
[skip]
"status" = ["sold*"]
`,
			wants: []want{
				{part: "T1", kind: "plano-convex", diameter: 12.7, t1: 2.54, r1: 50 * (bk7d - 1), r2: inf, glass1: "N-BK7", efl: 50, derived: "r1_mm r2_mm"},
				{part: "T2", kind: "bi-convex", diameter: 38.1, t1: 7.62, glass1: "N-BK7", efl: 100, derived: "r1_mm r2_mm"},
				{part: "T4", kind: "plano-concave", diameter: 12.7, r1: -50 * (bk7d - 1), r2: inf, glass1: "N-BK7", efl: -50, derived: "r1_mm r2_mm"},
			},
			leftOut: []string{"T5"},
		},
		{
			name: "dioptres, columns by number, two of one name, signs against ours",
			file: text("d.csv", "name,R,R,power,t,d,glass\nD1,-30,30,33.77,3.5,12,517642\nD2,-30,,0,3.5,12,517642\n"),
			mapped: `[columns]
part = 1
r1_mm = { from = 2, sign = "against" }
r2_mm = { from = 3, sign = "against" }
efl_mm = { from = "power", unit = "dioptre" }
t1_mm = "t"
diameter_mm = { from = "d", unit = "mm" }
glass1 = "glass"
`,
			wants: []want{
				{part: "D1", diameter: 12, r1: 30, r2: -30, glass1: "N-BK7", efl: 1000 / 33.77},
			},
			leftOut: []string{"D2"}, // without power and kind
		},
		{
			name: "magnitudes only, the kind tells; a conic and cm",
			file: text("e.csv", "n,kind,f,D cm,R1 cm,R2 cm,k,T cm\n"+
				"E1,bi-concave,-19.03,1.2,2,2,,0.2\nE2,plano-convex,30,1.2,1.55,flat,-0.6,0.3\nE3,meniscus,105.3,1.2,2,3,,0.3\nE4,meniscus,-129.3,1.2,2,3,,0.3\nE5,what,20,1.2,2,3,,0.3\n"),
			mapped: `[columns]
part = "n"
kind = "kind"
efl_mm = "f"
diameter_mm = { from = "D cm", unit = "cm" }
r1_mm = { from = "R1 cm", unit = "cm", sign = "kind" }
r2_mm = { from = "R2 cm", unit = "cm", sign = "kind" }
k1 = "k"
t1_mm = { from = "T cm", unit = "cm" }
[fixed]
glass1 = "N-BK7"
`,
			wants: []want{
				{part: "E1", kind: "bi-concave", diameter: 12, r1: -20, r2: 20, glass1: "N-BK7", efl: -19.03},
				{part: "E2", kind: "plano-convex", diameter: 12, r1: 15.5, r2: inf, glass1: "N-BK7", conic1: -0.6},
				{part: "E3", kind: "meniscus", diameter: 12, r1: 20, r2: 30, glass1: "N-BK7"},
				{part: "E4", kind: "meniscus", diameter: 12, r1: -20, r2: -30, glass1: "N-BK7"},
			},
			leftOut: []string{"E5"},
		},
		{
			name: "a workbook: the second sheet, a title, numbers and texts, empty cells at the end",
			file: book("f.xlsx", "Lenses", [][]any{
				{"Pebble Optics"},
				{},
				{"Code", "Dia.\n[mm]", "R1", "R2", "R3", "t1", "t2", "g1", "g2", "pcs", nil, "Remark"},
				{"F1", 25.4, 61.5, -44.6, -129.9, 6.0, 2.5, "N-BK7", "N-SF5", 4},
				{"Singlets"},
				{"F2", "12.7", 25.84, "inf", nil, 2.5, nil, "N-BK7", nil, 10, nil, "new"},
			}),
			mapped: `sheet = "Lenses"
header_row = 3
[columns]
part = "Code"
diameter_mm = "Dia. [mm]"
r1_mm = "R1"
r2_mm = "R2"
r3_mm = "R3"
t1_mm = "t1"
t2_mm = "t2"
glass1 = "g1"
glass2 = "g2"
stock = "pcs"
`,
			wants: []want{
				{part: "F1", diameter: 25.4, t1: 6, r1: 61.5, r2: -44.6, r3: -129.9, glass1: "N-BK7", glass2: "N-SF5", stock: 4},
				{part: "F2", diameter: 12.7, t1: 2.5, r1: 25.84, r2: inf, glass1: "N-BK7", stock: 10},
			},
			leftOut: []string{"Singlets"},
		},
		{
			name: "a workbook with decimal commas in texts, and numbers as such",
			file: book("g.xlsx", "", [][]any{
				{"Nr", "D", "f", "d", "Glas", "Form"},
				{"G1", "12,7", 50, 2.5, "N-BK7", "plano-convex"},
				{"G2", 12.7, "50,0", "2,5", "N-BK7", "plano-convex"},
			}),
			mapped: `decimal_comma = true
[columns]
part = "Nr"
diameter_mm = "D"
efl_mm = "f"
t1_mm = "d"
glass1 = "Glas"
kind = "Form"
`,
			wants: []want{
				{part: "G1", kind: "plano-convex", diameter: 12.7, t1: 2.5, r1: 50 * (bk7d - 1), r2: inf, glass1: "N-BK7", efl: 50, derived: "r1_mm r2_mm"},
				{part: "G2", kind: "plano-convex", diameter: 12.7, t1: 2.5, r1: 50 * (bk7d - 1), r2: inf, glass1: "N-BK7", efl: 50, derived: "r1_mm r2_mm"},
			},
		},
		{
			name: "one face given, the other computed; focal length at the e line",
			file: text("h.csv", "p;D;R1;f;t;m\nH1;10;40;67.92453;8;N-BK7\nH2;10;40;;8;N-BK7\n"),
			mapped: `focal_nm = 546.074
[columns]
part = "p"
diameter_mm = "D"
r1_mm = "R1"
efl_mm = "f"
t1_mm = "t"
glass1 = "m"
`,
			wants: []want{
				{part: "H1", diameter: 10, r1: 40, glass1: "N-BK7", efl: 67.92453, derived: "r2_mm"},
			},
			leftOut: []string{"H2"},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			lenses, outcome, table := imported(t, c.file(t), mustMap(t, c.mapped), Options{})
			for _, w := range c.wants {
				checkWant(t, lenses, w)
				for line := range strings.Lines(table) {
					if strings.HasPrefix(line, w.part+",") && !strings.HasSuffix(line, ","+w.derived+"\n") {
						t.Errorf("derived is not %q in %q", w.derived, line)
					}
				}
			}
			var left []string
			for _, l := range outcome.LeftOut {
				left = append(left, l.Parts...)
			}
			if len(lenses) != len(c.wants) || strings.Join(left, " ") != strings.Join(c.leftOut, " ") || outcome.Lenses != len(lenses) {
				t.Errorf("%d lenses, left out %q\n%s", len(lenses), left, table)
			}
			if len(outcome.Warnings) > 0 {
				t.Error(outcome.Warnings)
			}
		})
	}
	near(t, "N-BK7", plano50, 50*(bk7d-1), 1e-5)
}

// TestNamesAsSeen: a name that is stored as a number is the one that people see,
// with its zeros, as they order by it; a number is the one that is stored.
func TestNamesAsSeen(t *testing.T) {
	file := putBook(t, "s.xlsx", "", [][]any{
		{"part", "kind", "d", "r1", "t", "glass", "r2", "f"},
		{123, "plano-convex", 12.7, 25.8399, 2.5, 517642, "inf", 50},
	}, func(f *excelize.File, sheet string) error {
		zeros, decimals := "00000", "0.0"
		for cell, format := range map[string]*string{"A2": &zeros, "D2": &decimals} {
			style, err := f.NewStyle(&excelize.Style{CustomNumFmt: format})
			if err == nil {
				err = f.SetCellStyle(sheet, cell, cell, style)
			}
			if err != nil {
				return err
			}
		}
		return nil
	})
	lenses, _, table := imported(t, file, mustMap(t, plainMap), Options{})
	l := lenses["00123"]
	if l == nil || l.Surfaces[0].RadiusMM != 25.8399 || l.Glasses[0].Name != "N-BK7" {
		t.Errorf("%+v\n%s", l, table)
	}
}

// TestFormatsThatChangeNumbers: a loss that is shown as a percentage is one, and
// what a spreadsheet has taken for a day is no number.
func TestFormatsThatChangeNumbers(t *testing.T) {
	with := func(loss, price any, formats map[string]int) catalog.File {
		return putBook(t, "s.xlsx", "", [][]any{
			{"part", "kind", "d", "r1", "t", "glass", "r2", "f", "loss", "price"},
			{"A", "plano-convex", 12.7, 25.84, 2.5, "N-BK7", "inf", 50, loss, price},
		}, func(f *excelize.File, sheet string) error {
			for cell, format := range formats {
				style, err := f.NewStyle(&excelize.Style{NumFmt: format})
				if err == nil {
					err = f.SetCellStyle(sheet, cell, cell, style)
				}
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	m := mustMap(t, plainMap+"loss_pct = \"loss\"\nprice = \"price\"\n")
	const percent, day = 10, 14 // the formats 0.00% and mm-dd-yy (ECMA-376, 18.8.30)
	for _, file := range []catalog.File{
		with(0.005, 12.5, map[string]int{"I2": percent}),
		with("0.5%", 12.5, nil),
		with("0.5 %", 12.5, nil),
		with(0.5, 12.5, nil),
	} {
		lenses, _, _ := imported(t, file, m, Options{})
		if l := lenses["A"]; l == nil || l.LossPct != 0.5 || l.Price != 12.5 {
			t.Errorf("%+v", l)
		}
	}
	checkSays(t, refused(t, with(0.5, 45789, map[string]int{"J2": day}), m), `price from column "price"`, "is a date in the workbook")
	checkSays(t, refused(t, with(0.5, 0.125, map[string]int{"J2": percent}), m), `price from column "price"`, "is a percentage")
}

// bk7d is the index of N-BK7 at the d line; the makers' data sheet says 1.5168.
var bk7d = catalog.BuiltinGlasses().Find("N-BK7").Nd()

func text(name, content string) func(t *testing.T) catalog.File {
	return func(t *testing.T) catalog.File {
		t.Helper()
		return put(t, name, content)
	}
}

// book makes a workbook with the rows on a sheet of that name, behind another
// sheet, or on its only one.
func book(name, sheetName string, rows [][]any) func(t *testing.T) catalog.File {
	return func(t *testing.T) catalog.File {
		t.Helper()
		return putBook(t, name, sheetName, rows, nil)
	}
}

func putBook(t testing.TB, name, sheetName string, rows [][]any, more func(f *excelize.File, sheet string) error) catalog.File {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	to := "Sheet1"
	if sheetName != "" {
		to = sheetName
		if _, err := f.NewSheet(to); err != nil {
			t.Fatal(err)
		}
		if err := f.SetCellStr("Sheet1", "A1", "the other sheet"); err != nil {
			t.Fatal(err)
		}
	}
	for i := range rows {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		if err != nil {
			t.Fatal(err)
		}
		if err := f.SetSheetRow(to, cell, &rows[i]); err != nil {
			t.Fatal(err)
		}
	}
	if more != nil {
		if err := more(f, to); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(t.TempDir(), name)
	if err := f.SaveAs(path); err != nil {
		t.Fatal(err)
	}
	return catalog.File{Path: path, Shown: name}
}
