package objective

import (
	"math"
	"slices"
	"strings"

	"relaysweep/catalog"
)

// Matrix is a paraxial system matrix [[A, B], [C, D]] that acts on height (mm)
// and slope (radians): y' = A·y + B·u, u' = C·y + D·u.
type Matrix struct{ A, B, C, D float64 }

// Then is the matrix of m followed by n.
func (m Matrix) Then(n Matrix) Matrix {
	return Matrix{
		A: float64(n.A*m.A) + float64(n.B*m.C), B: float64(n.A*m.B) + float64(n.B*m.D),
		C: float64(n.C*m.A) + float64(n.D*m.C), D: float64(n.C*m.B) + float64(n.D*m.D),
	}
}

// Gap is the matrix of a distance d in air, mm.
func Gap(d float64) Matrix { return Matrix{1, d, 0, 1} }

// cardinal are the focal length, the front and the back focal distance of a matrix from
// first to last vertex in air: -1/C, -D/C and -A/C.
func (m *Matrix) cardinal() (focal, ffd, bfd float64) { return -1 / m.C, -m.D / m.C, -m.A / m.C }

// refract is the matrix of a surface of curvature c between indices n and n2,
// with slopes and not reduced slopes.
func refract(c, n, n2 float64) Matrix { return Matrix{1, 0, c * (n - n2) / n2, n / n2} }

// Element is a catalog lens in one of its two orientations, with what the
// search needs of it prepared at the reference wavelength. Elements are shared
// and never changed.
type Element struct {
	// What a stacker reads of millions of stacks comes first, close together.
	matrix Matrix
	length float64 // vertex to vertex
	// frontChief and rearChief are how far the viewpoint or the eye may stand
	// behind the first or the last vertex for the clear aperture there to pass
	// the field; perReach is r/clear, less what a later depth range loosens.
	frontChief, rearChief, perEndPower float64
	// Index is the element's place in its library: a lens's forward
	// orientation is followed by its reverse, if that differs.
	Index    int
	Lens     *catalog.Lens // as in the catalog
	Reversed bool
	ID       string // part, with /r behind it when reversed
	// Part is the place of the lens in the catalog.
	Part int
	// Slots are those in which the part may stand.
	Slots Slots
	// Surfaces, Thickness and Glasses read from the world to the eye.
	Surfaces  []catalog.Surface
	Thickness []float64
	Glasses   []*catalog.Glass
	// toSurface[s] takes a ray in air at the first vertex to surface s, and
	// fromSurface[s] is its counterpart for rays traced back: height at
	// surface s from height and slope in air behind the last vertex.
	toSurface, fromSurface []heightRow
	halfDiameter           float64
	clear                  float64 // clear semi-diameter
	firstMin, lastMax      float64 // least sag of the first surface, largest of the last
	massG                  float64
	// firstSphere and lastSphere report whether the faces towards world and eye
	// are spherical.
	firstSphere, lastSphere bool
	faceted                 bool // a surface is cut into facets
	// firstSags and lastSags are samples of these faces out to each half
	// diameter of the library up to the element's own, which is the last; nil
	// where the library has no aspheres.
	firstSags, lastSags []*[sagSteps + 1]float64
}

// heightRow gives a height as A·y + B·u.
type heightRow struct{ A, B float64 }

// Group is one or more elements stacked close together and acting as one.
type Group struct {
	Elements []*Element
	// GapsMM are the vertex gaps between neighbours.
	GapsMM []float64
	// FocalMM is f, FFDMM the distance from the front focal point to the
	// first vertex, BFDMM that from the last vertex to the rear focal point,
	// ThicknessMM that from first to last vertex.
	FocalMM, FFDMM, BFDMM, ThicknessMM float64
	matrix                             Matrix
}

// ID is the group's part of a design_id: its elements joined by +.
func (g *Group) ID() string {
	ids := make([]string, len(g.Elements))
	for i, e := range g.Elements {
		ids[i] = e.ID
	}
	return strings.Join(ids, "+")
}

// Train is one design with its paraxial solution: what the ray check traces
// and what a result reports. Lengths are in mm and physical: plates included.
type Train struct {
	Layout Layout
	Seat   Seat
	Groups []*Group  // from the world to the eye
	Gaps   []float64 // between the groups, vertex to vertex
	// EyeRelief is from the last vertex to the eye.
	EyeRelief float64
	// AngularMagnification is Θ, slope at the eye over slope in the world, see
	// [Problem.AngularMagnificationOf].
	AngularMagnification float64
	// Length is from first to last vertex.
	Length float64
	// ReliefMost is the largest eye relief that the paraxial requirements leave, where the
	// train has been solved.
	ReliefMost float64
	// Refined reports whether gaps or eye relief are not the paraxial ones.
	Refined bool
}

// MaskGap is the index in Gaps of the gap that holds the mask, of two masks that at image 2.
func (t *Train) MaskGap() int { return t.MaskGaps()[0] }

