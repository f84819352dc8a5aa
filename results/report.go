package results

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// Report is everything that the page of a run tells. What stands in the
// Parquet files comes as their rows; what needs the optics comes as plain
// numbers: words for the spec, outlines, rays, curves.
type Report struct {
	Job       string // its name in the spec
	Manifest  *Manifest
	Axes      []Axis
	Designs   []Design
	Setpoints []Setpoint
	// PointsAsked is how many sweep points the job has; the manifest of an
	// unfinished run may have fewer.
	PointsAsked int
	// Asked is the spec in words.
	Asked []ReportWords
	// RankedBy is the column that ranks designs: length_mm or length_to_eye_mm.
	RankedBy string
	// Yields are what builds of designs tell; none where none was built.
	Yields []Yield
	// Leading are the designs to tell whole.
	Leading []ReportDesign
	// Eyes is how many trains to order parts for: 1 or 2.
	Eyes     int
	Cautions string // in full
	// Warnings say what is doubtful of the report.
	Warnings []string
}

// ReportWords is one subject of the spec and what is asked of it.
type ReportWords struct{ Subject, Words string }

// ReportDesign is a design to tell whole.
type ReportDesign struct {
	Design    *Design
	Setpoints []Setpoint // its stage tables, far to near, as in setpoints.parquet
	Order     []ReportPart
	// CentreMM and EdgeGapMM belong to the lenses: thickness at the centre, and
	// the gap to the next lens at the smaller half diameter, for spacers; the
	// last lens has no next.
	CentreMM, EdgeGapMM []float64
	// Masks are those of the design, as [Design.Masks] has them.
	Masks []ReportMask
	// Margins are the requirements that no column holds, by the train laid out
	// again.
	Margins []ReportMargin
	Drawing ReportDrawing
	// Distortion is over the half angle in degrees.
	Distortion []ReportPoint
	// Aberrations are the third-order sums by lens and plate from the world to the eye, and in all.
	Aberrations []ReportAberration
	// Looks are what an eye sees through it, and LookNote says what is in these pictures and what
	// is not; none of a design that is not looked through.
	Looks    []ReportLook
	LookNote string
	// HalfFieldTan is the tangent of the largest half angle, FieldFraction the
	// share of it within which sharpness is judged.
	HalfFieldTan, FieldFraction float64
}

// ReportPart is one line of an order. Price and Stock are nil where they are
// not known or not limited; Stock is how many may be used in one train.
type ReportPart struct {
	Part, Vendor string
	Pieces       int // in one train
	Price        *float64
	Stock        *int // that can be bought; nil where that is not bounded
	Owned        int  // that are there already
}

// ReportMargin is a requirement with what is reached, in its unit.
type ReportMargin struct {
	Name, Unit string
	Bound      Bound
	Asked      float64
	Reached    float64
}

// ReportMask is a mask of a design.
type ReportMask struct {
	Seat, Words string // see [Design.MaskWords]
	// After is the lens, from 0, behind which the mask stands.
	After int
	// Stage is the setpoint over the vergence, traced at more depths than the
	// stage table has.
	Stage []ReportStage
	// Measured is the stage table by what was measured of it, and the eye of each; nil where
	// nothing was.
	Measured []StageRow
}

// ReportStage is the mask's place for one vergence, traced and paraxial.
type ReportStage struct{ VergenceD, MaskMM, ParaxialMM float64 }

// ReportPoint is a point of a curve or an outline.
type ReportPoint struct{ X, Y float64 }

// ReportDrawing is a train as it stands, in mm: X along the axis from the first
// vertex, growing towards the eye, Y up.
type ReportDrawing struct {
	Lenses []ReportLens
	Rays   []ReportRay
	// Masks are the masks, as [Design.Masks] has them. MaskHalfMM is half of the height of
	// each, MaskGlassMM the thickness of its glass.
	Masks                   []DrawnMask
	MaskHalfMM, MaskGlassMM float64
	// EyeMM and ViewpointMM are along the axis; PupilMM and BoxMM diameters.
	EyeMM, ViewpointMM, PupilMM, BoxMM float64
	// CombinerMM is the glass path of a combiner, which stands midway between
	// last vertex and eye; 0 for none.
	CombinerMM float64
	// WavelengthNM and PupilEdgeMM say what the rays are: their wavelength, and how
	// far from the axis the edge rays leave the eye.
	WavelengthNM, PupilEdgeMM float64
}

