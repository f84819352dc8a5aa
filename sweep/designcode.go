package sweep

import (
	"slices"

	"relaysweep/objective"
	"relaysweep/sweep/journal"
)

// encoder makes the body of a record.
type encoder struct{ journal.Encoder }

// decoder reads the body of a record.
type decoder struct{ *journal.Decoder }

func decode(body []byte) *decoder { return &decoder{journal.NewDecoder(body)} }

// verdictNames are the names under which a design is turned away, the empty one
// for what passes.
var verdictNames = append([]string{""}, gradeNames...)

// verdict writes a name, one of the verdictNames in a byte.
func (e *encoder) verdict(name string) {
	if i := slices.Index(verdictNames, name); i >= 0 {
		e.Uvarint(i)
		return
	}
	e.Uvarint(len(verdictNames))
	e.Text(name)
}

func (d *decoder) verdict() string {
	switch i := d.Uvarint(); {
	case i < len(verdictNames):
		return verdictNames[i]
	case i == len(verdictNames):
		return d.Text()
	}
	d.Fail()
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
	e.Uvarint(len(counts))
	for _, c := range counts {
		e.verdict(c.name)
		e.Int64(c.n)
	}
}

func (d *decoder) verdictCounts() (counts []verdictCount) {
	for range d.Length() {
		counts = append(counts, verdictCount{d.verdict(), d.Int64()})
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
	e.Uvarint(len(names))
	for _, name := range names {
		e.verdict(name)
	}
	e.Choices(places, len(names))
}

// verdicts reads the verdicts of n designs.
func (d *decoder) verdicts(n int) []string {
	var names []string
	for range d.Length() {
		names = append(names, d.verdict())
	}
	var all []string
	for _, place := range d.Choices(n, len(names)) {
		all = append(all, names[place])
	}
	return all
}

// designs writes designs, the shorter the first, column by column.
func (e *encoder) designs(all []candidate) {
	e.Uvarint(len(all))
	if len(all) == 0 {
		return
	}
	lengths := make([]float64, len(all))
	spaces := make([]uint64, len(all))
	var codes [4][]uint64
	for i := range all {
		c := &all[i]
		lengths[i], spaces[i] = c.ranked, uint64(c.space.Layout)<<8|uint64(c.space.Seat)
		for slot, code := range c.codes() {
			codes[slot] = append(codes[slot], uint64(code))
		}
	}
	e.Lengths(lengths)
	e.Numbers(spaces)
	for slot := range codes {
		e.Numbers(codes[slot])
	}
	for i := range all {
		if all[i].space.Layout == objective.ErectorPair {
			e.Float(all[i].inner)
		}
	}
}

// designs reads designs of a library's lenses.
func (d *decoder) designs(lib *objective.Library) []candidate {
	n := d.Length()
	if n == 0 {
		return nil
	}
	lengths, spaces := d.Lengths(n), d.Numbers(n)
	if d.Failed() || len(spaces) < n {
		d.Fail()
		return nil
	}
	all := make([]candidate, n)
	var have [4]int // designs with a group in this slot
	for i := range all {
		c := &all[i]
		c.ranked = lengths[i]
		c.space = objective.Space{Layout: objective.Layout(spaces[i] >> 8), Seat: objective.Seat(spaces[i] & 0xff)}
		if spaces[i]>>8 > uint64(objective.ErectorPair) || c.space.Seat >= objective.SeatCount {
			d.Fail()
			return nil
		}
		for slot := range c.codes() {
			have[slot]++
		}
	}
	var codes [4][]uint64
	for slot := range codes {
		if codes[slot] = d.Numbers(have[slot]); len(codes[slot]) < have[slot] {
			d.Fail()
			return nil
		}
	}
	for i := range all {
		c := &all[i]
		for slot := range c.codes() {
			code := objective.StackCode(codes[slot][0])
			if codes[slot] = codes[slot][1:]; !lib.Names(code) {
				d.Fail()
				return nil
			}
			c.groups[slot] = code
		}
		if c.space.Layout == objective.ErectorPair {
			c.inner = d.Float()
		}
	}
	return all
}

func (e *encoder) space(s objective.Space) {
	e.Byte(byte(s.Layout))
	e.Byte(byte(s.Seat))
}

// space reads a layout and a seat.
func (d *decoder) space() objective.Space {
	s := objective.Space{Layout: objective.Layout(d.Byte()), Seat: objective.Seat(d.Byte())}
	if s.Layout > objective.ErectorPair || s.Seat >= objective.SeatCount {
		d.Fail()
		return objective.Space{}
	}
	return s
}

// design writes a design: its layout and seat, the codes of its groups, its
// inner gap and its ranked length. The rest follows from these.
func (e *encoder) design(c *candidate) {
	e.space(c.space)
	for _, code := range c.codes() {
		e.Uint64(uint64(code))
	}
	e.Float(c.inner)
	e.Float(c.ranked)
}

// design reads a design of a library's lenses.
func (d *decoder) design(lib *objective.Library) (c candidate) {
	c.space = d.space()
	for i := range c.codes() {
		c.groups[i] = objective.StackCode(d.Uint64())
		if !lib.Names(c.groups[i]) {
			d.Fail()
			return candidate{}
		}
	}
	c.inner, c.ranked = d.Float(), d.Float()
	return c
}
