package ideal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"testing"

	"pgregory.net/rapid"
)

var allSpaces = []objective.Space{
	{Layout: objective.Keplerian, Seat: objective.SeatRear}, {Layout: objective.ErectorSingle, Seat: objective.SeatRear}, {Layout: objective.ErectorSingle, Seat: objective.SeatFront}, {Layout: objective.ErectorPair, Seat: objective.SeatRear}, {Layout: objective.ErectorPair, Seat: objective.SeatFront},
}

// limitOf is the ideal limit of a problem.
func limitOf(t testing.TB, p *objective.Problem, spaces []objective.Space, apertureRatio float64, by objective.RankBy) Limit {
	t.Helper()
	ideal, err := Find(context.Background(), p, spaces, apertureRatio, by)
	if err != nil {
		t.Fatal(err)
	}
	return ideal
}

// endingContext ends when it has been asked so many times whether it has.
type endingContext struct {
	context.Context
	asked, ends int
}

func (c *endingContext) Err() error {
	if c.asked++; c.asked > c.ends {
		return context.Canceled
	}
	return nil
}

// TestIdealInterrupted ends the context while the first trains are looked for,
// while boxes are bounded, and while what stands in the way is looked for: the
// limit asks every box, and nothing is returned.
func TestIdealInterrupted(t *testing.T) {
	possible, impossible := testtrain.Problem(), testtrain.Problem()
	impossible.LengthMax = 40
	for name, p := range map[string]*objective.Problem{"possible": possible, "impossible": impossible} {
		whole := &endingContext{Context: context.Background(), ends: math.MaxInt}
		want, err := Find(whole, p, allSpaces[1:2], 0.8, objective.ByLength)
		if err != nil {
			t.Fatal(err)
		}
		if whole.asked < want.Boxes {
			t.Errorf("%s: asked %d times over %d boxes", name, whole.asked, want.Boxes)
		}
		for _, ends := range []int{0, 1, whole.asked / 3, whole.asked / 2, whole.asked - 1} {
			ctx := &endingContext{Context: context.Background(), ends: ends}
			got, err := Find(ctx, p, allSpaces[1:2], 0.8, objective.ByLength)
			if !errors.Is(err, context.Canceled) || got.Train != nil {
				t.Errorf("%s: ended when asked %d times, %v and %+v", name, ends, err, got)
			}
			// One more question at each place where the search is left, at most.
			if more := ctx.asked - ends; more > 2+int(objective.ViewpointShiftMM-objective.GapRoom) {
				t.Errorf("%s: ended when asked %d times, it asked %d times more", name, ends, more)
			}
		}
	}
}

// maskGapOf is the gap that holds the mask.
func maskGapOf(t *objective.Train) int {
	if t.Seat == objective.SeatFront {
		return 0
	}
	return len(t.Gaps) - 1
}

// traceThin takes a ray back from the eye, where it has height y and slope u,
// through thin lenses, with y' = y - d·u and u' = u + y/f (W. J. Smith, Modern
// Optical Engineering, 4th ed., 2008, Eqs. 3.16 and 3.17): heights at the groups,
// and slopes before each.
func traceThin(p *objective.Problem, t *objective.Train, y, u float64) (heights, before []float64) {
	heights, before = make([]float64, len(t.Groups)), make([]float64, len(t.Groups))
	d := t.EyeRelief - p.CombinerMM*(1-1/p.CombinerIndex)
	for k := len(t.Groups) - 1; k >= 0; k-- {
		y -= d * u
		u += y / t.Groups[k].FocalMM
		heights[k], before[k] = y, u
		if k > 0 {
			d = t.Gaps[k-1]
			if k-1 == maskGapOf(t) {
				d -= p.MaskGlass * (1 - 1/p.MaskGlassIndex)
			}
		}
	}
	return heights, before
}

// unknownsOf are the unknowns of a thin train as a case has them.
func unknownsOf(m *thinCase, t *objective.Train) (x [unknownCount]float64) {
	p := m.p
	gaps := append([]float64(nil), t.Gaps...)
	gaps[maskGapOf(t)] -= p.MaskGlass * (1 - 1/p.MaskGlassIndex)
	last := len(t.Groups) - 1
	a, b := t.Groups[0].FocalMM/p.Magnification, t.Groups[last].FocalMM
	heights, _ := traceThin(p, t, 0, 1)
	x[atE] = t.EyeRelief - p.CombinerMM*(1-1/p.CombinerIndex)
	switch {
	case m.space.Layout == objective.Keplerian:
		x[atA], x[atB] = t.Groups[0].FocalMM/b, b
	case m.space.Layout == objective.ErectorSingle:
		x[atA], x[atB], x[atInverseN] = a, b, b/(gaps[1]-b)
	case m.weak == bothStrong:
		x[atA], x[atB], x[atN1], x[atN2], x[atH] = a, b, gaps[0]/a-p.Magnification, gaps[2]/b-1, heights[0]
	default:
		x[atA], x[atB], x[atT1], x[atT2], x[atH] = 1/a, 1/b, gaps[0], gaps[2], heights[0]
	}
	return x
}

