package sweep

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// TestWouldFit takes requests that some designs meet, tightens one requirement
// beyond all of them, and compares the value at which the search says that a
// first design would pass with the least that any design needs, each judged by
// itself.
func TestWouldFit(t *testing.T) {
	compared, nothing := map[string]int{}, 0
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
		secondmodel.Each(request, lenses, func(d secondmodel.Design) { trains = append(trains, trainOf(own, d)) })
		if len(passing) == 0 {
			continue
		}
		// The least of each quantity that any passing design reaches, less a
		// fifth: then nothing passes.
		tight := *s
		switch c % 3 {
		case 0:
			least := math.Inf(1)
			checker := raycheck.NewChecker(s.Problem())
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
		got, want := out.Proof.WouldFit.Value[name], leastEasing(&tight, trains, name, o.by)
		switch {
		case want == nil && got == nil:
			nothing++ // both say that no value would
		case got == nil:
			t.Errorf("case %d: no value of %s would fit, one by one %v would", c, name, *want)
		default:
			compared[name]++
			start, _ := askedAndEased(&tight, name)
			// Found to a thousandth of the easing. It may be nearer than what
			// single designs were found to need: whether a design passes need
			// not change but once on the way.
			easing := math.Abs(*got - start)
			if want != nil && easing > math.Abs(*want-start)*(1+2*resolution)+1e-9 {
				t.Errorf("case %d: %s would fit at %v, one by one at %v", c, name, *got, *want)
			}
			length := out.Proof.WouldFit.Length[name]
			if !passesAt(&tight, trains, name, *got, length, o.by) {
				t.Errorf("case %d: nothing of %v mm passes with %s at %v", c, length, name, *got)
			}
		}
	}
	t.Logf("compared: %v; in %d cases no value would fit", compared, nothing)
	for _, name := range []string{"travel", "aperture", "mask_blur_arcmin"} {
		if compared[name] == 0 {
			t.Errorf("no case eased %s", name)
		}
	}
}

// easedSpec is a spec with one of its requirements at a value, in the spec's own words.
func easedSpec(s *spec.Spec, name string, value float64) *spec.Spec {
	eased := *s
	switch name {
	case "travel":
		eased.Stage.TravelMM = value
	case "aperture":
		eased.Field.WidthDeg, eased.Field.HeightDeg = value, s.Field.HeightDeg*value/s.Field.WidthDeg
	case "mask_blur_arcmin":
		eased.Limits.MaskBlurArcmin = &value
	}
	return &eased
}

// askedAndEased are what a spec asks, and where the search ends to ease it.
func askedAndEased(s *spec.Spec, name string) (asked, eased float64) {
	switch name {
	case "travel":
		return s.Stage.TravelMM, 1000
	case "aperture":
		return s.Field.WidthDeg, 0.02 * s.Field.WidthDeg
	}
	return *s.Limits.MaskBlurArcmin, math.Inf(1)
}

// lengthAt is the length of a train that passes a spec, 0 for one that does not.
func lengthAt(s *spec.Spec, train *objective.Train, by objective.RankBy) float64 {
	p := s.Problem()
	u := objective.Train{Layout: train.Layout, Seat: train.Seat, Groups: train.Groups}
	if p.SolveBest(&u, by) != objective.Met || raycheck.NewChecker(p).Check(&u).FailedBy != "" {
		return 0
	}
	return u.Length
}

// leastEasing is the least easing that any design needs, each taken by itself, nil where
// none passes however far it is eased: of a limit on a metric what the design has, otherwise
// by halving.
func leastEasing(s *spec.Spec, trains []*objective.Train, name string, by objective.RankBy) *float64 {
	var best *float64
	asked, nearest := askedAndEased(s, name)
	for _, train := range trains {
		if lengthAt(easedSpec(s, name, nearest), train, by) == 0 {
			continue
		}
		none := asked
		if name == "mask_blur_arcmin" {
			p := easedSpec(s, name, math.Inf(1)).Problem()
			u := objective.Train{Layout: train.Layout, Seat: train.Seat, Groups: train.Groups}
			p.SolveBest(&u, by)
			none = raycheck.NewChecker(p).Check(&u).Metrics.MaskBlurArcmin
			nearest = none
		}
		for math.Abs(nearest-none) > resolution/10*math.Abs(nearest-asked) {
			if try := (none + nearest) / 2; lengthAt(easedSpec(s, name, try), train, by) > 0 {
				nearest = try
			} else {
				none = try
			}
		}
		found := nearest
		best = &found
	}
	return best
}

