package ideal

import "math"

// A linear programme in few unknowns: the least c·ξ over -1 <= ξ_i <= 1 with
// a·ξ <= b for each row.

// lpUnknowns is the largest number of unknowns of a linear programme: those of
// a thin train and one for how far requirements are broken.
const lpUnknowns = unknownCount + 1

type lpRow struct {
	a [lpUnknowns]float64
	b float64
}

type lp struct {
	n    int
	c    [lpUnknowns]float64
	rows []lpRow
	// What solve leaves: a vertex, and the rows' multipliers. With no solution
	// the multipliers are those of a sum of rows that can't be met.
	xi       [lpUnknowns]float64
	multiply []float64
	none     bool
}

const (
	lpTolerance = 1e-10 // by which rows of order 1 may be broken
	lpSteps     = 100   // far more than such small programmes take
)

// lpBasis is a vertex of active conditions. Slot w holds one: row active[w], or where that is
// negative the end side[w] of unknown -1-active[w]. inverse[i][w] is the inverse of the
// matrix of their normals, right[w] their right sides, and dual[w] their multipliers.
type lpBasis struct {
	active            [lpUnknowns]int
	side, dual, right [lpUnknowns]float64
	inverse           [lpUnknowns][lpUnknowns]float64
}

// solve is the dual simplex method with bounded unknowns (V. Chvátal, Linear
// Programming, 1983, chapters 8 and 10). It goes from vertex to vertex of active
// conditions, all multipliers >= 0, and starts from the best corner of the box.
// What is concluded rests on the multipliers alone (see boxSearch.bound), so that a
// solution that is not quite right is a weaker bound and not a wrong one.
func (l *lp) solve() {
	var v lpBasis
	l.corner(&v)
	l.none = false
	for range lpSteps {
		enter, side, broken := l.mostBroken(&v)
		if !broken {
			break
		}
		var normal [lpUnknowns]float64
		b := 1.0
		if enter < 0 {
			normal[-1-enter] = side
		} else {
			normal, b = l.rows[enter].a, l.rows[enter].b
		}
		leave, ratio, weight := l.leaving(&v, &normal)
		if leave < 0 {
			l.none = true
			for w := range l.n {
				v.dual[w] = math.Max(0, -weight[w])
			}
			l.keep(&v)
			if enter >= 0 {
				l.multiply[enter] = 1
			}
			return
		}
		for w := range l.n {
			v.dual[w] = math.Max(0, v.dual[w]-float64(ratio*weight[w]))
		}
		v.active[leave], v.side[leave], v.dual[leave], v.right[leave] = enter, side, ratio, b
		l.exchange(&v, leave, &weight)
	}
	l.keep(&v)
}

// corner makes v the corner of the box that the costs alone ask for.
func (l *lp) corner(v *lpBasis) {
	for i := range l.n {
		v.side[i] = 1
		if l.c[i] > 0 {
			v.side[i] = -1
		}
		v.active[i], v.dual[i], v.right[i] = -1-i, math.Abs(l.c[i]), 1
		v.inverse[i][i] = v.side[i]
	}
}

// mostBroken goes to the vertex and finds the condition that is broken most there, which
// enters next; of an end of an unknown with its side.
func (l *lp) mostBroken(v *lpBasis) (enter int, side float64, broken bool) {
	for i := range l.n {
		l.xi[i] = 0
		for w := range l.n {
			l.xi[i] += float64(v.inverse[i][w] * v.right[w])
		}
	}
	side = 1
	worst := lpTolerance
	for i := range l.n {
		if over := math.Abs(l.xi[i]) - 1; over > worst {
			enter, side, worst = -1-i, math.Copysign(1, l.xi[i]), over
		}
	}
	for j := range l.rows {
		r := &l.rows[j]
		over := -r.b
		for i := range l.n {
			over += float64(r.a[i] * l.xi[i])
		}
		if over > worst {
			enter, worst = j, over
		}
	}
	return enter, side, worst > lpTolerance
}

// leaving finds the slot that a condition with a normal takes, by the ratio test, -1 for none.
// In terms of the active normals it is Σ weight[w]·normal_w.
func (l *lp) leaving(v *lpBasis, normal *[lpUnknowns]float64) (leave int, ratio float64, weight [lpUnknowns]float64) {
	leave, ratio = -1, math.Inf(1)
	for w := range l.n {
		for i := range l.n {
			weight[w] += float64(normal[i] * v.inverse[i][w])
		}
		if weight[w] > 1e-11 && v.dual[w]/weight[w] < ratio {
			leave, ratio = w, v.dual[w]/weight[w]
		}
	}
	return leave, ratio, weight
}

// exchange updates the inverse for the condition that has taken a slot.
func (l *lp) exchange(v *lpBasis, leave int, weight *[lpUnknowns]float64) {
	for i := range l.n {
		v.inverse[i][leave] /= weight[leave]
		for w := range l.n {
			if w != leave {
				v.inverse[i][w] -= float64(weight[w] * v.inverse[i][leave])
			}
		}
	}
}

// keep notes the multipliers of the rows among the active conditions.
func (l *lp) keep(v *lpBasis) {
	l.multiply = l.multiply[:0]
	for range l.rows {
		l.multiply = append(l.multiply, 0)
	}
	for w := range l.n {
		if v.active[w] >= 0 {
			l.multiply[v.active[w]] = v.dual[w]
		}
	}
}
