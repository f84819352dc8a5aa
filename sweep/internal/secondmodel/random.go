package secondmodel

import (
	"fmt"
	"math"
	"math/rand/v2"

	"relaysweep/catalog"
)

// Glasses invented for tests: the round numbers of a crown and two flints.
var (
	inventedCrown = catalog.NewAbbe("TESTCROWN", 1.52, 62, 2.55, "invented for tests")
	inventedDense = catalog.NewAbbe("TESTDENSE", 1.62, 58, 3.6, "invented for tests")
	inventedFlint = catalog.NewAbbe("TESTFLINT", 1.68, 32, 3.2, "invented for tests")
	inventedHeavy = catalog.NewAbbe("TESTHEAVY", 1.8, 26, 4.1, "invented for tests")
)

// RandomLenses invents n plausible lenses: plano-convex, bi-convex (some
// symmetric), meniscus, negative, cemented doublets and an occasional asphere,
// most of them of short focal length. Their edges are at least 0.3 mm thick and
// their radii longer than half their diameter.
func RandomLenses(r *rand.Rand, n int) []*catalog.Lens {
	var lenses []*catalog.Lens
	for len(lenses) < n {
		l := randomLens(r)
		if !sound(l) {
			continue
		}
		l.Part = fmt.Sprintf("T%d", len(lenses)+1)
		l.File, l.Line = "invented", len(lenses)+2
		lenses = append(lenses, l)
	}
	return lenses
}

func randomLens(r *rand.Rand) *catalog.Lens {
	pick := func(values ...float64) float64 { return values[r.IntN(len(values))] }
	diameter := pick(20, 25, 25.4, 30, 38, 40)
	l := &catalog.Lens{
		Vendor: "Nobody", DiameterMM: diameter, ClearMM: 0.9 * diameter,
		LossPct: catalog.Unset, Density: catalog.Unset, Price: catalog.Unset,
		EFLMM: catalog.Unset, BFLMM: catalog.Unset, Stock: catalog.Unlimited,
	}
	if r.IntN(8) > 0 {
		l.Price = 10 + math.Round(r.Float64()*80)
	}
	if r.IntN(3) == 0 {
		l.Stock = 1 + r.IntN(2)
	}
	if r.IntN(2) == 0 {
		l.LossPct = 0.5
	}
	if r.IntN(10) == 0 {
		l.Density = 2.7
	}
	f := diameter * (1.1 + 2.5*r.Float64()*r.Float64())
	glass := []*catalog.Glass{inventedCrown, inventedCrown, inventedDense, inventedFlint}[r.IntN(4)]
	n := glass.Nd()
	centre := 2 + 0.22*diameter + 2*r.Float64()
	singlet := func(kind string, r1, r2, t float64) {
		l.Kind = kind
		l.Surfaces = []catalog.Surface{{RadiusMM: r1}, {RadiusMM: r2}}
		l.ThicknessMM = []float64{math.Round(t*100) / 100}
		l.Glasses = []*catalog.Glass{glass}
	}
	// A singlet of radii r1, r2 has the power (n-1)(1/r1 - 1/r2) when thin.
	switch r.IntN(10) {
	case 0, 1:
		singlet("plano-convex", (n-1)*f, math.Inf(1), centre)
	case 2, 3:
		singlet("bi-convex", 2*(n-1)*f, -2*(n-1)*f, centre)
	case 4:
		bend := 0.2 + 0.6*r.Float64()
		singlet("bi-convex", (n-1)*f/bend, -(n-1)*f/(1-bend), centre)
	case 5:
		bend := 1.2 + 0.5*r.Float64()
		singlet("meniscus", (n-1)*f/bend, (n-1)*f/(bend-1), centre)
	case 6:
		f = -f * 1.5
		if r.IntN(2) == 0 {
			singlet("plano-concave", math.Inf(1), -(n-1)*f, 2+r.Float64())
		} else {
			singlet("bi-concave", 2*(n-1)*f, -2*(n-1)*f, 2+r.Float64())
		}
	case 7:
		singlet("asphere", (n-1)*f, math.Inf(1), centre)
		l.Surfaces[0].Conic = -0.6 * r.Float64()
		l.Surfaces[0].Asphere = []float64{2e-7 * r.NormFloat64(), 1e-10 * r.NormFloat64()}
	default:
		crown, flint := inventedCrown, inventedFlint
		if r.IntN(2) == 0 {
			crown, flint = inventedDense, inventedHeavy
		}
		// The powers of a thin cemented achromat (W. J. Smith, Modern Optical
		// Engineering, 4th ed., 2008, ch. 6, thin-lens achromat).
		f *= 1.5
		p1 := crown.Vd() / (crown.Vd() - flint.Vd()) / f
		p2 := -flint.Vd() / (crown.Vd() - flint.Vd()) / f
		bend := 0.45 + 0.2*r.Float64()
		c1 := bend * p1 / (crown.Nd() - 1)
		c2 := c1 - p1/(crown.Nd()-1)
		c3 := c2 - p2/(flint.Nd()-1)
		l.Kind = "doublet"
		l.Surfaces = []catalog.Surface{{RadiusMM: 1 / c1}, {RadiusMM: 1 / c2}, {RadiusMM: 1 / c3}}
		l.ThicknessMM = []float64{math.Round((centre+2)*10) / 10, 2.5}
		l.Glasses = []*catalog.Glass{crown, flint}
	}
	for i := range l.Surfaces {
		if radius := l.Surfaces[i].RadiusMM; !math.IsInf(radius, 0) {
			l.Surfaces[i].RadiusMM = math.Round(radius*1000) / 1000
		}
	}
	return l
}

