package sweep

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// TestFarGrades grades trains of random small catalogs, and all again by rays alone. What third
// order does not grade has the same grade; what it grades fails by rays, apart from a few, its
// estimates being from below; and no train that the screen of refinement lets through is lost to
// refinement, apart from fewer still.
func TestFarGrades(t *testing.T) {
	graded, fars, passing, lost, kept := 0, 0, 0, 0, 0
	for c := 3000; fars < 1000 && c < 3300; c++ {
		s, _, lenses, good := refinedCase(c)
		if !good || s.Limits.ViewBlurArcmin == nil {
			continue
		}
		sharp := *s.Limits.ViewBlurArcmin / 3
		s.Limits.ViewBlurArcmin, s.Search.ThirdOrder = &sharp, 1
		lib := objective.NewLibrary(s.Problem(), lenses)
		o := jobOf(s, lenses).options(s)
		o.workers = 1
		grader := func(factor float64) (*optimizer, *evaluator) {
			o.optimize.farFactor = factor
			search, err := newOptimizer(unrefined(lib), o)
			if err != nil {
				t.Fatal(err)
			}
			return search, <-search.workers
		}
		search, both := grader(1)
		_, rays := grader(0)
		if both.far == nil || rays.far != nil {
			t.Fatal("one of the two grades by rays alone")
		}
		screener := raycheck.NewScreener(lib.Problem)
		all, _ := walkAll(t, unrefinedSpec(s), lenses, 2, 0)
		for i := range all {
			var key designKey
			key.space = objective.Space{Layout: all[i].train.Layout, Seat: all[i].train.Seat}
			for k, g := range all[i].train.Groups {
				key.groups[k] = lib.Code(g.Elements)
			}
			groups := search.groupsOf(&key)
			got, want := both.evaluate(key.space, &groups, math.Inf(1)), rays.evaluate(key.space, &groups, math.Inf(1))
			graded++
			if got.tier != far {
				if got != want {
					t.Fatalf("%s: graded %+v, by rays alone %+v", all[i].train.DesignID(), got, want)
				}
				continue
			}
			fars++
			if want.tier == passes {
				passing++
			}
			if got.near {
				kept++
			} else if screener.Screen(all[i].train).Failed == "" {
				lost++
			}
			if !(got.amount > 0) || got.ranked != want.ranked || got.inner != want.inner {
				t.Errorf("%s: graded %+v, by rays alone %+v", all[i].train.DesignID(), got, want)
			}
			if again := both.evaluate(key.space, &groups, math.Inf(1)); again != got {
				t.Errorf("%s: graded %+v, then %+v", all[i].train.DesignID(), got, again)
			}
		}
	}
	t.Logf("%d trains, %d far, %d of these kept for refinement; %d of them pass by rays, %d are lost to refinement", graded, fars, kept, passing, lost)
	if fars < 500 || fars == graded || kept == 0 || kept == fars || passing > fars/50 || lost > fars/200 {
		t.Errorf("%d trains, %d far, %d of these kept for refinement; %d of them pass by rays, %d are lost to refinement", graded, fars, kept, passing, lost)
	}
}

// TestGradesOrdered: grades have one order, whatever order they came in, with what passes first,
// then what rays found to fail, by its excess, then what third order did, by its, then what is too
// long, and last what misses a requirement.
func TestGradesOrdered(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var all []graded
	for i := range 200 {
		g := graded{grade: grade{tier: tier(r.IntN(int(misses) + 1)), ranked: float64(r.IntN(3))}}
		if g.tier.hasAmount() {
			g.amount = 5 * r.Float64()
		}
		g.key.groups[0] = objective.StackCode(i)
		all = append(all, g)
	}
	sorted := func() []graded {
		r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		return slices.SortedFunc(slices.Values(all), func(a, b graded) int { return compareGraded(&a, &b) })
	}
	first := sorted()
	for range 10 {
		if !slices.Equal(sorted(), first) {
			t.Fatal("another order of the same grades")
		}
	}
	order := []tier{passes, exceeds, far, tooLong, misses}
	for i := 1; i < len(first); i++ {
		a, b := &first[i-1], &first[i]
		at, next := slices.Index(order, a.tier), slices.Index(order, b.tier)
		if at > next || at == next && a.amount > b.amount {
			t.Errorf("%+v before %+v", a.grade, b.grade)
		}
	}
}

// TestFarGraderOff: nothing is graded by third order where the spec switches it off, nor with an
// eye that has a colour of its own; and nothing is kept for refinement where there is none.
func TestFarGraderOff(t *testing.T) {
	s := benchSpec(objective.ErectorSingle, 1)
	p := s.Problem()
	o := jobOf(s, nil).options(s).optimize
	if o.farFactor != 1 || newFarGrader(p, &o) == nil {
		t.Errorf("%+v: no grades by third order", o)
	}
	coloured := *p
	coloured.ColouredEye = true
	if newFarGrader(&coloured, &o) != nil {
		t.Error("grades by third order with an eye that has a colour")
	}
	s.Search.ThirdOrder = 0
	if o = jobOf(s, nil).options(s).optimize; newFarGrader(p, &o) != nil {
		t.Error("grades by third order with search.third_order = 0")
	}
	s = unrefinedSpec(s)
	if o = jobOf(s, nil).options(s).optimize; o.nearFactor != 0 {
		t.Errorf("kept for refinement up to %v times the limits, and nothing is refined", o.nearFactor)
	}
}