// MaskGaps are the indices in Gaps of the gaps that hold masks, in the order of
// [Seat.Masks]; they must not be changed.
func (t *Train) MaskGaps() []int { return maskGaps[t.Seat][len(t.Gaps)] }

// maskGaps are those by seat and number of gaps.
var maskGaps = [SeatCount][4][]int{
	SeatFront: {1: {0}, 2: {0}, 3: {0}},
	SeatRear:  {1: {0}, 2: {1}, 3: {2}},
	SeatBoth:  {2: {1, 0}, 3: {2, 0}},
}

// HoldsMask reports whether gap i holds a mask.
func (t *Train) HoldsMask(i int) bool {
	return i == 0 && t.Seat != SeatRear || i == len(t.Gaps)-1 && t.Seat != SeatFront
}

// RankedStepsPerMM and RankedStepMM are the steps in which ranked lengths are compared.
const (
	RankedStepsPerMM = 1e6
	RankedStepMM     = 1 / RankedStepsPerMM
)

// RoundedLength rounds a length in mm to the steps in which ranked lengths are compared.
func RoundedLength(x float64) float64 { return math.Round(x*RankedStepsPerMM) / RankedStepsPerMM }

// Library is a catalog's lenses in every orientation that makes a difference,
// prepared for one problem.
type Library struct {
	Problem  *Problem
	Lenses   []*catalog.Lens
	Elements []*Element
	// gaps are the stack gaps of every element with every one behind it, row by
	// row; nil where they are not kept, see [Library.KeepGaps].
	gaps []float64
}

// NewLibrary prepares lenses for p.
func NewLibrary(p *Problem, lenses []*catalog.Lens) *Library {
	lib := &Library{Problem: p, Lenses: lenses}
	for part, l := range lenses {
		lib.Elements = append(lib.Elements, p.NewElement(l, false, part, len(lib.Elements)))
		if !l.IsSymmetric() {
			lib.Elements = append(lib.Elements, p.NewElement(l, true, part, len(lib.Elements)))
		}
	}
	lib.sampleSags()
	return lib
}

// NewElement prepares a lens in one orientation at the reference wavelength. part and index
// are its places in the catalog and in a library.
func (p *Problem) NewElement(l *catalog.Lens, reversed bool, part, index int) *Element {
	wavelengthNM := p.WavelengthsNM[p.Reference()]
	e := &Element{Lens: l, Reversed: reversed, ID: l.Part, Part: part, Index: index, Slots: p.SlotsFor(l.Part)}
	turned := l
	if reversed {
		e.ID += "/r"
		turned = l.Reversed()
	}
	e.Surfaces, e.Thickness, e.Glasses = turned.Surfaces, turned.ThicknessMM, turned.Glasses
	e.halfDiameter, e.clear = l.DiameterMM/2, l.ClearMM/2
	e.massG = l.MassG()
	e.firstSphere, e.lastSphere = e.Surfaces[0].IsSpherical(), e.Surfaces[len(e.Surfaces)-1].IsSpherical()
	_, e.lastMax = sagRange(e.Surfaces[len(e.Surfaces)-1], e.halfDiameter)
	e.firstMin, _ = sagRange(e.Surfaces[0], e.halfDiameter)

	first, last := Everything, Everything
	p.clipAperture(&first, 1, 0, p.Magnification, e.clear)
	p.clipAperture(&last, 1, 0, 1, e.clear)
	e.frontChief = float64(p.Magnification*first.Hi) + reliefSlack
	e.rearChief = -last.Lo + reliefSlack
	e.perEndPower = p.PassingEdge() / (e.clear * p.farLoosening()) * (1 - endPowerRounding)

	m, n := Matrix{1, 0, 0, 1}, 1.0
	var before []Matrix // from the first vertex to just before each surface
	for s, surface := range e.Surfaces {
		e.faceted = e.faceted || surface.IsFaceted()
		before = append(before, m)
		next := 1.0
		if s < len(e.Glasses) {
			next = e.Glasses[s].Index(wavelengthNM)
		}
		m = m.Then(refract(surface.Curvature(), n, next))
		if s < len(e.Thickness) {
			m = m.Then(Gap(e.Thickness[s]))
			e.length += e.Thickness[s]
		}
		n = next
	}
	e.matrix = m
	for _, b := range before {
		e.toSurface = append(e.toSurface, heightRow{b.A, b.B})
		// Height at the surface from the ray behind the last vertex: back
		// through the whole element, whose determinant is 1, and forward.
		e.fromSurface = append(e.fromSurface, heightRow{
			float64(b.A*m.D) - float64(b.B*m.C), float64(b.B*m.A) - float64(b.A*m.B),
		})
	}
	return e
}

// StackGap is the vertex gap between neighbours in a group: the smallest that
// keeps the facing surfaces AirGapMin apart, along the axis, at every height
// up to the smaller half diameter.
func (p *Problem) StackGap(before, after *Element) float64 {
	return p.AirGapMin + sagOverlap(before, after)
}

