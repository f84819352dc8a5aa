package objective

import (
	"fmt"
	"math"

	"relaysweep/objective/internal/testlens"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// TestTrainIsAfocal: the matrix from viewpoint to eye is diag(1/Θ, Θ), the
// identity for Θ = 1; its determinant, and that of every part of the way, 1.
func TestTrainIsAfocal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		theta := train.AngularMagnification
		if want := p.Magnification; math.Abs(theta) != want || (theta < 0) != (train.Layout == Keplerian) {
			t.Fatalf("Θ = %v, magnification %v, %v", theta, want, train.Layout)
		}
		scale := use.TrainScale(train)
		m := Gap(-p.Viewpoint(train)).Then(p.EyeMatrix(train))
		testlens.CloseTo(t, "A", m.A, 1/theta, 10)
		testlens.CloseTo(t, "B", m.B, 0, scale)
		testlens.CloseTo(t, "C", m.C*scale, 0, 100)
		testlens.CloseTo(t, "D", m.D, theta, 10)
		for k := range train.Groups {
			m := p.matrixFrom(train, k)
			testlens.CloseTo(t, fmt.Sprint("determinant from group ", k), m.A*m.D-m.B*m.C, 1, 1+math.Abs(m.A*m.D))
		}
		testlens.CloseTo(t, "shift", p.ViewpointShift(train), train.Length+train.EyeRelief-p.Viewpoint(train), scale)
	})
}

// TestTrainAgainstTrace holds every number of the paraxial model against an
// independent trace through all surfaces, the mask's glass and the combiner
// as real plates at their physical places: afocal, Θ, viewpoint, setpoints,
// chief height, aperture, the Lagrange invariant.
func TestTrainAgainstTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		scale := use.TrainScale(train)
		vergence := testlens.Between(t, "vergence", 0, 0.006)
		mask, chief := p.PlaceMask(train, train.MaskGap(), vergence)
		if math.Abs(mask) > 5000 {
			t.Skip("the apparent point lies near the focus")
		}
		planes := use.PlanesOf(p, train, mask)
		eye := planes[len(planes)-1].Z
		testlens.CloseTo(t, "length", eye, train.Length+train.EyeRelief, scale)

		chiefHeights, yc, uc := testlens.TraceBackThrough(planes, 0, 1)
		edgeHeights, ye, ue := testlens.TraceBackThrough(planes, 1, vergence)
		theta := train.AngularMagnification
		// The chief ray leaves the viewpoint with slope 1/Θ; the ray from an
		// apparent point at V comes from a world point at V/Θ² from there.
		testlens.CloseTo(t, "chief slope", uc, 1/theta, 10)
		z := p.Viewpoint(train)
		testlens.CloseTo(t, "chief at the viewpoint", yc+z*uc, 0, scale)
		testlens.CloseTo(t, "world vergence", ue, vergence/(theta*theta)*(ye+z*ue), 1)
		testlens.CloseTo(t, "pupil at the viewpoint", ye+z*ue, theta, scale/10)
		testlens.CloseTo(t, "Lagrange invariant", yc*ue-ye*uc, -1, scale)

		// At the setpoint the ray of that vergence crosses the axis.
		testlens.CloseTo(t, "edge ray in the layer", testlens.MaskHeight(planes, edgeHeights), 0, scale)
		testlens.CloseTo(t, "chief ray in the layer", testlens.MaskHeight(planes, chiefHeights), chief, scale)
		testlens.CloseTo(t, "ChiefAtMask", p.ChiefAtMask(train, train.MaskGap(), mask), chief, scale)
		// The rows visit the same surfaces with the same heights.
		i := len(planes)
		next := func() int {
			for i--; planes[i].Clear == 0; i-- {
			}
			return i
		}
		// A mask elsewhere puts its plates elsewhere, but bends no ray.
		air := train.EyeRelief - p.CombinerShift()
		p.eachHeight(train, func(row heightRow, clear float64) {
			k := next()
			testlens.CloseTo(t, "clear", clear, planes[k].Clear, 1)
			testlens.CloseTo(t, "chief height", row.B-air*row.A, chiefHeights[k], scale)
			testlens.CloseTo(t, "edge height", row.A+vergence*(row.B-air*row.A), edgeHeights[k], scale)
		})
	})
}

