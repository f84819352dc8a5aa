package objective

import "math"

// RefineBounds are the limits within which [Problem.LeastRefined] and
// [PairTrain.Least] hold for one train, whatever its gaps become.
type RefineBounds struct {
	p       *Problem
	eyeMost float64   // mm, of |p|
	pair    *pairCase // nil for others
}

// RefineBoundsOf are the bounds for a train at its paraxial gaps.
func (p *Problem) RefineBoundsOf(start *Train) RefineBounds {
	rear := start.Groups[len(start.Groups)-1]
	b := RefineBounds{p: p}
	if atEye, _, ok := p.eyeRange(rear.BFDMM); ok {
		b.eyeMost = eyeMost / atEye
	}
	if start.Layout != ErectorPair {
		return b
	}
	front, okFront := p.NewFront(start.Groups[0], start.Seat, LastRequirement)
	back, okBack := p.NewRear(rear, start.Seat, LastRequirement)
	relay, ok := p.NewPairRelay(NewPairComponentRows(start.Groups[1]), NewPairComponentRows(start.Groups[2]))
	if okFront && okBack && ok {
		c := p.newPairCase(&front, &relay, &back, start.Seat, LastRequirement)
		b.pair = &c
	}
	return b
}

// Each visits the bounds with what t, the train at other gaps, has of each: the name of the
// requirement or limit, the value, its limit, and the scale of an excess.
// Values and limits are in mm, but for axis_vergence_D in 1/mm.
func (b *RefineBounds) Each(t *Train, visit func(name string, value, limit, scale float64)) {
	p := b.p
	rear := t.Groups[len(t.Groups)-1]
	m := p.EyeMatrix(t)
	visit(AxisVergenceD, math.Abs(m.A*m.C), p.ResidualVergenceMax(), p.AxisLimitD()/1000)
	visit(Relief.String(), math.Abs(t.EyeRelief-p.CombinerShift()-rear.BFDMM), b.eyeMost, 1)
	if b.pair == nil {
		return
	}
	inner := t.Gaps[1]
	v := 1 / (b.pair.relay.fold - inner)
	within := b.pair.reachable()
	visit(GapRoom.String(), b.pair.relay.inner(within.Lo)-RoundingSlack, inner, 1)
	visit(GapRoom.String(), inner, b.pair.relay.inner(within.Hi)+RoundingSlack, 1)
	eye := b.pair.eye(v, v)
	visit(Relief.String(), eye.Lo-RoundingSlack, eye.Hi, 1)
	visit(Length.String(), b.pair.length(v)-pairShorterMost, t.Length, 1)
}
