package results

import (
	"errors"
	"fmt"
	"math"
	"unicode/utf8"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
)

// Units that are not a unit of measurement.
const (
	unitOne   = "1"                       // a number without dimension
	unitNone  = "none"                    // not a number
	unitPrice = "currency of the catalog" // whatever the catalog's prices are in
)

// column ties a field of the row type T to a column of the file. It is the one
// description of that column, from which the schema, the writer, the reader, and
// what people are shown of it come.
type column[T any] struct {
	field arrow.Field
	// put appends the row's value to the column's builder. Its error speaks of
	// the value only; the caller names column and row.
	put func(b array.Builder, row *T) error
	// get stores the i-th value of the column's array in the row.
	get func(a arrow.Array, i int, row *T)
	// value is the row's value as a number, false where it is null; nil for a
	// column that holds no numbers.
	value func(row *T) (float64, bool)
	// words are what people call it; empty where its name without the unit does.
	words string
	// decimals is how many of them people are shown.
	decimals int
}

// said is the column with the words by which people call it.
func (c column[T]) said(words string) column[T] {
	c.words = words
	return c
}

// to is the column with another number of decimals than [usualDecimals].
func (c column[T]) to(decimals int) column[T] {
	c.decimals = decimals
	return c
}

// usualDecimals is how many decimals people are shown of a number.
const usualDecimals = 2

// named is the column of a name, nil for none.
func named[T any](columns []column[T], name string) *column[T] {
	for i := range columns {
		if columns[i].field.Name == name {
			return &columns[i]
		}
	}
	return nil
}

// unit is the column's unit of measurement, empty for none.
func (c *column[T]) unit() string {
	unit, _ := c.field.Metadata.GetValue("unit")
	if unit == unitOne || unit == unitNone {
		return ""
	}
	return unit
}

// headUnit is the unit in the head of a table.
func (c *column[T]) headUnit() string {
	if c.unit() == unitPrice {
		return ""
	}
	return c.unit()
}

// text is the row's value as people are shown it.
func (c *column[T]) text(row *T) string {
	value, ok := c.value(row)
	if !ok {
		return Null
	}
	return Fixed(value, c.decimals)
}

var (
	errNaN  = errors.New("is NaN: what does not exist has to be null")
	errUTF8 = errors.New("is not UTF-8 text")
)

// describe makes a field. The metadata's order is fixed, because it shows in
// the file's bytes.
func describe(name string, t arrow.DataType, nullable bool, unit, description string) arrow.Field {
	return arrow.Field{
		Name:     name,
		Type:     t,
		Nullable: nullable,
		Metadata: arrow.NewMetadata([]string{"unit", "description"}, []string{unit, description}),
	}
}

// number is a column that always has a value.
func number[T any](name, unit, description string, of func(*T) *float64) column[T] {
	return column[T]{
		field: describe(name, arrow.PrimitiveTypes.Float64, false, unit, description),
		put: func(b array.Builder, row *T) error {
			x := *of(row)
			if math.IsNaN(x) {
				return errNaN
			}
			b.(*array.Float64Builder).Append(x)
			return nil
		},
		get:      func(a arrow.Array, i int, row *T) { *of(row) = a.(*array.Float64).Value(i) },
		value:    func(row *T) (float64, bool) { return *of(row), true },
		decimals: usualDecimals,
	}
}

// maybe is a number that need not exist: nil is null.
func maybe[T any](name, unit, description string, of func(*T) **float64) column[T] {
	return column[T]{
		field: describe(name, arrow.PrimitiveTypes.Float64, true, unit, description),
		put: func(b array.Builder, row *T) error {
			x := *of(row)
			switch {
			case x == nil:
				b.AppendNull()
			case math.IsNaN(*x):
				return errNaN
			default:
				b.(*array.Float64Builder).Append(*x)
			}
			return nil
		},
		get: func(a arrow.Array, i int, row *T) {
			if a.IsNull(i) {
				*of(row) = nil
				return
			}
			x := a.(*array.Float64).Value(i)
			*of(row) = &x
		},
		value: func(row *T) (float64, bool) {
			if x := *of(row); x != nil {
				return *x, true
			}
			return 0, false
		},
		decimals: usualDecimals,
	}
}

// count is a column of whole numbers, 32 bits in the file.
func count[T any](name, description string, of func(*T) *int) column[T] {
	return column[T]{
		field: describe(name, arrow.PrimitiveTypes.Int32, false, unitOne, description),
		put: func(b array.Builder, row *T) error {
			n := *of(row)
			if n < math.MinInt32 || n > math.MaxInt32 {
				return fmt.Errorf("is %d, which 32 bits do not hold", n)
			}
			b.(*array.Int32Builder).Append(int32(n))
			return nil
		},
		get:   func(a arrow.Array, i int, row *T) { *of(row) = int(a.(*array.Int32).Value(i)) },
		value: func(row *T) (float64, bool) { return float64(*of(row)), true },
	}
}

// label is a column of text, never null.
func label[T any](name, description string, of func(*T) *string) column[T] {
	return column[T]{
		field: describe(name, arrow.BinaryTypes.String, false, unitNone, description),
		put: func(b array.Builder, row *T) error {
			s := *of(row)
			if !utf8.ValidString(s) {
				return errUTF8
			}
			b.(*array.StringBuilder).Append(s)
			return nil
		},
		get: func(a arrow.Array, i int, row *T) { *of(row) = textAt(a, i) },
	}
}

