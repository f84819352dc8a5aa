package objective

import (
	"cmp"
	"math"
	"slices"
)

// GroupFilter tells, for a group in a slot, a length that no train with it there
// can be shorter than, from what a [BinnedMinima] holds of its best partners. With it
// the groups that can matter up to a length are picked out of a stream of all
// of them, so that no others need be held.
type GroupFilter struct {
	p               *Problem
	fronts, rears   [SeatCount]*endCompletion // by seat, nil where not asked for
	relays          *relayCompletion
	keplerianFronts *[focalBinsMost]float64 // as endRest, for the front of a keplerian
	// Least is a length that no train at all can be shorter than.
	Least float64
}

// endCompletion is, by bins of focal length and of offset, the least by which a train
// with one of these groups is longer than what the group adds itself; whole is the least
// over all offsets.
type endCompletion struct {
	least [focalBinsMost][offsetBins]float64
	whole [focalBinsMost]float64
}

// relayCompletion is the least ToFocus + FromFocus + plate of two ends that leave the
// relay a focal length of a bin or shorter and ask of it a MaxEndPower of a bin or
// less, by steps of their κ; whole is the least sum of that and κ·f over all
// steps and powers, by finer bins of focal length.
type relayCompletion struct {
	least [focalBinsMost][focalBinsMost][completionKappas]float64
	whole [relayBins]float64
}

const (
	completionKappas     = 40
	completionKappaRatio = 1.04
)

// NewOpenFilter is a filter that lets everything through that can serve in its slot.
func NewOpenFilter(p *Problem) *GroupFilter { return &GroupFilter{p: p, Least: math.Inf(-1)} }

// NewGroupFilter makes a filter for spaces of which the minima were taken.
func NewGroupFilter(c *BinnedMinima, spaces []Space) *GroupFilter {
	p := c.p
	v := &GroupFilter{p: p, Least: math.Inf(1)}
	var table *RelayTable
	for _, s := range spaces {
		if v.rears[s.Seat] == nil {
			v.rears[s.Seat] = newEndCompletion()
		}
		rears := c.rears[s.Seat].boxes(p.rearBox)
		if s.Layout == Keplerian {
			v.keplerian(c.keplerianFronts, rears)
			continue
		}
		if v.fronts[s.Seat] == nil {
			v.fronts[s.Seat] = newEndCompletion()
		}
		if table == nil {
			table = NewRelayTable(p, c.relays.all())
			v.relays = newRelayCompletion()
		}
		bound := func(front, rear *Box) float64 {
			length, _ := table.Bound(front, rear)
			return length
		}
		fronts := c.fronts[s.Seat].boxes(p.frontBox)
		for _, i := range fronts {
			for _, k := range rears {
				v.Least = min(v.Least, bound(&i, &k))
			}
		}
		v.fronts[s.Seat].lower(p.frontBox, rears, bound)
		v.rears[s.Seat].lower(p.rearBox, fronts, func(rear, front *Box) float64 { return bound(front, rear) })
		v.relays.lower(p, fronts, rears)
	}
	if v.relays != nil {
		v.relays.sum()
	}
	return v
}

// focalBinBox is the box of the groups of a bin of focal lengths with a length.
func focalBinBox(f int, length float64) Box {
	b := Box{F: Interval{focalBinLow(f), math.Inf(1)}, Length: length, I: Everything}
	if f+1 < focalBinsMost {
		b.F.Hi = focalBinLow(f + 1)
	}
	return b
}

// endBox makes the box of the ends of a bin of focal lengths with a length and an offset:
// [Problem.frontBox] or [Problem.rearBox].
type endBox func(f int, length, offset float64) Box

// frontBox is the box of fronts.
func (p *Problem) frontBox(f int, length, offset float64) Box {
	b := focalBinBox(f, length)
	b.I.Lo = -offset
	return b
}

// rearBox is the box of rears, with the largest sway.
func (p *Problem) rearBox(f int, length, offset float64) Box {
	b := focalBinBox(f, length)
	b.I.Hi = offset
	b.Sway = p.swayMost()
	return b
}

