package results

import (
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// TestAberrationTable: each lens and the sum of all has a row, with the number and a bar at each
// value: from the middle to its side, the longest of a column over the whole half of its room.
func TestAberrationTable(t *testing.T) {
	l := &ReportDesign{Aberrations: []ReportAberration{
		{"front", "A<1>", [7]float64{1, -4, 0, 0, 2, 0.5, 0}},
		{"rear", "B/r", [7]float64{-2, 1, 0, 0, 2, 0.25, 0}},
		{"all", "", [7]float64{-1, -3, 0, 0, 4, 0.75, 0}},
	}}
	table := aberrationTable(l)
	if len(table.Rows) != 3 || len(table.Heads) != 9 {
		t.Fatalf("%d rows of %d columns", len(table.Rows), len(table.Heads))
	}
	bar := regexp.MustCompile(`<rect class="bar" x="([\d.]+)" y="2" width="([\d.]+)"`)
	for i, row := range table.Rows {
		if strings.Contains(string(row.Cells[1].Text), "<1>") {
			t.Errorf("a part's name stands unescaped: %s", row.Cells[1].Text)
		}
		for k := range l.Aberrations[i].Arcmin {
			x, most := l.Aberrations[i].Arcmin[k], [7]float64{2, 4, 0, 0, 4, 0.75, 0}[k]
			text := string(row.Cells[2+k].Text)
			if !strings.Contains(text, ">"+Fixed(x, 2)+" ") {
				t.Errorf("row %d, column %d: %s has no %v", i, k, text, x)
			}
			found := bar.FindStringSubmatch(text)
			if found == nil {
				t.Fatalf("no bar in %s", text)
			}
			from, _ := strconv.ParseFloat(found[1], 64)
			long, _ := strconv.ParseFloat(found[2], 64)
			want, side := 0.0, 30.0
			if most > 0 {
				want = 30 * x / most
			}
			if want < 0 {
				want, side = -want, 30+want
			}
			if from != side || long != want {
				t.Errorf("row %d, column %d: a bar of %v from %v, not %v from %v", i, k, long, from, want, side)
			}
		}
	}
	if rows := aberrationTable(&ReportDesign{}).Rows; len(rows) != 0 {
		t.Errorf("%d rows of nothing", len(rows))
	}
}
