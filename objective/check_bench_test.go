package objective

import "testing"

// benchmarkTrain is a relay of four doublets, twelve surfaces, that shows
// a field of 8°.
func benchmarkTrain(b *testing.B) (*Problem, *Train) {
	p := rayProblem()
	p.TanMax, p.TanHalfWidth, p.TanHalfHeight = 0.07, 0.055, 0.043
	return p, simpleTrain(b, p)
}

// BenchmarkTraceSurface is one ray through one spherical surface of a block of
// all the bundles of a wavelength.
func BenchmarkTraceSurface(b *testing.B) {
	p, train := benchmarkTrain(b)
	c := NewChecker(p)
	c.prepare(train)
	r, launch := &c.blocks[c.reference].rays, &c.launch
	surfaces := 0
	for b.Loop() {
		r.copyFrom(launch)
		c.throughSteps(r, c.reference, 0, len(c.steps))
		surfaces += len(c.steps) * len(r.x)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(surfaces), "ns/ray-surface")
	if r.lost(0) {
		b.Fatal("lost")
	}
}

// BenchmarkTraceRaySurface is the same for the single-ray trace.
func BenchmarkTraceRaySurface(b *testing.B) {
	p, train := benchmarkTrain(b)
	mask, _ := p.PlaceMask(train, 0)
	surfaces := 0
	for b.Loop() {
		points, complete := p.TraceRay(train, mask, 546.07, 0.5, 1, 0, 0.05)
		if !complete {
			b.Fatal("lost")
		}
		surfaces += len(points)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(surfaces), "ns/ray-surface")
}

// BenchmarkMeasure is everything about one design.
func BenchmarkMeasure(b *testing.B) {
	p, train := benchmarkTrain(b)
	c := NewChecker(p)
	for b.Loop() {
		if r := c.Measure(train); r.FailedBy != "" {
			b.Fatal(r.FailedBy)
		}
	}
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
