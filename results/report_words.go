package results

import (
	"html"
	"html/template"
	"strings"
)

// spoken are the words by which people call requirements that have no column.
var spoken = map[string]string{
	"focal": "focal lengths", "gap": "gaps", "relief": "eye relief", "aperture": "apertures",
	"clearance": "clearance of the mask", "mask_size": "size of the mask", "parts": "number of parts",
}

// sayName says a column or a requirement in words. One that has no words of its
// own is said by its name, without underlines and the unit.
func sayName(name string) string {
	if c := named(designColumns, name); c != nil && c.words != "" {
		return c.words
	}
	if words, known := spoken[name]; known {
		return words
	}
	return strings.ReplaceAll(withoutUnit(name), "_", " ")
}

// ColumnWords are the words by which people call a column of ranked.parquet, and
// its unit, empty for none.
func ColumnWords(name string) (words, unit string) {
	if c := named(designColumns, name); c != nil {
		unit = c.headUnit()
	}
	return sayName(name), unit
}

// withoutUnit takes from a name the letters that tell its unit.
func withoutUnit(name string) string {
	for _, u := range unitSuffixes {
		if short, has := strings.CutSuffix(name, u.suffix); has && strings.HasPrefix(u.suffix, "_") {
			return short
		}
	}
	return name
}

// sayKey says a key of the spec in words, without its unit.
func sayKey(key string) string {
	section, name, found := strings.Cut(key, ".")
	if !found {
		return sayName(key)
	}
	switch section {
	case "limits":
		return "limit on " + sayName(name)
	case "train", "catalog", "search", "job", "ideal":
		// Their names say enough.
		return strings.ReplaceAll(withoutUnit(name), "_", " ")
	}
	return section + " " + strings.ReplaceAll(withoutUnit(name), "_", " ")
}

// sayAxis says a swept key with its value and unit.
func sayAxis(a Axis, v Value) string {
	said := sayKey(a.Key) + " " + v.String()
	if u := axisUnit(a); u != "" {
		said += " " + u
	}
	return said
}

// axisUnit is the unit of a swept key, empty for none.
func axisUnit(a Axis) string {
	switch u := unitOf(a); u {
	case unitOne, unitNone, unitPrice:
		return ""
	default:
		return u
	}
}

// withKey is words with the name that files and specs use as a tooltip.
func withKey(words, key string) template.HTML {
	return template.HTML(`<span title="`+html.EscapeString(printable(key))+`">`) + breakable(words) + `</span>`
}

// saidName is a column or requirement in words, with its name as a tooltip.
func saidName(name string) template.HTML { return withKey(sayName(name), name) }

// standing says how sure a design's place in the ranking is. What is screened is so
// even where the run is unfinished: nothing that comes can stand before it.
func (r *Report) standing(d *Design) string {
	switch {
	case len(d.Fails) > 0:
		return "fails"
	case d.Fails != nil:
		return "given"
	case d.Exact && r.Manifest.Complete:
		return "proven"
	case d.Screened:
		return "screened"
	case !r.Manifest.Complete:
		return "so far"
	case d.Refined:
		return "refined"
	}
	return "found"
}
