package objective

import (
	"math"
	"math/bits"
)

// StackCode names a stack of a library's elements in one number, so that
// millions can be held: the places of its elements, each plus one, are its
// digits to the base of one more than the library's number of elements, the
// element nearest to the world first.
type StackCode uint64

// Codes reports whether every stack of up to so many lenses has a code: the
// largest must fit 64 bits, which is more than can be enumerated.
func (lib *Library) Codes(lenses int) bool {
	power, base := uint64(1), uint64(len(lib.Elements)+1)
	for range lenses {
		over, low := bits.Mul64(power, base)
		if over != 0 {
			return false
		}
		power = low
	}
	return true
}

// Group is the group that a code names.
func (lib *Library) Group(code StackCode) *Group {
	return lib.Problem.NewGroup(lib.Stack(code)...)
}

// Stack is the elements that a code names, world to eye.
func (lib *Library) Stack(code StackCode) []*Element {
	base := StackCode(len(lib.Elements) + 1)
	n := 0
	for c := code; c > 0; c /= base {
		n++
	}
	elements := make([]*Element, n)
	for ; code > 0; code /= base {
		n--
		elements[n] = lib.Elements[code%base-1]
	}
	return elements
}

// Names reports whether a number is the code of a stack.
func (lib *Library) Names(code StackCode) bool {
	base := StackCode(len(lib.Elements) + 1)
	for ; code > 0; code /= base {
		if code%base == 0 {
			return false
		}
		if code < base {
			return true
		}
	}
	return false
}

// Code is the code of elements of the library, world to eye.
func (lib *Library) Code(elements []*Element) StackCode {
	code := StackCode(0)
	for _, e := range elements {
		code = code*StackCode(len(lib.Elements)+1) + StackCode(e.Index+1)
	}
	return code
}

// Stacker stacks elements one behind the other without making a group of each:
// what it stands on is overwritten by the next. It makes the same numbers as
// [Problem.NewGroup], to the last bit.
type Stacker struct {
	lib    *Library
	base   StackCode // of codes
	group  Group
	levels []stackLevel
}

// stackLevel is an element and all below it.
type stackLevel struct {
	matrix    Matrix
	thickness float64
	code      StackCode
	slots     Slots // in which all of it may stand
	now       stackNumbers
}

// NewStacker prepares a stacker of up to so many lenses.
func (lib *Library) NewStacker(lenses int) *Stacker {
	return &Stacker{
		lib: lib, base: StackCode(len(lib.Elements) + 1), levels: make([]stackLevel, 0, lenses),
		group: Group{Elements: make([]*Element, 0, lenses), GapsMM: make([]float64, 0, lenses)},
	}
}

// Push puts an element behind the others, of which there may be one less than
// the stacker was prepared for.
func (s *Stacker) Push(e *Element) {
	n := len(s.levels)
	s.levels = s.levels[:n+1]
	level := &s.levels[n]
	s.group.Elements = s.group.Elements[:n+1]
	s.group.Elements[n] = e
	digit := StackCode(e.Index + 1)
	if n == 0 {
		level.matrix, level.thickness, level.code, level.slots = e.matrix, e.length, digit, e.Slots
	} else {
		below := &s.levels[n-1]
		gap := s.lib.stackGap(s.group.Elements[n-1], e)
		s.group.GapsMM = s.group.GapsMM[:n]
		s.group.GapsMM[n-1] = gap
		level.matrix = below.matrix.advance(gap).Then(e.matrix)
		level.thickness = below.thickness + (gap + e.length)
		level.code, level.slots = below.code*s.base+digit, below.slots&e.Slots
	}
	level.now.of(s.lib.Problem, level)
}

// Pop takes the last element away.
func (s *Stacker) Pop() {
	n := len(s.levels) - 1
	s.levels = s.levels[:n]
	s.group.Elements = s.group.Elements[:n]
	if n > 0 {
		s.group.GapsMM = s.group.GapsMM[:n-1]
	}
}

// Elements are those stacked, valid until the next Push or Pop.
func (s *Stacker) Elements() []*Element { return s.group.Elements }

// Lenses is how many elements are stacked.
func (s *Stacker) Lenses() int { return len(s.levels) }

// Positive reports whether what is stacked converges, as [Group.Positive].
func (s *Stacker) Positive() bool { return s.numbers().positive }

// TooManyParts reports whether what is stacked breaks, by itself, the limits on a
// train's lenses, its distinct parts or a part's stock.
func (s *Stacker) TooManyParts() bool {
	groups := [1]*Group{&s.group}
	return s.lib.Problem.tooManyIn(groups[:])
}

