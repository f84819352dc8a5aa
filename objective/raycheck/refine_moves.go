package raycheck

import (
	"math"

	"relaysweep/objective"
	"slices"
)

// Units of an optimisation's unknowns, in mm: the largest change of a gap that a
// unit makes, the least, and the units of eye relief and a pair's inner gap.
const (
	gapUnitMost  = 2.0
	gapUnitLeast = 0.02
	reliefUnit   = 2.0
	innerUnit    = 4.0
)

// Centre chooses the unknowns in which a refinement does well to move a train from
// the place x (see [Refiner.Evaluate]), which is their zero; [Refiner.Place] leads
// from them to places. Gaps by themselves would make a narrow valley, because
// moving any one of them spoils both the vergence and the angular magnification. The unknowns
// are, each in a unit of its own,
//
//   - the vergence of the world, in the limit on axis_vergence_D,
//   - the angular magnification, in its tolerance (not in a keplerian, which
//     has one gap),
//   - the inner gap of a pair relay: the other two gaps follow it as they do in the
//     paraxial solution, so that vergence and magnification stay,
//   - the eye relief.
//
// The first two change gaps in proportion, by what is right at x to first order.
func (r *Refiner) Centre(x []float64) {
	r.place(x)
	n := len(r.t.Gaps)
	r.centre = append(r.centre[:0], x...)
	r.moves = [2][2]float64{}
	// The vergence that is lacking is A·C with A = 1/Θ.
	vergence := r.c.limits[axisVergence] / 1000 * math.Abs(r.t.AngularMagnification)
	magnification := max(r.p.MagnificationTol, toleranceScale) * r.p.Magnification
	if n == 1 {
		c, _ := r.gapRates(0)
		r.moves[0][0] = gapUnit(vergence / math.Abs(c))
		return
	}
	c1, theta1 := r.gapRates(0)
	c2, theta2 := r.gapRates(n - 1)
	det := float64(c1*theta2) - float64(c2*theta1)
	r.moves[0] = [2]float64{vergence * theta2 / det, -vergence * theta1 / det}
	r.moves[1] = [2]float64{-magnification * c2 / det, magnification * c1 / det}
	for k := range r.moves {
		move := &r.moves[k]
		size := max(math.Abs(move[0]), math.Abs(move[1]))
		if !(size > 0 && size < math.Inf(1)) { // no such direction
			*move = [2]float64{}
			move[k] = gapUnitLeast
			continue
		}
		by := gapUnit(size) / size
		move[0], move[1] = move[0]*by, move[1]*by
	}
}

// Place is where unknowns lead, see [Refiner.Centre]: by how many mm each gap, and at
// last the eye relief, differs from the paraxial one.
func (r *Refiner) Place(u []float64) []float64 {
	n := len(r.start.Gaps)
	x := slices.Clone(r.centre)
	x[n] += float64(reliefUnit * u[n])
	if n == 3 {
		inner := r.start.Gaps[1] + r.centre[1]
		before, after := r.follow(inner), r.follow(inner+float64(innerUnit*u[2]))
		for i := range before {
			x[i] += after[i] - before[i]
		}
	}
	x[0] += float64(u[0] * r.moves[0][0])
	if n > 1 {
		x[0] += float64(u[1] * r.moves[1][0])
		x[n-1] += float64(u[0]*r.moves[0][1]) + float64(u[1]*r.moves[1][1])
	}
	return x
}

// follow is the gaps of a pair relay's train at an inner gap by the paraxial solution;
// where there is none, of the start but for the inner one.
func (r *Refiner) follow(inner float64) (gaps [3]float64) {
	t := &r.paraxial
	t.Layout, t.Seat, t.Groups = r.start.Layout, r.start.Seat, r.start.Groups
	copy(gaps[:], r.start.Gaps)
	gaps[1] = inner
	if failed := r.p.Assemble(t, inner); failed != objective.Focal && failed != objective.Magnification {
		copy(gaps[:], t.Gaps)
	}
	return gaps
}

// gapUnit bounds the step of a gap.
func gapUnit(size float64) float64 { return min(gapUnitMost, max(gapUnitLeast, size)) }

// gapRates is how fast C of the matrix to the eye and Θ = 1/A change with a gap of
// the train in hand, per mm; A and C are linear in each.
func (r *Refiner) gapRates(gap int) (c, theta float64) {
	before := r.p.EyeMatrix(r.t)
	was := r.t.Gaps[gap]
	r.t.Gaps[gap]++
	after := r.p.EyeMatrix(r.t)
	r.t.Gaps[gap] = was
	return after.C - before.C, -(after.A - before.A) / (before.A * before.A)
}

// RanksRelief reports whether the ranked length holds the eye relief.
func (r *Refiner) RanksRelief() bool { return r.by == objective.ByLengthToEye }

// LeastRelief is by how many mm the eye may be moved, or less, whatever the rays
// say.
func (r *Refiner) LeastRelief() float64 {
	return r.p.LeastRelief() - r.start.EyeRelief
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
	least := r.p.LeastRelief()
	var starts [][]float64
	add := func(t *objective.Train, relief float64) {
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
		if failed := r.p.Assemble(&t, inner); failed != objective.Met {
			continue
		}
		add(&t, r.start.EyeRelief)
		relief, failed := r.p.Judge(&t)
		if failed != objective.Met {
			relief.Lo = least
		}
		if relief.Lo < r.start.EyeRelief {
			add(&t, relief.Lo)
		}
	}
	return starts
}
