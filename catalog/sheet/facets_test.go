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