// Code is the code of what is stacked.
func (s *Stacker) Code() StackCode { return s.levels[len(s.levels)-1].code }

// Group is what is stacked, valid until the next Push or Pop.
func (s *Stacker) Group() *Group {
	top := &s.levels[len(s.levels)-1]
	g := &s.group
	g.matrix, g.ThicknessMM = top.matrix, top.thickness
	g.FocalMM, g.FFDMM, g.BFDMM = top.matrix.cardinal()
	return g
}

// GapRow puts the gaps of an element with every one behind it in a stack into row.
func (lib *Library) GapRow(before *Element, row []float64) {
	for i, after := range lib.Elements {
		row[i] = lib.Problem.StackGap(before, after)
	}
}

// KeepGaps lets the library hold the gap between any two of its elements in a
// stack, the rows of [Library.GapRow] one after the other, so that stackers need not
// find it again for every stack that holds them.
func (lib *Library) KeepGaps(rows []float64) { lib.gaps = rows }

// stackGap is [Problem.StackGap], from what is held where it is.
func (lib *Library) stackGap(before, after *Element) float64 {
	if lib.gaps == nil {
		return lib.Problem.StackGap(before, after)
	}
	return lib.gaps[before.Index*len(lib.Elements)+after.Index]
}

// stackNumbers are the few numbers of a stack by which [BinnedMinima] and a [GroupFilter]
// judge it, without what a group costs. They may differ from the group's own by
// rounding, which the slacks of the bounds cover.
type stackNumbers struct {
	positive    bool
	bin         int // of the focal length
	focal       float64
	ffd, bfd    float64
	front, rear float64 // ToFocus and FromFocus, see [Rear]
	hiatus      float64 // as a relay
}

func (s *Stacker) numbers() *stackNumbers { return &s.levels[len(s.levels)-1].now }

func (n *stackNumbers) of(p *Problem, top *stackLevel) {
	n.focal = -1 / top.matrix.C
	if n.positive = positive(n.focal); !n.positive {
		return
	}
	n.bin = focalBin(n.focal)
	n.ffd, n.bfd = float64(top.matrix.D*n.focal), float64(top.matrix.A*n.focal)
	n.front = top.thickness + n.bfd
	n.rear = top.thickness + n.ffd - p.refineRoomOf(n.focal, n.bfd).shorter
	n.hiatus = n.front + n.ffd - 2*n.focal
}

// frontOffset bounds the offset of a front by the aperture of its first
// surface alone, where the chief ray of unit slope at the eye stands at
// (FFD - q)/Θ and the pupil-edge ray at Θ.
func (s *Stacker) frontOffset(n *stackNumbers) float64 {
	return s.group.Elements[0].frontChief - n.ffd
}

// rearOffset bounds the offset of a rear by the aperture of its last surface
// alone, where the chief ray stands at -(p + BFD) and the pupil-edge ray at 1.
func (s *Stacker) rearOffset(n *stackNumbers) float64 {
	return s.group.Elements[len(s.group.Elements)-1].rearChief - n.bfd
}

// tightness bounds a relay's 1/MaxEndPower from below by its first and its last
// surface alone, see [Problem.maxEndPower]: the rows of height from behind the last
// vertex are (1, 0) at the last vertex and (D, -B) at the first, for which
// A·BFD - B is BFD and f, and A·f is f and FFD.
func (s *Stacker) tightness(n *stackNumbers) float64 {
	first, last := s.group.Elements[0], s.group.Elements[len(s.group.Elements)-1]
	return max(0, min(n.bfd, n.focal)*last.perEndPower, min(n.ffd, n.focal)*first.perEndPower)
}

// advance is m followed by a distance d in air, mm.
func (m Matrix) advance(d float64) Matrix {
	return Matrix{m.A + float64(d*m.C), m.B + float64(d*m.D), m.C, m.D}
}

// focalBin is the bin of a focal length: focalFine bins an octave, even in the
// mantissa, from the bits of the number, which is monotonic and cheap.
func focalBin(f float64) int {
	b := int(math.Float64bits(f)>>(52-focalFineBits)) - focalBinZero
	return max(0, min(focalBinsMost-1, b))
}

// focalBinLow is the least focal length of a bin; the first bin holds
// everything below its end, too.
func focalBinLow(bin int) float64 {
	if bin == 0 {
		return 0
	}
	return math.Float64frombits(uint64(bin+focalBinZero) << (52 - focalFineBits))
}

const (
	focalFineBits = 3
	focalFine     = 1 << focalFineBits
	// from 2 mm to 8192 mm
	focalBinZero  = (1023 + 1) << focalFineBits
	focalBinsMost = 12 * focalFine
)
