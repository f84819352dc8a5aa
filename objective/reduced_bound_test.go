package objective

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
)

// spaceTrial is a small space: groups for every place.
type spaceTrial struct {
	p      *Problem
	seat   Seat
	fronts []Front
	rears  []Rear
	groups []*Group // of relays
	seed   uint64
}

// drawSpace draws a space of a layout in which some trains serve.
func drawSpace(layout Layout, relays int) func(t *rapid.T) spaceTrial {
	draw := drawJudged(layout)
	return func(t *rapid.T) spaceTrial {
		x := draw(t)
		s := spaceTrial{p: x.p, seat: x.train.Seat, seed: rapid.Uint64().Draw(t, "seed")}
		switch rapid.IntRange(0, 3).Draw(t, "tight") {
		case 1: // relays whose apertures the pupil fills
			s.p.Pupil, s.p.Box = testlens.Between(t, "large pupil", 4, 20), 0
			s.p.TanHalfWidth, s.p.TanHalfHeight, s.p.TanMax = s.p.TanHalfWidth/20, s.p.TanHalfHeight/20, s.p.TanMax/20
		case 2: // trains as short as the mask's room allows
			s.p.Clearance = testlens.Between(t, "large clearance", 10, 40)
		case 3: // or as the other gap does
			s.p.GroupGapMin = testlens.Between(t, "large gap", 10, 60)
		}
		if testlens.OneIn(t, "refined", 2) {
			s.p.NearMissFactor = testlens.Between(t, "near miss factor", 1, 4)
		}
		if layout == Keplerian {
			s.p.MagnificationTol = testlens.Between(t, "tolerance", 0.001, 0.5)
		}
		ends := []*Group{x.train.Groups[0], x.train.Groups[len(x.train.Groups)-1]}
		for range 4 {
			ends = append(ends, use.DrawGroup(t, s.p, "end", testlens.Between(t, "end f", 25, 80)))
		}
		for _, g := range ends {
			if front, ok := s.p.NewFront(g, s.seat, LastRequirement); ok {
				s.fronts = append(s.fronts, front)
			}
			if rear, ok := s.p.NewRear(g, s.seat, LastRequirement); ok {
				s.rears = append(s.rears, rear)
			}
		}
		if len(s.fronts) == 0 || len(s.rears) == 0 {
			t.Skip("no ends")
		}
		for i := range relays {
			focal := testlens.Between(t, "relay f", 15, 90)
			if layout == ErectorPair && i%3 == 2 {
				focal = -focal
			}
			if layout == ErectorPair && i >= 5 { // weak groups of either sign
				focal *= 4 * (1 + 40*testlens.Between(t, "weak", 0, 1)*testlens.Between(t, "weaker", 0, 1))
			}
			s.groups = append(s.groups, use.DrawGroup(t, s.p, "relay", focal))
		}
		return s
	}
}

// at is a box's address.
func at(b Box) *Box { return &b }

// boxOf draws a subset of the ends with the box around it.
func boxOf[T any](r *rand.Rand, all []T, box func(x *T) Box) (subset []int, around Box) {
	for i := range all {
		if r.IntN(2) == 0 {
			subset = append(subset, i)
		}
	}
	if len(subset) == 0 {
		subset = []int{r.IntN(len(all))}
	}
	around = box(&all[subset[0]])
	for _, i := range subset[1:] {
		next := box(&all[i])
		around = around.Around(&next)
	}
	return subset, around
}

