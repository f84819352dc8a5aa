package sweep

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// TestRefineUnknowns holds the unknowns of a refinement against the matrix to the eye: the
// first changes its C by the limit on the vergence (A·C) and not Θ = 1/A, the second
// Θ by the tolerance and not C, and neither changes
// with a pair's inner gap nor with the eye relief.
func TestRefineUnknowns(t *testing.T) {
	for _, name := range []string{"quick", "pair"} {
		j := demoJob(t, name)
		p, misses := nearMisses(t, j.Spec, j.library(j.Spec, j.Spec.Problem()).Lenses, 1, 2, 5, anyTrain)
		r := raycheck.NewRefiner(p, objective.ByLength)
		for _, train := range misses {
			r.Begin(train)
			r.Centre(make([]float64, r.Unknowns()))
			at := p.EyeMatrix(train)
			for k := range r.Unknowns() {
				u := make([]float64, r.Unknowns())
				u[k] = 1e-3
				moved, _, _ := r.Settle(r.Place(u))
				m := p.EyeMatrix(moved)
				got := [2]float64{(m.C - at.C) / 1e-3 * 1000 / train.AngularMagnification, (1/m.A - 1/at.A) / 1e-3}
				want := [2]float64{}
				if k < 2 {
					want[k] = [2]float64{objective.AxisVergenceDefaultD, p.MagnificationTol}[k]
				}
				// What is of second order in a thousandth of a unit is some thousandths of it.
				if math.Abs(got[0]-want[0]) > 0.01*objective.AxisVergenceDefaultD || math.Abs(got[1]-want[1]) > 0.01*p.MagnificationTol {
					t.Errorf("%s %s, unknown %d: %.5f D and %.5f of magnification, want %.5f and %.5f", name, train.DesignID(), k, got[0], got[1], want[0], want[1])
				}
			}
		}
	}
}

// TestRefineEstimates compares the stand-in for vignetting with the measured share, without
// displaced pupils, of which an estimate looks at the worst only: within
// a few tenths of a mm of where it was measured last they agree on whether the limit
// is kept, unless the share is within two percent of the pupil of the limit; and everything else
// is the same.
func TestRefineEstimates(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	kept, exceeded := 0, 0
	for _, limit := range []float64{0, 3, 10, 40} {
		j := demoJob(t, "quick")
		j.Spec.Field.WidthDeg, j.Spec.Field.HeightDeg, j.Spec.Limits.VignettedPct = 15, 11.3, &limit
		j.Spec.Eye.SharpBoxMM = new(float64)
		p, misses := nearMisses(t, j.Spec, j.library(j.Spec, j.Spec.Problem()).Lenses, 1, 5, 4, anyTrain)
		r := raycheck.NewRefiner(p, objective.ByLength)
		for _, train := range misses {
			r.Begin(train)
			away := make([]float64, r.Unknowns())
			away[r.Unknowns()-1] = 8 * random.NormFloat64()
			r.Evaluate(away)
			for range 10 {
				x := slices.Clone(away)
				for i := range x {
					x[i] += 0.2 * random.NormFloat64()
				}
				_, estimated := r.Estimate(x)
				estimated = slices.Clone(estimated)
				_, measured := r.Evaluate(x)
				measured = slices.Clone(measured)
				moved, _, _ := r.Settle(x)
				share := raycheck.NewChecker(p).Measure(moved).Metrics.VignettedPct
				n := len(measured) - 1 // vignetting is judged last
				if diff := cmp.Diff(measured[:n], estimated[:n]); diff != "" {
					t.Fatalf("%s: measured -, estimated +\n%s", train.DesignID(), diff)
				}
				over := slices.Max(estimated[n:]) > 0
				switch {
				case math.Abs(share-limit) < 2:
				case over != (share > limit):
					t.Errorf("%s: limit %v%%, %.2f%% of the pupil, estimated %v", train.DesignID(), limit, share, estimated[n:])
				case over:
					exceeded++
				default:
					kept++
				}
				r.Evaluate(away)
			}
		}
	}
	if kept < 10 || exceeded < 10 {
		t.Errorf("%d kept the limit, %d exceeded it", kept, exceeded)
	}
}

// TestRefineEstimatesOfDisplacedPupils: an estimate leaves out displaced pupils, so that no
// excess is above that of a measurement; next to a place that was measured the largest of the
// blurs is the same.
func TestRefineEstimatesOfDisplacedPupils(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	j := demoJob(t, "quick")
	p, misses := nearMisses(t, j.Spec, j.library(j.Spec, j.Spec.Problem()).Lenses, 1, 2, 4, anyTrain)
	r := raycheck.NewRefiner(p, objective.ByLength)
	same := 0
	for _, train := range misses {
		r.Begin(train)
		x := make([]float64, r.Unknowns())
		for try := range 20 {
			r.Evaluate(x)
			for i := range x {
				x[i] = 0.01 * random.NormFloat64()
			}
			_, estimated := r.Estimate(x)
			estimated = slices.Clone(estimated)
			_, measured := r.Evaluate(x)
			n := len(measured) - 1 // vignetting is judged last
			for i := range n {
				if estimated[i] > measured[i]+1e-12 {
					t.Fatalf("%s, place %d: excess %d is estimated as %v, measured %v", train.DesignID(), try, i, estimated[i], measured[i])
				}
			}
			if math.Abs(slices.Max(estimated[:n])-slices.Max(measured[:n])) < 1e-12 {
				same++
			}
		}
	}
	if same < 60 {
		t.Errorf("%d of 80 estimates have the largest excess of the measurement", same)
	}
}
