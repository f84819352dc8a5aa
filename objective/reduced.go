package objective

import "math"

// The numbers to which a group's part in an upright train reduces. An afocal
// train of magnification Θ couples the place of the eye, p behind the rear
// focal point of the rear group, and that of the viewpoint, q behind the front
// focal point of the front group. Newton's equation, applied to rear, relay
// and front in turn, gives with m = Θ·f_rear/f_front
//
//	x_rear  = -f_rear²/p
//	x_relay = -f_relay²/(f_relay·m - f_rear²/p)
//	q       = -f_front²/(x_relay + f_relay/m) = Θ²·p - Θ·f_front·f_rear/f_relay,
//
// so every requirement on a front group alone is an interval in q, on a rear
// group alone one in p, and length is
//
//	L = (t+BFD)_front + (t+FFD)_rear + (t+FFD+BFD-2f)_relay + κ·f_relay + plate,
//	κ = 2 + m + 1/m >= 4,
//
// where t+FFD+BFD-2f is the hiatus, the separation of the principal planes.

// Front is a group in front, reduced.
type Front struct {
	Group   *Group // nil where only the numbers are held
	Code    StackCode
	F       float64 // focal length
	ToFocus float64 // t + BFD: from the first vertex to image 1, with the plate of a second mask
	BFD     float64
	Q       Interval
}

// Rear is a group at the eye, reduced.
type Rear struct {
	Group *Group // nil where only the numbers are held
	Code  StackCode
	F     float64 // focal length
	// FromFocus is t + FFD, less what refinement can take off with this rear, and Sway by
	// how much it can change m, see [Problem.LeastRefined].
	FromFocus, Sway float64
	FFD             float64
	P               Interval
}

// Relay is a single relay group, reduced.
type Relay struct {
	Group  *Group // nil where only the numbers are held
	Code   StackCode
	F      float64 // focal length
	Hiatus float64 // t + FFD + BFD - 2f: the separation of the principal planes
	// MaxEndPower bounds 1/f_rear + Θ/f_front from above: the ray that enters the
	// eye's pupil at height 1 parallel to the axis stands at the relay at
	// about f_relay times that sum.
	MaxEndPower float64
	rows        []surfaceRow
}

// surfaceRow is the row of a surface's height and its clear semi-diameter.
type surfaceRow struct {
	heightRow
	clear float64
}

// NewFront reduces a group, false when it can't serve in front with the seat
// and meet the requirements up to and including until.
func (p *Problem) NewFront(g *Group, seat Seat, until Requirement) (Front, bool) {
	if !positive(g.FocalMM) {
		return Front{}, false
	}
	theta := p.Magnification
	q := Everything
	if until >= Aperture {
		g.eachForward(func(row heightRow, clear float64) {
			// The chief ray of unit slope at the eye leaves the viewpoint with
			// slope 1/Θ; the pupil-edge ray of vergence 0 runs at height Θ.
			p.clipAperture(&q, -row.A/theta, (float64(row.A*g.FFDMM)+row.B)/theta, row.A*theta, clear)
		})
	}
	if seat.Has(SeatFront) {
		// The setpoints follow q/Θ² and f/Θ as those of a rear seat p and f.
		keep := p.LayerClearance()
		lo := keep + g.lastSagMax() - g.BFDMM - p.MaskShift()/2
		m := maskMotion{p, g.FocalMM / theta}
		q = q.And(m.all(lo, math.Inf(1), until).affine(theta*theta, 0))
	}
	return Front{Group: g, F: g.FocalMM, ToFocus: g.ThicknessMM + g.BFDMM + p.secondShift(seat), BFD: g.BFDMM, Q: q}, !q.Empty()
}

// NewRear reduces a group, false when it can't serve at the eye with the seat
// and meet the requirements up to and including until.
func (p *Problem) NewRear(g *Group, seat Seat, until Requirement) (Rear, bool) {
	if !positive(g.FocalMM) {
		return Rear{}, false
	}
	shift := p.CombinerShift()
	at := Everything
	if until >= Relief {
		at = Interval{p.LeastRelief(), p.ReliefMax}.affine(1, -shift-g.BFDMM)
	}
	if until >= Aperture {
		g.eachBack(heightRow{1, 0}, heightRow{0, 1}, func(row heightRow, clear float64) {
			p.clipAperture(&at, -row.A, row.B-float64(row.A*g.BFDMM), row.A, clear)
		})
	}
	if seat.Has(SeatRear) {
		keep := p.LayerClearance()
		hi := g.FFDMM + p.MaskShift()/2 - keep + g.firstSagMin()
		at = at.And(maskMotion{p, g.FocalMM}.all(math.Inf(-1), hi, until))
	}
	room := p.refineRoomOf(g.FocalMM, g.BFDMM)
	return Rear{
		Group: g, F: g.FocalMM, FromFocus: g.ThicknessMM + g.FFDMM - room.shorter, Sway: room.sway, FFD: g.FFDMM, P: at,
	}, !at.Empty()
}

