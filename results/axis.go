package results

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Kind is the type of a swept key's values.
type Kind uint8

// The kinds of values that can be swept, with the Parquet types they become.
const (
	KindFloat  Kind = iota // double
	KindString             // string
	KindInt                // int64
)

func (k Kind) String() string {
	switch k {
	case KindFloat:
		return "number"
	case KindString:
		return "string"
	case KindInt:
		return "integer"
	}
	return "unknown kind " + strconv.Itoa(int(k))
}

// Axis is one swept key of a run, such as field.width_deg.
type Axis struct {
	Key  string
	Kind Kind
}

// Value is one value of a swept key. Two values are equal (==) when kind and
// value are.
type Value struct {
	kind   Kind
	number float64
	whole  int64
	text   string
}

// FloatValue is a value of a KindFloat axis.
func FloatValue(x float64) Value { return Value{kind: KindFloat, number: x} }

// StringValue is a value of a KindString axis.
func StringValue(s string) Value { return Value{kind: KindString, text: s} }

// IntValue is a value of a KindInt axis.
func IntValue(n int64) Value { return Value{kind: KindInt, whole: n} }

// Kind is the kind of the value.
func (v Value) Kind() Kind { return v.kind }

// Any is the value as a float64, string or int64.
func (v Value) Any() any {
	switch v.kind {
	case KindString:
		return v.text
	case KindInt:
		return v.whole
	}
	return v.number
}

// String is the value as people read it: the shortest decimal of a number, inf
// for infinity.
func (v Value) String() string {
	switch v.kind {
	case KindString:
		return v.text
	case KindInt:
		return strconv.FormatInt(v.whole, 10)
	}
	switch {
	case math.IsInf(v.number, 1):
		return "inf"
	case math.IsInf(v.number, -1):
		return "-inf"
	}
	return strconv.FormatFloat(v.number, 'g', -1, 64)
}

// unitSuffixes gives the unit that a key's last letters tell. Longer suffixes
// stand before those that they end with.
var unitSuffixes = []struct{ suffix, unit string }{
	{"_mm_s", "mm/s"},
	{"_mm", "mm"},
	{"_um", "um"},
	{"_nm", "nm"},
	{"_m", "m"},
	{"_arcmin", "arcmin"},
	{"_deg", "deg"},
	{"_D", "D"},
	{"_pct", "%"},
	{"_gb", "GB"},
	{"_g", "g"},
	{".price", unitPrice},
	{"price_max", unitPrice},
}

// unitOf is the unit of a swept key.
func unitOf(a Axis) string {
	if a.Kind != KindFloat && a.Kind != KindInt {
		return unitNone
	}
	for _, u := range unitSuffixes {
		if strings.HasSuffix(a.Key, u.suffix) {
			return u.unit
		}
	}
	return unitOne
}

// checkAxes refuses axes that cannot become columns.
func checkAxes(axes []Axis) error {
	taken := make(map[string]bool)
	for _, c := range designColumns {
		taken[c.field.Name] = true
	}
	for _, a := range axes {
		switch {
		case a.Key == "":
			return fmt.Errorf("a swept key has no name")
		case taken[a.Key]:
			return fmt.Errorf("the swept key %q is the name of another column", a.Key)
		case a.Kind > KindInt:
			return fmt.Errorf("the swept key %q has an %s", a.Key, a.Kind)
		}
		taken[a.Key] = true
	}
	return nil
}