// TestRelayTable: for random boxes of fronts and of rears no train that meets
// its requirements is shorter than Bound, its relay's focal length lies in the
// range that Bound gives, its relay's MaxEndPower lets it pass, and Scan
// visits it when it is short enough, with its length.
func TestRelayTable(t *testing.T) {
	met, sharp, farApart := 0, math.Inf(1), 0
	testlens.Examples(250, drawSpace(ErectorSingle, 12), func(i int, s spaceTrial) {
		p := s.p
		var relays []Relay
		for _, g := range s.groups {
			if r, ok := p.NewRelay(g); ok {
				relays = append(relays, r)
			}
		}
		table := NewRelayTable(p, relays)
		if !slices.IsSortedFunc(table.relays, func(a, b Relay) int { return cmp.Compare(a.F, b.F) }) {
			t.Errorf("case %d: relays out of order", i)
		}
		// The lengths of all that serve, by front, rear and relay.
		lengths := map[[3]int]float64{}
		for a := range s.fronts {
			for b := range s.rears {
				front, rear := &s.fronts[a], &s.rears[b]
				_, range1 := table.Bound(at(front.Box()), at(rear.Box()))
				seen := map[*Group]float64{}
				limit := 150 + 200*rand.New(rand.NewPCG(s.seed, 4)).Float64()
				last := 0.0
				table.Scan(front, rear, range1, limit, func(_ int, r *Relay, length float64) bool {
					if r.F < last || length > limit {
						t.Errorf("case %d: Scan visits f %v after %v, length %v with limit %v", i, r.F, last, length, limit)
					}
					last = r.F
					seen[r.Group] = length
					return true
				})
				for j := range table.relays {
					relay := &table.relays[j]
					train := &Train{Layout: ErectorSingle, Seat: s.seat, Groups: []*Group{front.Group, relay.Group, rear.Group}}
					failed := p.Solve(train, 0)
					if failed == Focal {
						t.Fatalf("case %d: %v", i, failed)
					}
					if length, ok := seen[relay.Group]; ok {
						testlens.CloseTo(t, "length by Scan", length, p.LeastRefined(train), 1000)
					}
					if failed != Met {
						continue
					}
					met++
					least := p.LeastRefined(train)
					lengths[[3]int{a, b, j}] = least
					if h := 1/rear.F + p.Magnification/front.F; relay.MaxEndPower < h*(1-1e-9) {
						t.Errorf("case %d: %s is met with a Reach of %v, below %v", i, train.DesignID(), relay.MaxEndPower, h)
					}
					if _, ok := seen[relay.Group]; !ok && least < limit-BoundSlack {
						t.Errorf("case %d: Scan to %v passes over %s, %v long", i, limit, train.DesignID(), train.Length)
					}
				}
			}
		}
		r := rand.New(rand.NewPCG(s.seed, 5))
		for range 20 {
			fronts, frontBox := boxOf(r, s.fronts, (*Front).Box)
			rears, rearBox := boxOf(r, s.rears, (*Rear).Box)
			bound, range1 := table.Bound(&frontBox, &rearBox)
			if math.IsInf(bound, 1) {
				farApart++
			}
			for key, length := range lengths {
				if !slices.Contains(fronts, key[0]) || !slices.Contains(rears, key[1]) {
					continue
				}
				sharp = math.Min(sharp, length-bound)
				if length < bound-BoundSlack {
					t.Errorf("case %d: a train of %v mm in boxes of bound %v", i, length, bound)
				}
				if f := table.relays[key[2]].F; f < range1.Lo*(1-1e-9) || f > range1.Hi*(1+1e-9) {
					t.Errorf("case %d: a relay of %v mm serves, outside of %v", i, f, range1)
				}
			}
		}
	})
	t.Logf("%d trains met, %d pairs of boxes without any, bound within %.3g mm", met, farApart, sharp)
	if met < 500 || farApart == 0 || sharp > 1 {
		t.Error("too few cases to say anything")
	}
}

// TestMaxEndPower: the pupil-edge ray of vergence 0 stands at the relay's surfaces
// at the height from which MaxEndPower follows.
func TestMaxEndPower(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := use.DrawProblem(t)
		train := use.DrawTrainFor(t, p, ErectorSingle)
		use.SkipHuge(t, train)
		relay, ok := p.NewRelay(train.Groups[1])
		if !ok {
			t.Fatal("a positive group is no relay")
		}
		front, rear := train.Groups[0].FocalMM, train.Groups[2].FocalMM
		planes := use.PlanesOf(p, train, 0)
		heights, _, _ := testlens.TraceBackThrough(planes, 1, 0)
		// The relay's surfaces among the planes, from the eye to the world.
		var at []int
		surfaces := func(g *Group) (n int) {
			for _, e := range g.Elements {
				n += len(e.Surfaces)
			}
			return n
		}
		for i := range slices.Backward(planes) {
			if planes[i].Clear > 0 {
				at = append(at, i)
			}
		}
		at = at[surfaces(train.Groups[2]):][:surfaces(train.Groups[1])]
		for i, row := range relay.rows {
			want := -((row.A*relay.Group.BFDMM-row.B)/rear + row.A*relay.F*p.Magnification/front)
			testlens.CloseTo(t, "edge height", heights[at[i]], want, use.TrainScale(train))
		}
	})
}

