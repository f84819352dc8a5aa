package main

import (
	"encoding/csv"
	"io"
	"math"
	"strconv"

	"relaysweep/catalog"
)

const preamble = `# An invented catalog: none of these vendors, part numbers and prices exists, and
# nothing here can be ordered. Prices are in a currency without a name.
# Written by a program, so do not edit: go run ./cmd/demostock > testdata/demo/stock.csv
`

var columns = []string{
	"part", "vendor", "kind", "diameter_mm", "clear_mm",
	"r1_mm", "t1_mm", "glass1", "r2_mm", "t2_mm", "glass2", "r3_mm", "k1", "a6_1",
	"loss_pct", "price", "efl_mm", "bfl_mm", "stock", "pitch_mm", "draft_deg",
}

// writeTable writes the parts as a lens table.
func writeTable(w io.Writer, parts []*catalog.Lens) error {
	if _, err := io.WriteString(w, preamble); err != nil {
		return err
	}
	table := csv.NewWriter(w)
	table.Write(columns) // errors are kept for table.Error
	for _, l := range parts {
		table.Write(cells(l))
	}
	table.Flush()
	return table.Error()
}

func cells(l *catalog.Lens) []string {
	first := l.Surfaces[0]
	c := map[string]string{
		"part": l.Part, "vendor": l.Vendor, "kind": l.Kind,
		"diameter_mm": number(l.DiameterMM), "clear_mm": number(l.ClearMM),
		"r1_mm": number(first.RadiusMM), "t1_mm": number(l.ThicknessMM[0]), "glass1": l.Glasses[0].Name,
		"r2_mm":    number(l.Surfaces[1].RadiusMM),
		"loss_pct": number(l.LossPct), "price": number(l.Price),
		"efl_mm": number(l.EFLMM), "bfl_mm": number(l.BFLMM),
	}
	if len(l.Glasses) > 1 {
		c["t2_mm"], c["glass2"], c["r3_mm"] = number(l.ThicknessMM[1]), l.Glasses[1].Name, number(l.Surfaces[2].RadiusMM)
	}
	if len(first.Asphere) > 0 {
		c["k1"], c["a6_1"] = number(first.Conic), number(first.Asphere[1])
	}
	if first.IsFaceted() {
		c["pitch_mm"], c["draft_deg"] = number(first.PitchMM), number(first.DraftDeg)
	}
	if l.Stock != catalog.Unlimited {
		c["stock"] = strconv.Itoa(l.Stock)
	}
	row := make([]string, len(columns))
	for i, name := range columns {
		row[i] = c[name]
	}
	return row
}

// number writes the shortest text that reads back as x, nothing for a number
// that is not set.
func number(x float64) string {
	switch {
	case !catalog.IsSet(x):
		return ""
	case math.IsInf(x, 0):
		return "inf"
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
