package results

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math/big"
	"slices"
	"strings"
)

// PrintProof prints in words what a run knows of one sweep point: the space,
// what became of its designs, the proven length, and when nothing passed, how
// far each requirement is from letting something pass.
func PrintProof(w io.Writer, p *ManifestPoint) error {
	var b strings.Builder
	if len(p.Values) > 0 {
		values := make([]string, len(p.Values))
		for i, v := range p.Values {
			values[i] = fmt.Sprintf("%s = %s", v.Key, v.Value)
		}
		fmt.Fprintf(&b, "point %d: %s\n", p.Point, strings.Join(values, ", "))
	}
	fmt.Fprintf(&b, "%s designs; examined %d, checked by rays %d, passed %d\n", countOf(p.Space), p.Examined, p.Checked, p.Passed)
	proven := "proven"
	if p.Refined != nil {
		proven = "proven, at paraxial gaps"
	}
	switch {
	case p.Optimized != nil:
		printOptimized(&b, p)
	case p.ProvenLengthMM != nil && p.Passed > 0:
		fmt.Fprintf(&b, "%s: no other design is shorter than %.6f mm\n", proven, *p.ProvenLengthMM)
	case p.ProvenLengthMM != nil:
		fmt.Fprintf(&b, "%s: no design shorter than %.6f mm passes\n", proven, *p.ProvenLengthMM)
	case p.WholeSpace:
		fmt.Fprintf(&b, "%s: the whole space was searched, no other design passes\n", proven)
	}
	if r := p.Refined; r != nil {
		fmt.Fprintf(&b, "refined by exact rays: %d candidates, %d then pass\n", r.Candidates, r.Passed)
	}
	if line := p.IdealLimit.Line(); line != "" {
		fmt.Fprintln(&b, line)
	}
	if !p.Exact && p.Optimized == nil {
		fmt.Fprintln(&b, "not exact: the search ended before the ranking was full")
	}
	printCounts(&b, "turned away", p.Failed)
	printCounts(&b, "set aside by bounds", p.SetAside)
	if p.Nothing() {
		printWouldFit(&b, p)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// printOptimized prints how good a population search is known to be.
func printOptimized(b *strings.Builder, p *ManifestPoint) {
	o := p.Optimized
	found := "nothing that passes was found"
	if o.BestMM != nil {
		at := int64(0)
		if n := len(o.History); n > 0 {
			at = o.History[n-1].Evaluations
		}
		found = fmt.Sprintf("the shortest found has %.6f mm, first met after %d", *o.BestMM, at)
	}
	fmt.Fprintf(b, "not exact: %s of %d evaluations of a population search\n", found, o.Evaluations)
	if n := o.Nearest; n != nil {
		fmt.Fprintf(b, "nearest to passing: %s, turned away by %s\n", n.DesignID, n.Failed)
		for _, name := range slices.Sorted(maps.Keys(n.Exceeds)) {
			fmt.Fprintf(b, "  %s: %s, asked for at most %s\n", name, measured(n.Exceeds[name]), askedFor(p, name))
		}
	}
	switch {
	case p.WholeSpace:
		fmt.Fprintln(b, "proven: no design passes at all")
	case o.LowerBoundMM == nil:
		fmt.Fprintln(b, "nothing is proven: the groups are too many to bound what was missed")
	case o.GapMM != nil && *o.GapMM <= 0:
		fmt.Fprintln(b, "proven all the same: no design that passes is shorter than that")
	case o.GapMM != nil:
		fmt.Fprintf(b, "proven: no design shorter than %.6f mm passes, %.2f mm (%.1f %%) below the shortest found\n",
			*o.LowerBoundMM, *o.GapMM, 100**o.GapMM / *o.BestMM)
	default:
		fmt.Fprintf(b, "proven: no design shorter than %.6f mm passes\n", *o.LowerBoundMM)
	}
}

// measured is a value that was measured.
func measured(x *float64) string {
	if x == nil {
		return "rays are lost"
	}
	return fmt.Sprintf("%.4g", *x)
}

// askedFor is the limit on a column.
func askedFor(p *ManifestPoint, column string) string {
	for _, a := range p.Asked {
		if a.Column == column {
			return fmt.Sprintf("%.4g", a.Value)
		}
	}
	return "-"
}

// printCounts prints counts by name, the largest first.
func printCounts(b *strings.Builder, what string, counts map[string]*big.Int) {
	if len(counts) == 0 {
		return
	}
	names := slices.SortedFunc(maps.Keys(counts), func(x, y string) int {
		return cmp.Or(counts[y].Cmp(counts[x]), strings.Compare(x, y))
	})
	parts := make([]string, len(names))
	for i, name := range names {
		parts[i] = fmt.Sprintf("%s %s", name, countOf(counts[name].String()))
	}
	fmt.Fprintf(b, "%s: %s\n", what, strings.Join(parts, ", "))
}

// countOf is a decimal integer, shortened to its power of ten where it is long.
func countOf(digits string) string {
	const most = 9
	if len(digits) <= most {
		return digits
	}
	n, ok := new(big.Float).SetString(digits)
	if !ok {
		return digits
	}
	return n.Text('g', 3)
}

// fitUnits are the keys and units of the spec in which an easing is told.
var fitUnits = map[string]string{
	"gap": "train.group_gap_min_mm", "length": "train.length_max_mm", "relief": "eye.relief_min_mm",
	"aperture":  "field.width_deg, the height in proportion",
	"clearance": "mask.clearance_mm", "travel": "stage.travel_mm",
	"mask_size": "mask.width_mm, the height in proportion", "parts": "train.lenses_max",
	"magnification": "train.magnification_tol",
}

// lengthAt is the length of the design that passes with a requirement eased.
func lengthAt(p *ManifestPoint, name string) string {
	length, known := p.WouldFitLengthMM[name]
	if !known {
		return "-"
	}
	return Fixed(length, 2)
}

// printWouldFit prints, for each requirement and limit, the nearest value at
// which a first design would pass.
func printWouldFit(b *strings.Builder, p *ManifestPoint) {
	if len(p.WouldFit) == 0 {
		return
	}
	t := Table{Columns: []Column{
		{Name: "eased alone", Align: Left}, {Name: "passes at"}, {Name: "length", Unit: "mm"}, {Name: "key of the spec", Align: Left},
	}}
	var never, open []string
	for _, name := range slices.Sorted(maps.Keys(p.WouldFit)) {
		value := p.WouldFit[name]
		unsettled := slices.Contains(p.WouldFitOpen, name)
		switch {
		case value == nil && unsettled:
			open = append(open, name)
			continue
		case value == nil:
			never = append(never, name)
			continue
		}
		passes := fmt.Sprintf("%.4g", *value)
		if unsettled {
			passes += " or nearer"
		}
		t.Add(name, passes, lengthAt(p, name), cmp.Or(fitUnits[name], "limits."+name))
	}
	fmt.Fprintln(b, "\nnothing meets the requirements")
	if len(t.Rows) > 0 {
		fmt.Fprintln(b, "each of these alone, with all others kept, lets a first design pass:")
		if err := t.Print(b); err != nil {
			fmt.Fprintln(b, err)
		}
	}
	if len(open) > 0 {
		fmt.Fprintf(b, "too many designs to tell whether these alone would help: %s\n", strings.Join(open, ", "))
	}
	if len(never) > 0 {
		fmt.Fprintf(b, "no value of these alone would help: %s\n", strings.Join(never, ", "))
	}
}
