package objective

import (
	"math"
	"math/rand/v2"

	"relaysweep/objective/internal/testlens"
	"testing"

	"pgregory.net/rapid"
)

// pairTrial is a train with a pair relay, reduced.
type pairTrial struct {
	judged
	front Front
	rear  Rear
	relay PairRelay
	c     pairCase
	seed  uint64
}

// drawPairTrial draws one whose front and rear may serve by themselves, with
// the requirements up to and including until.
func drawPairTrial(until Requirement) func(t *rapid.T) pairTrial {
	draw := drawJudged(ErectorPair)
	return func(t *rapid.T) pairTrial {
		x := pairTrial{judged: draw(t), seed: rapid.Uint64().Draw(t, "seed")}
		p, groups := x.p, x.train.Groups
		var okFront, okRear, okRelay bool
		x.front, okFront = p.NewFront(groups[0], x.train.Seat, until)
		x.rear, okRear = p.NewRear(groups[3], x.train.Seat, until)
		x.relay, okRelay = p.NewPairRelay(NewPairComponentRows(groups[1]), NewPairComponentRows(groups[2]))
		if !okFront || !okRear || !okRelay {
			t.Skip("front or rear can't serve")
		}
		x.c = p.newPairCase(&x.front, &x.relay, &x.rear, x.train.Seat, until)
		return x
	}
}

// randomV draws v so that the compound's focal length is even in its logarithm
// from 5 to 500 mm.
func (x *pairTrial) randomV(r *rand.Rand) float64 {
	return 5 * math.Pow(100, r.Float64()) / x.relay.product
}

// TestPairCompound: f_c, FFD_c, BFD_c and t_c, linear in v = 1/w, and the
// length L(v), against products of matrices at random inner gaps, for pairs
// of either sign of P = f1·f2.
func TestPairCompound(t *testing.T) {
	signs := map[bool]int{}
	testlens.Examples(300, drawPairTrial(Length), func(i int, x pairTrial) {
		r := rand.New(rand.NewPCG(x.seed, 1))
		q := &x.relay
		signs[q.product > 0]++
		for range 20 {
			v := x.randomV(r)
			inner := q.inner(v)
			m := x.train.Groups[1].matrix.Then(Gap(inner)).Then(x.train.Groups[2].matrix)
			scale := 500 + math.Abs(inner) + q.f1*q.f1*math.Abs(v) + q.f2*q.f2*math.Abs(v)
			testlens.CloseTo(t, "f", q.product*v, -1/m.C, scale)
			testlens.CloseTo(t, "FFD", q.ffd-q.f1*q.f1*v, -m.D/m.C, scale)
			testlens.CloseTo(t, "BFD", q.bfd-q.f2*q.f2*v, -m.A/m.C, scale)
			if failed := x.p.Assemble(x.train, inner); failed == Focal || failed == Magnification {
				t.Fatalf("case %d: a pair of f = %v fails %v", i, q.product*v, failed)
			}
			testlens.CloseTo(t, "L", x.c.length(v), x.train.Length, scale)
			// The gaps to image 1 and image 2.
			image1, image2 := x.c.images(v, v)
			shift := [2]float64{0, x.p.MaskShift()}
			if x.train.Seat == SeatFront {
				shift = [2]float64{x.p.MaskShift(), 0}
			}
			testlens.CloseTo(t, "gap 1", x.front.Group.BFDMM+image1.Lo+shift[0], x.train.Gaps[0], scale)
			testlens.CloseTo(t, "gap 2", x.rear.Group.FFDMM+image2.Lo+shift[1], x.train.Gaps[2], scale)
			relay, _ := x.p.Relay(x.train)
			testlens.CloseTo(t, "t", relay.ThicknessMM, q.First.ThicknessMM+inner+q.Second.ThicknessMM, scale)
		}
		// The turning point is where L'(v) vanishes, by a difference.
		if v := x.c.turning(); v != 0 {
			h := 1e-4 * v
			if d := x.c.length(v+h) - x.c.length(v-h); math.Abs(d) > 1e-6*math.Abs(2*1e-4/v)+1e-9 {
				t.Errorf("case %d: L changes by %v about its turning point", i, d)
			}
		}
	})
	if signs[true] < 50 || signs[false] < 50 {
		t.Errorf("signs of P: %v", signs)
	}
}

// eyeOf is Judge's interval in terms of p, the eye's distance behind the rear
// group's focal point.
func (x *pairTrial) eyeOf(relief Interval) Interval {
	return relief.affine(1, -x.p.CombinerShift()-x.rear.Group.BFDMM)
}