// furthest is the largest offset of the groups in a bin.
func furthest(f, o int) float64 {
	if o == 0 {
		return math.Inf(1)
	}
	return (offsetSpan - float64(o)*(2*offsetSpan/offsetBins)) * focalScale[f]
}

func newEndCompletion() *endCompletion {
	e := new(endCompletion)
	for f := range e.least {
		e.whole[f] = math.Inf(1)
		for o := range e.least[f] {
			e.least[f][o] = math.Inf(1)
		}
	}
	return e
}

// lower takes trains into account that have one of these groups at one end and
// one in the boxes at the other. A shorter offset never shortens a train, so that
// the boxes are gone through in the order of what they leave the furthest offset.
func (e *endCompletion) lower(boxOf endBox, others []Box, bound func(own, other *Box) float64) {
	type partner struct {
		box   *Box
		least float64
	}
	partners := make([]partner, 0, len(others))
	for f := range e.least {
		with := func(o int, other *Box) float64 {
			own := boxOf(f, 0, furthest(f, o))
			return bound(&own, other)
		}
		partners = partners[:0]
		for i := range others {
			if least := with(0, &others[i]); !math.IsInf(least, 1) {
				partners = append(partners, partner{&others[i], least})
			}
		}
		slices.SortFunc(partners, func(a, b partner) int { return cmp.Compare(a.least, b.least) })
		for o := range e.least[f] {
			least := math.Inf(1)
			for _, other := range partners {
				if other.least >= least {
					break
				}
				least = min(least, with(o, other.box))
			}
			if math.IsInf(least, 1) { // none, and less offset does not help
				break
			}
			e.least[f][o] = min(e.least[f][o], least)
		}
		e.whole[f] = e.least[f][0]
	}
}

// keplerian takes trains of that layout into account.
func (v *GroupFilter) keplerian(fronts *[focalBinsMost]float64, rears []Box) {
	v.keplerianFronts = new([focalBinsMost]float64)
	for f := range v.keplerianFronts {
		v.keplerianFronts[f] = math.Inf(1)
		own := v.p.frontBox(f, 0, math.Inf(1))
		for _, r := range rears {
			v.keplerianFronts[f] = min(v.keplerianFronts[f], v.p.KeplerianBound(&own, &r))
		}
		v.Least = min(v.Least, fronts[f]+v.keplerianFronts[f])
	}
	completion := v.rears[SeatRear]
	for f := range completion.least {
		own := v.p.rearBox(f, 0, math.Inf(1))
		least := math.Inf(1)
		for i, toFocus := range fronts {
			front := v.p.frontBox(i, toFocus, math.Inf(1))
			least = min(least, v.p.KeplerianBound(&front, &own))
		}
		for o := range completion.least[f] {
			completion.least[f][o] = min(completion.least[f][o], least)
		}
		completion.whole[f] = min(completion.whole[f], least)
	}
}

func newRelayCompletion() *relayCompletion {
	r := new(relayCompletion)
	for f := range r.least {
		for n := range r.least[f] {
			for k := range r.least[f][n] {
				r.least[f][n][k] = math.Inf(1)
			}
		}
	}
	return r
}

// lower takes relays between two ends in boxes into account.
func (r *relayCompletion) lower(p *Problem, fronts, rears []Box) {
	theta := p.Magnification
	for _, i := range fronts {
		for _, k := range rears {
			focal, _ := coupling(theta, &i, &k)
			if focal.Empty() {
				continue
			}
			need := 1/k.F.Hi + theta/i.F.Hi
			kappa := leastKappa(magnifications(theta, &i, &k))
			step := max(0, min(completionKappas-1, int(math.Log(kappa/4)/math.Log(completionKappaRatio))))
			cell := &r.least[focalBin(focal.Lo)][focalBin(1/need)][step]
			*cell = min(*cell, i.Length+k.Length+p.MaskShift())
		}
	}
}

// sum lets every bin hold the least of all that its relays can serve.
func (r *relayCompletion) sum() {
	for f := range r.least {
		for n := focalBinsMost - 1; n >= 0; n-- {
			for k := range r.least[f][n] {
				cell := &r.least[f][n][k]
				if n+1 < focalBinsMost {
					*cell = min(*cell, r.least[f][n+1][k])
				}
				if f > 0 {
					*cell = min(*cell, r.least[f-1][n][k])
				}
			}
		}
	}
	for f := range r.whole {
		focal := relayBinLow(f)
		r.whole[f] = r.with(focalBin(focal), 0, focal)
	}
}

