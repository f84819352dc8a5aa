package spec

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strings"

	"github.com/BurntSushi/toml"

	"relaysweep/catalog"
)

// Read reads a spec file. The error is [catalog.Faults] with everything
// that is wrong with the file, every sweep point included, except that a
// mistake in the TOML notation hides the rest.
func Read(path string) (*Spec, error) {
	data, err := catalog.ReadFile(path, bytesMost)
	if err != nil {
		return nil, catalog.Faults{{File: path, Found: "cannot be read: " + err.Error(), Want: "a spec file in TOML"}}
	}
	return parse(path, data)
}

// parse reads a spec from the bytes of the file.
func parse(file string, data []byte) (*Spec, error) {
	doc := string(data)
	if fault := textFault(file, data); fault != nil {
		return nil, catalog.Faults{*fault}
	}
	if fault := boundsFault(file, doc); fault != nil {
		return nil, catalog.Faults{*fault}
	}
	var document map[string]any
	meta, err := toml.Decode(doc, &document)
	if err != nil {
		return nil, catalog.Faults{notationFault(file, doc, err)}
	}
	digest := sha256.Sum256(data)
	r := reader{
		file:   file,
		lines:  indexLines(doc),
		spec:   &Spec{File: file, SHA256: hex.EncodeToString(digest[:])},
		given:  map[string]bool{},
		bad:    map[string]bool{},
		ranged: map[string]bool{},
	}
	r.refuseUnknown(document, meta.Keys())
	r.readKeys(document)
	if table, ok := document[sweepSection].(map[string]any); ok {
		r.readAxes(table, meta.Keys())
	}
	r.requireKeys()
	r.spec.stepsGiven = r.given["depth.steps"]
	r.spec.lines = r.lines
	r.spec.settle()
	r.checkRelations()
	if err := r.faults.Err(); err != nil {
		return nil, err
	}
	return r.spec, nil
}

// reader gathers a spec and what is wrong with it.
type reader struct {
	file   string
	lines  lineIndex
	spec   *Spec
	faults catalog.Faults
	given  map[string]bool // keys that the file sets or sweeps
	bad    map[string]bool // keys without a value to go on with
	ranged map[string]bool // keys that are swept by a range
}

func (r *reader) fault(line int, key, found, want string) {
	r.faults = append(r.faults, catalog.Fault{File: r.file, Line: line, Key: key, Found: found, Want: want})
}

// refuseUnknown reports sections and keys that no spec has.
func (r *reader) refuseUnknown(document map[string]any, keys []toml.Key) {
	seen := map[string]bool{}
	for _, path := range keys {
		section := path[0]
		value := document[section]
		_, isTable := value.(map[string]any)
		switch {
		case !isSection(section) && !seen[section]:
			r.unknownSection(section, value)
		case isSection(section) && !isTable && !seen[section]:
			r.fault(r.lines.of(section), section, showMismatch(value), "the section ["+section+"], written once and with single brackets")
			for i := range allKeys {
				if allKeys[i].section == section {
					r.bad[allKeys[i].String()] = true
				}
			}
		}
		seen[section] = true
		if !isSection(section) || !isTable || section == sweepSection || len(path) < 2 {
			continue
		}
		name := section + "." + path[1]
		if keyByName[name] == nil && !seen[name] {
			r.fault(r.lines.of(path[:2]...), showKey(path[:2]...), "unknown key", suggestKey(section, path[1]))
		}
		seen[name] = true
	}
}

func (r *reader) unknownSection(section string, value any) {
	line := r.lines.of(section)
	if _, isTable := value.(map[string]any); isTable {
		want := "one of the sections " + strings.Join(sections(), ", ")
		if near := nearest(section, sections()); len(near) > 0 {
			want = "[" + near[0] + "], the nearest known section"
		}
		r.fault(line, showKey(section), "unknown section", want)
		return
	}
	want := "every key to stand under its section, as in [job]"
	if home := sectionsWith(section); len(home) > 0 {
		want = section + " under " + joinWords(home, "or")
	}
	r.fault(line, showKey(section), "a key outside of any section", want)
}

// suggestKey says what an unknown key might have been meant to be.
func suggestKey(section, name string) string {
	var names []string
	for i := range allKeys {
		if allKeys[i].section == section {
			names = append(names, allKeys[i].name)
		}
	}
	hints := nearest(name, names)
	if home := sectionsWith(name); len(home) > 0 {
		hints = append(hints, name+" under "+joinWords(home, "or"))
	}
	if len(hints) > 0 {
		return joinWords(hints, "or")
	}
	return "one of the keys of [" + section + "]: " + strings.Join(names, ", ")
}

// sectionsWith are the sections that have a key of this name, in brackets.
func sectionsWith(name string) []string {
	var home []string
	for i := range allKeys {
		if allKeys[i].name == name {
			home = append(home, "["+allKeys[i].section+"]")
		}
	}
	return home
}

