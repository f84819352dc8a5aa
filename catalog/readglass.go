package catalog

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

var (
	sellmeierColumns = []string{"B1", "B2", "B3", "C1", "C2", "C3"}
	glassColumns     = slices.Concat([]string{"glass", "code"}, sellmeierColumns,
		[]string{"nd", "Vd", "density", "source"})
)

// Published nd and Vd beside Sellmeier coefficients may differ from the
// computed ones by this much before a warning: nd may be printed to three
// decimals, Vd to whole numbers of 25 or more, each off by half a unit.
const (
	ndMismatch      = 1e-3
	vdMismatchRatio = 0.02
)

// ReadGlasses reads the bytes of a glass table that the user named as shown.
// Warnings are for published nd or Vd that the coefficients do not give. With
// faults the glasses are those without any.
func ReadGlasses(data []byte, shown string) (glasses []*Glass, warnings []Fault, faults Faults) {
	r := newGlassReader()
	r.read(data, shown)
	return r.glasses, r.warnings, r.faults
}

// place is where a name stands.
type place struct {
	file string
	line int
}

func (p place) String() string { return fmt.Sprintf("%s:%d", p.file, p.line) }

// glassReader reads glass tables one after the other.
type glassReader struct {
	glasses  []*Glass
	warnings []Fault
	faults   Faults
	seen     map[string]place // by folded name, also of rows with faults
	// incomplete is set when a table could not be read at all, so that more
	// names may be meant to exist than were seen.
	incomplete bool
}

func newGlassReader() *glassReader { return &glassReader{seen: map[string]place{}} }

func (gr *glassReader) read(data []byte, shown string) {
	known := func(name string) bool { return slices.Contains(glassColumns, name) }
	t, ok := readTable(data, shown, known, glassColumns)
	if ok {
		t.requireColumns("glass")
		switch {
		case slices.ContainsFunc(sellmeierColumns, t.has):
			t.requireColumns(sellmeierColumns...)
		default:
			t.requireColumns("nd", "Vd")
		}
		if len(t.rows) == 0 && len(t.faults) == 0 {
			t.fault(t.line, "", "the table holds no glass", "one row a glass below the header")
		}
		for _, r := range t.rows {
			gr.row(r)
		}
	}
	gr.incomplete = gr.incomplete || !ok || !t.has("glass")
	gr.faults = append(gr.faults, t.faults...)
}

func (gr *glassReader) row(r *row) {
	before := len(r.table.faults)
	name := r.text("glass")
	if r.table.has("glass") {
		gr.checkName(r, name)
	}
	code := r.text("code")
	if code != "" && glassOfCode(code) == nil {
		r.fault("code", quoted(code)+" is no six-digit code",
			"three decimals of nd, then Vd times ten, as 517642 for nd 1.517 and Vd 64.2")
	}
	density, _ := r.number("density", densityRule)
	d := gr.dispersion(r)
	if len(r.table.faults) > before || name == "" || d == nil {
		return
	}
	g := newGlass(name, d, density, r.text("source"))
	if code != "" {
		g.Code = code
	}
	gr.glasses = append(gr.glasses, g)
}

func (gr *glassReader) checkName(r *row, name string) {
	if name == "" {
		r.fault("glass", "the cell is empty", "the name of the glass")
		return
	}
	if strings.ContainsFunc(name, IsHidden) {
		r.fault("glass", quoted(name)+" holds a control character", "a name of printable characters")
	}
	if other, twice := gr.seen[foldName(name)]; twice {
		r.fault("glass", fmt.Sprintf("%s is already at %s", quoted(name), other),
			"each name once over all glass tables, upper and lower case being the same")
		return
	}
	gr.seen[foldName(name)] = place{r.table.file, r.line}
}

// dispersion is that of the row: from its Sellmeier coefficients if any are
// filled in, else from nd and Vd. Nil after a fault, or when columns that the
// header lacks would be needed.
func (gr *glassReader) dispersion(r *row) dispersion {
	filled := func(column string) bool { return r.text(column) != "" }
	if !slices.ContainsFunc(sellmeierColumns, filled) && r.table.has("nd") && r.table.has("Vd") {
		nd, ok1 := r.required("nd", ndRule)
		vd, ok2 := r.required("Vd", vdRule)
		if !ok1 || !ok2 {
			return nil
		}
		return newCauchy(nd, vd)
	}
	var s sellmeier
	complete := true
	for i := range 3 {
		var ok bool
		s.b[i], ok = r.required(sellmeierColumns[i], coefficientRule)
		complete = complete && ok
		s.c[i], ok = r.required(sellmeierColumns[i+3], coefficientRule)
		complete = complete && ok
	}
	nd, ok1 := r.number("nd", ndRule)
	vd, ok2 := r.number("Vd", vdRule)
	if !complete || !ok1 || !ok2 {
		return nil
	}
	g := newGlass("", s, Unset, "")
	if !isTransparent(s) || !ndRule.valid(g.Nd()) || !vdRule.valid(g.Vd()) {
		r.fault("B1", fmt.Sprintf("with these coefficients nd is %.5g and Vd %.4g", g.Nd(), g.Vd()),
			"B1 to C3 that give an index between 1 and 3 that falls with the wavelength from 400 to 700 nm, for λ in µm and C in µm²")
		return nil
	}
	gr.checkPublished(r, "nd", nd, g.Nd(), ndMismatch)
	gr.checkPublished(r, "Vd", vd, g.Vd(), vdMismatchRatio*vd)
	return s
}

// isTransparent reports whether the index is real, above 1 and falling with the
// wavelength over the visible range.
func isTransparent(d dispersion) bool {
	last := math.Inf(1)
	for nm := 400; nm <= 700; nm += 5 {
		n := d.index(float64(nm) / 1000)
		if !(n > 1 && n < last) {
			return false
		}
		last = n
	}
	return true
}

func (gr *glassReader) checkPublished(r *row, column string, published, computed, tolerance float64) {
	if IsSet(published) && math.Abs(computed-published) > tolerance {
		gr.warnings = append(gr.warnings, Fault{
			File: r.table.file, Line: r.line, Key: column,
			Found: fmt.Sprintf("glass %s: published %g, but the coefficients give %.6g", quoted(r.text("glass")), published, computed),
			Want:  "coefficients that give the published value: compare them with the data sheet",
		})
	}
}
