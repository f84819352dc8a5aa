package results

import "fmt"

// Setpoint is one row of setpoints.parquet, the stage table: where the mask
// stands in a design so that it looks sharp at one depth. No column can be
// null.
type Setpoint struct {
	Point          int
	Rank           int
	DesignID       string
	DepthM         float64 // +Inf for a far end at infinity
	VergenceD      float64
	MaskMM         float64 // exact
	MaskParaxialMM float64
	StageMM        float64 // from the far setpoint, positive towards the eye
	MaskBlurArcmin float64
	ViewBlurArcmin float64
	PixelArcmin    float64
	Seat           string // of the mask that the row is of: front or rear
}

var setpointColumns = []column[Setpoint]{
	count("point", "sweep point, from 0", func(s *Setpoint) *int { return &s.Point }),
	count("rank", "rank of the design at its sweep point, from 1", func(s *Setpoint) *int { return &s.Rank }),
	label("design_id", "the design: layout, seat, and its lenses from world to eye", func(s *Setpoint) *string { return &s.DesignID }),
	number("depth_m", "m", "apparent distance before the eye at which the mask looks sharp; infinite for far", func(s *Setpoint) *float64 { return &s.DepthM }).to(3),
	number("vergence_D", "D", "one over the depth", func(s *Setpoint) *float64 { return &s.VergenceD }).to(3),
	number("mask_mm", "mm", "mask position by exact rays, from the last vertex before the mask to its modulating layer", func(s *Setpoint) *float64 { return &s.MaskMM }).to(3),
	number("mask_paraxial_mm", "mm", "paraxial mask position, from the last vertex before the mask to its modulating layer", func(s *Setpoint) *float64 { return &s.MaskParaxialMM }).to(3),
	number("stage_mm", "mm", "stage position from the far setpoint, positive towards the eye", func(s *Setpoint) *float64 { return &s.StageMM }).to(3),
	number("mask_blur_arcmin", "arcmin", "RMS radius of the mask's blur as an angle at the eye, the largest over field and places of the pupil", func(s *Setpoint) *float64 { return &s.MaskBlurArcmin }),
	number("view_blur_arcmin", "arcmin", "RMS radius of the view's blur after the eye's best refocus, the largest over field and places of the pupil", func(s *Setpoint) *float64 { return &s.ViewBlurArcmin }),
	number("pixel_arcmin", "arcmin", "angle of one mask pixel at the eye", func(s *Setpoint) *float64 { return &s.PixelArcmin }),
	label("seat", "image at which the mask of the row stands: front (image 1) or rear (image 2); where a mask stands at each, every depth has two rows, that of the rear one first", func(s *Setpoint) *string { return &s.Seat }),
}

// stageColumns are the columns of a stage table for people, with their heads.
var stageColumns = []shownColumn{
	{name: "depth_m", head: "depth"}, {name: "vergence_D", head: "vergence"}, {name: "mask_mm", head: "mask"},
	{name: "mask_paraxial_mm", head: "paraxial"}, {name: "stage_mm", head: "stage"},
	{name: "mask_blur_arcmin", head: "mask blur"}, {name: "view_blur_arcmin", head: "view blur"}, {name: "pixel_arcmin", head: "pixel"},
}

// StageTable is the stage table of a design for people.
func StageTable(rows []Setpoint) *Table {
	t := &Table{}
	for _, shown := range stageColumns {
		t.Columns = append(t.Columns, Column{Name: shown.head, Unit: named(setpointColumns, shown.name).headUnit()})
	}
	for i := range rows {
		var cells []string
		for _, shown := range stageColumns {
			cells = append(cells, named(setpointColumns, shown.name).text(&rows[i]))
		}
		t.Add(cells...)
	}
	return t
}

func (s *Setpoint) name() string {
	return fmt.Sprintf("point %d, rank %d, design %q, depth %v m", s.Point, s.Rank, s.DesignID, s.DepthM)
}

// WriteSetpoints writes setpoints.parquet, whole or not at all. The keys of
// meta become key-values of the file. An error names the file, and for a value
// that cannot be written (NaN, text that is not UTF-8) the column and the
// design.
func WriteSetpoints(path string, meta map[string]string, rows []Setpoint) error {
	return writeRows(path, setpointColumns, meta, rows, (*Setpoint).name)
}

// ReadSetpoints reads what WriteSetpoints wrote. An error names the file and
// what is wrong with it.
func ReadSetpoints(path string) ([]Setpoint, error) {
	var rows []Setpoint
	err := openRows(path, func(f *rowFile) (err error) {
		rows, err = readRows(f, setpointColumns)
		return err
	})
	if err != nil {
		return nil, err
	}
	return rows, nil
}
