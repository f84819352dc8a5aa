package spec

import (
	"fmt"
	"strconv"

	"github.com/BurntSushi/toml"
)

// Axis is one swept key with the values that it takes.
type Axis struct {
	Key string // section.key
	// Values are all float64, all int64 or all string, in the file's order.
	Values []any
}

// Point is one combination of the swept values.
type Point struct {
	Index  int   // from 0; the first axis varies slowest
	Values []any // one an axis
	Spec   *Spec // the spec with these values, without axes
}

// sweepSection is the section that holds the swept keys.
const sweepSection = "sweep"

// pointsMost bounds the grid: a larger one is a slip, not a job.
const pointsMost = 100_000

// Grid is all the sweep points, one for a spec that sweeps nothing. Their
// specs share lists with s.
func (s *Spec) Grid() []Point {
	points := make([]Point, s.pointCount())
	for i := range points {
		points[i] = s.point(i)
	}
	return points
}

func (s *Spec) pointCount() int {
	n := 1
	for _, a := range s.Axes {
		n *= len(a.Values)
	}
	return n
}

func (s *Spec) point(index int) Point {
	spec := *s
	spec.Axes = nil
	p := Point{Index: index, Values: make([]any, len(s.Axes)), Spec: &spec}
	for i, a := range s.Axes {
		p.Values[i] = a.Values[s.valueIndex(index, i)]
		keyByName[a.Key].set(&spec, p.Values[i])
	}
	spec.settle()
	return p
}

// valueIndex tells which value of an axis a point has.
func (s *Spec) valueIndex(point, axis int) int {
	for _, a := range s.Axes[axis+1:] {
		point /= len(a.Values)
	}
	return point % len(s.Axes[axis].Values)
}

// sweptOf is the axis of the first of the keys that is swept, -1 for none.
func (s *Spec) sweptOf(keys []string) int {
	for _, name := range keys {
		for i, a := range s.Axes {
			if a.Key == name {
				return i
			}
		}
	}
	return -1
}

// sweptName is how messages call a swept key.
func sweptName(key string) string { return sweepSection + "." + strconv.Quote(key) }

// readAxes reads the section [sweep] in the order in which it is written.
func (r *reader) readAxes(table map[string]any, keys []toml.Key) {
	seen := map[string]bool{}
	for _, path := range keys {
		if path[0] != sweepSection || len(path) < 2 || seen[path[1]] {
			continue
		}
		seen[path[1]] = true
		if axis, ok := r.readAxis(path[1], table[path[1]]); ok {
			r.spec.Axes = append(r.spec.Axes, axis)
		}
	}
	points := 1.0
	for _, a := range r.spec.Axes {
		points *= float64(len(a.Values))
	}
	if points > pointsMost {
		r.fault(r.lines.of(sweepSection), sweepSection, fmt.Sprintf("%.15g sweep points", points),
			fmt.Sprintf("at most %d, the product of the numbers of values", pointsMost))
		// The relations are still checked at the first value of every axis.
		for i := range r.spec.Axes {
			r.spec.Axes[i].Values = r.spec.Axes[i].Values[:1]
		}
	}
}

// readAxis reads one swept key. An axis with a fault comes back with those of
// its values that are right.
func (r *reader) readAxis(name string, raw any) (Axis, bool) {
	shown := sweptName(name)
	line := r.lines.of(sweepSection, name)
	k := keyByName[name]
	if k == nil || !k.sweepable() {
		found, want := refuseAxis(name, raw)
		r.fault(line, shown, found, want)
		return Axis{}, false
	}
	written := r.given[name]
	r.given[name] = true
	list, isList := raw.([]any)
	table, isRange := raw.(map[string]any)
	switch {
	case isRange:
		r.ranged[name] = true
		list = r.readRange(k, table)
	case !isList:
		r.fault(line, shown, showMismatch(raw), "a list of values, as [1, 2], or a range, as { from = 1, to = 2, steps = 3 }")
	case len(list) == 0:
		r.fault(line, shown, "an empty list", "at least one value")
	}
	axis := Axis{Key: name}
	taken := map[any]bool{}
	for _, x := range list {
		value, problem := k.value(x)
		switch {
		case problem != "":
			r.fault(line, shown, problem, k.want())
		case taken[value]:
			r.fault(line, shown, showValue(value)+" stands among the values twice", "each value once")
		default:
			taken[value] = true
			axis.Values = append(axis.Values, value)
			continue
		}
		if isRange {
			break // one fault tells all of a range
		}
	}
	if len(axis.Values) == 0 {
		r.bad[name] = true
		return Axis{}, false
	}
	// A mandatory key that the file only sweeps has its first value in the spec.
	if k.required() && !written {
		k.set(r.spec, axis.Values[0])
	}
	return axis, true
}

// refuseAxis says why a key cannot be swept, and what could.
func refuseAxis(name string, raw any) (found, want string) {
	if k := keyByName[name]; k != nil {
		if k.section == "job" {
			return "keys of [job] cannot be swept", "a number or text of another section"
		}
		return "a list cannot be swept", "a key that has one number or text"
	}
	if table, ok := raw.(map[string]any); ok && isSection(name) {
		for _, k := range allKeys {
			if _, ok := table[k.name]; ok && k.section == name {
				return "a swept key without quotes", strconv.Quote(k.String())
			}
		}
	}
	var names []string
	for i := range allKeys {
		if k := &allKeys[i]; k.sweepable() {
			if k.name == name {
				return "a swept key without its section", strconv.Quote(k.String())
			}
			names = append(names, k.String())
		}
	}
	if near := nearest(name, names); len(near) > 0 {
		return "unknown key", strconv.Quote(near[0]) + ", the nearest key that can be swept"
	}
	return "unknown key", `a key of the spec with its section, in quotes, as "field.width_deg"`
}