// all is every requirement on the mask's motion up to and including until,
// with the setpoints in [lo, hi].
func (m maskMotion) all(lo, hi float64, until Requirement) Interval {
	i := Everything
	for r := firstOfMask; r <= min(until, lastOfMask); r++ {
		i = i.And(requirements[r].mask(m, lo, hi))
	}
	return i
}

// NewRelay reduces a group, false when it can't be a relay.
func (p *Problem) NewRelay(g *Group) (Relay, bool) {
	if !positive(g.FocalMM) {
		return Relay{}, false
	}
	r := Relay{Group: g, F: g.FocalMM, Hiatus: hiatusOf(g)}
	r.rows = make([]surfaceRow, 0, g.surfaces())
	g.eachBack(heightRow{1, 0}, heightRow{0, 1}, func(row heightRow, clear float64) {
		r.rows = append(r.rows, surfaceRow{row, clear})
	})
	r.MaxEndPower = p.maxEndPower(&r)
	return r, r.MaxEndPower > 0
}

// hiatusOf is a relay's hiatus.
func hiatusOf(g *Group) float64 { return g.ThicknessMM + g.FFDMM + g.BFDMM - 2*g.FocalMM }

// maxEndPower bounds a + b, a = 1/f_rear and b = Θ/f_front, both positive, by the
// pupil-edge ray of vergence 0, whose height at a surface is
// M = -[(A·BFD - B)·a + A·f·b]. The aperture asks |a_s|·T + r·|M + V·a_s| <=
// clear at every vergence V of the range; as |M| <= |M + V·a_s| + V·|a_s| and
// |a_s| <= clear/T, it follows that r·|M| <= clear·max(1, r·V/T), best at the
// far end.
func (p *Problem) maxEndPower(r *Relay) float64 {
	bound := math.Inf(1)
	loose := p.farLoosening()
	for _, row := range r.rows {
		a := float64(row.A*r.Group.BFDMM) - row.B
		b := float64(row.A * r.F)
		if least := min(a, b); least > 0 {
			bound = min(bound, row.clear*loose/(p.PassingEdge()*least))
		}
	}
	return bound
}

// farLoosening is max(1, r·V/T) at the far end of the depth range.
func (p *Problem) farLoosening() float64 {
	return max(1, p.PassingEdge()*p.VergenceFar/p.TanMax)
}

// eachBack visits a group's surfaces from its last to its first, given the rows
// of height and slope behind its last vertex, with the row of height at each,
// and returns the rows in front of its first vertex.
func (g *Group) eachBack(y, u heightRow, visit func(row heightRow, clear float64)) (heightRow, heightRow) {
	for i := len(g.Elements) - 1; i >= 0; i-- {
		e := g.Elements[i]
		for s := len(e.fromSurface) - 1; s >= 0; s-- {
			visit(e.fromSurface[s].of(y, u), e.clear)
		}
		y, u = traceBack(e.matrix, y, u)
		if i > 0 {
			y = retreat(y, u, g.GapsMM[i-1])
		}
	}
	return y, u
}

// eachForward visits a group's surfaces from its first to its last with height
// rows for rays given in front of its first vertex.
func (g *Group) eachForward(visit func(row heightRow, clear float64)) {
	y, u := heightRow{1, 0}, heightRow{0, 1}
	for i, e := range g.Elements {
		for _, row := range e.toSurface {
			visit(row.of(y, u), e.clear)
		}
		m := e.matrix
		y, u = heightRow{float64(m.A*y.A) + float64(m.B*u.A), float64(m.A*y.B) + float64(m.B*u.B)},
			heightRow{float64(m.C*y.A) + float64(m.D*u.A), float64(m.C*y.B) + float64(m.D*u.B)}
		if i < len(g.GapsMM) {
			y = retreat(y, u, -g.GapsMM[i])
		}
	}
}

// of applies a row to the rows of a height and a slope.
func (r heightRow) of(y, u heightRow) heightRow {
	return heightRow{float64(r.A*y.A) + float64(r.B*u.A), float64(r.A*y.B) + float64(r.B*u.B)}
}

// reliefSlack, in mm, is what the reduced intervals are widened by before a
// train is dismissed by them: far above their rounding errors, which are about
// 1e-12 of lengths up to some 1000 mm. The train's own judgement decides.
const reliefSlack = 1e-7
