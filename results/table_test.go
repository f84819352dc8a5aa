package results

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

func printed(t *testing.T, table *Table) string {
	t.Helper()
	var b strings.Builder
	if err := table.Print(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTable(t *testing.T) {
	table := &Table{Columns: []Column{{Name: "length", Unit: "mm"}, {Name: "part", Align: Left}, {Name: "n"}, {Name: "note", Align: Left}}}
	table.Add("100.25", "HX-1", "1", "")
	table.Add("7.50", "光学µ", "12", "a\tb\x1b[2J")
	want := "" +
		"length  part    n  note\n" +
		"    mm\n" +
		"100.25  HX-1    1\n" +
		"  7.50  光学µ  12  a�b�[2J\n"
	if diff := cmp.Diff(want, printed(t, table)); diff != "" {
		t.Errorf("wanted -, printed +\n%s", diff)
	}
}

func TestTableWithoutUnitsOrRows(t *testing.T) {
	if got := printed(t, &Table{Columns: []Column{{Name: "a"}, {Name: "b"}}}); got != "a  b\n" {
		t.Errorf("printed %q", got)
	}
}

func TestTableBold(t *testing.T) {
	table := &Table{Columns: []Column{{Name: "a"}}, Terminal: true}
	t.Setenv("NO_COLOR", "")
	if got := printed(t, table); got != "\x1b[1ma\x1b[0m\n" {
		t.Errorf("on a terminal: %q", got)
	}
	t.Setenv("NO_COLOR", "1")
	if got := printed(t, table); got != "a\n" {
		t.Errorf("with NO_COLOR: %q", got)
	}
	t.Setenv("NO_COLOR", "")
	table.Terminal = false
	if got := printed(t, table); got != "a\n" {
		t.Errorf("to a file: %q", got)
	}
}

func TestTableFaults(t *testing.T) {
	table := &Table{Columns: []Column{{Name: "a"}, {Name: "b"}}}
	if err := table.Print(&limitedWriter{3}); !errors.Is(err, errFull) {
		t.Errorf("a full disk: %v", err)
	}
	table.Add("1")
	if err := table.Print(&strings.Builder{}); err == nil {
		t.Error("a row without a cell was printed")
	}
}

func TestFixed(t *testing.T) {
	for _, c := range []struct {
		x        float64
		decimals int
		want     string
	}{
		{1.005, 1, "1.0"}, {-2.5, 2, "-2.50"}, {12345.678, 0, "12346"},
		{-0.004, 2, "0.00"}, {math.Copysign(0, -1), 0, "0"}, {-0.006, 2, "-0.01"}, {-10, 0, "-10"},
		{math.Inf(1), 2, "inf"}, {math.Inf(-1), 2, "-inf"}, {math.NaN(), 2, "-"},
	} {
		if got := Fixed(c.x, c.decimals); got != c.want {
			t.Errorf("Fixed(%v, %d) = %q, not %q", c.x, c.decimals, got, c.want)
		}
	}
}

func TestPrintRanked(t *testing.T) {
	designs := []Design{
		{Point: 0, Swept: []Value{FloatValue(15), StringValue("rear")}, Rank: 1, DesignID: "erector-single:rear:A|B|C",
			LengthMM: 151.234, LengthToEyeMM: 176.2, EyeReliefMM: 25, LensesCount: 3, Price: ptr(120.5), FieldMaxDeg: 19.4,
			TravelMM: 9.876, MaskBlurArcmin: 3.21, ViewBlurArcmin: 1.5, VignettedPct: 4},
		{Point: 1, Swept: []Value{FloatValue(math.Inf(1)), StringValue("front")}, Rank: 12, DesignID: "erector-single:front:A+B/r|B|C",
			LengthMM: 98.7, LengthToEyeMM: 120, EyeReliefMM: 21.3, LensesCount: 4, FieldMaxDeg: 15.01, FieldAskedDeg: 16,
			TravelMM: 12.3, MaskBlurArcmin: math.Inf(1), ViewBlurArcmin: 0.75, VignettedPct: 12.25},
	}
	var b strings.Builder
	if err := PrintRanked(&b, designs, []Axis{{"stage.travel_mm", KindFloat}, {"mask.seat", KindString}}, false); err != nil {
		t.Fatal(err)
	}
	want := "" +
		"point  stage.travel_mm  mask.seat  rank  length  to eye  eye relief  lenses   price   field  travel  mask blur  view blur  vignetted  design\n" +
		"                    mm                       mm      mm          mm                     deg      mm     arcmin     arcmin          %\n" +
		"    0               15  rear          1  151.23  176.20       25.00       3  120.50   19.40    9.88       3.21       1.50        4.0  erector-single:rear:A|B|C\n" +
		"    1              inf  front        12   98.70  120.00       21.30       4       -  15.01*   12.30        inf       0.75       12.2  erector-single:front:A+B/r|B|C\n" +
		"field*: the whole pupil is lit up to there, which is less than was asked; beyond, up to the share under vignetted is lost\n"
	if diff := cmp.Diff(want, b.String()); diff != "" {
		t.Errorf("wanted -, printed +\n%s", diff)
	}

	b.Reset()
	designs[0].Swept = nil
	if err := PrintRanked(&b, designs[:1], nil, false); err != nil {
		t.Fatal(err)
	}
	if got := b.String(); !strings.HasPrefix(got, "rank  length") || strings.Contains(got, "point") {
		t.Errorf("without a sweep:\n%s", got)
	}
}
