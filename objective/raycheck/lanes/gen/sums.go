package main

import "github.com/mmcloughlin/avo/operand"

// lines are the arrays of lines and their weights.
var lines = []string{"x", "y", "sx", "sy", "weight"}

// sums adds up quantities of lines, each in the order of the lines: vectors that hold a
// quantity of several lines are turned into vectors that hold several quantities of one
// line.
type sums struct {
	*writer
	all    []vec // of width quantities each
	counts operand.Mem
}

func (w *writer) sums(groups int) *sums {
	s := &sums{writer: w, counts: w.AllocLocal(vectorBytes)}
	for range groups {
		s.all = append(s.all, w.fetch(w.constant(0)))
	}
	return s
}

// weight is the weights of the lines in hand. Those count that have one and are not done.
func (s *sums) weight() vec {
	q := s.load("weight")
	counts := s.compare(q, notEqual, s.constant(0))
	if s.inTail {
		counts = s.and(counts, s.tailMask())
	}
	s.VMOVUPD(counts, s.counts)
	return q
}

// take adds width quantities of the lines that count to those of a group.
func (s *sums) take(group int, quantities ...vec) {
	for i, q := range quantities {
		quantities[i] = s.and(q, s.counts)
	}
	pair := func(unpack func(...operand.Op), a, b vec) vec { d := s.YMM(); unpack(b, a, d); return d }
	a, b := quantities[:2], quantities[2:]
	even, odd := pair(s.VUNPCKLPD, a[0], a[1]), pair(s.VUNPCKHPD, a[0], a[1])
	even2, odd2 := pair(s.VUNPCKLPD, b[0], b[1]), pair(s.VUNPCKHPD, b[0], b[1])
	line := func(half operand.Constant, a, b vec) {
		one := s.YMM()
		s.VPERM2F128(half, b, a, one)
		s.set(s.all[group], s.writer.add(s.all[group], one))
	}
	line(operand.U8(0x20), even, even2)
	line(operand.U8(0x20), odd, odd2)
	line(operand.U8(0x31), even, even2)
	line(operand.U8(0x31), odd, odd2)
}

// finish gives the sums.
func (s *sums) finish() {
	to := s.Load(s.Param("sums"), s.GP64())
	for i, v := range s.all {
		s.VMOVUPD(v, operand.Mem{Base: to, Disp: i * vectorBytes})
	}
	s.end()
}

// crossingSums writes the kernel of sums of crossings with a plane.
func crossingSums(w *writer) {
	w.function("crossingSumsAVX2", "crossingSumsAVX2 is Lines.plainCrossingSums for arrays with room for whole vectors.",
		lines, "distance, chief float64, sums *float64", "")
	distance, chief := w.param("distance"), w.param("chief")
	s := w.sums(2)
	w.each(func() {
		q := s.weight()
		sx, sy := w.load("sx"), w.load("sy")
		px := w.add(w.mul(distance, sx), w.in("x"))
		py := w.sub(w.add(w.mul(distance, sy), w.in("y")), chief)
		product := func(a, b, c, d vec) vec { return w.mul(w.add(w.mul(a, b), w.mul(c, d)), q) }
		s.take(0, product(px, px, py, py), product(px, sx, py, sy), product(sx, sx, sy, sy), q)
		s.take(1, w.mul(q, px), w.mul(q, sx), w.mul(q, py), w.mul(q, sy))
	})
	s.finish()
}

// slopeSums writes the kernel of sums of slopes about a point.
func slopeSums(w *writer) {
	w.function("slopeSumsAVX2", "slopeSumsAVX2 is Lines.plainSlopeSums for arrays with room for whole vectors.",
		lines, "vergence, chief float64, sums *float64", "")
	v, chief := w.param("vergence"), w.param("chief")
	s := w.sums(3)
	w.each(func() {
		q := s.weight()
		x := w.load("x")
		ex := w.add(w.mul(v, x), w.in("sx"))
		qx, qex := w.mul(q, x), w.mul(q, ex)
		s.take(0, w.mul(qx, x), w.mul(qx, ex), w.mul(qex, ex), qx)
		y := w.load("y")
		ey := w.sub(w.add(w.mul(v, y), w.in("sy")), chief)
		qy, qey := w.mul(q, y), w.mul(q, ey)
		s.take(1, w.mul(qy, y), w.mul(qy, ey), w.mul(qey, ey), qy)
		s.take(2, q, qex, qey, w.fetch(w.constant(0)))
	})
	s.finish()
}
