package sweep

import (
	"math"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// TestThirdScreenIsRight: a train is turned away by third-order sums exactly where its estimates
// exceed a limit at every eye relief at which it would be screened, whoever asked before; and
// rays would turn away nearly all of these trains, too.
func TestThirdScreenIsRight(t *testing.T) {
	trains, turned, leaks := 0, 0, 0
	for c := 3000; turned < 1000 && c < 3200; c++ {
		s, _, lenses, good := refinedCase(c)
		if !good || s.Limits.ViewBlurArcmin == nil {
			continue
		}
		p := s.Problem()
		p.Limits.Max = map[string]float64{"view_blur_arcmin": *s.Limits.ViewBlurArcmin}
		lib := objective.NewLibrary(p, lenses)
		all, _ := walkAll(t, unrefinedSpec(s), lenses, 2, 0)
		const factor = 0.8
		first, again := newThirdScreen(p, 1, factor).take(), newThirdScreen(p, 1, factor).take()
		maker := thirdorder.NewMaker(p)
		estimator := thirdorder.NewEstimator(p, raycheck.FieldSamples(p), 1000*p.ResidualVergenceMax())
		screener := raycheck.NewScreener(p)
		codes := func(train *objective.Train) (codes [4]objective.StackCode) {
			for i, g := range train.Groups {
				codes[i] = lib.Code(g.Elements)
			}
			return codes
		}
		verdicts := make([]bool, len(all))
		for i := range all {
			train := all[i].train
			trains++
			verdicts[i] = first.turnsAway(train, codes(train))
			var groups []*thirdorder.Group
			for _, g := range train.Groups {
				groups = append(groups, maker.Group(g))
			}
			at := *train
			far := raycheck.AtEveryScreen(train, func(relief float64) bool {
				at.EyeRelief = relief
				// 1.4: how far such an estimate may stand above the exact value
				return estimator.Estimate(&at, groups).ViewBlurArcmin > 1.4*factor*p.NearMissFactor**s.Limits.ViewBlurArcmin
			})
			// Between the ends of the depth range an estimate may be the larger one.
			if verdicts[i] && !far {
				t.Errorf("%s is turned away, its estimate is within the limit", train.DesignID())
			}
			if verdicts[i] {
				turned++
				if screener.Screen(train).Failed == "" {
					leaks++
				}
			}
		}
		for i := range slices.Backward(all) {
			if again.turnsAway(all[i].train, codes(all[i].train)) != verdicts[i] {
				t.Errorf("%s: another verdict when asked in another order", all[i].train.DesignID())
			}
		}
	}
	t.Logf("%d trains, %d turned away, %d of these by no rays", trains, turned, leaks)
	if turned < 500 || turned == trains || leaks > turned/50 {
		t.Errorf("%d trains, %d turned away, %d of these by no rays", trains, turned, leaks)
	}
}

// TestThirdOrderLeaks lets third-order sums turn good trains away, by a factor far below 1: the
// audit finds them, ranks them as not screened, and nothing is proven from the first of them on. With
// refinement off nothing is turned away without rays.
func TestThirdOrderLeaks(t *testing.T) {
	const c = 3441
	s, _, lenses, good := refinedCase(c)
	if !good {
		t.Fatal("the case is of no use")
	}
	s.Refine.NearMissFactor, s.Refine.Audit, s.Job.Top = 2, 1000, 50
	_, whole := walked(t, s, lenses, func(*refineWalk) {})
	s.Search.ThirdOrder = 0.02
	w, out := walked(t, s, lenses, func(*refineWalk) {})
	accounted(t, out)
	a := out.Audit
	if a == nil || a.ThirdOrder.Passed == 0 || a.ThirdOrder.Drawn != len(w.thirds.kept) || !(a.MissedShareUpper95 > 0) || len(out.Found) < len(whole.Found) {
		t.Errorf("%+v of %d, %d listed of %d", a, len(w.thirds.kept), len(out.Found), len(whole.Found))
	}
	known := map[string]bool{}
	for _, f := range out.Found {
		known[f.ID] = true
	}
	for _, f := range whole.Found {
		if !known[f.ID] {
			t.Errorf("%s is lost, although all that was turned away was drawn", f.ID)
		}
	}
	shortest := math.Inf(1)
	for _, d := range w.thirds.kept {
		shortest = math.Min(shortest, d.ranked)
	}
	if n := out.Proof.SetAside[byThirdOrder]; n == nil || n.Int64() != int64(len(w.thirds.kept)) || out.Proof.ProvenLength != math.Min(shortest, out.ScreenedMM) {
		t.Errorf("%v set aside, proven to %v, the shortest of them %v", n, out.Proof.ProvenLength, shortest)
	}
	plain := unrefinedSpec(s)
	a2, err := newExactSearch(t.Context(), objective.NewLibrary(plain.Problem(), lenses), (&Job{Spec: plain}).options(plain))
	if err != nil {
		t.Fatal(err)
	}
	proven, err := a2.run(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if n := proven.Proof.SetAside[byThirdOrder]; n != nil {
		t.Errorf("%v turned away without rays where nothing is refined", n)
	}
}
