package bench

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// TestNominal holds a build without errors against the ray check, metric for metric.
// The rays are the same but for their mirror images, which the ray check does not
// trace, so that what is left is rounding; vignetting, for which both interpolate
// along different chords, agrees to half a per cent of the pupil's area.
func TestNominal(t *testing.T) {
	compared, two := 0, 0
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
			{MaskBlur, math.Max(m.MaskBlurArcmin, secondOf(train, m.Second.MaskBlurArcmin))}, {ViewDefocus, m.ViewDefocusD}, {ViewAstigmatism, m.ViewAstigmatismD},
			{ViewBlur, m.ViewBlurArcmin}, {ViewRefocus, m.ViewRefocusD}, {AxisVergence, m.AxisVergenceD},
			{Distortion, m.DistortionPct}, {LateralColour, m.LateralColourArcmin}, {AxialColour, m.AxialColourD},
			{ViewpointShift, p.ViewpointShift(train)}, {MagnificationError, 0}, {Registration, 0}, {Pointing, 0}, {PointingUp, 0},
			{LastGap, 0}, {FrontGap, 0}, {StageZero, 0}, {PictureShift, 0},
		} {
			near(t, Measures[c.figure].Name, o[c.figure], c.want, 1e-6*(1+math.Abs(c.want)))
		}
		near(t, "vignetted_pct", o[Vignetted], m.VignettedPct, 0.5)
		d := p.Describe(train)
		pixel, step := d.PixelArcmin, d.DepthStepD
		if d.Second != nil {
			pixel, step = math.Max(pixel, d.Second.PixelArcmin), math.Max(step, d.Second.DepthStepD)
			two++
		}
		near(t, "pixel_arcmin", o[Pixel], pixel, 1e-9*pixel)
		near(t, "depth_step_D", o[DepthStep], step, 1e-9*step)
		for k := range b.masks {
			for i, s := range want.Mask(k).Setpoints {
				near(t, "setpoint", b.masks[k].setpoint[i], s.MaskMM, 1e-8)
			}
		}
		compared++
	})
	if !testing.Short() && (compared < 30 || two < 5) {
		t.Errorf("only %d trains compared, %d with two masks", compared, two)
	}
}

// secondOf is a figure of a second mask, 0 where there is none.
func secondOf(train *objective.Train, x float64) float64 {
	if train.Seat != objective.SeatBoth {
		return 0
	}
	return x
}

// TestTwoMasksBuilt: masks without glass take nothing from each other's light. A build with two has
// the worst of what the builds with one each have, the same view, and each stage a zero of
// its own.
func TestTwoMasksBuilt(t *testing.T) {
	compared, frontWorse, rearWorse := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := drawTrain(t)
		if train.Layout == objective.Keplerian {
			t.Skip("one image")
		}
		p.MaskGlass = 0
		on := Compensators{LastGap: true, StageZero: rapid.Bool().Draw(t, "zero"), PictureShift: rapid.Bool().Draw(t, "shift")}
		draw := func(what string, most float64) float64 { return rapid.Float64Range(-most, most).Draw(t, what) }
		gap, lean, off := draw("gap", 0.3), draw("tilt", 0.01), draw("decentre", 0.2)
		rear := MaskError{draw("roll", 0.01), draw("zero error", 0.3)}
		front := MaskError{draw("roll of the second", 0.01), draw("zero error of the second", 0.3)}
		measure := func(seat objective.Seat, first, second MaskError) Outcome {
			at := *train
			at.Seat, at.Gaps = seat, nil
			if failed := p.Assemble(&at, 0); failed == objective.Focal {
				t.Fatal(failed)
			}
			b := New(p, &at, on, false)
			return b.Measure(build(b, func(x *Build) {
				x.GapsMM[0], x.Groups[1].TiltRad[0], x.Groups[0].DecentreMM[1] = gap, lean, off
				x.MaskError, x.Second = first, second
			}))
		}
		one, two, both := measure(objective.SeatRear, rear, MaskError{}), measure(objective.SeatFront, front, MaskError{}), measure(objective.SeatBoth, rear, front)
		if math.IsInf(one[ViewBlur], 1) || math.IsInf(two[MaskBlur], 1) {
			return
		}
		want := one
		for _, k := range []int{MaskBlur, Pixel, DepthStep, Registration, StageZero, PictureShift} {
			want[k] = larger(one[k], two[k])
		}
		for k := range both {
			if k != Vignetted {
				near(t, Measures[k].Name, both[k], want[k], 1e-9*(1+math.Abs(want[k])))
			}
		}
		compared++
		for _, k := range []int{MaskBlur, Pixel, Registration} {
			if two[k] > one[k] {
				frontWorse++
			} else {
				rearWorse++
			}
		}
	})
	if !testing.Short() && (compared < 30 || frontWorse < 20 || rearWorse < 20) {
		t.Errorf("%d trains compared; %d figures are worse at image 1, %d at image 2", compared, frontWorse, rearWorse)
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
