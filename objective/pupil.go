package objective

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// The filling of the pupil for root-mean-square metrics. Slopes and crossings
// are smooth functions of the pupil point, aberrations of the fifth order
// polynomials of degree 5, so that their squares have degree 10: five in the
// squared radius, which three Gauss nodes integrate exactly, and up to the 10th
// harmonic in azimuth, of which ten equally spaced arms integrate all but the
// 10th itself exactly. TestCheckQuadrature compares them with a finer rule.
const (
	pupilRings    = 3
	pupilHalfArms = 5 // of ten
	// On the axis a bundle is a figure of revolution: two arms and their
	// mirror images tell everything.
	axialHalfArms = 2
	// densePupilCells is the number of cells across the pupil in the uniform
	// filling that replaces the quadrature for a bundle that loses rays.
	densePupilCells = 40
)

// pupil is a filling of the half x > 0 of a disc. Everything that is traced is
// mirror symmetric about the y-z plane, so that the other half follows from it.
type pupil struct {
	x, y   []float64 // mm
	weight []float64 // of a point and its mirror image; they add up to 1
}

func (f *pupil) add(x, y, weight float64) {
	f.x = append(f.x, x)
	f.y = append(f.y, y)
	f.weight = append(f.weight, weight)
}

// gaussPupil fills a disc of the given radius by a product rule: Gauss-Legendre
// nodes in the squared radius, in which the area is uniform, times equally
// spaced arms (A. H. Stroud, Approximate Calculation of Multiple Integrals,
// 1971, product formulas for the circle).
func gaussPupil(radius float64, rings, halfArms int) pupil {
	node, weight := make([]float64, rings), make([]float64, rings)
	quad.Legendre{}.FixedLocations(node, weight, 0, 1)
	var f pupil
	for i := range rings {
		rho := radius * math.Sqrt(node[i])
		for j := range halfArms {
			sin, cos := math.Sincos(math.Pi * (float64(j) + 0.5 - float64(halfArms)/2) / float64(halfArms))
			f.add(rho*cos, rho*sin, weight[i]/float64(halfArms))
		}
	}
	return f
}

// densePupil fills a disc of the given radius with the centres of the equal
// square cells that lie in it, cells of them across the diameter.
func densePupil(radius float64, cells int) pupil {
	h := 2 * radius / float64(cells)
	var f pupil
	for i := range (cells + 1) / 2 {
		x := (float64(i) + 0.5) * h
		for j := range cells {
			y := (float64(j) + 0.5 - float64(cells)/2) * h
			if math.Hypot(x, y) < radius {
				f.add(x, y, 1)
			}
		}
	}
	for i := range f.weight {
		f.weight[i] = 1 / float64(len(f.x))
	}
	return f
}
