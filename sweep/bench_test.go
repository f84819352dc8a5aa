package sweep

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/sweep/internal/plain"
)

// benchSpec asks what the figures in DEVELOPERS.md were measured with: the
// defaults, a mask of 36 × 24 mm and a diagonal field of 20°.
func benchSpec(layout objective.Layout, lensesPerGroup int) *Spec {
	s := &Spec{}
	for i := range specKeys {
		specKeys[i].setDefault(s)
	}
	s.Job.Top = 100
	s.Train.Layouts, s.Train.LensesPerGroup = []objective.Layout{layout}, lensesPerGroup
	s.Field.WidthDeg, s.Field.HeightDeg = 16.05, 12.05
	s.Depth.NearM, s.Depth.Steps = 0.25, 5
	s.Mask.WidthMM, s.Mask.HeightMM, s.Mask.PixelUM = 36, 24, 20
	s.Stage.TravelMM = 15
	return s
}

func benchLenses(n int) []*catalog.Lens {
	return plain.RandomLenses(rand.New(rand.NewPCG(7, uint64(n))), n)
}

// BenchmarkSearch finds the 100 shortest trains that meet the paraxial
// requirements, from lenses to list, in spaces of growing size.
func BenchmarkSearch(b *testing.B) {
	for _, c := range []struct {
		lenses, perGroup int
		layout           objective.Layout
	}{
		{250, 1, objective.ErectorSingle},
		{1000, 1, objective.ErectorSingle},
		{4000, 1, objective.ErectorSingle},
		{50, 2, objective.ErectorSingle},
		{100, 2, objective.ErectorSingle},
		{200, 2, objective.ErectorSingle},
		{400, 2, objective.ErectorSingle},
		{30, 3, objective.ErectorSingle},
		{50, 1, objective.ErectorPair},
		{100, 1, objective.ErectorPair},
		{400, 2, objective.Keplerian},
	} {
		s := benchSpec(c.layout, c.perGroup)
		lenses := benchLenses(c.lenses)
		b.Run(fmt.Sprintf("%v/lenses=%d/stack=%d", c.layout, c.lenses, c.perGroup), func(b *testing.B) {
			for b.Loop() {
				a, err := newAscent(context.Background(), objective.NewLibrary(s.Problem(), lenses), (&Job{Spec: s}).options(s))
				if err != nil {
					b.Fatal(err)
				}
				found := 0
				for found < s.Job.Top {
					batch, err := a.next(context.Background(), s.Job.Top-found)
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
		s, err := newSource(context.Background(), lib, rolesOf(o))
		if err != nil {
			b.Fatal(err)
		}
		groups, _ = s.groups.Float64()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/groups, "ns/group")
}
