package sheet

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
	"pgregory.net/rapid"

	"relaysweep/catalog"
)

// drawLens is a lens that can be made, of one or two glasses.
func drawLens(t *rapid.T, i int) *catalog.Lens {
	l := &catalog.Lens{
		Part:   fmt.Sprintf("%s-%d", rapid.StringMatching(`[A-Za-z0-9#;,."() ]{0,6}[A-Za-z0-9]`).Draw(t, "part"), i),
		Vendor: rapid.SampledFrom([]string{"", "Kite & Sons", `Tern "Glass"`, "Möwe; Optik"}).Draw(t, "vendor"),
		Kind:   rapid.SampledFrom([]string{"plano-convex", "bi-convex", "a kind of its own"}).Draw(t, "kind"),
		Stock:  rapid.SampledFrom([]int{catalog.Unlimited, 0, 7}).Draw(t, "stock"),
		Price:  catalog.Unset,
	}
	l.Part = plain(l.Part)
	if rapid.Bool().Draw(t, "has a price") {
		l.Price = math.Round(rapid.Float64Range(0, 5000).Draw(t, "price")*100) / 100
	}
	step := func(x float64) float64 { return math.Round(x*1000) / 1000 }
	l.DiameterMM = step(rapid.Float64Range(2, 60).Draw(t, "diameter"))
	l.ClearMM = step(l.DiameterMM * rapid.Float64Range(0.6, 1).Draw(t, "clear"))
	n := rapid.IntRange(1, 2).Draw(t, "glasses")
	if l.Kind != "a kind of its own" {
		n = 1
	}
	for range n + 1 {
		r := step(l.DiameterMM * rapid.Float64Range(1, 30).Draw(t, "radius"))
		switch rapid.IntRange(0, 4).Draw(t, "form") {
		case 0:
			r = math.Inf(1)
		case 1, 2:
			r = -r
		}
		l.Surfaces = append(l.Surfaces, catalog.Surface{RadiusMM: r})
	}
	for range n {
		// Two radii of at least the diameter take less than 0.27 of it from an edge.
		l.ThicknessMM = append(l.ThicknessMM, step(l.DiameterMM*rapid.Float64Range(0.3, 0.9).Draw(t, "thickness")))
		l.Glasses = append(l.Glasses, rapid.SampledFrom(catalog.BuiltinGlasses().Glasses()).Draw(t, "glass"))
	}
	return l
}

// convention is how a sheet writes what a lens is.
type convention struct {
	separator  rune
	comma      bool
	unit       string
	outerSign  sign
	noValue    string
	titles     int
	asWorkbook bool
}

func (c *convention) length(mm float64) string {
	if math.IsInf(mm, 0) {
		return "flat"
	}
	u, _ := unitNamed(c.unit)
	per, _ := u.mm.Float64()
	return c.number(mm / per)
}

func (c *convention) number(x float64) string {
	text := strconv.FormatFloat(x, 'g', -1, 64)
	if c.comma {
		text = strings.Replace(text, ".", ",", 1)
	}
	return text
}

// TestRoundTrip writes lenses into a sheet of some convention, imports that by
// a map that says so, and finds the same lenses.
func TestRoundTrip(t *testing.T) {
	folder := t.TempDir()
	run := 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		c := convention{
			separator:  rapid.SampledFrom([]rune{',', ';', '\t'}).Draw(t, "separator"),
			comma:      rapid.Bool().Draw(t, "decimal comma"),
			unit:       rapid.SampledFrom([]string{"mm", "cm", "m", "inch"}).Draw(t, "unit"),
			outerSign:  rapid.SampledFrom([]sign{signAxis, signAgainst, signConvex}).Draw(t, "sign"),
			noValue:    rapid.SampledFrom([]string{"", "n/a"}).Draw(t, "no value"),
			titles:     rapid.IntRange(0, 2).Draw(t, "titles"),
			asWorkbook: rapid.IntRange(0, 9).Draw(t, "workbook") == 0,
		}
		var lenses []*catalog.Lens
		for i := range rapid.IntRange(1, 5).Draw(t, "lenses") {
			lenses = append(lenses, drawLens(t, i))
		}
		if c.outerSign == signConvex {
			// Such a sheet cannot tell the sign of a cemented face.
			for _, l := range lenses {
				l.Surfaces, l.ThicknessMM, l.Glasses = l.Surfaces[:2], l.ThicknessMM[:1], l.Glasses[:1]
			}
		}
		rows := [][]string{{"Part", "Vendor", "Kind", "D", "CA", "R1", "R2", "R3", "T1", "T2", "G1", "G2", "Price", "Stock"}}
		for _, l := range lenses {
			rows = append(rows, c.row(l))
		}
		file := catalog.File{Path: filepath.Join(folder, fmt.Sprint(run, ".sheet")), Shown: "s"}
		write(t, file.Path, &c, rows)
		mapped := fmt.Sprintf("header_row = %d\ndecimal_comma = %v\nempty = [\"n/a\"]\n", c.titles+1, c.comma)
		if !c.asWorkbook {
			mapped += fmt.Sprintf("separator = %q\n", nameOf(c.separator))
		}
		mapped += "[columns]\npart = \"Part\"\nvendor = 2\nkind = \"Kind\"\nglass1 = \"G1\"\nglass2 = \"G2\"\nprice = \"Price\"\nstock = \"Stock\"\n"
		for ours, theirs := range map[string]string{"diameter_mm": "D", "clear_mm": "CA", "t1_mm": "T1", "t2_mm": "T2"} {
			mapped += fmt.Sprintf("%s = { from = %q, unit = %q }\n", ours, theirs, c.unit)
		}
		for i := 1; i <= 3; i++ {
			mapped += fmt.Sprintf("r%d_mm = { from = \"R%d\", unit = %q, sign = %q }\n", i, i, c.unit, string(c.outerSign))
		}
		m, faults := ReadMap([]byte(mapped), "map.toml")
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		var table strings.Builder
		outcome, err := Import(context.Background(), file, m, Options{}, &table)
		if err != nil {
			t.Fatalf("%v\n%q", err, rows)
		}
		got, _, faults := catalog.ReadLenses([]byte(table.String()), "t", catalog.BuiltinGlasses())
		if len(faults) > 0 || len(got) != len(lenses) || outcome.Derived != 0 {
			t.Fatalf("%d of %d lenses, %v\n%s", len(got), len(lenses), faults, table.String())
		}
		for i := range got {
			compare(t, got[i], lenses[i])
		}
	})
}

