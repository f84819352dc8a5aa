package objective

import "math"

// Judge tests a train's paraxial requirements from `relief` on, at its gaps,
// and returns the interval of eye reliefs (mm, physical) that meets those that
// depend on it, with the first requirement that no eye relief can meet
// together with those before it, or Met. The eye relief of t plays no part.
// Requirements before it (focal to length) are those of [Problem.Assemble].
func (p *Problem) Judge(t *Train) (relief Interval, failed Requirement) {
	if relief, failed = p.eyeReliefs(t, false); failed != Met {
		return nothing, failed
	}
	if failed = p.judgeParts(t); failed != Met {
		return nothing, failed
	}
	return relief, Met
}

// judgeParts is the first requirement on a train's parts alone that it fails, or Met.
func (p *Problem) judgeParts(t *Train) Requirement {
	if p.tooManyParts(t) {
		return Parts
	}
	if price, known := t.Price(); p.exceeds(Price, price, known) {
		return Price
	}
	if mass, known := t.MassG(); p.exceeds(MassG, mass, known) {
		return MassG
	}
	return Met
}

// eyeReliefs is the interval of eye reliefs (mm, physical) that meets the paraxial
// requirements that depend on it, with the first that no eye relief can meet
// together with those before it, or Met. With lenient such a requirement is passed
// over, and the interval is that of the others.
func (p *Problem) eyeReliefs(t *Train, lenient bool) (relief Interval, failed Requirement) {
	shift := p.CombinerShift()
	// Everything up to the end is about e, the air-equivalent eye relief.
	e := Interval{p.LeastRelief() - shift, p.ReliefMax - shift}
	if e.Empty() {
		return nothing, Relief
	}
	failed = Met
	// narrow takes a requirement into account, false where that is the end.
	narrow := func(r Requirement, within Interval) bool {
		switch {
		case !within.lost():
			e = within
		case failed == Met:
			failed = r
		}
		return lenient || failed == Met
	}
	through := e
	p.eachHeight(t, func(row heightRow, clear float64) {
		// The chief ray starts at height -e and slope 1 behind the last vertex.
		p.clipAperture(&through, -row.A, row.B, row.A, clear)
	})
	if !narrow(Aperture, through) {
		return nothing, failed
	}
	var masks [MasksMost]maskAt
	gaps := t.MaskGaps()
	for i, gap := range gaps {
		masks[i] = p.maskAt(t, gap)
	}
	for r := firstOfMask; r <= lastOfMask; r++ {
		within := e
		for i := range gaps {
			within = within.And(masks[i].meets(r))
		}
		if !narrow(r, within) {
			return nothing, failed
		}
	}
	if limit := p.LimitOn(ViewpointShiftMM); !math.IsInf(limit, 1) {
		// shift = length + e + shift_combiner - (B + e·D)/A, linear in e.
		all := p.matrixFrom(t, 0)
		slope := 1 - all.D/all.A
		if math.Abs(slope) < flatSlope { // Θ = 1: the shift does not depend on e
			slope = 0
		}
		at0 := t.Length + shift - all.B/all.A
		near := e
		near.clip(slope, limit-at0+RoundingSlack)
		near.clip(-slope, limit+at0+RoundingSlack)
		if !narrow(ViewpointShiftMM, near) {
			return nothing, failed
		}
	}
	return e.affine(1, shift), failed
}

// maskAt is how the setpoints of the mask in a gap of a train at its gaps follow from the
// eye's place.
type maskAt struct {
	maskMotion
	lo, hi float64 // the room of setpoints x
	bfd    float64 // of what stands behind the gap
}

func (p *Problem) maskAt(t *Train, gap int) maskAt {
	behind := p.matrixFrom(t, gap+1)
	focal, ffd, bfd := behind.cardinal()
	lo, hi := p.MaskRoom(t, gap)
	zero := p.airGap(t, gap) - ffd + p.MaskShift()/2 // physical place of x = 0
	return maskAt{maskMotion{p, math.Abs(focal)}, lo - zero - RoundingSlack, hi - zero + RoundingSlack, bfd}
}

