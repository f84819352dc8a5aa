package objective

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// checkCase is a drawn problem and train.
type checkCase struct {
	p     *Problem
	train *Train
}

// checkCases draws n cases, always the same ones.
func checkCases(n int) []checkCase {
	generator := rapid.Custom(func(t *rapid.T) checkCase {
		p, train := drawTrain(t)
		p.DepthSteps = 2
		p.Limits.FieldFraction = rapid.SampledFrom([]float64{0.7, 1}).Draw(t, "field fraction")
		p.RefocusMaxD = rapid.SampledFrom([]float64{0, 0.2, 2}).Draw(t, "refocus")
		p.AccommodationD = rapid.SampledFrom([]float64{3, 8}).Draw(t, "accommodation")
		return checkCase{p, train}
	})
	cases := make([]checkCase, n)
	for i := range cases {
		cases[i] = generator.Example(i)
	}
	return cases
}

// TestCheckAgainstReference compares a whole measurement with the reference:
// the quadrature must agree with a dense uniform filling far better than the
// 1 % at which a filling counts as right.
func TestCheckAgainstReference(t *testing.T) {
	compared := 0
	for i, c := range checkCases(40) {
		got := NewChecker(c.p).Measure(c.train).Clone()
		if math.IsInf(got.Metrics.ViewBlurArcmin, 1) {
			continue
		}
		compared++
		want := referenceMeasure(c.p, c.train, 24)
		for k := range MetricList {
			name := MetricList[k].Name
			switch name {
			case "vignetted_pct", "transmission", "mass_g", "price":
				continue // have their own tests
			}
			g, w := *MetricList[k].of(&got.Metrics), *MetricList[k].of(&want.Metrics)
			if !(math.Abs(g-w) <= 2e-3*math.Abs(w)+1e-3) {
				t.Errorf("case %d: %s: got %.6g, want %.6g", i, name, g, w)
			}
		}
	}
	t.Logf("%d cases compared", compared)
}

func TestSmoke(t *testing.T) {
	p := rayProblem()
	tr := simpleTrain(t, p)
	r := NewChecker(p).Measure(tr)
	t.Logf("%+v", r)
	t.Logf("%+v", tr)
}
