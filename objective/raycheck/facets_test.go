package raycheck

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"relaysweep/catalog"
	"relaysweep/objective"
	"relaysweep/objective/internal/testlens"
	"relaysweep/objective/internal/testtrain"
	"relaysweep/objective/raycheck/lanes"
)

// facetTable are facet angles for a collimated ray at the height r to a focus at f, in an index of
// 1.491, and shares that are lost, worked out by hand from tan α = sin θ/(n - cos θ) with the facets
// towards the focus and sin θ/(√(n² - sin² θ) - 1) away from it, tan θ = r/f.
var facetTable = []struct {
	f, r                         float64
	toFocus, toInfinity          float64 // degrees
	draft2, draft5               float64 // lost to drafts of 2° and 5°, facets towards the focus
	draft2Infinity, draft5Infity float64
	wall                         float64 // tan α·tan θ₁ of light inside, facets towards infinity
}{
	{100, 10, 11.3445, 11.5321, 0.00696, 0.01725, 0.00707, 0.01754, 0.01365},
	{100, 25, 24.9689, 27.2386, 0.01600, 0.03914, 0.01766, 0.04310, 0.08487},
	{50, 20, 33.4337, 39.9110, 0.02254, 0.05461, 0.02838, 0.06819, 0.21513},
	{50, 25, 36.8566, 46.6378, 0.02551, 0.06155, 0.03566, 0.08478, 0.33293},
}

const facetIndex = 1.491

// crossingBehind traces a collimated ray at a height through a facet of a paraboloid of a
// curvature, and a plane after it or before it, and says where it meets the axis, and the facet's
// angle in degrees.
func crossingBehind(curvature, height float64, toFocus bool) (at, angle float64) {
	r := lanes.NewRays(1)
	r.Y[0], r.KW[0], r.Per[0] = height, 1, 1
	facets, plane := lanes.Surface{Curvature: curvature, Conic: -1, Faceted: true}, lanes.Surface{}
	if toFocus {
		r.Through(&plane, 1/facetIndex)
		r.Through(&facets, facetIndex)
	} else {
		r.Through(&facets, 1/facetIndex)
		r.Through(&plane, facetIndex)
	}
	return -r.Y[0] * r.KW[0] / r.KY[0], math.Atan(math.Abs(curvature)*height) * 180 / math.Pi
}

// TestFacetAngles finds the facet by which real rays meet the focus, both ways round, and holds its
// angle against the table to its printed digits.
func TestFacetAngles(t *testing.T) {
	for _, c := range facetTable {
		for _, toFocus := range []bool{true, false} {
			sign, want := 1.0, c.toInfinity
			if toFocus {
				sign, want = -1, c.toFocus
			}
			flat, steep := 0.0, 2/c.r // slopes up to 2
			for range 80 {
				middle := (flat + steep) / 2
				if at, _ := crossingBehind(sign*middle, c.r, toFocus); at > c.f {
					flat = middle
				} else {
					steep = middle
				}
			}
			_, got := crossingBehind(sign*steep, c.r, toFocus)
			testlens.Near(t, "facet angle", got, want, 0.5001e-4)
		}
	}
}

// TestFacetShareAgainstTable: the drafts take the printed share of light that does not meet
// them otherwise. What a wall takes of light that leans towards it from inside is tan α·tan θ₁ of
// a pitch, by which the light has become wider when it has passed the facets.
func TestFacetShareAgainstTable(t *testing.T) {
	tan := func(degrees float64) float64 { return math.Tan(degrees * math.Pi / 180) }
	for _, c := range facetTable {
		theta := c.r / c.f
		inside := math.Tan(math.Asin(math.Sin(math.Atan(theta)) / facetIndex))
		a, b := tan(c.toFocus), tan(c.toInfinity)
		testlens.Near(t, "2°, to the focus", 1-facetShare(a, tan(2), theta, 0, false), c.draft2, 0.51e-5)
		testlens.Near(t, "5°, to the focus", 1-facetShare(a, tan(5), theta, 0, false), c.draft5, 0.51e-5)
		// As if nothing leaned inside the glass.
		testlens.Near(t, "2°, to infinity", 1-facetShare(b, tan(2), 0, 0, true), c.draft2Infinity, 0.51e-5)
		testlens.Near(t, "5°, to infinity", 1-facetShare(b, tan(5), 0, 0, true), c.draft5Infity, 0.51e-5)
		testlens.Near(t, "upright walls, to infinity", 1-facetShare(b, 0, 0, inside, true), c.wall/(1+c.wall), 1e-5)
		// A draft that leans more than the light takes the light alone.
		steep := math.Atan(inside)*180/math.Pi + 1
		testlens.Near(t, "a leaning draft", facetShare(b, tan(steep), 0, inside, true), 1/(1+b*tan(steep)), 1e-12)
	}
}

