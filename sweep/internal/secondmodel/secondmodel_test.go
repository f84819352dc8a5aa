package secondmodel

import (
	"math"
	"math/rand/v2"
	"testing"

	"relaysweep/catalog"
)

// randomDesign is any design of a random space.
func randomDesign(r *rand.Rand) (Request, string, string, []stack) {
	q := RandomRequest(r).filled()
	lenses := RandomLenses(r, 4)
	layout := q.Layouts[r.IntN(len(q.Layouts))]
	choices := seats(layout, q.Seat)
	var stacks []stack
	for range groupCount(layout) {
		group := []Oriented{{Lens: lenses[r.IntN(4)], Reversed: r.IntN(2) == 0}}
		if r.IntN(3) == 0 {
			group = append(group, Oriented{Lens: lenses[r.IntN(4)], Reversed: r.IntN(2) == 0})
		}
		stacks = append(stacks, newStack(q, group))
	}
	return q, layout, choices[r.IntN(len(choices))], stacks
}

// stageAt tests a train at one eye relief, each requirement as it is worded.
func stageAt(t *train, e float64) int {
	r := t.r
	all, masks := t.views(e)
	if e < r.ReliefMinMM || e > r.ReliefMaxMM || e < r.CombinerMM {
		return relief
	}
	var vs []float64
	for i := range 11 {
		vs = append(vs, r.far()+(r.near()-r.far())*float64(i)/10)
	}
	for _, s := range all {
		for _, v := range vs {
			if math.Abs(s.m.chief())*r.tanMax()+r.apertureReach()*math.Abs(s.m.edge(v)) > s.clear+1e-9 {
				return aperture
			}
		}
	}
	stage := parts
	fail := func(at int, bad bool) {
		if bad {
			stage = min(stage, at)
		}
	}
	for k, mask := range masks {
		lo, hi := t.maskRoom(k)
		least, most := math.Inf(1), math.Inf(-1)
		for _, v := range vs {
			x, a := t.setpoint(mask, v)
			fail(clearance, v > 0 && 1/v <= mask.a/mask.c)
			fail(clearance, x < lo-1e-9 || x > hi+1e-9)
			least, most = math.Min(least, x), math.Max(most, x)
			a = math.Abs(a)
			fail(maskSize, a*math.Tan(radians(r.FieldWidthDeg/2)) > r.MaskWidthMM/2+1e-9)
			fail(maskSize, a*math.Tan(radians(r.FieldHeightDeg/2)) > r.MaskHeightMM/2+1e-9)
			fail(pixelArcmin, arcmin(math.Atan(r.PixelUM/1000/a)) > r.limit("pixel_arcmin")+1e-9)
			// |dx/dV| as a difference quotient
			const h = 1e-7
			before, _ := t.setpoint(mask, v-h)
			after, _ := t.setpoint(mask, v+h)
			perD := math.Abs(after-before) / (2 * h) / 1000
			fail(depthStep, r.ResolutionUM/1000/perD > r.limit("depth_step_D")*(1+1e-6))
		}
		fail(travel, most-least > r.TravelMM+1e-9)
	}
	fail(viewpointShift, math.Abs(t.length()+e-all[0].m.b/all[0].m.a) > r.limit("viewpoint_shift_mm")+1e-9)
	return stage
}

