package sheet

import (
	"strings"
	"testing"
)

// TestSuggest proposes maps of invented sheets: what is certain as lines, what
// is not as comments.
func TestSuggest(t *testing.T) {
	for _, c := range []struct {
		name, content    string
		wants, wantsNone []string
	}{
		{
			name:    "everything told",
			content: "Lens ID,Lens Type,Ø (mm),f (mm),Radius R1 (mm),Radius R2 (mm),Tc (mm),Glass type,Price €,Coating\nZ1,plano-concave,25,-50,∞,25.8,2,N-BK7,\"€1,012.00\",AR\nZ3,Double convex lens,25,50,51,-51,5,N-BK7,€13.00,AR\n",
			wants: []string{
				"\npart = \"Lens ID\"\n", "\nkind = \"Lens Type\"\n", "\ndiameter_mm = { from = \"Ø (mm)\", unit = \"mm\" }\n",
				"\nr1_mm = { from = \"Radius R1 (mm)\", unit = \"mm\" }\n", "\nr2_mm = { from = \"Radius R2 (mm)\", unit = \"mm\" }\n",
				"\nt1_mm = { from = \"Tc (mm)\", unit = \"mm\" }\n", "\nglass1 = \"Glass type\"\n", "\nefl_mm = { from = \"f (mm)\", unit = \"mm\" }\n",
				`price = { from = "Price €", drop = ["€", ","] }`, `"Double convex lens" = "bi-convex"`, `# ? = "Coating"   # as "AR"`,
			},
			wantsNone: []string{"decimal_comma", "unsure:", "sign"},
		},
		{
			name:    "convex positive",
			content: "sku\ttype\tdia, in\tR1, in\tR2, in\tthickness, in\tmaterial\n1\tbi-convex\t1\t2\t2\t0.2\tN-BK7\n2\tbi-concave\t1\t-2\t-2\t0.1\tN-BK7\n",
			wants: []string{
				`r1_mm = { from = "R1, in", unit = "inch", sign = "convex" }`, `r2_mm = { from = "R2, in", unit = "inch", sign = "convex" }`,
			},
			wantsNone: []string{"unsure:"},
		},
		{
			name:    "magnitudes",
			content: "sku,type,dia [mm],R1 [mm],R2 [mm],thickness [mm],material\n1,bi-convex,12,20,20,3,N-BK7\n2,bi-concave,12,20,20,3,N-BK7\n",
			wants:   []string{"\nr1_mm = {", `sign = "kind" }`},
		},
		{
			name:    "convex positive or magnitudes",
			content: "sku,type,dia [mm],R1 [mm],R2 [mm],thickness [mm],material\n1,bi-convex,12,20,20,3,N-BK7\n",
			wants:   []string{"# r1_mm = {", `sign = "convex" }   # unsure: the sign may be as well kind`},
		},
		{
			name:    "radii for some lenses only",
			content: "sku,type,f (mm),R1 [mm],R2 [mm],R3 [mm]\n1,achromat,50,30,-20,-80\n2,bi-convex,50,,,\n",
			wants: []string{
				"\n# equal_radii = [\"bi-convex\"]", "# r1_mm = {", "# r2_mm = {", "# r3_mm = {",
				"may be as well against or convex   #", // a negative one is no magnitude
			},
		},
		{
			name:    "signs without a convention",
			content: "sku,type,dia [mm],R1 [mm],R2 [mm],thickness [mm],material\n1,bi-convex,12,20,20,3,N-BK7\n2,bi-convex,12,-20,20,3,N-BK7\n",
			wants:   []string{"# r1_mm = {", `unsure: by no convention`},
		},
		{
			name:    "no evidence of signs, no unit, glasses of other names",
			content: "sku,dia,R1 [mm],R2 [mm],thickness [mm],material\n1,12,20,inf,3,BK7\n",
			wants:   []string{"# diameter_mm = {", "the header names no unit", "# r1_mm = {", "# r2_mm = {", `sign = "axis" }   # unsure: the sign may be as well against or convex or kind`, `# "BK7" = "N-BK7"   # unsure`},
		},
		{
			name:    "decimal commas and empty cells",
			content: "Artikel-Nr.;Bauform;Durchmesser [mm];Brennweite [mm];Mittendicke [mm];Glas;Preis [EUR]\nX1;plankonvex;12,7;50,0;2,5;N-BK7;1.012,00\nX2;plankonvex;12,7;-;2,5;N-BK7;k.A.\n",
			wants: []string{
				"decimal_comma = true\n", `empty = ["-", "k.A."]`, `part = "Artikel-Nr."`, `efl_mm = { from = "Brennweite [mm]", unit = "mm" }`,
				`price = { from = "Preis [EUR]", drop = ["."] }`, `"plankonvex" = "plano-convex"`,
			},
		},
		{
			name:    "decimals or thousands",
			content: "item no.;diameter (mm);price\nX1;12;1,250\n",
			wants:   []string{"# decimal_comma = true   # unsure"},
		},
		{
			name:    "two columns of one name, one without",
			content: "item,diameter (mm),r1 (mm),r1 (mm),\nX1,12,20,30,note\n",
			wants:   []string{"\nr1_mm = { from = 3,", "# r1_mm = { from = 4,", "column 3 may be meant as well", "# ? = 5   # as \"note\""},
		},
		{
			// The thin achromat of 100 mm (W. J. Smith, Modern Optical Engineering, the powers
			// f·(V1-V2)/V1 and -f·(V1-V2)/V2), of N-BK7 with two equal radii and N-SF5, by hand.
			name:    "cemented lenses only",
			content: "sku,type,f (mm),dia (mm),R1 [mm],R2 [mm],R3 [mm],t1 [mm],t2 [mm],glass 1,glass 2\n1,achromat,100,12,51.4,-51.4,-225.6,3,1,N-BK7,N-SF5\n2,achromat,100,12,51.4,-51.4,-225.6,3,1,N-BK7,unheard of\n",
			wants: []string{
				"\nr1_mm = { from = \"R1 [mm]\", unit = \"mm\" }\n", "\nr2_mm = {", "\nr3_mm = { from = \"R3 [mm]\", unit = \"mm\" }\n",
			},
			wantsNone: []string{"the sign may be"},
		},
		{
			name:    "cemented lenses only, against, in inches",
			content: "type,sku,f (in),dia (in),R1 [in],R2 [in],R3 [in],t1 [mm],t2 [mm],glass 1,glass 2\nachromat,1,3.937,0.5,-2.024,2.024,8.882,3,1,N-BK7,N-SF5\n",
			wants:   []string{"\nr1_mm = { from = \"R1 [in]\", unit = \"inch\", sign = \"against\" }\n", "\nr3_mm = { from = \"R3 [in]\", unit = \"inch\", sign = \"against\" }\n"},
		},
		{
			name:    "cemented lenses of another focal length tell nothing",
			content: "sku,type,f (mm),R1 [mm],R2 [mm],R3 [mm],t1 [mm],t2 [mm],glass 1,glass 2\n1,achromat,80,51.4,-51.4,-225.6,3,1,N-BK7,N-SF5\n",
			wants:   []string{"# r1_mm = {", "the sign may be as well"},
		},
		{
			name:    "units in some cells only",
			content: "sku,dia,thickness [mm],pitch,f\n1,1 in,3,\"0.012 in\",50 mm\n2,1.5 in,3,0.3,2 inch\n3,2 in,0.1 in,0.3,\n",
			wants: []string{
				"\ndiameter_mm = { from = \"dia\", unit = \"inch\" }\n",
				"# t1_mm = { from = \"thickness [mm]\", unit = \"mm\" }   # unsure: cells name inch",
				"# pitch_mm = { from = \"pitch\", unit = \"inch\" }   # unsure: only some cells name a unit",
				"# efl_mm = { from = \"f\", unit = \"mm\" }   # unsure: cells name mm and inch",
			},
		},
		{
			name:    "grooves per millimetre",
			content: "sku,Grooves per mm\nF1,5\n",
			wants:   []string{"\npitch_mm = { from = \"Grooves per mm\", unit = \"1/mm\" }\n"},
		},
		{
			name:    "grooves per millimetre in cells, dioptres where none may be",
			content: "sku,groove pitch,dia (D)\nF1,5/mm,20\nF2,2.5 1/mm,20\n",
			wants:   []string{"\npitch_mm = { from = \"groove pitch\", unit = \"1/mm\" }\n", "# diameter_mm = { from = \"dia (D)\", unit = \"mm\" }   # unsure: dioptre is no unit for it"},
		},
		{
			name:    "nothing known",
			content: "\"a\"\"b\\\",c\n1,2\n",
			wants:   []string{`# ? = "a\"b\\"`, `# part = "..."   # a lens needs it`, "# diameter_mm = \"...\""},
		},
	} {
		t.Run(c.name, func(t *testing.T) {
			text, err := Suggest(put(t, "s.csv", c.content), "", 0)
			if err != nil {
				t.Fatal(err)
			}
			for _, w := range c.wants {
				if !strings.Contains(text, w) {
					t.Errorf("it does not say %q:\n%s", w, text)
				}
			}
			for _, w := range c.wantsNone {
				if strings.Contains(text, w) {
					t.Errorf("it says %q:\n%s", w, text)
				}
			}
			_, faults := ReadMap([]byte(text), "map.toml")
			for _, f := range faults {
				if !strings.HasPrefix(f.Found, "nothing feeds") {
					t.Error(f)
				}
			}
		})
	}
}
