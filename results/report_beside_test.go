package results

import (
	"strconv"
	"strings"
	"testing"
)

// TestBesideTable: a row is starred where the designs differ, and each cell tells whose
// number it is.
func TestBesideTable(t *testing.T) {
	designs := madeDesigns(2, nil)
	a, b := &designs[0], &designs[1]
	b.LengthMM = a.LengthMM + 1
	b.TravelMM = a.TravelMM
	a.Lenses = []Lens{{Group: "front", Part: "A"}, {Group: "rear", Part: "B", Reversed: true}}
	b.Lenses = a.Lenses[:1]
	table := besideTable(&Report{Leading: []ReportDesign{{Design: a}, {Design: b}}})
	rows := map[string]pageRow{}
	for _, row := range table.Rows {
		if len(row.Cells) != 4 {
			t.Fatalf("a row has %d cells", len(row.Cells))
		}
		if row.Cells[2].Rank != strconv.Itoa(a.Rank) || row.Cells[3].Rank != strconv.Itoa(b.Rank) {
			t.Errorf("%s: cells of ranks %s and %s", row.Cells[0].Text, row.Cells[2].Rank, row.Cells[3].Rank)
		}
		name := row.Cells[2].Column
		if name == "" {
			name = strings.TrimSuffix(string(row.Cells[0].Text), " *")
		}
		rows[name] = row
	}
	for name, differs := range map[string]bool{
		"length_mm": true, "travel_mm": false, "lens 1": false, "lens 2": true,
	} {
		row, known := rows[name]
		if !known {
			t.Errorf("there is no row %s among %d", name, len(rows))
			continue
		}
		if starred := strings.HasSuffix(string(row.Cells[0].Text), " *"); starred != differs {
			t.Errorf("%s: starred %v, differs %v: %s and %s", name, starred, differs, row.Cells[2].Text, row.Cells[3].Text)
		}
	}
}