// thinBreach is by how much, at most, a thin train breaks any requirement, in
// the requirements' own units: traced ray by ray, with setpoints where a ray from
// the apparent point crosses the axis.
func thinBreach(p *objective.Problem, t *objective.Train, opening float64) float64 {
	worst := math.Inf(-1)
	most := func(x, limit float64) { worst = math.Max(worst, x-limit) }
	shiftMask, mask := p.MaskGlass*(1-1/p.MaskGlassIndex), maskGapOf(t)
	most(p.ReliefMin, t.EyeRelief)
	most(p.CombinerMM, t.EyeRelief)
	most(t.EyeRelief, p.ReliefMax)
	trace := func(y, u float64) (heights, before []float64) { return traceThin(p, t, y, u) }
	chief, chiefSlope := trace(0, 1)
	length := 0.0
	for i, gap := range t.Gaps {
		length += gap
		if i != mask {
			most(p.GroupGapMin, gap)
		}
	}
	most(length, p.LengthMax)
	r := p.PassingEdge()
	var places []float64
	for _, v := range []float64{p.VergenceFar, p.VergenceNear} {
		edge, slope := trace(1, v)
		for k, g := range t.Groups {
			most(math.Abs(chief[k])*p.TanMax+r*math.Abs(edge[k]), opening*math.Abs(g.FocalMM))
		}
		// Before the group behind the mask the ray comes from the axis x before
		// it: height = slope·x.
		x := edge[mask+1] / slope[mask+1]
		place := t.Gaps[mask] - shiftMask/2 - x
		places = append(places, place)
		keep := p.Clearance + p.MaskGlass/2
		most(keep, place)
		most(place, t.Gaps[mask]-keep)
		height := math.Abs(chief[mask+1] - x*chiefSlope[mask+1])
		most(height*2*p.TanHalfWidth, p.MaskWidth)
		most(height*2*p.TanHalfHeight, p.MaskHeight)
		most(math.Atan(p.MaskPixel/height)*180*60/math.Pi, p.Limits.Limit("pixel_arcmin"))
		// By how much the place moves with the vergence.
		const dv = 1e-7
		edge, slope = trace(1, v+dv)
		after := edge[mask+1] / slope[mask+1]
		edge, slope = trace(1, v-dv)
		before := edge[mask+1] / slope[mask+1]
		rate := math.Abs(after-before) / (2 * dv) / 1000
		if limit := p.Limits.Limit("depth_step_D"); !math.IsInf(limit, 1) {
			most((p.StageResolution/rate/limit-1)*1e-2, 0) // a difference is good to some 1e-6
		}
	}
	most(math.Abs(places[1]-places[0]), p.Travel)
	if limit := p.Limits.Limit("viewpoint_shift_mm"); !math.IsInf(limit, 1) {
		// In front of the train the chief ray has height y and slope u: it
		// crosses the axis y/u before the first group.
		most(math.Abs(length+t.EyeRelief+chief[0]/chiefSlope[0]), limit)
	}
	return worst
}

// drawIdealProblem draws a problem that some thin trains meet.
func drawThinProblem(t *rapid.T) *objective.Problem {
	p := testtrain.DrawProblem(t)
	p.Pupil, p.Box, p.Clearance = p.Pupil/2+0.5, p.Box/2, p.Clearance/2
	p.Travel *= 3
	p.MaskWidth, p.MaskHeight = 2*p.MaskWidth, 2*p.MaskHeight
	p.MagnificationTol = testlens.Between(t, "tolerance", 0, 0.2)
	if p.VergenceFar < p.VergenceNear {
		p.VergenceFar /= 3
	}
	if testlens.OneIn(t, "pixels", 3) {
		p.Limits.Max["pixel_arcmin"] = testlens.Between(t, "pixel limit", 0.5, 4)
	}
	if testlens.OneIn(t, "steps", 3) {
		p.Limits.Max["depth_step_D"] = testlens.Between(t, "step limit", 0.005, 0.05)
	}
	if testlens.OneIn(t, "viewpoint", 3) {
		p.Limits.Max["viewpoint_shift_mm"] = testlens.Between(t, "shift limit", 100, 400)
	}
	if testlens.OneIn(t, "short", 3) {
		p.LengthMax = testlens.Between(t, "length limit", 60, 400)
	}
	return p
}

