package sheet

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"relaysweep/catalog"
)

func checkFaults(t *testing.T, faults catalog.Faults) {
	t.Helper()
	for _, f := range faults {
		if f.File == "" || f.Line < 0 || f.Found == "" || f.Want == "" {
			t.Fatalf("fault %+v lacks its file, finding or hint", f)
		}
		if text := strings.ReplaceAll(f.Error(), "\n", ""); strings.ContainsFunc(text, catalog.IsHidden) || !utf8.ValidString(text) {
			t.Fatalf("fault %q could drive a terminal", f.Error())
		}
	}
}

// Whatever bytes a sheet has, there are faults that can be understood, or a
// table that is read without faults.
func FuzzSheet(f *testing.F) {
	maps := []*Map{
		mustMap(f, plainMap),
		mustMap(f, "decimal_comma = true\nseparator = \"semicolon\"\nempty = [\"-\"]\n[columns]\npart = 1\nkind = 2\ndiameter_mm = { from = 3, unit = \"inch\" }\n"+
			"r1_mm = { from = 4, sign = \"convex\" }\nt1_mm = 5\nglass1 = 6\nr2_mm = { from = 7, sign = \"convex\" }\nefl_mm = { from = 8, unit = \"dioptre\" }\n"),
		mustMap(f, "equal_radii = [\"x\"]\nheader_row = 2\n[columns]\npart = 1\nkind = 2\ndiameter_mm = 3\nt1_mm = 5\nr1_mm = { from = 4, sign = \"kind\" }\nefl_mm = { from = 8, sign = \"kind\" }\n[fixed]\nglass1 = \"N-BK7\"\n[skip]\n\"part\" = [\"\"]\n"),
	}
	f.Add([]byte(plainHeader+"A1,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\n,,,,,,,\n#2,meniscus,10,,3,F2,40,60\n"), uint8(0), true)
	f.Add([]byte("p;k;d;r;t;g;r;f\n\"a;\"\"b\";bi-convex;1/2;12,9;3,1;N-BK7;12,9;20\nx;y;1\"; -;3;N-BK7;plano;10 D\n"), uint8(1), false)
	f.Add([]byte("title\npart,k,d,r,t,g,r2,f\nA,x,10,,3,,,40\nB,plano-concave,10,20,3,,,-40\nC,meniscus,10,20,3,,30,40\n"), uint8(2), true)
	folder := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte, which uint8, lenient bool) {
		file := catalog.File{Path: filepath.Join(folder, "s"), Shown: "fuzz.csv"}
		if err := os.WriteFile(file.Path, data, 0o666); err != nil {
			t.Fatal(err)
		}
		var b strings.Builder
		outcome, err := Import(context.Background(), file, maps[int(which)%len(maps)], Options{LeaveOutFaulty: lenient}, &b)
		var faults catalog.Faults
		if err != nil {
			if !errors.As(err, &faults) || len(faults) == 0 {
				t.Fatalf("%v", err)
			}
			checkFaults(t, faults)
		} else {
			lenses, _, faults := catalog.ReadLenses([]byte(b.String()), "table.csv", catalog.BuiltinGlasses())
			if len(faults) > 0 || len(lenses) != outcome.Lenses || len(lenses) == 0 {
				t.Fatalf("%d lenses of %d, %v\n%q", len(lenses), outcome.Lenses, faults, b.String())
			}
			checkFaults(t, outcome.Warnings)
		}
		text, err := Suggest(file, "", 0)
		if err != nil {
			if !errors.As(err, &faults) {
				t.Fatalf("%v", err)
			}
			checkFaults(t, faults)
			return
		}
		// What is proposed can be read; a needed column may be missing.
		_, faults = ReadMap([]byte(text), "map.toml")
		for _, x := range faults {
			if !strings.HasPrefix(x.Found, "nothing feeds") {
				t.Fatalf("%v\n%s", x, text)
			}
		}
	})
}

// Whatever bytes a map has, there are faults that can be understood, or a map
// by which a sheet is imported or refused.
func FuzzMap(f *testing.F) {
	f.Add([]byte(plainMap))
	f.Add([]byte("decimal_comma = true\nskip_rows = [2, \"90-95\"]\nflat = [\"0\"]\nfocal_nm = 546.07\nequal_radii = [\"bi-convex\"]\n" + plainMap +
		"price = { from = 3, drop = [\"EUR\"] }\n[fixed]\nvendor = \"x\"\nstock = 3\n[glasses]\n\"BK 7\" = \"N-BK7\"\n[kinds]\nPX = \"plano-convex\"\n[skip]\n\"f\" = [\"a*\", \"?\"]\n"))
	f.Add([]byte("header_row = 0\nseparator = \"|\"\n[columns]\npart = { form = 1 }\n'a' = 1\n\"\\u0007\" = []\n"))
	path := filepath.Join(f.TempDir(), "s")
	if err := os.WriteFile(path, []byte(plainHeader+"A1,plano-convex,12.7,25.84,2.5,N-BK7,inf,50\nA2,equi-convex,12.7,,4,N-BK7,,50\n"), 0o666); err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		m, faults := ReadMap(data, "fuzz.toml")
		checkFaults(t, faults)
		if len(faults) > 0 {
			return
		}
		var b strings.Builder
		_, err := Import(context.Background(), catalog.File{Path: path, Shown: "s.csv"}, m, Options{}, &b)
		if err != nil && !errors.As(err, &faults) {
			t.Fatal(err)
		}
		checkFaults(t, faults)
	})
}
