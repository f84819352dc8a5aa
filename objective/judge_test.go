package objective

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// firstBroken is the first requirement whose margin lies below -tolerance.
func firstBroken(p *Problem, t *Train, tolerance float64) Requirement {
	of := use.Margins(p, t)
	for r := Relief; r <= ViewpointShiftMM; r++ {
		if of[r] < -tolerance {
			return r
		}
	}
	return Met
}

// judged is a case for Judge.
type judged struct {
	p     *Problem
	train *Train
}

// drawJudged draws a train whose requirements are each now and then the one
// that decides. Requirements before relief may be broken: they play no part.
func drawJudged(layouts ...Layout) func(t *rapid.T) judged {
	return func(t *rapid.T) judged {
		p := use.DrawProblem(t)
		p.Pupil, p.Box = p.Pupil/2, p.Box/2
		scale := testlens.Between(t, "field scale", 0.05, 1)
		p.TanHalfWidth *= scale
		p.TanHalfHeight *= scale
		p.TanMax *= scale
		p.Clearance /= 2
		if testlens.OneIn(t, "wide reliefs", 2) {
			// Ends of the interval other than those of the eye relief.
			p.CombinerMM /= 2
			p.ReliefMin = p.ReliefMin/2 - 10
			p.ReliefMax = p.ReliefMin + testlens.Between(t, "reliefs", 60, 300)
			p.Pupil, p.Box = p.Pupil/5, p.Box/5
		}
		drawLimits(t, p)
		train := use.DrawTrainFor(t, p, layouts...)
		use.SkipHuge(t, train)
		return judged{p, train}
	}
}

// TestJudge holds the interval of eye reliefs, or the requirement that Judge
// names, against the requirements evaluated directly over a dense set of eye
// reliefs.
func TestJudge(t *testing.T) {
	const cases = 3000
	counts := map[Requirement]int{}
	lowEnd, highEnd := map[Requirement]int{}, map[Requirement]int{}
	testlens.Examples(cases, drawJudged(use.AnyLayout...), func(i int, c judged) {
		p, train := c.p, c.train
		relief, failed := p.Judge(train)
		counts[failed]++
		at := func(e, tolerance float64) Requirement {
			train.EyeRelief = e
			return firstBroken(p, train, tolerance)
		}
		// Where every eye relief breaks a requirement, it is the one named or
		// one before it. A margin may be as small as rounding.
		step := (p.ReliefMax - p.ReliefMin + 4) / 120
		for k := range 121 {
			e := p.ReliefMin - 2 + step*float64(k)
			r := at(e, 1e-7)
			switch {
			case failed != Met && r > failed:
				t.Errorf("case %d: %v can't be met, says Judge; at e = %v the first broken is %q", i, failed, e, r)
				return
			case failed == Met && r == Met && !(e >= relief.Lo-1e-6 && e <= relief.Hi+1e-6):
				t.Errorf("case %d: all is met at %v, outside of %v", i, e, relief)
				return
			case failed == Met && r != Met && e > relief.Lo && e < relief.Hi:
				t.Errorf("case %d: %v is broken at %v, inside of %v", i, r, e, relief)
				return
			}
		}
		if failed != Met {
			return
		}
		for k := range 5 {
			if r := at(relief.Lo+(relief.Hi-relief.Lo)*float64(k)/4, 1e-7); r != Met {
				t.Errorf("case %d: %v is broken within %v", i, r, relief)
			}
		}
		// Just outside either end something is broken.
		const outside = 1e-4
		if r := at(relief.Lo-outside, 0); r == Met {
			t.Errorf("case %d: all is met below %v", i, relief)
		} else {
			lowEnd[r]++
		}
		if r := at(relief.Hi+outside, 0); r == Met {
			t.Errorf("case %d: all is met above %v", i, relief)
		} else {
			highEnd[r]++
		}
	})
	t.Logf("first failed %v; ends decided below by %v, above by %v", counts, lowEnd, highEnd)
	for r := Aperture; r <= ViewpointShiftMM; r++ {
		if counts[r] < 3 {
			t.Errorf("%v decided %d cases: too few to say anything", r, counts[r])
		}
		if lowEnd[r]+highEnd[r] == 0 && r != MaskSize {
			t.Errorf("%v ends no interval", r)
		}
	}
	if counts[Met] < cases/20 {
		t.Errorf("only %d of %d cases meet everything", counts[Met], cases)
	}
}

// relaxed is a problem in which one requirement can't fail.
func relaxed(p *Problem, r Requirement) *Problem {
	q := *p
	switch r {
	case Aperture:
		q.Pupil, q.Box, q.TanMax = 0, 0, 1e-12
	case Clearance:
		q.Clearance = -1e6
	case Travel:
		q.Travel = 1e12
	case MaskSize:
		q.MaskWidth, q.MaskHeight = 1e9, 1e9
	default:
		q.Limits.Max = map[string]float64{}
		for name, limit := range p.Limits.Max {
			if name != r.String() {
				q.Limits.Max[name] = limit
			}
		}
	}
	return &q
}