// TestIdealModel holds the rows of requirements at points against the thin
// train traced ray by ray: one is met where the other is.
func TestIdealModel(t *testing.T) {
	met, broken := map[objective.Space]int{}, map[objective.Space]int{}
	type drawn struct {
		p     *objective.Problem
		space objective.Space
		by    objective.RankBy
		seed  uint64
	}
	testlens.Examples(250, func(t *rapid.T) drawn {
		by := rapid.SampledFrom([]objective.RankBy{objective.ByLength, objective.ByLengthToEye}).Draw(t, "by")
		return drawn{drawThinProblem(t), rapid.SampledFrom(allSpaces).Draw(t, "space"), by, rapid.Uint64().Draw(t, "seed")}
	}, func(c int, x drawn) {
		p := *x.p
		const opening = 0.6
		s := &boxSearch{cases: newThinCases(&p, x.space, opening, x.by)}
		r := rand.New(rand.NewPCG(x.seed, 1))
		if !s.finds(context.Background(), 10) {
			return
		}
		for k := range 60 {
			// Points around one that is met, so that both outcomes are common.
			m := s.cases[k%len(s.cases)]
			at := unknownsOf(m, s.best)
			for i := range m.n {
				if step := math.Pow(10, -1-float64(k%9)); i != atE && (i != atA || m.space.Layout != objective.Keplerian) {
					at[i] *= 1 + step*(2*r.Float64()-1)
				}
			}
			train, failed := m.train(&at)
			if failed == objective.Focal || failed == objective.Magnification {
				continue
			}
			train.EyeRelief = at[atE] + p.CombinerShift()
			if relay, ok := p.Relay(train); ok && relay.FocalMM > 1e4 {
				continue // its focal distances cancel
			}
			if x.space.Layout == objective.ErectorPair && train.Gaps[1] < 0.01 {
				continue // the powers are quotients of what vanishes
			}
			_, breach := s.point(m, &at)
			ranked := m.at(&box{at, at}, &s.rows).c
			if want := train.Ranked(x.by); math.Abs(ranked-want) > 1e-7*(1+want) {
				t.Errorf("case %d, %v: length %.9f, want %.9f", c, x.space, ranked, want)
			}
			switch direct := thinBreach(&p, train, opening); {
			case direct < -1e-7 && breach > reportMargin:
				t.Errorf("case %d, %v at %v: broken by %g, but all is met by %g", c, x.space, at, breach, -direct)
			case direct > 1e-7 && breach <= 0:
				t.Errorf("case %d, %v at %v: met, but something is broken by %g", c, x.space, at, direct)
			case direct < -1e-7:
				met[x.space]++
			case direct > 1e-7:
				broken[x.space]++
			}
		}
	})
	for _, space := range allSpaces {
		t.Logf("%v: %d met, %d broken", space, met[space], broken[space])
		if met[space] < 30 || broken[space] < 30 {
			t.Errorf("%v: %d met and %d broken say little", space, met[space], broken[space])
		}
	}
}

// farProblem has one depth, at infinity, so that the mask asks next to nothing.
func farProblem() *objective.Problem {
	p := testtrain.Problem()
	p.VergenceNear, p.DepthSteps, p.Clearance, p.GroupGapMin = 0, 1, 0.5, 0
	p.TanHalfWidth, p.TanHalfHeight, p.TanMax = 0.16, 0.12, 0.2
	p.MaskWidth, p.MaskHeight = 1000, 1000
	p.ReliefMin, p.ReliefMax = 0, 200
	return p
}