// TestPairEye: at one inner gap the interval of p is that which Judge finds;
// gaps at which all requirements are met are reachable; and over a range of
// gaps eye, bound and toEyeBound enclose what each gap of it gives.
func TestPairEye(t *testing.T) {
	counts := map[bool]int{}
	kept, cut := 0, 0
	testlens.Examples(1500, drawPairTrial(LastRequirement), func(i int, x pairTrial) {
		p, c := x.p, &x.c
		r := rand.New(rand.NewPCG(x.seed, 2))
		reachable := c.reachable()
		for range 30 {
			v := x.randomV(r)
			assembled := p.Assemble(x.train, x.relay.inner(v))
			relief, failed := p.Judge(x.train)
			eye := c.eye(v, v)
			// What the gaps have beyond their least is the mask's room, and the
			// space of the other gap.
			least1, least2 := c.leastGaps()
			lo, hi := p.MaskRoom(x.train, x.train.MaskGap())
			room := [2]float64{x.train.Gaps[0] - p.LeastGap(x.train.Groups[0], x.train.Groups[1]), hi - lo}
			if x.train.Seat == SeatFront {
				room = [2]float64{hi - lo, x.train.Gaps[2] - p.LeastGap(x.train.Groups[2], x.train.Groups[3])}
			}
			scale := 500 + math.Abs(room[0]) + math.Abs(room[1])
			testlens.CloseTo(t, "room in gap 1", p.airGap(x.train, 0)-least1, room[0], scale)
			testlens.CloseTo(t, "room in gap 2", p.airGap(x.train, 2)-least2, room[1], scale)
			met := assembled == Met && failed == Met
			counts[met]++
			if met && !(v >= reachable.Lo*(1-math.Copysign(1e-9, v)) && v <= reachable.Hi*(1+math.Copysign(1e-9, v))) {
				t.Errorf("case %d: all is met at v = %v, outside of %v", i, v, reachable)
			}
			if failed == Met {
				want := x.eyeOf(relief)
				if !eye.Empty() && !(eye.Lo >= want.Lo-1e-8 && eye.Hi <= want.Hi+1e-8) {
					t.Errorf("case %d: eye %v at v = %v, Judge has %v", i, eye, v, want)
				}
				// Judge lets clearance and viewpoint miss their limits by
				// RoundingSlack, which can be a long way of the eye: there they
				// are broken, if by no more.
				for _, end := range [2][2]float64{{want.Lo, eye.Lo}, {eye.Hi, want.Hi}} {
					if end[1]-end[0] < 1e-6 || eye.Empty() {
						continue
					}
					x.train.EyeRelief = relief.Lo
					if end[1] == want.Hi {
						x.train.EyeRelief = relief.Hi
					}
					if firstBroken(p, x.train, 0) == Met || firstBroken(p, x.train, 2*RoundingSlack) != Met {
						t.Errorf("case %d: eye %v at v = %v, Judge has %v", i, eye, v, want)
					}
				}
				if eye.Empty() {
					x.train.EyeRelief = relief.Lo
					if of := firstBroken(p, x.train, 0); of == Met && relief.Hi-relief.Lo > 1e-6 {
						t.Errorf("case %d: no eye at v = %v, where Judge has %v", i, v, want)
					}
				}
			} else if assembled == Met && !eye.Empty() && eye.Hi-eye.Lo > 1e-6 {
				// Clearances on the relay's side are judged with both sides
				// together.
				t.Errorf("case %d: eye %v at v = %v, where Judge finds %v", i, eye, v, failed)
			}
		}
		for range 10 {
			v0, v1 := x.randomV(r), x.randomV(r)
			if v0 > v1 {
				v0, v1 = v1, v0
			}
			if r.IntN(2) == 0 { // narrow ones, where the bounds are sharp
				v1 = v0 + (v1-v0)*0.02
			}
			whole, bound, toEye := c.eye(v0, v1), c.bound(Interval{v0, v1}), c.toEyeBound(Interval{v0, v1})
			if whole.Empty() {
				cut++
			} else {
				kept++
			}
			for k := range 12 {
				v := v0 + (v1-v0)*float64(k)/11
				eye, length := c.eye(v, v), c.length(v)
				tolerance := 1e-9 * (1 + math.Abs(eye.Lo))
				if !eye.Empty() && !(eye.Lo >= whole.Lo-tolerance && eye.Hi <= whole.Hi+tolerance) {
					t.Errorf("case %d: eye %v at v = %v, over [%v, %v] %v", i, eye, v, v0, v1, whole)
				}
				if length < bound-1e-9*(100+math.Abs(bound)) {
					t.Errorf("case %d: L = %v at v = %v, bound over [%v, %v] %v", i, length, v, v0, v1, bound)
				}
				if ranked := length + c.reliefOf(eye, ByLengthToEye); !eye.Empty() && ranked < toEye-1e-9*(100+math.Abs(toEye)) {
					t.Errorf("case %d: L + e = %v at v = %v, bound over [%v, %v] %v", i, ranked, v, v0, v1, toEye)
				}
			}
		}
	})
	t.Logf("gaps met %v; ranges kept %d, cut %d", counts, kept, cut)
	if counts[true] < 200 || cut < 500 || kept < 500 {
		t.Error("too few cases to say anything")
	}
}

