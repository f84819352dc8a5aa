package catalog

import (
	"fmt"
	"math"
	"strings"
)

// kindFresnel is the kind under which Fresnel lenses go.
const kindFresnel = "fresnel"

// finePitchMM is a pitch of about ten wavelengths: facets so fine are a grating more than prisms,
// and are traced for what they are not. Sheets that can be bought have 0.05 mm and more, by common
// practice; less than this is a unit taken for another.
const finePitchMM = 0.005

// readFacets reads pitch and draft angle, and cuts the curved surface of the lens into facets.
// whole tells that its shape could be read. It is false when something is wrong.
func (lr *lensReader) readFacets(r *row, l *Lens, whole bool) bool {
	before := len(r.table.faults)
	pitch, pitchRead := r.number("pitch_mm", pitchRule)
	draft, _ := r.number("draft_deg", draftRule)
	switch {
	case !pitchRead:
	case !IsSet(pitch) && IsSet(draft):
		r.fault("draft_deg", fmt.Sprintf("%g is given, but the lens has no facets", draft), "an empty cell, or the width of a facet in pitch_mm")
	case !IsSet(pitch):
		if strings.EqualFold(strings.TrimSpace(l.Kind), kindFresnel) {
			lr.doubtful = append(lr.doubtful, noted{
				line: r.line, column: "pitch_mm", kind: "a lens of kind fresnel without it is traced as a smooth surface",
				found: "part " + quoted(l.Part) + " has no pitch", want: "the width of a facet, for losses and blur by its grooves",
			})
		}
	case whole:
		if pitch < finePitchMM {
			lr.doubtful = append(lr.doubtful, noted{
				line: r.line, column: "pitch_mm", kind: "the facets are finer than 0.005 mm",
				found: fmt.Sprintf("part %s has a pitch of %g mm", quoted(l.Part), pitch), want: "the width of a facet in mm, usually 0.05 to 1",
			})
		}
		if cutFacets(r, l, pitch, draft) {
			lr.doubtDepth(r, l, pitch)
		}
	}
	return len(r.table.faults) == before
}

// cutFacets cuts the one curved surface of a lens into facets; false where it has found a fault.
func cutFacets(r *row, l *Lens, pitch, draft float64) bool {
	if len(l.Glasses) > 1 {
		r.fault("pitch_mm", "the lens is cemented", "an empty cell: only a lens of one glass can have facets")
		return false
	}
	curved := -1
	for i := range l.Surfaces {
		switch {
		case l.Surfaces[i].isFlat():
		case curved >= 0:
			r.fault("pitch_mm", "both surfaces are curved", "one flat surface (inf, without aspheric terms): the other one is cut into facets")
			return false
		default:
			curved = i
		}
	}
	if curved < 0 {
		r.fault("pitch_mm", "both surfaces are flat", "one curved surface, by its radius or aspheric terms: the facets have its slopes")
		return false
	}
	half := l.DiameterMM / 2
	if pitch > half {
		r.fault("pitch_mm", fmt.Sprintf("%g is more than half the diameter, %g mm", pitch, half), "a width of several facets on the lens")
		return false
	}
	s := &l.Surfaces[curved]
	if math.IsInf(s.SagSlope(half), 0) {
		r.fault(radiusColumn(curved+1), fmt.Sprintf("facets with the slopes of this surface stand upright at half the diameter, %g mm", half),
			"a longer radius, or a smaller diameter_mm")
		return false
	}
	if !IsSet(draft) {
		draft = 0
	}
	s.PitchMM, s.DraftDeg = pitch, draft
	return true
}

// doubtDepth warns of facets that are deeper than their plate is thick. A facet of the slope of the
// surface falls by pitch times slope, most at half the diameter.
func (lr *lensReader) doubtDepth(r *row, l *Lens, pitch float64) {
	steepest := 0.0
	for _, s := range l.Surfaces {
		if s.IsFaceted() {
			steepest = math.Abs(s.SagSlope(l.DiameterMM / 2))
		}
	}
	if depth := pitch * steepest; depth > l.ThicknessMM[0] {
		lr.doubtful = append(lr.doubtful, noted{
			line: r.line, column: "pitch_mm", kind: "the facets are deeper than the plate is thick",
			found: fmt.Sprintf("part %s has facets %.3g mm deep at half the diameter, t1_mm is %g", quoted(l.Part), depth, l.ThicknessMM[0]),
			want:  "a finer pitch, or the thickness over all in t1_mm",
		})
	}
}
