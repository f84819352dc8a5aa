package sweep

import (
	"math"
	"math/bits"
	"slices"

	"relaysweep/objective"
)

// What a long job records again and again is written in few bytes: names by
// their place in a list that the program has, lengths by how many steps of
// ranking they are apart, verdicts in some bits each. What the short form can't
// hold is written in a longer one: reading gives back every bit in any case.

// lengthSteps is how many steps of ranking a millimetre has.
const lengthSteps = 1e6

// stepsOf is a ranked length in steps of ranking, the nearest and false where it is
// not a whole number of these; 0 for one that is beyond all sense.
func stepsOf(length float64) (steps int64, whole bool) {
	x := math.Round(length * lengthSteps)
	if !(math.Abs(x) < 1<<52) {
		return 0, false
	}
	steps = int64(x)
	return steps, math.Float64bits(float64(steps)/lengthSteps) == math.Float64bits(length)
}

// millimetres writes a length, in a few bytes when it is near to another one.
func (e *encoder) millimetres(x, near float64) {
	steps, whole := stepsOf(x)
	e.flag(whole)
	if !whole {
		e.float(x)
		return
	}
	from, _ := stepsOf(near)
	e.int64(steps - from)
}

func (d *decoder) millimetres(near float64) float64 {
	if !d.flag() {
		return d.float()
	}
	from, _ := stepsOf(near)
	return float64(from+d.int64()) / lengthSteps
}

// lengths writes lengths, each by how far it is from the one before. Where they
// ascend and lie close that is a byte each.
func (e *encoder) lengths(all []float64) {
	whole := true
	for _, x := range all {
		_, ok := stepsOf(x)
		whole = whole && ok
	}
	e.flag(whole)
	before := int64(0)
	for _, x := range all {
		if !whole {
			e.float(x)
			continue
		}
		steps, _ := stepsOf(x)
		e.int64(steps - before)
		before = steps
	}
}

func (d *decoder) lengths(n int) []float64 {
	whole := d.flag()
	all := d.room(n)
	before := int64(0)
	for i := range all {
		if !whole {
			all[i] = d.float()
			continue
		}
		before += d.int64()
		all[i] = float64(before) / lengthSteps
	}
	return all
}

// room is memory for n numbers that take a byte each at least.
func (d *decoder) room(n int) []float64 {
	if n > len(d.rest) {
		d.fail()
		return nil
	}
	return make([]float64, n)
}

// verdictNames are the names under which a design is turned away, the empty one
// for what passes.
var verdictNames = append([]string{""}, gradeNames...)

// verdict writes a name, one of the verdictNames in a byte.
func (e *encoder) verdict(name string) {
	if i := slices.Index(verdictNames, name); i >= 0 {
		e.uvarint(i)
		return
	}
	e.uvarint(len(verdictNames))
	e.text(name)
}

func (d *decoder) verdict() string {
	switch i := d.uvarint(); {
	case i < len(verdictNames):
		return verdictNames[i]
	case i == len(verdictNames):
		return d.text()
	}
	d.fail()
	return ""
}

// verdictCount is how many designs were turned away under a name.
type verdictCount struct {
	name string
	n    int64
}

// countVerdict counts a design under a name. The names come in the order in
// which they were met first.
func countVerdict(counts []verdictCount, name string) []verdictCount {
	for i := range counts {
		if counts[i].name == name {
			counts[i].n++
			return counts
		}
	}
	return append(counts, verdictCount{name, 1})
}

// verdictCounts writes how many designs were turned away under each name: what a
// batch costs however large it is.
func (e *encoder) verdictCounts(counts []verdictCount) {
	e.uvarint(len(counts))
	for _, c := range counts {
		e.verdict(c.name)
		e.int64(c.n)
	}
}

func (d *decoder) verdictCounts() (counts []verdictCount) {
	for range d.length() {
		counts = append(counts, verdictCount{d.verdict(), d.int64()})
	}
	return counts
}

