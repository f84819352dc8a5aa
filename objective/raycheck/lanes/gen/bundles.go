package main

import (
	"math"

	"github.com/mmcloughlin/avo/operand"
)

// launch writes the kernel of rays that leave the pupil.
func launch(w *writer) {
	w.function("launchAVX2", "launchAVX2 is Rays.plainLaunch for four or more rays.", append([]string{"px", "py"}, rays...), "tan, v float64", "")
	one, tan, v := w.fetch(w.constant(1)), w.param("tan"), w.param("v")
	w.eachVector(func() {
		px, py := w.load("px"), w.load("py")
		sx := w.xor(w.mul(px, v), w.constant(math.Copysign(0, -1)))
		sy := w.sub(tan, w.mul(py, v))
		per := w.sqrt(w.add(w.add(one, w.mul(sx, sx)), w.mul(sy, sy)))
		k := w.div(one, per)
		w.store(px, "x")
		w.store(py, "y")
		w.store(w.fetch(w.constant(0)), "w")
		w.store(w.mul(sx, k), "kx")
		w.store(w.mul(sy, k), "ky")
		w.store(k, "kw")
		w.store(per, "per")
	})
	w.end()
}

// plate writes the kernel of the shift by a plane plate.
func plate(w *writer) {
	w.function("plateAVX2", "plateAVX2 is plainPlate for four or more rays.", []string{"x", "y", "kx", "ky", "kw"}, "thickness, index float64", "")
	one, thickness, n := w.fetch(w.constant(1)), w.param("thickness"), w.param("index")
	before := w.sub(w.mul(n, n), w.constant(1))
	w.eachVector(func() {
		k := w.load("kw")
		slope := w.sub(w.div(one, w.sqrt(w.add(before, w.mul(k, k)))), w.div(one, k))
		f := w.mul(thickness, slope)
		w.store(w.add(w.mul(f, w.in("kx")), w.in("x")), "x")
		w.store(w.add(w.mul(f, w.in("ky")), w.in("y")), "y")
	})
	w.end()
}

// cross writes the kernel of rays that cross a plane.
func cross(w *writer) {
	w.function("crossAVX2", "crossAVX2 is Lines.plainCross for arrays with room for whole vectors.",
		[]string{"toX", "toY", "toSX", "toSY", "x", "y", "w", "kx", "ky", "per"}, "distance float64", "")
	distance := w.param("distance")
	w.each(func() {
		per := w.load("per")
		sx, sy := w.mul(per, w.in("kx")), w.mul(per, w.in("ky"))
		f := w.sub(distance, w.in("w"))
		w.store(w.add(w.mul(f, sx), w.in("x")), "toX")
		w.store(w.add(w.mul(f, sy), w.in("y")), "toY")
		w.store(sx, "toSX")
		w.store(sy, "toSY")
	})
	w.end()
}

// mix writes the kernel of a sum of parts of an array by their shares, one part or
// more, n numbers from each other.
func mix(w *writer) {
	w.function("mixAVX2", "mixAVX2 is plainMix for arrays with room for whole vectors.", []string{"to", "from"}, "shares *float64, parts int", "")
	stride := w.Load(w.Param("n"), w.GP64())
	w.SHLQ(operand.Imm(3), stride)
	shares := w.Load(w.Param("shares"), w.GP64())
	parts := w.Load(w.Param("parts"), w.GP64())
	w.each(func() {
		from := w.GP64()
		w.LEAQ(w.in("from"), from)
		sum := w.mul(w.spread(operand.Mem{Base: shares}), operand.Mem{Base: from})
		part, next, mixed := w.GP64(), w.label("part"), w.label("mixed")
		w.MOVQ(operand.U32(1), part)
		w.Label(next)
		w.CMPQ(part, parts)
		w.JGE(operand.LabelRef(mixed))
		w.ADDQ(stride, from)
		share := w.spread(operand.Mem{Base: shares, Index: part, Scale: 8})
		w.set(sum, w.add(sum, w.mul(share, operand.Mem{Base: from})))
		w.INCQ(part)
		w.JMP(operand.LabelRef(next))
		w.Label(mixed)
		w.store(sum, "to")
	})
	w.end()
}

// between writes the kernel of what is between the ends of a range.
func between(w *writer) {
	w.function("betweenAVX2", "betweenAVX2 is plainBetween for arrays with room for whole vectors.",
		[]string{"to", "reference", "far", "referenceFar", "near", "referenceNear"}, "share float64", "")
	share := w.param("share")
	w.each(func() {
		a := w.sub(w.load("far"), w.in("referenceFar"))
		b := w.sub(w.load("near"), w.in("referenceNear"))
		w.store(w.add(w.add(w.load("reference"), a), w.mul(share, w.sub(b, a))), "to")
	})
	w.end()
}

// overfill writes the kernel of the largest heights.
func overfill(w *writer) {
	w.function("overfillAVX2", "overfillAVX2 is plainOverfill for four or more rays.", []string{"over", "x", "y"}, "scale float64", "")
	scale := w.param("scale")
	w.eachVector(func() {
		x, y := w.load("x"), w.load("y")
		h := w.mul(w.add(w.mul(x, x), w.mul(y, y)), scale)
		w.store(w.most(h, w.in("over")), "over")
	})
	w.end()
}
