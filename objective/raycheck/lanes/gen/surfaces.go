package main

import (
	"math"

	"github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// rays are the arrays of rays.
var rays = []string{"x", "y", "w", "kx", "ky", "kw", "per"}

// surface is what the kernels of surfaces have in common: the operations of the plain
// loops, in the same order.
type surface struct {
	*writer
	one    vec
	ratio  operand.Op
	ratio2 operand.Op
	margin vec
}

// surface loads what every surface needs. The margin starts at 1.
func (w *writer) surface() *surface {
	s := &surface{writer: w}
	ratio := w.param("ratio")
	s.ratio, s.ratio2 = w.keep(ratio), w.keep(w.mul(ratio, ratio))
	s.one = w.fetch(w.constant(1))
	s.margin = w.fetch(w.constant(1))
	return s
}

// finish returns the margin.
func (s *surface) finish() {
	s.Store(s.leastOf(s.margin), s.Return("margin"))
	s.end()
}

// limit takes squared cosines into the margin.
func (s *surface) limit(cos2 vec) {
	s.set(s.margin, s.least(s.undone(cos2, s.constant(1)), s.margin))
}

// toPlane is where the rays meet the next vertex plane.
func (s *surface) toPlane(distance vec) (px, py vec) {
	way := s.mul(s.sub(distance, s.in("w")), s.in("per"))
	px = s.add(s.mul(way, s.in("kx")), s.in("x"))
	py = s.add(s.mul(way, s.in("ky")), s.in("y"))
	return px, py
}

// squares is a² + b².
func (s *surface) squares(a, b vec) vec { return s.add(s.mul(a, a), s.mul(b, b)) }

// cos2After is the squared cosine after refraction.
func (s *surface) cos2After(cos2 vec) vec {
	return s.sub(s.one, s.mul(s.sub(s.one, cos2), s.ratio2))
}

// flat writes the kernel of a plane.
func flat(w *writer) {
	w.function("flatAVX2", "flatAVX2 is Rays.plainFlat for arrays with room for whole vectors.", rays, "distance, ratio float64", " (margin float64)")
	s := w.surface()
	distance := w.param("distance")
	w.each(func() {
		px, py := s.toPlane(distance)
		w.store(px, "x")
		w.store(py, "y")
		zero := w.YMM()
		w.VXORPD(zero, zero, zero)
		w.store(zero, "w")
		k := w.load("kw")
		cos2 := w.mul(k, k)
		after2 := s.cos2After(cos2)
		s.limit(cos2)
		s.limit(after2)
		after := w.sqrt(after2)
		w.store(after, "kw")
		w.store(w.div(s.one, after), "per")
		w.store(w.mul(w.load("kx"), s.ratio), "kx")
		w.store(w.mul(w.load("ky"), s.ratio), "ky")
	})
	s.finish()
}

// sphere writes the kernel of a sphere.
func sphere(w *writer) {
	w.function("sphereAVX2", "sphereAVX2 is Rays.plainSphere for arrays with room for whole vectors.", rays, "distance, curvature, ratio float64", " (margin float64)")
	s := w.surface()
	distance, c := w.param("distance"), w.param("curvature")
	keptG, keptF, keptCos, keptBend := w.between(), w.between(), w.between(), w.between()
	first := func() {
		px, py := s.toPlane(distance)
		g := w.sub(w.load("kw"), w.mul(w.add(w.mul(px, w.in("kx")), w.mul(py, w.in("ky"))), c))
		f := w.mul(s.squares(px, py), c)
		cos2 := w.sub(w.mul(g, g), w.mul(f, c))
		after2 := s.cos2After(cos2)
		w.store(px, "x")
		w.store(py, "y")
		w.leave(g, keptG)
		w.leave(f, keptF)
		s.limit(cos2)
		s.limit(after2)
		w.leave(w.sqrt(cos2), keptCos)
		w.leave(w.sqrt(after2), keptBend)
	}
	second := func() {
		k, g, cos := w.load("kw"), w.fetch(w.of(keptG)), w.fetch(w.of(keptCos))
		nw := w.sub(s.one, w.mul(w.sub(g, cos), k))
		far := w.compare(nw, lessEqual, w.constant(0))
		bend := w.or(far, w.sub(w.fetch(w.of(keptBend)), w.mul(cos, s.ratio)))
		s.limit(w.choose(far, w.constant(-1), s.one))
		next := w.add(w.mul(k, s.ratio), w.mul(bend, nw))
		way := w.add(g, cos)
		inverse := w.div(s.one, w.mul(way, next))
		t := w.mul(w.mul(next, w.of(keptF)), inverse)
		w.store(w.mul(t, k), "w")
		w.store(next, "kw")
		w.store(w.mul(way, inverse), "per")
		bend = w.mul(bend, c)
		l, m := w.load("kx"), w.load("ky")
		px := w.add(w.mul(t, l), w.in("x"))
		w.store(w.sub(w.mul(l, s.ratio), w.mul(bend, px)), "kx")
		w.store(px, "x")
		py := w.add(w.mul(t, m), w.in("y"))
		w.store(w.sub(w.mul(m, s.ratio), w.mul(bend, py)), "ky")
		w.store(py, "y")
	}
	w.eachChunk(func(stage func(func())) {
		stage(first)
		stage(second)
	})
	s.finish()
}

// tilted writes the kernel of a sphere anywhere.
func tilted(w *writer) {
	w.function("tiltedAVX2", "tiltedAVX2 is Rays.plainTilted for arrays with room for whole vectors.", rays,
		"vx, vy, vw, ax, ay, aw, curvature, ratio float64", "")
	param := w.param("ratio")
	ratio, ratio2 := w.keep(param), w.keep(w.mul(param, param))
	one := w.fetch(w.constant(1))
	s := &surface{writer: w, one: one, ratio: ratio, ratio2: ratio2}
	vx, vy, vw := w.keep(w.param("vx")), w.keep(w.param("vy")), w.param("vw")
	ax, ay, aw := w.keep(w.param("ax")), w.keep(w.param("ay")), w.keep(w.param("aw"))
	c := w.param("curvature")
	keptG, keptF, keptCos, keptBend, keptKA, keptPA := w.between(), w.between(), w.between(), w.between(), w.between(), w.between()
	first := func() {
		px, py := s.toPlane(vw)
		px, py = w.sub(px, vx), w.sub(py, vy)
		l, m := w.load("kx"), w.load("ky")
		ka := w.add(w.add(w.mul(l, ax), w.mul(m, ay)), w.mul(w.load("kw"), aw))
		pa := w.add(w.mul(px, ax), w.mul(py, ay))
		g := w.sub(ka, w.mul(w.add(w.mul(px, l), w.mul(py, m)), c))
		f := w.sub(w.mul(s.squares(px, py), c), w.add(pa, pa))
		cos2 := w.sub(w.mul(g, g), w.mul(f, c))
		w.store(px, "x")
		w.store(py, "y")
		w.leave(g, keptG)
		w.leave(f, keptF)
		w.leave(ka, keptKA)
		w.leave(pa, keptPA)
		w.leave(w.sqrt(cos2), keptCos)
		w.leave(w.sqrt(s.cos2After(cos2)), keptBend)
	}
	second := func() {
		k, g, cos := w.load("kw"), w.fetch(w.of(keptG)), w.fetch(w.of(keptCos))
		along := w.sub(g, cos)
		half := w.add(w.mul(c, w.of(keptPA)), w.mul(along, w.of(keptKA)))
		far := w.compare(half, notLess, w.constant(1))
		bend := w.or(far, w.sub(w.fetch(w.of(keptBend)), w.mul(cos, ratio)))
		next := w.add(w.mul(k, ratio), w.mul(bend, w.sub(w.fetch(aw), w.mul(along, k))))
		both := w.add(g, cos)
		inverse := w.div(one, w.mul(both, next))
		way := w.mul(w.mul(next, w.of(keptF)), inverse)
		w.store(w.add(w.mul(way, k), vw), "w")
		w.store(next, "kw")
		w.store(w.mul(both, inverse), "per")
		l, m := w.load("kx"), w.load("ky")
		px := w.add(w.mul(way, l), w.in("x"))
		w.store(w.add(w.mul(l, ratio), w.mul(bend, w.sub(w.fetch(ax), w.mul(px, c)))), "kx")
		w.store(w.add(px, vx), "x")
		py := w.add(w.mul(way, m), w.in("y"))
		w.store(w.add(w.mul(m, ratio), w.mul(bend, w.sub(w.fetch(ay), w.mul(py, c)))), "ky")
		w.store(w.add(py, vy), "y")
	}
	w.eachChunk(func(stage func(func())) {
		stage(first)
		stage(second)
	})
	w.end()
}

// refract bends the rays at a unit normal (-nx, -ny, nw), and lets those go on from
// there.
func (s *surface) refract(nx, ny, nw vec) {
	w := s.writer
	cos := w.sub(w.sub(w.mul(nw, w.in("kw")), w.mul(nx, w.in("kx"))), w.mul(ny, w.in("ky")))
	cos = w.or(cos, w.compare(cos, notGreater, w.constant(0)))
	cos = w.or(cos, w.compare(nw, notGreater, w.constant(0)))
	cos2 := w.mul(cos, cos)
	after2 := s.cos2After(cos2)
	bend := w.sub(w.sqrt(after2), w.mul(cos, s.ratio))
	lost := w.compare(bend, unordered, bend)
	s.limit(w.choose(lost, w.constant(-1), w.least(cos2, after2)))
	ratio := w.fetch(s.ratio)
	w.store(w.sub(w.mul(ratio, w.in("kx")), w.mul(bend, nx)), "kx")
	w.store(w.sub(w.mul(ratio, w.in("ky")), w.mul(bend, ny)), "ky")
	next := w.add(w.mul(ratio, w.in("kw")), w.mul(bend, nw))
	w.store(next, "kw")
	w.store(w.div(s.one, next), "per")
}

// conics are the constants of a conic of revolution.
type conics struct {
	distance, c, conic, c2, k1c operand.Op
}

func (s *surface) conics() *conics {
	w := s.writer
	c, conic := w.param("curvature"), w.param("conic")
	k1 := w.add(s.one, conic)
	return &conics{
		distance: w.keep(w.param("distance")), c: w.keep(c), conic: w.keep(conic),
		c2: w.keep(w.mul(c, c)), k1c: w.keep(w.mul(k1, c)),
	}
}

// crossing is the way along the rays from (px, py) of the vertex plane to the conic.
func (s *surface) crossing(q *conics, px, py vec) vec {
	w := s.writer
	r2 := s.squares(px, py)
	k := w.load("kw")
	g := w.sub(k, w.mul(w.add(w.mul(px, w.in("kx")), w.mul(py, w.in("ky"))), q.c))
	a := w.mul(w.add(s.one, w.mul(w.mul(k, q.conic), k)), q.c)
	root := w.sqrt(w.sub(w.mul(g, g), w.mul(w.mul(a, q.c), r2)))
	return w.div(w.mul(r2, q.c), w.add(g, root))
}

// conic writes the kernel of a conic.
func conic(w *writer) {
	w.function("conicAVX2", "conicAVX2 is Rays.plainConic for arrays with room for whole vectors.", rays, "distance, curvature, conic, ratio float64", " (margin float64)")
	s := w.surface()
	q := s.conics()
	kept := w.between()
	meet := func() {
		px, py := s.toPlane(w.fetch(q.distance))
		t := s.crossing(q, px, py)
		px = w.add(px, w.mul(t, w.in("kx")))
		py = w.add(py, w.mul(t, w.in("ky")))
		k := w.load("kw")
		nw := w.sub(s.one, w.mul(w.mul(t, q.k1c), k))
		normal := w.sqrt(w.add(w.mul(s.squares(px, py), q.c2), w.mul(nw, nw)))
		w.store(px, "x")
		w.store(py, "y")
		w.store(w.mul(t, k), "w")
		w.leave(normal, kept)
	}
	bend := func() {
		normal := w.fetch(w.of(kept))
		n := w.div(w.fetch(q.c), normal)
		unit := w.div(w.sub(s.one, w.mul(w.load("w"), q.k1c)), normal)
		s.refract(w.mul(n, w.in("x")), w.mul(n, w.in("y")), unit)
	}
	w.eachChunk(func(stage func(func())) {
		stage(meet)
		stage(bend)
	})
	s.finish()
}

// asphere writes the kernel of a conic with even polynomial terms: in powers, for each
// term, its coefficient and that of its derivative by h, divided by h.
func asphere(w *writer) {
	w.function("asphereAVX2",
		"asphereAVX2 is Rays.plainAsphere for arrays with room for whole vectors. It ends before rays of which one needs carefulCrossing.",
		rays, "distance, curvature, conic, ratio float64, powers, end *[2]float64", " (next int, margin float64)")
	s := w.surface()
	q := s.conics()
	k1cc := w.keep(w.mul(w.fetch(q.k1c), q.c))
	keptX, keptY, keptWay, keptLast, keptActive := w.between(), w.between(), w.between(), w.between(), w.between()
	foundWay, foundSlope := w.between(), w.between()
	start := func() {
		px, py := s.toPlane(w.fetch(q.distance))
		w.leave(px, keptX)
		w.leave(py, keptY)
		active := w.compare(px, ordered, py)
		if w.inTail {
			active = w.and(active, w.tailMask())
		}
		w.leave(active, keptActive)
		// Rays that were lost before stay so.
		nan := w.fetch(w.constant(math.NaN()))
		w.leave(nan, foundWay)
		w.leave(nan, foundSlope)
		way := s.crossing(q, px, py)
		w.leave(w.and(way, w.compare(way, ordered, way)), keptWay)
		w.leave(w.fetch(w.constant(math.Inf(1))), keptLast)
	}
	mask, open := w.GP32(), w.GP32()
	// step is a step of Newton's iteration. It tells by open whether rays are left that have
	// not found their crossing.
	step := func() {
		powers := w.Load(w.Param("powers"), w.GP64())
		way := w.fetch(w.of(keptWay))
		hx := w.add(w.mul(way, w.in("kx")), w.of(keptX))
		hy := w.add(w.mul(way, w.in("ky")), w.of(keptY))
		h2 := s.squares(hx, hy)
		root := w.sqrt(w.sub(s.one, w.mul(h2, k1cc)))
		sag := w.div(w.mul(h2, q.c), w.add(s.one, root))
		slope := w.div(w.fetch(q.c), root)
		power := w.fetch(w.constant(1))
		term, end := w.label("term"), w.Load(w.Param("end"), w.GP64())
		w.Label(term)
		w.set(power, w.mul(power, h2))
		w.set(slope, w.add(slope, w.mul(w.spread(operand.Mem{Base: powers, Disp: 8}), power)))
		w.set(sag, w.add(sag, w.mul(w.mul(w.spread(operand.Mem{Base: powers}), power), h2)))
		w.ADDQ(operand.Imm(16), powers)
		w.CMPQ(powers, end)
		w.JLT(operand.LabelRef(term))
		miss := w.sub(w.mul(way, w.in("kw")), sag)
		rate := w.sub(w.load("kw"), w.mul(w.add(w.mul(hx, w.in("kx")), w.mul(hy, w.in("ky"))), slope))
		w.leave(w.sub(way, w.div(miss, rate)), keptWay)
		off := w.and(miss, w.constant(math.Float64frombits(1<<63-1)))
		last, active := w.fetch(w.of(keptLast)), w.fetch(w.of(keptActive))
		w.leave(off, keptLast)
		accepted := w.and(w.compare(off, lessEqual, w.constant(asphereAccepted)), w.compare(last, lessEqual, w.constant(asphereAccepted)))
		found := w.and(w.or(w.compare(off, lessEqual, w.constant(asphereTolerance)), accepted), active)
		w.leave(w.choose(found, way, w.fetch(w.of(foundWay))), foundWay)
		w.leave(w.choose(found, slope, w.fetch(w.of(foundSlope))), foundSlope)
		active = w.butNot(active, found)
		w.leave(active, keptActive)
		quick := w.and(w.compare(off, less, w.mul(last, w.constant(0.5))), w.compare(rate, greater, w.constant(0)))
		w.VMOVMSKPD(active, mask)
		w.ORL(mask, open)
		w.stopWhere(w.butNot(active, quick), mask)
	}
	finish := func() {
		way, slope := w.fetch(w.of(foundWay)), w.fetch(w.of(foundSlope))
		px := w.add(w.mul(way, w.in("kx")), w.of(keptX))
		py := w.add(w.mul(way, w.in("ky")), w.of(keptY))
		w.store(w.mul(way, w.in("kw")), "w")
		w.store(px, "x")
		w.store(py, "y")
		nx, ny := w.mul(slope, px), w.mul(slope, py)
		normal := w.sqrt(w.add(w.add(s.one, w.mul(nx, nx)), w.mul(ny, ny)))
		s.refract(w.div(nx, normal), w.div(ny, normal), w.div(s.one, normal))
	}
	done := w.eachChunk(func(stage func(func())) {
		newton, solved := w.label("newton"), w.label("solved")
		count := w.AllocLocal(8)
		w.MOVQ(operand.U32(quickIterations), count)
		stage(start)
		w.Label(newton)
		w.XORL(open, open)
		stage(step)
		w.TESTL(open, open)
		w.JEQ(operand.LabelRef(solved))
		w.DECQ(count)
		w.JNE(operand.LabelRef(newton))
		stage(func() { w.stopWhere(w.fetch(w.of(keptActive)), mask) })
		w.Label(solved)
		stage(finish)
	})
	next := w.GP64()
	w.MOVQ(done, next)
	w.Store(next, w.Return("next"))
	s.finish()
}

// stopWhere stops the stages where a mask is set for any ray.
func (w *writer) stopWhere(v vec, mask reg.Register) {
	on := w.label("on")
	w.VMOVMSKPD(v, mask)
	w.TESTL(mask, mask)
	w.JEQ(operand.LabelRef(on))
	w.stopHere()
	w.Label(on)
}

// The constants of asphereCrossing.
const (
	asphereTolerance = 1e-14
	asphereAccepted  = 1e-11
	quickIterations  = 6
)
