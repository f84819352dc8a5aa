package main

import (
	"fmt"
	"math"

	"github.com/mmcloughlin/avo/attr"
	"github.com/mmcloughlin/avo/build"
	"github.com/mmcloughlin/avo/operand"
	"github.com/mmcloughlin/avo/reg"
)

// width is the number of rays in a vector, vectorBytes its size.
const (
	width       = 4
	vectorBytes = 8 * width
)

// Predicates of comparisons, by what they tell of a and b; all but the last three
// are false where one is NaN (Intel 64 and IA-32 Architectures Software Developer's
// Manual, volume 2, CMPPD).
const (
	ordered    = operand.U8(0x07)
	less       = operand.U8(0x11)
	lessEqual  = operand.U8(0x12)
	greater    = operand.U8(0x1e)
	notEqual   = operand.U8(0x04)
	unordered  = operand.U8(0x03)
	notGreater = operand.U8(0x1a)
	notLess    = operand.U8(0x15)
)

// vec is a vector in a register.
type vec = reg.VecVirtual

// writer writes functions that go through arrays of n numbers each, a vector at a time.
// What is left at the end is done with a vector of which only a part is changed.
type writer struct {
	*build.Context
	constants map[uint64]operand.Mem
	tailMasks operand.Mem // width masks of no number, width of all, width of none

	// Of the function in hand.
	arrays     map[string]reg.Register
	at         reg.GPVirtual // the index of the vector's first number
	left       reg.GPVirtual // in the last vector, how many of its numbers are to be done
	mask       reg.GPVirtual // which of them, by where that begins in tailMasks
	kept, stop reg.GPVirtual // of eachChunk: where a stage keeps the vector, and where stages stop
	inTail     bool
	labels     int
}

func newWriter() *writer {
	w := &writer{Context: build.NewContext(), constants: map[uint64]operand.Mem{}}
	w.ConstraintExpr("amd64")
	w.tailMasks = w.StaticGlobal("tailMasks")
	w.DataAttributes(attr.RODATA | attr.NOPTR)
	for _, mask := range []uint64{0, math.MaxUint64, 0} {
		for range width {
			w.AppendDatum(operand.U64(mask))
		}
	}
	return w
}

// function begins a function with arrays, given by where each begins, of n numbers
// each, and further parameters.
func (w *writer) function(name, doc string, arrays []string, more, result string) {
	w.Function(name)
	w.Pragma("noescape")
	w.Doc(doc)
	w.arrays, w.labels = map[string]reg.Register{}, 0
	signature := "func("
	for _, a := range arrays {
		signature += a + ", "
	}
	signature = signature[:len(signature)-2] + " *float64, n int"
	if more != "" {
		signature += ", " + more
	}
	w.SignatureExpr(signature + ")" + result)
	for _, a := range arrays {
		w.arrays[a] = w.Load(w.Param(a), w.GP64())
	}
}

// label is a name that is new in the function.
func (w *writer) label(name string) string {
	w.labels++
	return fmt.Sprintf("%s%d", name, w.labels)
}

// eachVector writes body for all vectors of arrays of width numbers or more, and again for
// what is left, which is done with the last width numbers.
func (w *writer) eachVector(body func()) {
	n := w.Load(w.Param("n"), w.GP64()).(reg.GPVirtual)
	loop, tail, done := w.label("vector"), w.label("tail"), w.label("done")
	w.at, w.left = w.GP64(), w.GP64()
	w.XORQ(w.at, w.at)
	w.Label(loop)
	w.MOVQ(n, w.left)
	w.SUBQ(w.at, w.left)
	w.CMPQ(w.left, operand.Imm(width))
	w.JLT(operand.LabelRef(tail))
	w.inTail = false
	body()
	w.ADDQ(operand.Imm(width), w.at)
	w.JMP(operand.LabelRef(loop))
	w.Label(tail)
	w.TESTQ(w.left, w.left)
	w.JEQ(operand.LabelRef(done))
	w.LEAQ(operand.Mem{Base: n, Disp: -width}, w.at)
	w.mask = w.left
	w.inTail = true
	body()
	w.Label(done)
}