// TestMaxEndPowerBound: no front and rear with 1/f_rear + Θ/f_front above a relay's
// MaxEndPower leave an eye relief at which its apertures pass; for a thin relay the
// bound is met with nothing to spare, also where the vergence of the far end
// lets the pupil-edge ray of vergence 0 pass outside of the aperture.
func TestMaxEndPowerBound(t *testing.T) {
	loose, passed := 0, 0
	testlens.Examples(600, func(t *rapid.T) spaceTrial {
		p := use.DrawProblem(t)
		if rapid.Bool().Draw(t, "small field") { // r·V > tan θ at the far end
			p.TanMax = testlens.Between(t, "tan", 0.1, 1) * p.PassingEdge() * (p.VergenceFar + 1e-5)
		}
		g := use.DrawGroup(t, p, "relay", testlens.Between(t, "f", 20, 80))
		if rapid.Bool().Draw(t, "thin") {
			g = use.Group(p, []*catalog.Lens{testlens.Thin(testlens.Between(t, "f thin", 20, 80))})
		}
		return spaceTrial{p: p, groups: []*Group{g}, seed: rapid.Uint64().Draw(t, "seed")}
	}, func(i int, s spaceTrial) {
		p := s.p
		relay, ok := p.NewRelay(s.groups[0])
		if !ok || math.IsInf(relay.MaxEndPower, 1) {
			return
		}
		if p.PassingEdge()*p.VergenceFar > p.TanMax {
			loose++
		}
		r := rand.New(rand.NewPCG(s.seed, 8))
		passes := func(a, b, place float64) bool { // a = 1/f_rear, b = Θ/f_front
			for _, row := range relay.rows {
				edge := -((row.A*relay.Group.BFDMM-row.B)*a + row.A*relay.F*b)
				chief := row.A/a + place*edge
				used := math.Max(math.Abs(edge+p.VergenceFar*chief), math.Abs(edge+p.VergenceNear*chief))
				if math.Abs(chief)*p.TanMax+p.PassingEdge()*used > row.clear {
					return false
				}
			}
			return true
		}
		for range 50 {
			share := r.Float64()
			some := false
			for _, over := range [2]float64{1 + 1e-9, 1 - 1e-3} {
				a, b := relay.MaxEndPower*share*over, relay.MaxEndPower*(1-share)*over
				// The places of the eye that the first surface lets through.
				row := relay.rows[0]
				edge := -((row.A*relay.Group.BFDMM-row.B)*a + row.A*relay.F*b)
				at := Everything
				p.clipAperture(&at, edge, row.A/a, edge, row.clear+1e-6)
				if at.Empty() || math.IsInf(at.Lo, 0) || math.IsInf(at.Hi, 0) {
					continue
				}
				for k := range 101 {
					if !passes(a, b, at.Lo+(at.Hi-at.Lo)*float64(k)/100) {
						continue
					}
					if over > 1 {
						t.Errorf("case %d: the apertures pass beyond the Reach %v, at 1/f_rear %v and Θ/f_front %v", i, relay.MaxEndPower, a, b)
					}
					some = true
				}
			}
			if some {
				passed++
			}
		}
	})
	t.Logf("%d relays with a loose bound; just inside the Reach %d pass", loose, passed)
	if loose < 100 || passed < 1000 {
		t.Error("too few cases to say anything")
	}
}

