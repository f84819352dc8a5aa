package catalog

import (
	"fmt"
	"math"
	"strings"
)

const (
	// shapeSamples is how many heights an asphere is looked at.
	shapeSamples = 256
	// edgeSlackMM is what rounding may take from an edge of zero thickness,
	// such as that of a ball.
	edgeSlackMM = 1e-9

	// focalMismatchRatio is how far published and computed focal lengths may
	// be apart before a warning. Tolerances of stock lenses are 1 to 2 %
	// (common practice).
	focalMismatchRatio = 0.02
)

// checkShape faults surfaces that do not reach half the diameter and glasses
// of negative thickness. All numbers of the lens are there.
func checkShape(r *row, l *Lens, aspheres []asphereColumn) {
	reach := make([]bool, len(l.Surfaces))
	for i := range l.Surfaces {
		reach[i] = checkSurface(r, l, i, aspheres)
	}
	for i := range l.ThicknessMM {
		if !reach[i] || !reach[i+1] {
			continue
		}
		thinnest, at := math.Inf(1), 0.0
		for _, h := range shapeHeights(l, l.Surfaces[i], l.Surfaces[i+1]) {
			if t := l.thicknessAt(i, h); t < thinnest {
				thinnest, at = t, h
			}
		}
		if thinnest < -edgeSlackMM {
			r.fault(elementColumns(i + 1)[0],
				fmt.Sprintf("%g leaves a thickness of %.4g mm at %.4g mm from the axis", l.ThicknessMM[i], thinnest, at),
				fmt.Sprintf("at least %.4g for these radii and this diameter", roundUp(l.ThicknessMM[i]-thinnest)))
		}
	}
}

// roundUp goes up to the next multiple of 0.001, so that a least value that is
// told is one that passes.
func roundUp(x float64) float64 { return math.Ceil(x*1000) / 1000 }

// shapeHeights are the heights at which the glass between two surfaces can be
// thinnest. Between spheres thickness changes in one direction only, so that
// axis and edge will do.
func shapeHeights(l *Lens, surfaces ...Surface) []float64 {
	half := l.DiameterMM / 2
	steps := 1
	for _, s := range surfaces {
		if !s.IsSpherical() {
			steps = shapeSamples
		}
	}
	heights := make([]float64, 0, steps+1)
	for i := 0; i <= steps; i++ {
		heights = append(heights, half*float64(i)/float64(steps))
	}
	return heights
}

func checkSurface(r *row, l *Lens, i int, aspheres []asphereColumn) bool {
	s := l.Surfaces[i]
	half := l.DiameterMM / 2
	if s.Conic == 0 && math.Abs(s.RadiusMM) < half {
		r.fault(radiusColumn(i+1), fmt.Sprintf("a sphere of radius %g does not reach half the diameter, %g mm", s.RadiusMM, half),
			fmt.Sprintf("at least %g in magnitude, or a smaller diameter_mm", half))
		return false
	}
	if s.Conic != 0 && math.IsNaN(Surface{RadiusMM: s.RadiusMM, Conic: s.Conic}.Sag(half)) {
		most := math.Pow(s.RadiusMM/half, 2) - 1
		r.fault(conicColumn(i+1), fmt.Sprintf("a conic of radius %g and constant %g does not reach half the diameter, %g mm", s.RadiusMM, s.Conic, half),
			fmt.Sprintf("at most %.4g for this radius and diameter", math.Floor(most*1000)/1000))
		return false
	}
	for _, h := range shapeHeights(l, s) {
		if math.Abs(s.Sag(h)) <= maxSizeMM {
			continue
		}
		r.fault(asphereNames(i+1, aspheres), fmt.Sprintf("with these terms the surface lies %.3g mm from its vertex plane at %.4g mm from the axis", s.Sag(h), h),
			"terms for heights in mm: a4 in mm^-3, a6 in mm^-5, …")
		return false
	}
	return true
}

// asphereNames are the columns of a surface's aspheric terms.
func asphereNames(surface int, aspheres []asphereColumn) string {
	var names []string
	for _, c := range aspheres {
		if c.surface == surface {
			names = append(names, c.name)
		}
	}
	return strings.Join(names, ", ")
}

// checkFocalLengths warns when the published focal lengths are not those of
// the prescription. Makers publish for the d or the e line, so that one of the
// two has to agree.
func (lr *lensReader) checkFocalLengths(r *row, l *Lens) {
	if !IsSet(l.EFLMM) && !IsSet(l.BFLMM) {
		return
	}
	eflD, bflD, fflD := l.Cardinal(LineD)
	eflE, bflE, fflE := l.Cardinal(LineE)
	afocal := l.isAfocal(LineD) || l.isAfocal(LineE)
	agrees := func(published, d, e float64) bool {
		if math.IsInf(published, 0) {
			return afocal
		}
		size := math.Abs(published)
		if published == 0 { // a back focal length that rounds to nothing
			size = math.Abs(eflD)
		}
		near := func(x float64) bool { return math.Abs(x-published) <= focalMismatchRatio*size }
		return near(d) || near(e)
	}
	warn := func(column string, published, computed float64, want string) {
		lr.warnings = append(lr.warnings, Fault{
			File: r.table.file, Line: r.line, Key: column,
			Found: fmt.Sprintf("part %s: published %g mm, but the prescription gives %.5g mm", quoted(l.Part), published, computed),
			Want:  want,
		})
	}
	const compare = "agreement within 2 %: compare radii, their signs, thicknesses and glasses with the data sheet"
	if IsSet(l.EFLMM) && !agrees(l.EFLMM, eflD, eflE) {
		warn("efl_mm", l.EFLMM, eflD, compare)
	}
	if IsSet(l.BFLMM) && !agrees(l.BFLMM, bflD, bflE) {
		want := compare
		if agrees(l.BFLMM, fflD, fflE) {
			want = "agreement within 2 %: the value fits the lens turned round, so its surfaces may stand in the wrong order"
		}
		warn("bfl_mm", l.BFLMM, bflD, want)
	}
}

// isAfocal tells whether the power is nothing beside those of the surfaces.
func (l *Lens) isAfocal(wavelengthNM float64) bool {
	efl, _, _ := l.Cardinal(wavelengthNM)
	sum, n := 0.0, 1.0
	for i, s := range l.Surfaces {
		after := 1.0
		if i < len(l.Glasses) {
			after = l.Glasses[i].Index(wavelengthNM)
		}
		sum += math.Abs((after - n) * s.Curvature())
		n = after
	}
	return math.Abs(1/efl) <= focalMismatchRatio*sum
}
