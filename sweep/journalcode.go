package sweep

import (
	"encoding/binary"
	"maps"
	"math"
	"math/big"
	"slices"
	"time"

	"relaysweep/objective"
)

// encoder makes the payload of a record.
type encoder struct{ out []byte }

func (e *encoder) uvarint(n int) { e.out = binary.AppendUvarint(e.out, uint64(n)) }
func (e *encoder) float(x float64) {
	e.out = binary.LittleEndian.AppendUint64(e.out, math.Float64bits(x))
}
func (e *encoder) text(s string)        { e.uvarint(len(s)); e.out = append(e.out, s...) }
func (e *encoder) big(n *big.Int)       { e.text(n.String()) }
func (e *encoder) int64(n int64)        { e.out = binary.AppendVarint(e.out, n) }
func (e *encoder) uint64(n uint64)      { e.out = binary.AppendUvarint(e.out, n) }
func (e *encoder) flag(is bool)         { e.out = append(e.out, map[bool]byte{true: 1}[is]) }
func (e *encoder) time(d time.Duration) { e.int64(d.Microseconds()) }

func (e *encoder) counts(m map[string]*big.Int) {
	e.uvarint(len(m))
	for _, name := range slices.Sorted(maps.Keys(m)) {
		e.text(name)
		e.big(m[name])
	}
}

// decoder reads a payload. After the first fault everything reads as zero.
type decoder struct {
	rest []byte
	bad  bool
}

func (d *decoder) fail() { d.bad, d.rest = true, nil }

// end tells whether the payload was read to its end without a fault.
func (d *decoder) end() error {
	if d.bad || len(d.rest) > 0 {
		return errDamaged
	}
	return nil
}

func (d *decoder) uvarint() int {
	n, size := binary.Uvarint(d.rest)
	if size <= 0 || n > math.MaxInt {
		d.fail()
		return 0
	}
	d.rest = d.rest[size:]
	return int(n)
}

func (d *decoder) uint64() uint64 {
	x, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.fail()
		return 0
	}
	d.rest = d.rest[n:]
	return x
}

func (d *decoder) int64() int64 {
	n, size := binary.Varint(d.rest)
	if size <= 0 {
		d.fail()
		return 0
	}
	d.rest = d.rest[size:]
	return n
}

// length reads a count of things that take a byte each at least, so that no
// damage asks for more memory than the record has bytes.
func (d *decoder) length() int {
	n := d.uvarint()
	if n > len(d.rest) {
		d.fail()
		return 0
	}
	return n
}

func (d *decoder) byte() byte {
	if len(d.rest) == 0 {
		d.fail()
		return 0
	}
	b := d.rest[0]
	d.rest = d.rest[1:]
	return b
}

func (d *decoder) flag() bool { return d.byte() == 1 }

func (d *decoder) float() float64 {
	if len(d.rest) < 8 {
		d.fail()
		return 0
	}
	x := math.Float64frombits(binary.LittleEndian.Uint64(d.rest))
	d.rest = d.rest[8:]
	return x
}

func (d *decoder) text() string {
	n := d.length()
	s := string(d.rest[:n])
	d.rest = d.rest[n:]
	return s
}

func (d *decoder) time() time.Duration { return time.Duration(d.int64()) * time.Microsecond }

func (d *decoder) big() *big.Int {
	n, ok := new(big.Int).SetString(d.text(), 10)
	if !ok {
		d.fail()
		return new(big.Int)
	}
	return n
}

func (d *decoder) counts() map[string]*big.Int {
	m := map[string]*big.Int{}
	for range d.length() {
		name := d.text()
		m[name] = d.big()
	}
	return m
}

// design writes a design: its layout and seat, the codes of its groups, its
// inner gap and its ranked length. The rest follows from these.
func (e *encoder) design(c *candidate) {
	e.space(c.space)
	for _, code := range c.codes() {
		e.uint64(uint64(code))
	}
	e.float(c.inner)
	e.float(c.ranked)
}

// design reads a design of a library's lenses.
func (d *decoder) design(lib *objective.Library) (c candidate) {
	c.space = d.space()
	for i := range c.codes() {
		c.groups[i] = objective.StackCode(d.uint64())
		if !lib.Names(c.groups[i]) {
			d.fail()
			return candidate{}
		}
	}
	c.inner, c.ranked = d.float(), d.float()
	return c
}

// fits writes what would fit.
func (e *encoder) fits(f *Fits) {
	e.flag(f != nil)
	if f == nil {
		return
	}
	e.uvarint(len(f.Value))
	for _, name := range slices.Sorted(maps.Keys(f.Value)) {
		e.text(name)
		value := f.Value[name]
		e.flag(value != nil)
		if value != nil {
			e.float(*value)
			e.float(f.Length[name])
		}
	}
	e.uvarint(len(f.Open))
	for _, name := range f.Open {
		e.text(name)
	}
	e.uvarint(len(f.Binds))
	for _, name := range slices.Sorted(maps.Keys(f.Binds)) {
		e.text(name)
		e.int64(f.Binds[name])
	}
}