// sound reports whether a lens can be made.
func sound(l *catalog.Lens) bool {
	half := l.DiameterMM / 2
	for i, s := range l.Surfaces {
		if math.Abs(s.RadiusMM) < 1.05*half {
			return false
		}
		if i > 0 && l.ThicknessMM[i-1]+s.Sag(half)-l.Surfaces[i-1].Sag(half) < 0.3 {
			return false
		}
	}
	return true
}

// RandomRequest invents a request of which a fair share is met by some trains
// of a few RandomLenses. It fills every field, and tries fewer inner
// gaps than the default.
func RandomRequest(r *rand.Rand) Request {
	between := func(lo, hi float64) float64 { return math.Round((lo+(hi-lo)*r.Float64())*100) / 100 }
	oneIn := func(n int) bool { return r.IntN(n) == 0 }
	q := Request{
		LensesPerGroup: 1, Magnification: 1, MagnificationTol: between(0.05, 0.4),
		AirGapMinMM: between(0, 0.5), GroupGapMinMM: between(0, 2),
		FieldWidthDeg: between(4, 12), FieldHeightDeg: between(3, 9), FieldShape: "rectangle",
		PupilMM: between(2, 4), BoxMM: between(0, 2),
		ReliefMinMM: between(8, 20), ReliefMaxMM: between(40, 80),
		AccommodationD: between(4, 8), RefocusMaxD: between(0, 1),
		CombinerIndex: 1.5168, NearM: between(0.25, 1), FarM: math.Inf(1), Steps: 2 + r.IntN(4),
		MaskWidthMM: 36, MaskHeightMM: 24, PixelUM: 20, MaskGlassIndex: 1.52,
		ClearanceMM: between(0, 4), MaskTransmission: 1,
		TravelMM: between(4, 15), ResolutionUM: 10, SpeedMMS: 20,
		WavelengthsNM: []float64{479.99, 546.07, 643.85}, Weights: []float64{1, 2, 1},
		FieldFraction: 1, Limits: map[string]float64{}, InnerSteps: 300,
	}
	switch r.IntN(5) {
	case 0:
		q.Layouts = []string{"keplerian"}
	case 1:
		q.Layouts = []string{"erector-pair"}
	case 2:
		q.Layouts = []string{"erector-single", "erector-pair"}
	default:
		q.Layouts = []string{"erector-single"}
	}
	q.Seat = []string{"rear", "front", "either"}[r.IntN(3)]
	if q.Layouts[0] == "keplerian" && q.Seat == "front" {
		q.Seat = "rear"
	}
	q.RankBy = []string{"length_mm", "length_to_eye_mm"}[r.IntN(2)]
	if oneIn(3) {
		q.Magnification = between(0.6, 1.6)
	}
	if oneIn(3) {
		q.FieldShape = "ellipse"
	}
	if oneIn(2) {
		q.MaskGlassMM = between(0.5, 3)
	}
	if oneIn(3) {
		q.CombinerMM = between(1, 10)
	}
	switch r.IntN(4) {
	case 0:
		q.FarM = between(2, 5)
	case 1:
		if oneIn(2) {
			q.FarM, q.Steps = q.NearM, 1
		}
	}
	if oneIn(4) {
		q.LensesMax = 2 + r.IntN(4)
	}
	if oneIn(4) {
		q.DistinctPartsMax = 1 + r.IntN(3)
	}
	if oneIn(4) {
		q.LengthMaxMM = between(200, 500)
	}
	if oneIn(4) {
		q.MaskWidthMM, q.MaskHeightMM = between(6, 15), between(4, 12)
	}
	for _, limit := range []struct {
		name  string
		bound float64
	}{
		{"pixel_arcmin", 1.2}, {"depth_step_D", 0.006}, {"viewpoint_shift_mm", 300}, {"price", 150}, {"mass_g", 100},
	} {
		limited, value := oneIn(5), limit.bound*between(0.6, 2)
		if limited {
			q.Limits[limit.name] = value
		}
	}
	if !oneIn(3) {
		q.SharpBoxMM = []float64{q.BoxMM, between(0, 3)}[r.IntN(2)]
	}
	if oneIn(2) {
		q.Limits["vignetted_pct"] = between(0, 60)
	}
	return q
}
