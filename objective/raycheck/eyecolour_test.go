package raycheck

import (
	"math"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
)

// TestEyeColour: with lenses that have no dispersion what is left is the colour of the eye. From
// 486 to 656 nm it is 0.896 D (computed from L. N. Thibos, M. Ye, X. Zhang, A. Bradley, Appl. Opt. 31, 3594,
// 1992); a small pupil blurs the mask by its radius over √2 times the standard deviation of
// the refraction about the mean, where the mask is sharpest. An eye without colour sees none.
func TestEyeColour(t *testing.T) {
	glass := testlens.ConstantGlass(1.5)
	refraction := []float64{-0.6445, -0.0044, 0.2517} // at 486, 589 and 656 nm, D, the table's four decimals
	weights := []float64{1, 3, 2}
	for _, magnification := range []float64{1, 1.4} {
		p := testtrain.Problem()
		p.WavelengthsNM, p.Weights, p.Magnification = []float64{486, 589, 656}, weights, magnification
		p.Pupil, p.Box, p.TanMax, p.ColouredEye = 0.05, 0, 1e-3, true
		train := testtrain.Upright(t, p, 20,
			testtrain.Group(p, []*catalog.Lens{testlens.Equiconvex(60, 30, 6, glass)}),
			testtrain.Group(p, []*catalog.Lens{testlens.Equiconvex(40, 30, 6, glass)}),
			testtrain.Group(p, []*catalog.Lens{testlens.Equiconvex(50, 30, 6, glass)}))
		report := NewChecker(p).Measure(train).Clone()
		m := report.Metrics
		theta := train.AngularMagnification
		testlens.Near(t, "axial_colour_D", m.AxialColourD, 0.896/(theta*theta), 6e-4)
		var mean, square float64
		for i, d := range refraction {
			mean += weights[i] / 6 * d
			square += weights[i] / 6 * d * d
		}
		blur := p.Pupil / 2 / math.Sqrt2 * math.Sqrt(square-mean*mean) / 1000 * 10800 / math.Pi
		testlens.Near(t, "mask_blur_arcmin", m.MaskBlurArcmin, blur, 1e-3*blur)
		// Each colour is sharp where an apparent point of its vergence is imaged, in a cone that is as
		// wide as 1 - p·V with the eye 20 mm behind the rear focal point.
		var sharp, cones float64
		for i, d := range refraction {
			v := -(d - refraction[1]) / 1000
			at, _ := p.PlaceMask(train, train.MaskGap(), v)
			cone := weights[i] * (1 - 20*v) * (1 - 20*v)
			sharp, cones = sharp+cone*at, cones+cone
		}
		testlens.Near(t, "mask_mm", report.Setpoints[0].MaskMM, sharp/cones, 2e-4)
		testlens.Near(t, "blur_mismatch_pct", m.BlurMismatchPct, 0, 0.3)

		p.ColouredEye = false
		m = NewChecker(p).Measure(train).Metrics
		testlens.Near(t, "axial_colour_D without the eye's", m.AxialColourD, 0, 1e-6)
		testlens.Near(t, "mask_blur_arcmin without the eye's", m.MaskBlurArcmin, 0, 1e-3*blur)
	}
}