// TestIdealClosedForm holds the limit against minima found by hand. With one depth
// at infinity, T = tan θ_max, h half the aperture ratio and r the pupil's reach,
// the ends of the train ask e·T + r <= h·f_rear and H·T + r <= h·f_front.
//
// Keplerian, Θ = -1, f in both places: chief heights e and 2f - e. The larger
// is least at e = f, hence f·T + r = h·f and
//
//	L = 2r/(h - T);
//
// with e >= e0 beyond that f = (e0·T + r)/h.
//
// Single relay, Θ = 1: L = u + u²/σ with u = f_front + f_rear and
// σ = p - q = e - f_rear + H - f_front <= e - f_rear - r/T + A·f_front, A = h/T - 1. With
// S = √(h/T), dL/df_front = 0 gives σ = u·(S - 1); with the least f_rear = (e·T + r)/h
// the eye relief drops out: u = 2r/(T·S·(S - 1)) and
//
//	L = u·S/(S - 1) = 2r/(√h - √T)².
//
// The relay's chief height is 0 at e = r·S/(h - T·S), where it asks r <= h·u/4,
// met up to S = 2.
func TestIdealClosedForm(t *testing.T) {
	for _, c := range []struct {
		name      string
		space     objective.Space
		ratio     float64
		reliefMin float64
		want      float64
		focal     []float64
	}{
		{"keplerian", objective.Space{Layout: objective.Keplerian, Seat: objective.SeatRear}, 0.8, 0, 2 * 3 / (0.4 - 0.2), []float64{15, 15}},
		{"keplerian, relief", objective.Space{Layout: objective.Keplerian, Seat: objective.SeatRear}, 0.8, 40, 2 * (40*0.2 + 3) / 0.4, []float64{27.5, 27.5}},
		{"single", objective.Space{Layout: objective.ErectorSingle, Seat: objective.SeatRear}, 1, 0, 6 / math.Pow(math.Sqrt(0.5)-math.Sqrt(0.2), 2), nil},
		{"single, front", objective.Space{Layout: objective.ErectorSingle, Seat: objective.SeatFront}, 1, 0, 6 / math.Pow(math.Sqrt(0.5)-math.Sqrt(0.2), 2), nil},
		{"single, wider", objective.Space{Layout: objective.ErectorSingle, Seat: objective.SeatRear}, 1.4, 0, 6 / math.Pow(math.Sqrt(0.7)-math.Sqrt(0.2), 2), nil},
	} {
		p := farProblem()
		p.MagnificationTol = 0
		p.ReliefMin = c.reliefMin
		ideal := limitOf(t, p, []objective.Space{c.space}, c.ratio, objective.ByLength)
		// The search is asked for 0.1 %.
		if !ideal.Settled || ideal.BoundMM > c.want*(1+1e-9) || ideal.BoundMM < c.want*(1-2e-3) || math.Abs(ideal.ReachedMM/c.want-1) > 1e-3 {
			t.Errorf("%s: from %.6f to %.6f, settled %v, want %.6f", c.name, ideal.BoundMM, ideal.ReachedMM, ideal.Settled, c.want)
		}
		for i, f := range c.focal {
			if got := ideal.Train.Groups[i].FocalMM; math.Abs(got/f-1) > 2e-3 {
				t.Errorf("%s: focal length %d is %.4f, want %.4f", c.name, i, got, f)
			}
		}
	}
}

