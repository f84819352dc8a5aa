package main

import (
	"math"

	"github.com/mmcloughlin/avo/operand"
)

// facets writes the kernel of a plane with facets: powers are as for asphere, possibly none.
func facets(w *writer) {
	w.function("facetsAVX2", "facetsAVX2 is Rays.plainFacets for arrays with room for whole vectors.",
		rays, "distance, curvature, conic, ratio float64, powers, end *[2]float64", " (margin float64)")
	s := w.surface()
	q := s.conics()
	k1cc := w.keep(w.mul(w.fetch(q.k1c), q.c))
	kept := w.between()
	meet := func() {
		px, py := s.toPlane(w.fetch(q.distance))
		w.store(px, "x")
		w.store(py, "y")
		zero := w.YMM()
		w.VXORPD(zero, zero, zero)
		w.store(zero, "w")
		h2 := s.squares(px, py)
		slope := w.div(w.fetch(q.c), w.sqrt(w.sub(s.one, w.mul(h2, k1cc))))
		power := w.fetch(w.constant(1))
		term, done := w.label("term"), w.label("done")
		powers, end := w.Load(w.Param("powers"), w.GP64()), w.Load(w.Param("end"), w.GP64())
		w.CMPQ(powers, end)
		w.JGE(operand.LabelRef(done))
		w.Label(term)
		w.set(power, w.mul(power, h2))
		w.set(slope, w.add(slope, w.mul(w.spread(operand.Mem{Base: powers, Disp: 8}), power)))
		w.ADDQ(operand.Imm(16), powers)
		w.CMPQ(powers, end)
		w.JLT(operand.LabelRef(term))
		w.Label(done)
		w.leave(slope, kept)
	}
	bend := func() {
		slope := w.fetch(w.of(kept))
		nx, ny := w.mul(slope, w.in("x")), w.mul(slope, w.in("y"))
		normal := w.sqrt(w.add(w.add(s.one, w.mul(nx, nx)), w.mul(ny, ny)))
		s.refract(w.div(nx, normal), w.div(ny, normal), w.div(s.one, normal))
	}
	// backwards makes rays lost that would go on backwards.
	backwards := func() {
		k := w.load("kw")
		back := w.compare(k, notGreater, w.constant(0))
		nan := w.fetch(w.constant(math.NaN()))
		s.limit(w.choose(back, w.constant(-1), w.mul(k, k)))
		w.store(w.choose(back, nan, k), "kw")
		w.store(w.choose(back, nan, w.load("per")), "per")
	}
	w.eachChunk(func(stage func(func())) {
		stage(meet)
		stage(bend)
		stage(backwards)
	})
	s.finish()
}
