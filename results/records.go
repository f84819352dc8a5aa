package results

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
)

// WriteRankedCSV writes designs as CSV for other programs: a header row of
// column names, then a row a design with the columns of ranked.parquet that are no
// lists of structs. A list of texts is one cell, joined by semicolons. Null is an
// empty cell, infinity inf. Texts that a spreadsheet would run are made safe, see
// [SafeText].
func WriteRankedCSV(w io.Writer, sweep []Axis, designs []Design) error {
	var flat []column[Design]
	for _, c := range rankedColumns(sweep) {
		if !isStructs(c.field.Type) {
			flat = append(flat, c)
		}
	}
	return writeCSV(w, flat, designs)
}

// WriteLensesCSV writes the lenses of a design as CSV, world to eye, with the
// columns of the list in ranked.parquet, as [WriteRankedCSV] does.
func WriteLensesCSV(w io.Writer, d *Design) error { return writeCSV(w, lensColumns, d.Lenses) }

// WriteRankedJSON writes designs as a JSON list of objects for other programs: the
// columns of ranked.parquet under their names and in their order, lists of structs
// as lists of objects, and behind them the design's rows of setpoints.parquet under
// setpoints. Null is null, infinity the text "inf".
func WriteRankedJSON(w io.Writer, sweep []Axis, designs []Design, setpoints []Setpoint) error {
	columns := rankedColumns(sweep)
	rows, err := recordOf(columns, designs)
	if err != nil {
		return err
	}
	defer rows.Release()
	stages, err := recordOf(setpointColumns, setpoints)
	if err != nil {
		return err
	}
	defer stages.Release()
	out := bufio.NewWriter(w)
	out.WriteString("[") // errors stay until Flush
	for i := range designs {
		if i > 0 {
			out.WriteString(",")
		}
		out.WriteString("\n  ")
		object := objectAt(rows.Schema().Fields(), rows.Columns(), i)
		var own []any
		for k := range setpoints {
			if s := &setpoints[k]; s.Point == designs[i].Point && s.Rank == designs[i].Rank && s.DesignID == designs[i].DesignID {
				own = append(own, objectAt(stages.Schema().Fields(), stages.Columns(), k))
			}
		}
		object = append(object, member{"setpoints", append([]any{}, own...)})
		data, err := marshal(object)
		if err != nil {
			return err
		}
		out.Write(data)
	}
	if len(designs) > 0 {
		out.WriteString("\n")
	}
	out.WriteString("]\n")
	return out.Flush()
}

// SafeText is a text as a cell of CSV that a spreadsheet shows and does not run:
// one that begins as a formula does (=, +, -, @, also in full width, a tabulator or
// a carriage return) gets an apostrophe in front.
func SafeText(text string) string {
	if text == "" || !strings.ContainsRune("=+-@\t\r＝＋－＠", []rune(text)[0]) {
		return text
	}
	return "'" + text
}

// isStructs reports whether a column holds lists of structs.
func isStructs(t arrow.DataType) bool {
	list, is := t.(*arrow.ListType)
	return is && list.Elem().ID() == arrow.STRUCT
}

// recordOf are rows by columns, by the same code that writes the file.
func recordOf[T any](columns []column[T], rows []T) (arrow.Record, error) {
	b := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema(fieldsOf(columns), nil))
	defer b.Release()
	for i := range rows {
		for c := range columns {
			if err := columns[c].put(b.Field(c), &rows[i]); err != nil {
				return nil, err
			}
		}
	}
	return b.NewRecord(), nil
}

func writeCSV[T any](w io.Writer, columns []column[T], rows []T) error {
	record, err := recordOf(columns, rows)
	if err != nil {
		return err
	}
	defer record.Release()
	out := csv.NewWriter(w)
	cells := make([]string, len(columns))
	for c := range columns {
		cells[c] = SafeText(columns[c].field.Name)
	}
	out.Write(cells) // the error stays until Flush
	for i := range rows {
		for c := range cells {
			cells[c] = cellOf(valueAt(record.Column(c), i))
		}
		out.Write(cells)
	}
	out.Flush()
	return out.Error()
}

// cellOf is a value as a cell of CSV.
func cellOf(v any) string {
	switch v := v.(type) {
	case string:
		return SafeText(v)
	case infinity:
		return string(v)
	case float64:
		return strconv.FormatFloat(v, 'g', -1, 64)
	case int64:
		return strconv.FormatInt(v, 10)
	case bool:
		return strconv.FormatBool(v)
	case []any:
		texts := make([]string, len(v))
		for i, text := range v {
			texts[i], _ = text.(string)
		}
		return SafeText(strings.Join(texts, ";"))
	}
	return "" // null
}

// infinity is an infinite number, which JSON has none of, as text.
type infinity string

// valueAt is a value of an array as it stands in text formats; nil is null.
func valueAt(a arrow.Array, i int) any {
	if a.IsNull(i) {
		return nil
	}
	switch a := a.(type) {
	case *array.Float64:
		x := a.Value(i)
		if math.IsInf(x, 0) {
			return infinity(FloatValue(x).String())
		}
		return x
	case *array.Int32:
		return int64(a.Value(i))
	case *array.Int64:
		return a.Value(i)
	case *array.String:
		return textAt(a, i)
	case *array.Boolean:
		return a.Value(i)
	case *array.List:
		from, to := a.ValueOffsets(i)
		list := []any{}
		for k := int(from); k < int(to); k++ {
			list = append(list, valueAt(a.ListValues(), k))
		}
		return list
	case *array.Struct:
		arrays := make([]arrow.Array, a.NumField())
		for f := range arrays {
			arrays[f] = a.Field(f)
		}
		return objectAt(a.DataType().(*arrow.StructType).Fields(), arrays, i)
	}
	panic("results: a column of type " + a.DataType().Name())
}

// objectAt is a row by its fields.
func objectAt(fields []arrow.Field, arrays []arrow.Array, i int) object {
	o := make(object, len(fields))
	for f := range fields {
		o[f] = member{fields[f].Name, valueAt(arrays[f], i)}
	}
	return o
}

// object is a JSON object that keeps the order of its members.
type object []member

type member struct {
	name  string
	value any
}

// MarshalJSON writes the object.
func (o object) MarshalJSON() ([]byte, error) {
	out := []byte{'{'}
	for i, m := range o {
		if i > 0 {
			out = append(out, ", "...)
		}
		name, err := marshal(m.name)
		if err != nil {
			return nil, err
		}
		value, err := marshal(m.value)
		if err != nil {
			return nil, err
		}
		out = append(append(append(out, name...), ": "...), value...)
	}
	return append(out, '}'), nil
}

var _ json.Marshaler = object{}
