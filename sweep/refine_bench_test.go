package sweep

import (
	"fmt"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// nearMisses are the first designs of a spec's search that exceed no limit by more
// than a factor, but some by more than another one, and that want takes.
func nearMisses(t testing.TB, s *spec.Spec, lenses []*catalog.Lens, over, upTo float64, n int, want func(*objective.Train) bool) (p *objective.Problem, misses []*objective.Train) {
	t.Helper()
	p = s.Problem()
	a, err := newExactSearch(t.Context(), objective.NewLibrary(p, lenses), (&Job{Spec: s}).options(s))
	if err != nil {
		t.Fatal(err)
	}
	near, nearer := raycheck.NewNearChecker(p, upTo), raycheck.NewNearChecker(p, over)
	if over == 1 {
		nearer = raycheck.NewChecker(p)
	}
	for {
		batch, _, err := a.next(t.Context(), batchSize)
		if err != nil || len(batch) == 0 {
			t.Fatalf("%d near misses, %v", len(misses), err)
		}
		for _, c := range batch {
			train := mustSolve(a.lib, &c)
			if !want(train) || near.Check(train).FailedBy != "" || nearer.Check(train).FailedBy == "" {
				continue
			}
			if misses = append(misses, train); len(misses) == n {
				return p, misses
			}
		}
	}
}

func anyTrain(*objective.Train) bool { return true }

// refineCase is a set of near misses of a demo: "wide" are those of quick.toml in the field of
// stacks.toml, "eight" are stacks of up to three doublets, eight in all.
func refineCase(t testing.TB, name string, over, upTo float64, n int) (*objective.Problem, []*objective.Train) {
	t.Helper()
	demo, other := map[string]string{"wide": "quick", "eight": "stacks"}[name]
	if !other {
		demo = name
	}
	j := demoJob(t, demo)
	s, want := j.Spec, anyTrain
	lenses := j.library(s, s.Problem()).Lenses
	switch name {
	case "wide":
		s.Field.WidthDeg, s.Field.HeightDeg = 15, 11.3
	case "eight":
		s.Train.LensesPerGroup = 3
		// Few, so that the search comes to trains of eight soon.
		lenses = slices.DeleteFunc(lenses, func(l *catalog.Lens) bool {
			return !slices.Contains([]string{"DGD-A25x12.5", "DGD-A32x12.5", "DGD-A32x16", "DGD-A40x16", "DGD-A63x32", "DGD-A80x32"}, l.Part)
		})
		want = func(t *objective.Train) bool {
			n := 0
			for _, g := range t.Groups {
				n += len(g.Elements)
			}
			return n == 8
		}
	}
	return nearMisses(t, s, lenses, over, upTo, n, want)
}

// BenchmarkRefine refines near misses by each method, one candidate an operation: of
// three singlets, of three in a wider field, of six doublets, of four of which two make a
// pair relay, and of eight doublets, by how much they exceed limits. With -benchtime 40x each
// candidate has its turn.
func BenchmarkRefine(b *testing.B) {
	const candidates = 40
	for _, c := range []struct {
		name       string
		over, upTo float64
	}{
		{"quick", 1, 1.5}, {"quick", 1.5, 2}, {"quick", 2, 3},
		{"wide", 1, 1.5}, {"wide", 1.5, 2}, {"wide", 2, 3},
		{"stacks", 1, 1.5}, {"stacks", 1.5, 2}, {"stacks", 2, 3},
		{"pair", 1, 1.5}, {"pair", 1.5, 2}, {"pair", 2, 3},
		{"eight", 1, 3},
	} {
		b.Run(fmt.Sprintf("%s/over=%v-%v", c.name, c.over, c.upTo), func(b *testing.B) {
			p, misses := refineCase(b, c.name, c.over, c.upTo, candidates)
			r := raycheck.NewRefiner(p, objective.ByLength)
			for _, method := range refineMethods {
				b.Run(method, func(b *testing.B) {
					var i, rescued, estimates, measurements int
					var longer float64
					for b.Loop() {
						miss := misses[i%len(misses)]
						end := refineFrom(r, miss, method, 1)
						if end.moved != nil {
							rescued++
							longer += end.length - miss.Length
						}
						estimates += end.evaluations
						measurements += end.measurements
						i++
					}
					b.ReportMetric(float64(rescued)/float64(i), "rescued/op")
					b.ReportMetric(longer/float64(max(rescued, 1)), "mm-longer")
					b.ReportMetric(float64(estimates)/float64(i), "estimates/op")
					b.ReportMetric(float64(measurements)/float64(i), "measurements/op")
				})
			}
		})
	}
}
