package sweep

import (
	"context"
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/sweep/internal/plain"
)

// TestWouldFit takes requests that some designs meet, tightens one requirement
// beyond all of them, and compares the value at which the search says that a
// first design would pass with the least that any design needs, each judged by
// itself.
func TestWouldFit(t *testing.T) {
	compared := map[string]int{}
	for c := 5000; c < 5400 && (compared["travel"] < 4 || compared["aperture"] < 2 || compared["mask_blur_arcmin"] < 3); c++ {
		request, _ := smallCase(c)
		request.InnerSteps = 2
		s, lenses, good := rayCase(c)
		if !good || len(s.Train.Layouts) > 1 || s.Train.Layouts[0] != objective.ErectorSingle || s.Depth.NearM == s.Depth.FarM {
			continue
		}
		passing := wholeRanking(t, s, request, lenses)
		var trains []*objective.Train
		own := objective.NewLibrary(s.Problem(), lenses)
		plain.Each(request, lenses, func(d plain.Design) { trains = append(trains, trainOf(own, d)) })
		if len(passing) == 0 {
			continue
		}
		// The least of each quantity that any passing design reaches, less a
		// fifth: then nothing passes.
		tight := *s
		switch c % 3 {
		case 0:
			least := math.Inf(1)
			checker := objective.NewChecker(s.Problem())
			for _, x := range passing {
				least = math.Min(least, checker.Measure(x.train).TravelMM)
			}
			tight.Stage.TravelMM = 0.8 * least
		case 1:
			tight.Field.WidthDeg, tight.Field.HeightDeg = 4*s.Field.WidthDeg, 4*s.Field.HeightDeg
		default:
			limit := *s.Limits.MaskBlurArcmin / 50
			tight.Limits.MaskBlurArcmin = &limit
		}
		lib := objective.NewLibrary(tight.Problem(), lenses)
		o := (&Job{Spec: &tight}).options(&tight)
		out, err := searchPoint(context.Background(), &tight, lib, o)
		if err != nil {
			t.Fatal(err)
		}
		if len(out.Found) > 0 {
			continue
		}
		name := []string{"travel", "aperture", "mask_blur_arcmin"}[c%3]
		got, want := out.Proof.WouldFit.Value[name], leastEasing(&tight, trains, lib.Problem, name, o.by)
		switch {
		case want == nil && got == nil:
		case got == nil:
			t.Errorf("case %d: no value of %s would fit, one by one %v would", c, name, *want)
		default:
			compared[name]++
			start := startOf(&tight, lib.Problem, name)
			// Found to a thousandth of the easing. It may be nearer than what
			// single designs were found to need: whether a design passes need
			// not change but once on the way.
			easing := math.Abs(*got - start)
			if want != nil && easing > math.Abs(*want-start)*(1+2*resolution)+1e-9 {
				t.Errorf("case %d: %s would fit at %v, one by one at %v", c, name, *got, *want)
			}
			length := out.Proof.WouldFit.Length[name]
			if !passesAt(&tight, trains, lib.Problem, name, *got, length, o.by) {
				t.Errorf("case %d: nothing of %v mm passes with %s at %v", c, length, name, *got)
			}
		}
	}
	t.Logf("compared: %v", compared)
	for _, name := range []string{"travel", "aperture", "mask_blur_arcmin"} {
		if compared[name] == 0 {
			t.Errorf("no case eased %s", name)
		}
	}
}

func startOf(s *Spec, p *objective.Problem, name string) float64 {
	for _, l := range levers(s, p) {
		if l.name == name {
			return l.start
		}
	}
	return p.Limits.Limit(name)
}

// leastEasing is the least easing that any design needs, each taken by itself.
func leastEasing(s *Spec, trains []*objective.Train, p *objective.Problem, name string, by objective.RankBy) *float64 {
	var best *float64
	for _, l := range levers(s, p) {
		if l.name != name {
			continue
		}
		nearest := l.eased
		for _, train := range trains {
			if l.passes(p, train, nearest, by) {
				nearest = l.least(p, train, nearest, by)
				best = &nearest
			}
		}
		return best
	}
	// A limit on a metric: the least that a design reaches that passes all else.
	lifted := *s
	lifted.Limits.MaskBlurArcmin = nil
	q := lifted.Problem()
	checker := objective.NewChecker(q)
	for _, train := range trains {
		if q.SolveBest(train, by) != objective.Met {
			continue
		}
		report := checker.Check(train)
		value, _ := report.Metrics.Value(name)
		value = math.Abs(value)
		if report.FailedBy == "" && !math.IsInf(value, 0) && (best == nil || value < *best) {
			best = &value
		}
	}
	return best
}

// passesAt tells whether a design of a length passes with a requirement or limit
// at a value.
func passesAt(s *Spec, trains []*objective.Train, p *objective.Problem, name string, value, length float64, by objective.RankBy) bool {
	for _, l := range levers(s, p) {
		if l.name == name {
			p = l.at(p, value)
		}
	}
	if name == "mask_blur_arcmin" {
		eased := *s
		eased.Limits.MaskBlurArcmin = &value
		p = eased.Problem()
	}
	return slices.ContainsFunc(trains, func(t *objective.Train) bool {
		u := objective.Train{Layout: t.Layout, Seat: t.Seat, Groups: t.Groups}
		return p.SolveBest(&u, by) == objective.Met && math.Abs(u.Length-length) < 1e-6 && objective.NewChecker(p).Check(&u).FailedBy == ""
	})
}
