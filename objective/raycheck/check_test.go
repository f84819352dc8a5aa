package raycheck

import (
	"math"
	"math/rand/v2"

	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// checkCase is a drawn problem and train.
type checkCase struct {
	p     *objective.Problem
	train *objective.Train
}

// checkCases draws n cases, always the same ones.
func checkCases(n int) []checkCase {
	generator := rapid.Custom(func(t *rapid.T) checkCase {
		p, train := testtrain.DrawTraced(t)
		p.DepthSteps = 2
		p.Limits.FieldFraction = rapid.SampledFrom([]float64{0.7, 1}).Draw(t, "field fraction")
		p.RefocusMaxD = rapid.SampledFrom([]float64{0, 0.2, 2}).Draw(t, "refocus")
		p.AccommodationD = rapid.SampledFrom([]float64{3, 8}).Draw(t, "accommodation")
		p.SharpBox = rapid.SampledFrom([]float64{0, p.Box, 3}).Draw(t, "sharp box")
		return checkCase{p, train}
	})
	cases := make([]checkCase, n)
	for i := range cases {
		cases[i] = generator.Example(i)
		cases[i].p.ColouredEye = i%4 == 1
	}
	return cases
}

// imageless is the astigmatism in dioptres beyond which a view is no image:
// there the aberrations of the rays near the rim of a surface decide, and not
// even a dense filling agrees with a denser one to 1 %.
const imageless = 10

// TestCheckAgainstReference compares a whole measurement with the reference:
// the quadrature must agree with a dense uniform filling far better than the
// 1 % at which a filling counts as right.
func TestCheckAgainstReference(t *testing.T) {
	compared := 0
	for i, c := range checkCases(25) {
		got := NewChecker(c.p).Measure(c.train)
		if !(got.Metrics.ViewAstigmatismD < imageless) {
			continue
		}
		compared++
		want := referenceMeasure(c.p, c.train, 24)
		for k := range MetricList {
			name := MetricList[k].Name
			switch name {
			case "vignetted_pct", "transmission", "mass_g", "price", "blur_mismatch_pct", "ghost_arcmin", "ghost_pct", "groove_blur_arcmin", "groove_visible_arcmin":
				continue // have their own tests
			}
			g, w := *MetricList[k].of(&got.Metrics), *MetricList[k].of(&want.Metrics)
			// The reference's own rings are good to 1/24² of a defocus.
			if !(math.Abs(g-w) <= 5e-3*math.Abs(w)+1e-3) {
				t.Errorf("case %d: %s: got %.6g, want %.6g", i, name, g, w)
			}
		}
		testlens.Near(t, "travel_mm", got.TravelMM, want.TravelMM, 3e-3)
		for d := range got.Setpoints {
			g, w := got.Setpoints[d], want.Setpoints[d]
			testlens.Near(t, "setpoint", g.MaskMM, w.MaskMM, 3e-3)
			testlens.Near(t, "paraxial setpoint", g.MaskParaxialMM, w.MaskParaxialMM, 1e-12)
			testlens.Near(t, "pixel_arcmin", g.PixelArcmin, w.PixelArcmin, 1e-4*w.PixelArcmin)
			testlens.Near(t, "mask blur of a setpoint", g.MaskBlurArcmin, w.MaskBlurArcmin, 5e-3*w.MaskBlurArcmin)
			testlens.Near(t, "view blur of a setpoint", g.ViewBlurArcmin, w.ViewBlurArcmin, 5e-3*w.ViewBlurArcmin)
		}
		for k := range got.Samples {
			g := got.Samples[k]
			// The reference walks fields within depths.
			fields := len(FieldFractions)
			w := want.Samples[k%c.p.DepthSteps*fields+k/c.p.DepthSteps]
			if g.FieldFraction != w.FieldFraction || g.VergenceD != w.VergenceD {
				t.Fatalf("sample %d is %v, want %v", k, g, w)
			}
			testlens.Near(t, "sample's mask blur", g.MaskBlurArcmin, w.MaskBlurArcmin, 5e-3*w.MaskBlurArcmin)
			if math.Abs(w.ViewAstigmatismD) < imageless {
				// 3e-3 D is 0.01 arcmin in a pupil of 1 mm.
				testlens.Near(t, "sample's astigmatism", g.ViewAstigmatismD, w.ViewAstigmatismD, 5e-3*w.ViewAstigmatismD+3e-3)
			}
		}
	}
	if compared < 12 {
		t.Errorf("only %d cases compared", compared)
	}
}

// TestCheckLossy compares bundles that lose rays with a dense uniform filling: the
// share that gets through and the blurs. Next to total reflection slopes vary with
// the root of the distance to the edge of what gets through, so that a uniform
// filling itself settles slowly: 160 cells give the view's blur to some per cent, 320 to
// about one.
func TestCheckLossy(t *testing.T) {
	compared, displaced := 0, 0
	var worstMask, worstView float64
	for i, c := range checkCases(150) {
		checker := NewChecker(c.p)
		checker.Measure(c.train)
		for _, at := range append([]*Checker{checker}, checker.away...) {
			for k := range at.sampledBundles {
				b := &at.sampledBundles[k]
				if at.skips(b.field) {
					continue
				}
				if !b.lossy {
					// At the edge of the field, does it really lose nothing?
					if b.field == len(FieldFractions)-1 {
						if full := summedDensely(at, k, 40); full.masks[0].all.Weight < 1-1e-9 {
							t.Errorf("case %d: %g of a bundle that counts as whole get through", i, full.masks[0].all.Weight)
						}
					}
					continue
				}
				want := summedDensely(at, k, 320)
				share, dense := b.masks[0].all.Weight, want.masks[0].all.Weight
				testlens.Near(t, "share of the rays that get through", share, dense, 0.01)
				if math.Abs(dense-0.5) < 0.02 {
					continue
				}
				compared++
				if at != checker {
					displaced++
				}
				got, _ := at.refocused(b)
				blur, _ := at.refocused(&want)
				if math.IsInf(got, 1) != (dense < 0.5) {
					t.Errorf("case %d: %v get through, but the view's blur is %v", i, dense, got)
				} else if dense > 0.5 {
					pp, _, _ := b.masks[0].all.variance()
					densePP, _, _ := want.masks[0].all.variance()
					testlens.Near(t, "root of the mask's variance", math.Sqrt(pp), math.Sqrt(densePP), 0.01*math.Sqrt(densePP))
					testlens.Near(t, "view blur", got, blur, 0.03*blur)
					worstMask = max(worstMask, math.Abs(math.Sqrt(pp/densePP)-1))
					worstView = max(worstView, math.Abs(got/blur-1))
					if blur < 100 {
						t.Errorf("case %d: a bundle that loses rays shows a view with a blur of %g arcmin", i, blur)
					}
				}
			}
		}
	}
	t.Logf("%d bundles; off by at most %.4f in the mask and %.4f in the view", compared, worstMask, worstView)
	if compared < 10 {
		t.Errorf("only %d bundles compared", compared)
	}
	if displaced < 10 {
		t.Errorf("only %d bundles of displaced pupils compared", displaced)
	}
}

// TestCheckSmallLimit checks that field and pupil going to zero give the
// paraxial values: setpoints, no defocus, no distortion, no blur, plates
// included.
func TestCheckSmallLimit(t *testing.T) {
	for i, c := range checkCases(40) {
		p := *c.p
		const small = 1e-3
		p.TanMax, p.TanHalfWidth, p.TanHalfHeight = small*p.TanMax, small*p.TanHalfWidth, small*p.TanHalfHeight
		p.Pupil, p.Box, p.SharpBox = small*p.Pupil, small*p.Box, small*p.SharpBox
		p.Limits.FieldFraction = 1
		p.AccommodationD = 8 // less would force a blur
		// One wavelength: the setpoint of several is not that of the reference.
		p.WavelengthsNM, p.Weights = p.WavelengthsNM[p.Reference():][:1], []float64{1}
		r := NewChecker(&p).Measure(c.train)
		for _, s := range r.Setpoints {
			testlens.Near(t, "setpoint", s.MaskMM, s.MaskParaxialMM, 1e-4)
		}
		m := &r.Metrics
		testlens.Near(t, "view_defocus_D", m.ViewDefocusD, 0, 1e-4)
		testlens.Near(t, "view_astigmatism_D", m.ViewAstigmatismD, 0, 1e-4)
		testlens.Near(t, "distortion_pct", m.DistortionPct, 0, 1e-3)
		testlens.Near(t, "view_blur_arcmin", m.ViewBlurArcmin, 0, 1e-6)
		testlens.Near(t, "mask_blur_arcmin", m.MaskBlurArcmin, 0, 1e-6)
		testlens.Near(t, "axis_vergence_D", m.AxisVergenceD, 0, 1e-4)
		if t.Failed() {
			t.Fatalf("case %d", i)
		}
	}
}

// TestCheckDefocus moves the front group of a train and looks at the world's
// vergence error. Traced backwards, a ray of vergence 0 at height 1 in the eye
// converges in the world on a point at vergence W from the viewpoint (which
// the matrix tells): there an object would look at infinity. When that point
// is real, W > 0, an object at infinity looks farther than it should, which is
// a negative error of W/Θ².
//
// The blur of a pure defocus is a uniform disc of full width pupil × vergence
// (geometrical optics; 4.125 arcmin for 4 mm and 0.3 D), whose RMS radius is
// its full width over 2·sqrt(2).
func TestCheckDefocus(t *testing.T) {
	for _, move := range []float64{-0.5, -0.1, 0.1, 0.5} {
		p := testtrain.Problem()
		p.WavelengthsNM, p.Weights = []float64{546.07}, []float64{1}
		p.Pupil, p.Limits.FieldFraction, p.RefocusMaxD = 0.4, 0, 0
		train := testtrain.Simple(t, p)
		train.Gaps[0] += move
		train.Length += move
		m := p.EyeMatrix(train)
		// Back from the eye: y = D·1 - B·0, u = -C·1, to the viewpoint plane.
		y, u := m.D, -m.C
		y += p.Viewpoint(train) * u
		// Towards the world the height goes as y - u·w: zero at w = y/u.
		vergence := 1000 * u / y
		r := NewChecker(p).Measure(train)
		testlens.Near(t, "axis_vergence_D", r.Metrics.AxisVergenceD, -vergence, 0.003+0.003*math.Abs(vergence))
		if math.Abs(vergence) < 0.01 {
			t.Errorf("moving by %g mm gives %g D only", move, vergence)
		}
		far := r.Samples[0]
		width := p.Pupil * math.Abs(y*far.ViewDefocusD) / 1000 // y: the pupil's magnification at the viewpoint
		testlens.Near(t, "view_blur_arcmin", far.ViewBlurArcmin, width/(2*math.Sqrt2)*180*60/math.Pi, 2e-3*far.ViewBlurArcmin)

		// An eye that may refocus takes it away, if accommodation allows: far
		// away a relaxed eye can only add vergence.
		p.RefocusMaxD = 10
		r = NewChecker(p).Measure(train)
		want := math.Max(0, far.ViewDefocusD)
		testlens.Near(t, "refocused", r.Samples[0].ViewBlurArcmin, far.ViewBlurArcmin*(1-want/far.ViewDefocusD), 5e-3)
	}
	var sums viewSums
	fill := gaussPupil(2, leastRays(testtrain.Problem()).halfArms)
	for i, weight := range fill.weight {
		sums.Weight += weight
		ex, ey := 0.3e-3*fill.x[i], 0.3e-3*fill.y[i]
		sums.EXX += weight * ex * ex
		sums.EYY += weight * ey * ey
	}
	ee, _, _ := sums.variance()
	testlens.Near(t, "0.3 D in 4 mm", arcmin(math.Sqrt(ee))*2*math.Sqrt2, 4.125, 1e-3)
}

// TestCheckRequirements checks the requirements at the exact setpoints and
// every limit, one at a time: a train fails by the first name in the order
// given, alike from Check and Measure, and passes at its own values.
func TestCheckRequirements(t *testing.T) {
	for i, c := range checkCases(15) {
		p := *c.p
		p.Travel, p.Clearance, p.MaskWidth, p.MaskHeight = math.Inf(1), -1e3, 1e9, 1e9
		p.Limits.Max = map[string]float64{}
		m := NewChecker(&p).Measure(c.train).Clone()
		if m.FailedBy != "" {
			t.Errorf("case %d: without limits it fails %s", i, m.FailedBy)
		}
		if math.IsInf(m.Metrics.ViewBlurArcmin, 1) {
			continue
		}
		// Ever more limits, from the last to the first.
		expect := func(name string) {
			t.Helper()
			checker := NewChecker(&p)
			if got := checker.Measure(c.train).FailedBy; got != name {
				t.Errorf("case %d: Measure fails by %q, want %q", i, got, name)
			}
			if got := checker.Check(c.train).FailedBy; got != name {
				t.Errorf("case %d: Check fails by %q, want %q", i, got, name)
			}
		}
		p.Limits.TransmissionMin = m.Metrics.Transmission
		expect("")
		p.Limits.TransmissionMin *= 1 + 1e-6
		expect("transmission_min")
		for _, name := range []string{"vignetted_pct", "axial_colour_D", "lateral_colour_arcmin", "distortion_pct", "axis_vergence_D",
			"view_refocus_D", "view_blur_arcmin", "view_astigmatism_D", "view_defocus_D", "mask_blur_arcmin"} {
			value, ok := m.Metrics.Value(name)
			if !ok {
				t.Fatalf("no metric %s", name)
			}
			value = math.Abs(value)
			if value == 0 {
				continue
			}
			before := NewChecker(&p).Measure(c.train).FailedBy
			p.Limits.Max[name] = value
			expect(before)
			p.Limits.Max[name] = value * (1 - 1e-6)
			expect(name)
		}
		chief := 0.0
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, s := range m.Setpoints {
			chief = max(chief, math.Abs(p.ChiefAtMask(c.train, c.train.MaskGap(), s.MaskMM)))
			lo, hi = min(lo, s.MaskMM), max(hi, s.MaskMM)
		}
		p.MaskHeight = 2 * chief * p.TanHalfHeight
		expect("mask_blur_arcmin")
		p.MaskHeight *= 1 - 1e-6
		expect("mask_size")
		p.MaskHeight, p.MaskWidth = 1e9, 2*chief*p.TanHalfWidth*(1-1e-6)
		expect("mask_size")
		// Bring the range of positions up to the setpoints.
		from, to := p.MaskRoom(c.train, c.train.MaskGap())
		p.Clearance += min(lo-from, to-hi)
		expect("mask_size")
		p.Clearance += 1e-4
		expect("clearance")
		p.Travel = m.TravelMM
		expect("clearance")
		p.Travel *= 1 - 1e-6
		expect("travel")
	}
}

// TestCheckAgrees checks that Check counts a train under the name that Measure
// does, under random limits, near losses and with losses, and that what Check
// reports of a train that passes is the full measurement.
func TestCheckAgrees(t *testing.T) {
	designs := 600
	if testing.Short() {
		designs = 150
	}
	by := map[string]int{}
	r := rand.New(rand.NewPCG(1, 2))
	for i, c := range checkCases(designs) {
		p := *c.p
		if r.IntN(4) == 0 {
			p.TanMax *= 1.5 // out to where rays are lost
		}
		m := NewChecker(&p).Measure(c.train).Clone()
		p.Limits.Max = map[string]float64{}
		for _, metric := range MetricList[:vignetting+1] {
			if value := math.Abs(*metric.of(&m.Metrics)); r.IntN(3) == 0 && !math.IsInf(value, 1) {
				p.Limits.Max[metric.Name] = value * (0.9 + 0.5*r.Float64())
			}
		}
		p.Travel = m.TravelMM * (0.98 + 0.2*r.Float64())
		want := NewChecker(&p).Measure(c.train)
		got := NewChecker(&p).Check(c.train)
		by[want.FailedBy]++
		if got.FailedBy != want.FailedBy {
			t.Errorf("design %d: Check fails by %q, Measure by %q", i, got.FailedBy, want.FailedBy)
		}
		if want.FailedBy == "" {
			if diff := cmp.Diff(got, want, cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("design %d passes, and Check differs from Measure:\n%s", i, diff)
			}
		}
	}
	t.Log(by)
	for _, name := range []string{"", "travel", "mask_blur_arcmin", "view_defocus_D", "view_blur_arcmin", "vignetted_pct"} {
		if by[name] == 0 {
			t.Errorf("no design fails by %q", name)
		}
	}
}

// TestCheckGaps checks that a train of the same groups, which is not prepared
// again, is measured at its own gaps.
func TestCheckGaps(t *testing.T) {
	for _, c := range checkCases(20) {
		checker := NewChecker(c.p)
		checker.Measure(c.train)
		moved := *c.train
		moved.Gaps = slices.Clone(c.train.Gaps)
		for i := range moved.Gaps {
			moved.Gaps[i] += 0.1 * float64(i+1)
			moved.Length += 0.1 * float64(i+1)
		}
		moved.EyeRelief += 0.3
		got, want := checker.Measure(&moved), NewChecker(c.p).Measure(&moved)
		if diff := cmp.Diff(got, want, cmpopts.EquateNaNs()); diff != "" {
			t.Errorf("measured again:\n%s", diff)
		}
		limited := checker.MeasureLimited(&moved)
		if limited.FailedBy != want.FailedBy || limited.Metrics.ViewBlurArcmin != want.Metrics.ViewBlurArcmin ||
			!math.IsNaN(limited.Metrics.VignettedPct) {
			t.Errorf("MeasureLimited gives %+v, Measure %+v", limited.Metrics, want.Metrics)
		}
	}
}

// TestCertain measures what certainMargin stands for. Of trains that a check
// takes to lose no ray from those that it traced for a rejection, all wavelengths
// are traced with the pupil filled densely: no margin may come near to zero.
func TestCertain(t *testing.T) {
	designs := 1000
	if testing.Short() {
		designs = 150
	}
	certain, least := 0, 1.0
	for i, c := range checkCases(designs) {
		p := *c.p
		if i%3 == 0 {
			p.Pupil = 8
		}
		checker := NewChecker(&p)
		checker.Check(c.train)
		if !checker.certain() {
			continue
		}
		certain++
		dense := densePupil(p.Pupil/2, 40)
		for k := range checker.usedBundles() {
			for w := range checker.blocks {
				r := denseRays(checker, &checker.sampledBundles[k], w, &dense, 1)
				least = min(least, checker.throughSteps(r, w, 0, len(checker.steps)))
			}
		}
	}
	t.Logf("%d of %d designs are certain; the smallest margin of a dense filling is %.3f", certain, designs, least)
	if least < certainMargin/4 {
		t.Errorf("a certain train comes as near to losing a ray as a squared cosine of %.3f", least)
	}
}

// TestCheckTransmission checks the bare surfaces' loss against Fresnel's
// reflection at normal incidence (E. Hecht, Optics, section 4.6; 4.2165 % for
// n = 1.5168) and how losses multiply.
func TestCheckTransmission(t *testing.T) {
	for n, percent := range map[float64]float64{1.5: 4.0, 1.5168: 4.2165, 1.62004: 5.6005, 1.78472: 7.9408, 1.84666: 8.846} {
		testlens.Near(t, "Fresnel", 100*Fresnel(n), percent, 1e-3)
	}
	p := testtrain.Problem()
	p.MaskTransmits = 0.21
	train := testtrain.Simple(t, p)
	first := 1 - Fresnel(testlens.Crown.Index(546.07))
	last := 1 - Fresnel(testlens.Flint.Index(546.07))
	bare := 0.21 * math.Pow(first*last, 4) // four doublets; the cemented faces lose nothing
	testlens.Near(t, "bare", NewChecker(p).Measure(train).Metrics.Transmission, bare, 1e-12)
	p.CombinerMM = 3
	testlens.Near(t, "with combiner", NewChecker(p).Measure(train).Metrics.Transmission, bare*math.Pow(1-0.042165, 2), 1e-5)
	p.CombinerMM = 0
	train.Groups[0].Elements[0].Lens.LossPct = 0.5
	testlens.Near(t, "one coated lens", NewChecker(p).Measure(train).Metrics.Transmission, bare/(first*last)*0.995*0.995, 1e-12)
}

// TestCheckReuse checks that a Checker keeps nothing from one train to the next
// and does not allocate once warm.
func TestCheckReuse(t *testing.T) {
	p := testtrain.Problem()
	trains := []*objective.Train{testtrain.Simple(t, p)}
	for _, c := range checkCases(6) {
		trains = append(trains, c.train)
	}
	checker := NewChecker(p)
	for range 2 {
		for i, train := range trains {
			got, want := checker.Measure(train).Clone(), NewChecker(p).Measure(train)
			for k := range MetricList {
				g, w := *MetricList[k].of(&got.Metrics), *MetricList[k].of(&want.Metrics)
				if math.Float64bits(g) != math.Float64bits(w) {
					t.Errorf("train %d: %s is %v the first time and %v later", i, MetricList[k].Name, w, g)
				}
			}
		}
	}
	if n := testing.AllocsPerRun(3, func() {
		for _, train := range trains {
			checker.Measure(train)
			checker.Check(train)
		}
	}); n > 0 {
		t.Errorf("%v allocations", n)
	}
}
