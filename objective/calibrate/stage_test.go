package calibrate

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/raycheck"
)

// testStage is a unit relay of thick singlets with a small pupil and one wavelength.
func testStage(t testing.TB) (*Stage, *objective.Problem, *objective.Train) {
	t.Helper()
	glass := catalog.NewAbbe("crown", 1.5168, 64.2, 2.51, "test")
	p := &objective.Problem{
		WavelengthsNM: []float64{546.07}, Weights: []float64{1},
		Magnification: 1, MagnificationTol: 0.01, AirGapMin: 0.2, GroupGapMin: 1, LengthMax: math.Inf(1),
		TanHalfWidth: 0.01, TanHalfHeight: 0.01, TanMax: 0.014,
		Pupil: 1, ReliefMin: 10, ReliefMax: 80, AccommodationD: 8, RefocusMaxD: 2, CombinerIndex: 1.5168,
		VergenceNear: 0.004, DepthSteps: 5, MaskWidth: 36, MaskHeight: 24, MaskPixel: 0.02, MaskGlassIndex: 1.52,
		Clearance: 1, MaskTransmits: 1, Travel: 15, StageResolution: 0.01, StageSpeed: 20,
		Limits: objective.Limits{FieldFraction: 0}, // sharpness on the axis only
	}
	train := &objective.Train{Layout: objective.ErectorSingle, Seat: objective.SeatRear}
	for _, f := range []float64{50, 50, 50} {
		r := 2 * (glass.Nd() - 1) * f
		l := &catalog.Lens{
			Part: "one", DiameterMM: 25, ClearMM: 22, ThicknessMM: []float64{4}, Glasses: []*catalog.Glass{glass},
			Surfaces: []catalog.Surface{{RadiusMM: r}, {RadiusMM: -r}},
			LossPct:  catalog.Unset, Density: catalog.Unset, Price: 1, EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
		}
		train.Groups = append(train.Groups, p.NewGroup(objective.NewLibrary(p, []*catalog.Lens{l}).Elements[0]))
	}
	if failed := p.Assemble(train, 0); failed != objective.Met {
		t.Fatalf("the train does not assemble: %v", failed)
	}
	train.EyeRelief = train.Groups[2].BFDMM + 10
	return NewStage(p, train, 0), p, train
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.10g, want %.10g within %.3g", what, got, want, tolerance)
	}
}

// TestReadings: the design's readings are its stage table, and those of another focal
// length and eye follow Newton's equation x = f²/(d - p) (W. J. Smith, Modern Optical
// Engineering, 4th ed., 2008, Eq. 2.3) but for the aberrations of a small pupil.
func TestReadings(t *testing.T) {
	s, p, train := testStage(t)
	table := raycheck.NewChecker(p).Measure(train)
	var at []float64
	for _, row := range table.Setpoints {
		at = append(at, row.VergenceD)
	}
	for i, x := range s.Readings(s.Design(), at) {
		near(t, "stage table", x, table.Setpoints[i].MaskMM-table.Setpoints[0].MaskMM, 1e-9)
	}
	// A depth traced by itself, with three wavelengths: what interpolation leaves is far
	// below a stage's step.
	p.WavelengthsNM, p.Weights = []float64{479.99, 546.07, 643.85}, []float64{1, 2, 1}
	colours := NewStage(p, train, 0)
	far := raycheck.NewCheckerAt(p, []float64{0}).Measure(train).Setpoints[0].MaskMM
	uneven := []float64{0, 0.1, 0.3, 2.2, 3.9}
	for i, x := range colours.Readings(colours.Design(), uneven) {
		alone := raycheck.NewCheckerAt(p, []float64{uneven[i] / 1000}).Measure(train).Setpoints[0].MaskMM
		near(t, "depth by itself", x, alone-far, 5e-5)
	}
	design := s.Design()
	for _, c := range []struct{ zero, focal, eye float64 }{{0, 1, 0}, {0.3, 1.02, 0}, {-0.2, 0.99, 4}} {
		f := c.focal * design[RearFocal]
		changed := s.changed(f, c.eye)
		rear := changed.Groups[2]
		near(t, "focal length", rear.FocalMM, f, 1e-10)
		eye := changed.EyeRelief - rear.BFDMM
		for i, x := range s.Readings([]float64{c.zero, f, c.eye}, at) {
			var newton float64
			if at[i] > 0 {
				newton = f * f / (1000/at[i] - eye)
			}
			near(t, "Newton", x, c.zero+newton, 0.02)
		}
	}
}