// TestChiefAtMask away from the setpoint, against the trace.
func TestChiefAtMask(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		mask := testlens.Between(t, "mask", -20, 200)
		planes := use.PlanesOf(p, train, mask)
		heights, _, _ := testlens.TraceBackThrough(planes, 0, 1)
		testlens.CloseTo(t, "chief", p.ChiefAtMask(train, train.MaskGap(), mask), testlens.MaskHeight(planes, heights), use.TrainScale(train))
		// The layer is the image of the point from which it seems to come.
		edges, _, _ := testlens.TraceBackThrough(planes, 1, 0)
		v := -testlens.MaskHeight(planes, edges) / testlens.MaskHeight(planes, heights)
		if math.Abs(v) > 0.05 {
			t.Skip("seen less than 20 mm before the eye")
		}
		heights, _, _ = testlens.TraceBackThrough(planes, 1, v)
		testlens.CloseTo(t, "edge", testlens.MaskHeight(planes, heights), 0, use.TrainScale(train))
		back, _ := p.PlaceMask(train, train.MaskGap(), v)
		testlens.CloseTo(t, "PlaceMask of MaskVergence", back, mask, 10*use.TrainScale(train))
	})
}

// TestNewtonSetpoints: x = K/(d - p) from the focal point of the group next to
// the mask (Newton's equation, W. J. Smith, Modern Optical Engineering, 4th
// ed., 2008, Eq. 2.3): at the rear seat K = f_rear² and p = e - BFD_rear, at
// the front seat, seen through the whole train, K = (f_front/Θ)² and q/Θ².
func TestNewtonSetpoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		v := testlens.Between(t, "vergence", 1e-4, 0.006)
		mask, chief := p.PlaceMask(train, train.MaskGap(), v)
		theta := train.AngularMagnification
		front, rear := train.Groups[0], train.Groups[len(train.Groups)-1]
		d, place, focal, x := 1/v, 0.0, 0.0, 0.0
		if train.Seat == SeatRear {
			place, focal = train.EyeRelief-p.CombinerShift()-rear.BFDMM, rear.FocalMM
			x = mask + p.MaskShift()/2 - train.Gaps[train.MaskGap()] + rear.FFDMM
		} else {
			q := p.Viewpoint(train) + front.FFDMM // from the front focal point
			place, focal = q/(theta*theta), front.FocalMM/theta
			x = mask - p.MaskShift()/2 - front.BFDMM
		}
		if math.Abs(d-place) < 1 {
			t.Skip("imaged at infinity")
		}
		scale := use.TrainScale(train) * math.Max(1, math.Abs(d/(d-place)))
		testlens.CloseTo(t, "x", x, focal*focal/(d-place), scale)
		testlens.CloseTo(t, "chief", math.Abs(chief), math.Abs(focal*d/(d-place)), scale)
	})
}

// TestDepthStepDerivative compares depthStep with a central difference of
// PlaceMask; its error falls with the square of the step.
func TestDepthStepDerivative(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		v := testlens.Between(t, "vergence", 0, 0.006)
		difference := func(h float64) float64 { // mm a dioptre
			a, _ := p.PlaceMask(train, train.MaskGap(), v-h)
			b, _ := p.PlaceMask(train, train.MaskGap(), v+h)
			return (b - a) / (2000 * h)
		}
		_, chief := p.PlaceMask(train, train.MaskGap(), v)
		if math.Abs(chief) > 500 || math.Abs(chief) < 2 {
			t.Skip("the apparent point lies near the focus")
		}
		// Richardson's extrapolation leaves the fourth power.
		got := (4*difference(1e-5) - difference(2e-5)) / 3
		want := p.StageResolution / p.DepthStep(train, train.MaskGap(), v)
		testlens.Near(t, "dx/dV", math.Abs(got), want, 1e-5*want+1e-6)
		// Setpoints move towards the eye as the apparent point comes nearer.
		if got < 0 {
			t.Errorf("dx/dV = %v", got)
		}
	})
}

// TestCoupling: q = Θ²·p - Θ·f_front·f_rear/f_relay, with q the viewpoint's
// distance behind the front focal point and p the eye's behind the rear one.
func TestCoupling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		relay, ok := p.Relay(train)
		if !ok {
			t.Skip("no relay")
		}
		use.SkipHuge(t, train)
		theta := train.AngularMagnification
		front, rear := train.Groups[0], train.Groups[len(train.Groups)-1]
		eye := train.EyeRelief - p.CombinerShift() - rear.BFDMM
		want := theta*theta*eye - theta*front.FocalMM*rear.FocalMM/relay.FocalMM
		testlens.CloseTo(t, "q", p.Viewpoint(train)+front.FFDMM, want, use.TrainScale(train))
		// The length by the reduced numbers.
		m := theta * rear.FocalMM / front.FocalMM
		x := relay.ThicknessMM + relay.FFDMM + relay.BFDMM - 2*relay.FocalMM
		length := front.ThicknessMM + front.BFDMM + rear.ThicknessMM + rear.FFDMM + x + (2+m+1/m)*relay.FocalMM + p.MaskShift()
		testlens.CloseTo(t, "length", train.Length, length, use.TrainScale(train))
	})
}