// passesAt reports whether a design of a length passes with a requirement or limit
// at a value.
func passesAt(s *spec.Spec, trains []*objective.Train, name string, value, length float64, by objective.RankBy) bool {
	return slices.ContainsFunc(trains, func(t *objective.Train) bool {
		return math.Abs(lengthAt(easedSpec(s, name, value), t, by)-length) < 1e-6
	})
}

// smallStock is a few lenses, all but thin, whose focal lengths in mm are drawn at
// random, as wide as 0.4 to 0.9 of these.
func smallStock(t *testing.T, r *rand.Rand, n int) []*catalog.Lens {
	t.Helper()
	glass := givenGlass(t)
	lenses := make([]*catalog.Lens, n)
	for i := range lenses {
		f := 18 * math.Exp(1.2*r.Float64())
		l := thinLens(f, glass, 546.07)
		width := f * (0.4 + 0.5*r.Float64())
		l.Part, l.DiameterMM, l.ClearMM = fmt.Sprintf("f%d", i), width, width
		lenses[i] = l
	}
	return lenses
}

// everyPassing is every design of a spec that passes, each of all the trains that
// the lenses make solved and checked by itself; of those that meet the paraxial
// requirements only as many as most, the shortest by rank.
func everyPassing(s *spec.Spec, lenses []*catalog.Lens, by objective.RankBy, most int) []*objective.Train {
	lib := objective.NewLibrary(s.Problem(), lenses)
	checker := raycheck.NewChecker(lib.Problem)
	groups, longest := [][]*objective.Element{}, [][]*objective.Element{nil}
	for range s.Train.LensesPerGroup {
		var longer [][]*objective.Element
		for _, g := range longest {
			for _, e := range lib.Elements {
				longer = append(longer, append(slices.Clone(g), e))
			}
		}
		groups, longest = append(groups, longer...), longer
	}
	var met []*objective.Train
	for _, space := range s.Spaces() {
		places := len(space.Layout.GroupNames())
		for k := range int(math.Pow(float64(len(groups)), float64(places))) {
			train := &objective.Train{Layout: space.Layout, Seat: space.Seat}
			for range places {
				train.Groups = append(train.Groups, lib.Problem.NewGroup(groups[k%len(groups)]...))
				k /= len(groups)
			}
			if lib.Problem.SolveBest(train, by) == objective.Met {
				met = append(met, train)
			}
		}
	}
	slices.SortFunc(met, func(a, b *objective.Train) int { return cmp.Compare(a.Ranked(by), b.Ranked(by)) })
	return slices.DeleteFunc(met[:min(most, len(met))], func(t *objective.Train) bool { return checker.Check(t).FailedBy != "" })
}

// leastOver is the least of what a number is for trains.
func leastOver(trains []*objective.Train, of func(t *objective.Train) float64) float64 {
	least := math.Inf(1)
	for _, t := range trains {
		least = math.Min(least, of(t))
	}
	return least
}

// fitsOf is what would fit where nothing does.
func fitsOf(t *testing.T, s *spec.Spec, lenses []*catalog.Lens) *Fits {
	t.Helper()
	out, err := searchPoint(context.Background(), s, objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
	if err != nil {
		t.Fatal(err)
	}
	if len(out.Found) > 0 || out.Proof.WouldFit == nil {
		t.Fatalf("%d designs pass where none should", len(out.Found))
	}
	return out.Proof.WouldFit
}

// mostOfAPart is how many a train takes of the part of which it takes most.
func mostOfAPart(t *objective.Train) float64 {
	var all []string
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			all = append(all, e.Lens.Part)
		}
	}
	most := 0
	for _, part := range all {
		n := 0
		for _, other := range all {
			if other == part {
				n++
			}
		}
		most = max(most, n)
	}
	return float64(most)
}

