package objective

import (
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"unicode"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// drawPart draws a name that a lens table takes.
func drawPart(t *rapid.T) string {
	name := rapid.StringMatching(`[^+|\pC\pZ]([^+|\pC]{0,8}[^+|\pC\pZ])?`).Draw(t, "part")
	for strings.HasSuffix(name, "/r") {
		name = strings.TrimSuffix(name, "r") + "s"
	}
	return name
}

// TestDesignIDReadsBack names designs and reads the names.
func TestDesignIDReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var want DesignName
		want.Layout = rapid.SampledFrom(Layouts).Draw(t, "layout")
		want.Seat = SeatRear
		if want.Layout != Keplerian {
			want.Seat = rapid.SampledFrom(Seats).Draw(t, "seat")
		}
		for range want.Layout.GroupNames() {
			var stack []LensName
			for range rapid.IntRange(1, 3).Draw(t, "lenses") {
				stack = append(stack, LensName{drawPart(t), rapid.Bool().Draw(t, "reversed")})
			}
			want.Groups = append(want.Groups, stack)
		}
		got, slips := ParseDesignID(want.String())
		if len(slips) > 0 || !reflect.DeepEqual(got, want) {
			t.Fatalf("%s reads back as %+v, %v", want, got, slips)
		}
	})
}

// TestDesignIDOfTrain: the name of a train of elements says which they are.
func TestDesignIDOfTrain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var lenses []*catalog.Lens
		for i := range 3 {
			l := testlens.PlanoConvex(50, 20, 5, testlens.ConstantGlass(1.5))
			l.Part = string(rune('A' + i))
			lenses = append(lenses, l)
		}
		lib := NewLibrary(use.Problem(), lenses)
		train := &Train{Layout: ErectorPair, Seat: SeatFront}
		for range train.Layout.GroupNames() {
			train.Groups = append(train.Groups, &Group{Elements: rapid.SliceOfN(rapid.SampledFrom(lib.Elements), 1, 3).Draw(t, "group")})
		}
		name, slips := ParseDesignID(train.DesignID())
		if len(slips) > 0 || name.Layout != train.Layout || name.Seat != train.Seat || len(name.Groups) != len(train.Groups) {
			t.Fatalf("%s reads as %+v, %v", train.DesignID(), name, slips)
		}
		for i, g := range train.Groups {
			for k, e := range g.Elements {
				if (name.Groups[i][k] != LensName{e.Lens.Part, e.Reversed}) {
					t.Fatalf("%s: lens %d of group %d reads as %+v", train.DesignID(), k+1, i+1, name.Groups[i][k])
				}
			}
		}
	})
}

func TestParseDesignIDSlips(t *testing.T) {
	for _, c := range []struct {
		id    string
		slips []string // the beginnings of what is found, in order
	}{
		{"erector-single:rear:A+B|C/r|D", nil},
		{" erector-single : rear : A + B | C/r | D ", nil},
		{"keplerian:rear:A|D", nil},
		{"erector-pair:front:A|B|C|D/r", nil},
		{"A|B|C", []string{"no layout and seat"}},
		{"erector-single:A|B|C", []string{"no layout and seat"}},
		{"", []string{"no layout and seat"}},
		{"erector:rear:A|B|C", []string{`"erector" is no layout`}},
		{"erector-single:middle:A|B|C", []string{`"middle" is no seat`}},
		{"keplerian:front:A|D", []string{`the seat "front"`}},
		{"erector-single:rear:A|B", []string{"2 groups"}},
		{"keplerian:rear:A|B|C", []string{"3 groups"}},
		{"erector-single:rear:A||C", []string{"lens 1 of group 2"}},
		{"erector-single:rear:A|B+/r|C", []string{"lens 2 of group 2"}},
		{"rector:back:A+|/r", []string{`"rector" is no layout`, `"back" is no seat`, "lens 2 of group 1", "lens 1 of group 2"}},
	} {
		_, slips := ParseDesignID(c.id)
		ok := len(slips) == len(c.slips)
		for i := range slips {
			ok = ok && strings.HasPrefix(slips[i].Found, c.slips[i]) && slips[i].Want != ""
		}
		if !ok {
			t.Errorf("%q: %q, want %q", c.id, slips, c.slips)
		}
	}
}