// TestFieldTan: with the field's largest half angle, some surface is met with
// equality and every other passes; with no aperture large enough for the
// pupil, it is zero.
func TestFieldTan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		planes := use.PlanesOf(p, train, 0)
		chief, _, _ := testlens.TraceBackThrough(planes, 0, 1)
		far, _, _ := testlens.TraceBackThrough(planes, 1, p.VergenceFar)
		near, _, _ := testlens.TraceBackThrough(planes, 1, p.VergenceNear)
		tan := p.FieldTan(train)
		least, pupilPasses := math.Inf(1), true
		for i, s := range planes {
			if s.Clear == 0 {
				continue
			}
			edge := p.PupilEdge() * math.Max(math.Abs(far[i]), math.Abs(near[i]))
			pupilPasses = pupilPasses && edge <= s.Clear
			least = math.Min(least, s.Clear-edge-tan*math.Abs(chief[i]))
		}
		if !pupilPasses {
			if tan != 0 {
				t.Errorf("the pupil does not pass, and the field is %v", tan)
			}
			return
		}
		testlens.CloseTo(t, "room at the narrowest surface", least, 0, use.TrainScale(train))
	})
}

// TestFieldTanAtPupilImage: at a surface on which the eye is imaged the chief
// ray stands on the axis, so that it bounds no field; unless the pupil itself
// does not pass, for which the field is zero.
func TestFieldTanAtPupilImage(t *testing.T) {
	p, train := thinPair(t, 50)
	p.VergenceNear, p.Pupil, p.Box = 0, 4, 0
	train.EyeRelief = 0
	// The eye at the rear lens sees the front one, 100 mm off, magnified by 1:
	// chief height 100·tan, edge height 1·r.
	clear := train.Groups[0].Elements[0].clear
	testlens.Near(t, "field", p.FieldTan(train), (clear-2)/100, 1e-12)
	p.Pupil = 4 * clear
	if tan := p.FieldTan(train); tan != 0 {
		t.Errorf("the pupil does not pass, and the field is %v", tan)
	}
	p.Pupil = 2 * clear
	if tan := p.FieldTan(train); tan != 0 {
		t.Errorf("the pupil just passes, and the field is %v", tan)
	}
}

// TestReversedTrain: the whole train turned round has the reverse matrix, in
// which A and D are exchanged, the gaps in reverse order and magnification
// 1/Θ.
func TestReversedTrain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		r := *p
		r.Magnification = 1 / p.Magnification
		turned := &Train{Layout: train.Layout, Seat: train.Seat}
		for _, g := range slices.Backward(train.Groups) {
			turned.Groups = append(turned.Groups, reversedGroup(p, g))
		}
		inner := 0.0
		switch train.Layout {
		case ErectorPair:
			inner = train.Gaps[1]
			turned.Seat = 1 - train.Seat
		case ErectorSingle:
			turned.Seat = 1 - train.Seat
		}
		if got, want := r.Assemble(turned, inner), p.Assemble(train, inner); (got == Focal || got == Magnification) || (got == Met) != (want == Met) {
			t.Fatalf("%v assembled, reversed %v", want, got)
		}
		scale := use.TrainScale(train)
		for i, gap := range turned.Gaps {
			testlens.CloseTo(t, "gap", gap, train.Gaps[len(train.Gaps)-1-i], scale)
		}
		testlens.CloseTo(t, "length", turned.Length, train.Length, scale)
		m, n := p.matrixFrom(train, 0), r.matrixFrom(turned, 0)
		testlens.CloseTo(t, "A", n.A, m.D, 10)
		testlens.CloseTo(t, "B", n.B, m.B, 10*scale)
		testlens.CloseTo(t, "C", n.C*scale, m.C*scale, 100)
		testlens.CloseTo(t, "D", n.D, m.A, 10)
	})
}

