package objective

import "math"

// BinnedMinima is what is remembered of all groups of a library, however many, so
// that a [GroupFilter] can tell which of them matter: for fronts and rears the least
// length by bins of focal length and of how far they let viewpoint or eye stand, for
// relays the least hiatus by bins of focal length and MaxEndPower.
//
// It costs little more than the stacking.
type BinnedMinima struct {
	p               *Problem
	Groups          int64                 // all of them
	Positive        [3]int64              // those that converge, by slot of [EachSlot] in which they may stand
	fronts          [SeatCount]*endMinima // by seat, nil where not asked for
	rears           [SeatCount]*endMinima
	relays          *relayMinima            // nil where not asked for
	keplerianFronts *[focalBinsMost]float64 // least ToFocus of any front of a keplerian
}

// endMinima are the minima over the groups at one end of the train: of ToFocus over fronts,
// of FromFocus over rears, by bins of focal length and of offset. The offset of a group is
// how far it lets the viewpoint or the eye stand: -Q.Lo of a front and P.Hi of a rear.
type endMinima struct {
	least [focalBinsMost][offsetBins]float64 // in this bin
	best  [focalBinsMost][offsetBins]float64 // in this or a further bin
}

// Offsets are binned by their ratio to the least focal length of the bin, from
// offsetSpan to -offsetSpan, the furthest first; what lies beyond falls into the
// outermost bins.
const (
	offsetBins = 96
	offsetSpan = 3.0
)

// focalScale is the scale of a bin's lengths, and its inverse.
var focalScale, focalPerScale = func() (scale, per [focalBinsMost]float64) {
	for f := range scale {
		scale[f] = focalBinLow(max(f, 1))
		per[f] = 1 / scale[f]
	}
	return scale, per
}()

// offsetBin is the bin of an offset, the same for all focal lengths of a bin.
func offsetBin(f int, offset float64) int {
	b := (offsetSpan - float64(offset*focalPerScale[f])) * (offsetBins / (2 * offsetSpan))
	return int(max(0, min(offsetBins-1, b)))
}

func newEndMinima() *endMinima {
	c := new(endMinima)
	for f := range c.least {
		for o := range c.least[f] {
			c.least[f][o], c.best[f][o] = math.Inf(1), math.Inf(1)
		}
	}
	return c
}

// add counts in a group of a bin of focal lengths that has this length and at
// most this offset, unless groups of a further offset have no larger length.
func (c *endMinima) add(f int, length, offset float64) {
	if o := offsetBin(f, offset); o == 0 || length < c.best[f][o-1] {
		c.put(f, o, length)
	}
}

func (c *endMinima) put(f, o int, length float64) {
	c.least[f][o] = min(c.least[f][o], length)
	for ; o < offsetBins && length < c.best[f][o]; o++ {
		c.best[f][o] = length
	}
}

func (c *endMinima) merge(d *endMinima) {
	for f := range c.least {
		for o := range c.least[f] {
			c.put(f, o, d.least[f][o])
		}
	}
}

// boxes are boxes that cover every group for the purpose of a lower bound. Bins
// that further ones beat are left out.
func (c *endMinima) boxes(boxOf endBox) []Box {
	var boxes []Box
	for f := range c.least {
		least := math.Inf(1)
		for o, length := range c.least[f] {
			if length < least {
				boxes = append(boxes, boxOf(f, length, furthest(f, o)))
				least = length
			}
		}
	}
	return boxes
}

// relayMinima are the minima over relays: the least hiatus by bins of focal length,
// finer than those of the ends, and of tightness. Tightness is 1/MaxEndPower. All relays of
// a bin of tightness and of later ones have a MaxEndPower of at most its binEndPower.
type relayMinima struct {
	hiatus [relayBins][tightnessBins]float64
	best   [relayBins][tightnessBins]float64 // in this or an earlier bin
}

const (
	relayFineBits = 6
	relayBins     = 12 << relayFineBits
	tightnessBins = 32
	tightnessSpan = 1.0
)

// relayBin is [focalBin] in finer bins.
func relayBin(f float64) int {
	b := int(math.Float64bits(f)>>(52-relayFineBits)) - focalBinZero<<(relayFineBits-focalFineBits)
	return max(0, min(relayBins-1, b))
}

// relayBinLow is the least focal length of a relayBin.
func relayBinLow(bin int) float64 {
	if bin == 0 {
		return 0
	}
	return math.Float64frombits(uint64(bin+focalBinZero<<(relayFineBits-focalFineBits)) << (52 - relayFineBits))
}

