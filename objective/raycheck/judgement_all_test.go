package raycheck

import (
	"math"
	"strings"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// bound is a row of TestJudgeAll: something that is asked of a train.
type bound struct {
	name, of string // of begins what the judgement is of
	atLeast  bool
	steps    float64                                                   // by which a value can change; 0 for any
	set      func(p *objective.Problem, t *objective.Train, x float64) // asks for x; nil where it is asked of any train
	rescaled bool                                                      // what is asked for follows from x, and is not x
}

// bounds are all that is asked of a train of one layout. Of the limits it lists what
// [MetricList] does.
func bounds(pair bool) []bound {
	type (
		problem = *objective.Problem
		train   = *objective.Train
	)
	all := []bound{
		{name: "focal", of: "focal length of the front", atLeast: true},
		{name: "focal", of: "focal length of the rear", atLeast: true},
		{name: "magnification", of: "off by", set: func(p problem, _ train, x float64) { p.MagnificationTol = x }},
		{name: "gap", of: "front to ", atLeast: true, rescaled: true, set: func(p problem, _ train, x float64) { p.GroupGapMin = x }},
		{name: "length", set: func(p problem, _ train, x float64) { p.LengthMax = x }},
		{name: "relief", atLeast: true, set: func(p problem, _ train, x float64) { p.ReliefMin = x }},
		{name: "relief", set: func(p problem, _ train, x float64) { p.ReliefMax = x }},
		// Asked for by how wide a field is shown, as a factor.
		{name: "aperture", rescaled: true, set: func(p problem, _ train, x float64) { p.TanMax *= max(1, x) }},
		{name: "clearance", atLeast: true, set: func(p problem, _ train, x float64) { p.Clearance = x }},
		{name: "travel", set: func(p problem, _ train, x float64) { p.Travel = x }},
		{name: "mask_size", of: "width", set: func(p problem, _ train, x float64) { p.MaskWidth = x }},
		{name: "mask_size", of: "height", set: func(p problem, _ train, x float64) { p.MaskHeight = x }},
		{name: "parts", of: "lenses", steps: 1, set: func(p problem, _ train, x float64) { p.LensesMax = int(x) }},
		{name: "parts", of: "different parts", steps: 1, set: func(p problem, _ train, x float64) { p.PartsMax = int(x) }},
		{name: "parts", of: "pieces of achromat-80", steps: 1, set: func(_ problem, t train, x float64) {
			for _, g := range t.Groups[1 : len(t.Groups)-1] {
				for _, e := range g.Elements {
					e.Lens.Stock = int(x)
				}
			}
		}},
		{name: "transmission_min", atLeast: true, set: func(p problem, _ train, x float64) { p.Limits.TransmissionMin = x }},
	}
	if pair {
		all = append(all,
			bound{name: "focal", of: "focal length of the " + objective.ErectorPair.GroupNames()[1] + ","},
			bound{name: "focal", of: "focal length of the " + objective.ErectorPair.GroupNames()[2] + ","},
			bound{name: "focal", of: "focal length of the pair", atLeast: true},
			bound{name: "gap", of: objective.ErectorPair.GroupNames()[1] + " to ", atLeast: true})
	} else {
		all = append(all, bound{name: "focal", of: "focal length of the relay", atLeast: true})
	}
	names := []string{"pixel_arcmin", "depth_step_D", "viewpoint_shift_mm"}
	for i, m := range MetricList {
		// Those of facets are judged in TestFacetLimits: this train has none.
		if m.Name != "transmission" && !metricIndex(i).ofFacets() {
			names = append(names, m.Name)
		}
	}
	for _, name := range names {
		all = append(all, bound{name: name, set: func(p problem, _ train, x float64) { p.Limits.Max[name] = x }})
	}
	return all
}

// judgedTrain is a train with something to measure in every respect, of which a pair of two
// achromats is the relay, or a stack of them.
func judgedTrain(t *testing.T, pair bool) (*objective.Problem, *objective.Train) {
	p := testtrain.Problem()
	p.MaskFill = 0.8
	p.TanMax, p.TanHalfWidth, p.TanHalfHeight = 0.7*p.TanMax, 0.7*p.TanHalfWidth, 0.7*p.TanHalfHeight
	lens := func(f, diameter float64) *catalog.Lens {
		l := testlens.Achromat(f, diameter)
		l.Price = 20
		return l
	}
	faceted := lens(40, 26)
	faceted.Surfaces[0].PitchMM, faceted.Surfaces[0].DraftDeg = 0.1, 3
	front, rear := testtrain.Group(p, []*catalog.Lens{faceted}), testtrain.Group(p, []*catalog.Lens{lens(40, 26)}, true)
	rear.Elements[0].Lens.ClearMM = 13.5 // takes from the pupil, but not its middle
	if !pair {
		train := testtrain.Upright(t, p, 20, front, testtrain.Group(p, []*catalog.Lens{lens(80, 30), lens(80, 30)}, true, false), rear)
		for _, e := range train.Groups[1].Elements {
			e.Part = 1
		}
		return p, train
	}
	train := &objective.Train{Layout: objective.ErectorPair, Seat: objective.SeatRear, Groups: []*objective.Group{
		front, testtrain.Group(p, []*catalog.Lens{lens(80, 30)}, true), testtrain.Group(p, []*catalog.Lens{lens(80, 30)}), rear,
	}}
	if failed := p.Assemble(train, 5); failed != objective.Met {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = rear.BFDMM + 20
	train.Groups[1].Elements[0].Part, train.Groups[2].Elements[0].Part = 1, 1
	return p, train
}

// TestJudgeAll: whatever is asked of a train is judged, once, with what is asked and by how
// much it is kept. Each requirement and limit is made a little too tight for the train in
// turn, with all others wide: it fails then, by that much, and nothing of another name does.
func TestJudgeAll(t *testing.T) {
	for _, pair := range []bool{false, true} {
		all := bounds(pair)
		judge := func(tight int, x float64) (*Report, []*Judgement) {
			p, train := judgedTrain(t, pair)
			p.Magnification *= 1.003 // what the train was laid out for is off by so much
			for i, b := range all {
				switch {
				case b.set == nil:
				case i == tight:
					b.set(p, train, x)
				case b.atLeast:
					b.set(p, train, 1e-6)
				case b.name == "aperture":
					b.set(p, train, 1e-6)
				default:
					b.set(p, train, 1e6)
				}
			}
			report, judgements := Judge(p, train)
			found := make([]*Judgement, len(all))
			for k := range judgements {
				j := &judgements[k]
				rows := 0
				for i, b := range all {
					if b.name == j.Name && b.atLeast == j.AtLeast && strings.HasPrefix(j.Of, b.of) {
						found[i] = j
						rows++
					}
				}
				if rows != 1 {
					t.Errorf("%s, %s: %d rows of this test", j.Name, j.Of, rows)
				}
			}
			return report, found
		}
		report, wide := judge(-1, 0)
		if report.FailedBy != "" {
			t.Fatalf("a train of which next to nothing is asked fails by %s", report.FailedBy)
		}
		judged := map[string]bool{}
		for i, b := range all {
			if wide[i] == nil {
				t.Fatalf("%s, %s is not judged", b.name, b.of)
			}
			judged[b.name] = true
			if b.set == nil {
				continue
			}
			if value, ok := report.Metrics.Value(b.name); ok && math.Abs(value) != wide[i].Reached {
				t.Errorf("%s is %v, judged as %v", b.name, value, wide[i].Reached)
			}
			reached := wide[i].Reached
			x := 0.99 * reached
			switch {
			case reached == 0: // facets that are not seen
				x = -1e-3
			case b.name == "aperture":
				x = 1.06 * wide[i].Asked / reached // the pupil's share of the height stays
			case b.steps > 0:
				x = reached - b.steps
			case b.atLeast:
				x = 1.01 * reached
			}
			narrow, tight := judge(i, x)
			for k, j := range tight {
				if j == nil || all[k].name != b.name && j.Fails || k == i && !j.Fails {
					t.Errorf("%s of %v: %s is judged as %+v", b.name, x, all[k].name, j)
				}
			}
			if narrow.FailedBy != b.name {
				t.Errorf("%s of %v: fails by %q", b.name, x, narrow.FailedBy)
			}
			if j := tight[i]; j != nil {
				if !b.rescaled && j.Asked != x {
					t.Errorf("%s, %s: asked %v, judged against %v", b.name, b.of, x, j.Asked)
				}
				margin := j.Asked - j.Reached
				if b.atLeast {
					margin = j.Reached - j.Asked
				}
				if !(margin < 0) || j.Margin() != margin {
					t.Errorf("%s, %s: reached %v, asked %v, margin %v", b.name, b.of, j.Reached, j.Asked, j.Margin())
				}
			}
		}
		for r := objective.Requirement(0); r <= objective.LastRequirement; r++ {
			if !judged[r.String()] {
				t.Errorf("%v has no row in this test", r)
			}
		}
	}
}