// LeastGap is the smallest vertex gap between two groups that holds no mask.
func (p *Problem) LeastGap(before, after *Group) float64 {
	return p.GroupGapMin + sagOverlap(before.Elements[len(before.Elements)-1], after.Elements[0])
}

// maxEndPower is facingSagOverlap between two elements.
func sagOverlap(before, after *Element) float64 {
	half := min(before.halfDiameter, after.halfDiameter)
	last, first := &before.Surfaces[len(before.Surfaces)-1], &after.Surfaces[0]
	if before.lastSphere && after.firstSphere {
		return spheresOverlap(last.RadiusMM, first.RadiusMM, half)
	}
	n := min(len(before.lastSags), len(after.firstSags))
	if n == 0 {
		return facingSagOverlap(*last, *first, half)
	}
	z, w := before.lastSags[n-1], after.firstSags[n-1]
	var samples [sagSteps + 1]float64
	for i := range samples {
		samples[i] = z[i] - w[i]
	}
	return maxFrom(&samples, half, func(h float64) float64 { return last.Sag(h) - first.Sag(h) })
}

// sampleSags lets every element know its faces' sags at the heights at which
// distances to others are sampled, where there are aspheres and the half
// diameters are few.
func (lib *Library) sampleSags() {
	var halves []float64
	aspheres := false
	for _, e := range lib.Elements {
		if i, ok := slices.BinarySearch(halves, e.halfDiameter); !ok {
			halves = slices.Insert(halves, i, e.halfDiameter)
		}
		aspheres = aspheres || !e.firstSphere || !e.lastSphere
	}
	if !aspheres || len(halves) > sampledHalves {
		return
	}
	for _, e := range lib.Elements {
		for _, half := range halves {
			if half <= e.halfDiameter {
				e.firstSags = append(e.firstSags, sagSamples(&e.Surfaces[0], half))
				e.lastSags = append(e.lastSags, sagSamples(&e.Surfaces[len(e.Surfaces)-1], half))
			}
		}
	}
}

// sampledHalves is how many half diameters a library's samples of sags are kept
// for: half a kilobyte an element and half diameter.
const sampledHalves = 16

// NewGroup stacks elements, world to eye. Its focal length is negative for a
// diverging group and infinite for an afocal one.
func (p *Problem) NewGroup(elements ...*Element) *Group {
	g := &Group{Elements: elements}
	if len(elements) > 1 {
		g.GapsMM = make([]float64, 0, len(elements)-1)
	}
	for i, e := range elements[1:] {
		g.GapsMM = append(g.GapsMM, p.StackGap(elements[i], e))
	}
	g.assemble()
	return g
}

// assemble computes the numbers of a group from its elements and gaps.
func (g *Group) assemble() {
	first := g.Elements[0]
	g.matrix, g.ThicknessMM = first.matrix, first.length
	for i, e := range g.Elements[1:] {
		g.matrix = g.matrix.advance(g.GapsMM[i]).Then(e.matrix)
		g.ThicknessMM += g.GapsMM[i] + e.length
	}
	g.FocalMM, g.FFDMM, g.BFDMM = g.matrix.cardinal()
}

// surfaces is the number of the group's surfaces.
func (g *Group) surfaces() int {
	n := 0
	for _, e := range g.Elements {
		n += len(e.Surfaces)
	}
	return n
}

func (g *Group) lastSagMax() float64  { return g.Elements[len(g.Elements)-1].lastMax }
func (g *Group) firstSagMin() float64 { return g.Elements[0].firstMin }

// MassG is the train's glass in grams, false when a density is unknown.
func (t *Train) MassG() (grams float64, known bool) {
	return t.sum(func(e *Element) float64 { return e.massG })
}

// Price is the sum of the prices of the parts to buy, false when one has none: the
// pieces that are there already ([catalog.Lens.Owned]) cost nothing.
func (t *Train) Price() (price float64, known bool) {
	for gi, g := range t.Groups {
		for ei, e := range g.Elements {
			if e.Lens.Owned == 0 || t.before(e.Part, gi, ei) >= e.Lens.Owned {
				price += e.Lens.Price
			}
		}
	}
	return price, catalog.IsSet(price)
}

// before is how many pieces of a part stand before a lens of a group.
func (t *Train) before(part, group, lens int) (n int) {
	for gi, g := range t.Groups[:group+1] {
		for ei, e := range g.Elements {
			if e.Part == part && (gi < group || ei < lens) {
				n++
			}
		}
	}
	return n
}

// sum adds an optional number over the train's elements.
func (t *Train) sum(of func(*Element) float64) (total float64, known bool) {
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			total += of(e)
		}
	}
	return total, catalog.IsSet(total)
}

// Positive reports whether the group converges, as every group that acts in a
// train by itself must.
func (g *Group) Positive() bool { return positive(g.FocalMM) }

// HasPower reports whether the group counts as having power, see [FocalMost].
func (g *Group) HasPower() bool { return !powerless(g.FocalMM) }
