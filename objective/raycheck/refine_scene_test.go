package raycheck

import (
	"math"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"testing"

	"pgregory.net/rapid"
)

// TestTrainAt lays trains out again from their elements, gaps and eye relief:
// they have to be the same trains, whether their gaps are the paraxial ones or
// not.
func TestTrainAt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawTraced(t)
		var elements [][]*objective.Element
		var stackGaps [][]float64
		for _, g := range train.Groups {
			elements = append(elements, g.Elements)
			stackGaps = append(stackGaps, g.GapsMM)
		}
		again := p.TrainAt(objective.Space{Layout: train.Layout, Seat: train.Seat}, elements, stackGaps, train.Gaps, train.EyeRelief)
		if again.DesignID() != train.DesignID() {
			t.Fatalf("%s comes back as %s", train.DesignID(), again.DesignID())
		}
		testlens.CloseTo(t, "length", again.Length, train.Length, 1)
		_, _, u := testlens.TraceBackThrough(testtrain.PlanesOf(p, train, 0), 0, 1)
		testlens.CloseTo(t, "magnification", again.AngularMagnification, 1/u, 10)
		for i, g := range again.Groups {
			testlens.CloseTo(t, "focal length", 1/g.FocalMM, 1/train.Groups[i].FocalMM, 1)
			testlens.CloseTo(t, "thickness", g.ThicknessMM, train.Groups[i].ThicknessMM, 1)
		}
		was, is := NewChecker(p).Measure(train).Clone(), NewChecker(p).Measure(again)
		for i, s := range was.Setpoints {
			testlens.CloseTo(t, "setpoint", is.Setpoints[i].MaskMM, s.MaskMM, 100)
		}
	})
}

// TestMagnificationOfAScene moves gaps away from the afocal ones. The angular
// magnification is what an eye sees of a distant scene: the slope at the eye over
// that in the world of the ray through the middle of the eye, by an independent
// paraxial trace. As the field and the pupil shrink, exact rays show no distortion
// by it.
func TestMagnificationOfAScene(t *testing.T) {
	for _, move := range [][2]float64{{0.8, 0}, {0, -0.8}, {-0.5, 0.7}, {1.5, 1.2}} {
		p := testtrain.Problem()
		p.TanMax, p.Pupil, p.Limits.FieldFraction = 1e-3, 1e-3, 1
		start := testtrain.Simple(t, p)
		r := NewRefiner(p, objective.ByLength)
		r.Begin(start)
		train, _, _ := r.Settle([]float64{move[0], move[1], 5})
		_, _, u := testlens.TraceBackThrough(testtrain.PlanesOf(p, train, 0), 0, 1)
		testlens.Near(t, "magnification", train.AngularMagnification, 1/u, 1e-9)
		m := p.EyeMatrix(train)
		if math.Abs(m.D-1/u) < 1e-3 {
			t.Errorf("moving by %v makes D %v and 1/A %v: no difference to tell", move, m.D, 1/u)
		}
		report := NewChecker(p).Measure(train)
		testlens.Near(t, "distortion_pct", report.Metrics.DistortionPct, 0, 1e-3)
		// The residual vergence of the world is A·C.
		testlens.Near(t, "axis_vergence_D", report.Metrics.AxisVergenceD, 1000*m.A*m.C, 1e-3*math.Abs(1000*m.A*m.C))
		found := false
		length, excess := r.Evaluate([]float64{move[0], move[1], 5})
		for i, name := range r.names {
			if name == "magnification" {
				found = true
				testlens.Near(t, "excess of the magnification", excess[i], (math.Abs(1/u-1)-p.MagnificationTol)/p.MagnificationTol, 1e-6)
			}
		}
		if !found || length != train.Length {
			t.Error("the magnification is not judged")
		}
	}
}

// TestRefinedApertures: of a refined train the paraxial requirement on apertures stays
// where vignetting has no limit, by an independent trace of every surface; where it
// has one, traced vignetting judges alone.
func TestRefinedApertures(t *testing.T) {
	for _, pupil := range []float64{4, 11} {
		p := testtrain.Problem()
		p.Pupil, p.TanMax, p.MagnificationTol, p.LengthMax = pupil, p.TanMax/2, 0.5, 1e3
		p.AccommodationD, p.RefocusMaxD, p.Travel = 8, 8, 100
		p.Limits.Max["axis_vergence_D"] = 5
		moved := []float64{0.4, -0.6, 3}
		apertures := func(p *objective.Problem) (most float64, found bool, failed string) {
			r := NewRefiner(p, objective.ByLength)
			r.Begin(testtrain.Simple(t, p))
			_, excess := r.Evaluate(moved)
			most = math.Inf(-1)
			for i, name := range r.names {
				if name == objective.Aperture.String() {
					most, found = math.Max(most, excess[i]), true
				}
			}
			train, report, _ := r.Settle(moved)
			if found {
				testlens.Near(t, "worst aperture", most, -testtrain.Margins(p, train)[objective.Aperture], 1e-8)
			}
			return most, found, report.FailedBy
		}
		most, found, failed := apertures(p)
		if !found || (most > 0) != (failed == objective.Aperture.String()) {
			t.Errorf("pupil %v mm, no limit: beyond apertures by %v mm, judged %v, failed by %q", pupil, most, found, failed)
		}
		if (most > 0) != (pupil == 11) {
			t.Errorf("pupil %v mm: beyond apertures by %v mm, which tests nothing", pupil, most)
		}
		p.Limits.Max["vignetted_pct"] = 100
		if _, found, failed := apertures(p); found || failed == objective.Aperture.String() {
			t.Errorf("pupil %v mm, vignetting limited: paraxial apertures judged %v, failed by %q", pupil, found, failed)
		}
	}
}