// TestMaskBesideEnds: a rear's interval of p, or a front's of q, holds just
// those places of the eye at which the mask's glass keeps its clearance from
// that group: with a clearance a little less than the room there is, and not
// with a little more.
func TestMaskBesideEnds(t *testing.T) {
	inside, outside := map[Seat]int{}, map[Seat]int{}
	testlens.Examples(600, func(t *rapid.T) judged {
		p := use.DrawProblem(t)
		p.Clearance, p.ReliefMax = 0, 1e6
		p.ReliefMin = 0
		p.Pupil, p.Box, p.TanMax = 0, 0, 1e-12 // no aperture limits
		train := use.DrawTrainFor(t, p, ErectorSingle)
		use.SkipHuge(t, train)
		return judged{p, train}
	}, func(i int, x judged) {
		train := x.train
		lo, hi := x.p.MaskRoom(train, train.MaskGap())
		_, sign := x.p.PlaceMask(train, train.MaskGap(), 0)
		for k := range 40 {
			p := *x.p
			train.EyeRelief = p.CombinerMM + 0.1 + 7.3*float64(k)
			room := math.Inf(1)
			for _, v := range [3]float64{p.VergenceFar, (p.VergenceFar + p.VergenceNear) / 2, p.VergenceNear} {
				mask, chief := p.PlaceMask(train, train.MaskGap(), v)
				switch {
				case chief*sign <= 0:
					room = math.Inf(-1)
				case train.Seat == SeatRear:
					room = math.Min(room, hi-mask)
				default:
					room = math.Min(room, mask-lo)
				}
			}
			for _, spare := range [2]float64{0.02, -0.02} {
				if !math.IsInf(room, 0) {
					p.Clearance = room - spare
				}
				front, okFront := p.NewFront(train.Groups[0], train.Seat, Clearance)
				rear, okRear := p.NewRear(train.Groups[2], train.Seat, Clearance)
				eye := train.EyeRelief - p.CombinerShift() - train.Groups[2].BFDMM
				in := okRear && rear.P.Lo <= eye && eye <= rear.P.Hi
				if train.Seat == SeatFront {
					q := p.Viewpoint(train) + train.Groups[0].FFDMM
					in = okFront && front.Q.Lo <= q && q <= front.Q.Hi
				}
				want := spare > 0 && !math.IsInf(room, -1)
				if want {
					inside[train.Seat]++
				} else {
					outside[train.Seat]++
				}
				if in != want {
					t.Errorf("case %d: %v seat, %v to spare at e = %v: in %v of P, %v of Q: %v", i, train.Seat, spare, train.EyeRelief, rear.P, front.Q, in)
					return
				}
			}
		}
	})
	for _, seat := range []Seat{SeatFront, SeatRear} {
		if inside[seat] < 1000 || outside[seat] < 1000 {
			t.Errorf("%v seat: %d inside, %d outside", seat, inside[seat], outside[seat])
		}
	}
}

// TestKeplerianBound: no keplerian of two boxes is shorter, and boxes without
// the magnification hold none.
func TestKeplerianBound(t *testing.T) {
	met, none := 0, 0
	testlens.Examples(500, drawSpace(Keplerian, 0), func(i int, s spaceTrial) {
		r := rand.New(rand.NewPCG(s.seed, 6))
		for range 10 {
			fronts, frontBox := boxOf(r, s.fronts, (*Front).Box)
			rears, rearBox := boxOf(r, s.rears, (*Rear).Box)
			bound := s.p.KeplerianBound(&frontBox, &rearBox)
			if math.IsInf(bound, 1) {
				none++
			}
			for _, a := range fronts {
				for _, b := range rears {
					front, rear := &s.fronts[a], &s.rears[b]
					train := &Train{Layout: Keplerian, Seat: SeatRear, Groups: []*Group{front.Group, rear.Group}}
					if failed := s.p.Assemble(train, 0); failed != Met {
						continue
					}
					met++
					least := s.p.LeastRefined(train)
					if least < bound-BoundSlack {
						t.Errorf("case %d: a train of %v mm in boxes of bound %v", i, least, bound)
					}
					single := s.p.KeplerianBound(at(front.Box()), at(rear.Box()))
					testlens.CloseTo(t, "bound of one train", single, least, 1000)
				}
			}
		}
	})
	if met < 500 || none < 100 {
		t.Errorf("%d trains and %d boxes without any: too few", met, none)
	}
}

