package sheet

import (
	"math"
	"strings"
	"testing"
)

// TestImportFacets: pitch and draft come through a map like other numbers, the pitch in the sheet's
// unit, and a proposed map knows them by their names.
func TestImportFacets(t *testing.T) {
	const content = "sku,type,dia [mm],R1 [mm],R2 [mm],thickness [mm],material,Groove pitch [inch],Draft angle\n" +
		"F1,fresnel,40,30,inf,2,PMMA-BEADIE,0.01,3\nF2,fresnel,40,inf,-30,2,PMMA-BEADIE,0.02,\nP,plano-convex,40,50,inf,8,N-BK7,,\n"
	file := put(t, "shop.csv", content)
	lenses, _, table := imported(t, file, mustMap(t, `
[columns]
part = "sku"
kind = "type"
diameter_mm = "dia [mm]"
r1_mm = "R1 [mm]"
r2_mm = "R2 [mm]"
t1_mm = "thickness [mm]"
glass1 = "material"
pitch_mm = { from = "Groove pitch [inch]", unit = "inch" }
draft_deg = "Draft angle"
`), Options{})
	if s := lenses["F1"].Surfaces[0]; math.Abs(s.PitchMM-0.254) > 1e-12 || s.DraftDeg != 3 {
		t.Errorf("F1 has %+v\n%s", s, table)
	}
	if s := lenses["F2"].Surfaces[1]; math.Abs(s.PitchMM-0.508) > 1e-12 || s.DraftDeg != 0 || lenses["F2"].Surfaces[0].IsFaceted() {
		t.Errorf("F2 has %+v\n%s", s, table)
	}
	if lenses["P"].Surfaces[0].IsFaceted() {
		t.Error("P has facets")
	}
	proposed, err := Suggest(file, "", 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{`pitch_mm = { from = "Groove pitch [inch]", unit = "inch" }`, `draft_deg = "Draft angle"`} {
		if !strings.Contains(proposed, want) {
			t.Errorf("no %s in\n%s", want, proposed)
		}
	}
	// An angle has no unit of length.
	_, faults := ReadMap([]byte("[columns]\npart = 1\ndiameter_mm = 2\nt1_mm = 3\nglass1 = 4\nr1_mm = 5\nr2_mm = 6\ndraft_deg = { from = 7, unit = \"inch\" }\n"), "map.toml")
	if len(faults) != 1 || !strings.Contains(faults[0].Error(), "it is in degrees") {
		t.Errorf("faults %v", faults)
	}
}

// TestImportGrooves: a pitch may be given as grooves per millimetre, its inverse, with or without
// the unit in the cell. None at all are no pitch.
func TestImportGrooves(t *testing.T) {
	const text = `
[columns]
part = 1
diameter_mm = 2
r1_mm = 3
r2_mm = 4
t1_mm = 5
glass1 = 6
pitch_mm = { from = 7, unit = "1/mm" }
`
	const header = "sku,dia,r1,r2,t,material,grooves/mm\n"
	lenses, _, table := imported(t, put(t, "shop.csv", header+
		"F1,40,30,inf,2,PMMA-BEADIE,4\nF2,40,30,inf,2,PMMA-BEADIE,2.5 1/mm\nF3,40,30,inf,2,PMMA-BEADIE,11/mm\nF4,40,30,inf,2,PMMA-BEADIE,8 grooves/mm\nP,40,30,inf,8,N-BK7,\n"), mustMap(t, text), Options{})
	for part, want := range map[string]float64{"F1": 0.25, "F2": 0.4, "F3": 1.0 / 11, "F4": 0.125, "P": 0} {
		if got := lenses[part].Surfaces[0].PitchMM; math.Abs(got-want) > 1e-12 {
			t.Errorf("%s has a pitch of %v mm, want %v\n%s", part, got, want, table)
		}
	}
	in := reading{isLength: true, unit: mustUnit(t, "1/mm")}
	if _, slip := in.number("0"); slip == nil || !strings.Contains(slip.found, "no pitch") {
		t.Errorf("0 grooves: %+v", slip)
	}
	in.unit = mustUnit(t, "dioptre")
	if x, slip := in.number("11/m"); slip != nil || math.Abs(x-1000.0/11) > 1e-9 {
		t.Errorf("11/m is read as %v mm, %+v", x, slip)
	}
	for _, wrong := range []string{strings.Replace(text, "diameter_mm = 2", `diameter_mm = { from = 2, unit = "1/mm" }`, 1), strings.Replace(text, "1/mm", "dioptre", 1)} {
		if _, faults := ReadMap([]byte(wrong), "map.toml"); len(faults) != 1 {
			t.Errorf("faults %v of%s", faults, wrong)
		}
	}
}

func mustUnit(t *testing.T, name string) unit {
	t.Helper()
	u, ok := unitNamed(name)
	if !ok {
		t.Fatalf("there is no unit %s", name)
	}
	return u
}
