package results

import (
	"bytes"
	"math"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func proofOf(t *testing.T, p *ManifestPoint, listed int) string {
	t.Helper()
	var out bytes.Buffer
	if err := PrintProof(&out, p, listed); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// TestPrintProof says of which set each count and each claim is true.
func TestPrintProof(t *testing.T) {
	refined := &RefinedCounts{Candidates: 500, Passed: 480}
	optimized := &Optimized{BestMM: ptr(129.66), LowerBoundMM: ptr(100.0), GapMM: ptr(29.66), Evaluations: 900}
	for name, c := range map[string]struct {
		point      ManifestPoint
		listed     int
		want, none []string
	}{
		"all listed":  {ManifestPoint{Passed: 20, ProvenLengthMM: ptr(200.0)}, 20, []string{"rays 0, passed 20\n", "no other design is shorter than 200.000000 mm"}, []string{"listed"}},
		"some listed": {ManifestPoint{Passed: 999, ProvenLengthMM: ptr(200.0)}, 20, []string{"rays 0, 20 listed of 999 that passed\n"}, []string{"passed 999"}},
		"refined": {
			ManifestPoint{
				Passed: 90, Refined: refined, Ended: true, ProvenLengthMM: ptr(200.0), ScreenedMM: ptr(200.0),
				Found: &BestFound{190, "walk"}, Audit: &Audit{Drawn: 200, MissedShareUpper95: 0.0149},
			}, 20,
			[]string{
				"rays 0, refined 500 near their limits; 480 passed, 20 listed\n",
				"proven, at paraxial gaps: no other design that passes is shorter than 200.000000 mm\n",
				"screened: no other design that the screen takes for near its limits is shorter than 200.000000 mm when refined\n",
				"audit: of the designs that the screen turned away 200 were drawn and refined, none passes; at most 1.5 % of all would pass (95 % confidence)\n",
			}, []string{"not complete", "shortest found", "LEAKS"},
		},
		"refined, with third order": {
			ManifestPoint{
				Passed: 90, Refined: refined, Ended: true, ProvenLengthMM: ptr(150.0), ScreenedMM: ptr(200.0), Found: &BestFound{190, "walk"},
				SetAside: map[string]*big.Int{"bound": big.NewInt(5), "third_order": big.NewInt(1234567)},
				Audit:    &Audit{Drawn: 200, Passed: 1, MissedShareUpper95: 0.055, ThirdOrder: &AuditOfThirdOrder{100, 1, 0.047}},
			}, 20,
			[]string{
				"no other design that passes is shorter than 150.000000 mm\n", "set aside by bounds: bound 5\n",
				"turned away by third order, without rays: 1234567\n",
				"at most 5.5 % of all would pass (95 % confidence); third order had turned away 100 of them without rays, of which 1 pass\n",
			}, []string{"whole space", "third_order"},
		},
		"refined by third order, the whole space": {
			ManifestPoint{Refined: refined, Ended: true, ProvenLengthMM: ptr(150.0), Found: &BestFound{190, "walk"}}, 20,
			[]string{
				"no other design that passes is shorter than 150.000000 mm\n",
				"screened: the whole space; every design that the screen takes for near its limits was refined\n",
			}, nil,
		},
		"refined, the whole space": {
			ManifestPoint{Refined: refined, Ended: true, WholeSpace: true, Found: &BestFound{190, "walk"}}, 20,
			[]string{
				"proven, at paraxial gaps: the whole space was searched, no other design passes\n",
				"screened: the whole space; every design that the screen takes for near its limits was refined\n",
			}, []string{"shorter", "audit", "not complete"},
		},
		"refined, cut by checks_max": {
			ManifestPoint{Refined: refined, ProvenLengthMM: ptr(171.0), ScreenedMM: ptr(171.0), Found: &BestFound{180, "population"}}, 20,
			[]string{
				"no other design that passes is shorter than 171.000000 mm\n", "is shorter than 171.000000 mm when refined\n",
				"shortest found: 180.000000 mm, by the population; the screen has come to 9.00 mm (5.0 %) below\n",
				"not complete: the search ended before the ranking was certain\n",
			}, nil,
		},
		"refined, interrupted beyond the shortest": {
			ManifestPoint{Refined: refined, ProvenLengthMM: ptr(181.0), ScreenedMM: ptr(181.0), Found: &BestFound{180, "walk"}}, 3,
			[]string{"shortest found: 180.000000 mm, by the walk; the screen has come to it\n", "not complete"}, []string{"below", "-1.00"},
		},
		"refined, interrupted before anything was found": {
			ManifestPoint{Refined: &RefinedCounts{Candidates: 5}, ProvenLengthMM: ptr(150.0), ScreenedMM: ptr(150.0)}, 0,
			[]string{"screened: no design that the screen takes for near its limits is shorter than 150.000000 mm when refined\n", "not complete"}, []string{"other", "shortest found"},
		},
		"refined, a leak": {
			ManifestPoint{Refined: refined, Ended: true, ScreenedMM: ptr(200.0), Found: &BestFound{190, "walk"}, Audit: &Audit{Drawn: 200, Passed: 3, Listed: 1, MissedShareUpper95: 0.0383}}, 20,
			[]string{"audit: THE SCREEN LEAKS: of the designs that the screen turned away 200 were drawn and refined, 3 pass, 1 of them short enough for the ranking; at most 3.8 % of all", "raise refine.near_miss_factor"}, nil,
		},
		"refined, longer ones pass the audit": {
			ManifestPoint{Refined: refined, Ended: true, ScreenedMM: ptr(200.0), Found: &BestFound{190, "walk"}, Audit: &Audit{Drawn: 200, Passed: 3, MissedShareUpper95: 0.0383}}, 20,
			[]string{"3 pass, none of them short enough for the ranking; at most 3.8 % of all would pass"}, []string{"LEAKS", "near_miss_factor"},
		},
		"refined, nothing passes": {
			ManifestPoint{Refined: &RefinedCounts{Candidates: 5}, Ended: true, WholeSpace: true, WouldFit: map[string]*float64{"travel": ptr(17.5)}}, 0,
			[]string{
				"refined 5 near their limits; 0 passed, 0 listed\n", "proven, at paraxial gaps: the whole space was searched, no design passes\n",
				"lets a first design pass, at paraxial gaps (refined, less may do):\n",
			}, []string{"other design"},
		},
		"optimized and refined": {
			ManifestPoint{Passed: 999, Refined: refined, Optimized: optimized}, 20,
			[]string{"the shortest found, at paraxial gaps, has 129.660000 mm", "proven, at paraxial gaps: no design shorter than 100.000000 mm"}, nil,
		},
		"optimized": {ManifestPoint{Passed: 20, Optimized: optimized}, 20, []string{"the shortest found has 129.660000 mm", "\nproven: no design"}, []string{"paraxial"}},
		"nothing, for want of builds": {
			ManifestPoint{WholeSpace: true, Failed: map[string]*big.Int{"travel": big.NewInt(5), "yield_min_pct": big.NewInt(7)}}, 0,
			[]string{"nothing meets the requirements\nlimits.yield_min_pct turned away 7 that meet all else without errors: a lower value"}, []string{"eased alone"},
		},
		"nothing":     {ManifestPoint{WholeSpace: true}, 0, []string{"proven: the whole space was searched, no design passes\n"}, []string{"other", "shorter"}},
		"whole space": {ManifestPoint{Passed: 3, WholeSpace: true}, 3, []string{"the whole space was searched, no other design passes\n"}, nil},
		"nothing but refined": {
			ManifestPoint{WholeSpace: true, Refined: refined, Optimized: &Optimized{}}, 20,
			[]string{"passed 0, at paraxial gaps\n", "proven, at paraxial gaps: no design passes at all\n", "500 candidates, 480 then pass; 20 listed\n"}, nil,
		},
		"set aside": {
			ManifestPoint{WholeSpace: true, Binds: map[string]int64{"length": 250, "gap": 750}}, 0,
			[]string{"bounds left none to judge; of 1000 drawn at random, turned away: gap 750, length 250\n"}, nil,
		},
	} {
		c.point.Space = "1000"
		got := proofOf(t, &c.point, c.listed)
		for _, want := range c.want {
			if !strings.Contains(got, want) {
				t.Errorf("%s: no %q in\n%s", name, want, got)
			}
		}
		for _, none := range c.none {
			if strings.Contains(got, none) {
				t.Errorf("%s: %q in\n%s", name, none, got)
			}
		}
	}
}

// TestPrintWouldFit tells each value with its unit, rounded so that a design still
// passes there, and by its key what does not help.
func TestPrintWouldFit(t *testing.T) {
	fit := map[string]*float64{
		"length": ptr(141.7144), "relief": ptr(11.99999), "relief_max_mm": ptr(15.5), "aperture": ptr(9.98765), "travel": ptr(17.5),
		"pixel_arcmin": ptr(2.00001), "viewpoint_shift_mm": ptr(123456.7), "transmission_min": ptr(0.81237), "stock": ptr(2.0),
		"parts": ptr(4.0), "distinct_parts_max": ptr(3.0), "price": ptr(99.994), "magnification": ptr(0.012344), "mass_g": nil, "clearance": nil,
	}
	p := &ManifestPoint{Space: "1000", WholeSpace: true, WouldFit: fit, WouldFitOpen: []string{"clearance", "travel"}}
	got := proofOf(t, p, 0)
	for _, want := range []string{
		"length 141.8 mm - train.length_max_mm", "relief 11.99 mm - eye.relief_min_mm", "relief_max_mm 15.5 mm - eye.relief_max_mm",
		"aperture 9.987 deg - field.width_deg, the height in proportion", "travel 17.5 mm or nearer - stage.travel_mm",
		"pixel_arcmin 2.001 arcmin - limits.pixel_arcmin", "viewpoint_shift_mm 123500 mm - limits.viewpoint_shift_mm",
		"transmission_min 0.8123 - limits.transmission_min", "stock 2 of a part - stock, of each part in the lens tables",
		"parts 4 lenses - train.lenses_max", "distinct_parts_max 3 parts - train.distinct_parts_max", "price 100 - limits.price",
		"magnification 0.01235 - train.magnification_tol",
		"no value of these alone would help: limits.mass_g", "whether these alone would help: mask.clearance_mm",
	} {
		found := false
		for line := range strings.Lines(got) {
			found = found || strings.Join(strings.Fields(line), " ") == want || strings.HasSuffix(strings.TrimSpace(line), want)
		}
		if !found {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}

// TestRoundedTo rounds to four digits, to one side only, and leaves alone what has no more.
func TestRoundedTo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1e-6, 1e9).Draw(t, "x")
		for _, down := range []bool{true, false} {
			got := roundedTo(x, down)
			if down && got > x || !down && got < x || math.Abs(got-x) > 1.0001e-3*x {
				t.Fatalf("%v to %v, down %v", x, got, down)
			}
			if again := roundedTo(got, down); again != got {
				t.Fatalf("%v to %v and then to %v", x, got, again)
			}
		}
	})
}
