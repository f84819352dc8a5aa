package catalog

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

const (
	maxElements = 3
	maxOrder    = 20 // of an aspheric term

	// clearFraction of the diameter is the clear diameter of a part that lists
	// none (common practice).
	clearFraction = 0.9
)

var lensColumns = []string{
	"part", "vendor", "kind", "diameter_mm", "clear_mm",
	"r1_mm", "t1_mm", "glass1", "r2_mm", "t2_mm", "glass2", "r3_mm", "t3_mm", "glass3", "r4_mm",
	"k1", "k2", "k3", "k4", "a4_1", "a6_1", "a8_1", "a4_2", "a6_2", "a8_2",
	"loss_pct", "density", "price", "efl_mm", "bfl_mm", "stock", "pitch_mm", "draft_deg",
}

// ReadLenses reads the bytes of a lens table that the user named as shown.
// Warnings are for published focal lengths that a prescription does not give,
// and for unlikely sizes.
// With faults the lenses are those without any.
func ReadLenses(data []byte, shown string, glasses *GlassTable) (lenses []*Lens, warnings []Fault, faults Faults) {
	r := newLensReader(glasses)
	r.read(data, shown)
	return r.lenses, r.warnings, r.faults
}

// lensReader reads lens tables one after the other.
type lensReader struct {
	glasses  *GlassTable
	found    map[string]*Glass // by the name used; one object for each code
	meant    func(name string) bool
	seen     map[string]place // by part, also of rows with faults
	lenses   []*Lens
	warnings []Fault
	faults   Faults
	// doubtful and faulty are findings of the table in hand that are told by
	// their kind.
	doubtful, faulty []noted
}

func newLensReader(glasses *GlassTable) *lensReader {
	return &lensReader{
		glasses: glasses,
		found:   map[string]*Glass{},
		meant:   func(string) bool { return false },
		seen:    map[string]place{},
	}
}

// asphereColumn is a column of aspheric terms.
type asphereColumn struct {
	name    string
	surface int // from 1
	order   int
}

// parseAsphere reads a column name such as a4_1.
func parseAsphere(name string) (asphereColumn, bool) {
	rest, ok := strings.CutPrefix(name, "a")
	order, surface, ok2 := strings.Cut(rest, "_")
	if !ok || !ok2 {
		return asphereColumn{}, false
	}
	n, err1 := strconv.Atoi(order)
	s, err2 := strconv.Atoi(surface)
	c := asphereColumn{name: name, surface: s, order: n}
	valid := err1 == nil && err2 == nil && n >= 4 && n <= maxOrder && n%2 == 0 && s >= 1 && s <= maxElements+1 &&
		name == fmt.Sprintf("a%d_%d", n, s) // no second spelling
	return c, valid
}

func knownLensColumn(name string) bool {
	_, asphere := parseAsphere(name)
	return asphere || slices.Contains(lensColumns, name)
}

// elementColumns are thickness, glass and second radius of element s, from 1.
func elementColumns(s int) []string {
	return []string{fmt.Sprintf("t%d_mm", s), fmt.Sprintf("glass%d", s), fmt.Sprintf("r%d_mm", s+1)}
}

func radiusColumn(surface int) string { return fmt.Sprintf("r%d_mm", surface) }
func conicColumn(surface int) string  { return fmt.Sprintf("k%d", surface) }

func (lr *lensReader) read(data []byte, shown string) {
	t, ok := readTable(data, shown, knownLensColumn, lensColumns)
	if ok {
		before := len(lr.lenses)
		lr.rows(t)
		lr.checkSizes(lr.lenses[before:])
	}
	lr.faults = append(append(lr.faults, t.faults...), gather(shown, lr.faulty)...)
	lr.warnings = append(lr.warnings, gather(shown, lr.doubtful)...)
	lr.faulty, lr.doubtful = nil, nil
}