// TestFacetShareAgainstRays follows many parallel rays over one pitch of a chain of facets and
// walls, in any directions that a facet turns into each other: those that meet a facet first and
// nothing after it are the share.
func TestFacetShareAgainstRays(t *testing.T) {
	lossy := 0
	rapid.Check(t, func(t *rapid.T) {
		tilt, draft := rapid.Float64Range(0.05, 1.2).Draw(t, "tilt"), rapid.Float64Range(0, 0.3).Draw(t, "draft")
		// The way into the air, by how much it goes uphill.
		air := rapid.Float64Range(-0.7, 0.7).Draw(t, "air")
		// By Snell's law at the facet, whose normal leans downhill.
		lean := math.Atan(tilt)
		outside := math.Atan(air) + lean
		if math.Abs(outside) > 1.4 {
			t.Skip("from behind")
		}
		glass := math.Tan(lean - math.Asin(math.Sin(outside)/1.5))
		fromAir := rapid.Bool().Draw(t, "from the air")

		width := 1 / (1 + tilt*draft)
		var x, y []float64 // the chain, falling to the right
		for i := -8; i <= 8; i++ {
			x, y = append(x, float64(i), float64(i)+width), append(y, 0, -width*tilt)
		}
		first := func(fx, fy, dx, dy float64, but int) (segment int, px, py float64) {
			segment, nearest := -1, math.Inf(1)
			for i := range len(x) - 1 {
				ex, ey := x[i+1]-x[i], y[i+1]-y[i]
				det := dx*ey - dy*ex
				way := ((x[i]-fx)*ey - (y[i]-fy)*ex) / det
				along := ((x[i]-fx)*dy - (y[i]-fy)*dx) / det
				if i != but && way > 0 && way < nearest && along >= 0 && along < 1 {
					segment, nearest = i, way
				}
			}
			return segment, fx + nearest*dx, fy + nearest*dy
		}
		const rays = 4000
		through := 0
		for i := range rays {
			at := (float64(i) + 0.37) / rays
			// Away from the facet a ray goes uphill, to the left.
			fx, fy, dx, dy := at-2*air, 2.0, air, -1.0
			ox, oy := -glass, -1.0
			if !fromAir {
				fx, fy, dx, dy = at-3*glass, -3, glass, 1
				ox, oy = -air, 1
			}
			segment, px, py := first(fx, fy, dx, dy, -1)
			if segment%2 != 0 {
				continue
			}
			if next, _, _ := first(px, py, ox, oy, segment); next < 0 {
				through++
			}
		}
		share := float64(through) / rays
		if share < 0.95 {
			lossy++
		}
		testlens.Near(t, "share", facetShare(tilt, draft, air, glass, fromAir), share, 2.5/rays)
	})
	if lossy == 0 {
		t.Error("nothing is lost")
	}
}