func (c *convention) row(l *catalog.Lens) []string {
	optional := func(x float64) string {
		if !catalog.IsSet(x) {
			return c.noValue
		}
		return c.number(x)
	}
	radius := func(i int) string {
		if i >= len(l.Surfaces) {
			return c.noValue
		}
		r := l.Surfaces[i].RadiusMM
		if c.outerSign == signAgainst || c.outerSign == signConvex && i == len(l.Surfaces)-1 {
			r = -r
		}
		return c.length(r)
	}
	t2, g2, stock := c.noValue, c.noValue, c.noValue
	if len(l.Glasses) > 1 {
		t2, g2 = c.length(l.ThicknessMM[1]), l.Glasses[1].Name
	}
	if l.Stock != catalog.Unlimited {
		stock = strconv.Itoa(l.Stock)
	}
	return []string{l.Part, l.Vendor, l.Kind, c.length(l.DiameterMM), c.length(l.ClearMM), radius(0), radius(1), radius(2),
		c.length(l.ThicknessMM[0]), t2, l.Glasses[0].Name, g2, optional(l.Price), stock}
}

// write writes rows as CSV or as a workbook, below titles.
func write(t *rapid.T, path string, c *convention, rows [][]string) {
	if c.asWorkbook {
		f := excelize.NewFile()
		defer f.Close()
		for i, row := range rows {
			cell, err := excelize.CoordinatesToCellName(1, c.titles+i+1)
			if err == nil {
				err = f.SetSheetRow("Sheet1", cell, &row)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		out, err := os.Create(path)
		if err == nil {
			err = f.Write(out)
		}
		if err == nil {
			err = out.Close()
		}
		if err != nil {
			t.Fatal(err)
		}
		return
	}
	var b strings.Builder
	b.WriteString(strings.Repeat("a title\n", c.titles))
	for _, row := range rows {
		for i, cell := range row {
			if i > 0 {
				b.WriteRune(c.separator)
			}
			b.WriteString(`"` + strings.ReplaceAll(cell, `"`, `""`) + `"`)
		}
		b.WriteString("\r\n")
	}
	if err := os.WriteFile(path, []byte(b.String()), 0o666); err != nil {
		t.Fatal(err)
	}
}

// compare allows lengths for what writing them in another unit rounds off.
func compare(t *rapid.T, got, want *catalog.Lens) {
	const share = 4e-16
	if got.Part != want.Part || got.Vendor != want.Vendor || got.Kind != want.Kind || got.Stock != want.Stock ||
		len(got.Surfaces) != len(want.Surfaces) {
		t.Fatalf("got %+v, want %+v", got, want)
	}
	if catalog.IsSet(want.Price) != catalog.IsSet(got.Price) || catalog.IsSet(want.Price) && got.Price != want.Price {
		t.Errorf("price %g, want %g", got.Price, want.Price)
	}
	near(t, "diameter", got.DiameterMM, want.DiameterMM, share)
	near(t, "clear", got.ClearMM, want.ClearMM, share)
	for i := range want.Surfaces {
		near(t, "radius", got.Surfaces[i].RadiusMM, want.Surfaces[i].RadiusMM, share)
	}
	for i := range want.Glasses {
		near(t, "thickness", got.ThicknessMM[i], want.ThicknessMM[i], share)
		if got.Glasses[i].Name != want.Glasses[i].Name {
			t.Errorf("glass %s, want %s", got.Glasses[i].Name, want.Glasses[i].Name)
		}
	}
}
