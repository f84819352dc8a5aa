package results

import (
	"fmt"
	"io"
	"slices"
	"strconv"
)

// shownColumn is a column of a file in a table for people. It says its head; unit
// and decimals are the column's own.
type shownColumn struct {
	name, head string
	pageOnly   bool // left out on a terminal, which is narrow
}

// rankedColumnsShown are the columns of a table of ranked designs, before the
// design itself.
var rankedColumnsShown = []shownColumn{
	{name: "rank", head: "rank"}, {name: "length_mm", head: "length"}, {name: "length_to_eye_mm", head: "to eye"},
	{name: "eye_relief_mm", head: "eye relief"}, {name: "lenses_count", head: "lenses"}, {name: "price", head: "price"},
	{name: "field_max_deg", head: "field"}, {name: "travel_mm", head: "travel"}, {name: "pixel_arcmin", head: "pixel", pageOnly: true},
	{name: "mask_blur_arcmin", head: "mask blur"}, {name: "view_blur_arcmin", head: "view blur"}, {name: "vignetted_pct", head: "vignetted"},
}

// designFacts are the columns that tell of one design, in the order of reading.
var designFacts = []struct {
	name         string
	terminalOnly bool // the page has it in a chart, a table or a note
	whereItIs    bool // it is left out where it is null: of designs without Fresnel surfaces, or with one mask
}{
	{name: "length_mm"}, {name: "length_to_eye_mm"}, {name: "eye_relief_mm"}, {name: "field_max_deg"},
	{name: "field_asked_deg", terminalOnly: true}, {name: "travel_mm"}, {name: "refocus_s"}, {name: "pixel_arcmin"},
	{name: "depth_step_D"}, {name: "mask_scale_change_pct"}, {name: "viewpoint_shift_mm"}, {name: "angular_magnification"},
	{name: "mask_blur_arcmin"}, {name: "view_defocus_D", terminalOnly: true}, {name: "view_astigmatism_D", terminalOnly: true},
	{name: "view_blur_arcmin"}, {name: "view_refocus_D"}, {name: "axis_vergence_D", terminalOnly: true}, {name: "distortion_pct"},
	{name: "lateral_colour_arcmin"}, {name: "axial_colour_D"}, {name: "vignetted_pct"}, {name: "blur_mismatch_pct"}, {name: "ghost_arcmin"}, {name: "ghost_pct"},
	{name: "groove_blur_arcmin", whereItIs: true}, {name: "groove_visible_arcmin", whereItIs: true},
	{name: "front_travel_mm", whereItIs: true}, {name: "front_refocus_s", whereItIs: true}, {name: "front_pixel_arcmin", whereItIs: true},
	{name: "front_depth_step_D", whereItIs: true}, {name: "front_mask_scale_change_pct", whereItIs: true},
	{name: "front_mask_blur_arcmin", whereItIs: true}, {name: "front_blur_mismatch_pct", whereItIs: true},
	{name: "front_ghost_arcmin", whereItIs: true}, {name: "front_ghost_pct", whereItIs: true},
	{name: "transmission"}, {name: "mass_g"}, {name: "price"},
}

// DesignFacts are the names of the columns that tell of one design, in the order
// of reading.
func DesignFacts() []string {
	names := make([]string, len(designFacts))
	for i, fact := range designFacts {
		names[i] = fact.name
	}
	return names
}

// secondNote tells of tables that show the columns of one mask.
const secondNote = "of designs with two masks travel, pixel and mask blur are those of the rear one, at image 2; ranked.parquet has those of the other as front_ columns"

// groovesNote tells of tables that show the blur of the view without that of grooves.
const groovesNote = "view blur leaves out what the grooves of Fresnel lenses spread light by; ranked.parquet has that as groove_blur_arcmin"

// groovesSpread reports whether grooves of Fresnel surfaces spread the light of the view.
func (d *Design) groovesSpread() bool { return d.GrooveBlurArcmin != nil && *d.GrooveBlurArcmin > 0 }

// TellsOf reports whether a column that tells of one design says anything of this one.
func (d *Design) TellsOf(name string) bool {
	for _, fact := range designFacts {
		if fact.name == name && fact.whereItIs {
			_, _, ok := d.Number(name)
			return ok
		}
	}
	return true
}

// GrooveNote says where the grooves of Fresnel surfaces spread light by more than the view may be
// blurred; it is empty otherwise.
func (d *Design) GrooveNote(asked []Asked) string {
	for _, a := range asked {
		if a.Column == "view_blur_arcmin" && d.GrooveBlurArcmin != nil && *d.GrooveBlurArcmin > a.Value {
			return fmt.Sprintf("Fresnel grooves spread light by %s arcmin to either side, beside a view blur that may be %s arcmin and does not count it; at a pupil no usual pitch keeps 1 to 3 arcmin",
				Fixed(*d.GrooveBlurArcmin, 1), Fixed(a.Value, 1))
		}
	}
	return ""
}

// PrintRanked prints a compact table of ranked designs: what a builder
// compares first. The swept keys, and the sweep point, are shown when there
// are any. terminal says that w is one (see [Table]).
func PrintRanked(w io.Writer, designs []Design, sweep []Axis, terminal bool) error {
	t := Table{Terminal: terminal}
	if len(sweep) > 0 {
		t.Columns = append(t.Columns, Column{Name: "point"})
	}
	for _, axis := range sweep {
		c := Column{Name: axis.Key}
		switch axis.Kind {
		case KindFloat, KindInt:
			if u := unitOf(axis); u != unitOne {
				c.Unit = u
			}
		default:
			c.Align = Left
		}
		t.Columns = append(t.Columns, c)
	}
	for _, shown := range rankedColumnsShown {
		if !shown.pageOnly {
			t.Columns = append(t.Columns, Column{Name: shown.head, Unit: named(designColumns, shown.name).headUnit()})
		}
	}
	t.Columns = append(t.Columns, Column{Name: "design", Align: Left})
	for i := range designs {
		d := &designs[i]
		var row []string
		if len(sweep) > 0 {
			row = append(row, strconv.Itoa(d.Point))
		}
		for _, v := range d.Swept {
			row = append(row, v.String())
		}
		for _, shown := range rankedColumnsShown {
			if shown.pageOnly {
				continue
			}
			text := named(designColumns, shown.name).text(d)
			if shown.name == "field_max_deg" && d.fieldShort() {
				text += "*"
			}
			row = append(row, text)
		}
		t.Add(append(row, d.DesignID)...)
	}
	if err := t.Print(w); err != nil {
		return err
	}
	if slices.ContainsFunc(designs, func(d Design) bool { return d.fieldShort() }) {
		if _, err := fmt.Fprintln(w, "field*: the whole pupil is lit up to there, which is less than was asked; beyond, up to the share under vignetted is lost"); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(designs, func(d Design) bool { return len(d.Masks()) > 1 }) {
		if _, err := fmt.Fprintln(w, secondNote); err != nil {
			return err
		}
	}
	if slices.ContainsFunc(designs, func(d Design) bool { return d.groovesSpread() }) {
		_, err := fmt.Fprintln(w, groovesNote)
		return err
	}
	return nil
}
