package sweep

import (
	"testing"

	"relaysweep/sweep/spec"
)

// BenchmarkWalk screens and refines as a run does, one run an operation: the demo quick, the
// same in the field of stacks, and stacks of two of the whole demo catalog, the first 200 000
// designs. It tells the shares of the stages in the time, and how many designs are
// screened a second.
func BenchmarkWalk(b *testing.B) {
	for _, c := range []struct {
		name string
		of   string
		set  func(s *spec.Spec)
	}{
		{"quick", "quick", func(*spec.Spec) {}},
		{"wide", "quick", func(s *spec.Spec) { s.Field.WidthDeg, s.Field.HeightDeg, s.Search.ChecksMax = 15, 11.3, 50_000 }},
		{"whole", "stacks", func(s *spec.Spec) {
			s.Catalog.ExcludeKinds, s.Catalog.ApertureRatioMax, s.Search.ChecksMax = []string{"fresnel"}, 0, 200_000
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			j := demoJob(b, c.of)
			c.set(j.Spec)
			j.Points = j.Spec.Grid()
			seconds := map[string]float64{}
			var checked int64
			for b.Loop() {
				out, err := j.Run(b.Context(), Attempt{})
				if err != nil {
					b.Fatal(err)
				}
				checked += out[0].Proof.Checked
				for stage, s := range out[0].Proof.Seconds {
					seconds[stage] += s
				}
			}
			total := b.Elapsed().Seconds()
			for _, stage := range []string{"population", "search", "screen", "refine"} {
				b.ReportMetric(100*seconds[stage]/total, stage+"-%")
			}
			b.ReportMetric(float64(checked)/(seconds["search"]+seconds["screen"]), "screened/s")
		})
	}
}
