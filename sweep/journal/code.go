package journal

import (
	"encoding/binary"
	"maps"
	"math"
	"math/big"
	"slices"
	"time"
)

// Encoder makes the body of a record.
type Encoder struct{ out []byte }

// Bytes are what was written. They change with the next write.
func (e *Encoder) Bytes() []byte { return e.out }

// Byte writes one byte.
func (e *Encoder) Byte(b byte) { e.out = append(e.out, b) }

// Uvarint writes a number of at least 0, a small one in one byte.
func (e *Encoder) Uvarint(n int) { e.out = binary.AppendUvarint(e.out, uint64(n)) }

// Float writes every bit of a number.
func (e *Encoder) Float(x float64) {
	e.out = binary.LittleEndian.AppendUint64(e.out, math.Float64bits(x))
}

// Text writes a text.
func (e *Encoder) Text(s string) { e.Uvarint(len(s)); e.out = append(e.out, s...) }

// Big writes a whole number of any size.
func (e *Encoder) Big(n *big.Int) { e.Text(n.String()) }

// Int64 writes a number, one near 0 in one byte.
func (e *Encoder) Int64(n int64) { e.out = binary.AppendVarint(e.out, n) }

// Uint64 writes a number, a small one in one byte.
func (e *Encoder) Uint64(n uint64) { e.out = binary.AppendUvarint(e.out, n) }

// Flag writes true or false.
func (e *Encoder) Flag(is bool) { e.out = append(e.out, map[bool]byte{true: 1}[is]) }

// Time writes a time to the microsecond.
func (e *Encoder) Time(d time.Duration) { e.Int64(d.Microseconds()) }

// Counts writes counts by name.
func (e *Encoder) Counts(m map[string]*big.Int) {
	e.Uvarint(len(m))
	for _, name := range slices.Sorted(maps.Keys(m)) {
		e.Text(name)
		e.Big(m[name])
	}
}

// Decoder reads the body of a record. After the first fault everything reads as zero.
type Decoder struct {
	rest []byte
	bad  bool
}

// Fail makes everything from here on read as zero, and [Decoder.End] an error.
func (d *Decoder) Fail() { d.bad, d.rest = true, nil }

// NewDecoder reads a body from its beginning.
func NewDecoder(body []byte) *Decoder { return &Decoder{rest: body} }

// Left is how many bytes were not read yet.
func (d *Decoder) Left() int { return len(d.rest) }

// Failed reports whether there was a fault.
func (d *Decoder) Failed() bool { return d.bad }

// End is nil where the body was read to its end without a fault, otherwise [ErrUnfit].
func (d *Decoder) End() error {
	if d.bad || len(d.rest) > 0 {
		return ErrUnfit
	}
	return nil
}

// Uvarint reads what [Encoder.Uvarint] wrote; likewise all below.
func (d *Decoder) Uvarint() int {
	n, size := binary.Uvarint(d.rest)
	if size <= 0 || n > math.MaxInt {
		d.Fail()
		return 0
	}
	d.rest = d.rest[size:]
	return int(n)
}

// Uint64 reads a number of at least 0.
func (d *Decoder) Uint64() uint64 {
	x, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.Fail()
		return 0
	}
	d.rest = d.rest[n:]
	return x
}

// Int64 reads a number.
func (d *Decoder) Int64() int64 {
	n, size := binary.Varint(d.rest)
	if size <= 0 {
		d.Fail()
		return 0
	}
	d.rest = d.rest[size:]
	return n
}

// Length reads a count of things that take a byte each at least, so that no
// damage asks for more memory than the record has bytes.
func (d *Decoder) Length() int {
	n := d.Uvarint()
	if n > len(d.rest) {
		d.Fail()
		return 0
	}
	return n
}

// Byte reads one byte.
func (d *Decoder) Byte() byte {
	if len(d.rest) == 0 {
		d.Fail()
		return 0
	}
	b := d.rest[0]
	d.rest = d.rest[1:]
	return b
}

// Flag reads true or false.
func (d *Decoder) Flag() bool { return d.Byte() == 1 }

// Float reads a number.
func (d *Decoder) Float() float64 {
	if len(d.rest) < 8 {
		d.Fail()
		return 0
	}
	x := math.Float64frombits(binary.LittleEndian.Uint64(d.rest))
	d.rest = d.rest[8:]
	return x
}

// Text reads a text.
func (d *Decoder) Text() string {
	n := d.Length()
	s := string(d.rest[:n])
	d.rest = d.rest[n:]
	return s
}

// Time reads a time.
func (d *Decoder) Time() time.Duration { return time.Duration(d.Int64()) * time.Microsecond }

// Big reads a whole number of any size.
func (d *Decoder) Big() *big.Int {
	n, ok := new(big.Int).SetString(d.Text(), 10)
	if !ok {
		d.Fail()
		return new(big.Int)
	}
	return n
}

// Counts reads counts by name.
func (d *Decoder) Counts() map[string]*big.Int {
	m := map[string]*big.Int{}
	for range d.Length() {
		name := d.Text()
		m[name] = d.Big()
	}
	return m
}
