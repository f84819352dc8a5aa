package objective

import (
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// TestStackCodes: a code names one stack, and codes that would not fit are told.
func TestStackCodes(t *testing.T) {
	p := use.Problem()
	var lenses []*catalog.Lens
	for i := range 5 {
		lenses = append(lenses, testlens.PlanoConvex(40+10*float64(i), 20, 5, testlens.Crown))
	}
	lib := NewLibrary(p, lenses)
	seen := map[StackCode]bool{}
	var each func(stack []*Element)
	each = func(stack []*Element) {
		if len(stack) > 0 {
			code := lib.Code(stack)
			if seen[code] || !lib.Names(code) || !slices.Equal(lib.Stack(code), stack) {
				t.Fatalf("code %d of %d elements: seen %v, names %v", code, len(stack), seen[code], lib.Names(code))
			}
			seen[code] = true
		}
		for _, e := range lib.Elements {
			if len(stack) < 3 {
				each(append(stack[:len(stack):len(stack)], e))
			}
		}
	}
	each(nil)
	// 10 elements: the largest code of n lenses is 11^n - 1, which fits 64 bits up to 18.
	if n := len(lib.Elements); n != 10 || !lib.Codes(18) || lib.Codes(19) {
		t.Errorf("%d elements; codes of 18: %v, of 19: %v", n, lib.Codes(18), lib.Codes(19))
	}
	for code := range StackCode(2000) {
		if lib.Names(code) != seen[code] && code < 11*11*11 {
			t.Errorf("code %d names a stack: %v", code, lib.Names(code))
		}
	}
}

// TestStacker: what is stacked has the numbers of the group, to the last bit.
func TestStacker(t *testing.T) {
	p := use.Problem()
	lib := NewLibrary(p, []*catalog.Lens{
		testlens.PlanoConvex(40, 20, 5, testlens.Crown), testlens.Achromat(50, 26), testlens.PlanoConvex(90, 24, 4, testlens.DenseCrown),
	})
	st := lib.NewStacker(3)
	for _, a := range lib.Elements {
		st.Push(a)
		for _, b := range lib.Elements {
			st.Push(b)
			for _, c := range lib.Elements {
				st.Push(c)
				want, got := p.NewGroup(a, b, c), st.Group()
				if got.FocalMM != want.FocalMM || got.FFDMM != want.FFDMM || got.BFDMM != want.BFDMM ||
					got.ThicknessMM != want.ThicknessMM || !slices.Equal(got.GapsMM, want.GapsMM) || st.Code() != lib.Code(want.Elements) {
					t.Errorf("%s: stacked %+v, made %+v", want.ID(), got, want)
				}
				st.Pop()
			}
			st.Pop()
		}
		st.Pop()
	}
}