// DrawnMask is where a mask's layer stands along the axis, for far and for near.
type DrawnMask struct {
	Words         string // see [Design.MaskWords]
	FarMM, NearMM float64
}

// ends are its places, the one nearer to the world first, with what each is for.
func (m DrawnMask) ends() [2]maskEnd {
	far, near := maskEnd{"far", m.FarMM}, maskEnd{"near", m.NearMM}
	if m.FarMM <= m.NearMM {
		return [2]maskEnd{far, near}
	}
	return [2]maskEnd{near, far}
}

// maskEnd is an end of a mask's way.
type maskEnd struct {
	name string // far or near
	at   float64
}

// ReportLens is the outline of one lens.
type ReportLens struct {
	Group, Part string
	Glasses     [][]ReportPoint // one closed outline an element
	// Rims are the parts of the outer surfaces beyond the clear aperture.
	Rims [][]ReportPoint
	// HalfMM is half of the full diameter.
	HalfMM         float64
	FirstMM, EndMM float64 // vertices
}

// ReportLook is a picture of what an eye sees that looks at a depth.
type ReportLook struct {
	VergenceD     float64 // of that depth
	Where         string  // what is there; empty for nothing
	PNG           []byte
	Width, Height int // pixels
}

// ReportRay is a traced ray, from the eye to beyond the first vertex.
type ReportRay struct {
	Field   int // number of its field sample, from 0
	HalfDeg float64
	Chief   bool
	Lost    bool // it ends at the last point
	Points  []ReportPoint
}

// asked is what was asked of a design that a column can be held against.
func (r *Report) asked(d *Design) []Asked {
	for i := range r.Manifest.Points {
		if p := &r.Manifest.Points[i]; p.Point == d.Point {
			return p.Asked
		}
	}
	return nil
}

// WriteReport writes the page, one file of HTML that needs no other, whole or
// not at all. Its last line is a comment with a digest of the lines before it.
func WriteReport(path string, r *Report) error {
	return WriteWhole(path, func(w io.Writer) error {
		h := sha256.New()
		if err := reportTemplate.Execute(io.MultiWriter(w, h), newReportPage(r)); err != nil {
			return fmt.Errorf("cannot be made: %w", err)
		}
		_, err := fmt.Fprintf(w, reportEnd, h.Sum(nil))
		return err
	})
}

// reportEnd is the last line of a page.
const reportEnd = "<!-- %x -->\n"

// IsReport reports whether the file at path is a page as [WriteReport] wrote it, to
// the byte.
func IsReport(path string) bool {
	f, size, err := openRegular(path)
	if err != nil {
		return false
	}
	defer f.Close()
	h := sha256.New()
	before := size - int64(len(fmt.Sprintf(reportEnd, h.Sum(nil))))
	if before < 0 {
		return false
	}
	if _, err := io.CopyN(h, f, before); err != nil {
		return false
	}
	end, err := io.ReadAll(io.LimitReader(f, size-before))
	return err == nil && string(end) == fmt.Sprintf(reportEnd, h.Sum(nil))
}

// drawingMark begins each drawing that WriteDrawing wrote.
const drawingMark = "<!-- relaysweep: drawing of a train -->\n"

// MayDraw refuses a path at which a file stands that is no drawing of
// WriteDrawing's.
func MayDraw(path string) error {
	f, err := os.Open(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%s: %w", path, causeOf(err))
	}
	defer f.Close()
	begins := make([]byte, len(drawingMark))
	if _, err := io.ReadFull(f, begins); err != nil || string(begins) != drawingMark {
		return fmt.Errorf("%s: stands there already and is no drawing of relaysweep, so that it is left as it is", path)
	}
	return nil
}

// WriteDrawing writes the best of the designs told whole as an SVG of its own,
// whole or not at all. It fails where none is told and where MayDraw does.
func WriteDrawing(path string, r *Report) error {
	l, _ := r.best()
	if l == nil {
		return fmt.Errorf("%s: there is no design to draw", path)
	}
	if err := MayDraw(path); err != nil {
		return err
	}
	d := l.Design
	return WriteWhole(path, func(w io.Writer) error {
		_, err := io.WriteString(w, drawingMark+l.Drawing.trainFile(fmt.Sprintf("%s, %s", r.Job, sayDesign(r, d)), d.LengthMM, d.EyeReliefMM))
		return err
	})
}
