package thirdorder

import (
	"math"
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
)

// slopeCase is a train of random groups of the demo's lenses, and what bounds it.
type slopeCase struct {
	p      *objective.Problem
	train  *objective.Train
	groups []*Group
	relief float64
	screen *Screen
	bounds *Slopes
}

// slopeCases visits random cases.
func slopeCases(t *testing.T, n int, visit func(c *slopeCase, r *rand.Rand)) {
	tables, err := catalog.Load([]catalog.File{{Path: "../../testdata/demo/stock.csv", Shown: "stock.csv"}}, nil)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 5))
	lib := objective.NewLibrary(problemOf(), tables.Lenses)
	for visited := 0; visited < n; {
		p := *problemOf()
		p.VergenceFar, p.Magnification = 0, 0.8+0.5*r.Float64()
		p.MaskGlass, p.MaskGlassIndex, p.CombinerMM = 3*r.Float64(), 1.5, 4*r.Float64()
		p.SharpBox, p.RefocusMaxD, p.AccommodationD = 3*r.Float64(), 3*r.Float64(), 8*r.Float64()
		p.Limits.Max = map[string]float64{"view_blur_arcmin": 10 * r.Float64()}
		c := &slopeCase{p: &p, train: &objective.Train{Layout: objective.ErectorSingle, Seat: objective.Seat(r.IntN(int(objective.SeatCount)))}, relief: 10 + 50*r.Float64()}
		maker := NewMaker(&p)
		for len(c.groups) < 3 {
			elements := []*objective.Element{lib.Elements[r.IntN(len(lib.Elements))]}
			if r.IntN(2) == 0 {
				elements = append(elements, lib.Elements[r.IntN(len(lib.Elements))])
			}
			if g := p.NewGroup(elements...); g.FocalMM > 7 && g.FocalMM < 80 {
				c.train.Groups, c.groups = append(c.train.Groups, g), append(c.groups, maker.Group(g))
			}
		}
		if p.Assemble(c.train, 0) == objective.Focal {
			continue
		}
		c.screen = NewScreen(&p, []float64{0, 0.5, 0.7}, r.Float64(), 1.3)
		if c.bounds = c.screen.Slopes(); c.bounds == nil {
			t.Fatal("no bounds")
		}
		visit(c, r)
		visited++
	}
}

// ends are the parts of a case's ends, p and q.
func (c *slopeCase) ends() (front, rear End, p, q float64, ok bool) {
	i, j, k := c.train.Groups[0], c.train.Groups[1], c.train.Groups[2]
	front, first := c.bounds.Front(i, c.groups[0], c.train.Seat)
	rear, second := c.bounds.Rear(k, c.groups[2], c.train.Seat)
	theta := c.p.Magnification
	p = c.relief - c.p.CombinerShift() - k.BFDMM
	q = theta*theta*p - theta*i.FocalMM*k.FocalMM/j.FocalMM
	return front, rear, p, q, first && second
}

func point(x float64) objective.Interval { return objective.Interval{Lo: x, Hi: x} }

// TestSlopeIsTheScreens: parts of groups add up to the slope that the screen sees in a train, at every
// place of the pupil.
func TestSlopeIsTheScreens(t *testing.T) {
	slopeCases(t, 2000, func(c *slopeCase, _ *rand.Rand) {
		front, rear, p, q, ok := c.ends()
		j := c.train.Groups[1]
		relay, also := c.bounds.Relay(j, c.groups[1])
		if !ok || !also {
			return
		}
		w := 1/c.train.Groups[2].FocalMM + c.p.Magnification/c.train.Groups[0].FocalMM
		factors := c.bounds.Factors(point(w), point(1/c.train.Groups[2].FocalMM), point(p), point(j.FocalMM))
		least := [PlacesMost]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
		factors.Least(&relay, &least)
		f, fh := front.Least(q, q)
		r, rh := rear.Least(p, p)
		c.screen.Take(c.train, c.groups)
		c.screen.Exceeds(c.relief)
		size, way := c.screen.viewed()
		c.screen.setView(0, size, way)
		for i, h := range c.bounds.places {
			s := c.screen.wave.at(h, 0, c.bounds.field)
			want := s.slope(&c.screen.pupil) + c.screen.wave.meanColour
			got := f[i] + r[i] + w*j.FocalMM*(fh[i]+rh[i]) + least[i]
			if scale := math.Abs(f[i]) + math.Abs(r[i]) + math.Abs(least[i]) + 1e-3; math.Abs(got-want) > 1e-9*scale {
				t.Errorf("%v: slope %v, want %v", c.train.DesignID(), got, want)
			}
		}
	})
}

// TestSlopeTurnsAway: a train is turned away by its screen wherever a bound on its slope, over
// intervals about it of any width, exceeds the limit.
func TestSlopeTurnsAway(t *testing.T) {
	exceeding, turned := 0, 0
	slopeCases(t, 3000, func(c *slopeCase, r *rand.Rand) {
		front, rear, p, q, ok := c.ends()
		j := c.train.Groups[1]
		relay, also := c.bounds.Relay(j, c.groups[1])
		if !ok || !also {
			return
		}
		around := func(x, width float64) objective.Interval {
			return objective.Interval{Lo: x - width*r.Float64(), Hi: x + width*r.Float64()}
		}
		u := 1 / c.train.Groups[2].FocalMM
		w := u + c.p.Magnification/c.train.Groups[0].FocalMM
		ws, us, ps, fs := around(w, 0.05*w), around(u, 0.05*u), around(p, 2), around(j.FocalMM, 0.02*j.FocalMM)
		qs := around(q, 2)
		factors := c.bounds.Factors(ws, us, ps, fs)
		least := [PlacesMost]float64{math.Inf(1), math.Inf(1), math.Inf(1)}
		factors.Least(&relay, &least)
		f, fh := front.Least(qs.Lo, qs.Hi)
		k, kh := rear.Least(ps.Lo, ps.Hi)
		for i := range least {
			least[i] += f[i] + k[i] + ws.Lo*fs.Lo*(fh[i]+kh[i])
		}
		c.screen.Take(c.train, c.groups)
		away := c.screen.Exceeds(c.relief)
		if away {
			turned++
		}
		if c.bounds.Exceeds(&least) {
			if exceeding++; !away {
				t.Errorf("%v: the bound %v exceeds %v, and its screen lets it through", c.train.DesignID(), least, c.bounds.most)
			}
		}
	})
	if exceeding < 300 || exceeding == turned {
		t.Errorf("%d of %d trains that are turned away exceed a bound", exceeding, turned)
	}
	t.Logf("%d of %d trains that are turned away exceed a bound", exceeding, turned)
}