// tightnessBin is the bin of a tightness in units of the scale of the bin
// of focal lengths, the same for all focal lengths of a bin.
func tightnessBin(f int, tightness float64) int {
	b := float64(tightness*focalPerScale[f]) * (tightnessBins / tightnessSpan)
	return int(max(0, min(tightnessBins-1, b)))
}

// binEndPower is the largest MaxEndPower of a bin.
func binEndPower(f, r int) float64 {
	if r == 0 {
		return math.Inf(1)
	}
	return 1 / (float64(r) * (tightnessSpan / tightnessBins) * focalScale[f])
}

func newRelayMinima() *relayMinima {
	c := new(relayMinima)
	for f := range c.hiatus {
		for r := range c.hiatus[f] {
			c.hiatus[f][r], c.best[f][r] = math.Inf(1), math.Inf(1)
		}
	}
	return c
}

// add counts in a relay of a bin of focal lengths that has this hiatus and at least
// this tightness, unless relays of smaller tightness have no larger hiatus.
func (c *relayMinima) add(focal, x, tightness float64) {
	f := relayBin(focal)
	if r := tightnessBin(f>>(relayFineBits-focalFineBits), tightness); r == 0 || x < c.best[f][r-1] {
		c.put(f, r, x)
	}
}

func (c *relayMinima) put(f, r int, x float64) {
	c.hiatus[f][r] = min(c.hiatus[f][r], x)
	for ; r < tightnessBins && x < c.best[f][r]; r++ {
		c.best[f][r] = x
	}
}

func (c *relayMinima) merge(d *relayMinima) {
	for f := range c.hiatus {
		for r, x := range d.hiatus[f] {
			c.put(f, r, x)
		}
	}
}

// all are stand-ins for all relays: each relay is matched by one of no longer
// focal length in its bin, no larger hiatus and no smaller MaxEndPower.
func (c *relayMinima) all() []Relay {
	var all []Relay
	for f := range c.hiatus {
		least := math.Inf(1)
		for r, x := range c.hiatus[f] {
			if x < least {
				all = append(all, Relay{F: relayBinLow(f), Hiatus: x, MaxEndPower: binEndPower(f>>(relayFineBits-focalFineBits), r)})
				least = x
			}
		}
	}
	return all
}

// NewBinnedMinima prepares minima for the layouts and seats of some spaces.
func NewBinnedMinima(p *Problem, spaces []Space) *BinnedMinima {
	c := &BinnedMinima{p: p}
	for _, s := range spaces {
		if c.rears[s.Seat] == nil {
			c.rears[s.Seat] = newEndMinima()
		}
		switch s.Layout {
		case Keplerian:
			c.keplerianFronts = new([focalBinsMost]float64)
			for f := range c.keplerianFronts {
				c.keplerianFronts[f] = math.Inf(1)
			}
		default:
			c.fronts[s.Seat] = newEndMinima()
			c.relays = newRelayMinima()
		}
	}
	return c
}

// Take counts in what is stacked. The offset of an end and what a relay lets
// through is bounded by its outermost surfaces alone, which costs little and
// turns out nearly as sharp as by all of them.
func (c *BinnedMinima) Take(s *Stacker) {
	c.Groups++
	n := s.numbers()
	if !n.positive {
		return
	}
	for i, slot := range EachSlot {
		if s.MayServe(slot) {
			c.Positive[i]++
		}
	}
	front, rear := s.MayServe(FrontSlot), s.MayServe(RearSlot)
	if c.keplerianFronts != nil && front {
		c.keplerianFronts[n.bin] = min(c.keplerianFronts[n.bin], n.front)
	}
	for seat := range c.rears {
		if e := c.fronts[seat]; e != nil && front {
			e.add(n.bin, n.front, s.frontOffset(n))
		}
		if e := c.rears[seat]; e != nil && rear {
			e.add(n.bin, n.rear, s.rearOffset(n))
		}
	}
	if c.relays != nil && s.MayServe(RelaySlot) {
		c.relays.add(n.focal, n.hiatus, s.tightness(n))
	}
}

// Merge counts in what other minima of the same problem and spaces holds.
func (c *BinnedMinima) Merge(d *BinnedMinima) {
	c.Groups += d.Groups
	for i := range c.Positive {
		c.Positive[i] += d.Positive[i]
	}
	for s := range c.fronts {
		if c.fronts[s] != nil {
			c.fronts[s].merge(d.fronts[s])
		}
		if c.rears[s] != nil {
			c.rears[s].merge(d.rears[s])
		}
	}
	if c.relays != nil {
		c.relays.merge(d.relays)
	}
	if c.keplerianFronts != nil {
		for f := range c.keplerianFronts {
			c.keplerianFronts[f] = min(c.keplerianFronts[f], d.keplerianFronts[f])
		}
	}
}
