package raycheck

import (
	"math"
	"testing"
)

// TestDistortion: over the field samples of a check the largest distortion is the
// metric, with its sign; and it goes with the square of a small angle, as the
// third order has it (W. T. Welford, Aberrations of Optical Systems, 1986,
// section 8.2, from memory).
func TestDistortion(t *testing.T) {
	compared, grown := 0, 0
	for i, c := range checkCases(25) {
		m := NewChecker(c.p).Measure(c.train).Metrics
		if math.IsInf(m.DistortionPct, 0) {
			continue
		}
		compared++
		worst := 0.0
		for _, fraction := range FieldFractions[1:] {
			if fraction > c.p.Limits.FieldFraction {
				break
			}
			worst = larger(worst, Distortion(c.p, c.train, fraction))
		}
		// The same rays, but for how their slopes are rounded.
		if !(math.Abs(worst-m.DistortionPct) <= 1e-6*math.Max(1, math.Abs(worst))) {
			t.Errorf("case %d: %v over the samples, %v as the metric", i, worst, m.DistortionPct)
		}
		p := *c.p
		p.Pupil = 1e-3 // so that coma has no say
		inner, middle, outer := Distortion(&p, c.train, 0.01), Distortion(&p, c.train, 0.02), Distortion(&p, c.train, 0.04)
		if math.Abs(middle-inner) > 1e-4 {
			grown++
			if ratio := (outer - middle) / (middle - inner); math.Abs(ratio-4) > 0.1 {
				t.Errorf("case %d: between small angles that double it grows by a factor of %v, not 4", i, ratio)
			}
		}
	}
	if compared < 10 || grown < 10 {
		t.Errorf("only %d trains were compared, %d at small angles", compared, grown)
	}
}
