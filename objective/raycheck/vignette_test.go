package raycheck

import (
	"math"

	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestVignetted compares the vignetted area with counting rays of a dense
// uniform filling by the single-ray trace.
func TestVignetted(t *testing.T) {
	partial := 0
	for i, c := range checkCases(24) {
		p := *c.p
		p.DepthSteps = 1
		p.VergenceNear = 0
		var apertures []float64
		for _, g := range c.train.Groups {
			for _, e := range g.Elements {
				// Apertures that cut something off.
				e.Lens.ClearMM *= 0.75
				for range e.Surfaces {
					apertures = append(apertures, e.Lens.ClearMM/2)
				}
			}
		}
		checker := NewChecker(&p)
		checker.Measure(c.train)
		mask, _ := p.PlaceMask(c.train, c.train.MaskGap(), 0)
		for _, field := range []int{1, 3} {
			for _, at := range [][2]float64{{0, 0}, {0, p.Box / 2}, {0, -p.Box / 2}, {p.Box / 2, 0}} {
				b := &checker.sampledBundles[field]
				got := checker.vignetted(b, at[0], at[1], p.Pupil/2)
				if got == 0 || got == 1 {
					continue
				}
				const cells = 120
				var all, blocked float64
				for j := range cells * cells {
					x := p.Pupil * ((float64(j%cells)+0.5)/cells - 0.5)
					y := p.Pupil * ((float64(j/cells)+0.5)/cells - 0.5)
					if math.Hypot(x, y) > p.Pupil/2 {
						continue
					}
					all++
					points, complete := TraceRay(&p, c.train, []float64{mask}, RayStart{p.WavelengthsNM[p.Reference()], x + at[0], y + at[1], 0, b.tan})
					for _, q := range points {
						if q.At == AtLens && math.Hypot(q.X, q.Y) > apertures[q.Surface] {
							complete = false
						}
					}
					if !complete {
						blocked++
					}
				}
				partial++
				// Counting 11 000 cells is itself good to about 0.1 %.
				testlens.Near(t, "vignetted share", got, blocked/all, 0.002)
				if t.Failed() {
					t.Fatalf("case %d, field %d, place %v", i, field, at)
				}
				if checker.clears(b, at[0], at[1], p.Pupil/2) && blocked > 0 {
					t.Errorf("case %d: a pupil of which %g %% is vignetted counts as clear", i, 100*blocked/all)
				}
			}
		}
	}
	if partial < 10 {
		t.Errorf("only %d pupils were vignetted in part", partial)
	}
}

// TestVignettedEstimate compares the estimate over the grid with the area rule, at
// apertures that cut off something, and the largest share that is found with
// few looks with the largest of all fields, depths and places.
func TestVignettedEstimate(t *testing.T) {
	worst, compared := 0.0, 0
	for i, c := range checkCases(40) {
		p := *c.p
		p.DepthSteps = 4
		for _, g := range c.train.Groups {
			for _, e := range g.Elements {
				e.Lens.ClearMM *= 0.8
			}
		}
		checker := NewChecker(&p)
		found := checker.Measure(c.train).Metrics.VignettedPct
		largest := 0.0
		for k := range checker.sampledBundles {
			b := &checker.sampledBundles[k]
			over := slices.Clone(checker.grid(b))
			for place := range pupilPlaces {
				x, y := pupilPlace(&p, place)
				share := checker.vignetted(b, x, y, p.Pupil/2)
				largest = max(largest, 100*share)
				if share > 0 && share < 1 {
					compared++
					worst = max(worst, math.Abs(checker.gridShare(over, place)-share))
				}
			}
		}
		// The area rule itself is good to 0.1.
		testlens.Near(t, "vignetted_pct", found, largest, 0.1)
		if t.Failed() {
			t.Fatalf("case %d", i)
		}
	}
	t.Logf("%d shares; the estimate is off by at most %.4f", compared, worst)
	if worst > coarseError || compared < 100 {
		t.Errorf("of %d shares one is estimated with an error of %.4f", compared, worst)
	}
}

// TestVignettedSegment checks the area rule on a disc cut by a circle, whose
// area is known in closed form: a window at the eye as the only aperture. Its
// edge is more strongly curved than a lens's ever is in the pupil, so that the
// rule is allowed 0.2 % here.
func TestVignettedSegment(t *testing.T) {
	p := testtrain.Problem()
	train := testtrain.Simple(t, p)
	checker := NewChecker(p)
	checker.prepare(train)
	for _, clear := range []float64{1, 1.5, 1.9, 1.999} {
		// A window at the eye: heights there are pupil heights.
		checker.steps = append(checker.steps[:0], step{clear: clear})
		checker.ratios[checker.reference] = append(checker.ratios[checker.reference][:0], 1)
		want := 1 - clear*clear/4
		testlens.Near(t, "centred", checker.vignetted(&checker.sampledBundles[0], 0, 0, 2), want, 2e-3)
		// Displaced by 1: the overlap of two circles (lens formula).
		d, r, s := 1.0, 2.0, clear
		want = math.Pi * s * s
		if d+s > r {
			want = r*r*math.Acos((d*d+r*r-s*s)/(2*d*r)) + s*s*math.Acos((d*d+s*s-r*r)/(2*d*s)) -
				math.Sqrt((-d+r+s)*(d+r-s)*(d-r+s)*(d+r+s))/2
		}
		want = 1 - want/(math.Pi*r*r)
		testlens.Near(t, "up", checker.vignetted(&checker.sampledBundles[0], 0, 1, 2), want, 2e-3)
		testlens.Near(t, "sideways", checker.vignetted(&checker.sampledBundles[0], 1, 0, 2), want, 2e-3)
	}
}

// TestVignettedClear checks that a train with room to spare shows no
// vignetting, and one far from passing its field nothing but.
func TestVignettedClear(t *testing.T) {
	p := testtrain.Problem()
	p.TanMax, p.TanHalfHeight, p.TanHalfWidth = 0.02, 0.01, 0.01
	train := testtrain.Simple(t, p)
	if v := NewChecker(p).Measure(train).Metrics.VignettedPct; v != 0 {
		t.Errorf("vignetted by %g %%, want 0", v)
	}
	p.TanMax = 1.2
	if v := NewChecker(p).Measure(train).Metrics.VignettedPct; v != 100 {
		t.Errorf("a field far beyond the lenses is vignetted by %g %%, want 100", v)
	}
}

// TestVignettedLargest: vignetted_pct is no less than the share of any place of the pupil at the
// ends of the ranges of field and depth. The area rule itself is good to 0.1.
func TestVignettedLargest(t *testing.T) {
	vignetted := 0
	testlens.Examples(300, func(t *rapid.T) checkCase {
		p, train := testtrain.DrawTraced(t)
		p.DepthSteps = 2
		return checkCase{p, train}
	}, func(i int, c checkCase) {
		checker := NewChecker(c.p)
		found := checker.Measure(c.train).Metrics.VignettedPct
		for _, k := range checker.corners() {
			for place := range pupilPlaces {
				x, y := pupilPlace(c.p, place)
				share := 100 * checker.vignetted(&checker.sampledBundles[k], x, y, c.p.Pupil/2)
				if share > found+0.1 {
					t.Errorf("case %d: %.2f %% of the pupil at place %d in bundle %d, but vignetted_pct is %.2f", i, share, place, k, found)
				}
			}
		}
		if found > 0 {
			vignetted++
		}
	})
	if vignetted < 100 {
		t.Errorf("only %d trains vignette", vignetted)
	}
}
