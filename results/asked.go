package results

import (
	"fmt"
	"slices"
)

// Bound is the side on which a requirement bounds a column.
type Bound string

// The bounds.
const (
	AtMost  Bound = "at_most"
	AtLeast Bound = "at_least"
)

// Asked is a requirement or limit on one column of ranked.parquet, in the
// column's unit. A bound on a signed column is on its magnitude.
type Asked struct {
	Column string  `json:"column"`
	Bound  Bound   `json:"bound"`
	Value  float64 `json:"value"`
}

// AskedOf are the requirements and limits that a column of a design can be held against: of a
// refined one also those that others meet by how their gaps are solved.
func (p *ManifestPoint) AskedOf(d *Design) []Asked {
	if !d.Refined {
		return p.Asked
	}
	return slices.Concat(p.Asked, p.AskedRefined)
}

// Number is the value of a numeric column of the design by the column's name,
// with its unit; ok is false where it is null or there is no such column.
func (d *Design) Number(name string) (value float64, unit string, ok bool) {
	c := named(designColumns, name)
	if c == nil || c.value == nil {
		return 0, "", false
	}
	value, ok = c.value(d)
	return value, c.unit(), ok
}

// Margin is by how much the design keeps the requirement, in the column's
// unit: negative when it does not; ok is false where the column is null.
func (a Asked) Margin(d *Design) (value, margin float64, unit string, ok bool) {
	value, unit, ok = d.Number(a.Column)
	magnitude := value
	if magnitude < 0 {
		magnitude = -magnitude
	}
	if a.Bound == AtMost {
		return value, a.Value - magnitude, unit, ok
	}
	return value, magnitude - a.Value, unit, ok
}

// String is the requirement in words.
func (a Asked) String() string {
	word := "at most"
	if a.Bound == AtLeast {
		word = "at least"
	}
	return fmt.Sprintf("%s %s %g", a.Column, word, a.Value)
}