// TestFacetedHyperbola: a plano-hyperbola with k = -n² brings collimated light that enters by its
// plane to a perfect focus, R/(n - 1) behind the vertex (E. Hecht, Optics, section 5.2.1, from
// memory). Facets with its slopes turn each ray by as much, but from the plane: it meets the axis
// beyond the focus by what the hyperbola lies before its vertex plane at that height.
func TestFacetedHyperbola(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.Float64Range(1.4, 1.9).Draw(t, "n")
		s := catalog.Surface{RadiusMM: -rapid.Float64Range(15, 80).Draw(t, "R"), Conic: -n * n, PitchMM: 0.3}
		height := rapid.Float64Range(0.1, 12).Draw(t, "height")
		r := lanes.NewRays(1)
		r.Y[0], r.KW[0], r.Per[0] = height, 1, 1
		r.Through(&lanes.Surface{}, 1/n)
		// The light goes the other way than towards the world, so that the surface need not be turned.
		r.Through(&lanes.Surface{DistanceMM: 3, Curvature: s.Curvature(), Conic: s.Conic, Faceted: true}, n)
		if r.Lost(0) {
			t.Fatal("lost")
		}
		focus := -s.RadiusMM / (n - 1)
		sag := s.Smooth().Sag(height)
		testlens.Near(t, "W", r.W[0], 0, 0)
		testlens.Near(t, "where it meets the axis", -height*r.KW[0]/r.KY[0], focus-sag, 1e-9*focus)
	})
}

// TestGrooveBlur turns the light at one surface after the other by λ/p in a paraxial trace of the
// whole train, and asks from where the eye sees it come.
func TestGrooveBlur(t *testing.T) {
	counted := 0
	rapid.Check(t, func(t *rapid.T) {
		p, train := testtrain.DrawFaceted(t)
		p.VergenceFar, p.VergenceNear = 0.0007, 0.0043
		m := NewChecker(p).Measure(train).Metrics
		planes := testtrain.PlanesOf(p, train, 20)
		along, _, _ := testlens.TraceBackThrough(planes, 1, 0)
		chief, _, _ := testlens.TraceBackThrough(planes, 0, 1)
		lambda := p.WavelengthsNM[p.Reference()] * 1e-6
		blur, visible := 0.0, 0.0
		for d := range p.DepthSteps {
			v := p.Depth(d)
			squares := 0.0
			eachPlane(train, planes, func(i int, s catalog.Surface) {
				if !s.IsFaceted() || math.Abs(along[i]+v*chief[i])*p.Pupil <= s.PitchMM {
					return
				}
				// The ray that has the height 0 there, and behind it the slope λ/p in air: from
				// the eye back it is y·(1, 0) + u·(0, 1), and its slope that over the next gap.
				y, u := -chief[i], along[i]
				gap := planes[i+1].Z - planes[i].Z
				optical := planes[i].After * (y*along[i+1] + u*chief[i+1]) / gap
				turn := lambda / s.PitchMM / optical
				squares += math.Pow(turn*(u-v*y), 2)
			})
			blur = math.Max(blur, math.Sqrt(squares))
		}
		eachPlane(train, planes, func(i int, s catalog.Surface) {
			if !s.IsFaceted() {
				return
			}
			// Where rays from a point of the surface seem to come from: y = u/v. As far out of focus
			// as it is for the best of the depths, the eye's blur disc of it is so wide an angle.
			v := -along[i] / chief[i]
			off := math.Max(0, math.Max(p.VergenceFar-v, v-p.VergenceNear))
			if off < 0.0005 || p.Pupil*off < s.PitchMM/math.Abs(chief[i]) {
				visible = math.Max(visible, s.PitchMM/math.Abs(chief[i]))
			}
		})
		testlens.Near(t, "groove_blur_arcmin", m.GrooveBlurArcmin, math.Atan(blur)*10800/math.Pi, 1e-8)
		testlens.Near(t, "groove_visible_arcmin", m.GrooveVisibleArcmin, math.Atan(visible)*10800/math.Pi, 1e-8)
		if blur > 0 {
			counted++
		}
	})
	if counted == 0 {
		t.Error("no grooves blur")
	}
}