func (lr *lensReader) rows(t *table) {
	t.requireColumns("part", "diameter_mm", "r1_mm", "t1_mm", "glass1", "r2_mm")
	for s := maxElements; s >= 2; s-- {
		// A column of an element calls for its others and for the elements
		// before it.
		if !slices.ContainsFunc(elementColumns(s), t.has) {
			continue
		}
		for e := 2; e <= s; e++ {
			t.requireColumns(elementColumns(e)...)
		}
		break
	}
	var aspheres []asphereColumn
	for i, name := range t.header {
		if at, ok := t.columns[name]; !ok || at != i {
			continue // at fault already
		}
		surface := 0
		if c, ok := parseAsphere(name); ok {
			aspheres = append(aspheres, c)
			surface = c.surface
		} else if number, ok := strings.CutPrefix(name, "k"); ok {
			surface, _ = strconv.Atoi(number)
		}
		if surface > 2 && !t.has(radiusColumn(surface)) {
			t.fault(t.line, name, fmt.Sprintf("the table has no surface %d", surface),
				"a column "+radiusColumn(surface)+", or none of this name")
		}
	}
	if len(t.rows) == 0 && len(t.faults) == 0 {
		t.fault(t.line, "", "the table holds no lens", "one row a part below the header")
	}
	for _, r := range t.rows {
		lr.row(r, aspheres)
	}
}

// row reads one part. It goes on after a fault, so that all are told.
func (lr *lensReader) row(r *row, aspheres []asphereColumn) {
	before := len(r.table.faults)
	l := &Lens{
		Part: r.raw("part"), Vendor: r.text("vendor"), Kind: r.text("kind"),
		File: r.table.file, Line: r.line, Stock: Unlimited,
	}
	if r.table.has("part") {
		lr.checkPart(r, l.Part)
	}
	for _, column := range []string{"vendor", "kind"} {
		if text := r.text(column); strings.ContainsFunc(text, IsHidden) {
			r.fault(column, quoted(text)+" holds a control character", "printable characters")
		}
	}
	whole := lr.readShape(r, l, aspheres)

	l.LossPct, _ = r.number("loss_pct", lossRule)
	l.Density, _ = r.number("density", densityRule)
	l.Price, _ = r.number("price", priceRule)
	l.EFLMM, _ = r.number("efl_mm", focalRule)
	l.BFLMM, _ = r.number("bfl_mm", backFocalRule)
	if stock, _ := r.number("stock", stockRule); IsSet(stock) {
		l.Stock = int(stock)
	}
	if lr.readFacets(r, l, whole) && whole {
		checkShape(r, l, aspheres)
	}
	if len(r.table.faults) == before && whole && l.Part != "" && !slices.Contains(l.Glasses, nil) {
		if lr.checkFocalLengths(r, l) {
			lr.lenses = append(lr.lenses, l)
		}
	}
}

// checkPart keeps names out that would make the name of a design ambiguous:
// there + joins lenses, | joins groups and /r marks a lens turned round.
func (lr *lensReader) checkPart(r *row, part string) {
	bad := func(found, want string) { r.fault("part", quoted(part)+found, want) }
	switch {
	case strings.TrimSpace(part) == "":
		r.fault("part", "the cell is empty", "the name of the part")
		return
	case strings.TrimSpace(part) != part:
		bad(" has a space at one end", "a name that starts and ends with something visible")
	case strings.ContainsFunc(part, IsHidden):
		bad(" holds a control character", "a name of printable characters")
	}
	if strings.ContainsAny(part, "+|") {
		bad(" holds + or |, which join the parts of a design", "a name without + and |")
	}
	if strings.HasSuffix(part, "/r") {
		bad(" ends in /r, which marks a lens turned round", "a name with another ending")
	}
	if other, twice := lr.seen[part]; twice {
		bad(" is already at "+other.String(), "each part once over all lens tables")
		return
	}
	lr.seen[part] = place{r.table.file, r.line}
}

