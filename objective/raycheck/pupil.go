package raycheck

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
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

// gaussPupil fills a disc of the given radius: Gauss-Legendre nodes in the
// squared radius, in which the area is uniform, times equally spaced arms (G. W.
// Forbes, J. Opt. Soc. Am. A 5, 1943, 1988; A. H. Stroud, Approximate Calculation
// of Multiple Integrals, 1971, product formulas for the circle). halfArms has
// the points in half the pupil for each ring from the centre on.
//
// Aberrations of the third order have squares of degree six in the pupil radius,
// those of the fifth of degree ten; three rings integrate both exactly. A ring of
// m points in half the pupil, 2m in all, integrates harmonics below 2m exactly.
// What varies with the m-th harmonic goes with the m-th power of the radius, so
// that inner rings need fewer points.
func gaussPupil(radius float64, halfArms []int) pupil {
	rings := len(halfArms)
	node, weight := make([]float64, rings), make([]float64, rings)
	quad.Legendre{}.FixedLocations(node, weight, 0, 1)
	slices.Sort(node) // they come from 1 to 0; weights are the same either way
	var f pupil
	for i, arms := range halfArms {
		rho := radius * math.Sqrt(node[i])
		for j := range arms {
			sin, cos := math.Sincos(math.Pi * (float64(j) + 0.5 - float64(arms)/2) / float64(arms))
			f.add(rho*cos, rho*sin, weight[i]/float64(arms))
		}
	}
	return f
}

// axialPupil is one arm of gaussPupil, for a bundle that is a figure of
// revolution. It lies at 45°, where sums over x and over y agree; sums that are
// odd in y are not zero as they should be, and have to be left out.
func axialPupil(radius float64, rings int) pupil {
	halfArms := make([]int, rings)
	for i := range halfArms {
		halfArms[i] = 1
	}
	f := gaussPupil(radius, halfArms)
	for i, rho := range f.x {
		f.x[i], f.y[i] = rho*math.Sqrt2/2, rho*math.Sqrt2/2
	}
	return f
}