// TestSolvePairUnbeaten: no inner gap tried at random through Solve gives a
// smaller ranked length than SolvePair's, and where SolvePair names a
// requirement none meets that and all before it.
func TestSolvePairUnbeaten(t *testing.T) {
	const tries = 2000
	counts := map[Requirement]int{}
	testlens.Examples(200, drawJudged(ErectorPair), func(i int, x judged) {
		p := x.p
		by := RankBy(i % 2)
		least := p.LeastGap(x.train.Groups[1], x.train.Groups[2])
		switch i % 10 { // requirements that the random problems seldom break
		case 3, 4:
			p.GroupGapMin += 30 * float64(i%7)
			least = p.LeastGap(x.train.Groups[1], x.train.Groups[2])
		case 5, 6:
			p.LengthMax = 100 + 20*float64(i%7)
		}
		failed := p.SolvePair(x.train, by)
		counts[failed]++
		best := x.train.Ranked(by)
		if failed == Met {
			if b := firstBroken(p, x.train, 1e-7); b != Met {
				t.Errorf("case %d: the solved train breaks %v", i, b)
			}
		}
		relay, ok := p.NewPairRelay(NewPairComponentRows(x.train.Groups[1]), NewPairComponentRows(x.train.Groups[2]))
		if !ok {
			return
		}
		trial := &Train{Layout: ErectorPair, Seat: x.train.Seat, Groups: x.train.Groups}
		r := rand.New(rand.NewPCG(uint64(i), 3))
		inner := relay.fold
		if failed == Met {
			inner = x.train.Gaps[1]
		}
		for k := range tries {
			s := relay.inner(5 * math.Pow(100, r.Float64()) / relay.product)
			switch {
			case failed == Met && k%4 == 0: // close by
				s = inner + math.Copysign(math.Pow(10, -7+8*r.Float64()), r.Float64()-0.5)
			case k%4 == 1: // from the least gap on
				s = least + 100*r.Float64()*r.Float64()
			}
			if s < least {
				continue // outside of the gaps that are searched
			}
			got := p.Solve(trial, s)
			switch {
			case got == Met && failed != Met:
				t.Errorf("case %d: all is met at an inner gap of %v; SolvePair finds %v", i, s, failed)
				return
			case got == Met && trial.Ranked(by) < best-1e-6:
				t.Errorf("case %d: %v mm at an inner gap of %v; SolvePair has %v at %v", i, trial.Ranked(by), s, best, inner)
				return
			case got > failed && failed != Met:
				t.Errorf("case %d: an inner gap of %v fails only %v; SolvePair finds %v", i, s, got, failed)
				return
			}
		}
	})
	t.Logf("%v", counts)
	if counts[Met] < 30 || counts[GapRoom] == 0 || counts[Length] == 0 {
		t.Error("too few cases to say anything")
	}
}

// TestBelowQuotient: the line stays below n/d over the interval, and touches it
// at both ends or in the middle.
func TestBelowQuotient(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n0, n1 := testlens.Between(t, "n0", -10, 10), testlens.Between(t, "n1", -10, 10)
		d0, d1 := testlens.Between(t, "d0", -10, -0.01), testlens.Between(t, "d1", -10, -0.01)
		line, ok := belowQuotient(n0, n1, d0, d1)
		if !ok {
			t.Fatal("no line below a negative divisor")
		}
		gap := math.Inf(1)
		for k := range 101 {
			s := float64(k) / 100
			f := (n0 + s*(n1-n0)) / (d0 + s*(d1-d0))
			l := line.lo + s*(line.hi-line.lo)
			if l > f+1e-9*(1+math.Abs(f)) {
				t.Fatalf("line %v above %v at %v", l, f, s)
			}
			gap = math.Min(gap, f-l)
		}
		if gap > 1e-9*(1+math.Abs(line.lo)+math.Abs(line.hi)) {
			t.Errorf("the line stays %v away", gap)
		}
	})
	for _, d := range [][2]float64{{1, -1}, {-1, 0}, {2, 3}, {0, 0}} {
		if _, ok := belowQuotient(1, 1, d[0], d[1]); ok {
			t.Errorf("a line for divisors %v", d)
		}
	}
}
