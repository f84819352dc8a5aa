package catalog

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

func addSeeds(f *testing.F, kind string) {
	files, err := filepath.Glob(filepath.Join("testdata", "faults", kind, "*.csv"))
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, file := range files {
		f.Add(mustRead(f, file))
	}
}

func checkFaults(t *testing.T, faults ...Fault) {
	for _, x := range faults {
		if x.File != "fuzz.csv" || x.Line < 0 || x.Found == "" || x.Want == "" {
			t.Fatalf("fault %+v lacks its file, finding or hint", x)
		}
		if text := strings.ReplaceAll(x.Error(), "\n", ""); strings.ContainsFunc(text, IsHidden) || !utf8.ValidString(text) {
			t.Fatalf("fault %q could drive a terminal", x.Error())
		}
	}
}

// Whatever the bytes, there are faults that can be understood, or lenses that
// the optics can use.
func FuzzReadLenses(f *testing.F) {
	addSeeds(f, "lens")
	f.Add([]byte(table1000()[:2000]))
	f.Add([]byte("part,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,k1,k2,a4_1,a20_2,efl_mm,stock\nA,20,10,10,613586,-30,-1e300,2,1e-5,1e-24,inf,3\n"))
	f.Add([]byte("# ignore: coating, \"a, b\"\n#ignore:url\npart,coating,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,url,efl_mm,bfl_mm\n" +
		"A,x,20,-25.84,8,N-BK7,inf,\"a\nb\",50,\nB,,20,25.84,4,N-BK7,inf,,1.97,1.86\nC,,10,60,1,N-BK7,30,,117,\nD,,200,400,30,N-BK7,inf,,53,9\nE,,2,1.5,9,N-BK7,inf,,,\n"))
	f.Add([]byte("part,kind,diameter_mm,r1_mm,t1_mm,glass1,r2_mm,k1,a4_1,a4_2,pitch_mm,draft_deg\n" +
		"A,fresnel,40,30,2,PMMA-BEADIE,inf,-0.9,1e-7,,0.3,3\nB,fresnel,40,inf,2,PMMA-BEADIE,inf,,,1e-6,20,\nC,x,40,20,2,N-BK7,inf,,,,0.3,44\nD,fresnel,40,40,9,N-BK7,inf,,,,,\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		lenses, warnings, faults := ReadLenses(data, "fuzz.csv", BuiltinGlasses())
		checkFaults(t, faults...)
		checkFaults(t, warnings...)
		if len(faults) == 0 && len(lenses) == 0 {
			t.Fatal("neither lenses nor faults")
		}
		for _, l := range lenses {
			checkLens(t, l)
		}
	})
}

// fataler is what a test of one lens needs of a test.
type fataler interface {
	Fatalf(format string, args ...any)
}

func checkLens(t fataler, l *Lens) {
	n := len(l.Glasses)
	if n < 1 || n > 3 || len(l.ThicknessMM) != n || len(l.Surfaces) != n+1 || l.Part == "" || l.Line < 2 {
		t.Fatalf("lens %+v is not whole", l)
	}
	half := l.DiameterMM / 2
	for i := range l.Surfaces {
		for _, h := range []float64{0, half / 3, half} {
			if math.IsNaN(l.Surfaces[i].Sag(h)) {
				t.Fatalf("surface %+v does not reach %g", l.Surfaces[i], h)
			}
		}
	}
	facets, pitch := 0, 0.0
	for i := range l.Surfaces {
		if s := l.Surfaces[i]; s.IsFaceted() {
			facets++
			pitch = s.PitchMM
			if math.IsInf(s.SagSlope(half), 0) || math.IsNaN(s.SagSlope(half)) || !(s.DraftDeg >= 0 && s.DraftDeg < 45) {
				t.Fatalf("facets of %+v stand upright or are no facets", s)
			}
		} else if s.PitchMM != 0 || s.DraftDeg != 0 {
			t.Fatalf("surface %+v has half of what facets have", s)
		}
	}
	if facets > 1 || facets == 1 && (n != 1 || pitch > half || l.IsSymmetric()) {
		t.Fatalf("lens %+v has facets where it cannot", l)
	}
	for i := range l.Glasses {
		if !(l.EdgeThicknessMM(i) >= -edgeSlackMM) {
			t.Fatalf("element %d of %+v has an edge of %g", i, l, l.EdgeThicknessMM(i))
		}
		if math.IsNaN(l.ElementVolumeMM3(i)) {
			t.Fatalf("element %d of %+v has no volume", i, l)
		}
	}
	for _, nm := range []float64{LineF, LineE, LineD, LineC} {
		if efl, bfl, ffl := l.Cardinal(nm); math.IsNaN(efl) || math.IsNaN(bfl) || math.IsNaN(ffl) {
			t.Fatalf("lens %+v has focal lengths %g %g %g", l, efl, bfl, ffl)
		}
	}
	if !(l.ClearMM > 0 && l.ClearMM <= l.DiameterMM) {
		t.Fatalf("lens %+v is clear over %g of %g", l, l.ClearMM, l.DiameterMM)
	}
}

func FuzzReadGlasses(f *testing.F) {
	addSeeds(f, "glass")
	f.Add(builtinCSV)
	f.Fuzz(func(t *testing.T, data []byte) {
		glasses, warnings, faults := ReadGlasses(data, "fuzz.csv")
		checkFaults(t, faults...)
		checkFaults(t, warnings...)
		if len(faults) == 0 && len(glasses) == 0 {
			t.Fatal("neither glasses nor faults")
		}
		for _, g := range glasses {
			if g.Name == "" || !(g.Nd() > 1 && g.Nd() <= 3+1e-12) || !(g.Vd() > 4.999 && g.Vd() < 200.001) {
				t.Fatalf("glass %+v: nd %g, Vd %g", g, g.Nd(), g.Vd())
			}
		}
	})
}
