package objective

import (
	"math"
	"slices"
)

// Steps of an optimisation's unknowns, in mm: the largest that a gap makes for one
// unit of an unknown, the least, and what a unit of the eye relief and of a
// pair's inner gap is.
const (
	gapUnitMost  = 2.0
	gapUnitLeast = 0.02
	reliefUnit   = 2.0
	innerUnit    = 2.0
)

// Moves are directions in which a refinement does well to move a train from the
// place x (see [Refiner.Evaluate]): as many as there are unknowns, each the change
// of gaps and eye relief in mm for one unit. Gaps by themselves would make a narrow
// valley, because moving any one of them spoils both the vergence and the angular magnification. To
// first order the directions change
//
//   - the vergence of the world alone, by the limit on axis_vergence_D,
//   - the angular magnification alone, by its tolerance (not in a keplerian, which
//     has one gap),
//   - the inner gap of a pair relay, with the other two gaps such that vergence
//     and magnification stay,
//   - the eye relief.
func (r *Refiner) Moves(x []float64) [][]float64 {
	r.place(x)
	n := len(r.t.Gaps)
	units := make([][]float64, n+1)
	for i := range units {
		units[i] = make([]float64, n+1)
	}
	units[n][n] = reliefUnit
	// The vergence that is lacking at the eye is A·C, and A is nearly 1/Θ; C and D
	// do not depend on the eye relief.
	vergence := r.c.limits[axisVergence] / 1000 * math.Abs(r.t.AngularMagnification)
	magnification := max(r.p.MagnificationTol, toleranceScale) * r.p.Magnification
	if n == 1 {
		c, _ := r.gapRates(0)
		units[0][0] = gapUnit(vergence / math.Abs(c))
		return units
	}
	first, last := 0, n-1
	c1, d1 := r.gapRates(first)
	c2, d2 := r.gapRates(last)
	// solve gives the changes of the first and the last gap that change C and D.
	det := float64(c1*d2) - float64(c2*d1)
	solve := func(to []float64, c, d float64) {
		to[first], to[last] = (float64(c*d2)-float64(d*c2))/det, (float64(d*c1)-float64(c*d1))/det
	}
	solve(units[0], vergence, 0)
	solve(units[1], 0, magnification)
	for k, unit := range units[:2] {
		size := max(math.Abs(unit[first]), math.Abs(unit[last]))
		if !(size > 0 && size < math.Inf(1)) { // no such direction
			clear(unit)
			unit[[...]int{first, last}[k]] = gapUnitLeast
			continue
		}
		for i := range unit {
			unit[i] *= gapUnit(size) / size
		}
	}
	if n == 3 {
		c, d := r.gapRates(1)
		solve(units[2], -c, -d)
		units[2][1] = 1
		size := max(1, math.Abs(units[2][first]), math.Abs(units[2][last]))
		if math.IsNaN(size) || math.IsInf(size, 1) {
			clear(units[2])
			units[2][1], size = 1, 1
		}
		for i := range units[2] {
			units[2][i] *= innerUnit / size
		}
	}
	return units
}

// gapUnit bounds the step of a gap.
func gapUnit(size float64) float64 { return min(gapUnitMost, max(gapUnitLeast, size)) }

// gapRates is how fast C and D of the matrix to the eye change with a gap of the
// train in hand, per mm: they are linear in each.
func (r *Refiner) gapRates(gap int) (c, d float64) {
	before := r.p.EyeMatrix(r.t)
	was := r.t.Gaps[gap]
	r.t.Gaps[gap]++
	after := r.p.EyeMatrix(r.t)
	r.t.Gaps[gap] = was
	return after.C - before.C, after.D - before.D
}

// innerStarts are the inner gaps of other starts, in mm more than the one that
// the paraxial solution has.
var innerStarts = [...]float64{3, -3, 7, -7, 12, 18, 26}

// reliefStarts are the eye reliefs of other starts, as shares of the range that is
// allowed.
var reliefStarts = [...]float64{0, 0.25, 0.5}

// Starts are places other than the first, 0, to begin a refinement from: afocal
// trains of the magnification wanted, by the paraxial model, at other eye reliefs and, of a pair
// relay, other inner gaps.
func (r *Refiner) Starts() [][]float64 {
	n := len(r.start.Gaps)
	least := max(r.p.ReliefMin, r.p.CombinerMM)
	var starts [][]float64
	add := func(t *Train, relief float64) {
		x := make([]float64, n+1)
		for i, gap := range t.Gaps {
			x[i] = gap - r.start.Gaps[i]
		}
		x[n] = relief - r.start.EyeRelief
		starts = append(starts, x)
	}
	if n != 3 {
		for _, share := range reliefStarts {
			add(r.start, least+float64(share*(r.p.ReliefMax-least)))
		}
		return starts
	}
	t := *r.start
	t.Gaps = slices.Clone(r.start.Gaps)
	for _, more := range innerStarts {
		inner := r.start.Gaps[1] + more
		if failed := r.p.Assemble(&t, inner); failed != Met {
			continue
		}
		add(&t, r.start.EyeRelief)
		relief, failed := r.p.Judge(&t)
		if failed != Met {
			relief.Lo = least
		}
		if relief.Lo < r.start.EyeRelief {
			add(&t, relief.Lo)
		}
	}
	return starts
}