// sections are the names of all sections in the order of the keys' list.
func sections() []string {
	var names []string
	for i := range allKeys {
		if n := len(names); n == 0 || names[n-1] != allKeys[i].section {
			names = append(names, allKeys[i].section)
		}
	}
	return append(names, sweepSection)
}

func isSection(name string) bool {
	for _, s := range sections() {
		if s == name {
			return true
		}
	}
	return false
}

// readKeys fills the spec with defaults and with what the file says.
func (r *reader) readKeys(document map[string]any) {
	for i := range allKeys {
		k := &allKeys[i]
		k.setDefault(r.spec)
		table, _ := document[k.section].(map[string]any)
		raw, ok := table[k.name]
		if !ok {
			continue
		}
		name := k.String()
		r.given[name] = true
		value, problem := k.value(raw)
		if problem != "" {
			r.bad[name] = true
			r.fault(r.lines.of(k.section, k.name), name, problem, k.want())
			continue
		}
		k.set(r.spec, value)
	}
}

// requireKeys reports mandatory keys that the file neither sets nor sweeps.
func (r *reader) requireKeys() {
	for i := range allKeys {
		k := &allKeys[i]
		name := k.String()
		if k.required() && !r.given[name] && !r.bad[name] {
			r.bad[name] = true
			r.fault(r.lines.of(k.section), name, "missing, and it has no default", k.want())
		}
	}
}

// value turns what the decoder gives into a value of the key's kind, or says
// what is wrong with it.
func (k *specKey) value(raw any) (value any, problem string) {
	switch k.kind() {
	case kindNumber:
		value, problem = toNumber(raw, k.rule.infinite)
	case kindInteger:
		n, ok := raw.(int64)
		if !ok {
			return nil, showMismatch(raw)
		}
		value = n
	case kindText:
		text, ok := raw.(string)
		if !ok {
			return nil, showMismatch(raw)
		}
		value = text
	case kindFlag:
		flag, ok := raw.(bool)
		if !ok {
			return nil, showMismatch(raw)
		}
		value = flag
	case kindNumbers:
		value, problem = toList(raw, func(raw any) (float64, string) { return toNumber(raw, false) })
	case kindTexts:
		value, problem = toList(raw, func(raw any) (string, string) {
			if text, ok := raw.(string); ok {
				return text, ""
			}
			return "", showMismatch(raw)
		})
	}
	if problem == "" {
		problem = k.rule.problem(value)
	}
	return value, problem
}

func toNumber(raw any, infinite bool) (float64, string) {
	switch x := raw.(type) {
	case int64:
		return float64(x), ""
	case float64:
		if math.IsNaN(x) || math.IsInf(x, 0) && !infinite {
			return 0, showFloat(x)
		}
		return x, ""
	}
	return 0, showMismatch(raw)
}

func toList[T any](raw any, element func(any) (T, string)) ([]T, string) {
	list, ok := raw.([]any)
	if !ok {
		return nil, showMismatch(raw)
	}
	values := make([]T, len(list))
	for i, x := range list {
		var problem string
		if values[i], problem = element(x); problem != "" {
			return nil, fmt.Sprintf("%s, the %s of the list", problem, ordinal(i+1))
		}
	}
	return values, ""
}

// checkRelations reports relations between keys that do not hold, on every
// sweep point: one fault for each relation or, where the first of its swept
// keys has a list of values, for each of these.
func (r *reader) checkRelations() {
	type failure struct{ relation, value int }
	reported := map[failure]bool{}
	for n := range r.spec.pointCount() {
		point := r.spec.point(n)
		for i := range relations {
			rel := &relations[i]
			if r.anyBad(rel.keys) || rel.holds(point.Spec) {
				continue
			}
			axis := r.spec.sweptOf(rel.keys)
			f := failure{i, -1}
			if axis >= 0 && !r.ranged[r.spec.Axes[axis].Key] {
				f.value = r.spec.valueIndex(n, axis)
			}
			if !reported[f] {
				reported[f] = true
				r.relationFault(rel, point.Spec, axis)
			}
		}
	}
}

func (r *reader) anyBad(keys []string) bool {
	for _, name := range keys {
		if r.bad[name] {
			return true
		}
	}
	return false
}

// relationFault names the key to blame: the swept one, else the first that the
// file sets.
func (r *reader) relationFault(rel *relation, s *Spec, axis int) {
	path := strings.SplitN(rel.keys[0], ".", 2)
	for _, name := range rel.keys {
		if r.given[name] {
			path = strings.SplitN(name, ".", 2)
			break
		}
	}
	shown := strings.Join(path, ".")
	if axis >= 0 {
		key := r.spec.Axes[axis].Key
		path = []string{sweepSection, key}
		shown = sweptName(key)
	}
	parts := make([]string, len(rel.keys))
	for i, name := range rel.keys {
		k := keyByName[name]
		value := k.get(s)
		if value == nil {
			parts[i] = "no " + k.name
			continue
		}
		parts[i] = k.name + " = " + showValue(value)
		if !r.given[name] {
			parts[i] += " (default)"
		}
	}
	r.fault(r.lines.of(path...), shown, joinWords(parts, "and"), rel.want)
}