// measure simulates measurements of a stage with true parameters.
func measure(s *Stage, truth, at []float64, sigma float64, noise *rand.Rand) []Measurement {
	var out []Measurement
	for i, x := range s.Readings(truth, at) {
		out = append(out, Measurement{at[i], x + sigma*noise.NormFloat64(), sigma})
	}
	return out
}

// TestCoverage: of 2,000 simulated calibrations the 95 % intervals of each parameter, and
// the band of the corrected table, hold the truth in 93 to 97 %, with errors as given and
// with scaled ones. By chance alone a count would be off by 1 % in 4 of 100 cases.
func TestCoverage(t *testing.T) {
	s, _, _ := testStage(t)
	truth := []float64{0.31, 1.008 * s.focal, 1.7}
	at := []float64{0, 0, 0.5, 1, 1.5, 2, 2.5, 3, 3.5, 4, 4}
	ask := []float64{0.7, 3.3}
	want := s.Readings(truth, ask)
	noise := rand.New(rand.NewPCG(1, 2))
	const trials = 2000
	var held [2][parameterCount + 2]int
	for range trials {
		c, err := s.Calibrate(measure(s, truth, at, 0.01, noise), Options{KeepOutliers: true})
		if err != nil {
			t.Fatal(err)
		}
		for scaled := range 2 {
			c.Scaled = scaled == 1
			for k := range parameterCount {
				if math.Abs(c.Parameters[k]-truth[k]) <= c.Half(k) {
					held[scaled][k]++
				}
			}
			readings, half := c.Table(ask)
			for i := range ask {
				if math.Abs(readings[i]-want[i]) <= half[i] {
					held[scaled][parameterCount+i]++
				}
			}
		}
	}
	for scaled := range held {
		for k, n := range held[scaled] {
			if share := float64(n) / trials; share < 0.93 || share > 0.97 {
				t.Errorf("scaled %d, quantity %d: the interval holds the truth in %.1f %%", scaled, k, 100*share)
			}
		}
	}
}

