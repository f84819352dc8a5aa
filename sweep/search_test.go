package sweep

import (
	"context"
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// rayCase is a small case with limits that some of its designs pass and others
// fail, and whether it has both.
func rayCase(c int) (s *spec.Spec, lenses []*catalog.Lens, good bool) {
	request, lenses := smallCase(c)
	if slices.Contains(request.Layouts, "erector-pair") && c%2 > 0 {
		return nil, nil, false
	}
	s = specOf(request)
	a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
	if err != nil {
		panic(err)
	}
	for a.lo < 400 && !a.over {
		if err := a.advance(context.Background()); err != nil {
			panic(err)
		}
	}
	if len(a.pending) < 20 || len(a.pending) > 3000 {
		return nil, nil, false
	}
	// Limits at the median of what the designs reach: a quarter or so passes.
	var mask, view []float64
	checker := raycheck.NewChecker(s.Problem())
	for _, x := range a.pending[:20] {
		r := checker.Measure(mustSolve(a.lib, &x))
		mask, view = append(mask, r.Metrics.MaskBlurArcmin), append(view, r.Metrics.ViewBlurArcmin)
	}
	slices.Sort(mask)
	slices.Sort(view)
	s.Limits.MaskBlurArcmin, s.Limits.ViewBlurArcmin = &mask[10], &view[10]
	return s, lenses, !math.IsInf(mask[10]+view[10], 1)
}

// wholeRanking is every design that passes everything, in order, by a walk
// over the enumeration of the second model's designs, each solved and checked by itself.
func wholeRanking(t *testing.T, s *spec.Spec, request secondmodel.Request, lenses []*catalog.Lens) []solved {
	t.Helper()
	p := s.Problem()
	lib := objective.NewLibrary(p, lenses)
	checker := raycheck.NewChecker(p)
	by := (&Job{Spec: s}).options(s).by
	var passing []solved
	secondmodel.Each(request, lenses, func(d secondmodel.Design) {
		train := trainOf(lib, d)
		if p.SolveBest(train, by) == objective.Met && checker.Check(train).FailedBy == "" {
			passing = append(passing, solved{train, objective.RoundedLength(train.Ranked(by)), train.DesignID()})
		}
	})
	slices.SortFunc(passing, compareSolved)
	return passing
}

// trainOf is a design of the second model's train of the library's elements.
func trainOf(lib *objective.Library, d secondmodel.Design) *objective.Train {
	train := &objective.Train{Layout: layoutNames[d.Layout]}
	for _, seat := range objective.Seats {
		if seat.String() == d.Seat {
			train.Seat = seat
		}
	}
	for _, group := range d.Groups {
		var elements []*objective.Element
		for _, o := range group {
			for _, e := range lib.Elements {
				if e.Lens == o.Lens && e.Reversed == o.Reversed {
					elements = append(elements, e)
				}
			}
		}
		train.Groups = append(train.Groups, lib.Problem.NewGroup(elements...))
	}
	return train
}

// TestRankingIsExact compares whole searches, ray checks included, with every
// design of the space checked one by one: the same designs in the same order,
// whatever the number of workers, and a proof that accounts for all.
func TestRankingIsExact(t *testing.T) {
	wanted := 20
	if testing.Short() {
		wanted = 6
	}
	done, turnedAway := 0, 0
	for number := 3000; done < wanted && number < 4000; number++ {
		c := number
		if done%3 == 1 { // a mask at each image
			c += bothFrom
		}
		request, _ := smallCase(c)
		request.InnerSteps = 2 // the enumeration is only used for its designs
		s, lenses, good := rayCase(c)
		if !good {
			continue
		}
		done++
		t.Run(fmt.Sprint(c), func(t *testing.T) {
			want := wholeRanking(t, s, request, lenses)
			for _, top := range []int{3, len(want) + 5} {
				for _, workers := range []int{1, 2, 8} {
					s.Job.Top, s.Job.Workers = top, workers
					out := searchOf(t, s, lenses)
					compareRanking(t, out, want, top)
					turnedAway += len(out.Proof.Failed)
				}
			}
			comparePerParts(t, s, lenses, want)
			compareChecksMax(t, s, lenses, want)
		})
	}
	if done < wanted || turnedAway == 0 {
		t.Errorf("%d cases of %d, %d requirements that turned designs away", done, wanted, turnedAway)
	}
}

func searchOf(t *testing.T, s *spec.Spec, lenses []*catalog.Lens) *Outcome {
	t.Helper()
	j := &Job{Spec: s}
	a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), lenses), j.options(s))
	if err != nil {
		t.Fatal(err)
	}
	out, err := a.run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func compareRanking(t *testing.T, out *Outcome, want []solved, top int) {
	t.Helper()
	if n := min(top, len(want)); len(out.Found) != n {
		t.Fatalf("top %d: found %d designs of %d", top, len(out.Found), len(want))
	}
	for i, f := range out.Found {
		if f.ID != want[i].id || f.Ranked != want[i].ranked {
			t.Fatalf("rank %d is %s at %.6f, one by one it is %s at %.6f", i+1, f.ID, f.Ranked, want[i].id, want[i].ranked)
		}
	}
	sum := big.NewInt(out.Proof.Passed)
	for _, n := range out.Proof.SetAside {
		sum.Add(sum, n)
	}
	for _, n := range out.Proof.Failed {
		sum.Add(sum, n)
	}
	if sum.Cmp(out.Proof.Space) != 0 {
		t.Errorf("%v designs accounted for of %v", sum, out.Proof.Space)
	}
	// No design below the proven length is missing.
	for i, w := range want {
		if w.ranked < out.Proof.ProvenLength && i >= len(out.Found) {
			t.Errorf("%s at %.6f lies below the proven %.6f and was not found", w.id, w.ranked, out.Proof.ProvenLength)
		}
	}
	if len(want) > top && math.IsInf(out.Proof.ProvenLength, 1) {
		t.Error("claims to have seen the whole space")
	}
}

// comparePerParts checks one_per = "parts": of each set of parts the first.
func comparePerParts(t *testing.T, s *spec.Spec, lenses []*catalog.Lens, want []solved) {
	t.Helper()
	seen := map[string]bool{}
	var first []solved
	for _, w := range want {
		if key := partsOf(w.train); !seen[key] {
			seen[key] = true
			first = append(first, w)
		}
	}
	s.Search.OnePer, s.Job.Top = "parts", 4
	compareRanking(t, searchOf(t, s, lenses), first, 4)
	s.Search.OnePer = "design"
}

// compareChecksMax checks checks_max: what it found is the ranking's start, and
// it does not claim more.
func compareChecksMax(t *testing.T, s *spec.Spec, lenses []*catalog.Lens, want []solved) {
	t.Helper()
	s.Search.ChecksMax, s.Job.Top = 7, len(want)+5
	out := searchOf(t, s, lenses)
	s.Search.ChecksMax = 0
	if out.Proof.Checked > 7 {
		t.Errorf("%d checks", out.Proof.Checked)
	}
	for i, f := range out.Found {
		if f.ID != want[i].id {
			t.Errorf("rank %d is %s, one by one it is %s", i+1, f.ID, want[i].id)
		}
	}
	for i, w := range want {
		if i >= len(out.Found) && w.ranked < out.Proof.ProvenLength {
			t.Errorf("%s at %.6f lies below the proven %.6f and was not found", w.id, w.ranked, out.Proof.ProvenLength)
		}
	}
	if out.Proof.Exact && len(out.Found) < len(want) {
		t.Error("claims to be exact")
	}
}
