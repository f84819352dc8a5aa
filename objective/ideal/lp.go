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

// solve is the dual simplex method with bounded unknowns (V. Chvátal, Linear
// Programming, 1983, chapters 8 and 10). It goes from vertex to vertex of active
// conditions, all multipliers >= 0, and starts from the best corner of the box.
// What is concluded rests on the multipliers alone (see lagrangian), so that a
// solution that is not quite right is a weaker bound and not a wrong one.
func (l *lp) solve() {
	// Slot w holds an active condition: row active[w], or where that is
	// negative the end side[w] of unknown -1-active[w]. inverse[i][w] is the
	// inverse of the matrix of their normals.
	var active [lpUnknowns]int
	var side, dual, right [lpUnknowns]float64
	var inverse [lpUnknowns][lpUnknowns]float64
	for i := range l.n {
		side[i] = 1
		if l.c[i] > 0 {
			side[i] = -1
		}
		active[i], dual[i], right[i] = -1-i, math.Abs(l.c[i]), 1
		inverse[i][i] = side[i]
	}
	l.none = false
	for range lpSteps {
		for i := range l.n {
			l.xi[i] = 0
			for w := range l.n {
				l.xi[i] += float64(inverse[i][w] * right[w])
			}
		}
		// The condition that is broken most enters.
		enter, enterSide, worst := 0, 1.0, lpTolerance
		var normal [lpUnknowns]float64
		for i := range l.n {
			if over := math.Abs(l.xi[i]) - 1; over > worst {
				enter, enterSide, worst = -1-i, math.Copysign(1, l.xi[i]), over
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
		if worst == lpTolerance {
			break
		}
		b := 1.0
		if enter < 0 {
			normal[-1-enter] = enterSide
		} else {
			normal, b = l.rows[enter].a, l.rows[enter].b
		}
		// In terms of the active normals it is Σ share[w]·normal_w.
		var share [lpUnknowns]float64
		leave, ratio := -1, math.Inf(1)
		for w := range l.n {
			for i := range l.n {
				share[w] += float64(normal[i] * inverse[i][w])
			}
			if share[w] > 1e-11 && dual[w]/share[w] < ratio {
				leave, ratio = w, dual[w]/share[w]
			}
		}
		if leave < 0 {
			l.none = true
			for w := range l.n {
				dual[w] = math.Max(0, -share[w])
			}
			l.keep(&active, &dual)
			if enter >= 0 {
				l.multiply[enter] = 1
			}
			return
		}
		for w := range l.n {
			dual[w] = math.Max(0, dual[w]-float64(ratio*share[w]))
		}
		active[leave], side[leave], dual[leave], right[leave] = enter, enterSide, ratio, b
		for i := range l.n {
			inverse[i][leave] /= share[leave]
			for w := range l.n {
				if w != leave {
					inverse[i][w] -= float64(share[w] * inverse[i][leave])
				}
			}
		}
	}
	l.keep(&active, &dual)
}

// keep notes the multipliers of the rows among the active conditions.
func (l *lp) keep(active *[lpUnknowns]int, dual *[lpUnknowns]float64) {
	l.multiply = l.multiply[:0]
	for range l.rows {
		l.multiply = append(l.multiply, 0)
	}
	for w := range l.n {
		if active[w] >= 0 {
			l.multiply[active[w]] = dual[w]
		}
	}
}