// verdicts writes under which name each design of a batch was turned away: the
// names that occur, and then either how often each is repeated or a few bits a
// design, whichever is shorter.
func (e *encoder) verdicts(all []string) {
	var names []string
	places := make([]int, len(all))
	for i, name := range all {
		place := slices.Index(names, name)
		if place < 0 {
			place = len(names)
			names = append(names, name)
		}
		places[i] = place
	}
	e.uvarint(len(names))
	for _, name := range names {
		e.verdict(name)
	}
	runs := &encoder{}
	for i := 0; i < len(places); {
		n := 1
		for i+n < len(places) && places[i+n] == places[i] {
			n++
		}
		runs.uvarint((n-1)*len(names) + places[i])
		i += n
	}
	width := bitsFor(len(names))
	packed := (len(places)*width + 7) / 8
	e.flag(packed < len(runs.out))
	if packed >= len(runs.out) {
		e.out = append(e.out, runs.out...)
		return
	}
	at := len(e.out)
	e.out = append(e.out, make([]byte, packed)...)
	for i, place := range places {
		for b := range width {
			bit := i*width + b
			e.out[at+bit/8] |= byte(place>>b&1) << (bit % 8)
		}
	}
}

// bitsFor is in how many bits one of n can be told.
func bitsFor(n int) int { return bits.Len(uint(max(0, n-1))) }

// verdicts reads the verdicts of n designs.
func (d *decoder) verdicts(n int) []string {
	var names []string
	for range d.length() {
		names = append(names, d.verdict())
	}
	packed := d.flag()
	if d.bad || n > 0 && len(names) == 0 || n > verdictsMost {
		d.fail()
		return nil
	}
	all := make([]string, 0, n)
	if !packed {
		for len(all) < n && !d.bad {
			run := d.uvarint()
			name, times := names[run%len(names)], run/len(names)+1
			if times > n-len(all) {
				d.fail()
				return nil
			}
			all = append(all, slices.Repeat([]string{name}, times)...)
		}
		return all
	}
	width := bitsFor(len(names))
	size := (n*width + 7) / 8
	if size > len(d.rest) {
		d.fail()
		return nil
	}
	for i := range n {
		place := 0
		for b := range width {
			bit := i*width + b
			place |= int(d.rest[bit/8]>>(bit%8)&1) << b
		}
		if place >= len(names) {
			d.fail()
			return nil
		}
		all = append(all, names[place])
	}
	d.rest = d.rest[size:]
	return all
}

// verdictsMost bounds a batch, so that no damage asks for any amount of memory.
const verdictsMost = 1 << 24

// designs writes designs, the shorter the first, column by column: that of the
// inner gaps for those with a pair relay only.
func (e *encoder) designs(all []candidate) {
	e.uvarint(len(all))
	if len(all) == 0 {
		return
	}
	lengths := make([]float64, len(all))
	same := true
	for i := range all {
		lengths[i] = all[i].ranked
		same = same && all[i].space == all[0].space
	}
	e.lengths(lengths)
	e.flag(same)
	for i := range all {
		if i == 0 || !same {
			e.space(all[i].space)
		}
	}
	for i := range all {
		for _, code := range all[i].codes() {
			e.uint64(uint64(code))
		}
		if all[i].space.Layout == objective.ErectorPair {
			e.float(all[i].inner)
		}
	}
}

// designs reads designs of a library's lenses.
func (d *decoder) designs(lib *objective.Library) []candidate {
	n := d.length()
	if n == 0 {
		return nil
	}
	lengths := d.lengths(n)
	if d.bad {
		return nil
	}
	all := make([]candidate, n)
	same := d.flag()
	for i := range all {
		c := &all[i]
		c.ranked = lengths[i]
		if i > 0 && same {
			c.space = all[0].space
			continue
		}
		c.space = d.space()
	}
	for i := range all {
		c := &all[i]
		d.codes(c, lib)
		if c.space.Layout == objective.ErectorPair {
			c.inner = d.float()
		}
		if d.bad {
			return nil
		}
	}
	return all
}

func (e *encoder) space(s objective.Space) { e.out = append(e.out, byte(s.Layout), byte(s.Seat)) }

// space reads a layout and a seat.
func (d *decoder) space() objective.Space {
	s := objective.Space{Layout: objective.Layout(d.byte()), Seat: objective.Seat(d.byte())}
	if s.Layout > objective.ErectorPair || s.Seat > objective.SeatRear {
		d.fail()
		return objective.Space{}
	}
	return s
}

// codes reads the codes of a design's groups.
func (d *decoder) codes(c *candidate, lib *objective.Library) {
	for i := range c.codes() {
		c.groups[i] = objective.StackCode(d.uint64())
		if !lib.Names(c.groups[i]) {
			d.fail()
			return
		}
	}
}
