package objective

import (
	"math"
	"math/rand/v2"

	"relaysweep/objective/internal/testlens"
	"testing"

	"pgregory.net/rapid"
)

// TestLeastRefined: no gaps and eye relief that keep the tolerances on vergence and
// magnification, by the matrix to the eye, make a train shorter than LeastRefined, and
// some come near it.
func TestLeastRefined(t *testing.T) {
	type trial struct {
		p     *Problem
		train *Train
		seed  uint64
	}
	kept, near := map[Layout]int{}, map[Layout]float64{}
	testlens.Examples(400, func(t *rapid.T) trial {
		p := use.DrawProblem(t)
		p.NearMissFactor = testlens.Between(t, "near miss factor", 1, 4)
		p.MagnificationTol = testlens.Between(t, "tolerance", 0.001, 0.05)
		train := use.DrawTrainFor(t, p, ErectorSingle, Keplerian)
		use.SkipHuge(t, train)
		return trial{p, train, rapid.Uint64().Draw(t, "seed")}
	}, func(i int, x trial) {
		p, start := x.p, x.train
		if start.Layout == Keplerian { // any magnification is drawn: take it for the one wanted
			p.Magnification = -start.AngularMagnification
		}
		least := p.LeastRefined(start)
		last := start.Groups[len(start.Groups)-1]
		atEye, _, ok := p.eyeRange(last.BFDMM)
		if !ok {
			if least != start.Length {
				t.Errorf("case %d: %v shorter where nothing is refined", i, start.Length-least)
			}
			return
		}
		r := rand.New(rand.NewPCG(x.seed, 9))
		within := func(range2 float64) float64 { return range2 * (2*r.Float64() - 1) }
		for k := range 400 {
			moved := *start
			moved.Gaps = append([]float64(nil), start.Gaps...)
			reliefs := p.reliefs()
			moved.EyeRelief = reliefs.Lo + (reliefs.Hi-reliefs.Lo)*r.Float64()
			// Gaps about those of given m' and ε, the ends of the tolerances among them.
			eps := within(1.3) * last.FocalMM * last.FocalMM * atEye
			turn := within(1.3) * (p.MagnificationTol + math.Abs(moved.EyeRelief-last.BFDMM)*atEye)
			if k%2 == 0 {
				eps = -math.Abs(eps)
			}
			end := len(moved.Gaps) - 1
			moved.Gaps[end] += eps
			if end > 0 {
				relay := start.Groups[1].FocalMM
				m := p.Magnification * last.FocalMM / start.Groups[0].FocalMM
				moved.Gaps[0] += relay/(m*(1+turn)) - relay/m
				moved.Gaps[end] += relay * m * turn
			}
			moved.Length = start.Length
			for g := range moved.Gaps {
				moved.Length += moved.Gaps[g] - start.Gaps[g]
			}
			m := p.EyeMatrix(&moved)
			at := moved.EyeRelief - p.CombinerShift() - last.BFDMM
			if math.Abs(m.A*m.C) > p.ResidualVergenceMax() || math.Abs(math.Abs(1/m.A)/p.Magnification-1) > p.MagnificationTol ||
				math.Abs(at)*atEye > eyeMost {
				continue
			}
			kept[start.Layout]++
			if moved.Length < least-BoundSlack {
				t.Errorf("case %d: %v mm, below %v", i, moved.Length, least)
			}
			if room := start.Length - least; room > 0 {
				near[start.Layout] = max(near[start.Layout], (start.Length-moved.Length)/room)
			}
		}
	})
	t.Logf("kept %v, nearest %v of the room", kept, near)
	for _, l := range []Layout{ErectorSingle, Keplerian} {
		if kept[l] < 5000 || near[l] < 0.9 {
			t.Errorf("%v: %d kept, nearest %v of the room: says little", l, kept[l], near[l])
		}
	}
}

// TestKappaShrinks: the least ratio of κ after refinement to κ over a range of m lies
// at an end of it.
func TestKappaShrinks(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		front := Box{F: Interval{Lo: testlens.Between(t, "front lo", 5, 100)}}
		front.F.Hi = front.F.Lo * testlens.Between(t, "front", 1, 3)
		rear := Box{F: Interval{Lo: testlens.Between(t, "rear lo", 5, 100)}, Sway: testlens.Between(t, "sway", 1e-6, 0.3)}
		rear.F.Hi = rear.F.Lo * testlens.Between(t, "rear", 1, 3)
		least := leastShrink(1.2, &front, &rear)
		for k := range 50 {
			s := float64(k) / 49
			m := 1.2 * (rear.F.Lo + (rear.F.Hi-rear.F.Lo)*s) / (front.F.Lo + (front.F.Hi-front.F.Lo)*(1-s))
			if ratio := leastKappa(swayed(m, rear.Sway)) / kappa(m); ratio < least*(1-1e-12) {
				t.Fatalf("m %v: ratio %v, below %v", m, ratio, least)
			}
		}
	})
}
