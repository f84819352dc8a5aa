package raycheck

import (
	"fmt"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// benchmarkTrain is a relay of four doublets, twelve surfaces, that shows
// a field of 8°.
func benchmarkTrain(b *testing.B) (*objective.Problem, *objective.Train) {
	p := testtrain.Problem()
	p.TanMax, p.TanHalfWidth, p.TanHalfHeight = 0.07, 0.055, 0.043
	return p, testtrain.Simple(b, p)
}

// BenchmarkTraceSurface is one ray through one spherical surface of a block of
// all the bundles of a wavelength.
func BenchmarkTraceSurface(b *testing.B) {
	p, train := benchmarkTrain(b)
	c := NewChecker(p)
	c.prepare(train)
	r, launch := &c.blocks[c.reference].rays, &c.launches[c.reference]
	surfaces := 0
	for b.Loop() {
		r.CopyFrom(launch)
		c.throughSteps(r, c.reference, 0, len(c.steps))
		surfaces += len(c.steps) * len(r.X)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(surfaces), "ns/ray-surface")
	if r.Lost(0) {
		b.Fatal("lost")
	}
}

// BenchmarkTraceRaySurface is the same for the single-ray trace.
func BenchmarkTraceRaySurface(b *testing.B) {
	p, train := benchmarkTrain(b)
	mask, _ := p.PlaceMask(train, train.MaskGap(), 0)
	surfaces := 0
	for b.Loop() {
		points, complete := TraceRay(p, train, []float64{mask}, RayStart{WavelengthNM: 546.07, XMM: 0.5, YMM: 1, SlopeY: 0.05})
		if !complete {
			b.Fatal("lost")
		}
		surfaces += len(points)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(surfaces), "ns/ray-surface")
}

// BenchmarkMeasure is everything about one design: one that passes, of spheres
// and of aspheres, one that vignettes, and one whose wide fields lose rays.
func BenchmarkMeasure(b *testing.B) {
	p, train := benchmarkTrain(b)
	wide, lossy := *p, *p
	wide.TanMax, lossy.TanMax = 0.16, 0.3
	aspheric := asphericTrain(b, p)
	for _, c := range []struct {
		name  string
		p     *objective.Problem
		train *objective.Train
	}{{"spheres", p, train}, {"aspheres", p, aspheric}, {"vignetting", &wide, train}, {"losing", &lossy, train}} {
		b.Run(c.name, func(b *testing.B) {
			checker := NewChecker(c.p)
			for b.Loop() {
				checker.Measure(c.train)
			}
			vignetted, lossy := checker.report.Metrics.VignettedPct > 0, false
			for i := range checker.sampledBundles {
				lossy = lossy || checker.sampledBundles[i].lossy
			}
			if vignetted != (c.p != p) || lossy != (c.name == "losing") {
				b.Fatalf("vignetted: %v, loses rays: %v", vignetted, lossy)
			}
		})
	}
}

// asphericTrain is a relay of four single lenses of two aspheres each.
func asphericTrain(b *testing.B, p *objective.Problem) *objective.Train {
	lens := func(f, diameter float64) *catalog.Lens {
		l := testlens.Equiconvex(f, diameter, diameter/3, testlens.DenseCrown)
		for i, sign := range []float64{1, -1} {
			l.Surfaces[i].Conic = -0.7
			l.Surfaces[i].Asphere = []float64{sign * -2e-7, sign * 1e-10}
		}
		return l
	}
	return testtrain.Upright(b, p, 20,
		testtrain.Group(p, []*catalog.Lens{lens(40, 28)}),
		testtrain.Group(p, []*catalog.Lens{lens(80, 34), lens(80, 34)}),
		testtrain.Group(p, []*catalog.Lens{lens(40, 28)}),
	)
}

// BenchmarkCheckFails is a design that fails on the sharpness of the mask, and
// one that fails on that of the view.
func BenchmarkCheckFails(b *testing.B) {
	for _, name := range []string{"mask_blur_arcmin", "view_blur_arcmin"} {
		b.Run(name, func(b *testing.B) {
			p, train := benchmarkTrain(b)
			p.Limits.Max[name] = 0.1
			c := NewChecker(p)
			for b.Loop() {
				if r := c.Check(train); r.FailedBy != name {
					b.Fatal(r.FailedBy)
				}
			}
		})
	}
}

// BenchmarkScreen is a screen of a train whose view is blurred by some factor more than its
// limit, so that all rays of a bundle turn it away, or few of them.
func BenchmarkScreen(b *testing.B) {
	for _, factor := range []float64{5, 10} {
		b.Run(fmt.Sprintf("by=%v", factor), func(b *testing.B) {
			p, train := benchmarkTrain(b)
			p.NearMissFactor = 1.3
			blur := NewChecker(p).Measure(train).Metrics.ViewBlurArcmin
			p.Limits.Max["view_blur_arcmin"] = blur / factor / p.NearMissFactor
			train.ReliefMost = train.EyeRelief
			s := NewScreener(p)
			for b.Loop() {
				s.near.groups = s.near.groups[:0] // as for another train
				if s.Screen(train).Failed == "" {
					b.Fatal("let pass")
				}
			}
		})
	}
}