// eachChunk writes body for some vectors at a time. Body writes stages: each goes through
// all of these vectors, with the last one where it is not full, before the next one does.
// The processor looks ahead over a limited number of operations, and finds more that do not
// wait for each other within a stage than within the whole. The last vector goes beyond the
// arrays, which have room for it: each vector is read as it was written, which is quicker.
// A stage may stop before the vector in hand, for itself and all that follow; nothing is
// done after that. What eachChunk returns is the number of what is done, from the first on,
// which is n but where a stage stopped.
func (w *writer) eachChunk(body func(stage func(func()))) (done operand.Mem) {
	n := func() reg.GPVirtual { return w.Load(w.Param("n"), w.GP64()).(reg.GPVirtual) }
	chunk := w.label("chunk")
	done, goal := w.AllocLocal(8), w.AllocLocal(8)
	w.at, w.left, w.kept, w.stop = w.GP64(), w.GP64(), w.GP64(), w.GP64()
	zero := w.GP64()
	w.XORQ(zero, zero)
	w.MOVQ(zero, done)

	w.Label(chunk)
	// stop is where the full vectors of the chunk end, left what is after them, if that is
	// no full vector.
	rest, most := n(), w.GP64()
	w.SUBQ(done, rest)
	w.MOVQ(rest, w.stop)
	w.ANDQ(operand.I8(-width), w.stop)
	w.MOVQ(operand.U32(chunkVectors*width), most)
	w.CMPQ(w.stop, most)
	w.CMOVQGT(most, w.stop)
	w.MOVQ(rest, w.left)
	w.SUBQ(w.stop, w.left)
	w.MOVQ(operand.U32(0), most)
	w.CMPQ(w.left, operand.Imm(width))
	w.CMOVQGE(most, w.left)
	w.ADDQ(done, w.stop)
	w.MOVQ(w.stop, most)
	w.ADDQ(w.left, most)
	w.MOVQ(most, goal)
	body(func(stage func()) {
		next, tail, end := w.label("stage"), w.label("tail"), w.label("end")
		w.inTail = false
		w.MOVQ(done, w.at)
		w.XORQ(w.kept, w.kept)
		w.CMPQ(w.at, w.stop)
		w.JGE(operand.LabelRef(tail))
		w.Label(next)
		stage()
		w.ADDQ(operand.Imm(width), w.at)
		w.ADDQ(operand.Imm(vectorBytes), w.kept)
		w.CMPQ(w.at, w.stop)
		w.JLT(operand.LabelRef(next))
		w.Label(tail)
		w.inTail = true
		w.TESTQ(w.left, w.left)
		w.JEQ(operand.LabelRef(end))
		w.MOVQ(w.stop, w.at)
		w.mask = w.GP64()
		w.MOVQ(operand.U32(2*width), w.mask)
		w.SUBQ(w.left, w.mask)
		w.MOVQ(operand.U32(chunkVectors*vectorBytes), w.kept)
		stage()
		w.Label(end)
	})
	w.ADDQ(w.left, w.stop)
	w.MOVQ(w.stop, done)
	stopped := w.label("stopped")
	w.CMPQ(w.stop, goal)
	w.JLT(operand.LabelRef(stopped))
	rest = n()
	w.CMPQ(w.stop, rest)
	w.JLT(operand.LabelRef(chunk))
	w.Label(stopped)
	return done
}

// each is eachChunk with a single stage.
func (w *writer) each(stage func()) {
	w.eachChunk(func(stages func(func())) { stages(stage) })
}

// stopHere stops the stages before the vector in hand.
func (w *writer) stopHere() {
	if !w.inTail {
		w.MOVQ(w.at, w.stop)
	}
	w.XORQ(w.left, w.left)
}

// chunkVectors is the number of vectors that stages go through.
const chunkVectors = 8

// between makes a place where a stage leaves a vector to later ones.
func (w *writer) between() operand.Mem { return w.AllocLocal((chunkVectors + 1) * vectorBytes) }

// of is the vector in hand of such a place.
func (w *writer) of(m operand.Mem) operand.Mem { return m.Idx(w.kept, 1) }

// leave leaves a vector there.
func (w *writer) leave(v vec, m operand.Mem) { w.VMOVUPD(v, w.of(m)) }

// end writes the return.
func (w *writer) end() {
	w.VZEROUPPER()
	w.RET()
}

// in is the vector in hand of an array.
func (w *writer) in(array string) operand.Mem {
	return operand.Mem{Base: w.arrays[array], Index: w.at, Scale: 8}
}

func (w *writer) load(array string) vec { return w.fetch(w.in(array)) }