// TestWouldFitCounts tightens what parts a train may take, and the largest eye
// relief, to just below what any passing design of some lenses needs: the least that
// one needs is what would fit, a whole number where lenses are counted.
func TestWouldFitCounts(t *testing.T) {
	kinds := []struct {
		name string
		set  func(s *spec.Spec, lenses []*catalog.Lens, v float64)
		of   func(t *objective.Train) float64
	}{
		{"relief_max_mm", func(s *spec.Spec, _ []*catalog.Lens, v float64) { s.Eye.ReliefMaxMM = v },
			func(t *objective.Train) float64 { return t.EyeRelief }},
		{"parts", func(s *spec.Spec, _ []*catalog.Lens, v float64) { s.Train.LensesMax = int(v) },
			func(t *objective.Train) float64 {
				n := 0
				for _, g := range t.Groups {
					n += len(g.Elements)
				}
				return float64(n)
			}},
		{"distinct_parts_max", func(s *spec.Spec, _ []*catalog.Lens, v float64) { s.Train.DistinctPartsMax = int(v) },
			func(t *objective.Train) float64 {
				parts := map[string]bool{}
				for _, g := range t.Groups {
					for _, e := range g.Elements {
						parts[e.Lens.Part] = true
					}
				}
				return float64(len(parts))
			}},
		{"stock", func(_ *spec.Spec, lenses []*catalog.Lens, v float64) {
			for _, l := range lenses {
				l.Stock = int(v)
			}
		}, mostOfAPart},
	}
	compared := map[string]int{}
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(11, seed))
		s := benchSpec(objective.ErectorSingle, 2)
		s.Field.WidthDeg, s.Field.HeightDeg, s.Eye.ReliefMinMM, s.Stage.TravelMM = 6, 4.5, 5, 30
		s.Train.Magnification = 0.7 + r.Float64()
		lenses := smallStock(t, r, 3)
		// Some of the shortest: what these need is not what the longer ones do.
		kept := everyPassing(s, lenses, objective.ByLength, 1+r.IntN(8))
		if len(kept) == 0 {
			continue
		}
		s.Train.LengthMaxMM = kept[len(kept)-1].Length + 1e-6
		kept = everyPassing(s, lenses, objective.ByLength, 1000) // others of the same length among them
		for _, k := range kinds {
			want := leastOver(kept, k.of)
			asked := math.Ceil(want - 1)
			if k.name == "relief_max_mm" {
				asked = (s.Eye.ReliefMinMM + want) / 2
			}
			if compared[k.name] == 4 || asked < 1 || k.name == "parts" && asked < 3 || want < asked+0.1 {
				continue
			}
			compared[k.name]++
			tight, tightLenses := *s, slices.Clone(lenses)
			for i, l := range tightLenses {
				own := *l
				tightLenses[i] = &own
			}
			k.set(&tight, tightLenses, asked)
			fits := fitsOf(t, &tight, tightLenses)
			got := fits.Value[k.name]
			if got == nil || math.Abs(*got-want) > 2*resolution*(want-asked) || k.name != "relief_max_mm" && *got != want {
				t.Errorf("seed %d: %s of %v, would fit at %v, a design needs %v", seed, k.name, asked, show(got), want)
				continue
			}
			if !slices.ContainsFunc(kept, func(t *objective.Train) bool { return k.of(t) <= *got+1e-9 && t.Length == fits.Length[k.name] }) {
				t.Errorf("seed %d: %s: no design that needs so little is %v mm long", seed, k.name, fits.Length[k.name])
			}
		}
	}
	t.Logf("compared: %v", compared)
	for _, k := range kinds {
		if compared[k.name] < 2 {
			t.Errorf("%s was eased in %d cases", k.name, compared[k.name])
		}
	}
}