// maybeTexts is a list of texts that need not exist: nil is null, and what is empty
// but not nil an empty list. The texts are nullable in the schema only, as the
// elements of [list] are.
func maybeTexts[T any](name, description, element string, of func(*T) *[]string) column[T] {
	item := describe("element", arrow.BinaryTypes.String, true, unitNone, element)
	return column[T]{
		field: describe(name, arrow.ListOfField(item), true, unitNone, description),
		put: func(b array.Builder, row *T) error {
			lists, all := b.(*array.ListBuilder), *of(row)
			if all == nil {
				lists.AppendNull()
				return nil
			}
			lists.Append(true)
			texts := lists.ValueBuilder().(*array.StringBuilder)
			for i, s := range all {
				if !utf8.ValidString(s) {
					return fmt.Errorf("[%d] %w", i, errUTF8)
				}
				texts.Append(s)
			}
			return nil
		},
		get: func(a arrow.Array, i int, row *T) {
			*of(row) = nil
			if a.IsNull(i) {
				return
			}
			lists := a.(*array.List)
			from, to := lists.ValueOffsets(i)
			all := make([]string, to-from)
			for k := range all {
				all[k] = textAt(lists.ListValues(), int(from)+k)
			}
			*of(row) = all
		},
	}
}

// textAt copies a string out of an array: the array's own points into a buffer
// that holds a whole column.
func textAt(a arrow.Array, i int) string {
	return string([]byte(a.(*array.String).Value(i)))
}

// flag is a column of true and false.
func flag[T any](name, description string, of func(*T) *bool) column[T] {
	return column[T]{
		field: describe(name, arrow.FixedWidthTypes.Boolean, false, unitNone, description),
		put: func(b array.Builder, row *T) error {
			b.(*array.BooleanBuilder).Append(*of(row))
			return nil
		},
		get: func(a arrow.Array, i int, row *T) { *of(row) = a.(*array.Boolean).Value(i) },
	}
}

// list is a column of lists of structs, never null. An empty list reads back
// as nil. Its elements are nullable in the schema, as the Parquet writer makes
// them in the file whatever the schema says; none is ever null.
func list[T, E any](name, description, element string, of func(*T) *[]E, columns []column[E]) column[T] {
	item := describe("element", arrow.StructOf(fieldsOf(columns)...), true, unitNone, element)
	return column[T]{
		field: describe(name, arrow.ListOfField(item), false, unitNone, description),
		put: func(b array.Builder, row *T) error {
			lists := b.(*array.ListBuilder)
			lists.Append(true)
			structs := lists.ValueBuilder().(*array.StructBuilder)
			elements := *of(row)
			for e := range elements {
				structs.Append(true)
				for c := range columns {
					if err := columns[c].put(structs.FieldBuilder(c), &elements[e]); err != nil {
						return fmt.Errorf("[%d].%s %w", e, columns[c].field.Name, err)
					}
				}
			}
			return nil
		},
		get: func(a arrow.Array, i int, row *T) {
			lists := a.(*array.List)
			from, to := lists.ValueOffsets(i)
			if from == to {
				*of(row) = nil
				return
			}
			structs := lists.ListValues().(*array.Struct)
			elements := make([]E, to-from)
			for c := range columns {
				values := structs.Field(c)
				for e := range elements {
					columns[c].get(values, int(from)+e, &elements[e])
				}
			}
			*of(row) = elements
		},
	}
}

// swept is the column of the i-th swept key.
func swept(i int, axis Axis) column[Design] {
	t := map[Kind]arrow.DataType{
		KindFloat:  arrow.PrimitiveTypes.Float64,
		KindString: arrow.BinaryTypes.String,
		KindInt:    arrow.PrimitiveTypes.Int64,
	}[axis.Kind]
	return column[Design]{
		field: describe(axis.Key, t, false, unitOf(axis), "swept key of the spec"),
		put: func(b array.Builder, row *Design) error {
			v := row.Swept[i]
			if v.kind != axis.Kind {
				return fmt.Errorf("is %q of kind %s; this key's values are of kind %s", v, v.kind, axis.Kind)
			}
			switch v.kind {
			case KindString:
				if !utf8.ValidString(v.text) {
					return errUTF8
				}
				b.(*array.StringBuilder).Append(v.text)
			case KindInt:
				b.(*array.Int64Builder).Append(v.whole)
			case KindFloat:
				if math.IsNaN(v.number) {
					return errNaN
				}
				b.(*array.Float64Builder).Append(v.number)
			}
			return nil
		},
		get: func(a arrow.Array, at int, row *Design) {
			var v Value
			switch axis.Kind {
			case KindString:
				v = StringValue(textAt(a, at))
			case KindInt:
				v = IntValue(a.(*array.Int64).Value(at))
			case KindFloat:
				v = FloatValue(a.(*array.Float64).Value(at))
			}
			row.Swept = append(row.Swept, v)
		},
	}
}

// fieldsOf are the columns' fields, in order.
func fieldsOf[T any](columns []column[T]) []arrow.Field {
	fields := make([]arrow.Field, len(columns))
	for i := range columns {
		fields[i] = columns[i].field
	}
	return fields
}