// with is the least of completion and κ·f in a bin.
func (r *relayCompletion) with(f, n int, focal float64) float64 {
	if r == nil {
		return math.Inf(-1)
	}
	least, kappa := math.Inf(1), 4.0
	for _, completion := range r.least[f][n] {
		least = min(least, completion+float64(kappa*focal))
		kappa *= completionKappaRatio
	}
	return least
}

// end is the least by which a train with an end of these bins is longer than what the end
// adds itself.
func (e *endCompletion) end(f int, offset float64) float64 {
	if e == nil {
		return math.Inf(-1)
	}
	return e.least[f][offsetBin(f, offset)]
}

// Front reduces what is stacked to a front with a seat and puts it into front,
// false when it can't serve or no train with it is as short as limit; bound is a
// length that none with it can be shorter than. The front holds numbers only.
func (v *GroupFilter) Front(s *Stacker, seat Seat, limit float64, front *Front) (bound float64, ok bool) {
	n, completion := s.numbers(), v.fronts[seat]
	limit += BoundSlack
	if !n.positive || !s.MayServe(FrontSlot) || completion != nil && n.front+completion.whole[n.bin] > limit || n.front+completion.end(n.bin, s.frontOffset(n)) > limit {
		return 0, false
	}
	f, ok := v.p.NewFront(s.Group(), seat, LastRequirement)
	if bound = n.front + completion.end(n.bin, -f.Q.Lo); !ok || bound > limit {
		return 0, false
	}
	f.Group, f.Code = nil, s.Code()
	*front = f
	return bound, true
}

// Rear reduces what is stacked to a rear, as [GroupFilter.Front].
func (v *GroupFilter) Rear(s *Stacker, seat Seat, limit float64, rear *Rear) (bound float64, ok bool) {
	n, completion := s.numbers(), v.rears[seat]
	limit += BoundSlack
	if !n.positive || !s.MayServe(RearSlot) || completion != nil && n.rear+completion.whole[n.bin] > limit || n.rear+completion.end(n.bin, s.rearOffset(n)) > limit {
		return 0, false
	}
	r, ok := v.p.NewRear(s.Group(), seat, LastRequirement)
	if bound = n.rear + completion.end(n.bin, r.P.Hi); !ok || bound > limit {
		return 0, false
	}
	r.Group, r.Code = nil, s.Code()
	*rear = r
	return bound, true
}

// Relay reduces what is stacked to a relay, as [GroupFilter.Front].
func (v *GroupFilter) Relay(s *Stacker, limit float64, relay *Relay) (bound float64, ok bool) {
	n, completion := s.numbers(), v.relays
	limit += BoundSlack
	if !n.positive || !s.MayServe(RelaySlot) || completion != nil && n.hiatus+completion.whole[relayBin(n.focal)] > limit ||
		n.hiatus+completion.with(n.bin, focalBin(s.tightness(n)), n.focal) > limit {
		return 0, false
	}
	r, ok := v.p.NewRelay(s.Group())
	if bound = n.hiatus + completion.with(n.bin, focalBin(1/r.MaxEndPower), n.focal); !ok || bound > limit {
		return 0, false
	}
	r.Group, r.rows, r.Code = nil, nil, s.Code()
	*relay = r
	return bound, true
}

// KeplerianFront reduces what is stacked to the front of a keplerian, as [GroupFilter.Front].
func (v *GroupFilter) KeplerianFront(s *Stacker, limit float64, front *Front) (bound float64, ok bool) {
	n := s.numbers()
	bound = math.Inf(-1)
	if v.keplerianFronts != nil && n.positive {
		bound = n.front + v.keplerianFronts[n.bin]
	}
	if !n.positive || !s.MayServe(FrontSlot) || bound > limit+BoundSlack {
		return 0, false
	}
	g := s.Group()
	*front = Front{F: g.FocalMM, ToFocus: g.ThicknessMM + g.BFDMM, BFD: g.BFDMM, Q: Everything, Code: s.Code()}
	return bound, true
}
