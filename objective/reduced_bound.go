package objective

import (
	"cmp"
	"math"
	"slices"
)

// Box holds a set of fronts, of rears or of components of pair relays: the range of
// their focal lengths, and what they add to a train's length at least, which is ToFocus of
// fronts, FromFocus of rears, and t + FFD + BFD of components. It holds the hull of their
// intervals (Q of fronts, P of rears) and their largest focal distances (the BFD of fronts,
// the FFD of rears, both of components).
type Box struct {
	F         Interval
	Length    float64
	Sway      float64 // of rears
	I         Interval
	FFD, BFD  float64
	Component PairComponentBox
}

// PairComponentBox is what a box holds of components of pair relays alone.
type PairComponentBox struct {
	TFFD, TBFD float64  // least t + FFD and t + BFD
	Hiatus     float64  // least t + FFD + BFD - 2f
	Thickness  float64  // least t
	Power      Interval // 1/f
	A, B, D    Interval // of the system matrix
	// Back and Front are the ranges of f - BFD and f - FFD: how far the
	// principal planes lie inside of the last and the first vertex.
	Back, Front Interval
}

func hull(i, j Interval) Interval {
	return Interval{min(i.Lo, j.Lo), max(i.Hi, j.Hi)}
}

// Around is the smallest box around two.
func (b *Box) Around(c *Box) Box {
	return Box{
		F: hull(b.F, c.F), Length: min(b.Length, c.Length), Sway: max(b.Sway, c.Sway), I: hull(b.I, c.I),
		FFD: max(b.FFD, c.FFD), BFD: max(b.BFD, c.BFD),
		Component: PairComponentBox{
			TFFD: min(b.Component.TFFD, c.Component.TFFD), TBFD: min(b.Component.TBFD, c.Component.TBFD),
			Hiatus: min(b.Component.Hiatus, c.Component.Hiatus), Thickness: min(b.Component.Thickness, c.Component.Thickness),
			Power: hull(b.Component.Power, c.Component.Power),
			A:     hull(b.Component.A, c.Component.A), B: hull(b.Component.B, c.Component.B), D: hull(b.Component.D, c.Component.D),
			Back: hull(b.Component.Back, c.Component.Back), Front: hull(b.Component.Front, c.Component.Front),
		},
	}
}

// Box is the box of one front.
func (f *Front) Box() Box { return Box{F: Interval{f.F, f.F}, Length: f.ToFocus, I: f.Q, BFD: f.BFD} }

// Box is the box of one rear.
func (r *Rear) Box() Box {
	return Box{F: Interval{r.F, r.F}, Length: r.FromFocus, Sway: r.Sway, I: r.P, FFD: r.FFD}
}

// BoundSlack, in mm, is what a lower bound must exceed a threshold by before
// anything is set aside: the bounds are sums of a dozen lengths of at most some
// 1e4 mm, whose rounding stays below 1e-10 mm.
const BoundSlack = 1e-7

// coupling is what front and rear leave a relay: with q = Θ²p - Θ·f_i·f_k/f_j,
// the interval of focal lengths f_j for which Θ²p - q = Θ·f_i·f_k/f_j is
// possible, and the widest Θ²p - q.
func coupling(theta float64, front, rear *Box) (relay Interval, widest float64) {
	t2 := theta * theta
	widest = float64(t2*rear.I.Hi) - front.I.Lo + reliefSlack
	narrowest := float64(t2*rear.I.Lo) - front.I.Hi - reliefSlack
	if !(widest > 0) {
		return nothing, widest
	}
	relay = Interval{theta * front.F.Lo * rear.F.Lo / widest, math.Inf(1)}
	if narrowest > 0 {
		relay.Hi = theta * front.F.Hi * rear.F.Hi / narrowest
	}
	return relay, widest
}

// magnifications is the range of m = Θ·f_rear/f_front over two boxes, and of the m' to
// which refinement can change it.
func magnifications(theta float64, front, rear *Box) Interval {
	return Interval{theta * rear.F.Lo / (front.F.Hi * (1 + rear.Sway)), theta * rear.F.Hi * (1 + rear.Sway) / front.F.Lo}
}

// leastKappa is the least κ = 2 + m + 1/m over a range of m. It falls to 4 at
// m = 1 and rises beyond.
func leastKappa(m Interval) float64 {
	switch {
	case m.Lo > 1:
		return 2 + m.Lo + 1/m.Lo
	case m.Hi < 1:
		return 2 + m.Hi + 1/m.Hi
	}
	return 4
}

// endPowerRounding is by how much, as a share, a sum of powers may exceed MaxEndPower by
// rounding.
const endPowerRounding = 1e-9

