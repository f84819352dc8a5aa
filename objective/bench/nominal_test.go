package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective/raycheck"
)

// TestNominal holds a build without errors against the ray check, metric for metric.
// The rays are the same but for their mirror images, which the ray check does not
// trace, so that what is left is rounding; vignetting, for which both interpolate
// along different chords, agrees to half a per cent of the pupil's area.
func TestNominal(t *testing.T) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := drawTrain(t)
		on := all
		if rapid.Bool().Draw(t, "fixed") {
			on = Compensators{}
		}
		p.ColouredEye = rapid.Bool().Draw(t, "coloured eye")
		want := raycheck.NewChecker(p).Measure(train)
		m := &want.Metrics
		if math.IsInf(m.ViewBlurArcmin, 1) || m.VignettedPct > 40 {
			return // bundles of which rays are lost are filled in another way
		}
		b := New(p, train, on, true)
		o := b.Measure(b.NewBuild())
		for _, c := range []struct {
			figure int
			want   float64
		}{
			{MaskBlur, m.MaskBlurArcmin}, {ViewDefocus, m.ViewDefocusD}, {ViewAstigmatism, m.ViewAstigmatismD},
			{ViewBlur, m.ViewBlurArcmin}, {ViewRefocus, m.ViewRefocusD}, {AxisVergence, m.AxisVergenceD},
			{Distortion, m.DistortionPct}, {LateralColour, m.LateralColourArcmin}, {AxialColour, m.AxialColourD},
			{ViewpointShift, p.ViewpointShift(train)}, {MagnificationError, 0}, {Registration, 0}, {Pointing, 0}, {PointingUp, 0},
			{LastGap, 0}, {FrontGap, 0}, {StageZero, 0}, {PictureShift, 0},
		} {
			near(t, Measures[c.figure].Name, o[c.figure], c.want, 1e-6*(1+math.Abs(c.want)))
		}
		near(t, "vignetted_pct", o[Vignetted], m.VignettedPct, 0.5)
		d := p.Describe(train)
		near(t, "pixel_arcmin", o[Pixel], d.PixelArcmin, 1e-9*d.PixelArcmin)
		near(t, "depth_step_D", o[DepthStep], d.DepthStepD, 1e-9*d.DepthStepD)
		for i, s := range want.Setpoints {
			near(t, "setpoint", b.nominal.setpoint[i], s.MaskMM, 1e-8)
		}
		compared++
	})
	if compared < 30 {
		t.Errorf("only %d trains compared", compared)
	}
}

// TestMeasureDoesNotAllocate: thousands of builds are measured one after the other.
func TestMeasureDoesNotAllocate(t *testing.T) {
	p := testProblem()
	b := New(p, simpleTrain(t, p), all, true)
	one := build(b, func(x *Build) { x.Lenses[1].DecentreMM[0] = 0.1 })
	if n := testing.AllocsPerRun(3, func() { b.Measure(one) }); n != 0 {
		t.Errorf("%v allocations a build", n)
	}
}
