package objective

import "math"

// What a search by trial and error needs besides a verdict is how far a train
// is from meeting what is asked: here as one number each for the paraxial
// requirements (in mm, or what stands for mm) and for what rays measure.

// nothingFits, in mm, stands for a distance that can't be told: a group without
// the focal length that its slot needs, or an interval that is empty for
// itself.
const nothingFits = 1000.0

// EndMiss is by how much, in mm, a front's and a rear's own intervals are
// empty.
func EndMiss(front *Front, rear *Rear) float64 { return emptyBy(front.Q) + emptyBy(rear.P) }

// emptyBy is by how much the ends of an interval cross.
func emptyBy(i Interval) float64 {
	switch {
	case math.IsInf(i.Lo, 1) || math.IsInf(i.Hi, -1):
		return nothingFits
	case i.Lo > i.Hi:
		return math.Min(i.Lo-i.Hi, nothingFits)
	}
	return 0
}

// RelayRange is the interval of focal lengths that front and rear leave a
// relay, see [RelayTable]; empty when none.
func (p *Problem) RelayRange(front *Front, rear *Rear) Interval {
	i, k := front.Box(), rear.Box()
	relay, _ := coupling(p.Magnification, &i, &k)
	return relay
}

// SingleMiss is how far front, relay and rear are from an erector-single that
// some eye relief suits: by how much, in mm, the viewpoint that the eye's places
// give lies off those that the front lets through, and by how much the relay's
// MaxEndPower is exceeded. It is 0 where the group's numbers alone rule nothing out.
func (p *Problem) SingleMiss(front *Front, relay *Relay, rear *Rear) float64 {
	miss := EndMiss(front, rear) + p.couplingMiss(front, rear, Interval{relay.F, relay.F})
	if need := 1/rear.F + p.Magnification/front.F; !(need <= relay.MaxEndPower*(1+endPowerRounding)) {
		miss += math.Min(relay.F*(need-math.Max(relay.MaxEndPower, 0)), nothingFits)
	}
	return miss
}

// SingleLength is the length in mm of an erector-single of these groups.
func (p *Problem) SingleLength(front *Front, relay *Relay, rear *Rear) float64 {
	m := p.Magnification * rear.F / front.F
	return front.ToFocus + rear.FromFocus + p.MaskShift() + relay.Hiatus + float64(leastKappa(swayed(m, rear.Sway))*relay.F)
}

// couplingMiss is how far Θ²p - q stays off Θ·f_front·f_rear/f_relay for every
// focal length of the relay within a range.
func (p *Problem) couplingMiss(front *Front, rear *Rear, relay Interval) float64 {
	t2 := p.Magnification * p.Magnification
	apart := Interval{float64(t2*rear.P.Lo) - front.Q.Hi, float64(t2*rear.P.Hi) - front.Q.Lo}
	product := p.Magnification * front.F * rear.F
	miss := math.Max(product/relay.Hi-apart.Hi, apart.Lo-product/relay.Lo) - reliefSlack
	switch {
	case math.IsNaN(miss):
		return nothingFits
	case miss > 0:
		return math.Min(miss, nothingFits)
	}
	return 0
}

// Miss is how far the train is from having an inner gap that serves, as
// [Problem.SingleMiss]; 0 where its numbers alone rule nothing out.
func (t *PairTrain) Miss() float64 {
	c := &t.c
	miss := EndMiss(c.front, c.rear)
	size := math.Abs(t.relay.product)
	v := magnitudes(t.relay.domain)
	return miss + t.p.couplingMiss(c.front, c.rear, Interval{size * v.Lo, size * v.Hi})
}

// MagnificationMiss is how far two focal lengths are from the magnification
// of a keplerian, in mm of the rear's.
func (p *Problem) MagnificationMiss(front, rear float64) float64 {
	off := math.Abs(front/(rear*p.Magnification)-1) - p.MagnificationTol
	return math.Min(math.Max(0, off*rear), nothingFits)
}

// GapMiss is what the gaps and the length of an assembled train lack in mm, see
// [Problem.Assemble].
func (p *Problem) GapMiss(t *Train) float64 {
	miss := 0.0
	for i, gap := range t.Gaps {
		if !t.HoldsMask(i) {
			miss += math.Max(0, p.LeastGap(t.Groups[i], t.Groups[i+1])-gap)
		}
	}
	return math.Min(miss+math.Max(0, t.Length-p.LengthMax), nothingFits)
}

// PartsMiss is by how much a train exceeds what its parts may be: pieces beyond
// the limits on lenses, distinct parts and stock, and the relative excess of
// price and mass; 0 where it does not.
func (p *Problem) PartsMiss(t *Train) float64 {
	n := countParts(t.Groups)
	miss := float64(n.beyondStock)
	if p.LensesMax > 0 {
		miss += float64(max(0, n.lenses-p.LensesMax))
	}
	if p.PartsMax > 0 {
		miss += float64(max(0, n.distinct-p.PartsMax))
	}
	price, priced := t.Price()
	mass, weighed := t.MassG()
	return miss + p.excessOf(Price, price, priced) + p.excessOf(MassG, mass, weighed)
}

// LimitScale, in a limit's unit, stands for limits that are smaller where an
// excess is taken relative to its limit.
const LimitScale = 1e-3

// excessOf is the relative excess of a value over its limit, 1 for a value that
// is not known.
func (p *Problem) excessOf(r Requirement, value float64, known bool) float64 {
	most := p.LimitOn(r)
	switch {
	case math.IsInf(most, 1):
		return 0
	case !known:
		return 1
	}
	return math.Max(0, (value-most)/math.Max(most, LimitScale))
}
