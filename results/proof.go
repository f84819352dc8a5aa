package results

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// PrintProof prints in words what a run knows of one sweep point, of which the
// ranking lists so many designs: the space, what became of its designs, the proven
// length, and when nothing passed, how far each requirement is from letting
// something pass.
func PrintProof(w io.Writer, p *ManifestPoint, listed int) error {
	var b strings.Builder
	if len(p.Values) > 0 {
		values := make([]string, len(p.Values))
		for i, v := range p.Values {
			values[i] = fmt.Sprintf("%s = %s", v.Key, v.Value)
		}
		fmt.Fprintf(&b, "point %d: %s\n", p.Point, strings.Join(values, ", "))
	}
	if p.Given != nil {
		p.Given.print(&b)
		if line := p.IdealLimit.Line(); line != "" {
			fmt.Fprintln(&b, line)
		}
		_, err := io.WriteString(w, b.String())
		return err
	}
	fmt.Fprintf(&b, "%s designs; examined %d, checked by rays %d, ", countOf(p.Space), p.Examined, p.Checked)
	switch r := p.Refined; {
	case r != nil && p.Optimized == nil:
		fmt.Fprintf(&b, "refined %d near their limits; %d passed, %d listed\n", r.Candidates, r.Passed, listed)
	case r != nil:
		fmt.Fprintf(&b, "passed %d%s\n", p.Passed, atParaxialGaps)
	case int64(listed) < p.Passed:
		fmt.Fprintf(&b, "%d listed of %d that passed\n", listed, p.Passed)
	default:
		fmt.Fprintf(&b, "passed %d\n", p.Passed)
	}
	const proven = "proven"
	switch {
	case p.Optimized != nil:
		printOptimized(&b, p)
	case p.Refined != nil:
		printScreened(&b, p)
	case p.WholeSpace && p.Passed == 0:
		fmt.Fprintf(&b, "%s: the whole space was searched, no design passes\n", proven)
	case p.ProvenLengthMM != nil && p.Passed > 0:
		fmt.Fprintf(&b, "%s: no other design is shorter than %.6f mm\n", proven, *p.ProvenLengthMM)
	case p.ProvenLengthMM != nil:
		fmt.Fprintf(&b, "%s: no design shorter than %.6f mm passes\n", proven, *p.ProvenLengthMM)
	case p.WholeSpace:
		fmt.Fprintf(&b, "%s: the whole space was searched, no other design passes\n", proven)
	}
	if r := p.Refined; r != nil && p.Optimized != nil {
		fmt.Fprintf(&b, "refined by exact rays: %d candidates, %d then pass; %d listed\n", r.Candidates, r.Passed, listed)
	}
	if line := p.IdealLimit.Line(); line != "" {
		fmt.Fprintln(&b, line)
	}
	if !p.Ended && p.Optimized == nil {
		fmt.Fprintln(&b, "not complete: the search ended before the ranking was certain")
	}
	printCounts(&b, "turned away", p.Failed)
	bounds := maps.Clone(p.SetAside)
	delete(bounds, setAsideByThirdOrder)
	printCounts(&b, "set aside by bounds", bounds)
	if n := p.SetAside[setAsideByThirdOrder]; n != nil {
		fmt.Fprintf(&b, "turned away by third order, without rays: %v\n", n)
	}
	if len(p.Binds) > 0 {
		drawn, counts := int64(0), map[string]*big.Int{}
		for name, n := range p.Binds {
			drawn += n
			counts[name] = big.NewInt(n)
		}
		printCounts(&b, fmt.Sprintf("bounds left none to judge; of %d drawn at random, turned away", drawn), counts)
	}
	if p.Nothing() {
		printWouldFit(&b, p)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// printScreened prints how sure a refined ranking is. What it says of the proof and
// the screen is of designs that are not in the list.
func printScreened(b *strings.Builder, p *ManifestPoint) {
	other := "no other design"
	if p.Nothing() {
		other = "no design"
	}
	if p.WholeSpace {
		fmt.Fprintf(b, "proven%s: the whole space was searched, %s passes\n", atParaxialGaps, other)
		fmt.Fprintln(b, screenedAll)
	} else {
		if p.ProvenLengthMM != nil {
			fmt.Fprintf(b, "proven%s: %s that passes is shorter than %.6f mm\n", atParaxialGaps, other, *p.ProvenLengthMM)
		}
		if p.ScreenedMM != nil {
			fmt.Fprintf(b, "screened: %s that the screen takes for near its limits is shorter than %.6f mm when refined\n", other, *p.ScreenedMM)
		} else if p.Ended {
			fmt.Fprintln(b, screenedAll)
		}
	}
	if f := p.Found; f != nil && !p.Ended && p.ScreenedMM != nil {
		fmt.Fprintf(b, "shortest found: %.6f mm, by the %s; %s\n", f.ShortestMM, f.By, cameTo(f.ShortestMM, *p.ScreenedMM))
	}
	a := p.Audit
	if a == nil || a.Drawn == 0 {
		return
	}
	leaks := ""
	if a.Listed > 0 {
		leaks = "THE SCREEN LEAKS: "
	}
	fmt.Fprintf(b, "audit: %s%s\n", leaks, a.words())
	if a.Listed > 0 {
		fmt.Fprintln(b, "    raise refine.near_miss_factor to look further")
	}
}

// setAsideByThirdOrder is the kind of what third-order sums turned away: a screen, and no bound.
const setAsideByThirdOrder = "third_order"

const screenedAll = "screened: the whole space; every design that the screen takes for near its limits was refined"

// cameTo says how far the screen has come to what is found.
func cameTo(shortestMM, screenedMM float64) string {
	gap := shortestMM - screenedMM
	if gap <= 0 {
		return "the screen has come to it"
	}
	return fmt.Sprintf("the screen has come to %.2f mm (%.1f %%) below", gap, 100*gap/shortestMM)
}

// words say what came of an audit.
func (a *Audit) words() string {
	came := "none passes"
	switch {
	case a.Listed > 0:
		came = fmt.Sprintf("%d pass, %d of them short enough for the ranking", a.Passed, a.Listed)
	case a.Passed > 0:
		came = fmt.Sprintf("%d pass, none of them short enough for the ranking", a.Passed)
	}
	words := fmt.Sprintf("of the designs that the screen turned away %d were drawn and refined, %s; at most %s %% of all would pass (95 %% confidence)",
		a.Drawn, came, Fixed(100*a.MissedShareUpper95, 1))
	if t := a.ThirdOrder; t != nil {
		words += fmt.Sprintf("; third order had turned away %d of them without rays, of which %d pass", t.Drawn, t.Passed)
	}
	return words
}

// atParaxialGaps tells a number apart from one of refined designs.
const atParaxialGaps = ", at paraxial gaps"

// printOptimized prints how good a population search is known to be. What it found
// and what bounds it from below are designs at their paraxial gaps.
func printOptimized(b *strings.Builder, p *ManifestPoint) {
	o := p.Optimized
	shortest, proven := "the shortest found", "proven"
	if p.Refined != nil {
		shortest += atParaxialGaps + ","
		proven += atParaxialGaps
	}
	found := "nothing that passes was found"
	if o.BestMM != nil {
		at := int64(0)
		if n := len(o.History); n > 0 {
			at = o.History[n-1].Evaluations
		}
		found = fmt.Sprintf("%s has %.6f mm, first met after %d", shortest, *o.BestMM, at)
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
		fmt.Fprintf(b, "%s: no design passes at all\n", proven)
	case o.LowerBoundMM == nil:
		fmt.Fprintln(b, "nothing is proven: the groups are too many to bound what was missed")
	case o.GapMM != nil && *o.GapMM <= 0:
		fmt.Fprintf(b, "%s all the same: no design that passes is shorter than that\n", proven)
	case o.GapMM != nil:
		fmt.Fprintf(b, "%s: no design shorter than %.6f mm passes, %.2f mm (%.1f %%) below the shortest found\n",
			proven, *o.LowerBoundMM, *o.GapMM, 100**o.GapMM / *o.BestMM)
	default:
		fmt.Fprintf(b, "%s: no design shorter than %.6f mm passes\n", proven, *o.LowerBoundMM)
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

// easing is what is said of a requirement that is eased.
type easing struct {
	key   string // of the spec, whose unit the value has
	note  string // behind the key
	count string // what the value counts; empty where it has a unit of measurement
	down  bool   // a smaller value asks less
}

// easings are those of requirements that are no limits. A limit's key has its name.
var easings = map[string]easing{
	"magnification":      {key: "train.magnification_tol"},
	"gap":                {key: "train.group_gap_min_mm", down: true},
	"length":             {key: "train.length_max_mm"},
	"relief":             {key: "eye.relief_min_mm", down: true},
	"relief_max_mm":      {key: "eye.relief_max_mm"},
	"aperture":           {key: "field.width_deg", note: ", the height in proportion", down: true},
	"clearance":          {key: "mask.clearance_mm", down: true},
	"travel":             {key: "stage.travel_mm"},
	"mask_size":          {key: "mask.width_mm", note: ", the height in proportion"},
	"parts":              {key: "train.lenses_max", count: "lenses"},
	"distinct_parts_max": {key: "train.distinct_parts_max", count: "parts"},
	"stock":              {key: "stock", note: ", of each part in the lens tables", count: "of a part"},
	"transmission_min":   {key: "limits.transmission_min", down: true},
}

// easingOf is what is said of a requirement or limit by its name.
func easingOf(name string) easing {
	if e, ok := easings[name]; ok {
		return e
	}
	return easing{key: "limits." + name}
}

// fitsAt is the value, with its unit, at which a first design passes with a
// requirement eased: rounded to the side on which it still does.
func fitsAt(p *ManifestPoint, name string) string {
	value := *p.WouldFit[name]
	e := easingOf(name)
	said := strconv.FormatFloat(roundedTo(value, e.down), 'g', -1, 64)
	unit := cmp.Or(e.count, unitOf(Axis{Key: e.key, Kind: KindFloat}))
	if unit == unitOne || unit == unitNone || unit == unitPrice {
		return said
	}
	return said + " " + unit
}

// roundedTo is x to four digits, never above it where down, else never below.
func roundedTo(x float64, down bool) float64 {
	digits := func(x float64) float64 {
		near, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 3, 64), 64) // of such digits it has no error
		return near
	}
	near := digits(x)
	step := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-3)
	switch {
	case down && near > x:
		return digits(near - step)
	case !down && near < x:
		return digits(near + step)
	}
	return near
}

// fitKeys says by their keys of the spec what was eased.
func fitKeys(names []string) string {
	keys := make([]string, len(names))
	for i, name := range names {
		keys[i] = easingOf(name).key
	}
	return strings.Join(keys, ", ")
}

// lengthAt is the length of the design that passes with a requirement eased.
func lengthAt(p *ManifestPoint, name string) string {
	length, known := p.WouldFitLengthMM[name]
	if !known {
		return "-"
	}
	return Fixed(length, 2)
}

// fitGaps says of which designs the values are true at which something would pass:
// a refined one may need less.
func fitGaps(p *ManifestPoint) string {
	if p.Refined == nil {
		return ""
	}
	return atParaxialGaps + " (refined, less may do)"
}

// failedByBuilds is the limit that designs fail of which too few builds meet the others.
const failedByBuilds = "yield_min_pct"

// tooFewBuilds tells, where nothing passes, of designs that do without errors. What else would fit
// is not looked for then, as it is told of designs without errors.
func (p *ManifestPoint) tooFewBuilds() string {
	n := p.Failed[failedByBuilds]
	if n == nil || n.Sign() == 0 {
		return ""
	}
	return fmt.Sprintf("limits.%s turned away %v that meet all else without errors: a lower value lets a first one pass, tighter tolerances may",
		failedByBuilds, n)
}

// printWouldFit prints, for each requirement and limit, the nearest value at
// which a first design would pass.
func printWouldFit(b *strings.Builder, p *ManifestPoint) {
	if words := p.tooFewBuilds(); words != "" {
		fmt.Fprintf(b, "\nnothing meets the requirements\n%s\n", words)
	}
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
		passes := fitsAt(p, name)
		if unsettled {
			passes += " or nearer"
		}
		e := easingOf(name)
		t.Add(name, passes, lengthAt(p, name), e.key+e.note)
	}
	fmt.Fprintln(b, "\nnothing meets the requirements")
	if len(t.Rows) > 0 {
		fmt.Fprintf(b, "each of these alone, with all others kept, lets a first design pass%s:\n", fitGaps(p))
		if err := t.Print(b); err != nil {
			fmt.Fprintln(b, err)
		}
	}
	if len(open) > 0 {
		fmt.Fprintf(b, "too many designs to tell whether these alone would help: %s\n", fitKeys(open))
	}
	if len(never) > 0 {
		fmt.Fprintf(b, "no value of these alone would help: %s\n", fitKeys(never))
	}
}