// TestPairBound: every train with a pair relay, at its best inner gap, is at
// least as long as its own bound, and as that of any four boxes that hold its
// parts.
func TestPairBound(t *testing.T) {
	met, sharp, counts := 0, math.Inf(1), map[[2]ComponentClass]int{}
	testlens.Examples(60, drawSpace(ErectorPair, 9), func(i int, s spaceTrial) {
		p := s.p
		r := rand.New(rand.NewPCG(s.seed, 7))
		var halves []PairComponentRows
		var boxes []Box
		var classes []ComponentClass
		for _, g := range s.groups {
			halves = append(halves, NewPairComponentRows(g))
			h := PairComponentOf(g, 0)
			boxes, classes = append(boxes, h.Box()), append(classes, h.Class())
		}
		lengths := map[[4]int]float64{}
		for a := range s.fronts {
			for b := range s.rears {
				front, rear := &s.fronts[a], &s.rears[b]
				for j := range halves {
					for k := range halves {
						pair, ok := p.NewPairTrain(s.seat, front, &halves[j], &halves[k], rear)
						train := &Train{Layout: ErectorPair, Seat: s.seat, Groups: []*Group{front.Group, s.groups[j], s.groups[k], rear.Group}}
						byName := *train
						if failed := p.SolvePair(&byName, ByLength); failed != Met {
							if ok && pair.Solve(train, ByLength) == Met {
								t.Errorf("case %d: %s is solved, and fails %v", i, train.DesignID(), failed)
							}
							continue
						}
						if !ok || pair.Solve(train, ByLength) != Met || train.Length != byName.Length {
							t.Fatalf("case %d: %s is %v long by name, %v solved", i, train.DesignID(), byName.Length, train.Length)
						}
						met++
						least := pair.Least()
						lengths[[4]int{a, j, k, b}] = least
						both := [2]ComponentClass{classes[j], classes[k]}
						counts[both]++
						frontBox, rearBox := front.Box(), rear.Box()
						box := p.PairBound(s.seat, [4]*Box{&frontBox, &boxes[j], &boxes[k], &rearBox}, train.Length)
						if p.LeastRefined(train) < least-BoundSlack || box > least+BoundSlack {
							t.Errorf("case %d: %s is %v long, its bound %v, that of its box %v", i, train.DesignID(), train.Length, least, box)
						}
						sharp = math.Min(sharp, train.Length-box)
					}
				}
			}
		}
		for range 40 {
			fronts, frontBox := boxOf(r, s.fronts, (*Front).Box)
			rears, rearBox := boxOf(r, s.rears, (*Rear).Box)
			var held [2][]int
			var box [2]Box
			var both [2]ComponentClass
			for n := range held {
				both[n] = ComponentClass(r.IntN(int(ComponentClasses)))
				for j := range halves {
					if classes[j] == both[n] && r.IntN(4) > 0 {
						if len(held[n]) == 0 {
							box[n] = boxes[j]
						}
						held[n], box[n] = append(held[n], j), box[n].Around(&boxes[j])
					}
				}
			}
			if len(held[0]) == 0 || len(held[1]) == 0 {
				continue
			}
			for key, length := range lengths {
				if slices.Contains(fronts, key[0]) && slices.Contains(held[0], key[1]) &&
					slices.Contains(held[1], key[2]) && slices.Contains(rears, key[3]) {
					bound := p.PairBound(s.seat, [4]*Box{&frontBox, &box[0], &box[1], &rearBox}, length+5*r.Float64())
					if length < bound-BoundSlack {
						t.Errorf("case %d: a train of %v mm in boxes of bound %v (%v)", i, length, bound, both)
					}
				}
			}
		}
	})
	t.Logf("%d trains met, bound within %.3g mm, by classes %v", met, sharp, counts)
	if len(counts) < 6 || met < 300 || sharp > 5 {
		t.Error("too few cases to say anything")
	}
}

