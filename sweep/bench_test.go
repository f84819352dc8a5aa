package sweep

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/internal/secondmodel"
	"relaysweep/sweep/spec"
)

// benchSpec asks what the figures in DEVELOPERS.md were measured with: the
// defaults, a mask of 36 × 24 mm and a diagonal field of 20°.
func benchSpec(layout objective.Layout, lensesPerGroup int) *spec.Spec {
	s, err := spec.Read("testdata/least.toml")
	if err != nil {
		panic(err) // of a file of the repository
	}
	s.Job.Top, s.Refine.Method = 100, spec.RefineNone
	s.Train.Layouts, s.Train.LensesPerGroup = []objective.Layout{layout}, lensesPerGroup
	s.Field.WidthDeg, s.Field.HeightDeg = 16.05, 12.05
	s.Depth.NearM, s.Depth.Steps = 0.25, 5
	s.Mask.WidthMM, s.Mask.HeightMM, s.Mask.PixelUM = 36, 24, 20
	s.Stage.TravelMM = 15
	return s
}

func benchLenses(n int) []*catalog.Lens {
	return secondmodel.RandomLenses(rand.New(rand.NewPCG(7, uint64(n))), n)
}

// BenchmarkSearch finds the shortest trains that meet the paraxial requirements,
// from lenses to list, in spaces of growing size.
func BenchmarkSearch(b *testing.B) {
	for _, c := range []struct {
		lenses, perGroup int
		layout           objective.Layout
		found            int // designs to find
	}{
		{250, 1, objective.ErectorSingle, 100},
		{500, 1, objective.ErectorSingle, 100},
		{1000, 1, objective.ErectorSingle, 100},
		{2000, 1, objective.ErectorSingle, 100},
		{4000, 1, objective.ErectorSingle, 100},
		{125, 2, objective.ErectorSingle, 100},
		{250, 2, objective.ErectorSingle, 100},
		{500, 2, objective.ErectorSingle, 100},
		{1000, 2, objective.ErectorSingle, 100},
		{1000, 2, objective.ErectorSingle, 100_000},
		{4000, 2, objective.ErectorSingle, 100},
		{50, 3, objective.ErectorSingle, 100},
		{100, 3, objective.ErectorSingle, 100},
		{200, 3, objective.ErectorSingle, 100},
		{400, 3, objective.ErectorSingle, 100},
		{1000, 3, objective.ErectorSingle, 100},
		{125, 1, objective.ErectorPair, 100},
		{250, 1, objective.ErectorPair, 100},
		{500, 1, objective.ErectorPair, 100},
		{1000, 1, objective.ErectorPair, 100},
		{50, 2, objective.ErectorPair, 100},
		{100, 2, objective.ErectorPair, 100},
		{200, 2, objective.ErectorPair, 100},
		{300, 2, objective.ErectorPair, 100},
		{400, 2, objective.Keplerian, 100},
	} {
		s := benchSpec(c.layout, c.perGroup)
		lenses := benchLenses(c.lenses)
		b.Run(fmt.Sprintf("%v/lenses=%d/stack=%d/found=%d", c.layout, c.lenses, c.perGroup, c.found), func(b *testing.B) {
			for b.Loop() {
				a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
				if err != nil {
					b.Fatal(err)
				}
				found := 0
				for found < c.found {
					batch, _, err := a.next(context.Background(), c.found-found)
					if err != nil {
						b.Fatal(err)
					}
					if len(batch) == 0 {
						break
					}
					found += len(batch)
				}
				space, _ := a.proof.Space.Float64()
				b.ReportMetric(math.Log10(space), "log10(space)")
				b.ReportMetric(float64(a.proof.Examined), "examined")
				b.ReportMetric(a.proof.Seconds["stacks"]*1e3, "stacks-ms")
			}
		})
	}
}

// BenchmarkStacks makes and reduces all groups of up to two of 100 lenses.
func BenchmarkStacks(b *testing.B) {
	s := benchSpec(objective.ErectorSingle, 2)
	o := (&Job{Spec: s}).options(s)
	lib := objective.NewLibrary(s.Problem(), benchLenses(100))
	b.ReportAllocs()
	groups := 0.0
	for b.Loop() {
		s, err := newGroupStream(context.Background(), lib, wantedSlots(o))
		if err != nil {
			b.Fatal(err)
		}
		groups, _ = s.groups.Float64()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/groups, "ns/group")
}

// BenchmarkExhaustive finds the 100 shortest trains of single lenses by looking at
// every train, and by the search.
func BenchmarkExhaustive(b *testing.B) {
	s := benchSpec(objective.ErectorSingle, 1)
	lenses := benchLenses(50)
	var all, found []float64
	b.Run("every-train", func(b *testing.B) {
		for b.Loop() {
			all = all[:0]
			lib := objective.NewLibrary(s.Problem(), lenses)
			groups := make([]*objective.Group, len(lib.Elements))
			for i, e := range lib.Elements {
				groups[i] = lib.Problem.NewGroup(e)
			}
			t := objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear, Groups: make([]*objective.Group, 3)}
			for _, t.Groups[0] = range groups {
				for _, t.Groups[1] = range groups {
					for _, t.Groups[2] = range groups {
						if lib.Problem.Solve(&t, 0) == objective.Met {
							all = append(all, objective.RoundedLength(t.Length))
						}
					}
				}
			}
			slices.Sort(all)
		}
	})
	b.Run("search", func(b *testing.B) {
		for b.Loop() {
			found = found[:0]
			a, err := newExactSearch(context.Background(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
			if err != nil {
				b.Fatal(err)
			}
			for len(found) < s.Job.Top {
				batch, _, err := a.next(context.Background(), s.Job.Top-len(found))
				if err != nil || len(batch) == 0 {
					b.Fatal("no more trains", err)
				}
				for _, c := range batch {
					found = append(found, c.ranked)
				}
			}
		}
	})
	if len(all) > 0 && len(found) > 0 && !slices.Equal(all[:s.Job.Top], found) {
		b.Error("the search finds others")
	}
}