// The interval arithmetic over the eye relief must agree with a scan of the eye
// relief that tests the requirements one by one.
func TestReliefAgainstScan(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	counts := map[int]int{}
	for range 1500 {
		q, layout, seat, stacks := randomDesign(r)
		inner := 20 * r.Float64()
		needs := make([]float64, len(stacks)-1)
		tried := try(q, layout, seat, stacks, needs, inner)
		if tried.stage < relief {
			continue
		}
		counts[tried.stage]++
		furthest, first := 0, math.NaN()
		const steps = 300
		for i := range steps + 1 {
			e := q.ReliefMinMM + (q.ReliefMaxMM-q.ReliefMinMM)*float64(i)/steps
			stage := stageAt(tried.train, e)
			if stage == parts && math.IsNaN(first) {
				first = e
			}
			furthest = max(furthest, stage)
		}
		step := (q.ReliefMaxMM - q.ReliefMinMM) / steps
		if tried.stage != parts {
			if furthest > tried.stage {
				t.Errorf("%s: scan reaches stage %d, intervals end at %d (margin %g)", layout, furthest, tried.stage, tried.margin)
			}
			continue
		}
		if got := stageAt(tried.train, tried.relief.lo); got != parts {
			t.Errorf("%s: chosen eye relief %g fails stage %d", layout, tried.relief.lo, got)
		}
		if math.IsNaN(first) {
			if tried.relief.hi-tried.relief.lo > step {
				t.Errorf("%s: the scan finds nothing in [%g, %g]", layout, tried.relief.lo, tried.relief.hi)
			}
		} else if first < tried.relief.lo-1e-6 || first > tried.relief.lo+step*1.001 {
			t.Errorf("%s: smallest eye relief %g, by scan %g", layout, tried.relief.lo, first)
		}
	}
	for _, stage := range []int{aperture, clearance, travel, maskSize, pixelArcmin, depthStep, viewpointShift, parts} {
		if counts[stage] == 0 {
			t.Errorf("no train was tried that ends at stage %d", stage)
		}
	}
}

// Afocal, of the wanted magnification, and the mask imaged to its depth, also
// when its glass and the combiner are spelled out as plates.
func TestTrainLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for range 500 {
		q, layout, seat, stacks := randomDesign(r)
		d := evaluate(q, layout, seat, stacks)
		if d.FailedBy == Requirements[focal] || math.IsNaN(d.EyeReliefMM) {
			continue
		}
		all, _ := d.train.views(d.EyeReliefMM)
		near(t, "power", all[0].m.c, 0, 1e-13)
		if layout != "keplerian" {
			near(t, "magnification", d.AngularMagnification, q.Magnification, 1e-10)
		} else {
			near(t, "magnification", d.AngularMagnification, -d.FFrontMM/d.FRearMM, 1e-10)
		}
		for k, g := range d.train.maskGaps {
			for _, p := range [][]Setpoint{d.Setpoints, d.Second.Setpoints}[k] {
				m := translation(q.MaskGlassMM/2, q.MaskGlassIndex)
				m = translation(d.GapsMM[g]-p.MaskMM-q.MaskGlassMM/2, 1).times(m)
				for i := g + 1; i < len(stacks); i++ {
					m = stacks[i].m.times(m)
					if i == len(stacks)-1 {
						break
					}
					if air := d.GapsMM[i] - q.MaskGlassMM; d.train.holdsMask(i) {
						m = translation(air, 1).times(translation(q.MaskGlassMM, q.MaskGlassIndex)).times(m)
					} else {
						m = translation(d.GapsMM[i], 1).times(m)
					}
				}
				m = translation(d.EyeReliefMM-q.CombinerMM, 1).times(m)
				m = translation(q.CombinerMM, q.CombinerIndex).times(m)
				// A ray from the layer's axial point comes out with slope = V·height.
				near(t, "vergence", m.d/m.b, p.VergenceD/1000, 1e-9)
				near(t, "chief height", -m.b, p.ChiefMM, 1e-8)
			}
		}
	}
}

// Newton's form of the setpoint at the rear seat.
func TestNewtonSetpoint(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		q, layout, _, stacks := randomDesign(r)
		d := evaluate(q, layout, "rear", stacks)
		if math.IsNaN(d.EyeReliefMM) {
			continue
		}
		rear := stacks[len(stacks)-1].m
		p := d.EyeReliefMM - q.combinerShift() - rear.bfd()
		for _, s := range d.Setpoints {
			air := d.train.air[len(stacks)-2]
			want := air - rear.ffd() + q.maskShift()/2
			if s.VergenceD > 0 {
				want += rear.f() * rear.f() / (1000/s.VergenceD - p)
			}
			near(t, "setpoint", s.MaskMM, want, 1e-8)
		}
	}
}

