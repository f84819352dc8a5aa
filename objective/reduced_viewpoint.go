package objective

import (
	"cmp"
	"math"
	"slices"
)

// Each end group and a relay add to the shift of the viewpoint a part of their
// own. With E = t + FFD + BFD, and q = Θ²·p - Θ·f_front·f_rear/f_relay (reduced.go),
// the eye at p behind the rear group and the viewpoint at q give
//
//	shift = length + BFD_rear + p + FFD_front - q + combiner
//	      = E_front + E_rear + X_relay + κ·f_relay + Θ·f_front·f_rear/f_relay + (1 - Θ²)·p + plates,
//
// where κ·f + Θ·f_front·f_rear/f is least, 2·(f_front + Θ·f_rear), at
// f = f_front·Θ·f_rear/(f_front + Θ·f_rear), and rises to both sides.

// viewpointPairsMost is for how many pairs of end groups each is looked at by
// itself: a second's work.
const viewpointPairsMost = 20_000_000

// viewpointVisitsMost is how many relays are looked at in all between pairs of
// end groups; beyond, the best focal length and the least hiatus stand for them.
const viewpointVisitsMost = 200_000_000

// viewpointEnd is an end group as the shift of the viewpoint sees it.
type viewpointEnd struct {
	box    Box
	extent float64 // E
}

// LeastViewpointShift is a lower bound in mm on the shift of the viewpoint of
// every erector-single train of the groups given, and +Inf when there is none.
// The library is that from which the groups come.
func (p *Problem) LeastViewpointShift(lib *Library, fronts []Front, rears []Rear, relays []Relay) float64 {
	least := math.Inf(1)
	if len(relays) == 0 {
		return least
	}
	x, shortest, longest := math.Inf(1), math.Inf(1), 0.0
	for i := range relays {
		x = min(x, relays[i].Hiatus)
		shortest, longest = min(shortest, relays[i].F), max(longest, relays[i].F)
	}
	theta := p.Magnification
	world, eye := viewpointEnds(lib, fronts, rears)
	if len(world)*len(eye) > viewpointPairsMost {
		front, rear, move := math.Inf(1), math.Inf(1), math.Inf(1)
		for i := range world {
			front = min(front, world[i].extent+2*world[i].box.F.Lo)
		}
		for i := range eye {
			rear = min(rear, eye[i].extent+2*theta*eye[i].box.F.Lo)
			move = min(move, moved(theta, eye[i].box.I))
		}
		return front + rear + x + move + p.plates()
	}
	sorted := slices.Clone(relays)
	slices.SortFunc(sorted, func(a, b Relay) int { return cmp.Compare(a.F, b.F) })
	visits := 0
	for i := range world {
		for k := range eye {
			f, r := &world[i], &eye[k]
			relay, _ := coupling(theta, &f.box, &r.box)
			relay = relay.And(Interval{shortest, longest})
			if relay.Empty() {
				continue
			}
			a, b := f.box.F.Lo, theta*r.box.F.Lo
			kappa := (a + b) * (a + b) / (a * b)
			at := func(focal float64) float64 { return f.extent + r.extent + float64(kappa*focal) + a*b/focal }
			best := min(max(a*b/(a+b), relay.Lo), relay.Hi)
			bound := at(best) + x + moved(theta, r.box.I)
			if bound >= least {
				continue
			}
			if visits > viewpointVisitsMost {
				least = bound
				continue
			}
			endPower := 1/r.box.F.Lo + theta/f.box.F.Lo
			first, _ := slices.BinarySearchFunc(sorted, relay.Lo, func(j Relay, focal float64) int { return cmp.Compare(j.F, focal) })
			for j := first; j < len(sorted) && sorted[j].F <= relay.Hi; j++ {
				visits++
				focal := sorted[j].F
				shift := at(focal) + sorted[j].Hiatus
				if shift+min(0, moved(theta, r.box.I)) >= least || sorted[j].MaxEndPower*(1+endPowerRounding) < endPower {
					continue
				}
				// The eye has to stand where the viewpoint suits the front.
				t2, apart := theta*theta, a*b/focal
				eyes := r.box.I.And(f.box.I.affine(1/t2, apart/t2).widened(reliefSlack))
				if !eyes.Empty() {
					least = min(least, shift+moved(theta, eyes))
				}
			}
		}
	}
	return least + p.plates()
}

// LeastKeplerianViewpointShift is the same for a keplerian, whose relay is
// nothing and whose Θ is that of the two groups. It is -Inf where the pairs are
// too many to be looked at.
func (p *Problem) LeastKeplerianViewpointShift(lib *Library, fronts []Front, rears []Rear) float64 {
	world, eye := viewpointEnds(lib, fronts, rears)
	if len(world)*len(eye) > viewpointPairsMost {
		return math.Inf(-1)
	}
	least := math.Inf(1)
	for i := range world {
		for k := range eye {
			f, r := &world[i], &eye[k]
			if !math.IsInf(p.KeplerianBound(&f.box, &r.box), 1) {
				least = min(least, f.extent+r.extent+moved(f.box.F.Lo/r.box.F.Lo, r.box.I))
			}
		}
	}
	return least + p.plates()
}

// plates are what mask and combiner add to the way from the first vertex to the
// eye.
func (p *Problem) plates() float64 { return p.MaskShift() + p.CombinerShift() }

// widened is the interval with so much more to either side.
func (i Interval) widened(by float64) Interval { return Interval{i.Lo - by, i.Hi + by} }

// moved is the least (1 - Θ²)·p over an interval of p.
func moved(theta float64, at Interval) float64 {
	slope := 1 - float64(theta*theta)
	if math.Abs(slope) < flatSlope {
		return 0
	}
	return min(slope*at.Lo, slope*at.Hi)
}

func viewpointEnds(lib *Library, fronts []Front, rears []Rear) (world, eye []viewpointEnd) {
	for i := range fronts {
		f := &fronts[i]
		world = append(world, viewpointEnd{f.Box(), f.ToFocus + lib.Group(f.Code).FFDMM})
	}
	for i := range rears {
		r := &rears[i]
		eye = append(eye, viewpointEnd{r.Box(), r.FromFocus + lib.Group(r.Code).BFDMM})
	}
	return world, eye
}