// readShape reads diameters, surfaces, thicknesses and glasses. It is false
// when a number among them is missing or wrong; an unknown glass stays nil.
func (lr *lensReader) readShape(r *row, l *Lens, aspheres []asphereColumn) bool {
	var ok, whole bool
	l.DiameterMM, whole = r.required("diameter_mm", sizeRule)
	l.ClearMM, ok = r.number("clear_mm", sizeRule)
	switch {
	case whole && ok && !IsSet(l.ClearMM):
		l.ClearMM = clearFraction * l.DiameterMM
	case whole && l.ClearMM > l.DiameterMM:
		r.fault("clear_mm", fmt.Sprintf("%g is more than the diameter of %g", l.ClearMM, l.DiameterMM),
			"a clear diameter of at most diameter_mm")
	}
	whole = whole && ok

	elements, contiguous := countElements(r)
	whole = whole && contiguous
	radius := func(surface int) {
		x, ok := r.required(radiusColumn(surface), radiusRule)
		if math.IsInf(x, -1) {
			x = math.Inf(1)
		}
		whole = whole && ok
		l.Surfaces = append(l.Surfaces, Surface{RadiusMM: x})
	}
	radius(1)
	for s := 1; s <= elements; s++ {
		columns := elementColumns(s)
		t, ok := r.required(columns[0], sizeRule)
		whole = whole && ok
		l.ThicknessMM = append(l.ThicknessMM, t)
		l.Glasses = append(l.Glasses, lr.glass(r, columns[1]))
		radius(s + 1)
	}
	surfaceExists := func(column string, surface int) bool {
		if surface <= len(l.Surfaces) {
			return true
		}
		// Without the column of its radius the header is at fault already.
		if r.text(column) != "" && r.table.has(radiusColumn(surface)) && contiguous {
			r.fault(column, fmt.Sprintf("the lens has no surface %d", surface),
				fmt.Sprintf("an empty cell, or the radius of surface %d in %s", surface, radiusColumn(surface)))
		}
		return false
	}
	for surface := 1; surface <= maxElements+1; surface++ {
		if column := conicColumn(surface); surfaceExists(column, surface) {
			k, ok := r.number(column, conicRule)
			whole = whole && ok
			if IsSet(k) {
				l.Surfaces[surface-1].Conic = k
			}
		}
	}
	for _, c := range aspheres {
		if !surfaceExists(c.name, c.surface) {
			continue
		}
		a, ok := r.number(c.name, asphereRule)
		whole = whole && ok
		if IsSet(a) && a != 0 {
			s := &l.Surfaces[c.surface-1]
			i := (c.order - 4) / 2
			for len(s.Asphere) <= i {
				s.Asphere = append(s.Asphere, 0)
			}
			s.Asphere[i] = a
		}
	}
	return whole
}

// countElements is the number of glasses of the row, and whether none is left
// out before the last.
func countElements(r *row) (n int, contiguous bool) {
	n, contiguous = 1, true
	filled := func(column string) bool { return r.text(column) != "" }
	for s := 2; s <= maxElements; s++ {
		columns := elementColumns(s)
		i := slices.IndexFunc(columns, filled)
		switch {
		case i < 0:
		case n < s-1:
			r.fault(columns[i], fmt.Sprintf("glass %d is there, but glass %d is not", s, s-1),
				"glasses in order, without an empty one between")
			contiguous = false
		default:
			n = s
		}
	}
	return n, contiguous
}

// glass finds the glass that a cell names. It is nil, with a fault, when there
// is none; and nil without one when a glass table meant it but is at fault
// itself.
func (lr *lensReader) glass(r *row, column string) *Glass {
	if !r.table.has(column) {
		return nil
	}
	name := r.text(column)
	if name == "" {
		r.fault(column, "the cell is empty", "the name of a glass, or a six-digit code as 517642")
		return nil
	}
	if g := lr.found[name]; g != nil {
		return g
	}
	if lr.meant(name) {
		return nil
	}
	g := lr.glasses.Find(name)
	if g == nil {
		r.fault(column, quoted(name)+" is no known glass",
			orNearest("a glass of the built-in or your own tables, or a six-digit code as 517642", name, lr.glasses.names()))
		return nil
	}
	lr.found[name] = g
	return g
}
