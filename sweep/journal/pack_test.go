package journal

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// whole fails unless a body was read to its end.
func whole(t *rapid.T, d *Decoder) {
	if err := d.End(); err != nil {
		t.Fatalf("%v: %d bytes are left", err, d.Left())
	}
}

// rounded is a length as most are, in whole steps.
func rounded(length float64) float64 { return math.Round(length*lengthSteps) / lengthSteps }

// anyLength draws lengths as they are ranked, and others.
func anyLength() *rapid.Generator[float64] {
	return rapid.OneOf(
		rapid.Map(rapid.Float64Range(0, 500), rounded),
		rapid.Map(rapid.Float64Range(100, 100.0001), rounded),
		rapid.Float64(),
		rapid.SampledFrom([]float64{0, math.Copysign(0, -1), math.Inf(1), math.Inf(-1), math.MaxFloat64, 1e10, 1e-6, 4503599627.370495}),
	)
}

// TestPackedLengths gives back every bit.
func TestPackedLengths(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := rapid.SliceOf(anyLength()).Draw(t, "lengths")
		near := anyLength().Draw(t, "near")
		e := &Encoder{}
		e.Lengths(all)
		for _, x := range all {
			e.Millimetres(x, near)
		}
		d := NewDecoder(e.Bytes())
		got := d.Lengths(len(all))
		for i, x := range all {
			y := d.Millimetres(near)
			if math.Float64bits(got[i]) != math.Float64bits(x) || math.Float64bits(y) != math.Float64bits(x) {
				t.Fatalf("%v reads as %v in a list and as %v near %v", x, got[i], y, near)
			}
		}
		whole(t, d)
	})
}

// TestPackedNumbers gives back columns of numbers.
func TestPackedNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		few := rapid.SliceOfN(rapid.Uint64(), 1, 5).Draw(t, "few")
		all := rapid.SliceOf(rapid.OneOf(rapid.SampledFrom(few), rapid.Uint64Range(0, 40_000))).Draw(t, "numbers")
		e := &Encoder{}
		e.Numbers(all)
		d := NewDecoder(e.Bytes())
		if got := d.Numbers(len(all)); !slices.Equal(got, all) {
			t.Fatalf("%v read as %v", all, got)
		}
		whole(t, d)
	})
}