// More inner gaps tried must not find anything better.
func TestInnerGapConverges(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	compared := 0
	for compared < 8 {
		q, _, _, stacks := randomDesign(r)
		if len(stacks) != 4 {
			continue
		}
		q.InnerSteps = 300
		coarse := evaluate(q, "erector-pair", "rear", stacks)
		if coarse.FailedBy == "focal" {
			continue
		}
		q.InnerSteps = 3000
		fine := evaluate(q, "erector-pair", "rear", stacks)
		if coarse.FailedBy != fine.FailedBy {
			t.Errorf("%s: %q with few inner gaps, %q with many", fine.ID, coarse.FailedBy, fine.FailedBy)
		} else if fine.FailedBy == "" {
			compared++
			near(t, fine.ID, coarse.RankedMM, fine.RankedMM, 1e-9)
			least := fine.train.air[1]
			for range 300 {
				needs := []float64{0, 0, 0}
				for i := range needs {
					a, b := stacks[i].faces, stacks[i+1].faces
					needs[i] = vertexGap(a[len(a)-1], b[0], q.GroupGapMinMM)
				}
				s := needs[1] + 2*r.Float64()*(least-needs[1]+r.Float64())
				if other := try(q, "erector-pair", "rear", stacks, needs, s); other.stage == parts && other.ranked < fine.RankedMM-1e-9 {
					t.Errorf("%s: the inner gap %g gives %.9f, less than %.9f at %g", fine.ID, s, other.ranked, fine.RankedMM, least)
				}
			}
		}
	}
}

// In a small pupil and field exact rays go over into paraxial ones.
func TestExactRaysNearTheAxis(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	compared := 0
	for compared < 20 {
		q, layout, seat, stacks := randomDesign(r)
		q.PupilMM, q.BoxMM, q.SharpBoxMM = 0.02, 0, 0
		q.FieldWidthDeg, q.FieldHeightDeg = 0.02, 0.01
		q.WavelengthsNM, q.Weights = []float64{546.07}, []float64{1}
		d := evaluate(q, layout, seat, stacks)
		if math.IsNaN(d.EyeReliefMM) {
			continue
		}
		compared++
		m := RayMetricsGrid(q, d, 12)
		near(t, "defocus", m.ViewDefocusD, 0, 1e-3)
		near(t, "astigmatism", m.ViewAstigmatismD, 0, 1e-3)
		// Distortion falls with the squares of field and pupil.
		q.PupilMM, q.FieldWidthDeg, q.FieldHeightDeg = q.PupilMM/4, q.FieldWidthDeg/4, q.FieldHeightDeg/4
		near(t, "distortion", RayMetricsGrid(q, d, 12).DistortionPct, m.DistortionPct/16, math.Abs(m.DistortionPct)/50+1e-8)
		near(t, "view blur", m.ViewBlurArcmin, 0, 1e-4)
		near(t, "vignetting", m.VignettedPct, 0, 0)
		for _, p := range m.Setpoints {
			near(t, "setpoint", p.MaskMM, p.MaskParaxialMM, 1e-2*math.Abs(d.TravelParaxialMM)+1e-3)
		}
	}
}

// Groups set further apart than afocal form a real image of the far world
// behind the eye: things look farther than they should, the defocus is
// negative; closer together it is positive. For f = 1 m and z = 10 mm it is near
// z/f² = 0.01 D (Newton's equation). A defocus of V dioptres spreads the slopes
// over pupil times V, and the RMS of a uniform disc of that width is width/√8.
func TestBlurOfDefocus(t *testing.T) {
	r := generous()
	r.PupilMM, r.ReliefMinMM = 2, 50
	r.FieldWidthDeg, r.FieldHeightDeg = 0.001, 0.001
	r.WavelengthsNM, r.Weights = []float64{546.07}, []float64{1}
	r.NearM, r.FarM = math.Inf(1), math.Inf(1)
	d := Evaluate(r, "keplerian", "rear", groupsOf(thinLens("A", 1000, 40), thinLens("B", 1000, 40)))
	if d.FailedBy != "" {
		t.Fatal(d.FailedBy)
	}
	for _, z := range []float64{10, -10} {
		moved := *d.train
		moved.air = []float64{d.train.air[0] + z}
		moved.gaps = []float64{d.train.gaps[0] + z}
		shifted := d
		shifted.train = &moved

		r.RefocusMaxD, r.AccommodationD = 0, 8
		m := RayMetricsGrid(r, shifted, 60)
		off := m.ViewDefocusD
		near(t, "defocus", off, -z/1000, 0.03*math.Abs(z)/1000)
		blur := m.ViewBlurArcmin
		near(t, "blur", blur, arcmin(2*math.Abs(off)/1000/math.Sqrt(8)), 0.01*blur)
		near(t, "refocus", m.ViewRefocusD, 0, 0)

		// What looks nearer than infinity the eye can reach, what looks beyond
		// it cannot; and an eye that does not accommodate can reach neither.
		r.RefocusMaxD = 0.3
		m = RayMetricsGrid(r, shifted, 60)
		if off > 0 {
			near(t, "blur left", m.ViewBlurArcmin, 0, 0.01*blur)
			near(t, "refocus", m.ViewRefocusD, off, 0.01*off)
		} else {
			near(t, "blur left", m.ViewBlurArcmin, blur, 1e-9)
		}
		r.AccommodationD = 0
		near(t, "blur left to a rigid eye", RayMetricsGrid(r, shifted, 60).ViewBlurArcmin, blur, 1e-9)
	}
}