// TestIdealAgainstTrains: no thin train is shorter than the bound, whatever its
// focal lengths. Trains are drawn at random and around the shortest that was found, and
// solved by the model.
func TestIdealAgainstTrains(t *testing.T) {
	near, possible := 0, 0
	type drawn struct {
		p     *objective.Problem
		space objective.Space
		by    objective.RankBy
		ratio float64
		seed  uint64
	}
	testlens.Examples(40, func(t *rapid.T) drawn {
		by := rapid.SampledFrom([]objective.RankBy{objective.ByLength, objective.ByLengthToEye}).Draw(t, "by")
		space := rapid.SampledFrom(allSpaces).Draw(t, "space")
		return drawn{drawThinProblem(t), space, by, testlens.Between(t, "ratio", 0.4, 1.6), rapid.Uint64().Draw(t, "seed")}
	}, func(c int, x drawn) {
		p := x.p
		most := 500 // what is certified holds, however early the search ends
		if x.space.Layout != objective.ErectorPair {
			most = boxesMost
		}
		ideal := findWithin(context.Background(), p, []objective.Space{x.space}, x.ratio, x.by, most)
		if x.space.Layout != objective.ErectorPair && !ideal.Settled {
			t.Errorf("case %d, %v: not settled", c, x.space)
		}
		if ideal.Settled && ideal.Train != nil && ideal.BoundMM < ideal.ReachedMM*(1-1.001*settledShare) {
			t.Errorf("case %d: settled from %v to %v", c, ideal.BoundMM, ideal.ReachedMM)
		}
		if ideal.BoundMM > ideal.ReachedMM {
			t.Errorf("case %d: the bound %v is beyond a train of %v", c, ideal.BoundMM, ideal.ReachedMM)
		}
		if ideal.Train != nil {
			possible++
		}
		r := rand.New(rand.NewPCG(x.seed, 2))
		q := *p
		q.MagnificationTol += 1e-12
		for k := range 1000 {
			var focal []float64
			switch {
			case ideal.Train != nil && k%2 == 0:
				spread := 0.2 * math.Pow(r.Float64(), 2)
				for _, g := range ideal.Train.Groups {
					focal = append(focal, g.FocalMM*math.Exp(spread*r.NormFloat64()))
				}
			default:
				for range x.space.Layout.GroupNames() {
					focal = append(focal, 6*math.Exp(2.5*r.Float64()))
				}
				if x.space.Layout == objective.ErectorPair && k%5 == 0 {
					focal[1+k%2] *= -1
				}
			}
			if x.space.Layout == objective.Keplerian {
				focal[0] = p.Magnification * focal[1] * (1 + p.MagnificationTol*(2*r.Float64()-1))
			}
			train := &objective.Train{Layout: x.space.Layout, Seat: x.space.Seat}
			for _, f := range focal {
				train.Groups = append(train.Groups, objective.ThinGroup(f, x.ratio/2*math.Abs(f)))
			}
			if k%20 != 0 && x.space.Layout == objective.ErectorPair {
				// A gap at random costs less than the best one.
				if q.Solve(train, (focal[1]+focal[2])*r.Float64()) != objective.Met {
					continue
				}
			} else if q.SolveBest(train, x.by) != objective.Met {
				continue
			}
			if relay, ok := p.Relay(train); ok && relay.FocalMM > 1e6 {
				continue
			}
			if got := train.Ranked(x.by); got < ideal.BoundMM-1e-6 {
				t.Errorf("case %d, %v: focal lengths %v make %.6f, below the bound %.6f", c, x.space, focal, got, ideal.BoundMM)
				return
			} else if got < ideal.BoundMM*1.05 {
				near++
			}
		}
	})
	t.Logf("%d problems of 40 have a train; %d trains within 5 %% of the bound", possible, near)
	if possible < 15 || near < 500 {
		t.Errorf("only %d problems have a train and %d trains come near the bound", possible, near)
	}
}

// TestIdealEasier: a problem that asks less never has a longer limit.
func TestIdealEasier(t *testing.T) {
	ease := map[string]func(p *objective.Problem){
		"relief":       func(p *objective.Problem) { p.ReliefMin -= 5 },
		"relief max":   func(p *objective.Problem) { p.ReliefMax += 20 },
		"field":        func(p *objective.Problem) { p.TanMax *= 0.9; p.TanHalfWidth *= 0.9; p.TanHalfHeight *= 0.9 },
		"pupil":        func(p *objective.Problem) { p.Pupil *= 0.8 },
		"travel":       func(p *objective.Problem) { p.Travel *= 1.3 },
		"clearance":    func(p *objective.Problem) { p.Clearance /= 2 },
		"group gap":    func(p *objective.Problem) { p.GroupGapMin /= 2 },
		"mask":         func(p *objective.Problem) { p.MaskWidth *= 1.3; p.MaskHeight *= 1.3 },
		"near":         func(p *objective.Problem) { p.VergenceNear *= 0.8 },
		"pixel":        func(p *objective.Problem) { p.Limits.Max = map[string]float64{"pixel_arcmin": 2.5} },
		"everything":   func(p *objective.Problem) { p.Limits.Max = map[string]float64{} },
		"mask's glass": func(p *objective.Problem) { p.MaskGlass = 0 },
	}
	hard := testtrain.Problem()
	hard.Limits.Max["pixel_arcmin"] = 2
	hard.MaskGlass, hard.Clearance = 2, 8
	for _, space := range allSpaces[1:3] {
		for _, by := range []objective.RankBy{objective.ByLength, objective.ByLengthToEye} {
			before := limitOf(t, hard, []objective.Space{space}, 0.8, by)
			for name, change := range ease {
				p := *hard
				change(&p)
				after := limitOf(t, &p, []objective.Space{space}, 0.8, by)
				if !(after.ReachedMM <= before.ReachedMM*(1+settledShare)) || after.BoundMM > before.ReachedMM {
					t.Errorf("%v, easier %s: %.4f to %.4f, before %.4f to %.4f", space, name, after.BoundMM, after.ReachedMM, before.BoundMM, before.ReachedMM)
				}
			}
			if wider := limitOf(t, hard, []objective.Space{space}, 0.9, by); !(wider.ReachedMM <= before.ReachedMM*(1+settledShare)) {
				t.Errorf("%v: wider apertures make %.4f, before %.4f", space, wider.ReachedMM, before.ReachedMM)
			}
		}
	}
}