// fieldLensTrain is a relay with a weak Fresnel lens in the mask's gap of its rear group, near the
// image: its pitch is seen.
func fieldLensTrain(t *testing.T, p *objective.Problem, pitch float64) *objective.Train {
	field := testlens.PlanoConvex(200, 30, 2, testlens.DenseCrown)
	field.Surfaces[0].PitchMM, field.Surfaces[0].DraftDeg = pitch, 3
	elements := func(lens *catalog.Lens) []*objective.Element {
		return []*objective.Element{p.NewElement(lens, false, 0, 0)}
	}
	rear := append(elements(field), elements(testlens.Achromat(40, 30))...)
	last := p.TrainAt(objective.Space{Layout: objective.ErectorSingle, Seat: objective.SeatRear},
		[][]*objective.Element{elements(testlens.Achromat(40, 30)), elements(testlens.Achromat(40, 30)), rear},
		[][]float64{nil, nil, {34}}, []float64{120, 108}, 35)
	return last
}

// TestGroovesNearImage: the facets stand 36 mm before a lens of 40 mm, or so, where the eye sees
// them at some 2 dioptres. As the image of a lens that has no power before it, a height of a pitch
// is seen by the slope of its chief ray. They are seen up to 0.5 D from the depths, and farther
// away as long as the eye's blur disc of a point, as wide as the pupil times the dioptres, is no
// wider than a pitch's angle (the geometrical blur of an eye out of focus: W. J. Smith, Modern
// Optical Engineering, chapter on the eye, from memory).
func TestGroovesNearImage(t *testing.T) {
	for _, pitch := range []float64{0.02, 0.25} {
		p := testtrain.Problem()
		p.VergenceFar, p.VergenceNear = 0, 0.004
		train := fieldLensTrain(t, p, pitch)
		seen, slope := math.NaN(), math.NaN()
		p.EachFacets(train, func(f *objective.Facets) { seen = 1000 * f.Vergence() })
		if !(seen > 0.6 && seen < 4) {
			t.Fatalf("the facets are seen at %v D", seen)
		}
		planes := testtrain.PlanesOf(p, train, 20)
		chief, _, _ := testlens.TraceBackThrough(planes, 0, 1)
		eachPlane(train, planes, func(i int, s catalog.Surface) {
			if s.IsFaceted() {
				slope = pitch / math.Abs(chief[i])
			}
		})
		reach := 1000 * slope / p.Pupil // dioptres
		if (reach > 0.6) != (pitch == 0.25) {
			t.Fatalf("a pitch of %v mm is resolved up to %v D", pitch, reach)
		}
		reach = math.Max(reach, 0.5)
		for _, c := range []struct {
			far, near float64 // dioptres, from where the facets are seen
			visible   bool
		}{
			{-1, 1, true},
			{reach - 0.01, reach + 1, true}, {reach + 0.01, reach + 1, false},
			{-reach - 1, -reach + 0.01, true}, {-reach - 1, -reach - 0.01, false},
		} {
			q := *p
			q.VergenceFar, q.VergenceNear = (seen+c.far)/1000, (seen+c.near)/1000
			m := NewChecker(&q).Measure(train).Metrics
			want := 0.0
			if c.visible {
				want = math.Atan(slope) * 10800 / math.Pi
			}
			testlens.Near(t, "groove_visible_arcmin", m.GrooveVisibleArcmin, want, 1e-8)
			if m.GrooveVisibleArcmin == 0 && m.GrooveBlurArcmin == 0 {
				t.Errorf("a pitch of %v mm, %+v: the facets are neither seen nor spread light", pitch, c)
			}
		}
	}
	p := testtrain.Problem()
	p.VergenceFar, p.VergenceNear = 0, 0.004
	// With a pitch wider than the beam no light is spread by it.
	p.Pupil = 0.5
	for _, c := range []struct {
		pitch float64
		blurs bool
	}{{0.01, true}, {3, false}} {
		m := NewChecker(p).Measure(fieldLensTrain(t, p, c.pitch)).Metrics
		if (m.GrooveBlurArcmin > 0) != c.blurs {
			t.Errorf("a pitch of %v mm blurs by %v arcmin", c.pitch, m.GrooveBlurArcmin)
		}
	}
}