func (w *writer) fetch(from operand.Op) vec {
	v := w.YMM()
	w.VMOVUPD(from, v)
	return v
}

// store puts a vector where it belongs in an array.
func (w *writer) store(v vec, array string) {
	w.VMOVUPD(w.undone(v, w.in(array)), w.in(array))
}

// undone is v, with what is in other for the numbers that are not to be changed.
func (w *writer) undone(v vec, other operand.Op) vec {
	if !w.inTail {
		return v
	}
	return w.choose(w.tailMask(), v, w.fetch(other))
}

// tailMask tells which numbers of the last vector are to be changed.
func (w *writer) tailMask() vec {
	base := w.GP64()
	w.LEAQ(w.tailMasks, base)
	return w.fetch(operand.Mem{Base: base, Index: w.mask, Scale: 8})
}

// constant is a vector in memory of one value.
func (w *writer) constant(v float64) operand.Mem {
	bits := math.Float64bits(v)
	m, ok := w.constants[bits]
	if !ok {
		m = w.StaticGlobal(fmt.Sprintf("constant%016x", bits))
		w.DataAttributes(attr.RODATA | attr.NOPTR)
		for range width {
			w.AppendDatum(operand.U64(bits))
		}
		w.constants[bits] = m
	}
	return m
}

// param is a vector of a parameter.
func (w *writer) param(name string) vec {
	basic, err := w.Param(name).Resolve()
	if err != nil {
		panic(err)
	}
	return w.spread(basic.Addr)
}

func (w *writer) spread(of operand.Mem) vec {
	v := w.YMM()
	w.VBROADCASTSD(of, v)
	return v
}

// keep moves a vector to memory, where it waits.
func (w *writer) keep(v vec) operand.Mem {
	m := w.AllocLocal(vectorBytes)
	w.VMOVUPD(v, m)
	return m
}

// The operations below have the order of their operands in formulas; b may be in
// memory.

func (w *writer) add(a vec, b operand.Op) vec { d := w.YMM(); w.VADDPD(b, a, d); return d }
func (w *writer) sub(a vec, b operand.Op) vec { d := w.YMM(); w.VSUBPD(b, a, d); return d }
func (w *writer) mul(a vec, b operand.Op) vec { d := w.YMM(); w.VMULPD(b, a, d); return d }
func (w *writer) div(a vec, b operand.Op) vec { d := w.YMM(); w.VDIVPD(b, a, d); return d }
func (w *writer) sqrt(a operand.Op) vec       { d := w.YMM(); w.VSQRTPD(a, d); return d }
func (w *writer) or(a vec, b operand.Op) vec  { d := w.YMM(); w.VORPD(b, a, d); return d }
func (w *writer) and(a vec, b operand.Op) vec { d := w.YMM(); w.VANDPD(b, a, d); return d }
func (w *writer) xor(a vec, b operand.Op) vec { d := w.YMM(); w.VXORPD(b, a, d); return d }

// butNot is what is set in a and not in b.
func (w *writer) butNot(a, b vec) vec { d := w.YMM(); w.VANDNPD(a, b, d); return d }

// least is a where a < b, else b, so also where one is NaN; most likewise where a > b.
func (w *writer) least(a vec, b operand.Op) vec { d := w.YMM(); w.VMINPD(b, a, d); return d }
func (w *writer) most(a vec, b operand.Op) vec  { d := w.YMM(); w.VMAXPD(b, a, d); return d }

// compare is all ones where a predicate holds of a and b. As a number that is NaN.
func (w *writer) compare(a vec, predicate operand.U8, b operand.Op) vec {
	d := w.YMM()
	w.VCMPPD(predicate, b, a, d)
	return d
}

// choose is a where the mask is set, else b.
func (w *writer) choose(mask vec, a operand.Op, b vec) vec {
	d := w.YMM()
	w.VBLENDVPD(mask, a, b, d)
	return d
}

// set changes a vector that lives over a branch.
func (w *writer) set(v, to vec) { w.VMOVAPD(to, v) }

// leastOf is the least number of a vector.
func (w *writer) leastOf(v vec) reg.Register {
	low, high := v.AsX(), w.XMM()
	w.VEXTRACTF128(operand.Imm(1), v, high)
	w.VMINPD(high, low, high)
	other := w.XMM()
	w.VUNPCKHPD(high, high, other)
	w.VMINSD(other, high, high)
	return high
}