// scaledProblem is a problem with all lengths multiplied by k.
func scaledProblem(p *Problem, k float64) *Problem {
	q := *p
	for _, x := range []*float64{
		&q.AirGapMin, &q.GroupGapMin, &q.LengthMax, &q.Pupil, &q.Box, &q.ReliefMin, &q.ReliefMax, &q.CombinerMM,
		&q.MaskWidth, &q.MaskHeight, &q.MaskPixel, &q.MaskGlass, &q.Clearance, &q.Travel, &q.StageResolution,
	} {
		*x *= k
	}
	q.VergenceFar /= k
	q.VergenceNear /= k
	q.Limits.Max = map[string]float64{}
	for name, limit := range p.Limits.Max {
		switch name {
		case "viewpoint_shift_mm":
			limit *= k
		case "depth_step_D":
			limit /= k
		}
		q.Limits.Max[name] = limit
	}
	return &q
}

// scaledGroup is a group of lenses k times as large.
func scaledGroup(q *Problem, g *Group, k float64) *Group {
	var elements []*Element
	for _, e := range g.Elements {
		l := *e.Lens
		l.DiameterMM *= k
		l.ClearMM *= k
		l.Surfaces = slices.Clone(l.Surfaces)
		for i := range l.Surfaces {
			s := &l.Surfaces[i]
			s.RadiusMM *= k
			s.Asphere = slices.Clone(s.Asphere)
			for n := range s.Asphere {
				s.Asphere[n] /= math.Pow(k, float64(2*n+3))
			}
		}
		l.ThicknessMM = slices.Clone(l.ThicknessMM)
		for i := range l.ThicknessMM {
			l.ThicknessMM[i] *= k
		}
		elements = append(elements, q.NewElement(&l, e.Reversed, e.Part, e.Index))
	}
	return q.NewGroup(elements...)
}

// drawLimits draws paraxial limits.
func drawLimits(t *rapid.T, p *Problem) {
	for _, l := range []struct {
		name   string
		lo, hi float64
	}{{"pixel_arcmin", 0.5, 4}, {"depth_step_D", 0.001, 0.05}, {"viewpoint_shift_mm", 100, 500}} {
		if testlens.OneIn(t, l.name+" limited", 3) {
			p.Limits.Max[l.name] = testlens.Between(t, l.name, l.lo, l.hi)
		}
	}
}

// TestScaling: a world k times as large has gaps, eye relief, setpoints and
// viewpoint k times as large, vergences divided by k, angles unchanged, and
// the same verdict.
func TestScaling(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, train := use.DrawAnyTrain(t)
		use.SkipHuge(t, train)
		drawLimits(t, p)
		k := testlens.Between(t, "k", 0.3, 3)
		q := scaledProblem(p, k)
		big := &Train{Layout: train.Layout, Seat: train.Seat}
		for _, g := range train.Groups {
			big.Groups = append(big.Groups, scaledGroup(q, g, k))
		}
		inner := 0.0
		if train.Layout == ErectorPair {
			inner = train.Gaps[1]
		}
		relief := train.EyeRelief
		failed, failedBig := p.Solve(train, inner), q.Solve(big, inner*k)
		if failed != failedBig {
			t.Fatalf("%v fails %q, in a world %v as large %q", train.DesignID(), failed, k, failedBig)
		}
		if failed != Met {
			train.EyeRelief, big.EyeRelief = relief, relief*k
		}
		scale := use.TrainScale(train)
		for i, gap := range train.Gaps {
			testlens.CloseTo(t, "gap", big.Gaps[i]/k, gap, scale)
		}
		d, e := p.Describe(train), q.Describe(big)
		if d.Travel > 1e4 {
			t.Skip("a setpoint lies near infinity")
		}
		scale *= 100
		testlens.CloseTo(t, "length", e.Length/k, d.Length, scale)
		testlens.CloseTo(t, "eye relief", e.EyeRelief/k, d.EyeRelief, scale)
		testlens.CloseTo(t, "viewpoint", e.ViewpointShift/k, d.ViewpointShift, scale)
		testlens.CloseTo(t, "travel", e.Travel/k, d.Travel, scale)
		testlens.CloseTo(t, "field", e.FieldMaxDeg, d.FieldMaxDeg, 1000)
		testlens.CloseTo(t, "pixel", e.PixelArcmin, d.PixelArcmin, 1000)
		testlens.CloseTo(t, "depth step", e.DepthStepD*k, d.DepthStepD, 100)
		for i, s := range d.Setpoints {
			testlens.CloseTo(t, "setpoint", e.Setpoints[i].MaskMM/k, s.MaskMM, scale)
			testlens.CloseTo(t, "vergence", e.Setpoints[i].VergenceD*k, s.VergenceD, 1)
		}
	})
}
