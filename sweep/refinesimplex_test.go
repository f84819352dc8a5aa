package sweep

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/optimize"
	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/sweep/spec"
)

// TestSimplexBound: the method goes the same way when every value above the bound is
// replaced by another one above it, on functions with valleys, kinks and steps.
func TestSimplexBound(t *testing.T) {
	replaced, shrunk := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "unknowns")
		at := rapid.SliceOfN(rapid.Float64Range(-2, 2), n, n).Draw(t, "minimum")
		steep := rapid.SliceOfN(rapid.Float64Range(0.01, 30), n, n).Draw(t, "steepness")
		kink := rapid.Float64Range(0, 5).Draw(t, "kink")
		step := rapid.SampledFrom([]float64{0, 0.05, 1}).Draw(t, "step") // makes equal values
		f := func(x []float64) float64 {
			sum := 1.0
			for i := range x {
				sum += steep[i]*(x[i]-at[i])*(x[i]-at[i]) + kink*math.Abs(x[i]+x[0])
			}
			if step > 0 {
				sum = step * math.Round(sum/step)
			}
			return sum
		}
		above := rapid.SampledFrom([]float64{1e-9, 1, 1e6}).Draw(t, "above")
		var whole, bounded [][]float64
		minimise := func(f func([]float64) float64, places *[][]float64) *optimize.Result {
			result, _ := optimize.Minimize(optimize.Problem{Func: func(x []float64) float64 {
				*places = append(*places, slices.Clone(x))
				return f(x)
			}}, make([]float64, n), &optimize.Settings{FuncEvaluations: 120}, &optimize.NelderMead{SimplexSize: 0.7})
			return result
		}
		want := minimise(f, &whole)
		simplex := &simplexBound{unknowns: n}
		got := minimise(func(x []float64) float64 {
			value := f(x)
			if bound := simplex.bound(); value > bound {
				value = bound + above
				replaced++
			}
			simplex.evaluated(value)
			if simplex.next == simplexFill && len(simplex.values) == 1 && len(bounded) > n {
				shrunk++
			}
			return value
		}, &bounded)
		if !slices.EqualFunc(whole, bounded, slices.Equal[[]float64]) || !slices.Equal(want.X, got.X) || want.F != got.F {
			t.Fatalf("evaluates %v, ends at %v; without a bound %v, %v", bounded, got.X, whole, want.X)
		}
	})
	if replaced == 0 || shrunk == 0 {
		t.Errorf("%d values replaced, %d simplices shrunk: tests nothing", replaced, shrunk)
	}
}

// TestMinimiseBelow: estimates that end as soon as a place is known to be turned away lead
// to the same end as whole ones, from the same number of places. What an estimate has found
// before its end is no more than what it finds in the end.
func TestMinimiseBelow(t *testing.T) {
	partial := 0
	for _, demo := range []string{"quick", "pair"} {
		p, misses := refineCase(t, demo, 1, 2, 3)
		r := raycheck.NewRefiner(p, objective.ByLength)
		for _, miss := range misses {
			for _, m := range []*merit{{squares: true, margin: feasibleMargin}, {penalty: penaltyStart, rounding: roundingStart}} {
				begin := func() *descent {
					r.Begin(miss)
					origin := make([]float64, r.Unknowns())
					d := &descent{r: r, method: spec.RefineSimplex}
					d.measure(origin)
					r.Centre(origin)
					return d
				}
				d := begin()
				got := d.minimise(m, stepFirst, 80)
				bounded := *d
				d = begin()
				converge := &optimize.FunctionConverge{Absolute: 1e-4, Iterations: 12}
				if m.squares {
					converge.Absolute, converge.Relative = 1e-8, feasibleGain
				}
				whole := func(u []float64) float64 {
					if m.squares && d.claimed != nil {
						return 0
					}
					value := m.value(d.estimate(u))
					r.EstimateUntil(r.Place(u), func(length float64, excess []float64) bool {
						partial++
						if found := m.value(length, excess); found > value*(1+boundSlack) {
							t.Errorf("%s at %v: %v before the end, %v in the end", miss.DesignID(), u, found, value)
						}
						return false
					})
					return value
				}
				result, _ := optimize.Minimize(optimize.Problem{Func: whole}, make([]float64, r.Unknowns()),
					&optimize.Settings{FuncEvaluations: 80, Converger: converge}, &optimize.NelderMead{SimplexSize: stepFirst})
				if want := r.Place(result.X); !slices.Equal(got, want) || !slices.Equal(bounded.claimed, d.claimed) || bounded.best.evaluations != d.best.evaluations {
					t.Errorf("%s: comes to %v and claims %v after %d; whole estimates to %v, %v, %d",
						miss.DesignID(), got, bounded.claimed, bounded.best.evaluations, want, d.claimed, d.best.evaluations)
				}
			}
		}
	}
	if partial == 0 {
		t.Error("no estimate had more than one part")
	}
}