// TestJudgeNamesTheFirst: without the requirement that Judge names, it names a
// later one or none. With the clearance without end, an apparent point may
// still be imaged at infinity, which counts as clearance.
func TestJudgeNamesTheFirst(t *testing.T) {
	seen := map[Requirement]int{}
	testlens.Examples(2000, drawJudged(use.AnyLayout...), func(i int, c judged) {
		_, failed := c.p.Judge(c.train)
		if failed == Met || failed == Relief {
			return
		}
		_, then := relaxed(c.p, failed).Judge(c.train)
		seen[failed]++
		if then > failed {
			return
		}
		if failed == Clearance && then == Clearance {
			for k := range 101 {
				c.train.EyeRelief = c.p.ReliefMin + (c.p.ReliefMax-c.p.ReliefMin)*float64(k)/100
				if of := use.Margins(c.p, c.train); of[Relief] >= 0 && of[Aperture] >= 0 && !math.IsInf(of[Clearance], -1) {
					t.Errorf("case %d: finite setpoints at e = %v", i, c.train.EyeRelief)
				}
			}
			return
		}
		t.Errorf("case %d: Judge names %v; without it %v", i, failed, then)
	})
	for r := Aperture; r <= ViewpointShiftMM; r++ {
		if seen[r] == 0 {
			t.Errorf("%v was never the first", r)
		}
	}
}

// TestSolveTakesSmallestRelief: the eye relief is the lower end of Judge's
// interval, within [relief_min, relief_max] and beyond the combiner.
func TestSolveTakesSmallestRelief(t *testing.T) {
	met := 0
	testlens.Examples(1000, drawJudged(use.AnyLayout...), func(i int, c judged) {
		inner := 0.0
		if c.train.Layout == ErectorPair {
			inner = c.train.Gaps[1]
		}
		if c.p.Solve(c.train, inner) != Met {
			return
		}
		met++
		relief, _ := c.p.Judge(c.train)
		e := c.train.EyeRelief
		if e != relief.Lo || e < math.Max(c.p.ReliefMin, c.p.CombinerMM)-1e-9 || e > c.p.ReliefMax+1e-9 {
			t.Errorf("case %d: eye relief %v of %v", i, e, relief)
		}
		if firstBroken(c.p, c.train, 1e-7) != Met {
			t.Errorf("case %d: a solved train breaks %v", i, firstBroken(c.p, c.train, 1e-7))
		}
	})
	if met < 20 {
		t.Errorf("only %d trains are solved", met)
	}
}

// TestAssembleRequirements: gaps and length are judged as they stand, to the
// limit and not beyond.
func TestAssembleRequirements(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		inner := 0.0
		if train.Layout == ErectorPair {
			inner = train.Gaps[1]
		}
		p.GroupGapMin = -1e6
		if failed := p.Assemble(train, inner); failed != Met {
			t.Fatalf("fails %v without limits", failed)
		}
		p.LengthMax = train.Length
		if failed := p.Assemble(train, inner); failed != Met {
			t.Errorf("fails %v at the largest length", failed)
		}
		p.LengthMax -= 1e-6
		if failed := p.Assemble(train, inner); failed != Length {
			t.Errorf("fails %v beyond the largest length", failed)
		}
		// The narrowest gap that holds no mask, down to its least.
		room := math.Inf(1)
		p.GroupGapMin = 0
		for i, gap := range train.Gaps {
			if i != train.MaskGap() {
				room = math.Min(room, gap-p.LeastGap(train.Groups[i], train.Groups[i+1]))
			}
		}
		if math.IsInf(room, 1) {
			t.Skip("no gap without a mask")
		}
		p.GroupGapMin = room
		if failed := p.Assemble(train, inner); failed != Length {
			t.Errorf("fails %v at the least gap", failed)
		}
		p.GroupGapMin += 1e-6
		if failed := p.Assemble(train, inner); failed != GapRoom {
			t.Errorf("fails %v below the least gap", failed)
		}
	})
}

// TestMagnificationTolerance is that of a keplerian.
func TestMagnificationTolerance(t *testing.T) {
	p, train := thinPair(t, 50)
	for _, c := range []struct {
		magnification, tol float64
		want               Requirement
	}{
		{1, 0, Met}, {1.0101, 0.01, Met}, {1.0102, 0.01, Magnification}, {0.991, 0.01, Met}, {0.99, 0.01, Magnification}, {2, 0.6, Met},
	} {
		p.Magnification, p.MagnificationTol = c.magnification, c.tol
		if got := p.Assemble(train, 0); got != c.want {
			t.Errorf("|Θ| = 1 for %v within %v: %q, want %q", c.magnification, c.tol, got, c.want)
		}
	}
	train.Groups[0] = use.Group(p, []*catalog.Lens{testlens.Thin(-50)})
	if got := p.Assemble(train, 0); got != Focal {
		t.Errorf("a negative front fails %q", got)
	}
}