// RelayTable answers how short a train of single relay groups can be.
//
// With f_j at least F (from the coupling), κ at least κ0 and the relay's MaxEndPower
// at least h = 1/f_rear + Θ/f_front, no train of two boxes is shorter than
//
//	to_i + from_k + plate + min over relays of that MaxEndPower with f_j >= F of (hiatus_j + κ0·f_j),
//
// nor, since κ·f_j >= (1+m)²/m · Θ·f_i·f_k/(Θ²p - q) = (f_i + Θ·f_k)²/(Θ²p - q), than
//
//	to_i + from_k + plate + min hiatus_j + (f_i + Θ·f_k)²/widest.
//
// The minima are tabulated over steps of κ, of log f and of MaxEndPower, each entry
// for the lower end of its steps, so that rounding down stays a bound.
type RelayTable struct {
	p      *Problem
	relays []Relay // ascending in F, then by code
	blocks []relayBlock
	layers []relayLayer
	bin0   int // of the smallest F
	bins   int // up to that of the largest
}

// relayBlock is a run of relayBlockSize relays: those of it that can serve have a
// focal length of at least f, a hiatus of at least hiatus and a MaxEndPower of at most endPower.
type relayBlock struct {
	f, hiatus, endPower float64
	least               float64 // least hiatus from this block on
}

const relayBlockSize = 32

type relayLayer struct {
	endPower float64
	hiatus   [focalBins]float64             // least hiatus of relays with f from this bin on, up to bins
	cost     [kappaSteps][focalBins]float64 // least hiatus + κ·f likewise
}

const (
	relayLayers   = 8
	kappaFineBits = 3
	kappaSteps    = 5 << kappaFineBits // from 4 to 128
	focalBins     = 12 << tableFineBits
	tableFineBits = 5
)

// kappaStep is the step of a κ, even in the mantissa, from the bits of the number,
// which is monotonic and cheap.
func kappaStep(kappa float64) int {
	return max(0, min(kappaSteps-1, int(math.Float64bits(kappa)>>(52-kappaFineBits))-kappaZero))
}

// kappaLow is the least κ of a step.
func kappaLow(step int) float64 {
	return math.Float64frombits(uint64(step+kappaZero) << (52 - kappaFineBits))
}

const kappaZero = (1023 + 2) << kappaFineBits // of κ = 4

// NewRelayTable sorts relays and tabulates them; it keeps the slice. Relays may
// be held by their numbers only.
func NewRelayTable(p *Problem, relays []Relay) *RelayTable {
	slices.SortFunc(relays, func(a, b Relay) int {
		if c := cmp.Compare(a.F, b.F); c != 0 {
			return c
		}
		return cmp.Compare(a.Code, b.Code)
	})
	t := &RelayTable{p: p, relays: relays}
	if len(relays) == 0 {
		return t
	}
	for block := range slices.Chunk(relays, relayBlockSize) {
		b := relayBlock{f: block[0].F, hiatus: math.Inf(1)}
		for j := range block {
			b.hiatus, b.endPower = min(b.hiatus, block[j].Hiatus), max(b.endPower, block[j].MaxEndPower)
		}
		t.blocks = append(t.blocks, b)
	}
	least := math.Inf(1)
	for b := len(t.blocks) - 1; b >= 0; b-- {
		least = min(least, t.blocks[b].hiatus)
		t.blocks[b].least = least
	}
	t.bin0 = tableBin(relays[0].F)
	t.bins = min(focalBins, tableBin(relays[len(relays)-1].F)-t.bin0+1)
	endPowers := make([]float64, len(relays))
	for j := range relays {
		endPowers[j] = relays[j].MaxEndPower
	}
	slices.Sort(endPowers)
	t.layers = make([]relayLayer, min(relayLayers, len(relays)))
	for l := range t.layers {
		layer := &t.layers[l]
		if l > 0 {
			layer.endPower = endPowers[l*len(endPowers)/len(t.layers)]
		}
		t.fill(layer)
	}
	return t
}

func (t *RelayTable) fill(layer *relayLayer) {
	for b := range t.bins {
		layer.hiatus[b] = math.Inf(1)
		for g := range layer.cost {
			layer.cost[g][b] = math.Inf(1)
		}
	}
	for j := range t.relays {
		r := &t.relays[j]
		if r.MaxEndPower < layer.endPower {
			continue
		}
		b := t.bin(r.F)
		layer.hiatus[b] = min(layer.hiatus[b], r.Hiatus)
		for g := range layer.cost {
			layer.cost[g][b] = min(layer.cost[g][b], r.Hiatus+float64(kappaLow(g)*r.F))
		}
	}
	for b := t.bins - 2; b >= 0; b-- {
		layer.hiatus[b] = min(layer.hiatus[b], layer.hiatus[b+1])
		for g := range layer.cost {
			layer.cost[g][b] = min(layer.cost[g][b], layer.cost[g][b+1])
		}
	}
}

// bin is the table's bin of a focal length. A relay's own bin is found by the
// same expression, so a bin can't lie above that of a longer relay.
func (t *RelayTable) bin(f float64) int {
	return max(0, min(t.bins-1, tableBin(f)-t.bin0))
}

