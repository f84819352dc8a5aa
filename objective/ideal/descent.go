package ideal

import (
	"math"

	"relaysweep/objective"
)

// descend looks for a short thin train near a point: it goes down by linear
// programmes (sequential linear programming with an exact penalty: R. Fletcher,
// Practical Methods of Optimization, 2nd ed., 1987, section 14.4), within a
// region around the point that shrinks whenever a step does not help. What it
// finds counts if the model of the package accepts it.
func (s *boxSearch) descend(space int, x [unknownCount]float64) {
	m := s.cases[space]
	whole, _ := m.whole(longestMM)
	var reach [unknownCount]float64
	for i := range m.n {
		reach[i] = math.Min(whole.hi[i]-whole.lo[i], float64(0.3*math.Abs(x[i]))+leastStep)
	}
	reach[atE] = (whole.hi[atE] - whole.lo[atE]) / 2
	length, broken := s.point(m, &x)
	penalty := 10 * length
search:
	for range 60 {
		var near box
		for i := range m.n {
			near.lo[i] = math.Max(whole.lo[i], x[i]-reach[i])
			near.hi[i] = math.Min(whole.hi[i], x[i]+reach[i])
		}
		next, multipliers := s.step(m, &near, penalty)
		if multipliers > 0.9*penalty {
			penalty *= 10
		}
		l, b := s.point(m, &next)
		if gain := length - l + float64(penalty*(broken-b)); gain > 0 {
			x, length, broken = next, l, b
			switch {
			case gain > 1e-7*length:
				continue
			case broken > 0:
				penalty *= 10
				continue
			}
			break search
		}
		tiny := true
		for i := range m.n {
			reach[i] /= 4
			tiny = tiny && reach[i] < 1e-9*(math.Abs(x[i])+leastStep)
		}
		if tiny {
			break
		}
	}
	t, failed := m.train(&x)
	if failed == objective.Met && t.Ranked(m.by) < s.rank {
		s.best, s.rank = t, t.Ranked(m.by)
	}
}

// point is the length at a point and by how much its requirements are broken.
func (s *boxSearch) point(m *thinCase, x *[unknownCount]float64) (length, broken float64) {
	b := box{*x, *x}
	length = m.at(&b, &s.rows).c
	for i := range s.rows.rows {
		broken = math.Max(broken, s.rows.rows[i].c+reportMargin)
	}
	return length, broken
}

// step is the best point of a box by its linear parts, a breach of the
// requirements counting with a penalty.
func (s *boxSearch) step(m *thinCase, near *box, penalty float64) (x [unknownCount]float64, multipliers float64) {
	middle := *near
	for i := range m.n {
		middle.lo[i] = near.lo[i] + (near.hi[i]-near.lo[i])/2
		middle.hi[i] = middle.lo[i]
	}
	_, broken := s.point(m, &middle.lo)
	ranked := m.at(near, &s.rows)
	l := &s.lp
	l.n = m.n + 1
	l.c = [lpUnknowns]float64{}
	copy(l.c[:], ranked.g[:])
	// The breach is most·(1 + ξ)/2.
	most := broken + broken + 1
	l.c[m.n] = penalty * most / 2
	l.rows = l.rows[:0]
	for i := range s.rows.rows {
		r := &s.rows.rows[i]
		row := lpRow{b: most/2 - r.c - reportMargin}
		copy(row.a[:], r.g[:])
		row.a[m.n] = -most / 2
		l.rows = append(l.rows, row)
	}
	l.solve()
	for _, k := range l.multiply {
		multipliers += k
	}
	for i := range m.n {
		x[i] = near.at(i, l.xi[i])
	}
	return x, multipliers
}
