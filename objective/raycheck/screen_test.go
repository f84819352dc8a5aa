package raycheck

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"testing"

	"pgregory.net/rapid"
)

// TestBlursAreBlurred: what a few rays of one wavelength turn away for its blur, a whole near
// check of the whole train finds beyond the limit as well, and a mask that rays through the
// rear group alone turn away is blurred with any train; and neither turns away only what
// is hopeless. Limits are drawn about what is measured.
func TestBlursAreBlurred(t *testing.T) {
	type trial struct {
		p     *objective.Problem
		train *objective.Train
		share float64 // of what is measured that is allowed
	}
	var mask, view, byFew, lossless, tight int
	testlens.Examples(700, func(t *rapid.T) trial {
		p := testtrain.DrawProblem(t)
		p.NearMissFactor = testlens.Between(t, "near miss factor", 1, 4)
		train := testtrain.DrawTrainFor(t, p, objective.ErectorSingle, objective.Keplerian, objective.ErectorPair)
		testtrain.SkipHuge(t, train)
		return trial{p, train, testlens.Between(t, "share", 0.2, 1.2)}
	}, func(i int, x trial) {
		p, train := x.p, x.train
		p.Limits.Max, p.ColouredEye = map[string]float64{}, i%3 == 0
		full := NewChecker(p).Measure(train).Clone()
		for m, value := range map[metricIndex]float64{maskBlur: full.Metrics.MaskBlurArcmin, viewBlur: full.Metrics.ViewBlurArcmin} {
			if math.IsInf(value, 1) {
				value = 60
			}
			p.Limits.Max[MetricList[m].Name] = value * x.share / p.NearMissFactor
		}
		s := NewScreener(p)
		beyond := func(m metricIndex, value float64) bool {
			return value > p.NearMissFactor*p.Limits.Limit(MetricList[m].Name)*(1-1e-12)
		}
		none := full.Metrics.VignettedPct == 0
		count := func(n *int) {
			*n++
			if none {
				lossless++
			}
			if x.share > 0.9 {
				tight++
			}
		}
		s.near.take(train)
		few, all := s.few.blursView(s.near), s.near.blursView()
		if few && !all {
			t.Errorf("case %d: few rays turn away what all of the bundle's let pass", i)
		}
		if few {
			byFew++
		}
		if all {
			count(&view)
			if !beyond(viewBlur, full.Metrics.ViewBlurArcmin) {
				t.Errorf("case %d: %v of the view's blur of %v is allowed and yet it is turned away; %v %% vignetted", i, x.share, full.Metrics.ViewBlurArcmin, full.Metrics.VignettedPct)
			}
		}
		if train.Seat == objective.SeatRear && s.MaskBlurs(train.Groups[len(train.Groups)-1], train.EyeRelief) {
			count(&mask)
			if !beyond(maskBlur, full.Metrics.MaskBlurArcmin) {
				t.Errorf("case %d: %v of the mask's blur of %v is allowed and yet it is turned away; %v %% vignetted", i, x.share, full.Metrics.MaskBlurArcmin, full.Metrics.VignettedPct)
			}
		}
	})
	t.Logf("%d turned away by mask, %d by view (%d by few rays), %d of them lossless, %d of them by less than a tenth", mask, view, byFew, lossless, tight)
	if byFew == 0 || mask < 80 || view < 200 || lossless < 50 || tight == 0 {
		t.Errorf("%d turned away by mask, %d by view, %d of them lossless, %d of them by less than a tenth: says little", mask, view, lossless, tight)
	}
}