func show(x *float64) any {
	if x == nil {
		return nil
	}
	return *x
}

// TestWouldFitStock: parts of which there are enough are no matter; the number told
// is that of the scarce ones, and parts without a bound have no relaxation.
func TestWouldFitStock(t *testing.T) {
	s := benchSpec(objective.ErectorSingle, 1)
	lenses := smallStock(t, rand.New(rand.NewPCG(1, 1)), 3)
	relaxation := func() *relaxation {
		for _, l := range relaxations(s, objective.NewLibrary(s.Problem(), lenses)) {
			if l.Name == "stock" {
				return &l
			}
		}
		return nil
	}
	if relaxation() != nil {
		t.Error("a relaxation on the stock of parts that have none")
	}
	lenses[0].Stock, lenses[1].Stock = 1, 2
	l := relaxation()
	lib := objective.NewLibrary(s.Problem(), lenses)
	for _, c := range []struct {
		parts [3]int
		needs float64
	}{
		{[3]int{0, 1, 2}, 1}, {[3]int{1, 1, 2}, 1}, {[3]int{2, 2, 2}, 1}, {[3]int{0, 0, 1}, 2}, {[3]int{1, 1, 1}, 3}, {[3]int{0, 0, 0}, 3},
	} {
		train := &objective.Train{}
		for _, part := range c.parts {
			train.Groups = append(train.Groups, lib.Problem.NewGroup(lib.Elements[part]))
		}
		if got := l.Needs(train); got != c.needs {
			t.Errorf("parts %v: needs %v in stock, want %v", c.parts, got, c.needs)
		}
	}
	eased := l.Lenses(lenses, 2)
	if eased[0].Stock != 2 || eased[1].Stock != 2 || eased[2].Stock != catalog.Unlimited || lenses[0].Stock != 1 {
		t.Error("easing the stock to 2 does something else")
	}
}

// TestWouldFitLength ranks by the length to the eye and allows less than any design
// has from first to last vertex: what would fit is the least of these, whatever rank
// its design has.
func TestWouldFitLength(t *testing.T) {
	for _, layout := range []objective.Layout{objective.ErectorSingle, objective.ErectorPair} {
		telling := 0
		for seed := uint64(0); seed < 30 && telling < 3; seed++ {
			s := benchSpec(layout, 1)
			s.Field.WidthDeg, s.Field.HeightDeg, s.Stage.TravelMM = 6, 4.5, 30
			s.Eye.ReliefMinMM, s.Search.RankBy = 5, "length_to_eye_mm"
			lenses := smallStock(t, rand.New(rand.NewPCG(12, seed)), 4)
			ranked := everyPassing(s, lenses, objective.ByLengthToEye, 1000)
			if len(ranked) == 0 {
				continue
			}
			length := func(t *objective.Train) float64 { return t.Length }
			first := ranked[0]
			shortest := everyPassing(s, lenses, objective.ByLength, 1000)
			want := leastOver(shortest, length)
			if first.Length < want+1e-3 {
				continue
			}
			telling++
			s.Train.LengthMaxMM = want - 1
			fits := fitsOf(t, s, lenses)
			got := fits.Value["length"]
			if got == nil || math.Abs(*got-want) > 1e-6 || fits.Length["length"] != *got {
				t.Errorf("%v, seed %d: length would fit at %v (%v mm), the shortest has %v, the first of the ranking %v",
					layout, seed, show(got), fits.Length["length"], want, first.Length)
			}
			s.Train.LengthMaxMM = want + 1e-6
			if len(searchOf(t, s, lenses).Found) == 0 {
				t.Errorf("%v, seed %d: nothing passes at %v", layout, seed, s.Train.LengthMaxMM)
			}
		}
		if telling == 0 {
			t.Errorf("%v: in no case the shortest was not the first", layout)
		}
	}
}
