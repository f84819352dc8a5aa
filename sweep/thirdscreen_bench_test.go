package sweep

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"
	"text/tabwriter"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
	"relaysweep/objective/thirdorder"
)

// BenchmarkThirdOrder prints, for the demos, how far estimates by third-order sums stand below
// exact metrics: quantiles of their ratio, by metric, over trains that meet the paraxial
// requirements, from the lengths at which the first of them appear to those at which designs pass,
// each once and equally many out of each tenth of these lengths as far as there are as many; and
// how the verdicts of the third-order screen compare with those of rays. One run is an operation.
func BenchmarkThirdOrder(b *testing.B) {
	const trains = 100_000
	for _, c := range []struct {
		demo     string
		from, to float64 // mm
	}{{"quick", 150, 320}, {"pair", 180, 280}, {"stacks", 130, 150}, {"whole", 92, 108}} {
		b.Run(c.demo, func(b *testing.B) {
			for b.Loop() {
				compareThirdOrder(b, c.demo, c.from, c.to, trains)
			}
		})
	}
}

// thirdRatios are exact metrics and estimates of one train.
type thirdRatios struct {
	exact, estimate [7]float64
	rays, third     bool // the screen lets it through
}

var thirdMetrics = [7]string{"view_blur", "mask_blur", "defocus", "astigmatism", "distortion", "lateral", "axial"}

func compareThirdOrder(b *testing.B, demo string, from, to float64, most int) {
	j := demoJob(b, demo)
	s := j.Spec.Grid()[0].Spec
	p := s.Problem()
	o := j.options(s)
	o.refine.thirdOrder = 0
	lib := j.library(s, p)
	var all []thirdRatios
	const tenths = 10
	a, err := newExactSearch(b.Context(), lib, o)
	if err != nil {
		b.Fatal(err)
	}
	a.shared.mask = nil
	screener, checker := raycheck.NewScreener(p), raycheck.NewChecker(p)
	third := newThirdScreen(p, 1, 1).take()
	estimator, maker := thirdorder.NewEstimator(p, raycheck.FieldSamples(p), 0), thirdorder.NewMaker(p)
	a.begun = true
	for i := range tenths {
		at := func(i int) float64 { return from + (to-from)*float64(i)/tenths }
		a.lo, a.step, a.pending, a.brought = at(i), (to-from)/1e4, nil, 0
		a.backlog = newBacklog(0, math.Inf(1))
		wanted := len(all) + (most-len(all))/(tenths-i)
		for len(all) < wanted {
			batch, more, err := a.next(b.Context(), min(1000, wanted-len(all)))
			if err != nil {
				b.Fatal(err)
			}
			beyond := slices.IndexFunc(batch, func(c candidate) bool { return c.ranked >= at(i+1) })
			if beyond >= 0 {
				batch, more = batch[:beyond], false
			}
			for k := range batch {
				train, err := batch[k].solve(lib)
				if err != nil {
					b.Fatal(err)
				}
				var groups []*thirdorder.Group
				for _, g := range train.Groups {
					groups = append(groups, maker.Group(g))
				}
				e, m := estimator.Estimate(train, groups), checker.Measure(train).Metrics
				all = append(all, thirdRatios{
					[7]float64{m.ViewBlurArcmin, m.MaskBlurArcmin, m.ViewDefocusD, m.ViewAstigmatismD, m.DistortionPct, m.LateralColourArcmin, m.AxialColourD},
					[7]float64{e.ViewBlurArcmin, e.MaskBlurArcmin, e.ViewDefocusD, e.ViewAstigmatismD, e.DistortionPct, e.LateralColourArcmin, e.AxialColourD},
					screener.Screen(train).Failed == "", !third.turnsAway(train, batch[k].groups),
				})
			}
			if !more {
				break
			}
		}
	}
	printThirdOrder(demo, p, all)
}

func printThirdOrder(demo string, p *objective.Problem, all []thirdRatios) {
	limit := p.NearMissFactor * p.Limits.Limit("view_blur_arcmin")
	out := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(out, "%s: estimate over exact value\t\ttrains\t1 %%\t10 %%\t50 %%\t90 %%\t99 %%\tlargest\t\n", demo)
	for m, name := range thirdMetrics {
		for _, band := range []struct {
			name     string
			from, to float64 // of the exact view blur, times its limit and the factor
		}{{"all", 0, math.Inf(1)}, {"near: view blur within 3 x", 0, 3}, {"rays let through", -1, -1}} {
			var ratios []float64
			for i := range all {
				r := all[i].estimate[m] / all[i].exact[m]
				in := all[i].exact[0] >= band.from*limit && all[i].exact[0] < band.to*limit
				if band.from < 0 {
					in = all[i].rays
				}
				if in && !math.IsInf(all[i].exact[m], 0) && !math.IsNaN(r) {
					ratios = append(ratios, r)
				}
			}
			if len(ratios) == 0 {
				continue
			}
			slices.SortFunc(ratios, cmp.Compare[float64])
			at := func(q float64) float64 { return ratios[int(q*float64(len(ratios)-1))] }
			fmt.Fprintf(out, "%s\t%s\t%d\t%.2f\t%.2f\t%.2f\t%.2f\t%.2f\t%.3f\t\n", name, band.name, len(ratios), at(0.01), at(0.1), at(0.5), at(0.9), at(0.99), at(1))
		}
	}
	out.Flush()
	var count [2][2]int
	index := map[bool]int{true: 1}
	for i := range all {
		count[index[all[i].rays]][index[all[i].third]]++
	}
	fmt.Printf("let through by rays: %d, of which third order turns away %d; turned away by rays: %d, of which third order lets through %d\n",
		count[1][0]+count[1][1], count[1][0], count[0][0]+count[0][1], count[0][1])
}
