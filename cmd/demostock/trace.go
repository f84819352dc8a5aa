package main

import (
	"math"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// zones are the parts of a beam's radius at which it is traced, each the mean
// of a ring of equal area.
const zones = 8

// axisCrossing is where a ray that comes in parallel to the axis at a height
// on the side of the first surface crosses the axis, in mm behind the last
// vertex, and its slope there; NaN for a ray that does not come through.
func axisCrossing(l *catalog.Lens, nm, height float64) (crossing, slope float64) {
	// Rays are traced from the eye: the lens is turned round for it, and
	// light runs towards negative z.
	problem := objective.Problem{WavelengthsNM: []float64{nm}, Weights: []float64{1}}
	elements := objective.NewLibrary(&problem, []*catalog.Lens{l}).Elements
	group := problem.NewGroup(elements[len(elements)-1])
	train := objective.Train{Groups: []*objective.Group{group}, Length: group.ThicknessMM, EyeRelief: l.DiameterMM}
	points, complete := raycheck.TraceRay(&problem, &train, []float64{0}, raycheck.RayStart{WavelengthNM: nm, YMM: height})
	if !complete {
		return math.NaN(), math.NaN()
	}
	last := points[len(points)-1]
	slope = last.M / last.N
	return last.Y/slope - last.Z, slope
}

// spherical is the longitudinal spherical aberration in mm of the ray at a
// height: how far behind the paraxial focus it crosses the axis, at the e line.
func spherical(l *catalog.Lens, height float64) float64 {
	crossing, _ := axisCrossing(l, catalog.LineE, height)
	_, bfl, _ := l.Cardinal(catalog.LineE)
	return crossing - bfl
}

// spotRMS is the root mean square distance in mm from the axis of the rays of
// an axial beam of half width margin, of the wavelengths F', e and C' with
// weights 1, 2 and 1, in the plane where that is least. +Inf when a ray is
// lost.
func spotRMS(l *catalog.Lens, margin float64) float64 {
	var weights, squares, first, second float64 // moments of the crossings, weighted by slope²
	for _, light := range []struct{ nm, weight float64 }{{lineF, 1}, {catalog.LineE, 2}, {lineC, 1}} {
		for zone := range zones {
			height := margin * math.Sqrt((float64(zone)+0.5)/zones)
			crossing, slope := axisCrossing(l, light.nm, height)
			if math.IsNaN(crossing) {
				return math.Inf(1)
			}
			w := light.weight * slope * slope
			weights += light.weight
			squares += w
			first += w * crossing
			second += w * crossing * crossing
		}
	}
	// A ray lies (z - crossing)·slope from the axis in the plane z.
	return math.Sqrt(math.Max(0, second-first*first/squares) / weights)
}