func (d *decoder) fits() *Fits {
	if !d.flag() {
		return nil
	}
	f := &Fits{Value: map[string]*float64{}, Length: map[string]float64{}, Binds: map[string]int64{}}
	for range d.length() {
		name := d.text()
		f.Value[name] = nil
		if d.flag() {
			value := d.float()
			f.Value[name], f.Length[name] = &value, d.float()
		}
	}
	for range d.length() {
		f.Open = append(f.Open, d.text())
	}
	for range d.length() {
		name := d.text()
		f.Binds[name] = d.int64()
	}
	return f
}

// outcome writes what a sweep point brought, but for the reports of what was
// found: the ray check makes the same ones again.
func (e *encoder) outcome(o *Outcome) {
	p := &o.Proof
	e.big(p.Space)
	e.counts(p.SetAside)
	e.counts(p.Failed)
	e.int64(p.Examined)
	e.int64(p.Checked)
	e.int64(p.Passed)
	e.float(p.ProvenLength)
	e.flag(p.Exact)
	e.fits(p.WouldFit)
	e.uvarint(len(p.Seconds))
	for _, name := range slices.Sorted(maps.Keys(p.Seconds)) {
		e.text(name)
		e.float(p.Seconds[name])
	}
	e.counts(o.turnedByRays)
	e.big(o.serving)
	e.float(o.next)
	e.uvarint(len(o.Found))
	for _, f := range o.Found {
		e.design(&f.design)
		e.float(f.Ranked)
		e.moved(f.moved)
		e.flag(f.Screened)
	}
	e.flag(o.Refined != nil)
	if o.Refined != nil {
		e.uvarint(o.Refined.Candidates)
		e.uvarint(o.Refined.Passed)
		e.float(o.ScreenedMM)
		e.flag(o.Best != nil)
		if o.Best != nil {
			e.float(o.Best.ShortestMM)
			e.text(o.Best.By)
		}
		e.flag(o.Audit != nil)
		if o.Audit != nil {
			e.uvarint(o.Audit.Drawn)
			e.uvarint(o.Audit.Passed)
		}
		e.designs(o.sample)
	}
	e.flag(o.Optimized != nil)
	if x := o.Optimized; x != nil {
		e.int64(x.Evaluations)
		e.float(x.BestMM)
		e.float(x.LowerBoundMM)
		e.uvarint(len(x.History))
		for _, step := range x.History {
			e.int64(step.Evaluations)
			e.float(step.BestMM)
		}
		e.nearest(x.Nearest)
	}
}

// outcome reads an outcome; what was found has neither trains nor reports.
func (d *decoder) outcome(lib *objective.Library) *Outcome {
	o := &Outcome{}
	p := &o.Proof
	p.Space = d.big()
	p.SetAside = d.counts()
	p.Failed = d.counts()
	p.Examined, p.Checked, p.Passed = d.int64(), d.int64(), d.int64()
	p.ProvenLength = d.float()
	p.Exact = d.flag()
	p.WouldFit = d.fits()
	p.Seconds = map[string]float64{}
	for range d.length() {
		name := d.text()
		p.Seconds[name] = d.float()
	}
	o.turnedByRays = d.counts()
	o.serving = d.big()
	o.next = d.float()
	for range d.length() {
		f := Found{design: d.design(lib), Ranked: d.float(), moved: d.moved(), Screened: d.flag()}
		if !d.bad {
			f.ID = f.design.id(lib)
			o.Found = append(o.Found, f)
		}
	}
	if d.flag() {
		o.Refined = &Refined{Candidates: d.uvarint(), Passed: d.uvarint()}
		o.ScreenedMM = d.float()
		if d.flag() {
			o.Best = &BestFound{d.float(), d.text()}
		}
		if d.flag() {
			o.Audit = &Audit{Drawn: d.uvarint(), Passed: d.uvarint()}
			o.Audit.MissedShareUpper95 = upperShare(o.Audit.Passed, o.Audit.Drawn)
		}
		o.sample = d.designs(lib)
	}
	if d.flag() {
		x := &Optimized{Evaluations: d.int64(), BestMM: d.float(), LowerBoundMM: d.float()}
		for range d.length() {
			x.History = append(x.History, Improvement{d.int64(), d.float()})
		}
		x.Nearest = d.nearest()
		o.Optimized = x
	}
	return o
}

// nearest writes the design that came nearest to passing, if there is one.
func (e *encoder) nearest(n *Nearest) {
	e.flag(n != nil)
	if n == nil {
		return
	}
	e.text(n.ID)
	e.text(n.Failed)
	e.float(n.RankedMM)
	e.uvarint(len(n.Exceeds))
	for _, name := range slices.Sorted(maps.Keys(n.Exceeds)) {
		e.text(name)
		e.float(n.Exceeds[name])
	}
}

func (d *decoder) nearest() *Nearest {
	if !d.flag() {
		return nil
	}
	n := &Nearest{ID: d.text(), Failed: d.text(), RankedMM: d.float(), Exceeds: map[string]float64{}}
	for range d.length() {
		name := d.text()
		n.Exceeds[name] = d.float()
	}
	return n
}