// The grid that fills the pupil is fine enough.
func TestMetricsConverge(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	compared := 0
	for compared < 2 {
		q, layout, seat, stacks := randomDesign(r)
		q.Steps = min(q.Steps, 2)
		d := evaluate(q, layout, seat, stacks)
		if math.IsNaN(d.EyeReliefMM) {
			continue
		}
		compared++
		a, b := RayMetricsGrid(q, d, 40), RayMetricsGrid(q, d, 81)
		if math.IsInf(b.ViewBlurArcmin, 1) {
			continue
		}
		near(t, "mask blur", a.MaskBlurArcmin, b.MaskBlurArcmin, 0.01*b.MaskBlurArcmin)
		near(t, "view blur", a.ViewBlurArcmin, b.ViewBlurArcmin, 0.01*b.ViewBlurArcmin)
		near(t, "defocus", a.ViewDefocusD, b.ViewDefocusD, 0.01*math.Abs(b.ViewDefocusD))
		near(t, "vignetting", a.VignettedPct, b.VignettedPct, 1)
	}
}

// The space holds (layouts × seats) × groups^places designs, with a group any
// sequence of up to two of the lenses' orientations.
func TestEnumerateCounts(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	lenses := RandomLenses(r, 2)
	orientations := 0
	for _, l := range lenses {
		orientations += 2
		if l.IsSymmetric() {
			orientations--
		}
	}
	q := RandomRequest(r)
	q.Layouts, q.Seat, q.LensesPerGroup = []string{"keplerian", "erector-single"}, "either", 2
	groups := orientations + orientations*orientations
	found := Enumerate(q, lenses)
	if want := groups*groups + 2*groups*groups*groups; found.Space != want {
		t.Errorf("space %d, want %d", found.Space, want)
	}
	total := len(found.Passing)
	for _, n := range found.Failed {
		total += n
	}
	if total != found.Space {
		t.Errorf("%d designs of %d accounted for", total, found.Space)
	}
	seen := map[string]bool{}
	Each(q, lenses, func(d Design) {
		if seen[d.ID] {
			t.Errorf("%s occurs twice", d.ID)
		}
		seen[d.ID] = true
	})
}

// The volume of a plano-convex lens is a cylinder and a spherical cap.
func TestElementVolume(t *testing.T) {
	l := &catalog.Lens{
		DiameterMM: 20, ThicknessMM: []float64{5}, Glasses: []*catalog.Glass{inventedCrown},
		Surfaces: []catalog.Surface{{RadiusMM: 30}, {RadiusMM: math.Inf(1)}},
	}
	cap := 30 - math.Sqrt(30*30-10*10)
	want := math.Pi*100*(5-cap) + math.Pi*cap*cap*(3*30-cap)/3
	near(t, "volume", elementVolume(l, 0), want, 1e-7)
}

// Invented lenses can be made and the random requests leave something over.
func TestRandomSpaces(t *testing.T) {
	met, spaces := 0, 0
	for seed := range uint64(60) {
		r := rand.New(rand.NewPCG(seed, 1))
		lenses, q := RandomLenses(r, 3), RandomRequest(r)
		if len(q.Layouts) == 2 || q.Layouts[0] == "erector-pair" {
			continue
		}
		spaces++
		if len(Enumerate(q, lenses).Passing) > 0 {
			met++
		}
	}
	if 2*met < spaces {
		t.Errorf("only %d of %d spaces hold a passing design", met, spaces)
	}
}