// TestMixedBound: with the inner gap given, the bound for a strong and a weak group
// is the train's length.
func TestMixedBound(t *testing.T) {
	counts := [2]int{}
	testlens.Examples(300, drawSpace(ErectorPair, 7), func(i int, s spaceTrial) {
		p := *s.p
		for _, first := range s.groups {
			for _, second := range s.groups {
				h1, h2 := PairComponentOf(first, 0), PairComponentOf(second, 0)
				strong := -1
				switch classes := [2]ComponentClass{h1.Class(), h2.Class()}; classes {
				case [2]ComponentClass{Converging, Weak}:
					strong = 0
				case [2]ComponentClass{Weak, Converging}:
					strong = 1
				}
				if strong < 0 || len(s.fronts) == 0 || len(s.rears) == 0 {
					continue
				}
				front, rear := &s.fronts[0], &s.rears[0]
				gap := 2 + float64(i%20)
				train := &Train{Layout: ErectorPair, Seat: s.seat, Groups: []*Group{front.Group, first, second, rear.Group}}
				if p.Solve(train, gap) == Focal {
					continue
				}
				relay := p.relayOf(train, gap)
				if !positive(relay.FocalMM) || train.Length == 0 {
					continue
				}
				m := p.Magnification * rear.F / front.F
				length := front.ToFocus + rear.FromFocus + hiatusOf(&relay) + (2+m+1/m)*relay.FocalMM + p.MaskShift()
				boxes := [4]Box{front.Box(), h1.Box(), h2.Box(), rear.Box()}
				x := strongFirst(&boxes[0], &boxes[1], &boxes[2], &boxes[3])
				x.m = Interval{m, m}
				if strong == 1 {
					x = strongSecond(&boxes[0], &boxes[1], &boxes[2], &boxes[3])
					x.m = Interval{1 / m, 1 / m}
				}
				x.focal = Interval{0, math.Inf(1)}
				x.gapNear, x.gapFar = -1e4, 0
				p.GroupGapMin = gap
				limit := gap + x.gapNear + first.ThicknessMM + second.ThicknessMM + 1e-9
				if bound := p.mixedBound(&x, limit); math.Abs(bound-length) > 1e-6*(1+length) {
					t.Errorf("case %d: length %v, bound %v (strong group %d)", i, length, bound, strong)
				}
				counts[strong]++
			}
		}
	})
	t.Logf("%v trains", counts)
	if min(counts[0], counts[1]) < 50 {
		t.Error("too few cases to say anything")
	}
}

// TestReducedIntervals: the interval of p of a rear, and of q of a front, holds
// the place of the eye of every train of it that meets all requirements.
func TestReducedIntervals(t *testing.T) {
	met := 0
	testlens.Examples(2000, drawJudged(ErectorSingle), func(i int, x judged) {
		p := x.p
		relief, failed := p.Judge(x.train)
		if failed != Met {
			return
		}
		met++
		front, okFront := p.NewFront(x.train.Groups[0], x.train.Seat, LastRequirement)
		rear, okRear := p.NewRear(x.train.Groups[2], x.train.Seat, LastRequirement)
		if !okFront || !okRear {
			t.Errorf("case %d: a group of %s can't serve", i, x.train.DesignID())
			return
		}
		for _, e := range [2]float64{relief.Lo, relief.Hi} {
			x.train.EyeRelief = e
			at := e - p.CombinerShift() - rear.Group.BFDMM
			q := p.Viewpoint(x.train) + front.Group.FFDMM
			if at < rear.P.Lo-reliefSlack || at > rear.P.Hi+reliefSlack {
				t.Errorf("case %d: p = %v, outside of %v", i, at, rear.P)
			}
			if q < front.Q.Lo-reliefSlack || q > front.Q.Hi+reliefSlack {
				t.Errorf("case %d: q = %v, outside of %v", i, q, front.Q)
			}
		}
	})
	if met < 100 {
		t.Errorf("only %d trains met", met)
	}
}