// FuzzParseDesignID: a text without slips is a name that reads back as itself, and no
// text leaves a group without a lens unless that is told.
func FuzzParseDesignID(f *testing.F) {
	for _, seed := range []string{
		"erector-single:rear:A+B|C/r|D", "keplerian:rear:A|B/r/r", "erector-pair:front:A|B|C|D", "::", ":::|+/r", "erector-single:rear:a:b|c|d",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, id string) {
		name, slips := ParseDesignID(id)
		if len(slips) > 0 {
			return
		}
		if len(name.Groups) != len(name.Layout.GroupNames()) || slices.ContainsFunc(name.Groups, func(g []LensName) bool { return len(g) == 0 }) {
			t.Fatalf("%q reads as %+v", id, name)
		}
		if strings.ContainsFunc(name.String(), func(r rune) bool { return unicode.IsSpace(r) }) || strings.Contains(name.String(), "/r/r") {
			return // spaces inside names, and names that no table takes
		}
		again, slips := ParseDesignID(name.String())
		if len(slips) > 0 || !reflect.DeepEqual(again, name) {
			t.Fatalf("%q reads as %+v, that as %+v, %v", id, name, again, slips)
		}
	})
}

// TestParaxialGaps: a train comes to its paraxial gaps whatever it fails, with the
// verdict of a search; at its eye relief nothing before that is broken, by an
// evaluation of its own.
func TestParaxialGaps(t *testing.T) {
	counts := map[Requirement]int{}
	testlens.Examples(1500, drawJudged(use.AnyLayout...), func(i int, c judged) {
		p, t0 := c.p, &Train{Layout: c.train.Layout, Seat: c.train.Seat, Groups: c.train.Groups}
		if i%5 == 0 {
			p.GroupGapMin *= 40
		}
		solved := *t0
		want := p.SolveBest(&solved, ByLength)
		failed, ok := p.ParaxialGaps(t0, ByLength)
		counts[failed]++
		switch {
		case !ok && (failed != Focal || want != Focal):
			t.Errorf("case %d: no gaps, and %q fails", i, want)
			return
		case !ok:
			return
		case failed != want:
			t.Errorf("case %d: %q fails, and a search says %q", i, failed, want)
		case failed == Met && (t0.Length != solved.Length || t0.EyeRelief != solved.EyeRelief):
			t.Errorf("case %d: length %v, relief %v; a search says %v, %v", i, t0.Length, t0.EyeRelief, solved.Length, solved.EyeRelief)
		}
		if m := p.matrixFrom(t0, 0); math.Abs(m.C) > 1e-7 {
			t.Errorf("case %d: the train is not afocal: %v", i, m)
		}
		// Of a pair the gap is chosen for the verdict, and others have one gap only.
		if r := firstBroken(p, t0, 1e-6); r < failed {
			t.Errorf("case %d: %q fails, but at the eye relief %v %q is broken", i, failed, t0.EyeRelief, r)
		}
	})
	for _, r := range []Requirement{Met, GapRoom, Aperture, Clearance, Travel} {
		if counts[r] < 5 {
			t.Errorf("only %d cases fail %q", counts[r], r)
		}
	}
}

// TestPriceOfOwned: the pieces that are there cost nothing, the others all do, wherever
// in the train they stand.
func TestPriceOfOwned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := use.Problem()
		var lenses []*catalog.Lens
		for i := range rapid.IntRange(1, 3).Draw(t, "parts") {
			l := testlens.Thin(50)
			l.Part = string(rune('A' + i))
			l.Price, l.Owned = float64(rapid.IntRange(1, 90).Draw(t, "price")), rapid.IntRange(0, 3).Draw(t, "owned")
			if rapid.IntRange(0, 4).Draw(t, "priced") == 0 {
				l.Price = catalog.Unset
			}
			lenses = append(lenses, l)
		}
		lib := NewLibrary(p, lenses)
		train := &Train{}
		pieces := map[*catalog.Lens]int{}
		for range rapid.IntRange(1, 3).Draw(t, "groups") {
			g := &Group{}
			for range rapid.IntRange(1, 3).Draw(t, "lenses") {
				e := rapid.SampledFrom(lib.Elements).Draw(t, "element")
				g.Elements = append(g.Elements, e)
				pieces[e.Lens]++
			}
			train.Groups = append(train.Groups, g)
		}
		want, known := 0.0, true
		for l, n := range pieces {
			if buy := n - l.Owned; buy > 0 {
				want += float64(buy) * l.Price
				known = known && catalog.IsSet(l.Price)
			}
		}
		if got, ok := train.Price(); ok != known || known && got != want {
			t.Fatalf("the price is %v, %v, not %v, %v", got, ok, want, known)
		}
	})
}