func tableBin(f float64) int { return int(math.Float64bits(f) >> (52 - tableFineBits)) }

// Bound is a lower bound on the length of every train with its front in one
// box and its rear in the other, +Inf when there is none, and the range of
// relay focal lengths that can serve.
func (t *RelayTable) Bound(front, rear *Box) (length float64, relay Interval) {
	theta := t.p.Magnification
	relay, widest := coupling(theta, front, rear)
	if relay.Empty() || len(t.relays) == 0 || relay.Lo > t.relays[len(t.relays)-1].F {
		return math.Inf(1), nothing
	}
	kappa := leastKappa(magnifications(theta, front, rear))
	endPower := 1/rear.F.Hi + theta/front.F.Hi
	layer := &t.layers[0]
	for l := len(t.layers) - 1; l > 0; l-- {
		if t.layers[l].endPower <= endPower {
			layer = &t.layers[l]
			break
		}
	}
	b, g := t.bin(relay.Lo), kappaStep(kappa)
	ends := front.F.Lo + float64(theta*rear.F.Lo)
	shorter := leastShrink(theta, front, rear)
	length = max(layer.cost[g][b], layer.hiatus[b]+float64(shorter*ends*ends/widest))
	return front.Length + rear.Length + t.p.MaskShift() + length, relay
}

// leastShrink is the least ratio over two boxes of κ at the m' that refinement can reach
// to κ at m. With m = exp(u) it is cosh²(u'/2)/cosh²(u/2), which falls as u departs from 0:
// its logarithm changes with u by tanh(u'/2) - tanh(u/2).
func leastShrink(theta float64, front, rear *Box) float64 {
	if rear.Sway == 0 {
		return 1
	}
	least := 1.0
	for _, m := range [2]float64{theta * rear.F.Lo / front.F.Hi, theta * rear.F.Hi / front.F.Lo} {
		if m == 0 || math.IsInf(m, 1) { // the ratio's limit
			least = min(least, 1/(1+rear.Sway))
			continue
		}
		least = min(least, leastKappa(swayed(m, rear.Sway))/kappa(m))
	}
	return least
}

// Scan visits, for one front and one rear, the relays with which the train may
// be at most limit long, in ascending focal length, each with its place in the table and that length,
// until visit returns false.
func (t *RelayTable) Scan(front *Front, rear *Rear, relay Interval, limit float64, visit func(j int, r *Relay, length float64) bool) {
	kappa := leastKappa(swayed(t.p.Magnification*rear.F/front.F, rear.Sway))
	base := front.ToFocus + rear.FromFocus + t.p.MaskShift()
	endPower := 1/rear.F + t.p.Magnification/front.F
	first, _ := slices.BinarySearchFunc(t.blocks, relay.Lo, func(b relayBlock, f float64) int { return cmp.Compare(b.f, f) })
	for n := max(0, first-1); n < len(t.blocks); n++ {
		b := &t.blocks[n]
		cost := base + float64(kappa*b.f)
		if b.f > relay.Hi || cost+b.least > limit {
			return
		}
		if cost+b.hiatus > limit || b.endPower*(1+endPowerRounding) < endPower {
			continue
		}
		for j := n * relayBlockSize; j < min((n+1)*relayBlockSize, len(t.relays)); j++ {
			r := &t.relays[j]
			length := base + float64(kappa*r.F) + r.Hiatus
			if length <= limit && r.F >= relay.Lo && r.F <= relay.Hi && r.MaxEndPower*(1+endPowerRounding) >= endPower && !visit(j, r, length) {
				return
			}
		}
	}
}

// Relays are the relays in ascending focal length.
func (t *RelayTable) Relays() []Relay { return t.relays }

// Ends bounds what two boxes leave a relay: no train of them with a relay of a focal length
// f is shorter than base + kappa·f + its hiatus, and f lies in an interval.
func (t *RelayTable) Ends(front, rear *Box) (base, kappa float64, relay Interval) {
	theta := t.p.Magnification
	relay, _ = coupling(theta, front, rear)
	return front.Length + rear.Length + t.p.MaskShift(), leastKappa(magnifications(theta, front, rear)), relay
}

// KeplerianBound is a lower bound on the length of every keplerian with its
// front in one box and its rear in the other; +Inf when their focal lengths
// can't have the magnification.
func (p *Problem) KeplerianBound(front, rear *Box) float64 {
	rounding := 1e-12 * p.Magnification
	if front.F.Hi/rear.F.Lo < p.Magnification*(1-p.MagnificationTol)-rounding ||
		front.F.Lo/rear.F.Hi > p.Magnification*(1+p.MagnificationTol)+rounding {
		return math.Inf(1)
	}
	return front.Length + rear.Length + p.MaskShift()
}