// meets is the interval of air-equivalent eye reliefs that meets a requirement.
func (m *maskAt) meets(r Requirement) Interval {
	return requirements[r].mask(m.maskMotion, m.lo, m.hi).affine(1, m.bfd) // p = e - bfd
}

// RoundingSlack, in mm, is how far the ends of an interval of eye reliefs may
// cross before it counts as empty, and by how much a gap, a clearance or the
// viewpoint may miss its requirement. The inner gap of a pair is driven to
// where a requirement is met with equality and only one eye relief is left;
// computed in another way the two sides then agree but for rounding, some 1e-12
// of lengths up to 1000 mm.
const RoundingSlack = 1e-9

// flatSlope is the largest change of the viewpoint's shift with the eye relief that counts as
// none: with Θ = 1 it is rounding.
const flatSlope = 1e-9

// RequirementSlack is the relative excess over a requirement that counts as
// rounding: a paraxial solution may stand exactly at the requirement.
const RequirementSlack = 1e-9

// lost reports whether an interval of eye reliefs is empty beyond rounding.
func (i Interval) lost() bool { return !(i.Lo <= i.Hi+RoundingSlack) }

func (p *Problem) exceeds(r Requirement, value float64, known bool) bool {
	max := p.LimitOn(r)
	return !math.IsInf(max, 1) && !(known && value <= max)
}

// clipAperture clips an interval of x to where a surface lets the field
// through: with the chief height a = slope·x + at0 per unit slope at the eye
// and the pupil-edge height A + V·a,
//
//	|a|·tan θ + r·max(|A + Vf·a|, |A + Vn·a|) <= clear.
//
// The left side is the largest of the eight sums with either sign before each
// magnitude and either vergence, each linear in a.
func (p *Problem) clipAperture(x *Interval, slope, at0, edge, clear float64) {
	r := p.PassingEdge()
	for _, v := range [2]float64{p.VergenceFar, p.VergenceNear} {
		for _, s := range [2]float64{1, -1} {
			k := float64(s*p.TanMax) + float64(r*v)
			b := clear - float64(r*edge)
			x.clip(float64(k*slope), b-float64(k*at0))
			b = clear + float64(r*edge)
			x.clip(-float64(k*slope), b+float64(k*at0))
		}
	}
}

// tooManyParts reports whether the train breaks the limits on its lenses, its
// distinct parts or a part's stock.
func (p *Problem) tooManyParts(t *Train) bool { return p.tooManyIn(t.Groups) }

func (p *Problem) tooManyIn(groups []*Group) bool {
	n := countParts(groups)
	return n.beyondStock > 0 || p.LensesMax > 0 && n.lenses > p.LensesMax || p.PartsMax > 0 && n.distinct > p.PartsMax
}

// parts are the numbers of a train's lenses, of their distinct parts, and of the pieces
// beyond what there is of a part.
type parts struct{ lenses, distinct, beyondStock int }

// countParts counts the parts of groups. It compares each piece with those before it: they
// are few, and a map would cost more.
func countParts(groups []*Group) (n parts) {
	for gi, g := range groups {
		for ei, e := range g.Elements {
			n.lenses++
			before := piecesOf(e.Part, g.Elements[:ei])
			for _, h := range groups[:gi] {
				before += piecesOf(e.Part, h.Elements)
			}
			if before == 0 {
				n.distinct++
			}
			if e.Lens.Stock >= 0 && before >= e.Lens.Pieces() {
				n.beyondStock++
			}
		}
	}
	return n
}

// piecesOf is how many elements are of a part.
func piecesOf(part int, elements []*Element) (n int) {
	for _, e := range elements {
		if e.Part == part {
			n++
		}
	}
	return n
}
