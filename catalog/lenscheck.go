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
				fmt.Sprintf("at least %.4g for these radii and this diameter%s", roundUp(l.ThicknessMM[i]-thinnest), signHint(l, i)))
		}
	}
}

// signHint names the radii of an element with whose other sign it would have an
// edge; it is empty when there are none.
func signHint(l *Lens, element int) string {
	var names []string
	for i := element; i <= element+1; i++ {
		if math.IsInf(l.Surfaces[i].RadiusMM, 0) {
			continue
		}
		changed := withSurfaces(l, func(s []Surface) { s[i] = s[i].Reversed() })
		if changed.EdgeThicknessMM(element) >= -edgeSlackMM {
			names = append(names, radiusColumn(i+1))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "; or " + strings.Join(names, " or ") + " may have the wrong sign: a radius is positive when its centre lies on the eye side"
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
	s := l.Surfaces[i].Smooth() // whose slopes the facets of a Fresnel surface have
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
