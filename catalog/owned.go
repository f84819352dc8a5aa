package catalog

import "slices"

var ownedColumns = []string{"part", "pieces"}

// piecesRule says how many pieces of a part there may be.
var piecesRule = rule{"a whole number of pieces, 0 or more", stockRule.valid}

// Own reads a table of the pieces that are there already, in the columns part and
// pieces, and notes them in the lenses ([Lens.Owned]). Every part has to be in the
// lens tables. The error is of type [Faults].
func (c *Catalog) Own(f File) error {
	var faults Faults
	data, ok := readFile(f, "drawer", map[string]string{}, &faults)
	if !ok {
		return faults.Err()
	}
	owned, faults := readOwned(data, f.Shown, c.Lenses)
	if err := faults.Err(); err != nil {
		return err
	}
	for _, l := range c.Lenses {
		l.Owned = owned[l.Part]
	}
	c.Drawer = &Table{File: f.Shown, SHA256: digest(data), Lenses: len(owned)}
	return nil
}

// Drawers is the drawer's table as a list: one, or none.
func (c *Catalog) Drawers() []Table {
	if c.Drawer == nil {
		return nil
	}
	return []Table{*c.Drawer}
}

// readOwned are the pieces by part.
func readOwned(data []byte, shown string, lenses []*Lens) (map[string]int, Faults) {
	t, ok := readTable(data, shown, func(name string) bool { return slices.Contains(ownedColumns, name) }, ownedColumns)
	owned := map[string]int{}
	if !ok {
		return owned, t.faults
	}
	t.requireColumns(ownedColumns...)
	if !t.has("part") || !t.has("pieces") {
		return owned, t.faults
	}
	known := make([]string, len(lenses))
	for i, l := range lenses {
		known[i] = l.Part
	}
	at := map[string]place{}
	for _, r := range t.rows {
		part := r.text("part")
		pieces, whole := r.required("pieces", piecesRule)
		other, twice := at[part]
		switch {
		case part == "":
			r.fault("part", "the cell is empty", "the name of the part")
		case twice:
			r.fault("part", quoted(part)+" is already at "+other.String(), "each part once")
		case !slices.Contains(known, part):
			r.fault("part", "no lens table has "+quoted(part), orNearest("a part of the lens tables", part, known))
		case whole:
			owned[part] = int(pieces)
		}
		at[part] = place{shown, r.line}
	}
	return owned, t.faults
}