// TestFacetLimits: limits on grooves come after all others, one after the other, and trains
// without facets keep them; so does [Judge].
func TestFacetLimits(t *testing.T) {
	p := testtrain.Problem()
	p.AccommodationD, p.RefocusMaxD, p.Travel = 8, 8, 1000
	p.MaskWidth, p.MaskHeight, p.Clearance = 1000, 1000, -1000
	clear(p.Limits.Max)
	p.Limits.TransmissionMin = 0
	train := fieldLensTrain(t, p, 0.25)
	m := NewChecker(p).Measure(train).Metrics
	if !(m.GrooveBlurArcmin > 0 && m.GrooveVisibleArcmin > 0) {
		t.Fatalf("%+v", m)
	}
	if failed := NewChecker(p).Check(train).FailedBy; failed != "" {
		t.Fatalf("fails by %q without limits", failed)
	}
	for _, c := range []struct {
		ghost, blur, visible float64
		want                 string
	}{
		{1.001, 1.001, 1.001, ""}, {0.999, 0.999, 0.999, "ghost_arcmin"}, {1.001, 0.999, 0.999, "groove_blur_arcmin"}, {1.001, 1.001, 0.999, "groove_visible_arcmin"},
	} {
		q := *p
		q.Limits.Max = map[string]float64{
			"ghost_arcmin": c.ghost * m.GhostArcmin, "groove_blur_arcmin": c.blur * m.GrooveBlurArcmin, "groove_visible_arcmin": c.visible * m.GrooveVisibleArcmin,
		}
		if got := NewChecker(&q).Check(train).FailedBy; got != c.want {
			t.Errorf("%+v: failed by %q", c, got)
		}
		if got := NewChecker(&q).Measure(train).FailedBy; got != c.want {
			t.Errorf("%+v: measured in full failed by %q", c, got)
		}
		if _, excess := NewChecker(&q).Grade(train); (excess > 0) != (c.want != "") {
			t.Errorf("%+v: an excess of %v", c, excess)
		}
		judged := map[string]bool{}
		_, all := Judge(&q, train)
		for _, j := range all {
			judged[j.Name] = j.Fails
		}
		if judged["groove_blur_arcmin"] != (c.blur < 1) || judged["groove_visible_arcmin"] != (c.visible < 1) {
			t.Errorf("%+v: judged %v", c, judged)
		}
		q.Limits.Max = map[string]float64{"groove_blur_arcmin": 0, "groove_visible_arcmin": 0}
		smooth := testtrain.Simple(t, &q)
		checked, measured := NewChecker(&q).Check(smooth).Clone(), NewChecker(&q).Measure(smooth).Metrics
		if checked.FailedBy != "" || !math.IsNaN(measured.GrooveBlurArcmin) || !math.IsNaN(measured.GrooveVisibleArcmin) {
			t.Errorf("a smooth train fails by %q with %v, %v", checked.FailedBy, measured.GrooveBlurArcmin, measured.GrooveVisibleArcmin)
		}
		if failedBy, excess := NewChecker(&q).Grade(smooth); failedBy != "" || excess != 0 {
			t.Errorf("a smooth train has an excess of %v by %q", excess, failedBy)
		}
		refiner := NewRefiner(&q, objective.ByLength)
		refiner.Begin(smooth)
		if _, _, active := refiner.Settle(make([]float64, refiner.Unknowns())); len(active) > 0 && active[len(active)-1][:6] == "groove" {
			t.Errorf("a smooth train is held by %v", active)
		}
		if _, all := Judge(&q, smooth); all[len(all)-1].Name == "groove_visible_arcmin" {
			t.Error("a smooth train is judged by grooves")
		}
	}
}

// eachPlane visits the planes of a train's lens surfaces.
func eachPlane(t *objective.Train, planes []testlens.Plane, visit func(i int, s catalog.Surface)) {
	i := 0
	for _, g := range t.Groups {
		for _, e := range g.Elements {
			for _, s := range e.Surfaces {
				for planes[i].Clear == 0 {
					i++
				}
				visit(i, s)
				i++
			}
		}
	}
}