// TestIdealSpaces: of several spaces the shortest counts, and is named. A pair
// whose relay groups touch is a single relay of twice the aperture, so that a
// pair is never longer than a single relay by more than the gap that groups keep.
func TestIdealSpaces(t *testing.T) {
	p := testtrain.Problem()
	p.Limits.Max["pixel_arcmin"] = 2
	best := math.Inf(1)
	lengths := map[objective.Space]float64{}
	for _, space := range allSpaces[1:] {
		lengths[space] = findWithin(context.Background(), p, []objective.Space{space}, 0.7, objective.ByLength, 1000).ReachedMM
		best = math.Min(best, lengths[space])
	}
	all := findWithin(context.Background(), p, allSpaces[1:], 0.7, objective.ByLength, 2000)
	if math.Abs(all.ReachedMM/best-1) > settledShare {
		t.Errorf("together %v, alone %v", all.ReachedMM, lengths)
	}
	if named := (objective.Space{Layout: all.Train.Layout, Seat: all.Train.Seat}); math.Abs(lengths[named]/best-1) > settledShare {
		t.Errorf("%v is named, of %v", named, lengths)
	}
	for _, seat := range []objective.Seat{objective.SeatRear, objective.SeatFront} {
		if single, pair := lengths[objective.Space{Layout: objective.ErectorSingle, Seat: seat}], lengths[objective.Space{Layout: objective.ErectorPair, Seat: seat}]; !(pair < single) {
			t.Errorf("seat %v: single %v, pair %v", seat, single, pair)
		}
	}
}

// TestIdealImpossible: where nothing can be done, the requirements that stand in
// the way are named. A pixel within 2 arcmin needs 34.4 mm of focal length, whose
// setpoints over 4 D span 4.7 mm (see Conflicts).
func TestIdealImpossible(t *testing.T) {
	p := testtrain.Problem()
	p.Limits.Max["pixel_arcmin"] = 2
	p.Travel = 4
	for _, space := range allSpaces[1:4] {
		ideal := limitOf(t, p, []objective.Space{space}, 0.8, objective.ByLength)
		if !math.IsInf(ideal.BoundMM, 1) || !ideal.Settled || ideal.Train != nil {
			t.Fatalf("%v: %v to %v, settled %v", space, ideal.BoundMM, ideal.ReachedMM, ideal.Settled)
		}
		if got := fmt.Sprint(ideal.Without); got != "[travel pixel_arcmin]" {
			t.Errorf("%v: possible without %s", space, got)
		}
	}
	p = testtrain.Problem()
	p.LengthMax = 40
	if ideal := limitOf(t, p, allSpaces[1:2], 0.8, objective.ByLength); !math.IsInf(ideal.BoundMM, 1) || fmt.Sprint(ideal.Without) != "[length aperture]" {
		t.Errorf("40 mm: %v, possible without %v", ideal.BoundMM, ideal.Without)
	}
}

// BenchmarkIdeal finds the limit of the demo's field and stage.
func BenchmarkIdeal(b *testing.B) {
	for _, space := range []objective.Space{{Layout: objective.ErectorSingle, Seat: objective.SeatRear}, {Layout: objective.ErectorPair, Seat: objective.SeatRear}} {
		for _, by := range []objective.RankBy{objective.ByLength, objective.ByLengthToEye} {
			b.Run(fmt.Sprintf("%v/%d", space.Layout, by), func(b *testing.B) {
				p := testtrain.Problem()
				p.TanHalfWidth, p.TanHalfHeight = math.Tan(5*math.Pi/180), math.Tan(3.75*math.Pi/180)
				p.TanMax = math.Hypot(p.TanHalfWidth, p.TanHalfHeight)
				p.ReliefMax = 60
				p.Limits.Max["pixel_arcmin"] = 2
				boxes := 0
				for range b.N {
					ideal := limitOf(b, p, []objective.Space{space}, 0.9, by)
					if !ideal.Settled {
						b.Fatal("not settled")
					}
					boxes = ideal.Boxes
				}
				b.ReportMetric(float64(boxes), "boxes")
			})
		}
	}
}
