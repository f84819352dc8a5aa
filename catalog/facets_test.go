package catalog

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// TestFacets: a Fresnel lens is a plate by its shape and mass, and has the power of the lens that its
// curved surface alone makes; turned round it stays one.
func TestFacets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		diameter := rapid.Float64Range(5, 100).Draw(t, "diameter")
		half := diameter / 2
		curved := asphere(t, half, "s")
		if curved.isFlat() {
			t.Skip("flat")
		}
		pitch, draft := rapid.Float64Range(0.01, 1).Draw(t, "pitch")*half, rapid.Float64Range(0, 44.9).Draw(t, "draft")
		first := rapid.Bool().Draw(t, "first")
		// The table takes numbers as they are written.
		cells := map[string]string{}
		columns := []string{"part", "diameter_mm", "r1_mm", "t1_mm", "glass1", "r2_mm"}
		put := func(name string, x float64) {
			if _, there := cells[name]; !there && len(cells) >= 6 {
				columns = append(columns, name)
			}
			cells[name] = fmt.Sprintf("%.17g", x)
			if math.IsInf(x, 0) {
				cells[name] = "inf"
			}
		}
		surface, other := 1, 2
		if !first {
			surface, other = 2, 1
		}
		cells["part"], cells["glass1"] = "F", "PMMA-BEADIE"
		put("diameter_mm", diameter)
		put("t1_mm", 2)
		put(radiusColumn(surface), curved.RadiusMM)
		put(radiusColumn(other), math.Inf(1))
		put(conicColumn(surface), curved.Conic)
		for i, a := range curved.Asphere {
			put(fmt.Sprintf("a%d_%d", 2*i+4, surface), a)
		}
		put("pitch_mm", pitch)
		put("draft_deg", draft)
		row := make([]string, len(columns))
		for i, name := range columns {
			row[i] = cells[name]
		}
		lenses, _, faults := ReadLenses([]byte(strings.Join(columns, ",")+"\n"+strings.Join(row, ",")+"\n"), "f.csv", BuiltinGlasses())
		if len(faults) > 0 {
			t.Fatal(faults)
		}
		l := lenses[0]
		checkLens(t, l)
		s, plane := l.Surfaces[surface-1], l.Surfaces[other-1]
		if s.PitchMM != pitch || s.DraftDeg != draft || !s.IsFaceted() || plane.IsFaceted() {
			t.Fatalf("surfaces %+v, %+v", s, plane)
		}
		h := half * rapid.Float64Range(0, 1).Draw(t, "h")
		smooth := s.Smooth()
		if s.Sag(h) != 0 || s.SagSlope(h) != smooth.SagSlope(h) || smooth.IsFaceted() || s.IsSpherical() {
			t.Errorf("sag %g, slope %g and %g", s.Sag(h), s.SagSlope(h), smooth.SagSlope(h))
		}
		if got, want := l.ElementVolumeMM3(0), math.Pi*half*half*2; math.Abs(got-want) > 1e-12*want {
			t.Errorf("a volume of %g mm³, the plate has %g", got, want)
		}
		bare := withSurfaces(l, func(all []Surface) { all[surface-1] = smooth })
		efl, bfl, ffl := l.Cardinal(LineE)
		efl2, bfl2, ffl2 := bare.Cardinal(LineE)
		if efl != efl2 || bfl != bfl2 || ffl != ffl2 {
			t.Errorf("focal lengths %g, %g, %g and smooth %g, %g, %g", efl, bfl, ffl, efl2, bfl2, ffl2)
		}
		turned := l.Reversed()
		if back := turned.Surfaces[2-surface]; back.PitchMM != pitch || back.DraftDeg != draft || back.SagSlope(h) != -s.SagSlope(h) {
			t.Errorf("turned round %+v", back)
		}
		if l.IsSymmetric() {
			t.Error("its two sides are the same")
		}
	})
}

// TestFresnelWithoutPitch: what has no pitch stays smooth, and of kind fresnel it is warned of.
func TestFresnelWithoutPitch(t *testing.T) {
	const table = "part,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,pitch_mm\n" +
		"A,fresnel,40,40,9,PMMA-BEADIE,inf,\nB,Fresnel,40,40,9,PMMA-BEADIE,inf,\nC,fresnel,40,40,2,PMMA-BEADIE,inf,0.5\nD,plano-convex,40,40,9,PMMA-BEADIE,inf,\n"
	lenses, warnings := readValid(t, table)
	for i, want := range []bool{false, false, true, false} {
		if lenses[i].Surfaces[0].IsFaceted() != want {
			t.Errorf("%s has facets: %v", lenses[i].Part, !want)
		}
	}
	const want = "parts.csv:2: pitch_mm: 2 parts of which a lens of kind fresnel without it is traced as a smooth surface:\n" +
		"      line 2: part \"A\" has no pitch\n      line 3: part \"B\" has no pitch\n" +
		"    expected the width of a facet, for losses and blur by its grooves"
	if len(warnings) != 1 || warnings[0].Error() != want {
		t.Errorf("warnings\n%v\nwant\n%s", warnings, want)
	}
}

// TestFinePitch: a pitch of some wavelengths is a slip of units, and warned of.
func TestFinePitch(t *testing.T) {
	const table = "part,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,pitch_mm\n" +
		"A,fresnel,40,40,2,PMMA-BEADIE,inf,0.0003\nB,fresnel,40,40,2,PMMA-BEADIE,inf,0.005\nC,fresnel,40,40,2,PMMA-BEADIE,inf,0.3\n"
	_, warnings := readValid(t, table)
	if len(warnings) != 1 || !strings.Contains(warnings[0].Error(), "parts.csv:2: pitch_mm: ") || !strings.Contains(warnings[0].Error(), "0.0003 mm") {
		t.Errorf("warnings\n%v", warnings)
	}
}

// TestDeepFacets: at half the diameter of 40 mm a sphere of R = 25 mm has the slope 20/15 (the
// tangent of the angle whose sine is 20/25), and a facet of 1.5 mm falls by 2 mm there.
func TestDeepFacets(t *testing.T) {
	const table = "part,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,pitch_mm\n" +
		"A,fresnel,40,25,1.99,PMMA-BEADIE,inf,1.5\nB,fresnel,40,25,2.01,PMMA-BEADIE,inf,1.5\nC,fresnel,40,inf,1.99,PMMA-BEADIE,-25,1.5\n"
	const want = "parts.csv:2: pitch_mm: 2 parts of which the facets are deeper than the plate is thick:\n" +
		"      line 2: part \"A\" has facets 2 mm deep at half the diameter, t1_mm is 1.99\n" +
		"      line 4: part \"C\" has facets 2 mm deep at half the diameter, t1_mm is 1.99\n" +
		"    expected a finer pitch, or the thickness over all in t1_mm"
	_, warnings := readValid(t, table)
	if len(warnings) != 1 || warnings[0].Error() != want {
		t.Errorf("warnings\n%v\nwant\n%s", warnings, want)
	}
}
