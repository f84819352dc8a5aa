package journal

import (
	"math"
	"math/bits"
	"slices"
)

// What a long job records again and again is written in few bytes: lengths by how
// many steps they are apart, what is one of few kinds in some bits. What the short form
// can't hold is written in a longer one: reading gives back every bit in any case.

// lengthSteps is how many steps of the short form a millimetre has. The search rounds ranked
// lengths to the same steps, so that most take the short form; any other length is kept as well.
const lengthSteps = 1e6

// stepsOf is a length in steps, the nearest and false where it is not a whole number
// of these. A length of 2^52 steps or more, and NaN, is 0.
func stepsOf(length float64) (steps int64, whole bool) {
	x := math.Round(length * lengthSteps)
	if !(math.Abs(x) < 1<<52) {
		return 0, false
	}
	steps = int64(x)
	return steps, math.Float64bits(float64(steps)/lengthSteps) == math.Float64bits(length)
}

// Millimetres writes a length, in a few bytes when it is near to another one.
func (e *Encoder) Millimetres(x, near float64) {
	steps, whole := stepsOf(x)
	e.Flag(whole)
	if !whole {
		e.Float(x)
		return
	}
	from, _ := stepsOf(near)
	e.Int64(steps - from)
}

// Millimetres reads a length that was written near another one.
func (d *Decoder) Millimetres(near float64) float64 {
	if !d.Flag() {
		return d.Float()
	}
	from, _ := stepsOf(near)
	return float64(from+d.Int64()) / lengthSteps
}

// Lengths writes lengths, each by how far it is from the one before. Where they
// ascend and lie close that is a byte each.
func (e *Encoder) Lengths(all []float64) {
	whole := true
	for _, x := range all {
		_, ok := stepsOf(x)
		whole = whole && ok
	}
	e.Flag(whole)
	before := int64(0)
	for _, x := range all {
		if !whole {
			e.Float(x)
			continue
		}
		steps, _ := stepsOf(x)
		e.Int64(steps - before)
		before = steps
	}
}

// Lengths reads n lengths.
func (d *Decoder) Lengths(n int) []float64 {
	whole := d.Flag()
	all := d.room(n)
	before := int64(0)
	for i := range all {
		if !whole {
			all[i] = d.Float()
			continue
		}
		before += d.Int64()
		all[i] = float64(before) / lengthSteps
	}
	return all
}

// room is memory for n numbers that take a byte each at least.
func (d *Decoder) room(n int) []float64 {
	if n > len(d.rest) {
		d.Fail()
		return nil
	}
	return make([]float64, n)
}

// Choices writes for each of some things which of so many kinds it is: how often
// each is repeated or a few bits a thing, whichever is shorter.
func (e *Encoder) Choices(places []int, kinds int) {
	runs := &Encoder{}
	for i := 0; i < len(places); {
		n := 1
		for i+n < len(places) && places[i+n] == places[i] {
			n++
		}
		runs.Uvarint((n-1)*kinds + places[i])
		i += n
	}
	width := bitsFor(kinds)
	packed := (len(places)*width + 7) / 8
	e.Flag(packed < len(runs.out))
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

// Choices reads of which of so many kinds each of n things is.
func (d *Decoder) Choices(n, kinds int) []int {
	packed := d.Flag()
	if d.bad || n > 0 && kinds == 0 || n > placesMost {
		d.Fail()
		return nil
	}
	width := bitsFor(kinds)
	size := (n*width + 7) / 8
	if packed && size > len(d.rest) {
		d.Fail()
		return nil
	}
	all := make([]int, 0, min(n, 8*len(d.rest)+1))
	if !packed {
		for len(all) < n && !d.bad {
			run := d.Uvarint()
			place, times := run%kinds, run/kinds+1
			if times > n-len(all) {
				d.Fail()
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
			d.Fail()
			return nil
		}
		all = append(all, place)
	}
	d.rest = d.rest[size:]
	return all
}

// Numbers writes a column of numbers: one after the other or, where they repeat
// often enough, those that occur and then which it is.
func (e *Encoder) Numbers(all []uint64) {
	plain := &Encoder{}
	for _, x := range all {
		plain.Uint64(x)
	}
	kinds := slices.Compact(slices.Sorted(slices.Values(all)))
	listed := &Encoder{}
	listed.Uvarint(len(kinds))
	before := uint64(0)
	for _, x := range kinds {
		listed.Uint64(x - before)
		before = x
	}
	if len(listed.out) < len(plain.out) {
		places := make([]int, len(all))
		for i, x := range all {
			places[i], _ = slices.BinarySearch(kinds, x)
		}
		listed.Choices(places, len(kinds))
	}
	isListed := len(listed.out) < len(plain.out)
	e.Flag(isListed)
	if isListed {
		plain = listed
	}
	e.out = append(e.out, plain.out...)
}

// Numbers reads a column of n numbers.
func (d *Decoder) Numbers(n int) []uint64 {
	if n > placesMost {
		d.Fail()
		return nil
	}
	var all []uint64
	if !d.Flag() {
		for range n {
			if all = append(all, d.Uint64()); d.bad {
				return nil
			}
		}
		return all
	}
	var kinds []uint64
	before := uint64(0)
	for range d.Length() {
		before += d.Uint64()
		kinds = append(kinds, before)
	}
	for _, place := range d.Choices(n, len(kinds)) {
		all = append(all, kinds[place])
	}
	return all
}