// TestCalibrate: without noise the truth comes back; what is held stays; chi-squared has
// the probability of its scatter; a reading that is a division of the drum off is found,
// two that are off alike do not hide each other, and nothing else is left out.
func TestCalibrate(t *testing.T) {
	s, _, _ := testStage(t)
	truth := []float64{-0.42, 0.99 * s.focal, -2}
	at := []float64{0, 0.25, 0.5, 0.75, 1, 1.25, 1.5, 1.75, 2, 2.25, 2.5, 2.75, 3, 3.25, 3.5, 4}
	noise := rand.New(rand.NewPCG(3, 4))
	exact := measure(s, truth, at, 0, noise)
	for i := range exact {
		exact[i].SigmaMM = 0.01
	}
	c, err := s.Calibrate(exact, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for k, want := range truth {
		near(t, ParameterNames[k], c.Parameters[k], want, 1e-5)
	}
	if c.Fit.Probability < 0.999999 || len(c.Outliers) > 0 {
		t.Errorf("without noise: probability %v, outliers %v", c.Fit.Probability, c.Outliers)
	}
	held, err := s.Calibrate(exact, Options{Held: []int{Eye}})
	if err != nil {
		t.Fatal(err)
	}
	if held.Parameters[Eye] != 0 || held.StandardError(Eye) != 0 || held.StandardError(RearFocal) >= c.StandardError(RearFocal) {
		t.Errorf("held eye: %v ± %v", held.Parameters[Eye], held.StandardError(Eye))
	}
	noisy := measure(s, truth, at, 0.01, noise)
	noisy[5].StageMM += 0.5
	noisy[6].StageMM += 0.5
	c, err = s.Calibrate(noisy, Options{})
	if err != nil {
		t.Fatal(err)
	}
	slices.Sort(c.Outliers)
	if !slices.Equal(c.Outliers, []int{5, 6}) {
		t.Errorf("outliers %v, want 5 and 6", c.Outliers)
	}
	near(t, "focal length without outliers", c.Parameters[RearFocal], truth[RearFocal], 5*c.StandardError(RearFocal))
	kept, err := s.Calibrate(noisy, Options{KeepOutliers: true})
	if err != nil {
		t.Fatal(err)
	}
	if kept.Fit.Probability > 1e-6 {
		t.Errorf("with outliers the probability is %v", kept.Fit.Probability)
	}
	c.Scaled = true
	near(t, "scaled error", c.StandardError(Zero), c.Fit.StandardError(Zero)*c.Fit.Scale(), 1e-15)
}

// TestUndetermined: measurements at two depths do not give three parameters, and the
// advice is a depth at which none was made: the far end where none is near it, the near end
// likewise.
func TestUndetermined(t *testing.T) {
	s, _, _ := testStage(t)
	noise := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct {
		at       []float64
		from, to float64
	}{
		{[]float64{0, 0, 0}, 3, 4}, {[]float64{4, 4, 4}, 0, 1}, {[]float64{0, 4, 4}, 1, 3},
	} {
		measured := measure(s, s.Design(), c.at, 0.01, noise)
		_, err := s.Calibrate(measured, Options{})
		var u *Undetermined
		if !errors.As(err, &u) {
			t.Fatalf("%v: %v", c.at, err)
		}
		if u.Advice.VergenceD < c.from || u.Advice.VergenceD > c.to || !(u.Advice.AfterMM < u.Advice.BeforeMM) {
			t.Errorf("%v: advice %+v, want a depth from %v to %v D", c.at, u.Advice, c.from, c.to)
		}
		if !strings.Contains(err.Error(), "would help most") {
			t.Errorf("%v", err)
		}
	}
	if _, err := s.Calibrate(measure(s, s.Design(), []float64{0, 4}, 0.01, noise), Options{Held: []int{Eye}, KeepOutliers: true}); err != nil {
		t.Errorf("two depths for two parameters: %v", err)
	}
}

// TestScatter: the mask at image 2 is seen through the rear group alone, so that nothing else moves
// what is fitted. That at image 1 is seen through the relay as well: what a relay of another focal
// length does to the fit is what fitting such a train finds.
func TestScatter(t *testing.T) {
	s, p, train := testStage(t)
	free, share := []int{Zero, RearFocal, Eye}, 0.002
	var measured []Measurement
	for _, v := range []float64{0, 1, 2, 3, 4} {
		measured = append(measured, Measurement{VergenceD: v, SigmaMM: 0.01})
	}
	rear := s.Scatter(measured, free, Spread{FocalShare: share, GapMM: 0.1})
	near(t, "rear focal length, image 2", rear[RearFocal], share*s.focal, 1e-6)
	near(t, "eye, image 2", rear[Eye], 3, 1e-6)
	if held := s.Scatter(measured, []int{Zero, RearFocal}, Spread{FocalShare: share}); held[Eye] != 0 || !math.IsInf(held[Zero], 1) {
		t.Errorf("held: %v", held)
	}

	front := *train
	front.Seat = objective.SeatFront
	design := NewStage(p, &front, 0)
	built := NewStage(p, design.varied(1, front.Groups[1].FocalMM*(1+share), front.Gaps, 0), 0)
	for i, x := range built.Readings(built.Design(), []float64{0, 1, 2, 3, 4}) {
		measured[i].StageMM = x
	}
	fit, err := design.Calibrate(measured, Options{KeepOutliers: true})
	if err != nil {
		t.Fatal(err)
	}
	scatter := design.Scatter(measured, free, Spread{FocalShare: share})
	focal, eye := fit.Parameters[RearFocal]-design.focal, fit.Parameters[Eye]
	if math.Abs(focal) < 0.01 {
		t.Fatalf("the relay moves the focal length by %v mm", focal)
	}
	near(t, "rear focal length, image 1", scatter[RearFocal], math.Hypot(share*design.focal, focal), 0.02*math.Abs(focal))
	near(t, "eye, image 1", scatter[Eye], math.Hypot(3, eye), 0.02*math.Abs(eye))
}
