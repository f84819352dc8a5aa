package results

import (
	"bufio"
	"encoding/csv"
	"io"
	"math"
)

// ComparedRow is a row of designs side by side, for other programs.
type ComparedRow struct {
	Table        string // what kind of row it is
	Name         string
	Vendor, Unit string   // empty where it has none
	Bound        Bound    // empty where nothing was asked
	Asked        *float64 // nil for none
	Values       []any    // one a design: a string, an int, a float64, or nil
}

// members are those of a row, with those of the designs under their names.
func (r *ComparedRow) members(designs []string) object {
	text := func(s string) any {
		if s == "" {
			return nil
		}
		return s
	}
	var asked any
	if r.Asked != nil {
		asked = *r.Asked
	}
	o := object{{"table", r.Table}, {"name", r.Name}, {"vendor", text(r.Vendor)}, {"unit", text(r.Unit)}, {"bound", text(string(r.Bound))}, {"asked", asked}}
	for i, name := range designs {
		o = append(o, member{name, r.Values[i]})
	}
	for i := range o {
		switch v := o[i].value.(type) {
		case int:
			o[i].value = int64(v)
		case float64:
			if math.IsInf(v, 0) {
				o[i].value = infinity(FloatValue(v).String())
			}
		}
	}
	return o
}

// WriteComparedCSV writes rows as CSV with the columns table, name, vendor, unit, bound and
// asked, and one for each design. Null is an empty cell, infinity inf; texts are made safe, see
// [SafeText].
func WriteComparedCSV(w io.Writer, designs []string, rows []ComparedRow) error {
	out := csv.NewWriter(w)
	head := ComparedRow{Values: make([]any, len(designs))}
	var cells []string
	for _, m := range head.members(designs) {
		cells = append(cells, m.name)
	}
	out.Write(cells) // the error stays until Flush
	for i := range rows {
		cells = cells[:0]
		for _, m := range rows[i].members(designs) {
			cells = append(cells, cellOf(m.value))
		}
		out.Write(cells)
	}
	out.Flush()
	return out.Error()
}

// WriteComparedJSON writes rows as a JSON list of objects with the members that
// [WriteComparedCSV] has as columns. Null is null, infinity the text "inf".
func WriteComparedJSON(w io.Writer, designs []string, rows []ComparedRow) error {
	out := bufio.NewWriter(w)
	out.WriteString("[") // errors stay until Flush
	for i := range rows {
		if i > 0 {
			out.WriteString(",")
		}
		out.WriteString("\n  ")
		data, err := marshal(rows[i].members(designs))
		if err != nil {
			return err
		}
		out.Write(data)
	}
	out.WriteString("\n]\n")
	return out.Flush()
}
