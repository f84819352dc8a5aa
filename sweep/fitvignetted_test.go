package sweep

import (
	"context"
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// TestWouldFitVignetted allows no loss of the pupil where some designs pass with a
// loss. What may be lost need not pass the apertures either: the value at which the
// search says that a first design would pass is held against specs that ask for
// one percentage after the other, each design of each judged by itself.
func TestWouldFitVignetted(t *testing.T) {
	compared := 0
	for c := 5001; c < 5400 && compared == 0; c++ {
		request, _ := smallCase(c)
		request.InnerSteps = 2
		s, lenses, good := rayCase(c)
		if !good || len(s.Train.Layouts) > 1 || s.Train.Layouts[0] != objective.ErectorSingle {
			continue
		}
		with := func(pct float64) *spec.Spec {
			asked := *s
			asked.Limits.VignettedPct = &pct
			return &asked
		}
		// The field is the one at which nothing passes whole.
		s.Field.WidthDeg, s.Field.HeightDeg = 1.5*s.Field.WidthDeg, 1.5*s.Field.HeightDeg
		o := (&Job{Spec: s}).options(s)
		passing := func(p *objective.Problem) []*objective.Train {
			var all []*objective.Train
			lib, checker := objective.NewLibrary(p, lenses), raycheck.NewChecker(p)
			secondmodel.Each(request, lenses, func(d secondmodel.Design) {
				if train := trainOf(lib, d); p.SolveBest(train, o.by) == objective.Met && checker.Check(train).FailedBy == "" {
					all = append(all, train)
				}
			})
			return all
		}
		if len(passing(with(0).Problem())) > 0 {
			continue
		}
		least := math.Inf(1)
		for pct := 5.0; pct <= 60; pct += 5 {
			if len(passing(with(pct).Problem())) > 0 {
				least = pct
				break
			}
		}
		if math.IsInf(least, 1) {
			continue
		}
		compared++
		t.Logf("case %d", c)
		asked := with(0)
		lib := objective.NewLibrary(asked.Problem(), lenses)
		at := slices.IndexFunc(relaxations(asked, lib), func(l relaxation) bool { return l.Name == "vignetted_pct" })
		if at < 0 {
			t.Fatal("nothing eases vignetted_pct")
		}
		got, err := relaxations(asked, lib)[at].fit(context.Background(), lib, (&Job{Spec: asked}).options(asked))
		if err != nil {
			t.Fatal(err)
		}
		if !got.found || got.value > least+2*resolution*100 {
			t.Errorf("case %d: vignetted_pct would fit at %+v, one by one at %v", c, got, least)
			continue
		}
		if !slices.ContainsFunc(passing(with(got.value).Problem()), func(train *objective.Train) bool {
			return math.Abs(train.Length-got.length) < 1e-6
		}) {
			t.Errorf("case %d: nothing of %v mm passes with vignetted_pct at %v", c, got.length, got.value)
		}
	}
	if compared == 0 {
		t.Error("no case was compared")
	}
}
