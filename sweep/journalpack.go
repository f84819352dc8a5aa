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
	return addVerdict(counts, name, 1)
}

// addVerdict counts several designs under a name.
func addVerdict(counts []verdictCount, name string, n int64) []verdictCount {
	for i := range counts {
		if counts[i].name == name {
			counts[i].n += n
			return counts
		}
	}
	return append(counts, verdictCount{name, n})
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

// verdicts writes under which name each design of a batch was turned away.
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
	e.places(places, len(names))
}

// verdicts reads the verdicts of n designs.
func (d *decoder) verdicts(n int) []string {
	var names []string
	for range d.length() {
		names = append(names, d.verdict())
	}
	var all []string
	for _, place := range d.places(n, len(names)) {
		all = append(all, names[place])
	}
	return all
}

// places writes for each of some things which of so many kinds it is: how often
// each is repeated or a few bits a thing, whichever is shorter.
func (e *encoder) places(places []int, kinds int) {
	runs := &encoder{}
	for i := 0; i < len(places); {
		n := 1
		for i+n < len(places) && places[i+n] == places[i] {
			n++
		}
		runs.uvarint((n-1)*kinds + places[i])
		i += n
	}
	width := bitsFor(kinds)
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

// placesMost bounds a batch, so that no damage asks for any amount of memory.
const placesMost = 1 << 24

// places reads of which of so many kinds each of n things is.
func (d *decoder) places(n, kinds int) []int {
	packed := d.flag()
	if d.bad || n > 0 && kinds == 0 || n > placesMost {
		d.fail()
		return nil
	}
	width := bitsFor(kinds)
	size := (n*width + 7) / 8
	if packed && size > len(d.rest) {
		d.fail()
		return nil
	}
	all := make([]int, 0, min(n, 8*len(d.rest)+1))
	if !packed {
		for len(all) < n && !d.bad {
			run := d.uvarint()
			place, times := run%kinds, run/kinds+1
			if times > n-len(all) {
				d.fail()
				return nil
			}
			all = append(all, slices.Repeat([]int{place}, times)...)
		}
		return all
	}
	for i := range n {
		place := 0
		for b := range width {
			bit := i*width + b
			place |= int(d.rest[bit/8]>>(bit%8)&1) << b
		}
		if place >= kinds {
			d.fail()
			return nil
		}
		all = append(all, place)
	}
	d.rest = d.rest[size:]
	return all
}

// numbers writes a column of numbers: one after the other or, where they repeat
// often enough, those that occur and then which it is.
func (e *encoder) numbers(all []uint64) {
	plain := &encoder{}
	for _, x := range all {
		plain.uint64(x)
	}
	kinds := slices.Compact(slices.Sorted(slices.Values(all)))
	listed := &encoder{}
	listed.uvarint(len(kinds))
	before := uint64(0)
	for _, x := range kinds {
		listed.uint64(x - before)
		before = x
	}
	if len(listed.out) < len(plain.out) {
		places := make([]int, len(all))
		for i, x := range all {
			places[i], _ = slices.BinarySearch(kinds, x)
		}
		listed.places(places, len(kinds))
	}
	isListed := len(listed.out) < len(plain.out)
	e.flag(isListed)
	if isListed {
		plain = listed
	}
	e.out = append(e.out, plain.out...)
}

// numbers reads a column of n numbers.
func (d *decoder) numbers(n int) []uint64 {
	if n > placesMost {
		d.fail()
		return nil
	}
	var all []uint64
	if !d.flag() {
		for range n {
			if all = append(all, d.uint64()); d.bad {
				return nil
			}
		}
		return all
	}
	var kinds []uint64
	before := uint64(0)
	for range d.length() {
		before += d.uint64()
		kinds = append(kinds, before)
	}
	for _, place := range d.places(n, len(kinds)) {
		all = append(all, kinds[place])
	}
	return all
}

// designs writes designs, the shorter the first, column by column.
func (e *encoder) designs(all []candidate) {
	e.uvarint(len(all))
	if len(all) == 0 {
		return
	}
	lengths := make([]float64, len(all))
	spaces := make([]uint64, len(all))
	var codes [4][]uint64
	for i := range all {
		c := &all[i]
		lengths[i], spaces[i] = c.ranked, uint64(c.space.Layout)<<8|uint64(c.space.Seat)
		for place, code := range c.codes() {
			codes[place] = append(codes[place], uint64(code))
		}
	}
	e.lengths(lengths)
	e.numbers(spaces)
	for place := range codes {
		e.numbers(codes[place])
	}
	for i := range all {
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
	lengths, spaces := d.lengths(n), d.numbers(n)
	if d.bad || len(spaces) < n {
		d.fail()
		return nil
	}
	all := make([]candidate, n)
	var have [4]int // designs with a group in this place
	for i := range all {
		c := &all[i]
		c.ranked = lengths[i]
		c.space = objective.Space{Layout: objective.Layout(spaces[i] >> 8), Seat: objective.Seat(spaces[i] & 0xff)}
		if spaces[i]>>8 > uint64(objective.ErectorPair) || c.space.Seat > objective.SeatRear {
			d.fail()
			return nil
		}
		for place := range c.codes() {
			have[place]++
		}
	}
	var codes [4][]uint64
	for place := range codes {
		if codes[place] = d.numbers(have[place]); len(codes[place]) < have[place] {
			d.fail()
			return nil
		}
	}
	for i := range all {
		c := &all[i]
		for place := range c.codes() {
			code := objective.StackCode(codes[place][0])
			if codes[place] = codes[place][1:]; !lib.Names(code) {
				d.fail()
				return nil
			}
			c.groups[place] = code
		}
		if c.space.Layout == objective.ErectorPair {
			c.inner = d.float()
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
